"""Exact distance from points to a triangle mesh."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from strickle.kernels.triangle import foot

Floats = NDArray[np.float64]


@njit(cache=True, nogil=True)
def _square(p, a, b, c):
    """Squared distance from a point to a triangle."""
    ux, uy, uz, vx, vy, vz = b[0] - a[0], b[1] - a[1], b[2] - a[2], c[0] - a[0], c[1] - a[1], c[2] - a[2]
    x, y, z = p[0] - a[0], p[1] - a[1], p[2] - a[2]
    s, t = foot(x, y, z, ux, uy, uz, vx, vy, vz)
    return (x - s * ux - t * vx) ** 2 + (y - s * uy - t * vy) ** 2 + (z - s * uz - t * vz) ** 2


@njit(cache=True, nogil=True)
def _nearest(points, vertices, faces, middle, reach, out, face):
    for i in range(points.shape[0]):
        p = points[i]
        best, at = np.inf, -1
        root = np.inf
        for f in range(faces.shape[0]):
            x, y, z = p[0] - middle[f, 0], p[1] - middle[f, 1], p[2] - middle[f, 2]
            limit = root + reach[f]
            if x * x + y * y + z * z > limit * limit:
                continue
            square = _square(p, vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]])
            if square < best:
                best, at = square, f
                root = np.sqrt(best)
        out[i] = root
        face[i] = at


def nearest(points: ArrayLike, vertices: ArrayLike, faces: ArrayLike) -> tuple[Floats, NDArray[np.int64]]:
    """Distance of each point (n, 3) [m] to the mesh (n,) [m], and the face that is nearest (n,)."""
    p = np.ascontiguousarray(points, dtype=np.float64).reshape(-1, 3)
    v = np.ascontiguousarray(vertices, dtype=np.float64)
    f = np.ascontiguousarray(faces, dtype=np.int64)
    corners = v[f]
    middle = np.ascontiguousarray((corners.min(axis=1) + corners.max(axis=1)) / 2.0)
    reach = np.linalg.norm(corners - middle[:, None, :], axis=2).max(axis=1)
    out, face = np.empty(len(p)), np.empty(len(p), np.int64)
    _nearest(p, v, f, middle, reach, out, face)
    return out, face
