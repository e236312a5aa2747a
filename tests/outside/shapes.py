"""C15: bodies whose volume, surface and largest ball are known, through what the part room measures (mensuration)."""

from __future__ import annotations

import functools

import manifold3d
import numpy as np

from outside import Row, case
from outside.metals import metal
from strickle.base import quiet
from strickle.job.kit import stores_with
from strickle.part import Part, PartAsk
from strickle.part.measure import area_of, volume_of
from strickle.part.steps import examine
from strickle.stores.kit import starter_kit

Solid, Section = manifold3d.Manifold, manifold3d.CrossSection
MENSURATION = "mensuration (computed)"


def triangles(solid: Solid) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and faces of a solid."""
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int64)


@case("C15", MENSURATION)
def primitives() -> list[Row]:
    ring = triangles(Section.circle(10.0, 128).translate((40.0, 0.0)).revolve(256))
    cone = triangles(Solid.cylinder(40.0, 15.0, 10.0, 256))
    ball, rod = triangles(Solid.sphere(25.0, 256)), triangles(Solid.cylinder(50.0, 25.0, 25.0, 256))
    return [
        Row("torus 40 / 10, volume", 78956.835, volume_of(*ring), 5e-3, "mm3", relative=True),
        Row("torus 40 / 10, area", 15791.367, area_of(*ring), 5e-3, "mm2", relative=True),
        Row("frustum 30 / 20 x 40, volume", 19896.753, volume_of(*cone), 5e-3, "mm3", relative=True),
        Row("sphere 50, volume over area", 8.333333, volume_of(*ball) / area_of(*ball), 5e-3, "mm", relative=True),
        Row("cylinder 50 x 50, volume over area", 8.333333, volume_of(*rod) / area_of(*rod), 5e-3, "mm", relative=True),
    ]


def tee(fillet: float = 0.0) -> Solid:
    """Two walls of 10 mm that meet in a T, its inner corners rounded."""
    outline = Section.square((100.0, 10.0), True) + Section.square((10.0, 50.0)).translate((-5.0, 0.0))
    if fillet:  # closing rounds the inner corners
        outline = outline.offset(fillet, manifold3d.JoinType.Round, 2.0, 128).offset(-fillet, manifold3d.JoinType.Round, 2.0, 128)
    return outline.extrude(120.0).translate((0.0, 0.0, -60.0))


@functools.cache
def examined(fillet: float) -> Part:
    """The T as a part."""
    vertices, faces = triangles(tee(fillet))
    record = np.zeros(len(faces), dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("e", "<u2")])
    record["c"] = vertices[faces]
    data = b"a T of two walls".ljust(80, b" ") + len(faces).to_bytes(4, "little") + record.tobytes()
    return examine(PartAsk(data=data, name="tee.stl", unit="mm", cells=12000), metal("a356"), stores_with(starter_kit()), quiet)


def ball(name: str, fillet: float, across: float) -> list[Row]:
    """The largest ball in a T."""
    return [Row(f"T of walls of 10 mm, {name}: largest ball", across, 2e3 * examined(fillet).hot_spots[0].radius, 0.05, "mm", relative=True)]


@case("C15", MENSURATION)
def ball_at_a_sharp_tee() -> list[Row]:
    return ball("sharp", 0.0, 12.5)


@case("C15", MENSURATION)
def ball_at_a_rounded_tee() -> list[Row]:
    return ball("fillets of 5", 5.0, 15.0)
