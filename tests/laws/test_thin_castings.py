"""Thin castings through the filling's door and the pour's judgement: what fills, how far, how hot it has to be, and what a slow hand or a stop does.

Bands: share solid at which a front stands 0.15-0.3, contact 300-1000 W/(m2 K), skin 1-3 N/m. The quick ones are small; full-size ones are marked.
"""

from __future__ import annotations

import numpy as np
import pytest

import melt_shop as shop
from flows import say
from pour_shop import Standing, block, one_gate, poured
from strickle import Breath
from strickle.pour import PourAsk, solved_says
from thin import CONTACTS, KELVIN, METAL, SKINS, STOPS, audited, lowest, plate, strip

LIQUIDUS, WISE = METAL.liquidus - KELVIN, 750.0
WORST = {"stands": STOPS[0], "contact": CONTACTS[1], "skin": SKINS[1]}
BEST = {"stands": STOPS[1], "contact": CONTACTS[0], "skin": SKINS[0]}


def reach(thick, celsius, speed, **more):
    told, far = strip(thick, celsius, speed, **more)
    audited(told, f"strip {thick} mm, {celsius:.0f} degC: {far * 1e3:.0f} mm")
    assert told.status == "stands"
    assert far < (more["long"] - 5) * 1e-3, "it came to the end"
    return far


def rises(values):
    return bool(np.all(np.diff(values) > 0.0))


def test_a_hotter_strip_and_a_thicker_one_reach_farther():
    """3 x 6 mm at 0.05 m/s, coldest to hottest, then thinnest to thickest."""
    hotter = [reach(3, at, 0.05, long=220) for at in (640.0, 680.0, 720.0)]
    assert rises(hotter)
    assert rises([reach(2, 680.0, 0.05, long=150), hotter[1], reach(4, 680.0, 0.05, long=260)])


def test_a_strip_s_reach_is_a_band():
    """Each of what is not known well moves it as it must; the band's ends lie far apart."""
    base = reach(3, 680.0, 0.05, long=220)
    assert reach(3, 680.0, 0.05, long=150, stands=STOPS[0]) < base
    assert reach(3, 680.0, 0.05, long=150, contact=CONTACTS[1]) < base
    assert reach(3, 680.0, 0.05, long=150, skin=SKINS[1]) < base
    low, high = reach(3, 680.0, 0.05, long=150, **WORST), reach(3, 680.0, 0.05, long=320, **BEST)
    say(f"strip 3 x 6 mm, 680 degC, 0.05 m/s: {low * 1e3:.0f} - {base * 1e3:.0f} - {high * 1e3:.0f} mm")
    assert low < base < high


@pytest.mark.validate
def test_a_strip_3_by_60_mm_at_680_degrees():
    """Fed at one end at 0.1 m/s, cells of 1 mm; the band's ends on a strip 24 mm wide, which reaches nearly as far as the wide one."""
    wide = reach(3, 680.0, 0.1, wide=60, long=420, preset="rough")
    low = reach(3, 680.0, 0.1, wide=24, long=260, preset="rough", **WORST)
    high = reach(3, 680.0, 0.1, wide=24, long=680, preset="rough", until=14.0, **BEST)
    say(f"strip 3 x 60 mm, 680 degC, 0.1 m/s: {wide * 1e3:.0f} mm; band {low * 1e3:.0f} to {high * 1e3:.0f} mm")
    assert low < wide < high


SMALL = {"long": 40, "tall": 30, "gate": 20}


@pytest.mark.validate
def test_the_thin_plate_wants_more_heat_than_the_thick_one():
    """80 x 50 mm over the same rig at the same flow, 4 cm3/s, which has poured enough for the thin one after 4.9 s."""
    thin = audited(plate(3, 616.0, 4e-6, preset="rough", until=5.6), "plate 3 mm, 616 degC")
    thick = audited(plate(10, 616.0, 4e-6, cell=2.5, preset="rough"), "plate 10 mm, 616 degC")
    assert thin.status != "filled" == thick.status


@pytest.mark.validate
def test_the_lowest_temperature_that_fills_a_plate_falls_with_its_thickness():
    """80 x 50 mm, 3, 5 and 10 mm thick, over one rig at 3.5 cm3/s, each at temperatures on both sides of that from which it fills.

    By bisection 10 mm fills from 616 degC on, 5 mm from some 625 and 3 mm, in less time at this rate, from 626 to 630: near there chance decides.
    """

    def fills(thick, at):
        told = audited(plate(thick, at, 3.5e-6, cell={3: 1.0, 5: 1.25, 10: 2.5}[thick], preset="rough"), f"plate {thick} mm, {at:.0f} degC")
        return told.status == "filled"

    assert LIQUIDUS < 619.0 < 635.0 < WISE
    assert [fills(thick, 619.0) for thick in (10, 5, 3)] == [True, False, False]
    assert [fills(thick, 635.0) for thick in (5, 3)] == [True, True]


