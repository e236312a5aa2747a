"""Solids read back from corners and faces as they were written. Millimetres.

Where corners of a boolean's result fall in one place or exactly in line, the solid library (manifold3d 3.5) joins or drops them on
reading, and a long thin face beside them may be laid anew across a bend: 3.9 mm3 of 23 000 were seen. Corners moved by a ten-millionth of
a millimetre, each its own way, are read as they are.
"""

from __future__ import annotations

import manifold3d
import numpy as np

from strickle.base import Array
from strickle.pattern.undercut import plain

NUDGE = 1e-7  # mm, at most
SAME = 1e-8  # of the volume, by which a solid read back may differ
NUDGED = 1e-7  # and one that was nudged


def volume(vertices: Array, faces: Array) -> float:
    """Volume [mm3] within a closed surface."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum()) / 6


def _read(vertices: Array, faces: Array) -> manifold3d.Manifold:
    return manifold3d.Manifold(manifold3d.Mesh64(np.ascontiguousarray(vertices), np.ascontiguousarray(faces, dtype=np.uint64)))


def solid_of(vertices: Array, faces: Array, free: bool = False) -> manifold3d.Manifold:
    """The solid within a closed surface, of the volume that the surface has; corners on z = 0 stay on it, if it is not ``free`` (see below)."""
    return _steady(vertices, faces, free)[1]


def written(body: manifold3d.Manifold, free: bool = False) -> tuple[Array, Array]:
    """Corners (n, 3) and faces (m, 3) of a solid, such that it is read back from them: as they are, or nudged.

    Of one that is ``free``, as a core and its box are, corners on z = 0 are nudged off it as well where that must be; halves of a pattern meet there.
    """
    vertices, faces = plain(body)
    return _steady(vertices, faces, free)[0], faces


def _steady(vertices: Array, faces: Array, free: bool = False) -> tuple[Array, manifold3d.Manifold]:
    """Corners, nudged if they must be, and the solid read from them."""
    made, wanted = _read(vertices, faces), volume(vertices, faces)
    if abs(made.volume() - wanted) <= SAME * abs(wanted):  # as many faces is not enough: two may be laid anew as two
        return vertices, made
    best, off = (vertices, made), abs(made.volume() - wanted)
    for flat in (True, False) if free else (True,):
        moved = _nudged(vertices, flat)
        again = _read(moved, faces)
        if abs(again.volume() - wanted) < off:
            best, off = (moved, again), abs(again.volume() - wanted)
        if off <= NUDGED * abs(wanted):
            break
    return best


def _nudged(vertices: Array, flat: bool) -> Array:
    """Corners each moved its own way, the same way every time; those on z = 0 along it where that is to stay ``flat``."""
    way = np.random.default_rng(0).uniform(-NUDGE, NUDGE, vertices.shape)
    if flat:
        way[np.abs(vertices[:, 2]) < NUDGE, 2] = 0.0
    return np.asarray(vertices + way)
