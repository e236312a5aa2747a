"""The raw casting: the part with its holes to drill filled and stock on its machined faces. Part coordinates, millimetres inside."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from strickle.base import Array, BadInput, Mesh
from strickle.part import Part
from strickle.pattern.ask import PatternAsk
from strickle.pattern.facets import Facets, facets_of
from strickle.pattern.holes import Hole, Limits, drilled, found, limits_of
from strickle.pattern.marks import Marked, kept, marked
from strickle.pattern.plugs import Plugged, filled
from strickle.pattern.readable import written
from strickle.pattern.stock import Amount, Grade, amount, grade_of, laid_on, on_flat
from strickle.stores import Stores

WAYS = ("drilled", "cast")
KINDS = ("machined", "good", "no-draft")
LEAST_BORE = 3.0  # mm, a machined bore that would be cast smaller is filled
SQUARE, IN_IT = 0.999, 0.1  # cosine from which a hole goes square into a flat, and mm that its mouth lies off it at most
OPPOSITE = -0.9998  # cosine from which two flats look away from each other


class Raw(NamedTuple):
    """The raw casting and how it came from the part. Holes and marks are in millimetres, part coordinates."""

    mesh: Mesh  # m
    holes: tuple[Hole, ...]  # all round holes of the part
    drilled: tuple[int, ...]  # numbers of those that are filled
    left: tuple[int, ...]  # numbers of those that should be and could not
    marked: tuple[Marked, ...]
    stocked: tuple[tuple[Marked, Amount], ...]
    spared: tuple[Marked, ...]  # machined bores that are drilled anyway
    filled: float  # mm3
    stock: float  # mm3
    gone: Array  # triangles of the part's mesh that are no more
    kept: Array  # (k, 3, 3) triangles that get no draft
    grade: Grade
    limits: Limits


def raw(part: Part, family: str, stores: Stores, ask: PatternAsk) -> Raw:
    """The raw casting of a part in a metal of a family.

    Raises BadInput for marks that mean no face and for stock that cannot be laid on.
    """
    _known(ask)
    grade, limits = grade_of(family), limits_of(stores)
    mesh = facets_of(part.mesh.vertices * 1e3, part.mesh.faces)
    holes = found(mesh, [(hole.at * 1e3, hole.axis, hole.radius * 1e3, hole.depth * 1e3) for hole in part.holes])
    marks = marked(mesh, ask.marks, holes)
    amounts = {one.name: _amount(part, one, marks, holes, grade) for one in marks if one.kind == "machined"}
    bores = {one.hole: one for one in marks if one.name in amounts and one.shape == "bore"}
    less = {i: 2e3 * amounts[one.name].total for i, one in bores.items()}
    drill = [i for i, hole in enumerate(holes) if _drills(hole, less.get(i), _deeper(hole, marks, amounts), ask, limits)]
    first = filled(mesh, holes, drill)
    whole = filled(mesh, holes, sorted({*drill, *bores})) if bores else first
    if stuck := [one.name for i, one in bores.items() if i not in whole.filled]:
        raise BadInput(f"stock cannot be laid on the bore marked {stuck[0]!r}", "Leave the mark out and draw the bore smaller in the part")
    cut = [(one, amounts[one.name]) for one in marks if one.name in amounts and one.hole not in first.filled]
    done, placed, added = _laid(part, mesh, whole, cut, holes)
    return Raw(
        done, holes, tuple(i for i in whole.filled if i in first.filled or i not in bores), tuple(i for i in drill if i not in first.filled),
        marks, placed, tuple(one for i, one in bores.items() if i in first.filled), first.volume, added + whole.volume - first.volume, whole.gone,
        kept(mesh, marks), grade, limits,
    )  # fmt: skip


def _known(ask: PatternAsk) -> None:
    """Raises BadInput for words that are not known."""
    if ask.holes not in WAYS:
        raise BadInput(f"holes {ask.holes!r} is not known", f"Give one of {', '.join(WAYS)}")
    for mark in ask.marks:
        if mark.kind not in KINDS:
            raise BadInput(f"the mark {mark.name!r} is for {mark.kind!r}, which is not known", f"Give one of {', '.join(KINDS)}")
        if mark.amount is not None and (mark.kind != "machined" or not 0 <= mark.amount < np.inf):
            raise BadInput(f"the mark {mark.name!r} has a stock that cannot be", "Give a length from 0, for machined faces only")


def _drills(hole: Hole, less: float | None, more: float, ask: PatternAsk, limits: Limits) -> bool:
    """Whether a hole is filled and drilled; ``less`` is what machining stock takes off its diameter, ``more`` what it adds to its depth [mm]."""
    if ask.holes == "cast":
        return less is not None and 2 * hole.radius - less < LEAST_BORE
    if ask.bores == "core" and hole.through and 2 * hole.radius >= 0.999 * limits.narrow:
        return False  # cores are asked for
    shallow = hole.ends[1] != "open" and hole.depth < limits.recess * 2 * hole.radius
    return not shallow and drilled(2 * hole.radius - (less or 0.0), hole.depth + more, limits)


def _deeper(hole: Hole, marks: tuple[Marked, ...], amounts: Mapping[str, Amount]) -> float:
    """By how much [mm] stock on the flats that a hole opens in makes it deeper in the pattern."""
    ends = np.array([hole.at, hole.at + hole.reach * hole.axis])
    flats = [one for one in marks if one.name in amounts and one.shape == "flat" and abs(float(one.normal @ hole.axis)) > SQUARE]
    return sum(1e3 * amounts[one.name].total for one in flats if (np.abs((ends - one.at) @ one.normal) < IN_IT).any())


def _amount(part: Part, one: Marked, marks: tuple[Marked, ...], holes: tuple[Hole, ...], grade: Grade) -> Amount:
    """Stock on a marked face."""
    largest = float(part.extents.max())
    asked = None if one.amount is None else one.amount * 1e-3
    if one.shape == "bore":
        return amount(2e-3 * holes[one.hole].radius, largest, True, grade, asked)
    if one.shape == "boss" and one.round_ is not None:
        return amount(2e-3 * one.round_.radius, largest, True, grade, asked)
    across = float(np.ptp(part.mesh.vertices @ one.normal))
    both = any(other.kind == "machined" and other.shape == "flat" and other.normal @ one.normal < OPPOSITE for other in marks)
    return amount(across, largest, both, grade, asked)


def _laid(
    part: Part, mesh: Facets, whole: Plugged, cut: list[tuple[Marked, Amount]], holes: tuple[Hole, ...]
) -> tuple[Mesh, tuple[tuple[Marked, Amount], ...], float]:
    """The raw casting's mesh [m], the marks as they lie on the filled part, and the metal [mm3] that stock adds to the filled part."""
    if not cut:
        return (_compact(whole) if len(whole.gone) else part.mesh), (), 0.0
    after = facets_of(whole.vertices, whole.faces) if len(whole.gone) else mesh
    floors = [pair for pair in cut if np.isin(pair[0].faces, whole.gone).all() and pair[0].shape == "flat"]
    placed = [(on_flat(after, one) if one.shape == "flat" else one, by) for one, by in cut if all(one is not floor for floor, _ in floors)]
    short = {}
    for floor, by in floors:
        bore = next((one for one, _ in placed if one.shape == "bore" and _is_floor(floor, holes[one.hole])), None)
        if bore is not None:  # else it lies in a hole that is drilled
            placed.append((floor, by))
            short[bore.hole] = by.total * 1e3
    solid = [(one, by.total * 1e3) for one, by in placed if all(one is not floor for floor, _ in floors)]
    made = laid_on(after, solid, holes, short)
    vertices, faces = written(made.solid)
    return Mesh(vertices=vertices * 1e-3, faces=faces), tuple(placed), made.added


def _is_floor(one: Marked, hole: Hole) -> bool:
    """Whether a flat is the floor or the ledge at the far end of a hole."""
    off = one.at - hole.at
    along = float(off @ hole.axis)
    within = float(np.linalg.norm(off - along * hole.axis)) < hole.radius
    return within and float(one.normal @ hole.axis) < OPPOSITE and abs(along - hole.reach) < 0.6


def _compact(whole: Plugged) -> Mesh:
    """A mesh [m] without the corners that no triangle uses."""
    used, faces = np.unique(whole.faces, return_inverse=True)
    return Mesh(vertices=whole.vertices[used] * 1e-3, faces=faces.reshape(-1, 3))
