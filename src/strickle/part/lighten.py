"""A mesh of more triangles than the rest of the work can use made lighter, by a stated amount."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strickle.base import Array, BadInput
from strickle.part.measure import volume_of

HEAVY = 500_000  # triangles from which a body is made lighter
WANTED = 150_000  # triangles at which it is light enough
STEPS = (2e-5, 5e-5, 1e-4, 2e-4, 5e-4)  # shares of the diagonal by which the surface may move, the first that does


class Lightened(NamedTuple):
    """A lighter mesh, in the file's numbers."""

    vertices: Array
    faces: Array
    triangles: int  # before
    moved: float  # the surface has moved by less than this
    change: float  # of the volume


def lightened(vertices: Array, faces: Array, name: str, file: str) -> Lightened | None:
    """The mesh made lighter, or None where it is light enough. Raises BadInput where the largest step leaves it heavy."""
    if len(faces) <= HEAVY:
        return None
    import manifold3d

    solid = manifold3d.Manifold(manifold3d.Mesh64(vertices, faces.astype(np.uint64)))
    diagonal, before = float(np.linalg.norm(np.ptp(vertices, axis=0))), volume_of(vertices, faces)
    reach = 0.0
    for share in STEPS:
        solid = solid.simplify(share * diagonal - reach)  # each step starts from the one before: their sum is the share
        reach = share * diagonal
        if solid.num_tri() <= WANTED:
            break
    if solid.status() != manifold3d.Error.NoError or solid.is_empty() or solid.num_tri() > HEAVY:
        raise BadInput(
            f"{file}: {name} has {len(faces)} triangles and keeps {solid.num_tri()} when its surface may move by {STEPS[-1]:.2g} of its size, "
            f"more than the {HEAVY} that are worked with",
            "Export it with a coarser mesh",
        )
    mesh = solid.to_mesh64()
    points, made = np.array(mesh.vert_properties[:, :3], np.float64, order="C"), np.array(mesh.tri_verts, np.int64, order="C")
    return Lightened(points, made, len(faces), reach, volume_of(points, made) / before - 1.0)
