"""Laws of the sand on drawn parts: an open slot is one body of its whole depth however it lies, and what eases the draw lowers its chance."""

from __future__ import annotations

import itertools
import math

import manifold3d as m3
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import sand_shop as shop
from strickle.mould import SandChances, together
from strickle.mould.draw_bodies import halves
from strickle.mould.draw_lean import towards_tip


def slotted(wide: float, deep: float, long: float, degrees: float, turned: float = 0.0) -> m3.Manifold:
    """A plate 80 by 80 mm with drafted outside, and one drafted slot [mm] that opens at one side, in the drag; turned in plan [deg]."""
    lean = math.tan(math.radians(degrees))

    def wedge(x: float, y: float, grow: float) -> m3.Manifold:
        """A bar about the origin from z = 0 down, that grows by ``grow`` a side on its way down."""
        top = m3.CrossSection.square((x, y), True)
        far = (1.0 + 2.0 * grow / x, 1.0 + 2.0 * grow / y)
        return top.extrude(deep, scale_top=far).mirror((0.0, 0.0, 1.0))

    plate = wedge(80.0, 80.0, -deep * lean)
    slot = wedge(wide, 2.0 * long, -deep * lean).mirror((0.0, 0.0, 1.0)).translate((0.0, 40.0, -deep))  # narrow at the parting, wide at its root
    return (plate - slot).rotate((0.0, 0.0, turned))


def chance_of(solid: m3.Manifold) -> float:
    return shop.stood(solid).chances.pocket


@settings(max_examples=25, deadline=None)
@given(wide=st.floats(6.0, 14.0), deep=st.floats(12.0, 24.0), long=st.floats(20.0, 60.0), degrees=st.floats(0.3, 4.0), turned=st.floats(0.0, 90.0))
def test_an_open_slot_is_one_body_of_its_depth(wide, deep, long, degrees, turned):
    (half,) = halves(shop.mesh(slotted(wide, deep, long, degrees, turned)))
    slots = [body for body in half.bodies if body.kind == "slot"]
    assert len(slots) == 1
    assert slots[0].depth * 1e3 == pytest.approx(deep, rel=1e-6)
    assert slots[0].draft == pytest.approx(math.tan(math.radians(degrees)), rel=0.01)  # the open side, which moves with height, has no say


@settings(max_examples=12, deadline=None)
@given(wide=st.floats(7.0, 12.0), deep=st.floats(14.0, 20.0), degrees=st.floats(0.5, 2.5), turned=st.floats(0.0, 90.0))
def test_draft_depth_and_turning_of_a_drawn_slot(wide, deep, degrees, turned):
    here = chance_of(slotted(wide, deep, 40.0, degrees))
    assert chance_of(slotted(wide, deep, 40.0, degrees + 1.0)) < here + 1e-3
    assert chance_of(slotted(wide, 1.25 * deep, 40.0, degrees)) > here - 1e-3
    assert chance_of(slotted(wide, deep, 40.0, degrees, turned)) == pytest.approx(here, abs=0.02)


def pocketed(chamfer: float, degrees: float = 30.0) -> m3.Manifold:
    """A plate with one upright pocket 12 by 12 by 30 mm, its mouth (the root of the sand) opened by a chamfer [mm]."""
    plate = m3.Manifold.cube((300.0, 300.0, 36.0), True).translate((0.0, 0.0, -18.0))
    out = plate - m3.Manifold.cube((12.0, 12.0, 40.0), True).translate((0.0, 0.0, -36.0 - 20.0 + 30.0))
    if chamfer:
        grow = chamfer * math.tan(math.radians(degrees))
        mouth = m3.CrossSection.square((12.0, 12.0), True).extrude(chamfer, scale_top=(1.0 + grow / 6.0,) * 2)
        out -= mouth.mirror((0.0, 0.0, 1.0)).translate((0.0, 0.0, -36.0 + chamfer))
    return out


def along(outline, start: float = -10.0, end: float = 50.0) -> m3.Manifold:
    """An outline in x and z [mm] carried along y: what is cut from a block 20 mm deep in the drag, 2 mm under the joint."""
    ring = np.array(outline, float)
    x, y = ring.T
    ring = ring if x @ np.roll(y, -1) > y @ np.roll(x, -1) else ring[::-1]
    bar = m3.CrossSection([ring]).extrude(end - start).rotate((90.0, 0.0, 0.0)).translate((0.0, end, 0.0))
    return m3.Manifold.cube((80.0, 80.0, 20.0)).translate((-40.0, -40.0, -20.0)) - bar


def the_slot(solid: m3.Manifold):
    (half,) = halves(shop.mesh(solid))
    (body,) = (body for body in half.bodies if body.kind in ("slot", "pocket"))
    return body


