"""Which pools of liquid stand when, what they draw their volume loss from, and the voids that are left.

Cells are kept in the order in which they close, latest first: the cells still open at a moment are the first of the list, and the
first of a pool is the one that closes last. Time runs forward from level to level; between two levels the pools are the connected
open cells (by faces), each cell takes what keeps it full while its density rises, and its pool gives that from the highest metal
open to the air that still flows, else from the highest that is stiff already, or, cut off from the air, from where it closes last.
Each cell begins at a density of its own and never falls under it: what warms up first, or melts again, pushes nothing out.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Mask = NDArray[np.bool_]
GRAIN = 4096  # moments of closing are told apart to this part of the last; among equals the higher cell counts as later: voids rise
LEAST = 8  # cells of a pool whose parting gets a level of its own
PARTINGS = 150  # levels given to such partings at most, the largest pools first
EMPTY = 1e-12  # fill under which a cell is empty


class Fed(NamedTuple):
    """What came of it. Cells in the order given; pools by number, each named by the cell in which it ended."""

    open_void: Floats  # (n,) share of the cell emptied through a surface open to the air
    closed_void: Floats  # (n,) share emptied in a pool cut off from it
    pool: Whole  # (n,) pool the cell belonged to last; -1 for one that was solid from the start
    last: Whole  # (p,) cell of each pool that closes last
    parted: Floats  # (p,) when it parted from the pool it came from, 0 for those of the pour
    cut: Floats  # (p,) when it was cut off from the air, NaN if never
    held: Floats  # (p,) metal it held then, or when it parted from a pool already cut off; NaN if never cut off
    ended: Floats  # (p,) when its last cell closed
    opened: Floats  # (p,) volume emptied in it through open surfaces
    closed: Floats  # (p,) volume emptied in it while cut off
    drawn: Floats  # (b,) last moment metal was drawn from each body while in one pool with the part; NaN if never
    joined: Floats  # (b,) last moment the body had metal in one pool with the part; NaN if never
    short: float  # mass that no cell was left to give; nought but for rounding
    levels: int


@njit(cache=True, nogil=True)
def _root(parent, i):
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@njit(cache=True, nogil=True)
def _partings(near, touch, least):
    """How many cells the lesser of two pools has where they part at each cell, or a pool where it loses its last surface; else 0."""
    n = near.shape[0]
    parent, size, aired = np.arange(n), np.ones(n, np.int64), touch.copy()
    out = np.zeros(n, np.int64)
    for i in range(n):
        for k in range(6):
            j = near[i, k]
            if j < 0 or j >= i:
                continue
            a, b = _root(parent, i), _root(parent, j)
            if a == b:
                continue
            if b < a:
                a, b = b, a
            lesser = b if b != i else a
            if (b != i or (aired[b] and not aired[a])) and size[lesser] >= least:
                out[i] = max(out[i], size[lesser])
            parent[b] = a
            size[a] += size[b]
            aired[a] = aired[a] or aired[b]
    return out


@njit(cache=True, nogil=True)
def _lower(cells, first, last, height, top, want, fill, dens, volume, aired):
    """Level below which ``want`` stands above in the layer ``top`` of a pool: the share left in its cells; less than 0 if they hold less."""
    level = -1.0
    while True:
        mass, width = -want, 0.0
        for p in range(first, last):
            i = cells[p]
            if aired[i] and height[i] == top and fill[i] > max(level, 0.0):
                mass += fill[i] * dens[i] * volume[i]
                width += dens[i] * volume[i]
        if level < 0.0 and mass <= 0.0:
            return -1.0
        if mass <= 0.0 or width == 0.0:  # so little is wanted that rounding swallows it
            return level
        if mass / width <= level * (1.0 + 1e-14):
            return level
        level = mass / width


@njit(cache=True, nogil=True)
def _bare(cells, last, near, height, top, fill, aired, gone):
    """Take the emptied cells of the layer ``top`` out of the pool and bare what lies beside them."""
    count = 0  # first all are taken out, so that none bared now counts as emptied with them
    for p in range(last):
        i = cells[p]
        if aired[i] and height[i] == top and fill[i] < EMPTY and not gone[i]:
            gone[i], fill[i] = True, -1.0
            count += 1
    for p in range(last):
        i = cells[p]
        if count > 0 and fill[i] < 0.0:
            fill[i] = 0.0
            for k in range(6):
                if near[i, k] >= 0:
                    aired[near[i, k]] = True


@njit(cache=True, nogil=True)
def _top(cells, first, last, height, fill, aired):
    """Height of the highest cell open to the air that holds metal; -1 if there is none."""
    top = -1
    for p in range(first, last):
        i = cells[p]
        if aired[i] and fill[i] > 0.0 and height[i] > top:
            top = height[i]
    return top


@njit(cache=True, nogil=True)
def _march(
    times, rho, begun, close, stiff, starts, near, height, volume, aired, body, is_part, fill, gone, opened, closed, pool, last, parted, cut, held,
    ended, pool_opened, pool_closed, drawn, joined,
):  # fmt: skip
    n, levels = close.size, starts.size - 1
    stamp, label, cells = np.full(n, -1, np.int64), np.zeros(n, np.int64), np.zeros(n, np.int64)
    want, node, dens = np.zeros(n), np.zeros(n, np.int64), begun.copy()
    taken, pointer = np.full(n, -1, np.int64), np.zeros(n, np.int64)
    seen = np.full(drawn.size, -1, np.int64)
    flows, lift = 1 + height.max(), height.copy()  # what still flows goes before all that is stiff, however high
    pools, count, short, t0 = 0, 0, 0.0, 0.0
    for level in range(levels):
        m, q = starts[level], starts[level + 1]
        t1 = close[q]
        for i in range(m):
            if gone[i]:
                continue
            lift[i] = height[i] + (flows if t0 < stiff[i] else 0)
            if i >= q:
                now = rho[-1]
            else:
                while node[i] + 2 < rho.size and times[node[i] + 1, i] <= t1:
                    node[i] += 1
                a, b = times[node[i], i], times[node[i] + 1, i]
                share = min(max((t1 - a) / (b - a), 0.0), 1.0) if b > a else 1.0
                low, high = max(rho[node[i]], begun[i]), max(rho[node[i] + 1], begun[i])
                now = low + share * (high - low)
            want[i] = fill[i] * (now - dens[i]) * volume[i]
            dens[i] = now
        for s in range(m):
            if stamp[s] == level or gone[s]:
                continue
            # the pool of cell s, the latest in it
            cells[0], first, end = s, 0, 1
            stamp[s] = level
            lack, metal, has_part, top = 0.0, 0.0, False, -1
            while first < end:
                i = cells[first]
                first += 1
                label[i] = count
                lack += want[i]
                metal += fill[i] * volume[i]
                has_part = has_part or (is_part[i] and fill[i] > 0.0)
                if fill[i] > 0.0:
                    seen[body[i]] = count
                    if aired[i] and lift[i] > top:
                        top = lift[i]
                for k in range(6):
                    j = near[i, k]
                    if 0 <= j < m and stamp[j] != level and not gone[j]:
                        stamp[j] = level
                        cells[end] = j
                        end += 1
            before = pool[s]
            if before >= 0 and taken[before] != level:
                name = before
            else:
                name = pools
                pools += 1
                parted[name] = t0
                if before >= 0 and cut[before] == cut[before]:
                    cut[name], held[name] = cut[before], metal
            taken[name] = level
            last[name], ended[name] = s, t1
            for p in range(end):
                pool[cells[p]] = name
            if has_part:
                for k in range(seen.size):
                    if seen[k] == count:
                        joined[k] = t1
            if top < 0 and cut[name] != cut[name]:
                cut[name], held[name] = t0, metal
            while lack > 0.0 and top >= 0:
                left = max(_lower(cells, 0, end, lift, top, lack, fill, dens, volume, aired), 0.0)
                given = 0.0
                for p in range(end):
                    i = cells[p]
                    if aired[i] and lift[i] == top and fill[i] > left:
                        share = fill[i] - left
                        given += share * dens[i] * volume[i]
                        opened[i] += share
                        pool_opened[name] += share * volume[i]
                        fill[i] = left
                        if has_part:
                            drawn[body[i]] = t1
                if left < EMPTY:
                    _bare(cells, end, near, lift, top, fill, aired, gone)
                lack = lack - given if left == 0.0 else 0.0
                if lack > 0.0:
                    top = _top(cells, 0, end, lift, fill, aired)
            i = max(pointer[name], s)
            while lack > 0.0 and i < m:
                if stamp[i] == level and label[i] == count and fill[i] > 0.0:
                    share = min(fill[i], lack / (dens[i] * volume[i]))
                    lack = lack - share * dens[i] * volume[i] if share == fill[i] else 0.0
                    fill[i] -= share
                    closed[i] += share
                    pool_closed[name] += share * volume[i]
                    if has_part:
                        drawn[body[i]] = t1
                if lack > 0.0:
                    i += 1
            pointer[name] = i
            short += max(lack, 0.0)
            count += 1
        t0 = t1
    return pools, short


def feed(
    times: Floats, densities: Floats, begun: Floats, close: Floats, stiff: Floats, near: Whole, height: Whole, volume: Floats, touch: Mask,
    body: Whole, is_part: Mask, bodies: int, levels: int = 150,
) -> Fed:  # fmt: skip
    """Follow the pools of ``n`` cells of metal.

    ``times`` (k, n) when each cell has each of the ``densities`` (k,), which do not fall, straight lines between; ``begun`` (n,) the density
    each begins with, none over the last: it stays at it until it passes one that is higher; ``close`` (n,) when a cell neither gives nor
    passes on metal any more: what it still wants to reach the last density is drawn at that moment; ``stiff`` (n,) when its crystals
    lock: what is open to the air and still flows gives before what stands, evenly in each layer; ``near`` (n, 6) its neighbours or -1;
    ``height`` (n,) whole numbers, up; ``volume`` (n,); ``touch`` (n,) whether air stands beside or over it; ``body`` (n,) numbers under
    ``bodies``; ``is_part`` (n,). ``levels`` equal parts of the cells set the steps; the moments at which larger pools part or lose their
    surface are added. The metal's mass stays as poured to rounding.
    """
    n = close.size
    grain = float(close.max()) / GRAIN
    moment = np.round(close / grain) * grain if grain > 0.0 else np.asarray(close, dtype=np.float64)
    order = np.lexsort((-height, -moment))
    rank = np.empty(n + 1, np.int64)
    rank[order], rank[n] = np.arange(n), -1
    moment = np.ascontiguousarray(moment[order])
    beside = np.ascontiguousarray(rank[near[order]])
    aired = np.ascontiguousarray(touch[order])
    starts = _levels(moment, _partings(beside, aired, LEAST), levels)
    fill, dens = np.ones(n), np.ascontiguousarray(begun[order], dtype=np.float64)
    out_of_it = (dens >= densities[-1]) & (moment <= 0.0)  # solid all along: it wants nothing, gives nothing and passes nothing on
    opened, closed = np.zeros((2, n))
    pool, last = np.full(n, -1, np.int64), np.zeros(n, np.int64)
    parted, cut, held, ended = np.full((4, n), np.nan)
    pool_opened, pool_closed = np.zeros((2, n))
    drawn, joined = np.full((2, bodies), np.nan)
    rising = np.ascontiguousarray(np.maximum.accumulate(times[:, order], axis=0))
    count, short = _march(
        rising, np.ascontiguousarray(densities, dtype=np.float64), dens, moment, np.ascontiguousarray(stiff[order]), starts, beside,
        np.ascontiguousarray(height[order]),
        np.ascontiguousarray(volume[order]), aired, np.ascontiguousarray(body[order]), np.ascontiguousarray(is_part[order]), fill, out_of_it,
        opened, closed, pool, last, parted, cut, held, ended, pool_opened, pool_closed, drawn, joined,
    )  # fmt: skip
    out, inside, whose = np.empty(n), np.empty(n), np.empty(n, np.int64)
    out[order], inside[order], whose[order] = opened, closed, pool
    return Fed(
        open_void=out,
        closed_void=inside,
        pool=whose,
        last=order[last[:count]],
        parted=parted[:count],
        cut=cut[:count],
        held=held[:count],
        ended=ended[:count],
        opened=pool_opened[:count],
        closed=pool_closed[:count],
        drawn=drawn,
        joined=joined,
        short=short,
        levels=starts.size - 1,
    )


def _levels(moment: Floats, sizes: Whole, levels: int) -> Whole:
    """Numbers of cells open at the start of each step, falling from all to none; cells that close together are never told apart."""
    n = moment.size
    even = np.round(np.linspace(0, n, max(levels, 1) + 1)).astype(np.int64)
    at = np.flatnonzero(sizes)
    large = at[np.argsort(-sizes[at], kind="stable")[:PARTINGS]]
    tail = np.geomspace(1.0, max(n / max(levels, 1), 1.0), 12).astype(np.int64)  # the last pool narrows to a point: finer steps there
    wanted = np.unique(np.concatenate([even, large, tail]))
    first = np.searchsorted(-moment, -moment[np.minimum(wanted, n - 1)])  # the first cell that closes when the wanted one does
    return np.unique(np.concatenate([np.where(wanted < n, first, n), [0, n]]))[::-1].copy()


def neighbours(mask: Mask) -> Whole:
    """(n, 6) numbers of the face neighbours x-, x+, y-, y+, z-, z+ of the cells of ``mask`` in index order; -1 where there is none."""
    number = np.full(tuple(d + 2 for d in mask.shape), -1, np.int64)
    inner = number[1:-1, 1:-1, 1:-1]
    inner[mask] = np.arange(int(mask.sum()))
    views = [number[tuple(slice(1 + (step if a == axis else 0), (-1 + step if a == axis else -1) or None) for a in range(3))]
             for axis in range(3) for step in (-1, 1)]  # fmt: skip
    return np.stack([view[mask] for view in views], axis=1)


def warm() -> None:
    """Compile it, or load it from disk, on a toy."""
    mask = np.ones((2, 1, 2), np.bool_)
    one = np.ones(4)
    feed(
        np.array([[0.0] * 4, [1.0, 2.0, 3.0, 4.0]]), np.array([1.0, 1.1]), one, np.arange(1.0, 5.0), np.arange(4.0), neighbours(mask),
        np.array([0, 1, 0, 1]), one, np.zeros(4, np.bool_), np.zeros(4, np.int64), one > 0.0, 1,
    )  # fmt: skip
