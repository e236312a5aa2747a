"""A solid read back is the same solid, whichever format it was written in."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshes import as_3mf, as_obj, as_ply, as_stl, as_text_stl, triangles
from strickle.part import formats
from strickle.part.health import bodies
from strickle.part.measure import volume_of
from strickle.part.polygons import triangles as cut

Solid = manifold3d.Manifold
WRITERS = {
    "a.stl": as_stl,
    "b.stl": as_text_stl,
    "c.obj": as_obj,
    "d.ply": as_ply,
    "e.ply": lambda v, f: as_ply(v, f, "binary_big_endian", "ushort", "uint"),
    "f.ply": lambda v, f: as_ply(v, f, "ascii"),
    "g.3mf": as_3mf,
}
length = st.floats(5.0, 60.0)


@settings(max_examples=15, deadline=None)
@given(x=length, y=length, z=length, bore=st.floats(0.1, 0.4), tilt=st.floats(0.0, 90.0), shift=st.floats(-300.0, 300.0))
@pytest.mark.parametrize("name", WRITERS)
def test_every_format_gives_the_same_solid(name, x, y, z, bore, tilt, shift):
    radius = bore * min(x, y)
    solid = Solid.cube((x, y, z), True) - Solid.cylinder(2.0 * z, radius, radius, 24, True)
    vertices, faces = triangles(solid.rotate((tilt, 0.5 * tilt, 0.0)).translate((shift, 0.0, 0.0)))
    (body,) = bodies(formats.read(WRITERS[name](vertices, faces), name), name)
    assert body.volume == pytest.approx(volume_of(vertices, faces), rel=2e-5)
    assert np.ptp(body.vertices, axis=0) == pytest.approx(np.ptp(vertices, axis=0), rel=1e-5)
    assert len(body.faces) == len(faces)
    assert body.holes == ()


@settings(max_examples=60, deadline=None)
@given(radii=st.lists(st.floats(0.3, 1.0), min_size=4, max_size=12), tilt=st.floats(0.0, 180.0))
def test_a_polygon_is_cut_into_triangles_of_its_own_area_and_side(radii, tilt):
    turn = np.linspace(0.0, 2.0 * np.pi, len(radii), endpoint=False)
    flat = np.column_stack([np.array(radii) * np.cos(turn), np.array(radii) * np.sin(turn)])
    area = 0.5 * float(np.sum(flat[:, 0] * np.roll(flat[:, 1], -1) - flat[:, 1] * np.roll(flat[:, 0], -1)))
    c, s = np.cos(np.radians(tilt)), np.sin(np.radians(tilt))
    points = np.column_stack([flat[:, 0], c * flat[:, 1], s * flat[:, 1]])
    made = cut(points, np.array([len(radii)]), np.arange(len(radii)), "a.obj")
    assert len(made) == len(radii) - 2
    vectors = 0.5 * np.cross(points[made[:, 1]] - points[made[:, 0]], points[made[:, 2]] - points[made[:, 0]])
    normal = np.array([0.0, -s, c])
    assert vectors @ normal == pytest.approx(np.linalg.norm(vectors, axis=1), abs=1e-9)  # none lies on its face
    assert float((vectors @ normal).sum()) == pytest.approx(area, rel=1e-9)
