"""How wide a ball goes through the sand of a place from each of its prints to every other, by cells. All millimetres, mould frame.

Told to about a cell, which is a sixtieth of the narrowest print or more, so that cells are not too many: in a round neck up to a cell too narrow,
between flat walls up to half a cell too wide. Metal thinner than a cell is not seen.
"""

from __future__ import annotations

import manifold3d
import numpy as np
from scipy import ndimage

from strickle.base import Array
from strickle.kernels import raster
from strickle.pattern.core_body import INSIDE, Print, section_at, turned
from strickle.pattern.places import End, Place
from strickle.pattern.undercut import plain

FINE = 60  # cells in the narrowest print
MOST = 1_000_000  # cells round one place; a larger place has coarser ones
STEPS = 7  # halvings of the search
BEYOND = 0.1  # share of a core that must lie beyond its neck, or it is the tip
ROUND = 1.45  # radii of a ball from its middle that count as reached by it: the corners of a square are 1.41 off
ALL = np.ones((3, 3, 3), dtype=bool)


def passes(place: Place, ends: list[tuple[End, Print]]) -> tuple[float, float]:
    """Diameter of the widest ball that goes from each print to every other, at most the narrowest print, and the cell it is told by.

    With one print it is the widest that leaves no more than ``BEYOND`` of the place beyond it in one piece, and nothing wider than itself.
    """
    most = min(one.thick for _, one in ends)
    body, spots = _lengthened(place, ends)
    low = np.array(body.bounding_box()[:3])
    size = np.array(body.bounding_box()[3:]) - low
    cell = max(most / FINE, float(np.prod(size) / MOST) ** (1 / 3))
    inside, own = (_cells(solid, low, size, cell) for solid in (body, place.solid))
    deep = np.asarray(ndimage.distance_transform_edt(inside)) * cell
    seeds = [_deepest(deep, (spot - low) / cell + 1, most / cell) for spot in spots]
    least, wide = 0.0, min(most, *(2 * float(deep[seed]) for seed in seeds))
    if _goes(deep, own, seeds, wide - cell, cell):
        return most, cell
    for _ in range(STEPS):
        middle = (least + wide) / 2
        least, wide = (middle, wide) if _goes(deep, own, seeds, middle, cell) else (least, middle)
    return (least + wide) / 2, cell


def _lengthened(place: Place, ends: list[tuple[End, Print]]) -> tuple[manifold3d.Manifold, list[Array]]:
    """A place with each end carried on by the thickness of its print, and the middles of what is added."""
    solids, spots = [place.solid], []
    for end, one in ends:
        long = one.thick
        if place.upright:
            way = float(one.out[2])
            level = one.at[2] - way * one.length  # where the print begins
            section = place.solid.slice(float(level - way * INSIDE))
            solids.append(section.extrude(long + INSIDE).translate((0.0, 0.0, level - INSIDE if way > 0 else level - long)))
            spots.append(np.array([one.at[0], one.at[1], level + way * long / 2]))
            continue
        frame = turned(one.out, end.slant)
        found = section_at(place, end, frame)
        if found is not None:
            solids.append(found.extrude(long + INSIDE).translate((0.0, 0.0, end.inner - INSIDE)).transform(frame))
        spots.append(one.at - (one.reach - end.inner - long / 2) * one.out)
    return manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add), spots


def _cells(solid: manifold3d.Manifold, low: Array, size: Array, cell: float) -> Array:
    """Cells (nx, ny, nz) whose middle lies in a solid; one empty cell or more on every side, the first inner one at ``low``."""
    nx, ny, nz = (int(n) + 3 for n in np.ceil(size / cell))
    vertices, faces = plain(solid)
    start, z, sign, _ = raster.columns(vertices, faces, low - cell * np.array([1.0, 1.0, 1.0]), cell, nx, ny)
    column = np.repeat(np.arange(nx * ny), np.diff(start))
    level = np.clip(np.ceil((z - low[2]) / cell + 0.5), 0, nz - 1).astype(np.int64)
    steps = np.zeros((nx * ny, nz), dtype=np.int16)
    np.add.at(steps, (column, level), sign)
    return np.asarray(np.cumsum(steps, axis=1).reshape(nx, ny, nz) > 0)


def _deepest(deep: Array, at: Array, wide: float) -> tuple[int, ...]:
    """The cell deepest in sand within a quarter of a print's width (in cells) of a place."""
    first = [int(np.clip(a - wide / 4, 0, n - 1)) for a, n in zip(at, deep.shape)]
    last = [int(np.clip(a + wide / 4 + 1, f + 1, n)) for a, f, n in zip(at, first, deep.shape)]
    near = deep[tuple(slice(f, s) for f, s in zip(first, last))]
    spot = np.unravel_index(int(np.argmax(near)), near.shape)
    return tuple(int(f + s) for f, s in zip(first, spot))


def _goes(deep: Array, own: Array, seeds: list[tuple[int, ...]], wide: float, cell: float) -> bool:
    """Whether a ball goes all the way."""
    label, _ = ndimage.label(deep >= wide / 2, ALL)
    if len(seeds) > 1:
        return bool(label[seeds[0]]) and all(label[seed] == label[seeds[0]] for seed in seeds[1:])
    far = np.asarray(ndimage.distance_transform_edt((label != label[seeds[0]]) | (label == 0))) * cell
    left, count = ndimage.label(own & (far > ROUND * wide / 2))
    if count == 0:
        return True
    numbers = np.arange(1, count + 1)
    volumes = np.bincount(left.ravel())[1:]
    widest = 2 * np.asarray(ndimage.maximum(deep, left, numbers))
    return not np.any((volumes > BEYOND * own.sum()) | (widest > wide + cell))
