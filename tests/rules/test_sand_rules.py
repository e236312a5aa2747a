"""Shelves, crooked joints, edges on them, leaning draws and lifting: on shapes whose answer is known beforehand."""

from __future__ import annotations

import math

import manifold3d as m3
import numpy as np
import pytest

import sand_shop as shop
from strickle.mould import draw_chance as chance
from strickle.mould import draw_law as law
from strickle.mould import rules
from strickle.mould.draw_bodies import halves
from strickle.mould.draw_edges import sharpest
from strickle.mould.draw_ledges import ledges
from strickle.mould.draw_map import face_chances
from strickle.mould.draw_sheet import Sheet, laid_flat
from strickle.mould.draw_tilt import leaning, push
from strickle.mould.sand import stand
from strickle.pattern import lifting
from strickle.pattern.halves import drill, pieces, wall_area, wall_drag
from strickle.stores import load, starter_kit

LINE = np.linspace(-0.08, 0.08, 321)


def sheet(rise) -> Sheet:
    """Heights [m] of ``rise`` (x, y in mm to mm) over 160 mm square."""
    return Sheet(LINE, LINE, 1e-3 * (rise(1e3 * LINE[:, None], 1e3 * LINE[None, :]) + 0 * LINE[:, None] + 0 * LINE[None, :]))


def bent(solid: m3.Manifold, rise) -> m3.Manifold:
    return solid.refine_to_length(1.0).warp_batch(lambda v: np.column_stack([v[:, 0], v[:, 1], v[:, 2] + rise(v[:, 0], v[:, 1])]))


def tee(side: float) -> m3.Manifold:
    """A stem 20 wide through the joint, with a flange 80 wide and 8 thick whose near face lies 12 from the joint."""
    return m3.Manifold.cube((20, 60, 40), True) + m3.Manifold.cube((80, 60, 8), True).translate((0, 0, side * 16))


@pytest.mark.parametrize(("half", "side"), [("cope", 1.0), ("drag", -1.0)])
def test_a_flange_leaves_a_shelf_on_either_side_of_its_stem(half, side):
    found = ledges(shop.mesh(tee(side)))
    assert [one.half for one in found] == [half, half]
    for one in found:
        assert one.reach == pytest.approx(0.030, abs=1e-3)
        assert one.thick == pytest.approx(0.012, abs=1e-4)
        assert abs(one.at[2]) == pytest.approx(0.006, abs=1e-4)


def test_what_draws_leaves_no_shelf_and_a_bore_none_either():
    assert ledges(shop.mesh(shop.grid(80, 3, 10, 20, 2))) == ()
    bored = m3.Manifold.cube((60, 60, 40), True) - m3.Manifold.cylinder(20, 8, circular_segments=48).rotate((90, 0, 0)).translate((0, 10, 8))
    assert ledges(shop.mesh(bored)) == ()  # shut in: sand that no half holds


def test_a_shelf_is_judged_as_the_bar_over_a_tables_edge():
    """50 x 30 mm 2 %, 80 x 30 mm 60 %, 50 x 10 mm 74 %: the study's own table."""
    own = shop.sand()
    given = chance.shared(own)
    for reach, thick, known in ((0.050, 0.030, 0.02), (0.080, 0.030, 0.60), (0.050, 0.010, 0.74)):
        use = law.ledge(reach, thick, own.density, given.jerk, 1.5 * given.strength)
        assert float(chance.breaks(use, own.local).mean()) == pytest.approx(known, abs=0.03)
    out = stand(shop.mesh(tee(1.0)), None, own)
    assert len(out.ledges) == 2
    assert out.chances.hanging >= max(one.chance for one in out.ledges) - 1e-9


