"""The true surface of the metal seen from a staircase of cells: where it stands at each face of the staircase, and which way it looks.

At the centre of a face between metal and anything else the nearest point of the mesh is sought once.  Signs come from the normals of
faces, of edges (mean of two) and of corners (weighted by angle; Baerentzen and Aanaes, Signed distance computation using the angle
weighted pseudonormal, IEEE Trans. Visualization and Computer Graphics 11, 2005, 243-253), so that they hold everywhere.  All lengths
are in cells.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from strickle.kernels.triangle import foot

Floats = NDArray[np.float64]
Index = NDArray[np.int64]
SPLIT = 36.0  # square of the longest edge, in cells, of a piece of triangle that is looked round at once
REACH = 1.0  # cells from a face centre within which the surface is expected
FACING = 0.1  # component across the face over which a triangle is what the face stands for; others only where there is no such


class Seen(NamedTuple):
    """The surface at each face centre asked for."""

    offset: Floats  # (f,) signed distance of the face centre, + outside the metal; NaN where the surface is out of reach
    normal: Floats  # (f, 3) outward unit normal there
    nearest: Floats  # (f, 3) nearest point


@njit(cache=True, nogil=True)
def _look(row, points, reach, facing, tri, best, share, owner, f):
    """Take the piece ``tri`` of triangle ``f`` for this row if nothing nearer was found; ``best`` holds squares, with a penalty where
    the triangle does not look the face's way.
    """
    ux, uy, uz = tri[1, 0] - tri[0, 0], tri[1, 1] - tri[0, 1], tri[1, 2] - tri[0, 2]
    vx, vy, vz = tri[2, 0] - tri[0, 0], tri[2, 1] - tri[0, 1], tri[2, 2] - tri[0, 2]
    x, y, z = points[row, 0] - tri[0, 0], points[row, 1] - tri[0, 1], points[row, 2] - tri[0, 2]
    s, t = foot(x, y, z, ux, uy, uz, vx, vy, vz)
    d = (x - s * ux - t * vx) ** 2 + (y - s * uy - t * vy) ** 2 + (z - s * uz - t * vz) ** 2
    if d > reach:
        return
    if facing < FACING:
        d += 4.0 * REACH * REACH
    if d < best[row]:
        best[row], owner[row] = d, f
        for k in range(3):
            share[row, k] = tri[0, k] + s * (tri[1, k] - tri[0, k]) + t * (tri[2, k] - tri[0, k])


@njit(cache=True, nogil=True)
def _search(vertices, faces, face_normal, points, towards, where, best, near, owner):
    """Fill ``best`` [square], ``near`` and ``owner`` of each point; ``where`` (3, nx, ny, nz) gives the row of the face beyond each
    cell along each axis, -1 for none: the face centre stands half a cell above the cell's centre.
    """
    _, nx, ny, nz = where.shape
    stack = np.empty((64, 3, 3))
    for f in range(faces.shape[0]):
        for k in range(3):
            for axis in range(3):
                stack[0, k, axis] = vertices[faces[f, k], axis]
        top = 1
        while top:
            top -= 1
            longest, which = 0.0, 0
            for k in range(3):
                n = (k + 1) % 3
                length = 0.0
                for axis in range(3):
                    length += (stack[top, n, axis] - stack[top, k, axis]) ** 2
                if length > longest:
                    longest, which = length, k
            if longest > SPLIT and top < 62:
                n, o = (which + 1) % 3, (which + 2) % 3
                for axis in range(3):
                    a, b, c = stack[top, which, axis], stack[top, n, axis], stack[top, o, axis]
                    m = 0.5 * (a + b)
                    stack[top, 0, axis], stack[top, 1, axis], stack[top, 2, axis] = a, m, c
                    stack[top + 1, 0, axis], stack[top + 1, 1, axis], stack[top + 1, 2, axis] = m, b, c
                top += 2
                continue
            tri = stack[top]
            i0 = max(int(np.floor(min(tri[0, 0], tri[1, 0], tri[2, 0]) - REACH - 0.5)), 0)
            i1 = min(int(np.ceil(max(tri[0, 0], tri[1, 0], tri[2, 0]) + REACH)), nx - 1)
            j0 = max(int(np.floor(min(tri[0, 1], tri[1, 1], tri[2, 1]) - REACH - 0.5)), 0)
            j1 = min(int(np.ceil(max(tri[0, 1], tri[1, 1], tri[2, 1]) + REACH)), ny - 1)
            k0 = max(int(np.floor(min(tri[0, 2], tri[1, 2], tri[2, 2]) - REACH - 0.5)), 0)
            k1 = min(int(np.ceil(max(tri[0, 2], tri[1, 2], tri[2, 2]) + REACH)), nz - 1)
            for axis in range(3):
                for i in range(i0, i1 + 1):
                    for j in range(j0, j1 + 1):
                        for k in range(k0, k1 + 1):
                            row = where[axis, i, j, k]
                            if row >= 0:
                                _look(row, points, REACH * REACH, face_normal[f, axis] * towards[row], tri, best, near, owner, f)


@njit(cache=True, nogil=True)
def _normals(near, owner, vertices, faces, face_normal, edge_normal, corner_normal, normal):
    """The surface's normal at each nearest point: of the triangle, of its edge or of its corner."""
    for row in range(owner.size):
        f = owner[row]
        if f < 0:
            continue
        a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
        ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        s, t = foot(near[row, 0] - a[0], near[row, 1] - a[1], near[row, 2] - a[2], ux, uy, uz, vx, vy, vz)
        r = 1.0 - s - t
        zeros = (r < 1e-9) + (s < 1e-9) + (t < 1e-9)
        if zeros == 0:
            normal[row] = face_normal[f]
        elif zeros == 1:
            normal[row] = edge_normal[f, 0 if t < 1e-9 else (1 if r < 1e-9 else 2)]  # edge k runs from corner k to the next
        else:
            normal[row] = corner_normal[faces[f, 0 if r > 0.5 else (1 if s > 0.5 else 2)]]


