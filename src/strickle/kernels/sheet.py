"""A sheet of heights over a plan: drawn taut between bounds, and kept from standing steeper than sand stands.

Arrays are per node (nx, ny) but ``sand``, which is per cell (nx - 1, ny - 1): true where the sheet is not wholly in metal there.
"""

from __future__ import annotations

import numpy as np
from numba import njit

OVER = 1.9  # over-relaxation of the taut sheet
DIAGONAL = np.sqrt(2.0)


@njit(cache=True, nogil=True)
def taut(height, low, high, pull, sweeps, close):
    """Draw the sheet taut between its bounds, in place; the border keeps its heights. Gives the number of sweeps.

    ``pull`` is the square of the node spacing over the length in which a free sheet falls back to zero. Ends where no node moves
    more than ``close`` in a sweep. Red and black nodes take turns, so that no side of the plan goes first.
    """
    nx, ny = height.shape
    factor = 1.0 / (4.0 + pull)
    for sweep in range(sweeps):
        most = 0.0
        for colour in range(2):
            for i in range(1, nx - 1):
                for j in range(1 + (i + colour) % 2, ny - 1, 2):
                    mean = factor * (height[i - 1, j] + height[i + 1, j] + height[i, j - 1] + height[i, j + 1])
                    old = height[i, j]
                    new = min(max(old + OVER * (mean - old), low[i, j]), high[i, j])
                    most = max(most, abs(new - old))
                    height[i, j] = new
        if most < close:
            return sweep + 1
    return sweeps


@njit(cache=True, nogil=True, inline="always")
def _limited(sand, i, j, k, m):
    """Whether the slope from node (i, j) to its neighbour (k, m) is limited: a cell beside or under the step is not wholly in metal."""
    a, b = min(i, k), min(j, m)
    if i != k and j != m:
        return sand[a, b]
    if i != k:
        return (b > 0 and sand[a, b - 1]) or (b < sand.shape[1] and sand[a, b])
    return (a > 0 and sand[a - 1, b]) or (a < sand.shape[0] and sand[a, b])


@njit(cache=True, nogil=True)
def capped(height, sand, rise):
    """The highest sheet nowhere over ``height`` that rises no more than ``rise`` from node to node where there is sand."""
    nx, ny = height.shape
    out = height.copy()
    moved = True
    while moved:
        moved = False
        for turn in range(4):
            for p in range(nx):
                i = p if turn % 2 == 0 else nx - 1 - p
                for q in range(ny):
                    j = q if turn < 2 else ny - 1 - q
                    best = out[i, j]
                    for di in range(-1, 2):
                        for dj in range(-1, 2):
                            k, m = i + di, j + dj
                            if (di == 0 and dj == 0) or k < 0 or m < 0 or k >= nx or m >= ny:
                                continue
                            reach = out[k, m] + (rise * DIAGONAL if di != 0 and dj != 0 else rise)
                            if reach < best - 1e-9 and _limited(sand, i, j, k, m):
                                best = reach
                    if best < out[i, j]:
                        out[i, j] = best
                        moved = True
    return out


def warm() -> None:
    """Compile, or load from disk, by a small sheet under a roof."""
    flat, roof = np.zeros((3, 3)), np.ones((3, 3))
    taut(flat.copy(), -roof, roof, 0.1, 2, 1e-3)
    capped(roof, np.ones((3, 3), dtype=np.bool_), 0.5)
