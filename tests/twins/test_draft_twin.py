"""Draft by the stack of sections, against exact solids: what is drawn leaves no sand behind, and closed forms of drafted bodies."""

from __future__ import annotations

import os
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import trimesh

from pattern_shop import box, bracket, mushroom, rod
from strickle.job.demo import DEMOS, demo
from strickle.pattern.draft import Drafted, drafted
from strickle.pattern.fillets import filleted
from strickle.pattern.taper import DraftRule
from strickle.pattern.undercut import halves, plain

PLAIN = DraftRule(pocket=float(np.radians(2.0)), extra=0.0)
NONE = DraftRule(outside=0.0, pocket=0.0)
SAND = 0.005  # mm3


def trapped(piece: manifold3d.Manifold, side: float, block: manifold3d.Manifold | None = None) -> float:
    """Most sand [mm3] a piece drags along when drawn 1 mm, 5 mm and its full depth out of its block."""
    low_x, low_y, low_z, high_x, high_y, high_z = piece.bounding_box()
    if block is None:
        block = box(high_x - low_x + 2, high_y - low_y + 2, max(high_z, -low_z) + 1, (low_x - 1, low_y - 1, 0))
        block = block if side > 0 else block.mirror((0, 0, 1))
    sand = block - piece
    return max(float((piece.translate((0, 0, -side * lift)) ^ sand).volume()) for lift in (1.0, 5.0, high_z - low_z))


def sound(made: Drafted, side: float, block: manifold3d.Manifold | None = None) -> None:
    assert made.solid.status() == manifold3d.Error.NoError
    assert made.solid.volume() > 0
    assert trapped(made.solid, side, block) < SAND


def demo_solid(name: str) -> manifold3d.Manifold:
    vertices, faces = demo(name).draw()
    return manifold3d.Manifold(manifold3d.Mesh64(np.asarray(vertices), np.ascontiguousarray(faces, dtype=np.uint64)))


def part_solid(name: str) -> manifold3d.Manifold:
    home = Path(os.environ.get("STRICKLE_PARTS") or Path(__file__).resolve().parents[2] / "shared" / "parts")
    if not (home / f"{name}.stl").exists():
        pytest.skip("the folder of public parts is absent")
    mesh = trimesh.load(home / f"{name}.stl")
    vertices = np.array(mesh.vertices)
    return manifold3d.Manifold(manifold3d.Mesh64(vertices - [0, 0, vertices[:, 2].min()], np.array(mesh.faces, dtype=np.uint64)))


SHAPES = {
    "bracket": bracket(),
    "mushroom": mushroom(),
    "cross bore": box(60, 40, 30, (0, 0, -12)) - rod(10, 80, (0, 0, 0)).rotate((90, 0, 0)).translate((30, 60, 2)),
    "leaning wall": box(60, 40, 10) + box(60, 8, 30, (0, 0, 9)).warp(lambda p: (p[0], p[1] + 0.5 * max(p[2] - 9.0, 0.0), p[2])),
    "ball off the parting": manifold3d.Manifold.sphere(15, 64).translate((0, 0, 6)),
    "tilted": (box(50, 40, 15) + box(20, 8, 12, (10, 10, 14)) - rod(12, 30, (38, 20, 3))).rotate((0.05, 0.03, 0)).translate((0, 0, 0.2)),
    "lip thinner than a layer": box(30, 30, 20) + box(40, 30, 0.1, (-5, 0, 13.05)),
    "pins in a well": box(60, 60, 30) - box(50, 50, 27, (5, 5, 3)) + rod(6, 20, (20, 20, 2)) + rod(3, 25, (40, 30, 2)),
}  # fmt: skip


BOTH = ("mushroom", "leaning wall", "ball off the parting", "pins in a well")


@pytest.mark.parametrize(("name", "datum"), [*((name, "parting") for name in SHAPES), *((name, "mid-plane") for name in BOTH)])
def test_a_drafted_half_leaves_no_sand_behind(name, datum):
    for half, side in zip(halves(SHAPES[name]), (1.0, -1.0)):
        if half.is_empty():
            continue
        made = drafted(half, side, DraftRule(datum=datum))
        sound(made, side)
        if datum == "parting":
            assert (half - made.solid).volume() < 1e-3 * half.surface_area(), "nothing of the half is lost but what its mesh was eased by"
            assert made.added + made.undercut == pytest.approx(made.solid.volume() - half.volume(), abs=2e-3 * half.volume())


