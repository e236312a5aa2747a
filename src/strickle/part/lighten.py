"""A mesh of more triangles than the rest of the work can use made lighter, by a stated amount."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strickle.base import Array, BadInput
from strickle.part.edges import joined
from strickle.part.measure import volume_of
from strickle.part.raw import Raw

HEAVY = 500_000  # triangles from which an object is made lighter
WANTED = 150_000  # triangles at which it is light enough
STEPS = (2e-5, 1e-4, 5e-4)  # shares of the diagonal by which the surface may move, the first that does
MOST_BROKEN = 1_000_000  # triangles up to which an object that does not close is mended


class Lightened(NamedTuple):
    """A lighter mesh, in the file's numbers."""

    vertices: Array
    faces: Array
    triangles: int  # before
    moved: float  # the surface has moved by less than this
    change: float  # of the volume


def lightened(raw: Raw, file: str) -> Lightened | None:
    """The object made lighter, or None where it is light enough or does not close as it stands.

    Raises BadInput where it has more triangles than are mended or worked with.
    """
    many = len(raw.faces)
    if many <= HEAVY:
        return None
    import manifold3d

    vertices, faces = _met(raw.vertices, raw.faces)
    diagonal, before = float(np.linalg.norm(np.ptp(vertices, axis=0))), volume_of(vertices, faces)
    solid = manifold3d.Manifold(manifold3d.Mesh64(vertices, faces.astype(np.uint64)))
    del vertices, faces
    if solid.status() != manifold3d.Error.NoError or solid.is_empty():
        if many > MOST_BROKEN:
            raise BadInput(
                f"{file}: {raw.name} is not closed, and with {many} triangles it has more than the {MOST_BROKEN} that are mended",
                "Close it in the program that made the mesh, or export it with a coarser mesh",
            )
        return None
    reach, whole = 0.0, solid
    for share in STEPS:
        reach = share * diagonal
        solid = whole.simplify(reach)
        if solid.num_tri() <= WANTED:
            break
    if solid.is_empty() or solid.num_tri() > HEAVY:
        raise BadInput(
            f"{file}: {raw.name} has {many} triangles and keeps {solid.num_tri()} when its surface may move by {STEPS[-1]:.2g} of its size, "
            f"more than the {HEAVY} that are worked with",
            "Export it with a coarser mesh",
        )
    mesh = solid.to_mesh64()
    points, made = np.array(mesh.vert_properties[:, :3], np.float64, order="C"), np.array(mesh.tri_verts, np.int64, order="C")
    return Lightened(points, made, many, reach, volume_of(points, made) / before - 1.0 if before else float("nan"))


def _met(vertices: Array, faces: Array) -> tuple[Array, Array]:
    """Equal corners made one, as ``joined`` does with less memory; triangles without area dropped."""
    plain = np.ascontiguousarray(vertices + 0.0)
    bits = plain.view(np.uint64)
    mixed = np.zeros(len(plain), np.uint64)
    for axis in range(3):
        mixed ^= bits[:, axis]
        mixed *= np.uint64(0x9E3779B97F4A7C15)
        mixed ^= mixed >> np.uint64(29)
    order = np.argsort(mixed)
    mixed = mixed[order]
    new = np.ones(len(plain), bool)
    new[1:] = mixed[1:] != mixed[:-1]
    number = np.cumsum(new) - 1
    inverse = np.empty(len(plain), np.int64)
    inverse[order] = number
    met = plain[order[new]]
    del mixed, number, new, order
    if not all(np.array_equal(met[inverse[i : i + 1_000_000]], plain[i : i + 1_000_000]) for i in range(0, len(plain), 1_000_000)):
        return joined(vertices, faces, 0.0)[:2]  # two corners with one mark
    out = inverse[faces]
    flat = (out[:, 0] == out[:, 1]) | (out[:, 1] == out[:, 2]) | (out[:, 2] == out[:, 0])
    return met, out[~flat] if flat.any() else out