def test_a_mould_with_a_bent_joint_is_judged_as_the_same_mould_laid_flat():
    def rise(x, y):
        return 6 * np.cos(x / 30) + 0 * y

    flat = shop.plate(60, 30, [(0, 0)], 12, 2)
    crooked, joint = shop.mesh(bent(flat, rise)), sheet(rise)
    (half,) = halves(laid_flat(crooked, joint))
    (known,) = halves(shop.mesh(flat))
    assert (half.name, half.bodies[0].kind) == ("drag", "pocket")
    assert half.depth == pytest.approx(known.depth, rel=1e-3)
    assert half.bodies[0].depth == pytest.approx(known.bodies[0].depth, rel=1e-3)
    assert half.bodies[0].width == pytest.approx(known.bodies[0].width, rel=0.01)
    middles = crooked.vertices[crooked.faces].mean(axis=1)
    bent_out = stand(crooked, None, shop.sand(), middles, joint)
    flat_out = stand(shop.mesh(flat), None, shop.sand())
    assert bent_out.chances.pocket == pytest.approx(flat_out.chances.pocket, abs=0.01)
    assert bent_out.bodies[0].at[2] == pytest.approx(-0.030 + 0.006, abs=2e-4)  # put back where it stands
    wall = np.hypot(middles[:, 0], middles[:, 1]) < 0.0085
    assert (bent_out.face_tear[wall & (np.abs(middles[:, 2] + 0.009) < 0.010)] > 0).all()


def test_a_level_sheet_changes_nothing():
    cavity = shop.mesh(shop.plate(60, 30, [(0, 0)], 12, 2))
    assert laid_flat(cavity, sheet(lambda x, y: 0 * x)) is cavity
    assert laid_flat(cavity, None) is cavity


@pytest.mark.parametrize("slope", [0, 15, 30, 45])
def test_the_edge_at_a_sloping_joint_is_as_sharp_as_the_slope_leaves_it(slope):
    """An upright wall crossing a joint of so many degrees: the sand on one side of it keeps 90 degrees less the slope."""
    block = shop.mesh(m3.Manifold.cube((60, 60, 80), True))
    found = sharpest(block, sheet(lambda x, y: math.tan(math.radians(slope)) * x))
    for edge in found.values():
        assert edge.angle == pytest.approx(90.0 - slope, abs=0.1)
        assert (edge.at is None) == (slope == 0)
        if slope:
            assert abs(edge.at[2] - math.tan(math.radians(slope)) * edge.at[0]) < 1e-6  # on the joint


def test_a_leaning_draw_pushes_as_the_study_tells():
    """Draft 0, 1, 2, 3 degrees under a lean of 1 to 3, a pocket 30 deep in a pattern of 300: largest push [mm] at a lift."""
    table = {1: (0.33, 0.23, 0.14, 0.05), 2: (0.71, 0.53, 0.35, 0.16), 3: (1.01, 0.73, 0.46, 0.19)}
    for lean, pushes in table.items():
        for draft, known in enumerate(pushes):
            body = shop.post(0.03, 0.012, 0.0)._replace(lean=np.full(12, math.tan(math.radians(draft))))
            got, lift = push(chance.Group(body, 1, (0,), 0.3), shop.sand(), math.radians(lean))
            assert got * 1e3 == pytest.approx(known, abs=0.012)
            if draft == 0:
                assert lift * 1e3 == pytest.approx({1: 2.7, 2: 5.3, 3: 7.9}[lean], abs=0.5)


def test_leaning_more_never_helps_and_no_pockets_have_no_table():
    rows = shop.stood(shop.plate(300, 30, [(0, 0)], 12, 1)).leaning
    assert [round(math.degrees(math.atan(one.lean))) for one in rows] == [0, 1, 2, 3]
    assert [one.pocket for one in rows] == sorted(one.pocket for one in rows)
    body = shop.post(0.03, 0.012, 0.0)._replace(draft=np.full(12, math.tan(math.radians(1))), lean=np.full(12, math.tan(math.radians(1))))
    told = leaning([chance.Group(body, 1, (0,), 0.3)], shop.sand())
    assert [one.worst for one in told] == pytest.approx((0.64, 0.75, 0.94, 0.99), abs=0.05)  # the study's table, one post
    assert leaning([], shop.sand()) == ()


