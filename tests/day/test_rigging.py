"""Rigging on bodies made in code: it touches where it said it would, stands clear elsewhere, is one body, and comes out of the sand."""

import functools
from collections import Counter

import manifold3d as m3
import numpy as np
import pytest

import factory as f
from strickle.base import render, tell
from strickle.rigging import RiggingAsk, RiserWish
from strickle.rigging.report import counted


def solid_of(mesh):
    return m3.Manifold(m3.Mesh64(np.ascontiguousarray(mesh.vertices * 1e3), np.ascontiguousarray(mesh.faces, dtype=np.uint64)))


def codes(rig):
    return {x.code for x in rig.findings}


def stands(rig, pattern, mould):
    """What every finished rigging must hold."""
    part = solid_of(pattern.cavity)
    assert rig.bodies == 1
    assert rig.surplus_holes == 0
    assert rig.room_wanted is None
    assert rig.least_gap >= 11.9e-3
    for one in (*rig.ingates, *(r.neck for r in rig.risers)):
        assert one.contact == pytest.approx(one.asked, rel=0.02)
    assert not codes(rig) & {"rigging.held", "rigging.touches", "rigging.holed", "rigging.not_one", "rigging.no_room"}
    low, high = rig.casting.vertices.min(axis=0), rig.casting.vertices.max(axis=0)
    room = mould.room_for_rigging
    assert (low >= room[[0, 2, 4]] - 1e-6).all()
    assert (high <= room[[1, 3, 5]] + 1e-6).all()
    for region in rig.regions:
        opens = region.kind in ("riser", "flow-off") or region.name == "basin"
        reaches = region.mesh.vertices[:, 2].max() > mould.box[5] - 1e-6
        assert reaches == opens, region.name
        if region.kind not in ("ingate", "neck", "flow-off"):
            assert (solid_of(region.mesh) ^ part).volume() < 1e-3, region.name
    joined = m3.Manifold.batch_boolean([part, *(solid_of(r.mesh) for r in rig.regions)], m3.OpType.Add)
    assert joined.volume() == pytest.approx(solid_of(rig.casting).volume(), rel=1e-6)
    assert (joined.volume() - part.volume()) * 1e-9 == pytest.approx(rig.volume, rel=1e-4)
    names = [p.name for p in rig.pieces]
    assert {"basin-former", "sprue-former", "runner", "ingate-1"} <= set(names)
    assert len(names) == len(set(names))
    for piece in rig.pieces:
        made = solid_of(piece.mesh)
        assert made.status() == m3.Error.NoError
        assert len(made.decompose()) == 1, piece.name
        assert made.volume() * 1e-9 == pytest.approx(piece.volume, rel=1e-3)
        if piece.touches_sand:
            assert (made ^ part).volume() < 1e-3, piece.name
        if piece.name in ("basin-former", "sprue-former") or piece.name.startswith("riser-"):
            assert piece.draw[2] == 1.0
            assert piece.lift_point is not None


@functools.cache
def bell():
    spots = (f.spot((-45, 0, 0), 18, modulus=6.5), f.spot((45, 0, 0), 18, modulus=6.5))
    return f.rigged(f.dumb_bell(), spots=spots, wall=12, over=80)


@functools.cache
def plate():
    return f.rigged(f.box(120, 80, 4), wall=4, spots=(f.spot((0, 0, 2), 1.9, needs=False, why="even thickness, loss small"),))


def test_dumb_bell_gets_two_risers_above_its_balls():
    rig, _, pattern, mould = bell()
    stands(rig, pattern, mould)
    assert [r.kind for r in rig.risers] == ["top", "top"]
    assert sorted(r.spot for r in rig.risers) == [0, 1]
    for riser in rig.risers:
        ball = pattern.turn @ np.array([-0.045 if riser.spot == 0 else 0.045, 0, 0]) + pattern.shift
        assert np.linalg.norm(riser.neck.at[:2] - ball[:2]) < 0.010
        assert riser.neck.at[2] > ball[2]
    assert "rigging.no_riser_needed" not in codes(rig)


