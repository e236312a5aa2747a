"""The hand: what goes over the lip and when, what an interruption costs, how the pot cools meanwhile, and what is told of it."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from melt_shop import a356, cavity, kit, mould, part, pattern, rigging, stores
from strickle.base import BadInput, quiet
from strickle.job.recipe import Recipe, asked
from strickle.melt import MeltAsk
from strickle.melt.rules import pot_cooling
from strickle.melt.steps import charge
from strickle.pour import PourAsk
from strickle.pour.hand import Pot, schedule
from strickle.pour.hydraulics import layers_of
from strickle.pour.steps import fill
from strickle.rigging import Region
from strickle.trials.lay import ENDS


def pour(wall=0.006, melt=None, shop=None, metal=None, basin=False, **ask):
    here, body, closed, built, metal = stores(shop), part(wall=wall), cavity(), rigging(), metal or a356()
    if basin:
        built = dataclasses.replace(built, regions=(Region(name="basin", kind="running", mesh=built.casting),))
    sand = mould(contact=here.constants["contact.metal_sand"].value)
    charged = charge(body, sand, built, closed, metal, here, melt or MeltAsk(), quiet)
    return fill(body, pattern(), sand, built, closed, metal, charged, here, PourAsk(filling="none", **ask), quiet)


def codes(result):
    return {f.code: f.weight for f in result.findings}


def told(result, code):
    return next(f for f in result.findings if f.code == code)


COLD = Pot(begin=1000.0, rate=0.8, share=0.4, holds=5e-4)


def test_a_schedule_gives_flow_volume_and_time():
    one = schedule([(2.0, 1e-4), (0.0, 9.0), (1.0, 2e-4), (math.inf, 0.0), (5.0, 1e-4)], COLD)
    assert one.lasts == pytest.approx(3.0)
    assert [one.flow_at(t) for t in (-1.0, 0.0, 1.0, 2.5, 3.0)] == pytest.approx([0.0, 1e-4, 1e-4, 2e-4, 0.0])
    assert [one.poured_by(t) for t in (0.0, 1.0, 2.0, 2.5, 3.0, 9.0)] == pytest.approx([0.0, 1e-4, 2e-4, 3e-4, 4e-4, 4e-4])


@pytest.mark.parametrize("at", [0.0, 0.7, 2.0, 2.9])
def test_an_interruption_adds_its_length_and_loses_no_metal(at):
    plain = schedule([(2.0, 1e-4), (1.0, 2e-4)], COLD)
    broken = schedule([(2.0, 1e-4), (1.0, 2e-4)], COLD, (at, 1.5))
    assert broken.lasts == pytest.approx(plain.lasts + 1.5)
    assert broken.poured_by(99.0) == pytest.approx(plain.poured_by(99.0))
    assert broken.flow_at(at + 0.7) == 0.0
    assert broken.poured_by(at + 1.5) == pytest.approx(plain.poured_by(at))
    assert broken.temperature[-1] < plain.temperature[-1]
    assert schedule([(2.0, 1e-4)], COLD, (2.0, 1.5)).lasts == pytest.approx(2.0)  # over before it


def test_the_lip_cools_as_the_rule_says_with_what_is_left_in_the_pot():
    # the rule pot_cooling stepped with the metal left, its loss held at that of the first moment
    pot = {"volume": 1.9e-3, "opening": 0.12, "pot_mass": 3.2, "temperature": 1023.15}
    share = 3.2 * 1000.0 / (3.2 * 1000.0 + 3.8 * 1160.0)
    rate = pot_cooling(metal_mass=3.8, **pot)
    one = schedule([(5.0, 2e-4), (3.0, 0.0), (4.0, 1e-4)], Pot(begin=1023.15, rate=rate, share=share, holds=3.8 / 2370.0))
    temperature, step = 1023.15, 1e-3
    for n in range(12_000):
        left = 3.8 - 2370.0 * one.poured_by((n + 0.5) * step)
        temperature -= step * pot_cooling(metal_mass=left, **pot)
    assert one.temperature_at(12.0) == pytest.approx(temperature, abs=0.01)
    assert one.temperature_at(0.0) == 1023.15
    assert one.temperature_at(99.0) == one.temperature[-1]
    fresh = [pot_cooling(metal_mass=3.8, **{**pot, "temperature": t}) for t in (1023.15, 1013.15)]
    assert fresh[0] / fresh[1] < 1.05  # what holding the loss costs over ten kelvin


def test_the_schedule_pours_what_the_mould_takes_in_the_time_told():
    found = pour(basin=True)
    goes = found.hand.likely
    assert found.hand.kept_full
    assert goes.lasts == pytest.approx(found.pour_time.value)
    assert found.hand.fast.lasts == pytest.approx(found.pour_time.low)
    assert found.hand.slow.lasts == pytest.approx(found.pour_time.high)
    built = dataclasses.replace(rigging(), regions=(Region(name="basin", kind="running", mesh=rigging().casting),))
    assert goes.poured_by(99.0) == pytest.approx(layers_of(cavity(), built).total + built.basin.volume)
    assert goes.flow.max() <= kit().pour_rate_high / 2380.0 * (1 + 1e-12)
    assert np.all(np.diff(goes.temperature) < 0.0)
    assert found.lip_temperature.low < found.lip_temperature.value < found.lip_temperature.high
    assert found.hand.lip.low < found.hand.lip.value < found.hand.lip.high
    assert pour(lip=0.12).hand.lip.value == 0.12


def test_half_the_rate_fills_in_twice_the_time_where_the_hand_is_the_limit():
    one, half = pour(rate=0.06), pour(rate=0.03)
    assert half.fill_time.value == pytest.approx(2.0 * one.fill_time.value)
    assert half.fluid_margin.value == pytest.approx(0.5 * one.fluid_margin.value)
    assert codes(one)["pour.hand"] == "MIND"
    assert "the pour asked for" in told(one, "pour.hand").says
    assert one.fill_time.low < one.fill_time.value < one.fill_time.high
    assert pour(rate=5.0).fill_time.value == pytest.approx(pour().fill_time.value)  # the choke is the limit


def test_a_basin_not_kept_full_has_less_head():
    full, slack = pour(rate=5.0), pour(rate=5.0, kept_full="no")
    assert slack.fill_time.value > full.fill_time.value
    assert slack.fill_time.high > full.fill_time.high
    assert slack.fill_time.low == pytest.approx(full.fill_time.low)
    assert slack.least_pressure < full.least_pressure
    assert not slack.hand.kept_full
    middling = pour(kept_full="no").hand.rate
    assert middling.value == pytest.approx(math.sqrt(middling.low * middling.high))


def test_an_interruption_lowers_the_margin_and_is_told_by_it():
    plain = pour(wall=0.006)
    weights = []
    for lasts in (0.1, 1.0, 400.0):
        broken = pour(wall=0.006, break_at=0.5, break_for=lasts)
        assert broken.fill_time.value == pytest.approx(plain.fill_time.value + lasts)
        assert broken.fluid_margin.value == pytest.approx(plain.fluid_time.value / (plain.fill_time.value + lasts))
        assert broken.break_time == lasts
        finding = told(broken, "pour.break")
        assert finding.margin.value == broken.fluid_margin.value
        weights.append(finding.weight)
        assert "pour.misrun" not in codes(broken)  # the interruption alone does it
    assert weights[0] == "NOTE"
    assert weights[-1] == "STOP"
    assert plain.break_time == 0.0
    assert {"pour.misrun", "pour.break"} <= set(codes(pour(wall=0.0012, rate=0.05, break_at=0.5, break_for=1.0)))
    assert "pour.break" not in codes(plain)


def test_an_interruption_after_the_part_is_full_changes_nothing_but_is_told():
    late = pour(break_at=300.0, break_for=5.0)
    assert late.fill_time.value == pour().fill_time.value
    assert codes(late)["pour.break"] == "NOTE"
    assert "full" in told(late, "pour.break").says


def test_a_pot_that_freezes_before_it_is_empty_stops_the_plan_and_is_told_once():
    warm = a356().liquidus + 20.0
    slow = pour(melt=MeltAsk(pour=warm), break_at=0.5, break_for=30.0)
    assert codes(slow)["pour.cold"] == "STOP"
    assert "pour.cold" in ENDS
    assert "pour.cold" not in codes(pour(melt=MeltAsk(pour=warm)))
    # what is too cold from the first is the melt's to say, and no solve follows
    assert "pour.cold" not in codes(pour(melt=MeltAsk(pour=a356().liquidus - 5.0)))
    assert "melt.too_cold" in ENDS


def test_above_750_degrees_other_things_come_before_heat():
    assert "pour.hot" not in codes(pour(melt=MeltAsk(pour=1023.15)))
    easy = told(pour(wall=0.006, melt=MeltAsk(pour=1040.0)), "pour.hot")
    assert easy.weight == "MIND"
    assert easy.do.startswith("Pour at")
    hard = told(pour(wall=0.0012, rate=0.06, melt=MeltAsk(pour=1040.0)), "pour.hot")
    assert hard.do.index("thick") < hard.do.index("ingate") < hard.do.index("head") < hard.do.index("safe at")
    assert "pour.hot" not in codes(pour(melt=MeltAsk(pour=1040.0), metal=a356(family="copper")))


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        ({"kept_full": "maybe"}, "kept_full"),
        ({"break_at": "2 s"}, "break_at is given without pour.break_for"),
        ({"break_for": "2 s"}, "break_for is given without pour.break_at"),
        ({"lip": "3 m"}, "out of all reason"),
        ({"pour_rate": "400 kg/s"}, "out of all reason"),
        ({"pour_rate": "fast"}, "rate"),
        ({"break_at": "-1 s", "break_for": "1 s"}, "out of all reason"),
        ({"mould": "open-face", "kept_full": "yes"}, "has none"),
    ],
)
def test_nonsense_is_refused_in_one_line(ask, says):
    with pytest.raises(BadInput, match=says) as caught:
        Recipe(file="a.stl", asked=asked(**ask)).asks(b"")
    assert "\n" not in str(caught.value)


def test_the_recipe_sets_the_pour():
    ask = Recipe(file="a.stl", asked=asked(lip="60 mm", pour_rate="0.3 kg/s", kept_full="no", break_at="2 s", break_for="1 s")).asks(b"")["pour"]
    assert (ask.lip, ask.rate, ask.kept_full, ask.break_at, ask.break_for) == (0.06, 0.3, "no", 2.0, 1.0)
