"""Where fronts of metal meet, from when metal came to each cell.

Two streams that were apart are told from each other by following each from its first cell on; one stream that parted round something and meets
itself again is told where arrival is later than on both sides, with metal coming from both.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import ndimage

from strickle.base import Array

FACING = -0.5
"""Cosine between the two ways metal comes from, under which fronts run against each other and not side by side."""
QUICKEST = 3.0
"""m/s. Slower arrival than this over a cell is a front that runs; quicker is the noise of a surface that rises level."""
LEAST = 6
"""Faces of cells over which fronts have to meet to be told: fewer are a ripple."""


APART, GREW = 0.05, 30
"""s for which streams ran apart and cells each had before they met: less is a splash."""
TOGETHER = 0.25
"""s. What closes later than that after two streams met rises as one."""


class Meeting(NamedTuple):
    """One seam. Places in cells."""

    at: Array  # (3,) of its middle
    faces: int
    time: float
    colder: float  # K
    warmer: float  # K


def meetings(arrival: Array, temperature: Array, part: Array, cell: float) -> list[Meeting]:
    """Seams of the part's cells (nx, ny, nz), coldest first; ``arrival`` [s] and ``temperature`` [K] are NaN where no metal came."""
    come = part & np.isfinite(arrival)
    slopes = _slopes(_smooth(arrival, come), come, cell)
    size = np.sqrt((slopes**2).sum(axis=0))
    marked = np.zeros(part.shape, bool)
    pairs: list[tuple[Array, Array]] = []
    for axis in range(3):
        one, two, before, after = (_shifted(come, axis, k) for k in (1, 2, 0, 3))
        inside = come[before] & come[one] & come[two] & come[after]
        left, right = slopes[(slice(None), *before)], slopes[(slice(None), *after)]
        both = np.maximum(size[before] * size[after], 1e-30)
        facing = (left * right).sum(axis=0) < FACING * both
        runs = (left[axis] > 1.0 / QUICKEST) & (right[axis] < -1.0 / QUICKEST)
        a, b, c, d = (arrival[k] for k in (before, one, two, after))
        with np.errstate(invalid="ignore"):
            latest = (b > a) & (c > a) & (b >= d) & (c > d)
        found = np.argwhere(inside & facing & runs & latest)
        pairs.append((found + _step(axis, 1), found + _step(axis, 2)))
    apart = _streams(arrival, come)
    told = np.zeros(part.shape, bool)
    told[tuple(apart[0].T)] = True
    told = ndimage.binary_dilation(told, structure=np.ones((3, 3, 3)), iterations=2)  # there the streams tell it
    low, high = (np.concatenate([pair[k] for pair in pairs]) for k in (0, 1))
    alone = ~told[tuple(low.T)]
    low, high = np.concatenate([apart[0], low[alone]]), np.concatenate([apart[1], high[alone]])
    if not len(low):
        return []
    marked[tuple(low.T)] = marked[tuple(high.T)] = True
    return _grouped(low, high, marked, arrival, temperature)


def _streams(arrival: Array, come: Array) -> tuple[Array, Array]:
    """Pairs of cells across which streams that ran apart meet: each cell follows the neighbour that metal came to first."""
    flat = np.flatnonzero(come.ravel())
    order = flat[np.argsort(arrival.ravel()[flat], kind="stable")]
    times = arrival.ravel()
    padded = np.pad(come, 1)
    strides = (padded.shape[1] * padded.shape[2], padded.shape[2], 1)
    places = np.ravel_multi_index([k + 1 for k in np.unravel_index(order, come.shape)], padded.shape)
    when = dict(zip(places.tolist(), times[order].tolist(), strict=True))
    owner: dict[int, int] = {}  # cell -> first cell of its stream
    root: dict[int, int] = {}
    size: dict[int, int] = {}
    met: dict[tuple[int, int], float] = {}

    def top(stream: int) -> int:
        while root[stream] != stream:
            root[stream] = root[root[stream]]
            stream = root[stream]
        return stream

    for cell, now in when.items():
        around = [cell + step * way for step in strides for way in (-1, 1) if cell + step * way in owner]
        if not around:
            owner[cell], root[cell], size[cell] = cell, cell, 1
            continue
        bodies = sorted({top(owner[one]) for one in around}, key=lambda one: when[one])
        owner[cell] = owner[min(around, key=lambda one: when[one])]
        size[bodies[0]] += 1
        for other in bodies[1:]:
            if size[other] >= GREW and size[bodies[0]] >= GREW and now - when[other] >= APART:
                met[(bodies[0], other)] = now
            size[bodies[0]] += size[other]
            root[other] = bodies[0]
    return _across(owner, when, met, strides, padded.shape)


