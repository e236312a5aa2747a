"""Where an open surface sinks: each cell's loss is spread over what of the surface is open in the liquid that holds the cell."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@njit(cache=True, nogil=True)
def _root(parent, add, i):
    """Root of ``i``, paths halved on the way; ``add`` of a cell is counted over its parent's, a root's own holds for all under it."""
    while parent[i] != i:
        up = parent[i]
        if parent[up] != up:
            add[i] += add[up]
            parent[i] = parent[up]
        i = parent[i]
    return i


@njit(cache=True, nogil=True)
def _join(parent, add, tops, spread, i, j):
    """Join two bodies under the one that closes later, which has the lesser number; what each surface was given stays its own."""
    a, b = _root(parent, add, i), _root(parent, add, j)
    if a == b:
        return
    if b < a:
        a, b = b, a
    parent[b] = a
    add[b] -= add[a]
    tops[a] += tops[b]
    spread[a] += spread[b]
    spread[b] = 0.0


@njit(cache=True, nogil=True)
def _give(r, add, tops, spread, hollow):
    """Lower what is open of body ``r`` by its loss, or leave the loss as a hollow at its latest cell."""
    if spread[r] > 0.0:
        if tops[r] > 0:
            add[r] += spread[r] / tops[r]
        else:
            hollow[r] += spread[r]
        spread[r] = 0.0


@njit(cache=True, nogil=True)
def _settle(order, begin, neighbour, number, is_top, loss, early, sunk, hollow):
    """``order``: padded places, latest first, in groups that begin at ``begin``; ``number``: padded place -> rank or -1."""
    count = order.size
    parent, add, spread, tops = np.arange(count), np.zeros(count), np.zeros(count), np.zeros(count, np.int64)
    for g in range(begin.size - 1):
        first, last = begin[g], begin[g + 1]
        for i in range(first, last):
            tops[i] = 1 if is_top[i] else 0
            spread[i] = loss
        for i in range(first, last):
            for k in range(neighbour.size):
                j = number[order[i] + neighbour[k]]
                if 0 <= j < last:
                    _join(parent, add, tops, spread, i, j)
        for i in range(first, last):
            _give(_root(parent, add, i), add, tops, spread, hollow)
    for i in range(count):  # the liquid's own contraction, while all of a body is still open
        spread[_root(parent, add, i)] += early
    for i in range(count):
        _give(i, add, tops, spread, hollow)
    for i in range(count):
        if is_top[i]:
            j, total = i, add[i]
            while parent[j] != j:
                j = parent[j]
                total += add[j]
            sunk[i] = total


def settle(
    closes: Floats, is_metal: NDArray[np.bool_], is_top: NDArray[np.bool_], loss: float, early: float, groups: int = 400
) -> tuple[Floats, Floats]:
    """Volume sunk at each open cell and left hollow at each cell, both (nx, ny, nz), in units of a cell's volume.

    ``closes`` (nx, ny, nz) when a cell no longer flows; ``loss`` what a cell loses then, ``early`` what it has lost before any closed.
    A loss lowers evenly all open cells ``is_top`` of the connected metal that still flows at that moment, the cell itself counted in;
    where that metal has no open cell left, the loss stays as a hollow at its latest cell. Moments are told apart in ``groups`` equal
    steps, so that alike cells are treated alike. Cells touch by faces. The sums of both fields are those of the losses.
    """
    padded = np.pad(is_metal, 1)
    flat = np.flatnonzero(padded.ravel())
    times = np.asarray(closes, dtype=np.float64)[is_metal]
    step = np.round((times - times.min()) / max(float(np.ptp(times)), 1e-300) * groups, 6)
    rank = np.floor(np.minimum(step, groups - 1)).astype(np.int64)
    turn = np.argsort(-rank, kind="stable")
    order, ranked = flat[turn].astype(np.int64), rank[turn]
    begin = np.concatenate([[0], np.flatnonzero(np.diff(ranked)) + 1, [len(order)]]).astype(np.int64)
    number = np.full(padded.size, -1, np.int64)
    number[order] = np.arange(len(order))
    _, ny, nz = padded.shape
    sides = np.array([ny * nz, -ny * nz, nz, -nz, 1, -1], np.int64)
    sunk, hollow = np.zeros(len(order)), np.zeros(len(order))
    _settle(order, begin, sides, number, np.ascontiguousarray(is_top[is_metal][turn]), float(loss), float(early), sunk, hollow)
    cells = np.flatnonzero(is_metal.ravel())[turn]
    out = np.zeros((2, is_metal.size))
    out[0, cells], out[1, cells] = sunk, hollow
    return out[0].reshape(is_metal.shape), out[1].reshape(is_metal.shape)


def warm() -> None:
    """Compile it, or load it from disk, on a toy."""
    metal = np.ones((2, 1, 2), np.bool_)
    settle(np.arange(4.0).reshape(2, 1, 2), metal, metal, 0.1, 0.0)
