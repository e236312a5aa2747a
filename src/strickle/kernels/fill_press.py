"""Pressure of the metal: conjugate gradients on the liquid cells, each step preceded by one V-cycle over ever coarser grids.

Unknowns of each grid are kept red ones first, then black ones, so that a sweep over one colour runs straight through memory.  Coarse grids
are lumps of 2 x 2 x 2 cells with summed coefficients, so any shape of metal, down to single drops and one-cell gates, has its coarse twin;
the coarse operator is taken smaller than the sum, which makes up for the stairs that lumps put into a smooth correction.

Source: Braess, Towards algebraic multigrid for elliptic problems of second order, Computing 55 (1995) 379-393 (from memory).
"""

# mypy: ignore-errors
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from strickle.kernels.fill_cells import Cells

OVER = 0.55
"""Share of the summed coarse operator that is used."""
SWEEPS = 8
"""On the coarsest grid."""
MOST = 60
"""Iterations after which a solve is called failed."""


class Grids(NamedTuple):
    """Work of the pressure solve; arrays run over all grids, the one of cells first; its last place on each grid is a dummy."""

    base: np.ndarray  # (levels + 1,) where each grid begins
    count: np.ndarray  # (levels,) unknowns
    reds: np.ndarray  # (levels,) of them red
    index: np.ndarray  # which cell or lump it is
    place: np.ndarray  # where a cell or lump is, -1 none
    up: np.ndarray  # its lump on the next grid
    lx: np.ndarray
    ly: np.ndarray
    lz: np.ndarray
    hx: np.ndarray
    hy: np.ndarray
    hz: np.ndarray
    clx: np.ndarray
    cly: np.ndarray
    clz: np.ndarray
    chx: np.ndarray
    chy: np.ndarray
    chz: np.ndarray
    diagonal: np.ndarray
    spare: np.ndarray  # what the diagonal has over the sum of its sides, kept apart: as a difference it would drown in rounding
    inverse: np.ndarray
    right: np.ndarray
    guess: np.ndarray
    x: np.ndarray  # float64, grid of cells only
    r: np.ndarray
    p: np.ndarray
    ap: np.ndarray
    b: np.ndarray
    ties: np.ndarray  # unknowns beside air whose pressure follows from what comes into it
    tie: np.ndarray  # that pocket's number
    tied: np.ndarray  # the sum of their sides to it
    tie_count: np.ndarray  # how many
    yields: np.ndarray  # by pocket: rise of its pressure for what comes in
    sums: np.ndarray


