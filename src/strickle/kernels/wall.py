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
def _closest(p, a, b, c, out):
    """Nearest point of a triangle to p as shares of a, b, c in ``out`` (Ericson, Real-time collision detection, 2005, section 5.1.5)."""
    ab, ac, ap = b - a, c - a, p - a
    d1, d2 = (ab * ap).sum(), (ac * ap).sum()
    bp = p - b
    d3, d4 = (ab * bp).sum(), (ac * bp).sum()
    cp = p - c
    d5, d6 = (ab * cp).sum(), (ac * cp).sum()
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    v, w = 0.0, 0.0
    if d1 <= 0.0 and d2 <= 0.0:
        pass
    elif d3 >= 0.0 and d4 <= d3:
        v = 1.0
    elif d6 >= 0.0 and d5 <= d6:
        w = 1.0
    elif vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        v = d1 / (d1 - d3) if d1 != d3 else 0.0
    elif vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        w = d2 / (d2 - d6) if d2 != d6 else 0.0
    elif va <= 0.0 and d4 >= d3 and d5 >= d6:
        total = (d4 - d3) + (d5 - d6)
        w = (d4 - d3) / total if total != 0.0 else 0.0
        v = 1.0 - w
    else:
        total = va + vb + vc
        if total != 0.0:
            v, w = vb / total, vc / total
    out[0], out[1], out[2] = 1.0 - v - w, v, w


@njit(cache=True, nogil=True)
def _look(row, point, towards, axis, f, vertices, faces, face_normal, edge_normal, corner_normal, share, square, normal, near):
    """Take triangle ``f`` for this row if nothing nearer was found that looks the face's way."""
    a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
    _closest(point, a, b, c, share)
    q = share[0] * a + share[1] * b + share[2] * c
    d = ((point - q) ** 2).sum()
    if face_normal[f, axis] * towards < FACING:
        d += 4.0 * REACH * REACH
    if d >= square[row]:
        return
    square[row] = d
    near[row] = q
    zeros = (share[0] < 1e-9) + (share[1] < 1e-9) + (share[2] < 1e-9)
    if zeros == 0:
        normal[row] = face_normal[f]
    elif zeros == 1:
        k = 0 if share[2] < 1e-9 else (1 if share[0] < 1e-9 else 2)  # edge k runs from corner k to the next
        normal[row] = edge_normal[f, k]
    else:
        k = 0 if share[0] > 0.5 else (1 if share[1] > 0.5 else 2)
        normal[row] = corner_normal[faces[f, k]]


@njit(cache=True, nogil=True)
def _search(vertices, faces, face_normal, edge_normal, corner_normal, points, towards, where, square, normal, near):
    """Fill ``square``, ``normal`` and ``near`` of each point; ``where`` (3, nx, ny, nz) gives the row of the face beyond each
    cell along each axis, -1 for none: the face centre stands half a cell above the cell's centre.
    """
    _, nx, ny, nz = where.shape
    stack = np.empty((64, 3, 3))
    share = np.empty(3)
    for f in range(faces.shape[0]):
        for k in range(3):
            stack[0, k] = vertices[faces[f, k]]
        top = 1
        while top:
            top -= 1
            tri = stack[top].copy()
            longest, which = 0.0, 0
            for k in range(3):
                length = ((tri[(k + 1) % 3] - tri[k]) ** 2).sum()
                if length > longest:
                    longest, which = length, k
            if longest > SPLIT and top < 62:
                a, b, c = tri[which], tri[(which + 1) % 3], tri[(which + 2) % 3]
                middle = 0.5 * (a + b)
                stack[top, 0], stack[top, 1], stack[top, 2] = a, middle, c
                stack[top + 1, 0], stack[top + 1, 1], stack[top + 1, 2] = middle, b, c
                top += 2
                continue
            i0, i1 = max(int(np.floor(tri[:, 0].min() - REACH - 0.5)), 0), min(int(np.ceil(tri[:, 0].max() + REACH)), nx - 1)
            j0, j1 = max(int(np.floor(tri[:, 1].min() - REACH - 0.5)), 0), min(int(np.ceil(tri[:, 1].max() + REACH)), ny - 1)
            k0, k1 = max(int(np.floor(tri[:, 2].min() - REACH - 0.5)), 0), min(int(np.ceil(tri[:, 2].max() + REACH)), nz - 1)
            for axis in range(3):
                for i in range(i0, i1 + 1):
                    for j in range(j0, j1 + 1):
                        for k in range(k0, k1 + 1):
                            row = where[axis, i, j, k]
                            if row >= 0:
                                _look(
                                    row,
                                    points[row],
                                    towards[row],
                                    axis,
                                    f,
                                    vertices,
                                    faces,
                                    face_normal,
                                    edge_normal,
                                    corner_normal,
                                    share,
                                    square,
                                    normal,
                                    near,
                                )


def normals_of(vertices: Floats, faces: Index) -> tuple[Floats, Floats, Floats]:
    """Unit normals of faces (m, 3), of their edges (m, 3, 3) and of corners (n, 3)."""
    corners = vertices[faces]
    face = _unit(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]))
    ends = np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1).reshape(-1, 2)
    _, number = np.unique(np.sort(ends, axis=1), axis=0, return_inverse=True)
    number = number.reshape(-1)
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
    face, edge, corner = normals_of(vertices, faces)
    _search(vertices, faces, face, edge, corner, points, towards, where, square, normal, near)
    away = points - near
    distance = np.where(np.isfinite(square), np.linalg.norm(away, axis=1), np.inf)
    side = np.where((away * normal).sum(axis=1) >= 0.0, 1.0, -1.0)
    steep = distance > 0.05
    normal[steep] = (side / np.maximum(distance, 1e-300))[steep, None] * away[steep]
    offset = np.where(np.isfinite(distance), side * distance, np.nan)
    return Seen(offset, normal, near)
