"""Detail: what stands out is measured, the law of slots and edges, and the maker's plate that loses its letters small and keeps them large."""

from __future__ import annotations

import dataclasses
import math
import re

import manifold3d as m3
import numpy as np
import pytest

import melt_shop
import pattern_shop
from strickle.base import GRAVITY, Mesh, Span, quiet, render
from strickle.job.demo import bracket as demo_bracket
from strickle.job.demo_plate import RELIEF, plate
from strickle.melt import MeltAsk
from strickle.melt.steps import charge
from strickle.mould import MouldAsk
from strickle.mould.steps import ram
from strickle.pattern import PatternAsk
from strickle.pattern.steps import make
from strickle.pour import PourAsk
from strickle.pour.detail import edges, strokes
from strickle.pour.press import LIKELY, WORST, Arrival, gate_reach, pressures, radii, reached_share, sheet_speed
from strickle.pour.relief import Press, finest_of, gate_arrival, relief_of, skin_of, told_of
from strickle.pour.steps import fill
from strickle.rigging import RiggingAsk
from strickle.rigging.steps import rig

BRISK, SLOW = (0.5, 0.7), (0.05, 0.1)  # kg/s by hand
SKIN = Span(value=2.0, low=1.0, high=3.0)  # N/m; reference/properties.toml, fill.gamma_*: clean about 1, Campbell 2 (memory), 3 seen
DENSITY = 2390.0


def makers_plate(times: float = 1.0) -> m3.Manifold:
    """A plate of 30 mm with strokes 0.7 mm wide standing out 0.5 mm from its lowest face, or so many times as large."""
    body = m3.Manifold.cube((30.0, 21.0, 3.0)).translate((-15.0, -10.5, 0.0))
    for at in (-8.0, -4.0, 0.0, 4.0, 8.0):
        body += m3.Manifold.cube((0.7, 12.0, 0.7)).translate((at - 0.35, -6.0, -0.5))
    return body.scale((times, times, times))


def arrays(body: m3.Manifold) -> tuple[np.ndarray, np.ndarray]:
    out = body.to_mesh64()
    return np.array(out.vert_properties[:, :3]) * 1e-3, np.array(out.tri_verts, np.int64)


def everywhere(body: m3.Manifold):
    vertices, faces = arrays(body)
    return vertices, faces, np.ones(len(faces), bool)


def poured(body: m3.Manifold, rates: tuple[float, float]):
    """The pour of an open face by a hand of these rates."""
    shop = melt_shop.kit(pour_rate_low=rates[0], pour_rate_high=rates[1])
    part, stores, metal = pattern_shop.part_from(body), melt_shop.stores(shop), melt_shop.a356()
    pattern = make(part, metal, stores, PatternAsk(open_face=True, up=np.array([0.0, 0.0, 1.0]), stock=1e-3, draft="none"), quiet)
    mould = ram(part, pattern, metal, stores, MouldAsk(kind="open-face"), quiet)
    rigging, closed = rig(part, pattern, mould, metal, stores, RiggingAsk(), quiet), melt_shop.cavity()
    melt = charge(part, mould, rigging, closed, metal, stores, MeltAsk(), quiet)
    return fill(part, pattern, mould, rigging, closed, metal, melt, stores, PourAsk(filling="none"), quiet)


def closed_mould(body: m3.Manifold, head: float, speed: float = 0.5, wait: float = 0.1, liquid: float = 1.0):
    """The verdict on a body under ``head`` [m] over its lowest place, metal from one ingate beside it."""
    vertices, faces = arrays(body)
    gate = dataclasses.replace(melt_shop.rigging().ingates[0], at=np.array([0.02, 0.0, 0.0]), width=0.01)
    level = float(vertices[:, 2].min()) + head
    arrives = gate_arrival((gate,), speed, level, np.array([-1.0, 1.0]), np.array([wait, wait]))
    press = Press(SKIN, DENSITY, lambda width: liquid, liquid, arrives, melt_shop.pattern())
    return relief_of(Mesh(vertices=vertices, faces=faces), False, press)


def said(pour):
    return next(f for f in pour.findings if f.code == "pour.relief")


@pytest.fixture(scope="module")
def small():
    return poured(makers_plate(), BRISK)


