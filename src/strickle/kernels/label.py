"""Merge tree of a field on a grid: its separate high places and the passes at which each joins a higher one."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@njit(cache=True, nogil=True)
def _root(parent, i):
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@njit(cache=True, nogil=True)
def _merge(order, value, place, neighbour, least, peaks, saddles, into):
    """``order``: places in the padded grid, highest first; ``place``: padded grid -> rank or -1 while not yet reached."""
    count = 0
    parent = np.arange(order.size)  # of ranks; a root's rank is its peak, as the first cell is the highest
    for rank in range(order.size):
        at = order[rank]
        place[at] = rank
        own = rank
        for k in range(neighbour.size):
            other = place[at + neighbour[k]]
            if other < 0:
                continue
            other = _root(parent, other)
            own = _root(parent, own)
            if other == own:
                continue
            high, low = min(other, own), max(other, own)
            if low != rank and value[rank] < least * value[low] and count < peaks.size:
                peaks[count], saddles[count], into[count] = low, value[rank], high
                count += 1
            parent[low] = high
    for rank in range(order.size):
        if parent[rank] == rank and count < peaks.size:
            peaks[count], saddles[count], into[count] = rank, 0.0, -1
            count += 1
    return count


def merge_tree(field: Floats, mask: NDArray[np.bool_], least: float = 0.98) -> tuple[Whole, Floats, Whole]:
    """Peaks of ``field`` (positive, nx, ny, nz) inside ``mask``, highest first: ``(cells, saddles, into)``.

    ``cells`` (n,) flat cell numbers; ``saddles`` (n,) the value at the pass to the higher peak each joins first, 0 for the highest
    of each connected piece of the mask; ``into`` (n,) flat cell of that higher peak, -1 if none.  Cells touch by faces, edges and
    corners.  A peak whose pass is at least ``least`` of its own value is no peak of its own.
    """
    padded = np.pad(mask, 1)
    flat = np.flatnonzero(padded.ravel())
    values = np.asarray(field, dtype=np.float64)[mask]
    turn = np.argsort(-values, kind="stable")
    order, value = flat[turn].astype(np.int64), np.ascontiguousarray(values[turn])
    _, ny, nz = padded.shape
    steps = [(i * ny + j) * nz + k for i in (-1, 0, 1) for j in (-1, 0, 1) for k in (-1, 0, 1) if (i, j, k) != (0, 0, 0)]
    place = np.full(padded.size, -1, np.int64)
    room = max(1, min(len(order), 100_000))
    peaks, saddles, into = np.empty(room, np.int64), np.empty(room), np.empty(room, np.int64)
    count = _merge(order, value, place, np.array(steps, np.int64), float(least), peaks, saddles, into)
    cells = np.flatnonzero(mask.ravel())[turn]
    rank = np.argsort(peaks[:count], kind="stable")
    low, high = peaks[:count][rank], into[:count][rank]
    return cells[low], saddles[:count][rank], np.where(high < 0, -1, cells[np.maximum(high, 0)])
