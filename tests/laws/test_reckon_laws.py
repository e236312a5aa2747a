"""Laws of the trade's formulas through ``strickle.reckon``: they scale, rise, fall and undo one another."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import strickle

FEW = settings(max_examples=40, deadline=None)


def value(rule: str, **inputs: object) -> float:
    return strickle.reckon(rule, **inputs).value


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


@FEW
@given(between(1e5, 1e7), between(1e-3, 0.1), between(1.5, 2.0), between(1.1, 4.0))
def test_freezing_time_scales_with_modulus_to_the_exponent(constant: float, modulus: float, exponent: float, times: float) -> None:
    once = value("freezing_time", mould_constant=constant, modulus=modulus, exponent=exponent)
    more = value("freezing_time", mould_constant=constant, modulus=times * modulus, exponent=exponent)
    assert more / once == pytest.approx(times**exponent, rel=1e-9)


@FEW
@given(between(1.0, 1e4), between(1e-3, 0.1), between(1.5, 2.0))
def test_mould_constant_and_freezing_time_undo_each_other(time: float, modulus: float, exponent: float) -> None:
    constant = value("mould_constant", time=time, modulus=modulus, exponent=exponent)
    assert value("freezing_time", mould_constant=constant, modulus=modulus, exponent=exponent) == pytest.approx(time, rel=1e-9)


@FEW
@given(between(1e-5, 1e-2), between(0.01, 1.0))
def test_sprue_base_area_and_flow_rate_undo_each_other(flow: float, height: float) -> None:
    area = value("sprue_base_area", flow=flow, height=height)
    assert value("flow_rate", height=height, base_area=area) == pytest.approx(flow, rel=1e-12)


@FEW
@given(between(1e-3, 2.0), between(0.0, 0.03))
def test_a_pattern_shrinks_back_to_the_part(length: float, contraction: float) -> None:
    pattern = value("pattern_length", length=length, contraction=contraction)
    volume_lost = 1.0 - (1.0 + contraction) ** -3
    assert value("shrunk_length", length=pattern, solidification=0.0, solid=volume_lost) == pytest.approx(length, rel=1e-12)


@FEW
@given(between(1e-4, 1e-2), between(0.02, 0.3), between(0.01, 0.3))
def test_a_tapered_sprue_carries_one_flow(top: float, head: float, height: float) -> None:
    base = value("sprue_taper_area", top_area=top, head_above_top=head, height=height)
    assert base < top
    flows = (value("flow_rate", height=head, base_area=top), value("flow_rate", height=head + height, base_area=base))
    assert flows[0] == pytest.approx(flows[1], rel=1e-12)


@FEW
@given(between(0.01, 0.5), between(0.01, 0.5), between(1e-4, 1e-2), st.floats(0.0, 0.98))
def test_filling_from_below_takes_longer_and_at_most_twice_as_long(area: float, head: float, gate: float, share: float) -> None:
    height = share * head
    top = value("fill_time_top", volume=area * height, height=head, base_area=gate)
    bottom = value("fill_time_bottom", mould_area=area, mould_height=height, gate_area=gate, head=head)
    assert top * (1 - 1e-9) <= bottom <= 2.0 * top * (1 + 1e-9)


@FEW
@given(between(0.5, 2.0), between(1500.0, 9000.0))
def test_the_critical_speed_is_the_fall_of_the_drop_s_height(tension: float, density: float) -> None:
    height = value("oxide_drop_height", surface_tension=tension, density=density)
    speed = value("critical_gate_speed", surface_tension=tension, density=density)
    assert value("fall_speed", height=height) == pytest.approx(speed, rel=1e-9)


@FEW
@given(between(0.5, 2.0), between(1500.0, 9000.0), between(2e-4, 0.01))
def test_entry_head_and_least_slot_undo_each_other(tension: float, density: float, width: float) -> None:
    head = value("entry_head", surface_tension=tension, density=density, width=width)
    pressure = -value("sprue_top_gauge_pressure", height=head, density=density)
    slot = value("least_slot", surface_tension=tension, pressure=pressure)
    assert slot == pytest.approx(width, rel=1e-9)
    assert value("edge_radius", surface_tension=tension, pressure=pressure) == pytest.approx(width / 2, rel=1e-9)


@FEW
@given(between(1e-5, 1e-2), between(1e-3, 1.0), st.sampled_from(["steel", "aluminium", "brass", "silicon bronze"]))
def test_a_riser_on_the_hyperbola_outlasts_the_casting(volume: float, slack: float, metal: str) -> None:
    area = (36 * math.pi * volume**2) ** (1 / 3) * (1 + slack)  # no body has less surface than the sphere
    told = strickle.reckon("riser_size_freezing_ratio", casting_volume=volume, casting_area=area, metal=metal).values
    assert told["freezing_ratio"][0] > 1.0
    diameter, height = told["diameter"][0], told["height"][0]
    assert told["volume_ratio"][0] * volume == pytest.approx(math.pi / 4 * diameter**2 * height, rel=1e-9)


@FEW
@given(between(0.05, 1.0), st.floats(0.3, 1.0), st.floats(0.1, 0.3), between(1.01, 1.5))
def test_a_thinner_casting_wants_a_smaller_share_of_riser(length: float, wide: float, thick: float, thinner: float) -> None:
    def share(thickness: float) -> float:
        told = strickle.reckon("riser_size_shape_factor", length=length, width=wide * length, thickness=thickness)
        return told.values["volume_ratio"][0]

    assert share(thick * length / thinner) < share(thick * length)


@FEW
@given(between(0.1, 10.0), between(300.0, 1100.0), between(0.1, 10.0), between(250.0, 300.0))
def test_the_common_temperature_lies_between(hot_mass: float, hot: float, cold_mass: float, cold: float) -> None:
    capacities = {"hot_heat_capacity": 900.0, "cold_heat_capacity": 480.0}
    told = value("calorimetry", hot_mass=hot_mass, hot_temperature=hot, cold_mass=cold_mass, cold_temperature=cold, **capacities)
    assert cold - 1e-9 <= told <= hot + 1e-9


@FEW
@given(between(0.01, 50.0), between(0.02, 0.5), between(1500.0, 9000.0))
def test_a_cylinder_of_that_height_has_that_mass(mass: float, diameter: float, density: float) -> None:
    height = value("cylinder_height", mass=mass, diameter=diameter, density=density)
    assert density * math.pi / 4 * diameter**2 * height == pytest.approx(mass, rel=1e-12)


@FEW
@given(between(0.0, 1e3), between(0.0, 1e3), between(0.0, 1e3), between(1.0, 3.0))
def test_the_weight_holds_the_lift_or_is_none(metal: float, core: float, cope: float, factor: float) -> None:
    weight = value("hold_down_weight", metal_lift=metal, core_lift=core, cope_weight=cope, factor=factor)
    assert weight >= 0.0
    assert weight + cope >= metal + core - 1e-9
