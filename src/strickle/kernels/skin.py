"""A skin drawn anew through a grid: distances of nodes from triangles, and the surface between inner and outer nodes.

The cubes of the grid are cut into six tetrahedra round one diagonal, all alike, so that the surface is closed and has two triangles on
every edge whatever the nodes say.  Where a triangle of the old mesh stands between an inner and an outer node, the surface is put at it by
the nodes' distances; where none does (over a hole), it is put where the winding number passes a half.
"""

from __future__ import annotations

import itertools

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from strickle.kernels.triangle import foot

Floats = NDArray[np.float32]
SPLIT = 6.0  # cells, longest edge of a triangle that is not halved first


@njit(cache=True, nogil=True)
def _square(px, py, pz, tri):
    """Squared distance of a point from a triangle (3, 3)."""
    a, b, c = tri[0], tri[1], tri[2]
    ux, uy, uz, vx, vy, vz = b[0] - a[0], b[1] - a[1], b[2] - a[2], c[0] - a[0], c[1] - a[1], c[2] - a[2]
    x, y, z = px - a[0], py - a[1], pz - a[2]
    s, t = foot(x, y, z, ux, uy, uz, vx, vy, vz)
    dx, dy, dz = x - s * ux - t * vx, y - s * uy - t * vy, z - s * uz - t * vz
    return dx * dx + dy * dy + dz * dz


@njit(cache=True, nogil=True)
def _distances(vertices, faces, reach, out):
    """Numbers in cells, node (0, 0, 0) at the origin. Large triangles are halved until their boxes are small."""
    nx, ny, nz = out.shape
    stack = np.empty((64, 3, 3))
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
            if longest > SPLIT**2 and top < 62:
                a, b, c = tri[which], tri[(which + 1) % 3], tri[(which + 2) % 3]
                middle = 0.5 * (a + b)
                stack[top, 0], stack[top, 1], stack[top, 2] = a, middle, c
                stack[top + 1, 0], stack[top + 1, 1], stack[top + 1, 2] = middle, b, c
                top += 2
                continue
            i0, i1 = max(int(np.ceil(tri[:, 0].min() - reach)), 0), min(int(np.floor(tri[:, 0].max() + reach)), nx - 1)
            j0, j1 = max(int(np.ceil(tri[:, 1].min() - reach)), 0), min(int(np.floor(tri[:, 1].max() + reach)), ny - 1)
            k0, k1 = max(int(np.ceil(tri[:, 2].min() - reach)), 0), min(int(np.floor(tri[:, 2].max() + reach)), nz - 1)
            for i in range(i0, i1 + 1):
                for j in range(j0, j1 + 1):
                    for k in range(k0, k1 + 1):
                        square = _square(float(i), float(j), float(k), tri)
                        if square < out[i, j, k] ** 2:
                            out[i, j, k] = np.sqrt(square)


@njit(cache=True, nogil=True)
def _place(winding, distance, i, j, k, p, q, r):
    """Share of the way from node (i, j, k) to node (p, q, r) at which the surface stands."""
    length = np.sqrt(float((p - i) ** 2 + (q - j) ** 2 + (r - k) ** 2))
    one, other = distance[i, j, k], distance[p, q, r]
    if one + other <= 1.0001 * length and one + other > 0.0:
        t = one / (one + other)
    else:
        low, high = winding[i, j, k], winding[p, q, r]
        t = (0.5 - low) / (high - low)
    return min(max(t, 1e-3), 1.0 - 1e-3)


