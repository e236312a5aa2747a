"""A closed mesh to signed columns along z and to cell fractions.

A column meets a triangle where the triangle's outline winds round the column in plan.  The winding is counted edge by edge: an edge
counts for a row when its ends lie on two sides of it (half-open, so an end on the row belongs to one side only), at the place where
it crosses the row, worked out with its ends in one canonical order.  Two triangles that share an edge therefore agree on that place
to the last bit, the counts of a closed mesh cancel in every column, and no column leaks (the top-left fill rule without its ties).
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@njit(cache=True, nogil=True, inline="always")
def _crossing(ax, ay, bx, by, y):
    """Where the edge crosses the row at ``y``; the ends are put in canonical order (lower y first) before the sum."""
    if ay > by:
        ax, ay, bx, by = bx, by, ax, ay
    x = ax + (y - ay) * ((bx - ax) / (by - ay))
    return min(max(x, min(ax, bx)), max(ax, bx))


LONG = 48  # hits in a column from which merging is quicker than insertion


@njit(cache=True, nogil=True)
def _scan(vertices, faces, ox, oy, cell, nx, ny, cursor, z_out, sign_out, face_out, write):
    """One walk over all triangles: counts hits into ``cursor[column]``, or writes them at the cursor and moves it on.

    The first column's centre stands at (ox, oy). Sign +1 enters metal going up, -1 leaves it.
    """
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = vertices[a, 0], vertices[a, 1], vertices[a, 2]
        bx, by, bz = vertices[b, 0], vertices[b, 1], vertices[b, 2]
        cx, cy, cz = vertices[c, 0], vertices[c, 1], vertices[c, 2]
        low, high = min(ay, by, cy), max(ay, by, cy)
        first = max(int(np.floor((low - oy) / cell)), 0)
        last = min(int(np.ceil((high - oy) / cell)), ny - 1)
        if first > last:
            continue
        z_low, z_high = min(az, bz, cz), max(az, bz, cz)
        nx_, ny_, nz_ = (
            (by - ay) * (cz - az) - (bz - az) * (cy - ay),
            (bz - az) * (cx - ax) - (bx - ax) * (cz - az),
            (bx - ax) * (cy - ay) - (by - ay) * (cx - ax),
        )
        for iy in range(first, last + 1):
            y = oy + iy * cell
            ka, kb, kc = ay <= y, by <= y, cy <= y
            if ka == kb and kb == kc:
                continue
            up, down = 0.0, 0.0  # crossings of the edge that goes up in y, and of the one that goes down
            if ka != kb:
                if ka:
                    up = _crossing(ax, ay, bx, by, y)
                else:
                    down = _crossing(ax, ay, bx, by, y)
            if kb != kc:
                if kb:
                    up = _crossing(bx, by, cx, cy, y)
                else:
                    down = _crossing(bx, by, cx, cy, y)
            if kc != ka:
                if kc:
                    up = _crossing(cx, cy, ax, ay, y)
                else:
                    down = _crossing(cx, cy, ax, ay, y)
            # counter-clockwise from above (normal up, metal below) has its down-going edge on the left: leaving
            i = int(np.ceil((min(up, down) - ox) / cell))
            j = int(np.ceil((max(up, down) - ox) / cell))
            i, j = max(i, 0), min(j, nx)
            sign = -1 if down < up else 1
            for ix in range(i, j):
                column = ix * ny + iy
                if write:
                    x = ox + ix * cell
                    z = az
                    if nz_ != 0.0:
                        z = az - (nx_ * (x - ax) + ny_ * (y - ay)) / nz_
                    at = cursor[column]
                    z_out[at] = min(max(z, z_low), z_high)
                    sign_out[at] = sign
                    face_out[at] = f
                cursor[column] += 1


@njit(cache=True, nogil=True)
def _sort(start, z, sign, face):
    """Sort the hits of each column by height: by insertion, as columns are short, or by merging where one is not."""
    for column in range(start.size - 1):
        low, high = start[column], start[column + 1]
        if high - low > LONG:
            order = np.argsort(z[low:high], kind="mergesort")
            z[low:high] = z[low:high][order]
            sign[low:high] = sign[low:high][order]
            face[low:high] = face[low:high][order]
            continue
        for i in range(start[column] + 1, start[column + 1]):
            zi, si, fi = z[i], sign[i], face[i]
            j = i - 1
            while j >= start[column] and z[j] > zi:
                z[j + 1], sign[j + 1], face[j + 1] = z[j], sign[j], face[j]
                j -= 1
            z[j + 1], sign[j + 1], face[j + 1] = zi, si, fi


@njit(cache=True, nogil=True)
def _columns(vertices, faces, ox, oy, cell, nx, ny):
    """Counted, written and sorted hits of the columns whose first centre is (ox, oy)."""
    cursor = np.zeros(nx * ny, np.int64)
    none_z, none_s, none_f = np.empty(0), np.empty(0, np.int8), np.empty(0, np.int32)
    _scan(vertices, faces, ox, oy, cell, nx, ny, cursor, none_z, none_s, none_f, False)
    start = np.zeros(nx * ny + 1, np.int64)
    for i in range(nx * ny):
        start[i + 1] = start[i] + cursor[i]
        cursor[i] = start[i]
    z, sign, face = np.empty(start[-1]), np.empty(start[-1], np.int8), np.empty(start[-1], np.int32)
    _scan(vertices, faces, ox, oy, cell, nx, ny, cursor, z, sign, face, True)
    _sort(start, z, sign, face)
    return start, z, sign, face


@njit(cache=True, nogil=True)
def _fill(start, z, sign, oz, cell, share, out):
    """Add ``share`` of a cell for every cell height of metal (winding 1 or more) in each column."""
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
                low, high = (foot - oz) / cell, (z[k] - oz) / cell
                low, high = max(low, 0.0), min(high, float(nz))
                i = int(low)
                while i < high:
                    out[ix, iy, i] += share * (min(high, i + 1.0) - max(low, float(i)))
                    i += 1


@njit(cache=True, nogil=True)
def _fractions(vertices, faces, ox, oy, oz, cell, sub, out):
    """Sum of the rotated sub-columns of every cell."""
    nx, ny = out.shape[0], out.shape[1]
    n = sub * sub
    for j in range(n):
        rook = (j % sub) * sub + j // sub
        start, z, sign, _ = _columns(vertices, faces, ox + (rook + 0.5) / n * cell, oy + (j + 0.5) / n * cell, cell, nx, ny)
        _fill(start, z, sign, oz, cell, 1.0 / n, out)


@njit(cache=True, nogil=True)
def _windings(start, z, sign):
    """(leaking columns, height of metal, height counted twice or more, height inside out) summed over all columns."""
    leaks = 0
    metal, twice, inverted = 0.0, 0.0, 0.0
    for column in range(start.size - 1):
        winding = 0
        for k in range(start[column], start[column + 1]):
            if k > start[column]:
                length = z[k] - z[k - 1]
                if winding >= 1:
                    metal += length
                if winding > 1:
                    twice += length
                if winding < 0:
                    inverted += length
            winding += sign[k]
        if winding != 0:
            leaks += 1
    return leaks, metal, twice, inverted


def _plain(vertices: ArrayLike, faces: ArrayLike) -> tuple[Floats, NDArray[np.int64]]:
    """The one dtype of these kernels."""
    return np.ascontiguousarray(vertices, dtype=np.float64), np.ascontiguousarray(faces, dtype=np.int64)


def columns(
    vertices: ArrayLike, faces: ArrayLike, origin: ArrayLike, cell: float, nx: int, ny: int
) -> tuple[NDArray[np.int64], Floats, NDArray[np.int8], NDArray[np.int32]]:
    """Signed column raster along +z: ``(start, z, sign, face)``.

    Column (ix, iy) has number ``ix * ny + iy``, its centre at ``origin[:2] + (i + 0.5) * cell`` [m]; its hits, lowest first, are
    ``start[n]:start[n + 1]`` (``start`` (nx*ny + 1,) int64).  ``z`` [m] float64; ``sign`` int8: +1 enters metal going up, -1 leaves;
    ``face`` int32.  On a closed mesh the signs of every column sum to zero.
    """
    v, f = _plain(vertices, faces)
    at = np.asarray(origin, dtype=np.float64)
    return _columns(v, f, at[0] + 0.5 * cell, at[1] + 0.5 * cell, float(cell), int(nx), int(ny))  # type: ignore[no-any-return]


def windings(start: NDArray[np.int64], z: Floats, sign: NDArray[np.int8]) -> tuple[int, float, float, float]:
    """How sound the columns are: (leaking columns, height of metal, height counted more than once, height inside out) [m summed]."""
    return _windings(start, z, sign)  # type: ignore[no-any-return]


def fractions(vertices: ArrayLike, faces: ArrayLike, origin: ArrayLike, cell: float, shape: tuple[int, int, int], sub: int = 4) -> Floats:
    """Metal fraction of each cell (nx, ny, nz) float64: exact in z, ``sub * sub`` rotated sub-columns in x and y.

    No two sub-columns of a cell share an x or a y, so walls along the axes are sampled ``sub * sub`` times finer than the cell.
    Overlapping shells count once (winding 1 or more is metal).  ``origin`` is the corner of cell (0, 0, 0) [m].
    """
    v, f = _plain(vertices, faces)
    at = np.asarray(origin, dtype=np.float64)
    out = np.zeros(shape)
    _fractions(v, f, at[0], at[1], at[2], float(cell), int(sub), out)
    np.minimum(out, 1.0, out=out)
    return out


def rescale(fraction: Floats, cell: float, volume: float) -> Floats:
    """Fractions whose sum is ``volume`` [m3]: mixed cells give or take in proportion to their metal or their room.

    Only cells strictly between 0 and 1 move, and they stay between 0 and 1; if they cannot carry the whole difference they end
    empty or full, and the sum still differs.
    """
    out = np.array(fraction)
    mixed = (out > 1e-12) & (out < 1.0 - 1e-12)
    part = out[mixed]
    short = volume / cell**3 - float(out.sum())
    if part.size == 0 or short == 0.0:
        return out
    if short > 0.0:
        out[mixed] = part + (1.0 - part) * min(short / float((1.0 - part).sum()), 1.0)
    else:
        out[mixed] = part * max(1.0 + short / float(part.sum()), 0.0)
    return out


def inside(fraction: Floats) -> NDArray[np.bool_]:
    """A cell is metal where half of it or more is."""
    return np.asarray(fraction >= 0.5)
