"""A piece larger than the bed: where it is cut, how the spigot sits in its socket, which holes stay whole, what is said."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import manifold3d as m3
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from pattern_shop import box, rod
from strickle.base import BadInput, Mesh, Piece
from strickle.pattern import bed_split, in_parts, keyed, lying
from strickle.pattern.undercut import plain

BED = np.array([0.22, 0.22, 0.25])


def piece_of(solid: m3.Manifold, role: str = "former", up: float = 1.0) -> Piece:
    vertices, faces = plain(solid)
    return Piece(
        name="drag-pattern", role=role, half="drag", mesh=Mesh(vertices=vertices * 1e-3, faces=faces), draw=np.array([0.0, 0.0, up]), order=1,
        volume=solid.volume() * 1e-9, extents=np.ptp(vertices, axis=0) * 1e-3,
    )  # fmt: skip


def solids(piece: Piece) -> list[m3.Manifold]:
    return [m3.Manifold(m3.Mesh64(p.mesh.vertices * 1e3, p.mesh.faces.astype(np.uint64))) for p in piece.parts]


def test_what_the_bed_holds_is_left_whole():
    for solid in (box(200, 210, 30), box(280, 20, 20), rod(100, 240)):
        piece = piece_of(solid)
        assert in_parts(piece, BED) is piece
        assert lying(piece, BED).held


def test_a_bar_is_cut_in_equal_parts_with_a_spigot_in_the_middle_of_the_section():
    piece = in_parts(piece_of(box(400, 40, 30)), BED)
    lower, upper = solids(piece)
    assert [p.name for p in piece.parts] == ["drag-pattern-a", "drag-pattern-b"]
    assert piece.note == "printed in 2 parts, glued a to b"
    cut = upper.bounding_box()[0]
    assert cut == pytest.approx(200.0, abs=1.0)
    standing = lower.trim_by_plane((1.0, 0.0, 0.0), cut + 0.01)
    low, high = np.reshape(standing.bounding_box(), (2, 3))
    assert (low + high)[1:] / 2 == pytest.approx([20.0, 15.0], abs=0.3)
    assert high[0] - cut == pytest.approx(bed_split.SPIGOTS[0] * bed_split.LENGTH, abs=1e-6)


def test_the_spigot_has_the_room_that_is_stated_on_every_face():
    piece = in_parts(piece_of(box(400, 60, 40)), BED)
    lower, upper = solids(piece)
    cut = upper.bounding_box()[0]
    # away from the joint's face, which touches, the spigot stands clear of its socket by the stated room
    standing = lower.trim_by_plane((1.0, 0.0, 0.0), cut + 0.5)
    assert standing.min_gap(upper, 5.0) == pytest.approx(bed_split.SLACK, abs=0.01)
    assert (lower ^ upper).volume() < 1e-6
    # and goes in along the joint's own direction
    for back in (1.0, 4.0, 12.0):
        assert (lower ^ upper.translate((back, 0.0, 0.0))).volume() < 1e-6


def test_no_face_of_a_spigot_hangs_over_more_than_45_degrees_as_it_is_printed():
    stood = bed_split.spigot(bed_split._Seat((0.0, 0.0), 6.0), 0.0)
    vertices, faces = plain(stood)  # it stands along z; printed, z lies level and x or y is upright
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    side = np.abs(normal[:, 2]) < 0.99  # the faces that are not its ends
    assert np.abs(normal[side, :2]).max() <= math.sin(math.radians(45.0)) + 1e-9


def test_the_cut_goes_through_no_hole_for_dowel_or_screw():
    drilled = box(300, 60, 30)
    for x in (140.0, 150.0, 160.0, 170.0):
        drilled -= rod(4.2, 11.0, (x, 30.0, -1.0))
    piece = in_parts(piece_of(drilled, "pattern", -1.0), BED)
    cut = solids(piece)[1].bounding_box()[0]
    assert all(abs(cut - x) > 2.1 + 1.0 for x in (140.0, 150.0, 160.0, 170.0))


def test_the_cut_goes_where_the_section_is_thick():
    neck = box(150, 60, 30) + box(40, 60, 4, (150, 0, 0)) + box(150, 60, 30, (190, 0, 0))  # thin just in the middle
    piece = in_parts(piece_of(neck), BED)
    cut = solids(piece)[1].bounding_box()[0]
    assert not 150.0 < cut < 190.0
    assert piece.parts[0].spigots >= 1
    assert not piece.parts[0].plain_joints


def test_a_thin_plate_is_glued_flat_and_says_so():
    piece = in_parts(piece_of(box(300, 240, 3)), BED)
    assert len(piece.parts) == 4
    assert all(p.plain_joints == 2 and p.spigots == 0 for p in piece.parts)
    assert keyed(piece) == "the joints are flat, the print being too thin for spigots"


def test_the_order_of_glueing_ends_with_one_piece():
    piece = in_parts(piece_of(box(400, 380, 20)), BED)
    assert piece.note == "printed in 4 parts, glued a to b, then c to d, then ab to cd"


def test_what_would_take_too_many_parts_is_left_whole():
    piece = piece_of(box(1500, 1500, 60))
    assert in_parts(piece, BED) is piece
    assert not lying(piece, BED).held


@pytest.mark.parametrize(
    "bed", [(0, 0, 0), (0.22, 0.22, 0.0), (-0.2, 0.2, 0.2), (math.nan, 0.2, 0.2), (math.inf, 0.2, 0.2), (1e-3, 1e-3, 1e-3), (0.2, 0.2)]
)
def test_a_bed_that_holds_nothing_is_told_in_one_line(bed):
    with pytest.raises(BadInput, match="bed in the kit holds nothing") as told:
        in_parts(piece_of(box(50, 40, 30)), np.array(bed, dtype=float))
    assert "\n" not in str(told.value)


def test_a_tiny_bed_still_takes_what_fits_in_a_few_parts():
    piece = in_parts(piece_of(box(50, 18, 18)), np.array([0.03, 0.03, 0.03]))
    assert 2 <= len(piece.parts) <= 3
    assert all(p.extents.max() <= 0.03 + 1e-6 for p in piece.parts)
