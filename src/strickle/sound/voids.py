"""The voids of a plan: feeding on the cavity's grid, and what of it lies in the part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strickle.base import Array, Record, si, word
from strickle.cavity import AIR, METAL_TAGS, NECK, PART, Cavity
from strickle.metal import Metal
from strickle.sound.feeding import SEEN, Feeding, PoolEnded, Poured, follow, touched

LOOK = 24  # cells looked round a void for the nearest skin
MOST = 5  # voids of the part told one by one


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Closed(Record):
    """A closed void in the part."""

    pool: PoolEnded = word("the pool that left it")
    face: float = si("m", "void over the surface of the part's metal that the pool held when it was cut off")
    size: float = si("m", "across, were it one ball")
    under: float = si("m", "metal between its middle and the nearest skin")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reach(Record):
    """A pipe that runs out of its riser."""

    body: str = word("riser or other open body nearest to it")
    into: str = word("neck | part")
    depth: float = si("m", "emptied in the deepest column there")
    volume: float = si("m3", "emptied there")
    at: Array = si("m", "its lowest place, mould frame", shape="(3,)")


def feeding_of(
    cavity: Cavity, volume: Array, liquidus: Array, stiff: Array, solid: Array, passed: Array, solidus: Array, metal: Metal,
    pour: float | Array,
    critical: float,
) -> Feeding:  # fmt: skip
    """Feeding in the cavity: times as fields (nx, ny, nz), or by metal cell for ``passed`` (j, m).

    ``pour`` [K] is what the metal begins at, all of it or by cell (m,). ``volume`` (m,) is the metal in each cell, in cells; it is scaled so
    that all of it is the volume of the solids.
    """
    tags = cavity.grid.tags
    mask = np.isin(tags, METAL_TAGS)
    names = sorted(cavity.names, key=lambda named: named.number)
    number = np.zeros(256, np.int64)
    for i, named in enumerate(names):
        number[named.number] = i + 1
    body = np.where(tags[mask] == PART, 0, number[cavity.bodies[mask].astype(np.int64)])
    poured = Poured(
        mask=mask,
        body=body,
        names=("part", *(named.name for named in names)),
        touch=touched(tags, mask, (AIR,), True),
        volume=volume * (cavity.mesh_volume / float(volume.sum())),
        cell=cavity.cell,
        origin=np.asarray(cavity.grid.origin, dtype=float),
    )
    return follow(poured, liquidus[mask], stiff[mask], solid, passed, solidus[mask], metal, pour, critical)


def closed_voids(feeding: Feeding, closes: Array, cavity: Cavity, least: float) -> tuple[Closed, ...]:
    """Closed voids of the part that are more than ``least`` [m] over their pool's surface, largest first; ``closes`` (nx, ny, nz) [s]."""
    from scipy import ndimage

    tags, cell = cavity.grid.tags, cavity.cell
    found: list[Closed] = []
    for pool in sorted(feeding.pools, key=lambda p: -p.part_void)[: 4 * MOST]:
        if pool.part_void <= 0.0 or len(found) == MOST:
            break
        index = tuple(np.floor((pool.at - cavity.grid.origin) / cell).astype(int))
        start = max(pool.cut_off, pool.parted)
        label, _ = ndimage.label(closes > min(start, closes[index] * (1.0 - 1e-9)))
        body = (label == label[index]) & (tags == PART)
        face = pool.part_void / (_surface(body) * cell**2)
        if face > least:
            size = (6.0 * pool.part_void / np.pi) ** (1.0 / 3.0)
            found.append(Closed(pool=pool, face=face, size=float(size), under=_under(tags, index, cell)))
    return tuple(found)


def _surface(body: Array) -> float:
    """Surface of a body of cells [cells]: two thirds of its staircase, the mean over all slopes; of flat walls two thirds, on the safe side."""
    padded = np.pad(body, 1).astype(np.int8)
    return max(sum(int(np.count_nonzero(np.diff(padded, axis=axis))) for axis in range(3)) * 2.0 / 3.0, 1.0)


def _under(tags: Array, index: tuple[int, ...], cell: float) -> float:
    """From the middle of a cell to the nearest face of a cell that is not metal [m], as far as LOOK cells round it."""
    low = [max(i - LOOK, 0) for i in index]
    window = tags[tuple(slice(a, i + LOOK + 1) for a, i in zip(low, index, strict=True))]
    other = np.argwhere(~np.isin(window, METAL_TAGS)) + np.array(low)
    if not len(other):
        return LOOK * cell
    return float(np.sqrt((np.maximum(np.abs(other - np.array(index)) - 0.5, 0.0) ** 2).sum(axis=1).min())) * cell


def reaches(feeding: Feeding, cavity: Cavity) -> tuple[Reach, ...]:
    """Pipes that empty half a cell of a neck, or run on into the part."""
    tags, cell = cavity.grid.tags, cavity.cell
    void = np.nan_to_num(feeding.open_void)
    emptied = void >= SEEN
    names = {named.number: named.name for named in cavity.names}
    out = []
    for tag, into in ((NECK, "neck"), (PART, "part")):
        there = np.where(tags == tag, void, 0.0)
        places = np.argwhere(emptied & (tags == tag))
        if not len(places):
            continue
        low = places[np.argmin(places[:, 2])]
        number = int(cavity.bodies[tuple(low)])
        if tag == PART:
            others = np.argwhere((tags != PART) & np.isin(tags, METAL_TAGS) & (void > 0.0))
            near = others[np.argmin(((others - low) ** 2).sum(axis=1))] if len(others) else low
            number = int(cavity.bodies[tuple(near)])
        out.append(
            Reach(
                body=names.get(number, "part").replace("neck", "riser"),
                into=into,
                depth=float(there.sum(axis=2).max()) * cell,
                volume=float(np.nansum(there * feeding.cell_metal)),
                at=cavity.grid.origin + (low + 0.5) * cell,
            )
        )
    return tuple(out)