@pytest.fixture(scope="module")
def large():
    return poured(makers_plate(4.0), BRISK)


# ---- the maker's plate: common practice, an open-face lettered piece of 30 mm loses its detail, a several times larger one keeps it ----


def test_the_small_maker_s_plate_loses_its_letters_in_the_whole_band(small):
    relief = small.relief
    assert relief.width == pytest.approx(0.7e-3, rel=0.02)
    assert relief.height == pytest.approx(0.5e-3, rel=0.02)
    assert 0.0 < relief.reached.low < relief.reached.value < relief.reached.high < 0.30
    assert relief.lost == pytest.approx(1.0)
    assert said(small).weight == "MIND"
    assert "high chance" in said(small).says
    assert "capillary length" in said(small).because


def test_the_large_one_poured_briskly_keeps_them_with_a_thin_skin_and_is_doubtful_with_a_thick_one(large):
    relief = large.relief
    assert relief.reached.high > 0.70  # 1 N/m
    assert relief.reached.low < 0.70
    near = relief.pressures[:, WORST] > 2.0 * relief.pressures[:, WORST].min()  # where the stream still runs, 3 N/m
    assert near.any()
    assert ((relief.shares[near, WORST] > 0.30) & (relief.shares[near, WORST] < 0.70)).all()
    assert "doubtful" in said(large).says
    assert "capillary" not in said(large).because


@pytest.mark.parametrize("times", [1.0, 4.0])
def test_a_slow_pour_is_worse_than_a_brisk_one(times, small, large):
    brisk, slow = (small if times == 1.0 else large).relief, poured(makers_plate(times), SLOW).relief
    assert slow.reached.low < brisk.reached.low
    assert slow.reached.value < 0.5 * brisk.reached.value
    assert slow.reached.high < brisk.reached.high


def test_a_head_in_a_two_part_mould_helps_the_small_one_but_leaves_it_doubtful(small):
    relief = closed_mould(makers_plate(), 0.15)
    # r = gamma / (rho g h): 0.28 mm at 1 N/m to 0.85 mm at 3 N/m under 150 mm of aluminium, at rest
    rest = [g / (DENSITY * GRAVITY * 0.15) for g in (1.0, 3.0)]
    assert rest == pytest.approx([0.284e-3, 0.853e-3], rel=2e-3)
    assert relief.edge_radius.low == pytest.approx(rest[0], rel=0.1)
    assert relief.edge_radius.high == pytest.approx(rest[1], rel=0.01)
    assert 0.25e-3 < relief.edge_radius.low < relief.edge_radius.high < 0.9e-3
    assert relief.reached.low < 0.3 < 0.7 < relief.reached.high
    assert relief.reached.value > small.relief.reached.value
    finding = told_of(relief, math.inf, math.inf, melt_shop.a356())
    assert finding.weight == "MIND"
    assert "doubtful" in finding.says


def test_small_letters_beside_a_large_one_are_told_by_themselves():
    """All of it together is filled to a doubtful half; the fine strokes have no chance, and what is told to save them does."""

    def lettered(wide: float, high: float) -> m3.Manifold:
        body = m3.Manifold.cube((60.0, 40.0, 3.0)).translate((-30.0, -20.0, 0.0))
        for number in range(5):
            body += m3.Manifold.cube((3.5, 14.0, 1.7)).translate((8.0 * number - 18.0, 2.0, -1.5))
            body += m3.Manifold.cube((wide, 12.0, high + 0.2)).translate((8.0 * number - 18.0, -16.0, -high))
        return body

    both = closed_mould(lettered(0.6, 0.5), 0.06)
    assert both.reached.value > 0.3
    (told,) = finest_of(both)
    assert told.weight == "MIND"
    assert told.where is not None
    assert told.where.point[1] < 0.0  # on the small ones
    assert render(told.says).startswith("The finest of what stands out")
    times = float(re.search(r"strokes ([0-9.]+) times", render(told.do)).group(1))
    assert not finest_of(closed_mould(lettered(0.6 * times, 0.5 * times), 0.06))
    assert not finest_of(closed_mould(makers_plate(), 0.06))  # all are alike: the one verdict says it


