"""Laws of the melt and the pour: what more of one thing can never do."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from melt_shop import a356, kit, rigging, stores
from strickle.melt import rules as melt_rules
from strickle.melt.heat import heat_between, warmth_of
from strickle.pour.fluid import Face, fluid_time, table_of
from strickle.pour.hydraulics import Head, Layers, fill_time, first_flow, steady_flow
from strickle.rigging import RiggingAsk, rules
from strickle.rigging.sizing import size_running

STORES = stores()
TABLE = table_of(a356(), 1100.0)
WARMTH = warmth_of(a356())
few = settings(max_examples=30, deadline=None)
metres = st.floats(0.01, 0.4)


@given(metres, metres, st.floats(1e-5, 1e-3))
def test_more_head_never_lowers_the_flow(one, other, area):
    low, high = sorted((one, other))
    assert rules.flow_rate(low, area) <= rules.flow_rate(high, area)
    assert rules.fill_time_top(1e-3, low, area) >= rules.fill_time_top(1e-3, high, area)


@given(metres, metres)
def test_more_head_never_lowers_the_flow_of_a_built_system(one, other):
    low, high = (Head(sprue=0.06, basin=h) for h in sorted((one, other)))
    built = rigging()
    assert steady_flow(built, low, 0.7) <= steady_flow(built, high, 0.7)
    assert first_flow(built, low, STORES) <= first_flow(built, high, STORES)
    layers = Layers(running=1e-5, level=np.linspace(0.0, 0.05, 20), volume=np.full(20, 1e-6))
    assert fill_time(layers, built, low, 0.7) >= fill_time(layers, built, high, 0.7)


@few
@given(st.floats(900.0, 1050.0), st.floats(900.0, 1050.0), st.floats(0.002, 0.02), st.floats(100.0, 3000.0))
def test_more_superheat_never_shortens_the_fluid_time(one, other, wall, contact):
    low, high = sorted((one, other))
    sand = Face(conductivity=0.6, density=1600.0, heat=1080.0, contact=contact, cold=293.15)
    assert fluid_time(wall, low, 0.35, TABLE, sand) <= fluid_time(wall, high, 0.35, TABLE, sand) * (1.0 + 1e-3)


@few
@given(st.floats(0.002, 0.01), st.floats(1.05, 2.0))
def test_a_thicker_wall_flows_longer_by_more_than_its_thickness(wall, times):
    sand = Face(conductivity=0.6, density=1600.0, heat=1080.0, contact=600.0, cold=293.15)
    thin, thick = (fluid_time(w, 990.0, 0.35, TABLE, sand) for w in (wall, times * wall))
    assert times * 0.999 <= thick / thin <= times**2 * 1.001


@given(st.floats(0.0, 50.0), st.floats(0.0, 5.0), st.floats(0.0, 0.5), st.floats(0.0, 0.3))
def test_the_charge_grows_with_pour_heel_and_loss(poured, heel, loss, more):
    base = melt_rules.charge(poured, heel, loss)
    assert base >= poured + heel
    assert melt_rules.charge(poured + more, heel, loss) >= base
    assert melt_rules.charge(poured, heel + more, loss) >= base
    assert melt_rules.charge(poured, heel, loss + more) >= base


@given(st.floats(0.01, 100.0), st.sampled_from(sorted(STORES.metals)), st.floats(260.0, 1400.0), st.floats(260.0, 1400.0))
def test_twice_the_mass_takes_twice_the_heat(mass, metal, start, end):
    once = melt_rules.melt_heat(STORES, mass, metal, start, end)
    assert melt_rules.melt_heat(STORES, 2 * mass, metal, start, end) == pytest.approx(2 * once, rel=1e-12)
    assert melt_rules.melt_heat(STORES, mass, metal, end, start) == pytest.approx(-once, rel=1e-12)


@given(st.floats(260.0, 1300.0), st.floats(260.0, 1300.0), st.floats(260.0, 1300.0))
def test_heat_adds_up_over_a_halt(one, two, three):
    a, b, c = sorted((one, two, three))
    whole = heat_between(WARMTH, a, c)
    assert heat_between(WARMTH, a, b) + heat_between(WARMTH, b, c) == pytest.approx(whole, rel=2e-3, abs=50.0)
    assert whole >= 0.0


@given(st.floats(700.0, 1400.0), st.floats(0.2, 5.0))
def test_a_hotter_pot_cools_faster_and_a_fuller_one_slower(temperature, metal):
    rate = melt_rules.pot_cooling(1.9e-3, 0.12, 3.2, metal, temperature)
    assert melt_rules.pot_cooling(1.9e-3, 0.12, 3.2, metal, temperature + 20.0) > rate
    assert melt_rules.pot_cooling(1.9e-3, 0.12, 3.2, metal + 0.1, temperature) < rate


@few
@given(st.floats(20e-6, 4e-3), st.floats(0.003, 0.03), st.floats(0.05, 0.2), st.floats(0.0, 0.9))
def test_sizes_hold_their_own_sum(volume, wall, cope, share):
    s = size_running(volume, wall, cope, share * cope, a356(), kit(), RiggingAsk())
    assert s.pour_time * s.flow == pytest.approx(volume, rel=1e-6)
    assert s.flow <= s.peak_flow * (1 + 1e-9)
    assert s.gate_speed <= s.critical_speed
    assert s.sprue_top_area > s.sprue_base_area == s.choke_area
    assert s.runner_area > s.choke_area


@few
@given(st.floats(-1.0, 1.0), st.floats(1.0, 2.0))
def test_a_wider_sprue_top_never_drinks_more(lean, wider):
    from strickle.pour.hydraulics import head_of, least_pressure

    built = rigging(top=(1.5 + 0.5 * lean) * 69e-6)
    wide = dataclasses.replace(built, sprue=dataclasses.replace(built.sprue, top_area=wider * built.sprue.top_area))
    assert least_pressure(wide, head_of(wide), 2390.0, STORES) >= least_pressure(built, head_of(built), 2390.0, STORES) - 30.0