def test_the_map_finds_the_wall_that_draft_moved():
    """The cavity's pocket is drafted, the part's upright: its walls are marked, what looks the other way is not."""
    part = shop.mesh(shop.plate(60, 40, [(10, 0)], 14, 0))
    (half,) = halves(shop.mesh(m3.Manifold.cube((60, 60, 40), True).translate((0, 0, -20)) - pocket(14, 40, 3)))
    body = half.bodies[0]
    corners = part.vertices[part.faces]
    middles = corners.mean(axis=1)
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    told = face_chances(middles, [body], [0.5], normals)
    inner = (np.abs(middles[:, 0] - 0.010) < 0.0071) & (np.abs(middles[:, 1]) < 0.0071) & (np.abs(normals[:, 2]) < 0.1)
    assert inner.sum() == 8
    assert (told[inner] == 0.5).all()
    assert not told[(np.abs(middles[:, 0]) > 0.029) | (np.abs(middles[:, 1]) > 0.029)].any()


def pocket(wide: float, high: float, draft: float) -> m3.Manifold:
    """A pocket at x = 10 that is ``wide`` at its root, ``high`` below the joint, and narrower towards it."""
    tip = wide - 2 * math.tan(math.radians(draft)) * high
    return shop.tapered(tip, tip, high, draft).translate((10, 0, 0))


def test_low_and_high_hold_the_likely_chance_and_measuring_draws_them_together():
    solid = shop.plate(60, 22, [(0, 0)], 12, 2)
    wide = shop.stood(solid)
    for low, likely, high in zip(wide.low, wide.chances, wide.high, strict=True):
        assert low <= likely <= high
    own = shop.sand()
    known = own._replace(spread={**own.spread, "strength": 0.05, "adhesion": 0.05, "left": 0.05, "pressure": 0.05, "friction": 0.05})
    sure = shop.stood(solid, own=known)
    assert sure.high.pocket - sure.low.pocket < 0.5 * (wide.high.pocket - wide.low.pocket)


@pytest.mark.parametrize(("size", "screws", "bars"), [((100, 80, 40), 1, 0), ((260, 50, 40), 2, 1), ((300, 200, 40), 4, 2)])
def test_long_patterns_are_lifted_by_bars_about_the_middle_of_their_drag(size, screws, bars):
    solid = m3.Manifold.cube(size, True) + m3.Manifold.cube((size[0] / 4, size[1] / 2, 30), True).translate((size[0] / 4, 0, 0))
    holes = drill(solid, drag=2.5e-3)
    for one, piece in zip(holes.lifts, pieces(solid, holes).pieces, strict=True):
        assert (one.piece, one.screws, one.bars) == (piece.name, screws, bars)
        body = solid.trim_by_plane((0, 0, 1.0 if piece.half == "cope" else -1.0), 0.0)
        off = np.hypot(*(one.at[:2] * 1e3 - wall_drag(body)))
        assert off <= max(lifting.OFF * size[0], 4.0)
        assert piece.lift_point == pytest.approx(one.at)
        assert one.force == pytest.approx(2.5e-3 * wall_area(body), rel=1e-6)
        if bars:
            assert one.apart * 1e3 >= 0.35 * size[0]
            assert one.bar_length > one.apart
            assert "bar" in piece.note
            inertia = one.bar_width * one.bar_height**3 / 12
            assert one.force / bars * one.apart**3 / (48 * 1e10 * inertia) <= one.apart / 500 * 1.001
    assert [f.code for f in lifting.told(holes.lifts)] == (["pattern.bridge"] if bars else [])


def test_ratios_that_stand_in_the_program_are_those_of_the_stores():
    stored = {name: value.value for name, value in load(starter_kit()).constants.items()}
    assert stored["draw.flexural_over_tensile"] == rules.FLEXURAL
    assert stored["draw.shear_over_tensile"] == chance.SHEAR
    assert math.hypot(chance.LOCAL_STRENGTH, chance.LOCAL_DRAG) == pytest.approx(stored["draw.scatter"], abs=5e-3)
