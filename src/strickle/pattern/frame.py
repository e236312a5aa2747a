"""The mould frame: z up along the draw, parting at z = 0, x along the longer side of the silhouette, which is centred."""

from __future__ import annotations

import numpy as np
from scipy.spatial import ConvexHull

from strickle.base import Array
from strickle.pattern.directions import basis

NEAR = 1.005  # a rectangle this little larger is taken if it leaves the part's own axes where they are


def least_rectangle(points: Array) -> tuple[Array, Array]:
    """Smallest rectangle round points in plan (n, 2): rotation (2, 2) whose first row is its longer side, and its middle (2,).

    Of rectangles within half a per cent of the least, the one that turns the points least is taken.
    """
    hull = points[ConvexHull(points).vertices]
    sides = np.roll(hull, -1, axis=0) - hull
    angles = np.unique(np.round(np.append(np.arctan2(sides[:, 1], sides[:, 0]) % (np.pi / 2), 0.0), 9))
    turns = np.stack([np.stack([np.cos(angles), np.sin(angles)], 1), np.stack([-np.sin(angles), np.cos(angles)], 1)], 1)
    placed = np.einsum("kij,nj->kni", turns, hull)
    size = np.ptp(placed, axis=1)
    area = size.prod(axis=1)
    near = np.flatnonzero(area <= area.min() * NEAR)
    tilt = np.minimum(angles, np.pi / 2 - angles)
    best = near[int(np.argmin(tilt[near]))]
    turn, middle = turns[best], (placed[best].max(axis=0) + placed[best].min(axis=0)) / 2
    at = turn.T @ middle
    if size[best, 1] > size[best, 0] * (1 + 1e-9):
        turn = np.stack([turn[1], -turn[0]])
    if turn[0][int(np.argmax(np.abs(turn[0])))] < 0:
        turn = -turn
    return turn, at


def frame(vertices: Array, draw: Array, level: float, scale: Array) -> tuple[Array, Array]:
    """Rotation (3, 3) and shift (3,) [m] with mould = scale * (turn @ part) + shift."""
    up = basis(draw)
    plan, middle = least_rectangle(vertices @ up[:2].T)
    turn = np.vstack([plan @ up[:2], up[2]])
    shift = -scale * np.append(plan @ middle, level)
    return turn, shift
