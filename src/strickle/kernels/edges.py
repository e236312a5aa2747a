"""Rays in a plane against the edges of outlines."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
PARALLEL = 1e-12  # cross product of ray and edge under which they do not cross


@njit(cache=True, nogil=True)
def _feel(origins, directions, edges, far, first, second, crossings):
    for r in range(origins.shape[0]):
        ox, oy, dx, dy = origins[r, 0], origins[r, 1], directions[r, 0], directions[r, 1]
        near, next_one, count = far, far, 0
        for k in range(edges.shape[0]):
            ax, ay = edges[k, 0], edges[k, 1]
            ex, ey = edges[k, 2] - ax, edges[k, 3] - ay
            turn = dx * ey - dy * ex
            if abs(turn) < PARALLEL:
                continue
            gap_x, gap_y = ax - ox, ay - oy
            u = (gap_x * dy - gap_y * dx) / turn
            if u < 0.0 or u >= 1.0:
                continue
            t = (gap_x * ey - gap_y * ex) / turn
            if t <= 0.0:
                continue
            count += 1
            if t < near:
                near, next_one = t, near
            elif t < next_one:
                next_one = t
        first[r], second[r], crossings[r] = near, next_one, count


def feel(origins: Floats, directions: Floats, edges: Floats, far: float) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """First crossing, second crossing (``far`` where there is none) and number of crossings of each ray (n,).

    ``origins`` and ``directions`` (n, 2); ``edges`` (m, 4) x0 y0 x1 y1, each with its first end and without its last.
    """
    count = len(origins)
    first, second, crossings = np.empty(count), np.empty(count), np.empty(count, np.int64)
    _feel(
        np.ascontiguousarray(origins, dtype=np.float64), np.ascontiguousarray(directions, dtype=np.float64),
        np.ascontiguousarray(edges, dtype=np.float64), float(far), first, second, crossings,
    )  # fmt: skip
    return first, second, crossings


def warm() -> None:
    """Compile, or load from disk, by one ray against one edge."""
    feel(np.zeros((1, 2)), np.ones((1, 2)), np.array([[1.0, 0.0, 0.0, 1.0]]), 1e9)
