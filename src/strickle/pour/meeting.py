"""Where fronts of metal meet: places at which arrival is later than on both sides, with metal coming from both."""

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
        found = np.argwhere(inside & facing & runs)
        if not len(found):
            continue
        low, high = found + _step(axis, 1), found + _step(axis, 2)
        pairs.append((low, high))
        marked[tuple(low.T)] = marked[tuple(high.T)] = True
    return _grouped(pairs, marked, arrival, temperature) if pairs else []


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


def _grouped(pairs: list[tuple[Array, Array]], marked: Array, arrival: Array, temperature: Array) -> list[Meeting]:
    low, high = (np.concatenate([pair[k] for pair in pairs]) for k in (0, 1))
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