def grids(cells: Cells) -> Grids:
    """Room for the unknowns of a cavity."""
    sizes = [cells.n]
    for level in range(len(cells.first) - 1):
        part = cells.coarse[cells.first[level] : cells.first[level + 1]]
        sizes.append(int(part.max()) + 1)
    base = np.concatenate([[0], np.cumsum(np.array(sizes) + 1)]).astype(np.int64)
    total, levels = int(base[-1]), len(sizes)

    def whole(kind):
        return np.zeros(total, dtype=kind)

    place = np.full(total, -1, dtype=np.int32)
    single = [whole(np.float32) for _ in range(11)]
    double = [np.zeros(cells.n + 1) for _ in range(5)]
    return Grids(
        base, np.zeros(levels, np.int64), np.zeros(levels, np.int64), whole(np.int32), place, whole(np.int32),
        *(whole(np.int32) for _ in range(6)), *single, *double, np.zeros(cells.n + 1, np.int64), np.zeros(cells.n + 1, np.int64),
        np.zeros(cells.n + 1), np.zeros(1, np.int64), np.zeros(cells.n + 1), np.zeros(cells.n + 1),
    )  # fmt: skip


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def arrange(g, liquid, count, odd):
    """Give the liquid cells their places, red ones first."""
    place, index = g.place, g.index
    at = 0
    for k in range(count):
        c = liquid[k]
        if odd[c] == 0:
            place[c] = at
            index[at] = c
            at += 1
    g.reds[0] = at
    for k in range(count):
        c = liquid[k]
        if odd[c] == 1:
            place[c] = at
            index[at] = c
            at += 1
    g.count[0] = count


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def forget(g):
    """Take the places back."""
    base_of, count, place, index = g.base, g.count, g.place, g.index
    for level in range(g.count.shape[0]):
        base = base_of[level]
        for k in range(base, base + count[level]):
            place[base + index[k]] = -1


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _coarsen(g, level, coarse, coarse_odd, first):
    """Lumps of the next grid from the unknowns of this one."""
    base_of, diagonal, lx, ly, lz, hx, hy, hz = g.base, g.diagonal, g.lx, g.ly, g.lz, g.hx, g.hy, g.hz
    clx, cly, clz, chx, chy, chz, inverse = g.clx, g.cly, g.clz, g.chx, g.chy, g.chz, g.inverse
    index, place, up, spare = g.index, g.place, g.up, g.spare
    base, last = base_of[level], base_of[level] + g.count[level]
    start, size = base_of[level + 1], base_of[level + 2] - base_of[level + 1] - 1
    shift = first[level]
    found = 0
    reds = 0
    # stamp the lumps met, counting red ones; parity tables begin where the finer one's lumps are listed
    odd_from = 0
    for k in range(level):
        odd_from += base_of[k + 2] - base_of[k + 1] - 1
    for k in range(base, last):
        lump = coarse[shift + index[k]]
        if place[start + lump] < 0:
            place[start + lump] = 0
            index[start + found] = lump
            found += 1
            if coarse_odd[odd_from + lump] == 0:
                reds += 1
    red, black = start, start + reds
    for k in range(found):
        lump = index[start + k]
        if coarse_odd[odd_from + lump] == 0:
            place[start + lump] = red
            red += 1
        else:
            place[start + lump] = black
            black += 1
    g.count[level + 1] = found
    g.reds[level + 1] = reds
    dummy = start + size
    end = start + found
    for k in range(start, end):
        spare[k] = 0.0
        lx[k] = dummy
        ly[k] = dummy
        lz[k] = dummy
        hx[k] = dummy
        hy[k] = dummy
        hz[k] = dummy
        clx[k] = 0.0
        cly[k] = 0.0
        clz[k] = 0.0
        chx[k] = 0.0
        chy[k] = 0.0
        chz[k] = 0.0
    for k in range(base, last):
        up[k] = place[start + coarse[shift + index[k]]]
        spare[up[k]] += spare[k]
    over = np.float32(OVER)
    for k in range(base, last):
        mine = up[k]
        for axis in range(3):
            if axis == 0:
                a, j = clx[k], lx[k]
            elif axis == 1:
                a, j = cly[k], ly[k]
            else:
                a, j = clz[k], lz[k]
            if a > 0.0:
                other = up[j]
                if other == mine:
                    continue
                if axis == 0:
                    clx[mine] += a * over
                    lx[mine] = other
                    chx[other] += a * over
                    hx[other] = mine
                elif axis == 1:
                    cly[mine] += a * over
                    ly[mine] = other
                    chy[other] += a * over
                    hy[other] = mine
                else:
                    clz[mine] += a * over
                    lz[mine] = other
                    chz[other] += a * over
                    hz[other] = mine
    for k in range(start, end):
        spare[k] *= over
        diagonal[k] = spare[k] + clx[k] + cly[k] + clz[k] + chx[k] + chy[k] + chz[k]
        inverse[k] = 1.0 / max(diagonal[k], np.float32(1e-20))
    for k in range(base, last):
        lump = coarse[shift + index[k]]
        index[place[start + lump]] = lump


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def coarsen(g, coarse, coarse_odd, first):
    """All coarser grids; returns how many grids there are."""
    count = g.count
    levels = 1
    while levels < g.count.shape[0] and count[levels - 1] > 40:
        _coarsen(g, levels - 1, coarse, coarse_odd, first)
        levels += 1
    for level in range(levels, g.count.shape[0]):
        count[level] = 0
    return levels


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _sweep(g, begin, end):
    """Gauss-Seidel over the unknowns begin .. end of one colour."""
    x, b, inv = g.guess, g.right, g.inverse
    lx, ly, lz, hx, hy, hz = g.lx, g.ly, g.lz, g.hx, g.hy, g.hz
    clx, cly, clz, chx, chy, chz = g.clx, g.cly, g.clz, g.chx, g.chy, g.chz
    for k in range(begin, end):
        x[k] = (b[k] + clx[k] * x[lx[k]] + cly[k] * x[ly[k]] + clz[k] * x[lz[k]] + chx[k] * x[hx[k]] + chy[k] * x[hy[k]] + chz[k] * x[hz[k]]) * inv[k]


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _cycle(g, levels):
    """One V-cycle on ``right``, into ``guess``."""
    base_of, reds, count = g.base, g.reds, g.count
    x, b, inv, up = g.guess, g.right, g.inverse, g.up
    lx, ly, lz, hx, hy, hz = g.lx, g.ly, g.lz, g.hx, g.hy, g.hz
    clx, cly, clz, chx, chy, chz = g.clx, g.cly, g.clz, g.chx, g.chy, g.chz
    zero = np.float32(0.0)
    for level in range(levels - 1):
        base, end = base_of[level], base_of[level] + count[level]
        red = base + reds[level]
        for k in range(base, red):
            x[k] = b[k] * inv[k]
        _sweep(g, red, end)
        start = base_of[level + 1]
        for k in range(start, start + count[level + 1]):
            b[k] = zero
        for k in range(base, red):  # what is left stands in the red ones only
            b[up[k]] += clx[k] * x[lx[k]] + cly[k] * x[ly[k]] + clz[k] * x[lz[k]] + chx[k] * x[hx[k]] + chy[k] * x[hy[k]] + chz[k] * x[hz[k]]
    level = levels - 1
    base, end = base_of[level], base_of[level] + count[level]
    red = base + reds[level]
    for k in range(base, end):
        x[k] = zero
    for _ in range(SWEEPS):
        _sweep(g, base, red)
        _sweep(g, red, end)
    for _ in range(SWEEPS):
        _sweep(g, red, end)
        _sweep(g, base, red)
    for down in range(levels - 1):
        level = levels - 2 - down
        base, end = base_of[level], base_of[level] + count[level]
        red = base + reds[level]
        for k in range(base, red):
            x[k] += x[up[k]]
        _sweep(g, red, end)
        _sweep(g, base, red)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _times(g, d, lowx, lowy, lowz, highx, highy, highz, v, out):
    """Out = A v on the grid of cells, in double; returns v . out."""
    count = g.count
    lx, ly, lz, hx, hy, hz = g.lx, g.ly, g.lz, g.hx, g.hy, g.hz
    dot = 0.0
    for k in range(count[0]):
        s = (
            d[k] * v[k]
            - lowx[k] * v[lx[k]] - lowy[k] * v[ly[k]] - lowz[k] * v[lz[k]]
            - highx[k] * v[hx[k]] - highy[k] * v[hy[k]] - highz[k] * v[hz[k]]
        )  # fmt: skip
        out[k] = s
        dot += s * v[k]
    return dot - _yielding(g, v, out)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _yielding(g, v, out):
    """Air that is pressed together by what comes in gives its pressure back to all the metal beside it; returns what that is of v . out."""
    ties, tie, tied, yields, sums = g.ties, g.tie, g.tied, g.yields, g.sums
    count = g.tie_count[0]
    if count == 0:
        return 0.0
    for i in range(count):
        sums[tie[i]] = 0.0
    for i in range(count):
        sums[tie[i]] += tied[i] * v[ties[i]]
    dot = 0.0
    for i in range(count):
        k = ties[i]
        back = yields[tie[i]] * tied[i] * sums[tie[i]]
        out[k] -= back
        dot += back * v[k]
    return dot


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def solve(g, levels, tolerance, least):
    """Solve A x = b from the guess in ``x`` in at least ``least`` iterations: what is left over step after step must not add up where nothing makes
    it good; returns iterations (negative: not reached in MOST) and the worst residual left.
    """
    base, clx, cly, clz, chx, chy, chz = g.base, g.clx, g.cly, g.clz, g.chx, g.chy, g.chz
    count = g.count[0]
    x, r, p, ap, b = g.x, g.r, g.p, g.ap, g.b
    d = g.diagonal
    right, guess = g.right, g.guess
    # dummies of the grid of cells sit at its base + size: keep them zero
    dummy = base[1] - 1
    x[dummy] = 0.0
    p[dummy] = 0.0
    for level in range(levels):
        guess[base[level + 1] - 1] = 0.0
    _times(g, d, clx, cly, clz, chx, chy, chz, x, ap)
    worst = 0.0
    for k in range(count):
        r[k] = b[k] - ap[k]
        worst = max(worst, abs(r[k]))
    if worst <= tolerance and (least == 0 or worst == 0.0):
        return 0, worst
    before = 1.0
    for it in range(MOST):
        for k in range(count):
            right[k] = r[k]
        _cycle(g, levels)
        rho = 0.0
        for k in range(count):
            rho += r[k] * guess[k]
        ratio = 0.0 if it == 0 else rho / before
        before = rho
        for k in range(count):
            p[k] = guess[k] + ratio * p[k]
        down = _times(g, d, clx, cly, clz, chx, chy, chz, p, ap)
        if down <= 0.0:
            return -it - 1, worst
        step = rho / down
        worst = 0.0
        for k in range(count):
            x[k] += step * p[k]
            r[k] -= step * ap[k]
            worst = max(worst, abs(r[k]))
        if worst <= tolerance:
            return it + 1, worst
    return -MOST, worst
