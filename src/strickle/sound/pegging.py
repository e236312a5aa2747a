"""Where the pegs of a plan stand, and what they showed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strickle.base import Array, Record, si, tell, word
from strickle.cavity import CHILL, GRAPHITE, METAL_TAGS, PART, SAND, SLEEVE, Cavity
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.sound.ask import PegAt
from strickle.sound.judge import to_mould, to_part
from strickle.sound.pegs import METAL, Driven, drive
from strickle.sound.result import Peg

ASKED = "asked for"
MEDIA = {SAND: "sand", CHILL: "chill", GRAPHITE: "chill", SLEEVE: "sleeve"}
IN_SAND = 5e-3  # m, of the peg in the sand from the metal's wall
WITHIN = 0.06  # m, of the latest metal: there such a peg is looked for


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wanted(Record):
    """A peg before it is found on the grid."""

    name: str = word("name")
    at: Array = si("m", "mould frame", shape="(3,)")
    why: str = word("asked for, or what it was chosen for")


def kinds() -> Array:
    """Kind of material by tag (256,), as ``pegs.drive`` takes it."""
    out = np.zeros(256, np.int64)
    out[list(METAL_TAGS)] = METAL
    out[list(MEDIA)] = [METAL + 1 + n for n in range(len(MEDIA))]
    return out


def asked_for(pegs: tuple[PegAt, ...], pattern: Pattern) -> tuple[Wanted, ...]:
    """The person's own pegs in the mould frame."""
    return tuple(Wanted(name=peg.name, at=to_mould(pattern, peg.at), why=ASKED) for peg in pegs)


def by_default(part: Part, pattern: Pattern, cavity: Cavity, times: Array, edge: int) -> tuple[Wanted, ...]:
    """The latest metal of the part as a coarse freezing foretells it, the thinnest wall, and the sand beside the former.

    ``times`` are solidus times [s] of cells ``edge`` times as wide as the cavity's.
    """
    tags, cell, origin = cavity.grid.tags, cavity.cell, cavity.grid.origin
    own = np.argwhere(tags == PART)
    late = times[tuple((own // edge).T)]
    if not np.isfinite(late).any():
        return ()
    group = own[late == np.nanmax(late)]
    last = group[int(np.argmin(((group - group.mean(axis=0)) ** 2).sum(axis=1)))]
    thin = own[int(np.argmin((((own + 0.5) * cell + origin - to_mould(pattern, part.least_wall_at)) ** 2).sum(axis=1)))]
    found = [
        Wanted(name="latest metal", at=origin + (last + 0.5) * cell, why="late in the part, foretold by a coarse freezing"),
        Wanted(name="thinnest wall", at=origin + (thin + 0.5) * cell, why="the part's thinnest wall that matters"),
    ]
    beside = _beside(tags, last, cell, origin)
    if beside is not None:
        found.append(Wanted(name="sand", at=beside, why=f"{tell(IN_SAND, 'm')} into the sand, near the latest metal: a place for a thermocouple"))
    return tuple(found)


def _beside(tags: Array, last: Array, cell: float, origin: Array) -> Array | None:
    """The point IN_SAND [m] from all metal that lies nearest to the cell ``last``; None where there is no such sand near it."""
    from scipy import ndimage

    near = math.ceil(WITHIN / cell)
    low, high = np.maximum(last - near, 0), np.minimum(last + near + 1, tags.shape)
    window = tags[tuple(slice(i, j) for i, j in zip(low, high, strict=True))]
    away, nearest = ndimage.distance_transform_edt(~np.isin(window, METAL_TAGS), return_indices=True)
    there = np.argwhere((window == SAND) & (np.abs((away - 0.5) * cell - IN_SAND) <= 0.6 * cell))
    if not len(there):
        return None
    mine = there[int(np.argmin(((there + low - last) ** 2).sum(axis=1)))]
    wall = nearest[(slice(None), *mine)]
    way = (mine - wall) / np.linalg.norm(mine - wall)
    half = 0.5 / np.abs(way).max()  # from the middle of the metal's cell to its face
    return np.asarray(origin + (low + wall + 0.5 + half * way) * cell + IN_SAND * way)


def driven(wanted: tuple[Wanted, ...], cavity: Cavity) -> Driven:
    """The pegs on the cavity's grid."""
    return drive(np.array([w.at for w in wanted]), cavity.grid.tags, cavity.cell, cavity.grid.origin, kinds())


def _material(wanted: Wanted, kind: int, cavity: Cavity) -> str:
    """What a peg stands in, its kind found already: metal of the rigging is told with the name of its body."""
    if kind != METAL:
        return list(MEDIA.values())[kind - METAL - 1]
    size = np.array(cavity.grid.tags.shape)
    cell = tuple(np.clip(np.floor((wanted.at - cavity.grid.origin) / cavity.cell).astype(np.int64), 0, size - 1))
    number = 0 if cavity.grid.tags[cell] == PART else int(cavity.bodies[cell])
    return next((f"metal of {body.name}" for body in cavity.names if number and body.number == number), "metal")


def told(
    wanted: tuple[Wanted, ...], found: Driven, times: Array, cells: Array, pattern: Pattern, cavity: Cavity
) -> tuple[tuple[Peg, ...], Array, tuple[str, ...]]:
    """The pegs with their curves (n, k) from those of the cells, and the names of those that lie outside metal and sand."""
    curves = found.read(cells)
    here = np.flatnonzero(found.kind > 0)
    pegs = []
    for i in here:
        top = int(np.argmax(curves[i]))
        pegs.append(
            Peg(
                name=wanted[i].name,
                material=_material(wanted[i], int(found.kind[i]), cavity),
                at=found.at[i],
                at_part=to_part(pattern, found.at[i]),
                why=wanted[i].why,
                highest=float(curves[i, top]),
                highest_time=float(times[top]),
            )
        )
    return tuple(pegs), curves[here], tuple(w.name for w, kind in zip(wanted, found.kind, strict=True) if kind == 0)