def normals_of(vertices: Floats, faces: Index) -> tuple[Floats, Floats, Floats]:
    """Unit normals of faces (m, 3), of their edges (m, 3, 3) and of corners (n, 3)."""
    corners = vertices[faces]
    face = _unit(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]))
    ends = np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1).reshape(-1, 2)
    _, number = np.unique(ends.min(axis=1) * len(vertices) + ends.max(axis=1), return_inverse=True)
    summed = np.stack([np.bincount(number, np.repeat(face[:, axis], 3)) for axis in range(3)], axis=-1)
    edge = _unit(summed)[number].reshape(-1, 3, 3)
    corner = np.zeros_like(vertices)
    for k in range(3):
        one = _unit(corners[:, (k + 1) % 3] - corners[:, k])
        other = _unit(corners[:, (k + 2) % 3] - corners[:, k])
        angle = np.arccos(np.clip((one * other).sum(axis=1), -1.0, 1.0))
        for axis in range(3):
            corner[:, axis] += np.bincount(faces[:, k], angle * face[:, axis], len(vertices))
    return face, edge, _unit(corner)


def _unit(vectors: ArrayLike) -> Floats:
    v = np.asarray(vectors, dtype=np.float64)
    return np.asarray(v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-300))


def look(vertices: Floats, faces: Index, points: Floats, towards: Floats, axis: Index, cell: Index, shape: tuple[int, int, int]) -> Seen:
    """The surface at face centres.

    ``vertices`` [cells] with the centre of cell (0, 0, 0) at the origin; ``points`` (f, 3) face centres; ``towards`` (f,) 1 or -1, the
    side away from the metal; ``axis`` (f,) each face lies across, ``cell`` (f, 3) the cell below it along that axis; ``shape`` of the grid.
    """
    where = np.full((3, *shape), -1, np.int32)
    where[axis, cell[:, 0], cell[:, 1], cell[:, 2]] = np.arange(len(points))
    square, normal, near = np.full(len(points), np.inf), np.zeros((len(points), 3)), np.full((len(points), 3), np.nan)
    owner = np.full(len(points), -1, np.int64)
    face, edge, corner = normals_of(vertices, faces)
    _search(vertices, faces, face, points, towards, where, square, near, owner)
    _normals(near, owner, vertices, faces, face, edge, corner, normal)
    away = points - near
    distance = np.where(np.isfinite(square), np.linalg.norm(away, axis=1), np.inf)
    side = np.where((away * normal).sum(axis=1) >= 0.0, 1.0, -1.0)
    steep = distance > 0.05
    normal[steep] = (side / np.maximum(distance, 1e-300))[steep, None] * away[steep]
    offset = np.where(np.isfinite(distance), side * distance, np.nan)
    return Seen(offset, normal, near)
