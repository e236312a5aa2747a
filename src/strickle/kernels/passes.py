"""When the last way between two places of a field of times closes."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray


@njit(cache=True, nogil=True)
def _widest(values, nx, ny, nz, start, goal, heap_value, heap_cell, best):
    """Widest path by a heap: the least value met on the best way from ``start`` to any goal cell; -1 if there is none."""
    size = 1
    heap_value[0], heap_cell[0] = values[start], start
    best[start] = values[start]
    while size > 0:
        width, cell = heap_value[0], heap_cell[0]
        size -= 1
        value, item = heap_value[size], heap_cell[size]
        i = 0
        while True:
            j = 2 * i + 1
            if j >= size:
                break
            if j + 1 < size and heap_value[j + 1] > heap_value[j]:
                j += 1
            if heap_value[j] <= value:
                break
            heap_value[i], heap_cell[i] = heap_value[j], heap_cell[j]
            i = j
        heap_value[i], heap_cell[i] = value, item
        if width < best[cell]:
            continue
        if goal[cell]:
            return width
        x, y, z = cell // (ny * nz), (cell // nz) % ny, cell % nz
        for d in range(6):
            a, b, c = x, y, z
            if d == 0:
                a -= 1
            elif d == 1:
                a += 1
            elif d == 2:
                b -= 1
            elif d == 3:
                b += 1
            elif d == 4:
                c -= 1
            else:
                c += 1
            if a < 0 or b < 0 or c < 0 or a >= nx or b >= ny or c >= nz:
                continue
            other = (a * ny + b) * nz + c
            if not np.isfinite(values[other]):
                continue
            through = min(width, values[other])
            if through > best[other]:
                best[other] = through
                i = size
                size += 1
                while i > 0:
                    up = (i - 1) // 2
                    if heap_value[up] >= through:
                        break
                    heap_value[i], heap_cell[i] = heap_value[up], heap_cell[up]
                    i = up
                heap_value[i], heap_cell[i] = through, other
    return -1.0


def last_way(values: NDArray[np.float64], start: NDArray[np.int64], goal: NDArray[np.bool_]) -> float:
    """When the last way from cell ``start`` (3,) to any cell of the mask ``goal`` closes: the widest path's least value; -1 if none.

    ``values`` (nx, ny, nz) times, NaN outside metal. Face neighbours only: metal does not flow round an edge.
    """
    nx, ny, nz = values.shape
    flat = np.ascontiguousarray(values, dtype=np.float64).ravel()
    inside = int(np.count_nonzero(np.isfinite(flat)))
    first = (int(start[0]) * ny + int(start[1])) * nz + int(start[2])
    if not np.isfinite(flat[first]):
        return -1.0
    room = 6 * inside + 8
    best = np.full(flat.size, -1.0)
    goals = np.ascontiguousarray(goal, dtype=np.bool_).ravel()
    return float(_widest(flat, nx, ny, nz, first, goals, np.zeros(room), np.zeros(room, np.int64), best))