def test_more_head_sharpens():
    heads = [closed_mould(makers_plate(), head) for head in (0.05, 0.1, 0.2, 0.4)]
    for field in ("low", "value", "high"):
        reached = [getattr(h.reached, field) for h in heads]
        radius = [getattr(h.edge_radius, field) for h in heads]
        assert reached == sorted(reached)
        assert radius == sorted(radius, reverse=True)
    assert told_of(heads[-1], math.inf, math.inf, melt_shop.a356()).weight == "NOTE"


def test_what_is_said_to_save_it_does(small):
    relief = closed_mould(makers_plate(), 0.05)
    for level, saved in ((0.999, False), (1.001, True)):
        again = closed_mould(makers_plate(), level * relief.head_saves.value)
        assert (again.reached.value >= 0.7) == saved
    bigger = relief.size_saves.value
    assert 1.0 < bigger < 10.0
    for level, saved in ((0.99, False), (1.01, True)):
        arrival = Arrival(np.array([0.05]), np.array([relief.speed.value] * 3)[None, :], np.array([0.0]))
        bent = radii(pressures(arrival, np.array([1.0]), DENSITY), SKIN)[0, LIKELY]
        assert (float(reached_share(level * bigger * 0.7e-3, level * bigger * 0.5e-3, bent)) >= 0.7) == saved
    assert "may help" in said(small).do


def test_a_stroke_that_freezes_before_the_head_is_judged_by_what_it_had():
    in_time, late = closed_mould(makers_plate(), 0.15, wait=1.0, liquid=2.0), closed_mould(makers_plate(), 0.15, wait=4.0, liquid=2.0)
    assert late.pressure.low == pytest.approx(0.5 * in_time.pressure.low)
    assert late.reached.value < in_time.reached.value
    assert "liquid" in told_of(late, math.inf, math.inf, melt_shop.a356()).because


# ---- measuring ----


@pytest.mark.parametrize("times", [1.0, 4.0])
def test_strokes_are_measured_by_rays(times):
    found = strokes(*everywhere(makers_plate(times)))
    assert found.width == pytest.approx(np.full(len(found.at), 0.7e-3 * times), rel=0.01)
    assert found.height == pytest.approx(np.full(len(found.at), 0.5e-3 * times), rel=0.01)
    assert found.area.sum() == pytest.approx(5 * 0.7e-3 * 12e-3 * times**2, rel=0.03)


def test_strokes_are_the_same_turned_about_the_draw_or_laid_on_their_side():
    base = strokes(*everywhere(makers_plate()))
    for turn in ((0, 0, 37), (0, 0, 90), (90, 0, 20)):
        found = strokes(*everywhere(makers_plate().rotate(turn)))
        assert np.median(found.width) == pytest.approx(np.median(base.width), rel=0.01)
        assert np.median(found.height) == pytest.approx(np.median(base.height), rel=0.01)
        assert found.area.sum() == pytest.approx(base.area.sum(), rel=0.03)


def test_the_demo_s_letters_are_found():
    found = strokes(*everywhere(plate()))
    order = np.argsort(found.height)
    middle = found.height[order][np.searchsorted(np.cumsum(found.area[order]), 0.5 * found.area.sum())]
    assert middle == pytest.approx(RELIEF * 1e-3, rel=0.01)
    top = found.at[:, 2] > 7.39e-3
    assert found.area[top].sum() > 0.93 * found.area.sum()  # ends of strokes, seen from the side, are the rest
    assert found.area[top].sum() == pytest.approx(plate().slice(7.3999).area() * 1e-6, rel=0.2)  # without the bosses, which are wider


@pytest.mark.parametrize(
    "body",
    [
        pattern_shop.bracket(),
        pattern_shop.mushroom(),
        m3.Manifold.cube((100.0, 60.0, 3.0)),
        m3.Manifold.sphere(40.0, 100),
        m3.Manifold.cube((40.0, 30.0, 8.0)).minkowski_sum(m3.Manifold.sphere(3.0, 24)),
    ],
    ids=["bracket", "mushroom", "sheet", "ball", "rounded block"],
)
def test_plain_bodies_have_nothing_but_edges(body):
    assert len(strokes(*everywhere(body)).at) == 0


