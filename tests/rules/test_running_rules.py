"""Worked examples of running and feeding: each with author, title, year, place and tolerance beside its numbers.

M: recalled from memory, not seen; X: computed from the stated formula; S: seen.
"""

from __future__ import annotations

import math

import pytest

from strickle.pour import rules as stream
from strickle.rigging import rules

CM, CM2, CM3 = 1e-2, 1e-4, 1e-6


def test_a1_sprue_and_cavity_of_groover():
    # Groover, Fundamentals of Modern Manufacturing, 4th ed. 2010, ch. 10, example on pouring calculations (S problem, M answer, X):
    # sprue 20 cm, base 2.5 cm2, cavity 1560 cm3 -> 198.1 cm/s, 495 cm3/s, 3.2 s; 0.1 % on speed and flow, 2 % on the rounded time
    assert rules.fall_speed(20 * CM) == pytest.approx(198.1 * CM, rel=1e-3)
    assert rules.flow_rate(20 * CM, 2.5 * CM2) == pytest.approx(495 * CM3, rel=1e-3)
    assert rules.fill_time_top(1560 * CM3, 20 * CM, 2.5 * CM2) == pytest.approx(3.2, rel=2e-2)


def test_a2_riser_of_groover():
    # Groover, as above, example on riser design (S): plate 7.5 x 12.5 x 2.0 cm freezes in 1.6 min; riser D = H shall take 2.0 min
    # V/A 0.70 cm, mould constant 3.26 min/cm2, D = H = 4.7 cm (X 4.702); 0.5 %
    casting = rules.modulus(187.5 * CM3, 267.5 * CM2)
    assert casting == pytest.approx(0.701 * CM, rel=5e-3)
    assert rules.mould_constant(1.6 * 60, casting) == pytest.approx(3.26 * 60 / CM**2, rel=5e-3)
    diameter, height, _ = rules.riser_size_modulus(casting, casting_time=96, riser_time=120, exponent=2, height_to_diameter=1)
    assert diameter == pytest.approx(4.702 * CM, rel=5e-3)
    assert height == pytest.approx(diameter)


@pytest.mark.parametrize(
    ("volume", "area"),
    [(math.pi * 10**3 / 6, math.pi * 10**2), (math.pi / 4 * 10**3, 1.5 * math.pi * 10**2), (10.0**3, 6 * 10.0**2)],
    ids=["sphere", "cylinder", "cube"],
)
def test_a3_three_shapes_of_groover(volume, area):
    # Groover, as above, problem on three shapes (S): V/A 1.667 cm and 9.72 min at 3.5 min/cm2 for all; 0.1 %
    modulus = rules.modulus(volume * CM3, area * CM2)
    assert modulus == pytest.approx(1.667 * CM, rel=1e-3)
    assert rules.freezing_time(3.5 * 60 / CM**2, modulus) / 60 == pytest.approx(9.72, rel=1e-3)


def test_a5_cube_and_slab():
    # DeGarmo-type problem, question-and-answer page (S): 4 in cube 14.5 min, slab 16 x 4 x 1 in of the same metal -> 4.735 min; 0.1 %
    inch = 0.0254
    constant = rules.mould_constant(14.5 * 60, rules.modulus((4 * inch) ** 3, 6 * (4 * inch) ** 2))
    slab = rules.modulus(64 * inch**3, 2 * (16 * 4 + 16 + 4) * inch**2)
    assert rules.freezing_time(constant, slab) / 60 == pytest.approx(4.735, rel=1e-3)


def test_a6_downsprue_of_groover():
    # Groover, as above, problem on the downsprue (S): 175 mm, 1 L/s -> base 540 mm2 (X 539.7); 0.2 %
    assert rules.sprue_base_area(1e-3, 0.175) == pytest.approx(540e-6, rel=2e-3)


def test_a7_gate_examination_of_2007():
    # GATE 2007, study page (S flow, X time): base 10 mm across, head 250 mm, cube 100 mm -> 173 942 mm3/s, 5.75 s; 0.01 % and 0.05 %
    area = math.pi / 4 * 0.010**2
    assert rules.flow_rate(0.25, area) == pytest.approx(173_942e-9, rel=1e-4)
    assert rules.fill_time_top(1e-3, 0.25, area) == pytest.approx(5.75, rel=5e-4)