@njit(cache=True, nogil=True)
def _skin(winding, distance, chains, odd, cases, number, points, faces):
    """Points and triangles of the surface; counts them where the arrays given are too short. ``number``: (nodes, 7), -1."""
    nx, ny, nz = winding.shape
    made, drawn = 0, 0
    node = np.empty((4, 3), np.int64)
    for i in range(nx - 1):
        for j in range(ny - 1):
            for k in range(nz - 1):
                inner = 0
                for corner in range(8):
                    inner += winding[i + (corner & 1), j + ((corner >> 1) & 1), k + ((corner >> 2) & 1)] > 0.5
                if inner in (0, 8):
                    continue
                for tet in range(6):
                    case = 0
                    for v in range(4):
                        node[v, 0], node[v, 1], node[v, 2] = i + chains[tet, v, 0], j + chains[tet, v, 1], k + chains[tet, v, 2]
                        case |= (winding[node[v, 0], node[v, 1], node[v, 2]] > 0.5) << v
                    for t in range(2):
                        if cases[case, t, 0, 0] < 0:
                            break
                        for c in range(3):
                            a, b = cases[case, t, c, 0], cases[case, t, c, 1]
                            if a > b:
                                a, b = b, a
                            step = (node[b, 0] - node[a, 0]) + 2 * (node[b, 1] - node[a, 1]) + 4 * (node[b, 2] - node[a, 2]) - 1
                            at = (node[a, 0] * ny + node[a, 1]) * nz + node[a, 2]
                            if number[at, step] < 0:
                                number[at, step] = made
                                if made < points.shape[0]:
                                    s = _place(winding, distance, node[a, 0], node[a, 1], node[a, 2], node[b, 0], node[b, 1], node[b, 2])
                                    for axis in range(3):
                                        points[made, axis] = node[a, axis] + s * (node[b, axis] - node[a, axis])
                                made += 1
                            if drawn < faces.shape[0]:
                                faces[drawn, c] = number[at, step]
                        if drawn < faces.shape[0] and odd[tet]:
                            faces[drawn, 1], faces[drawn, 2] = faces[drawn, 2], faces[drawn, 1]
                        drawn += 1
    return made, drawn


def _chains() -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """The six tetrahedra of a cube as walks along its edges from corner (0, 0, 0) to (1, 1, 1); and which of them turn the other way."""
    walks, odd = [], []
    for order in itertools.permutations(range(3)):
        steps = np.eye(3, dtype=np.int64)[list(order)]
        walks.append(np.vstack([np.zeros((1, 3), np.int64), np.cumsum(steps, axis=0)]))
        odd.append(np.linalg.det(steps) < 0.0)
    return np.array(walks), np.array(odd)


def _cases() -> NDArray[np.int64]:
    """(16, 2, 3, 2): for each set of inner corners of a tetrahedron the triangles that part it, outward, as pairs of corners; -1 for none."""
    out = np.full((16, 2, 3, 2), -1, np.int64)
    even = [p for p in itertools.permutations(range(4)) if np.linalg.det(np.eye(4)[list(p)]) > 0.0]
    for case in range(1, 15):
        inner = {v for v in range(4) if case >> v & 1}
        if len(inner) == 2:
            i, j, k, m = next(p for p in even if set(p[:2]) == inner)
            out[case, 0], out[case, 1] = [(i, k), (i, m), (j, m)], [(i, k), (j, m), (j, k)]
        else:
            lone = inner if len(inner) == 1 else set(range(4)) - inner
            i, j, k, m = next(p for p in even if {p[0]} == lone)
            out[case, 0] = [(i, j), (i, k), (i, m)] if len(inner) == 1 else [(i, j), (i, m), (i, k)]
    return out


_CHAINS, _ODD = _chains()
_CASES = _cases()


def distances(vertices: ArrayLike, faces: ArrayLike, shape: tuple[int, int, int], reach: float) -> Floats:
    """Distance of each node from the nearest triangle (nx, ny, nz) float32, all in cells with node (0, 0, 0) at the origin; ``reach``
    where none is nearer.
    """
    out = np.full(shape, reach, np.float32)
    _distances(np.ascontiguousarray(vertices, np.float64), np.ascontiguousarray(faces, np.int64), float(reach), out)
    return out


def skin(winding: Floats, distance: Floats) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Points (n, 3) [cells] and outward triangles (m, 3) of the surface between nodes of winding more and less than a half.

    The outermost nodes must lie outside; then the surface is closed.
    """
    number = np.full((winding.size, 7), -1, np.int32)
    none = np.zeros((0, 3))
    made, drawn = _skin(winding, distance, _CHAINS, _ODD, _CASES, number, none, none.astype(np.int64))
    number[:] = -1
    points, faces = np.empty((made, 3)), np.empty((drawn, 3), np.int64)
    _skin(winding, distance, _CHAINS, _ODD, _CASES, number, points, faces)
    return points, faces


def warm() -> None:
    """Compile."""
    winding = np.zeros((3, 3, 3), np.float32)
    winding[1, 1, 1] = 1.0
    near = distances(np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]), np.array([[0, 1, 2]]), (3, 3, 3), 1.8)
    skin(winding, near)
