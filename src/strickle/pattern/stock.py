"""Machining stock on marked faces: flats carried outward, bores made smaller, bosses larger; and the tolerance grade it is reckoned with.

Millimetres inside, part coordinates.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array, BadInput
from strickle.pattern.directions import basis
from strickle.pattern.facets import Facets, flat
from strickle.pattern.holes import Hole
from strickle.pattern.marks import Marked, distances
from strickle.stores import cast_tolerance, machining_stock

LONGEST = 0.63  # m, the tables' end
MACHINING = "G"  # machining grade: F to H for sand moulded by hand, the middle one is taken
GRADES = {"aluminium": (11, 13), "copper": (13, 15), "iron": (13, 15)}  # of single castings in clay-bonded sand moulded by hand
MOST = 20.0  # mm of stock on a face
SUNK = 0.01  # mm that stock reaches into the metal, so that the two solids overlap
SHARP = np.radians(15.0)  # a face that bends less from a flat does not bound its stock
SEGMENTS = 96


class Grade(NamedTuple):
    """The tolerance of the casting."""

    grade: int
    low: int  # the row of the standard
    high: int
    own_row: bool  # False where the standard has none for the metal and light metal's is taken


class Amount(NamedTuple):
    """Stock on a face [m] and what it is made of."""

    total: float
    machining: float
    tolerance: float  # whole band of the size it is on
    asked: bool


class Stocked(NamedTuple):
    """A solid with stock. Millimetres."""

    solid: manifold3d.Manifold
    added: float  # mm3


def grade_of(family: str) -> Grade:
    """Tolerance grade of a metal: the middle of its row.

    ISO/CD 8062-2, Table A.2. Oil-bonded sand is no row of it; the row of clay-bonded sand moulded by hand stands for it.

    >>> grade_of("aluminium").grade, grade_of("copper").grade
    (12, 14)
    """
    low, high = GRADES.get(family, GRADES["aluminium"])
    return Grade((low + high) // 2, low, high, family in GRADES)


def tolerance(length: float, grade: Grade) -> float:
    """Whole tolerance band [m] of a length [m] of a single casting; beyond the table's end that of its end.

    >>> round(tolerance(0.08, grade_of("aluminium")) * 1e3, 3), round(tolerance(0.012, grade_of("aluminium")) * 1e3, 3)
    (6.0, 2.2)
    """
    return float(cast_tolerance(min(length, LONGEST), grade.grade, 1.0)[0])


def amount(length: float, largest: float, both: bool, grade: Grade, asked: float | None = None) -> Amount:
    """Stock on one face whose size across is ``length`` [m], on a casting of largest size ``largest`` [m].

    The required allowance, and half the tolerance band; of a size machined at both ends, as of a bore or a round boss, a quarter of it at each
    (ISO 8062:1994, clause 9, from memory, unverified).

    >>> [round(amount(0.08, 0.08, both, grade_of("aluminium")).total * 1e3, 2) for both in (False, True)]
    [4.4, 2.9]
    """
    band, least = tolerance(length, grade), machining_stock(min(largest, LONGEST), MACHINING)
    if asked is not None:
        return Amount(asked, least, band, True)
    return Amount(least + band / (4.0 if both else 2.0), least, band, False)


def laid_on(mesh: Facets, found: Sequence[tuple[Marked, float]], holes: Sequence[Hole], short: Mapping[int, float]) -> Stocked:
    """The mesh, machined bores filled, with stock [mm] on its marked faces. Bores are cut again, smaller.

    ``short``: stock [mm] on the floor of a bore, by its hole's number.

    Raises BadInput where the stock of one face is more than 20 mm or runs into nothing sound.
    """
    before = manifold3d.Manifold(manifold3d.Mesh64(np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces.astype(np.uint64))))
    for one, by in found:
        if by > MOST:
            raise BadInput(f"the stock of the mark {one.name!r} is out of all reason", f"It should be under {MOST:g} mm")
    flats = [(one, by) for one, by in found if one.shape == "flat" and by > 0]
    out = before
    if flats:
        out = out + _carried(mesh, flats)
    for one, by in found:
        if one.shape == "boss" and one.round_ is not None and by > 0:
            out = out + _sleeve(mesh, one, by, flats)
    deepest = max((by for _, by in flats), default=0.0)
    for one, by in found:
        if one.shape == "bore":
            out = out - _tool(holes[one.hole], by, deepest, short.get(one.hole, 0.0))
    if out is not before:
        out = out.as_original().simplify(1e-4)
    return Stocked(out, float(out.volume() - before.volume()))


def _carried(mesh: Facets, flats: Sequence[tuple[Marked, float]]) -> manifold3d.Manifold:
    """The room between marked flats and the same carried outward, mitred where two meet."""
    owner = np.full(len(mesh.faces), -1, dtype=np.int64)
    for k, (one, _) in enumerate(flats):
        owner[one.faces] = k
    tri = mesh.faces[owner >= 0]
    used, local = np.unique(tri, return_inverse=True)
    local = local.reshape(-1, 3)
    beside = _beside(mesh, owner)
    number = {int(v): i for i, v in enumerate(used)}
    planes: list[list[tuple[Array, float, float]]] = [[] for _ in used]
    for corner, face in zip(mesh.faces[owner >= 0].ravel().tolist(), np.repeat(np.flatnonzero(owner >= 0), 3).tolist()):
        one, by = flats[owner[face]]
        planes[number[corner]].append((one.normal, by, -SUNK))
    for corners, normal in beside:
        for corner in corners:
            planes[number[int(corner)]].append((normal, -SUNK, -SUNK))
    top, foot = mesh.vertices[used].copy(), mesh.vertices[used].copy()
    for i, own in enumerate(planes):
        normals = np.array([p[0] for p in own])
        for k, out in ((1, top), (2, foot)):
            out[i] += np.linalg.lstsq(normals, np.array([p[k] for p in own]), rcond=1e-3)[0]
    edges = np.concatenate([local[:, [0, 1]], local[:, [1, 2]], local[:, [2, 0]]])
    n = len(used)
    keys = edges[:, 0] * n + edges[:, 1]
    rim = edges[~np.isin(keys, edges[:, 1] * n + edges[:, 0])]
    u, v = rim[:, 0], rim[:, 1]
    walls = np.concatenate([np.stack([v, u, u + n], 1), np.stack([v, u + n, v + n], 1)])
    shell = np.concatenate([local, local[:, ::-1] + n, walls])
    built = manifold3d.Manifold(manifold3d.Mesh64(np.concatenate([top, foot]), np.ascontiguousarray(shell, dtype=np.uint64)))
    if built.is_empty() or built.volume() <= 0:
        names = ", ".join(repr(one.name) for one, _ in flats)
        raise BadInput(f"stock cannot be laid on the marked faces {names}", "Mark fewer of them, or draw the stock into the part")
    return built


def _beside(mesh: Facets, owner: Array) -> list[tuple[Array, Array]]:
    """Edges of marked flats from which a wall rises, each with the wall's normal: stock reaches a hair into that wall."""
    one, other = owner[mesh.pairs[:, 0]], owner[mesh.pairs[:, 1]]
    rim = np.flatnonzero(((one >= 0) != (other >= 0)) & (mesh.bend > SHARP))
    beyond = np.where(one[rim] >= 0, mesh.pairs[rim, 1], mesh.pairs[rim, 0])
    return [(mesh.ends[e], mesh.normals[f]) for e, f in zip(rim, beyond)]