def test_the_widest_that_counts_as_fine_is_the_same_on_every_machine():
    """A rib drawn just as wide as the limit lies a rounding of the rays' single precision to either side of it: it counts as wide."""
    for width, found in ((5.99, True), (6.0, False), (6.01, False)):
        rib = m3.Manifold.cube((60.0, 60.0, 20.0)) + m3.Manifold.cube((60.0, width, 9.0)).translate((0.0, 27.3, 15.0))
        assert bool(len(strokes(*everywhere(rib)).at)) == found


def test_the_demo_bracket_has_nothing_but_edges():
    vertices, faces = demo_bracket()
    assert len(strokes(vertices * 1e-3, faces, np.ones(len(faces), bool)).at) == 0


def test_edges_are_those_that_stand_out_with_their_radius():
    block = edges(*everywhere(m3.Manifold.cube((100.0, 60.0, 20.0))))
    assert block.length.sum() == pytest.approx(4 * 0.18)
    assert (block.drawn == 0.0).all()
    hollow = edges(*everywhere(m3.Manifold.cube((100.0, 60.0, 20.0)) - m3.Manifold.cube((50.0, 30.0, 10.0)).translate((25.0, 15.0, 10.0))))
    assert hollow.length.sum() == pytest.approx(4 * 0.18 + 0.16)  # the rim of the hollow stands out, its foot does not
    bar = edges(*everywhere(m3.Manifold.cylinder(20.0, 3.0, 3.0, 24)))
    round_ones = bar.drawn > 0.0
    assert bar.drawn[round_ones] == pytest.approx(np.full(round_ones.sum(), 3e-3), rel=0.01)
    vertices, faces, _ = everywhere(m3.Manifold.cube((100.0, 60.0, 20.0)))
    open_top = vertices[faces][:, :, 2].min(axis=1) < 0.019
    assert edges(vertices, faces, open_top).length.sum() == pytest.approx(2 * 0.16 + 4 * 0.02)


# ---- the law ----


def test_a_slot_exactly_at_its_limit_is_not_entered():
    # p = 2 gamma / t: r = t / 2; half a circle bulges in, pi t / (8 h) of the section; any more and the metal is in
    width, height = 0.002, 0.004
    assert float(reached_share(width, height, width / 2)) == pytest.approx(math.pi * width / (8 * height), rel=1e-9)
    just_in = float(reached_share(width, height, width / 2 * (1 - 1e-9)))
    assert just_in == pytest.approx(1.0 - 2.0 * (1.0 - math.pi / 4.0) * (width / 2) ** 2 / (width * height), rel=1e-6)


def test_a_shallow_slot_has_no_jump():
    # a cap that touches the ground before it is half a circle: both formulas give one share there
    width, height = 0.004, 0.0005
    touch = (height**2 + (width / 2) ** 2) / (2 * height)
    before, after = (float(reached_share(width, height, touch * f)) for f in (1 + 1e-9, 1 - 1e-9))
    assert before == pytest.approx(after, rel=1e-6)
    assert before == pytest.approx(2.0 / 3.0, rel=0.02)  # a flat cap is two thirds of its box


def test_a_falling_stream_runs_out_as_far_as_its_thrust_holds():
    # 0.6 kg/s at 1 m/s against 2 gamma = 2 N/m on the rim: 0.6 / (4 pi) = 47.7 mm
    at = np.array([0.0, 0.0477, 0.0478, 0.2])
    speed = sheet_speed(at, 1.0, 0.6, DENSITY, 1.0)
    assert speed[:2] == pytest.approx([1.0, 1.0])
    assert (speed[2:] < 0.2).all()
    assert speed[3] < speed[2]
    assert gate_reach(np.array([0.0, 0.1]), 0.5, 0.02) == pytest.approx([0.5, 0.5 * 0.02 / (math.pi * 0.1)])


def test_another_metal_s_skin_goes_with_its_clean_surface():
    stores = melt_shop.stores()
    assert skin_of(melt_shop.a356(), stores).low == pytest.approx(1.0)
    assert skin_of(melt_shop.a356(), stores).high == pytest.approx(3.0)
    bronze = melt_shop.a356(family="copper", surface_tension=1.2)
    assert skin_of(bronze, stores).low == pytest.approx(1.2)
    assert skin_of(bronze, stores).high == pytest.approx(2.4)
