"""The cavity as numbered cells: neighbours, openings, and the coarser grids on which pressure is solved.

Only cells of the cavity and those that touch them get a number, so memory and time follow the metal, not the box round it.
Order of numbers: cavity cells (x slowest, z fastest), then the shell (solid or boundary cells that touch a cavity cell, edges and corners
counted), last one cell that stands for everything else.  A face belongs to the cell on its high side.
"""

# mypy: ignore-errors
from __future__ import annotations

from typing import NamedTuple

import numpy as np

SOLID, CAVITY, OPEN, PRESSED, POURED = 0, 1, 2, 3, 4
"""Kinds of cell: wall; metal's room; the open air; metal under a given pressure; metal that comes in at a given speed."""
COARSEST = 60
"""Unknowns below which no coarser grid is made."""


class Cells(NamedTuple):
    """The numbered cavity; arrays are indexed by cell number, length ``m``."""

    n: int
    m: int
    kind: np.ndarray
    full: np.ndarray  # flat place in the box
    numbers: np.ndarray  # number of each place of the box, flat
    sx: int
    sy: int
    xm: np.ndarray
    xp: np.ndarray
    ym: np.ndarray
    yp: np.ndarray
    zm: np.ndarray
    zp: np.ndarray
    ax: np.ndarray  # open share of the low faces
    ay: np.ndarray
    az: np.ndarray
    vol: np.ndarray  # open share of the cell
    extra: np.ndarray  # shell cells that own a face or an edge of the cavity
    odd: np.ndarray  # parity of the cell
    coarse: np.ndarray  # number on the next coarser grid, grids one behind the other
    coarse_odd: np.ndarray
    first: np.ndarray  # where each grid begins in ``coarse``


def number(kind: np.ndarray, volume: np.ndarray, openings: tuple[np.ndarray, np.ndarray, np.ndarray]) -> Cells:
    """Number the cells.

    ``kind`` (nx, ny, nz) of SOLID .. POURED, its outermost two layers never CAVITY; ``volume`` (nx, ny, nz) open share of cavity cells;
    ``openings``: open share of the low x, y and z face of each cell, each (nx, ny, nz).
    """
    shape = kind.shape
    cavity = kind == CAVITY
    touched = cavity.copy()
    for axis in range(3):
        grown = touched.copy()
        ahead = [slice(None)] * 3
        behind = [slice(None)] * 3
        ahead[axis], behind[axis] = slice(1, None), slice(None, -1)
        grown[tuple(ahead)] |= touched[tuple(behind)]
        grown[tuple(behind)] |= touched[tuple(ahead)]
        touched = grown
    inner, shell = np.flatnonzero(cavity), np.flatnonzero(touched & ~cavity)
    n = len(inner)
    m = n + len(shell) + 1
    numbers = np.full(kind.size, m - 1, dtype=np.int32)
    numbers[inner] = np.arange(n, dtype=np.int32)
    numbers[shell] = np.arange(n, m - 1, dtype=np.int32)
    place = np.concatenate([inner, shell, [0]]).astype(np.int64)
    sx, sy = shape[1] * shape[2], shape[2]

    def beside(step: int) -> np.ndarray:
        out = numbers[np.clip(place + step, 0, kind.size - 1)].astype(np.uint32)
        out[m - 1] = m - 1
        return np.ascontiguousarray(out)

    xm, xp, ym, yp, zm, zp = (beside(step) for step in (-sx, sx, -sy, sy, -1, 1))
    kinds = kind.ravel()[place].astype(np.uint8)
    kinds[m - 1] = SOLID
    vol = np.where(kinds == CAVITY, volume.ravel()[place], np.where(kinds == SOLID, 0.0, 1.0))

    def opened(opening: np.ndarray, low: np.ndarray) -> np.ndarray:
        passes = (kinds != SOLID) & (kinds[low] != SOLID) & ((kinds == CAVITY) | (kinds[low] == CAVITY))
        return np.ascontiguousarray(np.where(passes, opening.ravel()[place], 0.0))

    ax, ay, az = (opened(o, low) for o, low in zip(openings, (xm, ym, zm), strict=True))
    room = kinds == CAVITY
    owns = (ax > 0.0) | (ay > 0.0) | (az > 0.0) | (kinds >= OPEN)
    for a, b in ((xm, ym), (xm, zm), (ym, zm)):  # a solid cell whose low edge lies between three open ones: a re-entrant corner
        owns |= ~room & (vol[a] > 0.0) & (vol[b] > 0.0) & ((vol[b[a]] > 0.0) | (vol[a[b]] > 0.0))
    owns[:n] = False
    owns[m - 1] = False
    ix, rest = np.divmod(place[:n], sx)
    iy, iz = np.divmod(rest, sy)
    odd = ((ix + iy + iz) & 1).astype(np.uint8)
    coarse, coarse_odd, first = _coarsened(ix, iy, iz)
    return Cells(
        n, m, kinds, place, numbers, sx, sy, xm, xp, ym, yp, zm, zp, ax, ay, az, np.ascontiguousarray(vol),
        np.flatnonzero(owns).astype(np.uint32), odd, coarse, coarse_odd, first,
    )  # fmt: skip


def _coarsened(ix: np.ndarray, iy: np.ndarray, iz: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Grids of doubled cells, until few are left."""
    maps, odds, first = [], [], [0]
    while len(ix) > COARSEST and len(maps) < 12:
        cx, cy, cz = ix >> 1, iy >> 1, iz >> 1
        key = (cx * (int(cy.max()) + 2) + cy) * (int(cz.max()) + 2) + cz
        _, at, back = np.unique(key, return_index=True, return_inverse=True)
        if len(at) == len(ix) and max(int(cx.max()), int(cy.max()), int(cz.max())) == 0:
            break
        maps.append(back.astype(np.int32))
        ix, iy, iz = cx[at], cy[at], cz[at]
        odds.append(((ix + iy + iz) & 1).astype(np.uint8))
        first.append(first[-1] + len(back))
    none = np.zeros(0, np.int32), np.zeros(0, np.uint8)
    return (
        np.concatenate(maps) if maps else none[0],
        np.concatenate(odds) if odds else none[1],
        np.array(first, dtype=np.int64),
    )