def _across(
    owner: dict[int, int], when: dict[int, float], met: dict[tuple[int, int], float], strides: tuple[int, ...], shape: tuple[int, ...]
) -> tuple[Array, Array]:
    """Pairs of neighbours of streams that met, where they closed within TOGETHER of it."""
    later = {other: now for (_, other), now in met.items()}
    pairs = []
    for cell, stream in owner.items():
        for step in strides:
            other = owner.get(cell + step)
            if other is None or other == stream:
                continue
            limits = [later[one] for one in (stream, other) if one in later]
            if limits and max(when[cell], when[cell + step]) <= max(limits) + TOGETHER:
                pairs.append((cell, cell + step))
    if not pairs:
        return np.zeros((0, 3), int), np.zeros((0, 3), int)
    table = np.array(pairs)
    low, high = (np.stack(np.unravel_index(table[:, k], shape), axis=1) - 1 for k in (0, 1))
    return low, high


def _step(axis: int, by: int) -> Array:
    return np.asarray(np.eye(3, dtype=int)[axis] * by)


def _shifted(of: Array, axis: int, by: int) -> tuple[slice, ...]:
    """Slices of all runs of four cells along an axis, at their place ``by``."""
    size = of.shape[axis]
    return tuple(slice(by, max(size - 3 + by, by)) if a == axis else slice(None) for a in range(3))


def _smooth(values: Array, there: Array) -> Array:
    """Mean over each cell and its face neighbours that are there."""
    kernel = ndimage.generate_binary_structure(3, 1).astype(float)
    total = ndimage.convolve(np.where(there, values, 0.0), kernel, mode="constant")
    count = ndimage.convolve(there.astype(float), kernel, mode="constant")
    return np.asarray(np.where(there, total / np.maximum(count, 1.0), np.nan))


def _slopes(values: Array, there: Array, cell: float) -> Array:
    """Gradient (3, nx, ny, nz) [s/m] over the neighbours that are there, one-sided beside a wall, 0 where there is none."""
    out = np.zeros((3, *values.shape))
    filled, known = np.pad(np.where(there, values, 0.0), 1), np.pad(there, 1)
    inner = (slice(1, -1),) * 3
    for axis in range(3):
        low, high = (tuple(slice(1 + by, values.shape[a] + 1 + by) if a == axis else slice(1, -1) for a in range(3)) for by in (-1, 1))
        has_low, has_high = known[low] & there, known[high] & there
        first = np.where(has_low, filled[low], filled[inner])
        last = np.where(has_high, filled[high], filled[inner])
        out[axis] = (last - first) / np.maximum(has_low.astype(int) + has_high, 1) / cell
    return out


def _grouped(low: Array, high: Array, marked: Array, arrival: Array, temperature: Array) -> list[Meeting]:
    groups, count = ndimage.label(marked, structure=np.ones((3, 3, 3)))
    mine = groups[tuple(low.T)]
    out = []
    for number in range(1, count + 1):
        these = np.flatnonzero(mine == number)
        if len(these) < LEAST:
            continue
        a, b = temperature[tuple(low[these].T)], temperature[tuple(high[these].T)]
        cold = np.minimum(a, b)
        worst = np.argsort(cold)[: max(len(these) // 4, 1)]
        times = np.maximum(arrival[tuple(low[these].T)], arrival[tuple(high[these].T)])
        out.append(
            Meeting(
                at=(0.5 * (low[these] + high[these])).mean(axis=0),
                faces=len(these),
                time=float(times.mean()),
                colder=float(cold[worst].mean()),
                warmer=float(np.maximum(a, b)[worst].mean()),
            )
        )
    return sorted(out, key=lambda one: one.colder)
