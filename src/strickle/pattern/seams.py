"""Seams between prisms of sand that should meet: their walls are one plane but for the rounding of the mesh, and a crack stays between them.

A crack cuts one place in two, or looks like an open face inside it. It is closed from both its sides, and nothing else is changed. Millimetres.
"""

from __future__ import annotations

import manifold3d
import numpy as np

from strickle.base import Array
from strickle.kernels import winding
from strickle.pattern.undercut import REACH, patches, plain

OUTSIDE = 0.05  # mm off a face of the sand at which it is asked what lies there
SPECK = 0.5  # mm2: smaller faces are rounding
UPRIGHT = 0.7  # faces whose normal has more than this along the draw are no walls of prisms
ALIKE = 0.99  # cosine within which walls of a crack are one plane
ROUND_IT = 1.0  # mm about a crack in which it is closed
MOST = 24  # cracks that are closed: where all of a part is cracks, the sums of solids never end, and its places are left as they were found
GROWS, SOME = 2, 5000  # times the triangles of all prisms, and more, beyond which the same is done


def off(vertices: Array, faces: Array) -> tuple[Array, Array, Array, Array]:
    """Of a solid's faces: area vectors (m, 3), areas (m,), middles (m, 3), and a point (m, 3) a little outside each."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = 0.5 * np.cross(b - a, c - a)
    areas = np.linalg.norm(cross, axis=1)
    middles = (a + b + c) / 3
    return cross, areas, middles, middles + OUTSIDE * cross / np.maximum(areas, 1e-12)[:, None]


def closed(every: manifold3d.Manifold, whole: manifold3d.Manifold, metal: winding.Tree) -> manifold3d.Manifold:
    """The prisms ``every`` of a part ``whole`` with the cracks between them closed; ``metal`` is the part's tree."""
    every.num_tri()  # reckoned once: what is made of it below would do so each time
    vertices, faces = plain(every - whole)
    if len(faces) == 0:
        return every
    cross, areas, _, outside = off(vertices, faces)
    wall = np.abs(cross[:, 2]) < UPRIGHT * areas
    bare = np.flatnonzero(wall & (areas > 0))
    bare = bare[winding.at(metal, outside[bare]) < 0.5]
    if not bare.size:
        return every
    inner = bare[winding.at(winding.tree_of(*plain(every)), outside[bare]) > 0.5]
    if float(areas[inner].sum()) < SPECK:
        return every
    cracks = [(group, way) for group in patches(faces, inner) for way in _ways(cross[group], areas[group])]
    if len(cracks) > MOST:
        return every
    bridges: list[manifold3d.Manifold] = []
    for walls, way in cracks:
        points = vertices[faces[walls]].reshape(-1, 3)
        low, high = points.min(axis=0) - ROUND_IT, points.max(axis=0) + ROUND_IT
        near = every ^ manifold3d.Manifold.cube(tuple(high - low)).translate(tuple(low))
        near.num_tri()
        step = REACH / 2 * way
        bridges.append(near.translate(tuple(step)) ^ near.translate(tuple(-step)))
    grown = every
    for bridge in sorted(bridges, key=lambda one: int(one.num_tri())):  # one by one only to see that it ends
        grown = grown + bridge
        if grown.num_tri() > GROWS * every.num_tri() + SOME:
            return every
    return manifold3d.Manifold.batch_boolean([every, *bridges], manifold3d.OpType.Add)


def _ways(cross: Array, areas: Array) -> list[Array]:
    """Level unit vectors (3,) across the planes of some walls, largest first; specks are left out."""
    normals = cross / areas[:, None] * np.array([1.0, 1.0, 0.0])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    left, out = np.ones(len(areas), bool), []
    while float(areas[left].sum()) >= SPECK:
        way = normals[np.argmax(np.where(left, areas, 0.0))]
        out.append(way)
        left &= np.abs(normals @ way) < ALIKE
    return out