def test_a8_top_and_bottom_gate_of_ghosh_and_mallik():
    # Ghosh & Mallik, Manufacturing Science, 1986, ch. 2 example (M, X): 50 x 25 x 15 cm, gate 5 cm2, head 15 cm -> 21.86 s, 43.71 s; 0.05 %
    assert rules.fill_time_top(18_750 * CM3, 15 * CM, 5 * CM2) == pytest.approx(21.86, rel=5e-4)
    assert rules.fill_time_bottom(1250 * CM2, 15 * CM, 5 * CM2, 15 * CM) == pytest.approx(43.71, rel=5e-4)
    assert rules.fill_time_bottom(1250 * CM2, 15.1 * CM, 5 * CM2, 15 * CM) == math.inf


def test_a17_steel_slab_three_ways_of_rao():
    # Rao, Manufacturing Technology: Foundry, Forming and Welding, ch. on risering (M, X): slab 25 x 25 x 5 cm, side riser D = H; 0.2 %
    volume, area = 3125 * CM3, 1750 * CM2
    by_modulus, _, _ = rules.riser_size_modulus(rules.modulus(volume, area), 1.0, 1.44)
    assert by_modulus == pytest.approx(12.86 * CM, rel=2e-3)
    by_shape, _, factor, _ = rules.riser_size_shape_factor(25 * CM, 25 * CM, 5 * CM, volume, 0.575)
    assert factor == pytest.approx(10.0)
    assert by_shape == pytest.approx(13.18 * CM, rel=2e-3)
    by_ratio, _, x, y = rules.riser_size_freezing_ratio(volume, area, a=0.10, b=0.03, c=1.00)
    assert by_ratio == pytest.approx(12.85 * CM, rel=2e-3)
    assert (x, y) == (pytest.approx(1.199, rel=2e-3), pytest.approx(0.533, rel=2e-3))


def test_a18_the_same_slab_with_aluminium_constants():
    # constants of Caine, Trans. AFS 1949, in Rao's table (M, X): aluminium 0.10, 0.03, 1.08 -> 13.42 cm; 0.2 %
    assert rules.riser_size_freezing_ratio(3125 * CM3, 1750 * CM2)[0] == pytest.approx(13.42 * CM, rel=2e-3)


@pytest.mark.parametrize(("shrinkage", "times"), [(0.07, 1.0), (0.03, 0.03 / 0.11)], ids=["aluminium", "steel"])
def test_a19_volume_rule_of_campbell(shrinkage, times):
    # Campbell, Complete Casting Handbook, 2011, volume requirement (M): efficiency 14 % -> 1.00 and 0.273 casting volumes; exact
    assert rules.riser_volume_efficiency(1e-4, shrinkage, 0.14) == pytest.approx(times * 1e-4, rel=1e-12)
    assert rules.riser_volume_efficiency(1e-4, 0.14, 0.14) == math.inf


def test_c11_hydraulics():
    # reference/analytic.py, C11 (X): taper sqrt(200/40); straight full sprue of 160 mm of aluminium, 2385 kg/m3; 0.1 %
    assert 1 / rules.sprue_taper_area(1.0, 0.04, 0.16) == pytest.approx(2.236068, rel=1e-6)
    assert rules.sprue_top_gauge_pressure(0.16, 2385.0) == pytest.approx(-3743.5, rel=1e-3)


def test_c12_free_surface():
    # reference/analytic.py, C12 (X): aluminium 2385 kg/m3, 1.05 N/m; formula to 1e-6
    assert stream.oxide_drop_height(1.05, 2385.0) == pytest.approx(13.39818e-3, rel=1e-6)
    assert stream.critical_gate_speed(1.05, 2385.0) == pytest.approx(0.5127108, rel=1e-6)
    pressure = 2385.0 * 9.81 * 44.87784e-3
    assert stream.least_slot(1.05, pressure) == pytest.approx(2e-3, rel=1e-6)
    assert stream.edge_radius(1.05, pressure) == pytest.approx(1e-3, rel=1e-6)


@pytest.mark.parametrize(("tension", "density", "speed"), [(1.0, 2380.0, 0.51), (1.2, 8000.0, 0.40), (0.78, 6600.0, 0.37)])
def test_critical_speed_of_other_metals(tension, density, speed):
    # reference/properties.md, section 4 (X), two figures: 0.51 aluminium, 0.40 bronze, 0.37 zinc
    assert stream.critical_gate_speed(tension, density) == pytest.approx(speed, abs=0.01)


@pytest.mark.parametrize(("height", "slot"), [(0.03, 2.9e-3), (0.05, 1.7e-3), (0.10, 0.86e-3), (0.20, 0.43e-3)])
def test_least_slot_under_a_head(height, slot):
    # reference/properties.md, section 4 (X): 1.0 N/m, 2380 kg/m3; two figures
    assert stream.least_slot(1.0, 2380 * 9.81 * height) == pytest.approx(slot, rel=0.02)
