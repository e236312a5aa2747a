"""Winding number of a triangle mesh, closed or not: the solid angle it fills, seen from a point, over the whole sphere.

Triangles are sorted by size, those of a size along a space-filling curve, into leaves of a balanced binary tree.  A branch that is far away
for its size counts as one dipole (Barill, Dickson, Schmidt, Levin, Jacobson, Fast winding numbers for soups and clouds, ACM Transactions on
Graphics 37-4, 2018, first-order term); near ones are opened, and a leaf's triangles are summed exactly (van Oosterom and Strackee, The solid
angle of a plane triangle, IEEE Transactions on Biomedical Engineering 30-2, 1983).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
LEAF = 4
FAR = 2.0  # distance over a branch's radius from which it counts as a dipole


class Tree(NamedTuple):
    """A mesh sorted for winding numbers. Node 1 is the root, 2 n and 2 n + 1 stand under n; leaves come last."""

    corners: Floats  # (m, 3, 3) sorted triangles
    centre: Floats  # (nodes, 3)
    dipole: Floats  # (nodes, 3) area vector
    radius: Floats  # (nodes,) -1 for an empty node
    leaves: int


@njit(cache=True, nogil=True)
def _morton(points, low, span):
    """Place of each point along the curve, 20 bits an axis."""
    out = np.zeros(points.shape[0], np.int64)
    for i in range(points.shape[0]):
        key = np.int64(0)
        for axis in range(3):
            x = np.int64(min(max((points[i, axis] - low[axis]) / span, 0.0), 1.0) * 1048575.0)
            for bit in range(20):
                key |= ((x >> bit) & 1) << (3 * bit + axis)
        out[i] = key
    return out


@njit(cache=True, nogil=True)
def _build(corners, leaves):
    """Centre, dipole and radius of every node, from the leaves up."""
    count = corners.shape[0]
    centre, dipole = np.zeros((2 * leaves, 3)), np.zeros((2 * leaves, 3))
    radius, area = np.full(2 * leaves, -1.0), np.zeros(2 * leaves)
    for leaf in range(leaves):
        n = leaves + leaf
        first, last = leaf * LEAF, min((leaf + 1) * LEAF, count)
        for t in range(first, last):
            a, b, c = corners[t, 0], corners[t, 1], corners[t, 2]
            vector = 0.5 * np.cross(b - a, c - a)
            own = np.sqrt((vector**2).sum()) + 1e-300
            dipole[n] += vector
            area[n] += own
            centre[n] += own * (a + b + c) / 3.0
        if last > first:
            centre[n] /= area[n]
            for t in range(first, last):
                for k in range(3):
                    radius[n] = max(radius[n], np.sqrt(((corners[t, k] - centre[n]) ** 2).sum()))
    for n in range(leaves - 1, 0, -1):
        a, b = 2 * n, 2 * n + 1
        if radius[a] < 0.0:
            continue
        dipole[n] = dipole[a] + dipole[b]
        area[n] = area[a] + area[b]
        centre[n] = (area[a] * centre[a] + area[b] * centre[b]) / area[n]
        radius[n] = np.sqrt(((centre[a] - centre[n]) ** 2).sum()) + radius[a]
        if radius[b] >= 0.0:
            radius[n] = max(radius[n], np.sqrt(((centre[b] - centre[n]) ** 2).sum()) + radius[b])
    return centre, dipole, radius


@njit(cache=True, nogil=True, inline="always")
def _angle(corners, t, x, y, z):
    """Half the solid angle of one triangle."""
    ax, ay, az = corners[t, 0, 0] - x, corners[t, 0, 1] - y, corners[t, 0, 2] - z
    bx, by, bz = corners[t, 1, 0] - x, corners[t, 1, 1] - y, corners[t, 1, 2] - z
    cx, cy, cz = corners[t, 2, 0] - x, corners[t, 2, 1] - y, corners[t, 2, 2] - z
    la, lb, lc = np.sqrt(ax * ax + ay * ay + az * az), np.sqrt(bx * bx + by * by + bz * bz), np.sqrt(cx * cx + cy * cy + cz * cz)
    top = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
    below = la * lb * lc + (ax * bx + ay * by + az * bz) * lc + (bx * cx + by * cy + bz * cz) * la + (cx * ax + cy * ay + cz * az) * lb
    return np.arctan2(top, below)


@njit(cache=True, nogil=True)
def _at(corners, centre, dipole, radius, leaves, points, out):
    stack = np.empty(128, np.int64)
    for i in range(points.shape[0]):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        total = 0.0
        stack[0], top = 1, 1
        while top:
            top -= 1
            n = stack[top]
            if radius[n] < 0.0:
                continue
            dx, dy, dz = centre[n, 0] - x, centre[n, 1] - y, centre[n, 2] - z
            square = dx * dx + dy * dy + dz * dz
            if square > (FAR * radius[n]) ** 2:
                total += (dipole[n, 0] * dx + dipole[n, 1] * dy + dipole[n, 2] * dz) / (square * np.sqrt(square))
            elif n < leaves:
                stack[top], stack[top + 1] = 2 * n, 2 * n + 1
                top += 2
            else:
                first = (n - leaves) * LEAF
                for t in range(first, min(first + LEAF, corners.shape[0])):
                    total += 2.0 * _angle(corners, t, x, y, z)
        out[i] = total / (4.0 * np.pi)


def tree_of(vertices: ArrayLike, faces: ArrayLike) -> Tree:
    """Triangles (n, 3), (m, 3) sorted for ``at``; m must not be 0."""
    corners = np.ascontiguousarray(np.asarray(vertices, np.float64)[np.asarray(faces)])
    middle = corners.mean(axis=1)
    low = middle.min(axis=0)
    span = float((middle.max(axis=0) - low).max()) or 1.0
    size = np.sqrt(((corners - middle[:, None]) ** 2).sum(axis=2).max(axis=1))
    kin = np.clip(np.floor(np.log2(np.maximum(size, 1e-300) / max(float(size.max()), 1e-300)) / 1.5), -7, 0).astype(np.int64) + 7
    corners = np.ascontiguousarray(corners[np.argsort((kin << 60) + _morton(middle, low, span), kind="stable")])
    leaves = 1
    while leaves * LEAF < len(corners):
        leaves *= 2
    centre, dipole, radius = _build(corners, leaves)
    return Tree(corners, centre, dipole, radius, leaves)


def at(tree: Tree, points: ArrayLike) -> Floats:
    """Winding number at each point (k, 3): 1 inside a closed outward mesh, 0 outside; between them near a hole."""
    asked = np.ascontiguousarray(points, dtype=np.float64)
    out = np.empty(len(asked))
    _at(tree.corners, tree.centre, tree.dipole, tree.radius, tree.leaves, asked, out)
    return out


def warm() -> None:
    """Compile."""
    corners = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    at(tree_of(corners, np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])), corners + 0.1)