def _sleeve(mesh: Facets, one: Marked, by: float, flats: Sequence[tuple[Marked, float]]) -> manifold3d.Manifold:
    """A ring of stock round a boss; at an end from which metal goes on it reaches a hair into it, at a marked flat as far as its stock."""
    wall = one.round_
    assert wall is not None
    within = np.isin(mesh.pairs, wall.faces)
    rim = np.flatnonzero(within[:, 0] != within[:, 1])
    beyond = np.where(within[rim, 0], mesh.pairs[rim, 1], mesh.pairs[rim, 0])
    more = np.where(mesh.bend[rim] > SHARP, SUNK, 0.0)
    for other, own in flats:
        more[np.isin(beyond, other.faces) & (mesh.bend[rim] < 0)] = own
    over = mesh.vertices[mesh.ends[rim]].mean(axis=1) @ wall.axis > (wall.low + wall.high) / 2
    low, high = wall.low - more[~over].max(initial=0.0), wall.high + more[over].max(initial=0.0)
    ring = manifold3d.Manifold.cylinder(high - low, wall.radius + by, circular_segments=SEGMENTS)
    inner = wall.radius * np.cos(np.pi / 12)  # well inside the facets
    ring = ring - manifold3d.Manifold.cylinder(high - low + 2, inner, circular_segments=SEGMENTS).translate((0.0, 0.0, -1.0))
    return _placed(ring, wall.axis, wall.foot + low * wall.axis)


def _tool(hole: Hole, by: float, deepest: float, short: float) -> manifold3d.Manifold:
    """What cuts a bore again, smaller by ``by`` and ``short`` of its floor; at open ends it reaches through the stock of the faces there."""
    past = [min(deepest + 0.5, gap / 2) if end == "open" else 0.0 for end, gap in zip(hole.ends, hole.gaps)]
    past[1] -= short
    tool = manifold3d.Manifold.cylinder(hole.reach + past[0] + past[1], hole.radius - by, circular_segments=SEGMENTS)
    return _placed(tool, hole.axis, hole.at - past[0] * hole.axis)


def _placed(body: manifold3d.Manifold, axis: Array, at: Array) -> manifold3d.Manifold:
    """An upright body turned so that z is ``axis``, its foot at ``at``."""
    return body.transform(np.column_stack([basis(axis).T, at]))


def on_flat(mesh: Facets, one: Marked) -> Marked:
    """The same marked flat on a mesh whose holes have been filled."""
    seeds = np.flatnonzero((mesh.normals @ one.normal > 0.9998) & (np.abs((mesh.vertices[mesh.faces[:, 0]] - one.at) @ one.normal) < 0.6))
    tri = mesh.vertices[mesh.faces[seeds]]
    faces = flat(mesh, int(seeds[int(np.argmin(distances(one.at, tri)))]))
    return one._replace(faces=faces, area=float(mesh.areas[faces].sum()))