@pytest.mark.parametrize("name", [pytest.param(d.name, marks=pytest.mark.validate) if d.name == "bracket" else d.name for d in DEMOS])
def test_demo_parts_draw(name):
    body = demo_solid(name)
    middle = 0.0 if body.bounding_box()[2] < -0.5 else body.bounding_box()[2]
    for half, side in zip(halves(body.translate((0, 0, -middle))), (1.0, -1.0)):
        if half.volume() > 1.0:
            sound(drafted(half, side, DraftRule()), side)


@pytest.mark.validate
@pytest.mark.parametrize("name", ["table_attachment", "testbed_base"])
def test_real_parts_draw_in_both_halves_with_round_corners(name):
    body = part_solid(name)
    for half, side in zip(halves(body.translate((0, 0, -body.bounding_box()[5] / 2))), (1.0, -1.0)):
        for datum in ("parting", "mid-plane"):
            sound(drafted(half, side, DraftRule(datum=datum, layered=True)), side)
        round_ = filleted(drafted(half, side, DraftRule()).solid, side, 2.0)
        assert trapped(round_.solid, side) < SAND


@pytest.mark.validate
def test_a_mesh_of_309_000_triangles_draws():
    body = part_solid("motor_shell_77k").refine(2)
    assert body.num_tri() > 268_000
    sound(drafted(body, 1.0, DraftRule()), 1.0)


def frustum(x, y, height, reach):
    """Volume a block gains when its foot goes out by ``reach`` all round."""
    area = [(x + 2 * g) * (y + 2 * g) for g in (0.0, reach / 2, reach)]
    return height / 6 * (area[0] + 4 * area[1] + area[2]) - height * area[0]


@pytest.mark.parametrize("height", [3.0, 40.0, 55.3])
@pytest.mark.parametrize("degrees", [1.0, 2.0, 5.0])
def test_a_block_gains_the_frustum(height, degrees):
    rule = PLAIN._replace(outside=float(np.radians(degrees)))
    made = drafted(box(60, 40, height), 1.0, rule)
    assert made.added == pytest.approx(frustum(60, 40, height, height * np.tan(np.radians(degrees))), rel=0.01)
    assert made.solid.num_tri() < 60, "an upright wall is drafted in one piece"


def test_a_round_pocket_gains_the_cone_of_its_own_angle():
    made = drafted(box(80, 80, 30) - rod(40, 40, (40, 40, 0)).translate((0, 0, 10)), 1.0, DraftRule(outside=0.0, extra=0.0))
    radius, depth = 20.0, 20.0
    small = radius - depth * np.tan(np.radians(3.0))
    gained = np.pi * depth * (radius**2 - (radius**2 + radius * small + small**2) / 3)
    assert made.added == pytest.approx(gained, rel=0.02)


def test_low_walls_get_more_degrees():
    rule = DraftRule()
    for height, degrees in ((1.0, 5.0), (2.0, 5.0), (40.0, 2.21)):
        low_x = drafted(box(60, 40, height), 1.0, rule).solid.bounding_box()[0]
        assert np.degrees(np.arctan(-low_x / height)) == pytest.approx(degrees, abs=0.02)


def test_no_angle_gives_the_part_back_with_its_undercuts_filled():
    body = mushroom()
    made = drafted(body, 1.0, NONE)
    side = 64 / 2 * np.sin(2 * np.pi / 64)
    ring = side * (16**2 - 10**2) * (29 - 8)
    assert made.undercut == pytest.approx(ring, rel=1e-3)
    assert made.solid.volume() - body.volume() == pytest.approx(ring, rel=2e-3)
    sound(made, 1.0)


def test_layer_lines_across_the_draw_ask_for_a_degree_more():
    made = drafted(box(60, 40, 30), 1.0, PLAIN._replace(layered=True))
    assert np.degrees(made.outside) == pytest.approx(3.0)
    assert made.solid.bounding_box()[0] == pytest.approx(-30 * np.tan(np.radians(3.0)), abs=1e-3)


