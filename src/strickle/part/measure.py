"""Volume and surface of triangles."""

from __future__ import annotations

import numpy as np

from strickle.base import Array


def volume_of(vertices: Array, faces: Array, times: Array | None = None) -> float:
    """Signed volume enclosed by the triangles, each counted ``times`` if that is given."""
    corners = vertices[faces] - vertices[faces].mean(axis=(0, 1))
    each = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6.0
    return float(each.sum() if times is None else each @ times)


def areas_of(vertices: Array, faces: Array) -> Array:
    """Area of each triangle."""
    corners = vertices[faces]
    return np.asarray(0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1))


def area_of(vertices: Array, faces: Array) -> float:
    """Surface of the triangles."""
    return float(areas_of(vertices, faces).sum())
