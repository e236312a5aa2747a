"""Faces of many corners to triangles: convex ones as fans, others by the library's triangulation in their own plane."""

from __future__ import annotations

import numpy as np

from strickle.base import Array, BadInput

MOST_CORNERS = 5000  # of one face: its slivers cross each line along them, and whatever counts crossings takes for ever


def triangles(vertices: Array, sizes: Array, corners: Array, file: str) -> Array:
    """Triangles (m, 3) of polygons given by their ``sizes`` (k,) and the ``corners`` (sum of sizes,) of one after the other.

    They come in the polygons' order and turn the way the polygons turn. Polygons of fewer than three corners give none. Raises
    BadInput for one of more than ``MOST_CORNERS``.
    """
    sizes = np.asarray(sizes, np.int64)
    if len(sizes) and sizes.max() > MOST_CORNERS:
        raise BadInput(f"{file}: a face of it has {sizes.max()} corners, more than the {MOST_CORNERS} that are read", "Export the part as triangles")
    if len(sizes) and (sizes == 3).all():
        return np.asarray(corners, np.int64).reshape(-1, 3)
    start = np.concatenate([[0], np.cumsum(sizes)])
    made = np.maximum(sizes - 2, 0)
    first = np.concatenate([[0], np.cumsum(made)])
    out = np.empty((int(first[-1]), 3), np.int64)
    for size in np.unique(sizes[sizes >= 3]).tolist():
        which = np.flatnonzero(sizes == size)
        loops = corners[start[which][:, None] + np.arange(size)]
        rows = first[which][:, None] + np.arange(size - 2)
        step = np.arange(1, size - 1)
        out[rows, 0] = loops[:, :1]
        out[rows, 1] = loops[:, step]
        out[rows, 2] = loops[:, step + 1]
        if size > 3:
            for i in np.flatnonzero(~_convex(vertices[loops])).tolist():
                out[rows[i]] = loops[i][_flat(vertices[loops[i]])]
    return out


def normals(points: Array) -> Array:
    """Twice the vector area (k, 3) of loops (k, n, 3)."""
    from_first = points - points[:, :1]
    return np.asarray(np.cross(from_first, np.roll(from_first, -1, axis=1)).sum(axis=1))


def _convex(points: Array) -> Array:
    """Whether each loop turns one way at every corner and once round in all, seen along its normal."""
    normal = normals(points)
    edge = np.roll(points, -1, axis=1) - points
    turn = np.einsum("ijk,ik->ij", np.cross(np.roll(edge, 1, axis=1), edge), normal)
    fan = points - points[:, :1]
    swept = np.einsum("ijk,ik->ij", np.cross(fan[:, 1:-1], fan[:, 2:]), normal)
    return np.asarray((turn >= 0.0).all(axis=1) & (swept >= 0.0).all(axis=1))


def plane_of(normal: Array) -> Array:
    """Two directions (3, 2) that span the plane of a normal, so that the loop turns left in it."""
    unit = normal / np.linalg.norm(normal)
    side = np.cross(unit, np.eye(3)[int(np.argmin(np.abs(unit)))])
    side /= np.linalg.norm(side)
    return np.column_stack([side, np.cross(unit, side)])


def _flat(points: Array) -> Array:
    """Triangles (n - 2, 3) of one loop (n, 3), by its own numbers; a fan where it has no plane."""
    import manifold3d

    fan = np.column_stack([np.zeros(len(points) - 2, np.int64), np.arange(1, len(points) - 1), np.arange(2, len(points))])
    normal = normals(points[None])[0]
    if not np.linalg.norm(normal) > 0.0 or not np.isfinite(normal).all():
        return fan
    made = np.asarray(manifold3d.triangulate([points @ plane_of(normal)], -1.0, False), np.int64)
    return made if made.shape == fan.shape else fan
