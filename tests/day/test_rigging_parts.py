"""Rigging on real parts, parted where a person parted them, with hot spots told by hand."""

import manifold3d as m3
import numpy as np
import pytest
from test_rigging import codes, left_standing, stands

import factory as f
from strickle.base import render

PARTS = {
    "pulley_t30": (-4.35, 1.0, (), 2.0, 3),
    "testbed_base": (
        1.5,
        1.0,
        (f.spot((-18, -6, 13), 8, modulus=4.2), f.spot((-95, -10, 14), 7, modulus=3.6), f.spot((95, -10, 14), 7, modulus=3.6)),
        5.0,
        1,
    ),
    "sensor_base_plate": (4.38, 1.0, (f.spot((-5, 104, 16), 7.8, modulus=4.0),), 4.0, 7),
    "table_attachment": (-26.25, 1.0, (f.spot((60, -25, -31), 3.1, needs=False, why="even thickness"),), 5.0, 6),
    "featuretype_inch": (8.73, 25.4, (f.spot((8, -8, 17), 14.1, modulus=6.0),), 6.0, 9),
}


@pytest.mark.parametrize("name", PARTS)
def test_named_part_is_rigged_soundly(name, parts_folder):
    import trimesh

    parting, grow, spots, wall, genus = PARTS[name]
    read = trimesh.load(parts_folder / f"{name}.stl")
    solid = m3.Manifold(m3.Mesh64(np.ascontiguousarray(read.vertices * grow), np.ascontiguousarray(read.faces, dtype=np.uint64)))
    assert solid.genus() == genus
    rig, _, pattern, mould = f.rigged(solid, parting=parting, spots=spots, wall=wall, over=75.0)
    stands(rig, pattern, mould)
    assert len(rig.risers) == sum(s.needs_feed for s in spots), [render(x.says + x.because) for x in rig.findings]
    assert "rigging.crowded" not in codes(rig)
    for piece in rig.pieces:
        if piece.touches_sand and not piece.name.startswith(("ingate", "neck")):
            assert left_standing(rig, mould, piece, 2.0) < 0.5, piece.name
