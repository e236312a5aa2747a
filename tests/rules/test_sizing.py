"""Sizes of the running system and first guess of a riser."""

from __future__ import annotations

import math

import pytest

from melt_shop import a356, kit, mould, part, spot
from strickle.base import falling_speed
from strickle.rigging import RiggingAsk, RiserWish, losses
from strickle.rigging.sizing import LEAST_CHOKE, sand_heat, size_riser, size_running


def sizes(volume=250e-6, wall=0.006, cope=0.06, above=0.02, **changes):
    ask = RiggingAsk(pour_time=changes.pop("pour_time", None))
    return size_running(volume, wall, cope, above, a356(), kit(**changes), ask, mould=mould())


def codes(found):
    return [f.code for f in found]


def test_loss_coefficients_are_the_published_ones():
    # Bell et al., fluids 1.3.1 (run for reference/checks.md G): entrance_sharp 0.57, contraction_sharp(.02->.01) 0.49558,
    # bend_rounded(Di .01, 90 degrees, 2 diameters, fd .03) 0.29250, friction_factor(Re 14000, eD .005) 0.035904
    assert losses.ENTRANCE == 0.57
    assert pytest.approx(0.49558, abs=5e-4) == losses.CONTRACTION
    assert pytest.approx(0.2925, abs=3e-3) == losses.BEND
    assert pytest.approx(0.035904, abs=2e-4) == losses.FRICTION


def test_discharge_lies_where_foundries_find_it():
    # Campbell (from memory): 0.8 for basin and sprue; the full system with runner and ingates a little less
    s = sizes()
    assert 0.65 < s.discharge < 0.85
    assert losses.discharge_first(losses.sprue_loss(s.choke_area, s.sprue_top_area, 0.06)) > s.discharge


def test_the_flow_is_what_the_choke_passes():
    s = sizes()
    assert s.flow == pytest.approx(s.discharge * s.choke_area * falling_speed(s.head), rel=1e-9)
    assert s.pour_time * s.flow == pytest.approx(250e-6, rel=1e-9)
    assert s.gate_speed == pytest.approx(0.9 * s.critical_speed, rel=1e-6)


def test_the_hand_keeps_up_and_the_choke_is_never_a_pinhole():
    for volume in (5e-6, 50e-6, 500e-6, 5000e-6):
        s = sizes(volume)
        assert s.choke_area >= LEAST_CHOKE
        assert s.peak_flow <= 1.001 * kit().pour_rate_high / 2380.0 or "rigging.choke_floor" in codes(s.findings)


def test_limits_that_clash_are_findings():
    assert "rigging.pour_too_slow" in codes(sizes(3e-3, 0.003).findings)
    assert "rigging.choke_floor" in codes(sizes(50e-6, pour_rate_high=0.05, pour_rate_low=0.02).findings)
    assert "rigging.pour_asked" in codes(sizes(pour_time=0.1).findings)
    assert "rigging.head_short" in codes(sizes(above=0.09).findings)
    (slower,) = sizes(pour_rate_low=0.19).findings
    assert (slower.code, slower.weight) == ("rigging.pour_slower", "NOTE")
    assert codes(sizes(pour_rate_low=0.1).findings) == []


def test_a_thinner_wall_is_poured_faster():
    assert sizes(1e-3, 0.004).pour_time < sizes(1e-3, 0.010).pour_time


def test_sand_takes_the_heat_of_the_analytic_case():
    # reference/analytic.py, C05 and C06 (X): fixed face 660 degrees for 120 s takes 7.977855 MJ/m2; sand 0.6, 1500, 1130
    assert sand_heat(120.0, math.sqrt(0.6 * 1500 * 1130), 1e9, 640.0) == pytest.approx(7.977855e6, rel=1e-5)


def test_a_riser_outlasts_its_spot_and_holds_enough():
    size = size_riser(spot(0.010), part(200e-6, spots=(spot(0.010),)), a356())
    assert size.why == "freezing time"
    # time of a round body over that of a plate of the same modulus: 143.4 / 192.3 (reference/analytic.py, C07)
    assert 0.746 * (size.modulus / 0.010) ** 2 == pytest.approx(1.25, rel=1e-6)
    heavy = size_riser(spot(0.005), part(2000e-6, spots=(spot(0.005),)), a356())
    assert heavy.why == "volume to feed"
    assert math.pi / 4 * heavy.diameter**2 * heavy.height >= 0.056 / (0.14 - 0.056) * 0.9 * math.pi * 0.045**2 * 0.01


def test_wishes_are_followed_and_bounds_hold():
    one, body = spot(0.006), part(spots=(spot(0.006),))
    plain = size_riser(one, body, a356())
    grown = size_riser(one, body, a356(), RiserWish(spot=0, size=1.2, neck=1.5))
    assert grown.diameter == pytest.approx(1.2 * plain.diameter)
    assert grown.neck_area == pytest.approx(1.5 * plain.neck_area)
    assert size_riser(one, body, a356(), RiserWish(spot=0, neck_area=1e-4)).neck_area == 1e-4
    assert size_riser(spot(0.03), part(5e-3, spots=(spot(0.03),)), a356()).diameter == 0.080
    assert size_riser(spot(0.001), part(2e-6, spots=(spot(0.001),)), a356()).diameter == 0.016