def test_mid_plane_is_right_at_half_height():
    made = drafted(box(60, 40, 40), 1.0, PLAIN._replace(datum="mid-plane"))
    reach = 20 * np.tan(np.radians(2.0))
    for level, out in ((0.001, reach), (19.999, 0.0), (20.001, 0.0), (39.999, -reach)):
        low_x, low_y, high_x, high_y = made.solid.slice(level).bounds()
        assert (low_x, low_y, high_x - 60, high_y - 40) == pytest.approx((-out, -out, out, out), abs=0.015)
    assert made.removed == pytest.approx(made.added, rel=0.1)


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("datum", ["parting", "mid-plane"])
def test_a_kept_face_stays_where_it_was(side, datum):
    face = np.array([[[60, 0, 0], [60, 40, 0], [60, 40, 40]], [[60, 0, 0], [60, 40, 40], [60, 0, 40]]], float) * [1, 1, side]
    body = box(60, 40, 40) if side > 0 else box(60, 40, 40).mirror((0, 0, 1))
    made = drafted(body, side, DraftRule(datum=datum), kept=face)
    sound(made, side)
    for level in (0.5, 20.0, 39.5):
        assert made.solid.slice(side * level).bounds()[2] == pytest.approx(60, abs=0.01)
    assert made.solid.bounding_box()[0] < -0.6


def test_a_kept_bore_stays_round_and_right():
    bore = rod(20, 50, (30, 20, -5))
    vertices, faces = plain(rod(20, 40, (30, 20, 0)))
    made = drafted(box(60, 40, 40) - bore, 1.0, DraftRule(), kept=vertices[faces])
    sound(made, 1.0)
    assert (bore ^ made.solid).volume() < 0.01 * np.pi * 20 * 40


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize(("gap", "width"), [(rod(3, 40, (20, 20, 5)), 3.0), (box(20, 2.5, 40, (10, 10, 5)), 2.5)])
def test_a_pocket_that_closes_is_told(gap, width, side):
    body = box(60, 40, 40) - gap
    made = drafted(body if side > 0 else body.mirror((0, 0, 1)), side, DraftRule())
    assert len(made.closed) == 1
    assert made.closed[0].width == pytest.approx(width, rel=0.02)
    assert made.closed[0].depth == pytest.approx(35, abs=0.5)
    low_x, low_y, _, high_x, high_y, _ = gap.bounding_box()
    assert low_x < made.closed[0].at[0] < high_x
    assert low_y < made.closed[0].at[1] < high_y
    assert drafted(box(60, 40, 40) - rod(8, 40, (20, 20, 5)), 1.0, DraftRule()).closed == ()


def test_a_crooked_parting_keeps_the_draft_on_its_own_side():
    body = box(60, 40, 20) + box(60, 40, 40, (60, 0, 20))
    block = box(160, 200, 200, (-100, -100, 0)) + box(200, 200, 180, (60, -100, 20))
    made = drafted(body, 1.0, DraftRule(), block=block)
    sound(made, 1.0, block)
    assert (made.solid - block).volume() < 1e-6
    under = drafted(body.mirror((0, 0, 1)), -1.0, DraftRule(), block=block.mirror((0, 0, 1)))
    sound(under, -1.0, block.mirror((0, 0, 1)))
    assert under.solid.volume() == pytest.approx(made.solid.volume(), rel=1e-4)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_slanting_parting_keeps_the_draft_on_its_own_side(side):
    across = (-0.2, 0.1, side)
    block = box(200, 200, 200, (-70, -80, -100)).trim_by_plane(across, 4.0 * side)
    half = (box(60, 40, 50, (0, 0, -25)) - rod(9, 80, (20, 20, -40)) + rod(20, 60, (45, 20, -30))).trim_by_plane(across, 4.0 * side)
    made = drafted(half, side, DraftRule(), block=block)
    sound(made, side, block)
    assert (made.solid - block).volume() < 1e-6
    assert 0.02 * half.volume() < made.added < 0.3 * half.volume()


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_round_inner_corners_are_their_known_volume_and_draw(side):
    def turned(body):
        return body if side > 0 else body.mirror((0, 0, 1))

    bead = (1 - np.pi / 4) * 3.0**2
    corner = filleted(turned(box(60, 10, 20) + box(10, 60, 20)), side, 3.0)
    assert corner.added == pytest.approx(bead * 20, rel=0.05)
    foot = filleted(turned(box(60, 60, 10) + box(20, 60, 20, (20, 0, 9))), side, 3.0)
    assert foot.added == pytest.approx(bead * 60 * 2, rel=0.05)
    drawn = [corner, foot]
    if side > 0:
        drawn.append(filleted(drafted(SHAPES["pins in a well"], side, DraftRule()).solid, side, 2.0))
    for made in drawn:
        assert trapped(made.solid, side) < SAND
        assert made.solid.status() == manifold3d.Error.NoError


def test_a_gap_narrower_than_two_radii_is_left_open():
    body = box(60, 60, 20) - box(2, 50, 10, (29, 5, 12))
    assert filleted(body, 1.0, 3.0).added < 0.1
