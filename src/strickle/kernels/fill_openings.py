"""How far cells and their faces are open to metal, from the true surface of the solids: cut cells instead of stairs.

Volumes and level faces come from columns along z through each cell, upright faces from columns along z in the plane of the face; along z
everything is exact, across it as fine as the columns lie.
"""

# mypy: ignore-errors
from __future__ import annotations

import math

import numpy as np
from numba import njit
from scipy import ndimage

from strickle.kernels.raster import _columns, _fill, _plain

FINE = 8
"""Columns through a cell: the square of this; in the plane of a face: three times this."""
ASIDE = 2e-3
"""Cells to either side of a face at which its opening is read: a wall that lies in the face itself must not count for its wider side."""
LEAST_ROOM, LEAST_FACE, WHOLE = 0.03, 0.02, 0.985
"""Cells and faces open less than this are closed; those open more than WHOLE are open."""


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _levels(start, z, sign, oz, cell, share, out):
    """Add ``share`` to the low face of every cell whose level lies in metal, a little way below and above it."""
    nx, ny, nz = out.shape
    for column in range(nx * ny):
        ix, iy = column // ny, column % ny
        winding, foot = 0, 0.0
        for k in range(start[column], start[column + 1]):
            was = winding
            winding += sign[k]
            if was < 1 <= winding:
                foot = z[k]
            elif winding < 1 <= was:
                low = max(int(np.ceil((foot - oz) / cell + ASIDE)), 0)
                high = min(int(np.floor((z[k] - oz) / cell - ASIDE)), nz - 1)
                for i in range(low, high + 1):
                    out[ix, iy, i] += share


@njit(cache=True, error_model="numpy")
def _openings(vertices, faces, ox, oy, oz, cell, sub, room, across_x, across_y, across_z):
    nx, ny = room.shape[0], room.shape[1]
    n = sub * sub
    for j in range(n):
        rook = (j % sub) * sub + j // sub
        start, z, sign, _ = _columns(vertices, faces, ox + (rook + 0.5) / n * cell, oy + (j + 0.5) / n * cell, cell, nx, ny)
        _fill(start, z, sign, oz, cell, 1.0 / n, room)
        _levels(start, z, sign, oz, cell, 1.0 / n, across_z)
    share, aside = 1.0 / (3 * sub), ASIDE * cell
    other = np.zeros(room.shape)
    for side in range(2):
        out = across_x if side == 0 else other
        for j in range(3 * sub):
            start, z, sign, _ = _columns(vertices, faces, ox + (2 * side - 1) * aside, oy + (j + 0.5) * share * cell, cell, nx, ny)
            _fill(start, z, sign, oz, cell, share, out)
    _least(across_x, other)
    other[:] = 0.0
    for side in range(2):
        out = across_y if side == 0 else other
        for j in range(3 * sub):
            start, z, sign, _ = _columns(vertices, faces, ox + (j + 0.5) * share * cell, oy + (2 * side - 1) * aside, cell, nx, ny)
            _fill(start, z, sign, oz, cell, share, out)
    _least(across_y, other)


@njit(cache=True, error_model="numpy")
def _least(a, b):
    """The lesser of each pair, into ``a``: a face is as open as the narrower of what lies on its two sides."""
    for i in range(a.shape[0]):
        for j in range(a.shape[1]):
            for k in range(a.shape[2]):
                a[i, j, k] = min(a[i, j, k], b[i, j, k])


def openings(vertices, faces, origin, cell, shape, sub=FINE):
    """Open share of each cell and of its low x, y and z face, four arrays (nx, ny, nz) float64; ``origin`` corner of cell (0, 0, 0) [m].

    Overlapping shells count once.
    """
    v, f = _plain(vertices, faces)
    at = np.asarray(origin, dtype=np.float64)
    out = [np.zeros(shape) for _ in range(4)]
    _openings(v, f, at[0], at[1], at[2], float(cell), int(sub), *out)
    return tuple(tidy(*out))


def tidy(room, x, y, z):
    """Nearly closed cells and faces closed, nearly open ones opened."""
    room, sides = np.minimum(room, 1.0), [np.minimum(side, 1.0) for side in (x, y, z)]
    room = np.where(room > WHOLE, 1.0, np.where(room < LEAST_ROOM, 0.0, room))
    sides = [np.where(side > WHOLE, 1.0, np.where(side < LEAST_FACE, 0.0, side)) for side in sides]
    return room, *sides


def wall_area(cells):
    """Wall in each numbered cell over the cell's face, from its openings: the sum of the closed faces of a whole cell, the plane that cuts a
    cut one (the open faces of a closed surface sum to nothing).
    """
    x = cells.ax, cells.ax[cells.xp]
    y = cells.ay, cells.ay[cells.yp]
    z = cells.az, cells.az[cells.zp]
    shut = sum(2.0 - low - high for low, high in (x, y, z))
    plane = np.sqrt(sum((low - high) ** 2 for low, high in (x, y, z)))
    return np.where(cells.vol >= 1.0, shut, np.maximum(plane, shut - 6.0 * (1.0 - cells.vol) - 2.0).clip(0.0)) * (cells.vol > 0.0)


@njit(cache=True, error_model="numpy")
def _runs(room, axis, cell, out):
    """Least of ``out`` and the open length through each cell along one axis [m]."""
    nx, ny, nz = room.shape
    size = nx if axis == 0 else (ny if axis == 1 else nz)
    one = ny if axis == 0 else nx
    two = nz if axis < 2 else ny
    for i in range(one):
        for j in range(two):
            begin, length = -1, 0.0
            for k in range(size + 1):
                share = 0.0
                if k < size:
                    share = room[k, i, j] if axis == 0 else (room[i, k, j] if axis == 1 else room[i, j, k])
                if share > 0.0:
                    if begin < 0:
                        begin, length = k, 0.0
                    length += share * cell
                elif begin >= 0:
                    for m in range(begin, k):
                        if axis == 0:
                            out[m, i, j] = min(out[m, i, j], length)
                        elif axis == 1:
                            out[i, m, j] = min(out[i, m, j], length)
                        else:
                            out[i, j, m] = min(out[i, j, m], length)
                    begin = -1


def widths(room, cell, widest):
    """Width [m] of the cavity at each cell, (nx, ny, nz), at most ``widest``, infinite in walls.

    The shortest open run along an axis through the cell, or the widest cube of cells that holds it and fits into the cavity: corners and rounded
    edges of a section are as wide as the section, the mouth of a slot is not as wide as what it opens to.
    """
    runs = np.full(room.shape, np.inf)
    for axis in range(3):
        _runs(np.ascontiguousarray(room), axis, float(cell), runs)
    is_open = room > 0.0
    runs = np.where(is_open, np.minimum(runs, widest), 0.0)
    out = runs
    for n in range(2, math.ceil(widest / cell) + 2):
        least = ndimage.minimum_filter(runs, size=n, mode="constant")
        held = np.where(least > 0.0, np.maximum(least, min((n - 1) * cell, widest)), 0.0)
        out = np.maximum(out, ndimage.maximum_filter(held, size=n, mode="constant", origin=0 if n % 2 else -1))
    beside = ndimage.maximum_filter(out, size=3, mode="constant")
    return np.where(is_open, np.where(room < 1.0, beside, out), np.inf)
