"""Late places of a field of times and the passes between them.

Cells are taken in falling order of value and joined to neighbours already taken (26 of them). A cell with none begins a peak; a cell
that joins two peaks is the pass between them: below its value they are one. Arrays (nx, ny, nz) in C order, NaN outside the body.
"""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def _root(parent, i):
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@njit(cache=True, nogil=True)
def _merge(values, order, nx, ny, nz, peak_cell, saddle, into, parent, label):
    """Fills peak_cell, saddle (value at the pass to a higher peak), into (that peak). Returns the number of peaks."""
    peaks = 0
    for k in range(order.size):
        cell = order[k]
        parent[cell] = cell
        label[cell] = -1
        x, y, z = cell // (ny * nz), (cell // nz) % ny, cell % nz
        for dx in range(-1, 2):
            for dy in range(-1, 2):
                for dz in range(-1, 2):
                    a, b, c = x + dx, y + dy, z + dz
                    if a < 0 or b < 0 or c < 0 or a >= nx or b >= ny or c >= nz:
                        continue
                    other = (a * ny + b) * nz + c
                    if other == cell or parent[other] < 0:
                        continue
                    r, s = _root(parent, cell), _root(parent, other)
                    if r == s:
                        continue
                    p, q = label[r], label[s]
                    if p < 0:
                        parent[r] = s
                        continue
                    if values[peak_cell[p]] < values[peak_cell[q]]:
                        p, q, r, s = q, p, s, r
                    saddle[q] = values[cell]
                    into[q] = p
                    parent[s] = r
        r = _root(parent, cell)
        if label[r] < 0:
            peak_cell[peaks] = cell
            label[r] = peaks
            into[peaks] = peaks
            peaks += 1
    return peaks


def late_places(values):
    """Peaks of ``values`` (nx, ny, nz), hottest first: cells (n, 3), value, value at the pass to a hotter peak (0 for the first), that peak.

    Source: the merge tree of a scalar field; union-find in falling order (textbook, from memory).
    """
    nx, ny, nz = values.shape
    flat = np.ascontiguousarray(values, dtype=np.float64).ravel()
    inside = np.flatnonzero(np.isfinite(flat))
    order = inside[np.argsort(-flat[inside], kind="stable")]
    n = max(order.size, 1)
    peak_cell, saddle, into = np.zeros(n, np.int64), np.zeros(n), np.zeros(n, np.int64)
    parent, label = np.full(flat.size, -1, np.int64), np.full(flat.size, -1, np.int64)
    peaks = _merge(flat, order, nx, ny, nz, peak_cell, saddle, into, parent, label)
    cells = np.stack(np.unravel_index(peak_cell[:peaks], values.shape), axis=1)
    rank = np.argsort(-flat[peak_cell[:peaks]], kind="stable")
    back = np.empty(peaks, np.int64)
    back[rank] = np.arange(peaks)
    return cells[rank], flat[peak_cell[:peaks]][rank], saddle[:peaks][rank], back[into[:peaks]][rank]


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


def last_way(values, start, goal):
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
    return _widest(flat, nx, ny, nz, first, goals, np.zeros(room), np.zeros(room, np.int64), best)