def test_the_lowest_temperature_that_runs_a_strip_full_rises_with_a_stop_of_a_second():
    """3 x 6 mm, 80 mm long, at 0.05 m/s; stopped when metal is half way. In a strip it has one way to take, so that chance plays no part."""

    def of(name, **more):
        return lowest(lambda at: audited((run := strip(3, at, 0.05, long=80, **more))[0], f"{name}, {at:.0f} degC") and run[1] > 0.076)

    plain, stopped = of("unbroken"), of("stopped", breaks=(1.0, 1.0))
    say(f"a strip of 80 mm runs full from {plain:.0f} degC on, stopped from {stopped:.0f}")
    assert LIQUIDUS < plain < stopped < WISE


def far_end(thick, celsius, rate, **asks):
    """Weights of what is found of a strip of 150 x 30 mm gated at one end: misrun, stop and cold shut."""
    ask = PourAsk(filling="run", preset="rough", rate=rate, **asks)
    gate = one_gate(wide=20.0, high=float(thick), reach=75.0)
    pour = poured(block(-75, 75, -15, 15, 0, thick), gate, pour=celsius + KELVIN, wall=thick * 1e-3, ask=ask)
    if pour.solution is not None:
        assert abs(pour.solution.heat_balance) < 5e-3
        say(f"{thick} mm, {celsius:.0f} degC, {rate} kg/s: {pour.solution.stiffest:.2f} solid, {pour.solution.empty_volume * 1e9:.0f} mm3 empty")
    found = {f.code: f.weight for f in pour.findings if f.weight != "NOTE"}
    return {code: found[code] for code in ("pour.misrun", "pour.break", "pour.cold", "pour.cold_shut") if code in found}


def test_half_the_rate_or_a_stop_of_a_second_puts_a_far_end_in_doubt():
    assert far_end(3, 680.0, 0.035) == {}
    assert far_end(3, 680.0, 0.0175)["pour.misrun"] in ("MIND", "STOP")
    assert far_end(3, 680.0, 0.035, break_at=4.5, break_for=1.0)["pour.misrun"] in ("MIND", "STOP")


def test_two_millimetres_at_640_degrees_poured_slowly_stop():
    assert far_end(2, 640.0, 0.004)["pour.misrun"] == "STOP"


def test_a_pour_under_the_liquidus_stops_before_any_solve(monkeypatch):
    def never(*_):
        raise AssertionError("it was solved")

    monkeypatch.setattr(solved_says, "solve", never)
    made = Standing(block(-50, 50, -14, 14, 0, 12), one_gate(), pour=shop.a356().liquidus - 5.0, ask=PourAsk(filling="run", preset="rough"))
    assert {f.code: f.weight for f in made.results["melt"].findings}["melt.too_cold"] == "STOP"
    assert made.pour().solution is None


def test_a_vent_at_the_last_pocket_cures_what_tight_sand_holds_and_changes_little_in_open_sand():
    """A closed plate of 10 mm at 20 cm3/s; sand of 1e-8 and 1e-6 m2/(s Pa) over 50 mm, a vent of 2 mm where the metal came last or not at all."""
    done = {}
    for passage in (1e-8, 1e-6):
        ask = {"cell": 2.5, "until": 6.0, **SMALL}
        plain = audited(plate(10, 720.0, 2e-5, breath=Breath(passage=passage, way=0.05), **ask), f"sand of {passage:.0e}")
        last = np.unravel_index(np.argmax(np.where(plain.room > 0.0, np.nan_to_num(plain.arrival, nan=1e9), -1.0)), plain.room.shape)
        vents = np.zeros(plain.room.shape)
        vents[last] = 3e-6
        done[passage] = (
            plain,
            audited(plate(10, 720.0, 2e-5, breath=Breath(passage=passage, way=0.05, vents=vents), **ask), f"sand of {passage:.0e}, vented"),
        )
    tight, vented = done[1e-8]
    assert tight.status != "filled"
    assert tight.full < 0.95
    assert vented.status == "filled"
    plain, also = done[1e-6]
    assert plain.status == also.status == "filled"
    assert also.full_time == pytest.approx(plain.full_time, rel=0.05)