@pytest.mark.parametrize("floor", [60.0, 45.0, 30.0, 15.0])
def test_a_floor_that_slopes_is_no_draft_of_upright_walls(floor):
    """Upright walls 8 mm apart over a floor that climbs: read as draft, a floor of 15 degrees made 18 degrees of them."""
    run = 18.0 / math.tan(math.radians(floor))
    body = the_slot(along([(-min(run, 70.0) / 2, -20.0), (60.0, -20.0), (60.0, -2.0), (min(run, 70.0) / 2, -2.0)], -4.0, 4.0))
    assert body.draft == pytest.approx(0.0, abs=1e-6)
    assert body.lean == pytest.approx(0.0, abs=1e-6)


def test_ledges_between_upright_walls_are_no_draft():
    steps = [(side * (4.0 + 0.6 * k), -2.0 - 3.6 * (k + up)) for side in (1, -1) for k in range(5) for up in (0, 1)]
    body = the_slot(along([*steps[:10], *steps[:9:-1]]))
    assert body.draft == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("wave", [0.02, 0.05])
def test_waves_of_an_upright_wall_cancel(wave):
    """As of a scan or of layer lines: what is gained in one layer is lost in the next."""
    high = -np.arange(2.0, 20.01, 0.75)
    off = np.random.default_rng(1).uniform(-wave, wave, (2, len(high)))
    left, right = ([(side * 4.0 + o, z) for o, z in zip(one, high, strict=True)] for side, one in zip((-1.0, 1.0), off, strict=True))
    body = the_slot(along([*left, (-4.0, -25.0), (4.0, -25.0), *right[::-1]]))
    assert body.draft.mean() < math.tan(math.radians(0.2))


def test_of_two_walls_the_one_with_less_draft_gives_the_room_for_a_lean():
    six = 18.0 * math.tan(math.radians(6.0))
    body = the_slot(along([(-4.0, -2.0), (-4.0 - six, -20.0), (4.0, -20.0), (4.0, -2.0)]))
    three = 18.0 * math.tan(math.radians(3.0))
    even = the_slot(along([(-4.0, -2.0), (-4.0 - three, -20.0), (4.0 + three, -20.0), (4.0, -2.0)]))
    assert body.draft.mean() == pytest.approx(even.draft.mean(), rel=0.02)
    assert body.lean == pytest.approx(0.0, abs=1e-6)
    assert even.lean.mean() == pytest.approx(math.tan(math.radians(3.0)), rel=0.02)


def test_more_draft_never_hurts_up_to_walls_that_are_none():
    """Past 15 degrees a wall counts as a floor that lets go: no step up on the way."""
    found = [chance_of(shop.plate(80, 20, [(0, 0)], 9, degrees)) for degrees in (0.5, 5.0, 14.0, 16.0, 30.0)]
    assert all(b < a + 1e-3 for a, b in itertools.pairwise(found))
    assert found[0] > 0.3
    assert found[-1] < 0.02


def test_a_chamfer_at_the_mouth_is_no_draft_of_the_wall():
    """28 of 30 mm of wall stay upright: it must not count as a degree or more on the whole of it."""
    upright = chance_of(pocketed(0.0))
    for degrees in (30.0, 40.0):
        assert upright - 0.06 < chance_of(pocketed(2.0, degrees)) <= upright + 0.02


def test_the_draft_that_gives_room_counts_from_the_tip():
    assert towards_tip(np.full(8, 0.03), np.ones(8)) == pytest.approx(0.03)
    assert towards_tip(np.array([0.0] * 7 + [0.6]), np.ones(8)) == 0.0
    assert towards_tip(np.array([0.6] + [0.0] * 7), np.ones(8)) == pytest.approx(0.075)  # spent as the pattern has risen its depth


class Made:
    """A mould with the chances that its pockets stand."""

    def __init__(self, pocket):
        self.sand_stands = np.vstack([pocket, np.ones((3, len(pocket)))])
        self.sand_shops = np.stack([np.reshape(pocket, (4, -1)), *np.ones((3, 4, len(pocket) // 4))])


def test_of_two_moulds_any_fails_more_often_than_the_worse_and_less_than_if_they_had_nothing_in_common():
    one = np.clip(np.linspace(-0.3, 1.4, 64), 0.0, 1.0)
    worse = SandChances(pocket=float(1 - one.mean()), edge=0.0, hanging=0.0, handling=0.0, any=float(1 - one.mean()))
    likely, low, high = together([Made(one), Made(one**0.5)])
    alone, _, _ = together([Made(one)])
    assert alone.any == pytest.approx(worse.any)
    assert worse.any < likely.any < 1 - (1 - worse.any) * float((one**0.5).mean())
    assert low.any <= likely.any <= high.any
    assert likely.pocket == likely.any
    assert likely.edge == 0.0