def test_plate_with_a_boss_gets_one_riser_at_the_boss():
    solid = f.box(100, 80, 8) + m3.Manifold.cylinder(22, 14, 14, 64).translate((20, 10, 7))
    rig, _, pattern, mould = f.rigged(solid, wall=8, spots=(f.spot((20, 10, 12), 12.6),), over=80)
    stands(rig, pattern, mould)
    (riser,) = rig.risers
    assert np.linalg.norm(riser.neck.at[:2] - (0.020, 0.010)) < 0.006


def test_turned_part_carries_its_hot_spot_along():
    solid = f.box(100, 80, 8) + m3.Manifold.cylinder(22, 14, 14, 64).translate((20, 10, 7))
    turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    rig, _, pattern, _ = f.rigged(solid, wall=8, spots=(f.spot((20, 10, 12), 12.6),), over=80, turn=turn, shift=(7.0, -3.0), grow=1.013)
    wanted = 1.013 * np.array([-0.010, 0.020]) + (0.007, -0.003)
    assert np.linalg.norm(rig.risers[0].neck.at[:2] - wanted) < 0.006
    assert pattern.scale[0] == 1.013


def test_thin_plate_gets_none_and_says_why():
    rig, _, pattern, mould = plate()
    stands(rig, pattern, mould)
    assert rig.risers == ()
    note = next(x for x in rig.findings if x.code == "rigging.no_riser_needed")
    assert "even thickness" in note.because
    assert any(v.kind == "flow-off" for v in rig.vents)
    assert all(v.to_metal > 0 for v in rig.vents if v.kind == "pricked")


@pytest.mark.parametrize(("solid", "radius"), [(f.box(40, 40, 40), 19.9), (m3.Manifold.sphere(20, 96), 19.9)], ids=["cube", "ball"])
def test_lump_gets_a_riser_on_top_and_one_ingate(solid, radius):
    middle = 0.5 * (solid.bounding_box()[2] + solid.bounding_box()[5])
    rig, _, pattern, mould = f.rigged(solid, wall=40, spots=(f.spot((0, 0, middle), radius, modulus=6.7),), over=80)
    stands(rig, pattern, mould)
    assert [r.kind for r in rig.risers] == ["top"]
    assert len(rig.ingates) == 1


def test_small_disc_gets_one_ingate():
    rig, _, pattern, mould = f.rigged(m3.Manifold.cylinder(6, 30, 30, 128), wall=6)
    stands(rig, pattern, mould)
    assert len(rig.ingates) == 1


def test_thin_box_without_a_side_face_is_lapped_and_told():
    solid = f.box(80, 60, 30) - f.box(76, 56, 30, 2)
    rig, _, pattern, mould = f.rigged(solid, wall=2)
    stands(rig, pattern, mould)
    assert "rigging.lap_ingate" in codes(rig)
    assert rig.ingates[0].half == "drag"


def test_part_with_a_rounded_lower_edge_is_not_lapped():
    """A lap under a fillet would leave a feather of sand."""
    rounded = m3.Manifold.batch_hull([m3.Manifold.sphere(5, 32).translate((x, y, 5)) for x in (-30, 30) for y in (-20, 20)])
    rig, _, _, _ = f.rigged(rounded, wall=10, ask=RiggingAsk())
    assert "rigging.lap_ingate" not in codes(rig)


def test_u_shape_is_one_body_with_its_legs_clear():
    legs = m3.Manifold.cube((20, 100, 12)).translate((-60, 0, 0)) + m3.Manifold.cube((20, 100, 12)).translate((40, 0, 0))
    rig, _, pattern, mould = f.rigged(f.box(120, 20, 12) + legs, wall=12)
    stands(rig, pattern, mould)


