"""The pour window: its search on laws made up for the tests, and on small moulds filled on the rough grid."""

from __future__ import annotations

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pytest

import melt_shop as shop
from pour_shop import Standing, block, one_gate
from strickle.base import BadInput, Span, quiet
from strickle.pour import PourAsk
from strickle.pour.window import PourTried
from strickle.trials import window as w

METAL = shop.a356()
LOW, TOP = METAL.liquidus + w.OVER_LIQUIDUS, METAL.aim[1]


def melt(planned=970.0, spread=12.0):
    return SimpleNamespace(pour_temperature=Span(value=planned, low=planned - spread, high=planned + spread))


def mould(fills, sure, tried=None):
    """A mould that fills from a temperature on, and with no doubt from another."""

    def solve(at):
        if tried is not None:
            tried.append(at)
        doubt = () if at >= sure else ("pour.misrun",)
        return PourTried(temperature=at, fills=at >= fills, doubt=doubt, empty_volume=0.0, coldest=at - 20.0, stiffest=0.0)

    return solve


@pytest.mark.parametrize("fills", [LOW + 1.0, 930.0, TOP - 0.5])
def test_the_floor_is_found_to_the_tolerance_and_lies_within(fills):
    tried = []
    found = w.search(mould(fills, fills, tried), LOW, TOP, melt(), METAL)
    assert METAL.liquidus < fills <= found.floor <= TOP == pytest.approx(1023.15)
    assert found.fails < fills
    assert found.floor - found.fails <= w.NEAR
    assert found.sure == found.floor
    assert len(tried) == len(set(tried)) <= 7


def test_doubt_is_looked_for_with_what_is_left():
    tried = []
    found = w.search(mould(920.0, 960.0, tried), LOW, TOP, melt(), METAL)
    assert 920.0 <= found.floor <= 925.0
    assert found.sure >= 960.0 > found.floor
    assert len(tried) <= w.MOST_TRIES
    assert found.aim >= found.sure


def test_where_the_coldest_fills_one_solve_answers():
    tried = []
    found = w.search(mould(0.0, 0.0, tried), LOW, TOP, melt(), METAL)
    assert tried == [LOW]
    assert found.floor == found.sure == LOW
    assert math.isnan(found.fails)
    finding = w.told(found, melt(), METAL)
    assert finding.weight == "NOTE"
    assert found.aim == 970.0


def test_a_doubt_that_stays_is_not_cured_by_heat():
    found = w.search(mould(920.0, 1100.0), LOW, TOP, melt(), METAL)
    assert math.isnan(found.sure)
    assert found.aim == 970.0
    finding = w.told(found, melt(), METAL)
    assert "more heat does not" in finding.do


def test_where_nothing_fills_more_heat_is_not_what_is_told():
    found = w.search(mould(1100.0, 1100.0), LOW, TOP, melt(), METAL)
    assert math.isnan(found.floor)
    assert math.isnan(found.aim)
    assert max(one.temperature for one in found.tried) == TOP
    finding = w.told(found, melt(), METAL)
    assert finding.weight == "MIND"
    assert "thicker wall" in finding.do
    assert "Do not pour hotter" in finding.do


@pytest.mark.parametrize(("planned", "weight"), [(928.0, "MIND"), (915.0, "MIND"), (950.0, "NOTE"), (1023.0, "NOTE"), (1040.0, "MIND")])
def test_a_plan_near_the_floor_or_outside_is_minded(planned, weight):
    found = w.search(mould(920.0, 920.0), LOW, TOP, melt(planned), METAL)
    assert w.told(found, melt(planned), METAL).weight == weight
    assert found.floor + 10.0 <= found.aim <= TOP
    assert METAL.aim[0] <= found.aim


def test_what_was_solved_already_is_not_solved_again_and_a_broken_solve_is_no_answer():
    tried = []
    known = mould(920.0, 920.0)(LOW)
    w.search(mould(920.0, 920.0, tried), LOW, TOP, melt(), METAL, (known,))
    assert LOW not in tried
    assert w.search(lambda at: None, LOW, TOP, melt(), METAL) is None


def test_it_is_asked_by_name():
    assert PourAsk().window == "run"
    with pytest.raises(BadInput, match=r"pour\.window"):
        PourAsk(window="perhaps")


def stood(wall, **ask):
    """A bar with one thin wall somewhere, judged by the law of channels, in a mould whose filling is solved, with its window looked for."""
    made = Standing(block(-50, 50, -14, 14, 0, 12), one_gate(), wall=wall, ask=PourAsk(filling="run", preset="rough", rate=0.05, **ask))
    made.results["pour"] = made.pour()
    w.look_for(made, made.results, "rough", quiet)
    return made.results["pour"]


def test_a_thinner_wall_and_a_stop_move_the_floor_up():
    stop = {"break_at": 1.0, "break_for": 1.0}
    thin, thick, whole = stood(1.0e-3, **stop), stood(1.2e-3, **stop), stood(1.0e-3)
    for pour in (thin, thick, whole):
        window = pour.window
        assert METAL.liquidus < window.floor < window.top == pytest.approx(1023.15)
        assert not window.sure < window.floor
        assert [f.code for f in pour.findings].count("pour.window") == 1
        temperatures = [one.temperature for one in window.tried]
        assert temperatures == sorted(temperatures)
    assert thin.window.floor > thick.window.floor + w.NEAR
    assert thin.window.floor > whole.window.floor + w.NEAR


def test_a_wall_that_no_wise_heat_fills_is_told_to_be_thickened():
    pour = stood(0.8e-3, break_at=1.0, break_for=1.0)
    assert np.isnan(pour.window.floor)
    found = next(f for f in pour.findings if f.code == "pour.window")
    assert found.weight == "MIND"
    assert "thicker wall" in found.do


@pytest.mark.validate
def test_the_solve_itself_sets_a_floor_over_the_liquidus():
    made = Standing(block(-50, 50, -20, 20, 0, 8), one_gate(), wall=8e-3, ask=PourAsk(filling="run", preset="rough", rate=0.012))
    made.results["pour"] = made.pour()
    window = w.window_of(made, made.results, "rough", quiet)
    assert METAL.liquidus < window.fails < window.floor < window.top
    cold = window.tried[0]
    assert not cold.fills
    assert cold.empty_volume > 0.0
    assert cold.stiffest > window.tried[-1].stiffest


def test_only_a_solved_filling_has_a_window():
    made = Standing(block(-50, 50, -14, 14, 0, 12), one_gate(), ask=PourAsk(filling="none"))
    made.results["pour"] = made.pour()
    assert not w.wants_window(made, made.results)
    solved = dataclasses.replace(made.results["pour"], solution=SimpleNamespace())
    assert w.wants_window(made, {"pour": solved})
    made.asks["pour"] = PourAsk(window="none")
    assert not w.wants_window(made, {"pour": solved})
    assert np.isnan(w.search(mould(2000.0, 2000.0), LOW, TOP, melt(), METAL).sure)
