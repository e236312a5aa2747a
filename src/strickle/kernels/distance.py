"""Exact distance from points to a triangle mesh."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@njit(cache=True, nogil=True)
def _square(p, a, b, c):
    """Squared distance from a point to a triangle, by the region of the plane its foot falls in."""
    ab, ac, ap = b - a, c - a, p - a
    d1, d2 = (ab * ap).sum(), (ac * ap).sum()
    if d1 <= 0.0 and d2 <= 0.0:
        return (ap * ap).sum()
    bp = p - b
    d3, d4 = (ab * bp).sum(), (ac * bp).sum()
    if d3 >= 0.0 and d4 <= d3:
        return (bp * bp).sum()
    vc = d1 * d4 - d3 * d2
    if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        q = ap - ab * (d1 / (d1 - d3) if d1 != d3 else 0.0)
        return (q * q).sum()
    cp = p - c
    d5, d6 = (ab * cp).sum(), (ac * cp).sum()
    if d6 >= 0.0 and d5 <= d6:
        return (cp * cp).sum()
    vb = d5 * d2 - d1 * d6
    if vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        q = ap - ac * (d2 / (d2 - d6) if d2 != d6 else 0.0)
        return (q * q).sum()
    va = d3 * d6 - d5 * d4
    if va <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        rest = (d4 - d3) + (d5 - d6)
        q = bp - (c - b) * ((d4 - d3) / rest if rest != 0.0 else 0.0)
        return (q * q).sum()
    total = va + vb + vc
    if total == 0.0:
        return (ap * ap).sum()
    q = ap - ab * (vb / total) - ac * (vc / total)
    return (q * q).sum()


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