def side_faces(part):
    a, b, c = (part.mesh.vertices[part.mesh.faces[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    return normal, (a + b + c) / 3


def test_marked_face_moves_the_ingate_and_all_marked_stops():
    solid = f.box(100, 60, 12)
    rig, part, _, _ = f.rigged(solid, wall=12)
    normal, _ = side_faces(part)
    at = rig.ingates[0].at
    axis = int(np.argmax(np.abs(at[:2]) / (0.05, 0.03)))
    sign = np.sign(at[axis])
    taken = tuple(int(i) for i in np.flatnonzero(normal[:, axis] * sign > 0.9))
    moved, _, pattern, mould = f.rigged(solid, wall=12, ask=RiggingAsk(marked=taken))
    stands(moved, pattern, mould)
    there = moved.ingates[0].at
    assert not (abs(there[axis] - at[axis]) < 1e-3)
    none, *_ = f.rigged(solid, wall=12, ask=RiggingAsk(marked=tuple(range(len(part.mesh.faces)))))
    stop = next(x for x in none.findings if x.code == "rigging.no_ingate")
    assert stop.weight == "STOP"
    assert "marked face" in stop.because
    assert none.ingates == ()


def test_drop_and_larger_wish_are_followed():
    spots = (f.spot((-45, 0, 0), 18, modulus=4.0), f.spot((45, 0, 0), 18, modulus=4.0))
    first, *_ = f.rigged(f.dumb_bell(), spots=spots, wall=12, over=80)
    ask = RiggingAsk(risers=(RiserWish(spot=0, drop=True), RiserWish(spot=1, size=1.3, neck=1.5)))
    rig, *_ = f.rigged(f.dumb_bell(), spots=spots, wall=12, over=80, ask=ask)
    (riser,) = rig.risers
    before = next(r for r in first.risers if r.spot == 1)
    assert riser.spot == 1
    assert riser.diameter == pytest.approx(1.3 * before.diameter, rel=1e-6)
    assert riser.neck.asked == pytest.approx(1.5 * before.neck.asked, rel=0.06)


def test_small_flask_lacks_room_and_the_box_it_asks_for_serves():
    rig, _, pattern, mould = f.rigged(f.box(100, 60, 12), wall=12, around=45.0)
    stop = next(x for x in rig.findings if x.code == "rigging.no_room")
    assert stop.weight == "STOP"
    assert rig.room_wanted is not None
    assert mould.flask.name in render(stop.says)
    side = mould.side_margin * 1e3
    wide = max(
        pattern.cavity.vertices[:, 0].min() - rig.room_wanted[0],
        rig.room_wanted[1] - pattern.cavity.vertices[:, 0].max(),
        pattern.cavity.vertices[:, 1].min() - rig.room_wanted[2],
        rig.room_wanted[3] - pattern.cavity.vertices[:, 1].max(),
    )
    again, _, _, wider = f.rigged(f.box(100, 60, 12), wall=12, around=wide * 1e3 + side)
    assert again.room_wanted is None
    stands(again, pattern, wider)


def test_deep_drag_is_a_fall_and_is_left_to_the_pour_to_tell():
    for deep in (30.0, 45.0):
        solid = f.box(100, 80, 10) + f.box(60, 40, deep + 1, -deep)
        rig, *_ = f.rigged(solid, wall=10)
        assert rig.ingates[0].fall >= (deep - 13.0) / 1e3
        assert rig.ingates[0].fall <= (deep + 1.5) / 1e3
        assert not codes(rig) & {"rigging.fall", "rigging.gate_fast"}


def test_turned_and_shifted_in_plan_gives_the_same_contacts():
    solid = f.box(100, 60, 12)
    straight, *_ = f.rigged(solid, wall=12)
    a = np.radians(17.0)
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    turned, _, pattern, mould = f.rigged(solid, wall=12, turn=turn, shift=(40.0, -25.0))
    stands(turned, pattern, mould)
    assert [i.contact for i in turned.ingates] == pytest.approx([i.contact for i in straight.ingates], rel=0.01)


def test_sprue_and_runner_are_what_was_sized():
    rig, _, _, mould = plate()
    assert rig.sprue.top_area > rig.sprue.base_area
    assert rig.sprue.base_area == pytest.approx(rig.choke_area)
    assert rig.sprue.height == pytest.approx(mould.box[5] - rig.basin.depth)
    assert sum(i.area for i in rig.ingates) * rig.ingates[0].speed > 0
    ends = np.linalg.norm(rig.runner.line[0] - rig.sprue.at)
    assert ends < 1e-9


def test_draw_order_is_told_for_every_piece():
    rig, *_ = bell()
    order = {p.name: p.order for p in rig.pieces}
    assert order["basin-former"] < order["sprue-former"] < order["riser-1"] < order["riser-2"] < order["runner"] < order["neck-1"]
    for piece in rig.pieces:
        assert piece.note
        assert (piece.draw[2] < 0) == (piece.order >= 50)


def test_a_small_pour_has_a_round_cup_and_a_large_one_a_basin_of_a_second():
    small, *_ = plate()
    large, *_ = f.rigged(f.box(160, 120, 30), wall=4, over=60)
    for rig in (small, large):
        basin = next(solid_of(r.mesh) for r in rig.regions if r.name == "basin")
        x0, y0, _, x1, y1, _ = basin.bounding_box()
        assert sorted((x1 - x0, y1 - y0))[0] >= 39.5
    assert small.basin.width == small.basin.length == pytest.approx(max(0.040, 2.5 * np.sqrt(4 * small.sprue.top_area / np.pi)), rel=0.05)
    assert 20e-6 < small.basin.volume < 45e-6
    assert large.basin.length > 1.3 * large.basin.width
    assert 0.9 * large.flow < large.basin.volume < 1.5 * large.flow


def test_reasons_are_few_in_plain_words_and_in_the_persons_units():
    counts = Counter(
        {f"wall thinner than {tell(0.0072, 'm')}": 159, f"wall thinner than {tell(0.003, 'm')}": 40, "corner": 206, "taken by a riser": 2}
    )
    assert render(counted(counts)) == "mostly: corner; wall thinner than 3 mm"
    assert render(counted(counts), "us") == "mostly: corner; wall thinner than 0.118 in"
    assert counted(Counter({"corner": 3, "marked face": 1})) == "mostly: marked face; corner"
    assert counted(Counter({"corner": 3})) == "corner"
    assert counted(Counter()) == "nothing to try"


def test_a_low_ingate_bears_more_and_says_so():
    rig, *_ = f.rigged(f.box(46, 46, 3.2), wall=3.2)
    assert all(i.height <= 4e-3 for i in rig.ingates)
    assert {i.critical for i in rig.ingates} == {1.0}
    high, *_ = plate()
    assert all(i.critical == pytest.approx(0.493, abs=0.02) for i in high.ingates if i.height > 4e-3)
    if any(i.speed > 0.5 for i in rig.ingates):
        assert codes(rig) & {"rigging.gates_thin", "rigging.gates_narrow"}


def left_standing(rig, mould, piece, step):
    """Sand [mm3] that a piece runs into when it has moved ``step`` mm along its draw."""
    moved = solid_of(piece.mesh).translate(tuple(piece.draw * step))
    high, deep = mould.box[5] * 1e3, mould.box[4] * 1e3
    if piece.half == "drag":
        moved = moved.trim_by_plane((0, 0, -1), 0.0)
    elif piece.draw[2] > 0:
        moved = moved.trim_by_plane((0, 0, -1), -high)
    else:
        moved = moved.trim_by_plane((0, 0, 1), 0.0)
    assert deep < 0
    return max((moved - solid_of(rig.casting)).volume(), 0.0)


@pytest.mark.parametrize("make", [bell, plate], ids=["dumb-bell", "plate"])
def test_every_piece_leaves_the_sand_without_taking_any(make):
    rig, _, _, mould = make()
    for piece in rig.pieces:
        if piece.touches_sand:
            for step in (1.0, 5.0):
                assert left_standing(rig, mould, piece, step) < 0.5, (piece.name, step)
