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


def stood(thick, preset="rough", **ask):
    """A plate in its mould, poured slowly, with its window looked for."""
    made = Standing(block(-50, 50, -20, 20, 0, thick), one_gate(), wall=thick * 1e-3, ask=PourAsk(filling="run", preset="rough", rate=0.012, **ask))
    made.results["pour"] = made.pour()
    w.look_for(made, made.results, preset, quiet)
    return made


@pytest.mark.validate
def test_a_thinner_plate_has_a_higher_floor():
    thin, thick = (stood(t).results["pour"] for t in (8, 14))
    for pour in (thin, thick):
        window = pour.window
        assert METAL.liquidus < window.floor <= window.sure <= window.top == pytest.approx(1023.15)
        assert [f.code for f in pour.findings].count("pour.window") == 1
        temperatures = [one.temperature for one in window.tried]
        assert temperatures == sorted(temperatures)
    assert thin.window.floor > thick.window.floor


@pytest.mark.validate
def test_a_stop_moves_the_floor_up():
    whole, broken = stood(8).results["pour"].window, stood(8, break_at=2.0, break_for=1.0).results["pour"].window
    assert broken.sure > whole.sure


def test_only_a_solved_filling_has_a_window():
    made = Standing(block(-50, 50, -14, 14, 0, 12), one_gate(), ask=PourAsk(filling="none"))
    made.results["pour"] = made.pour()
    assert not w.wants_window(made, made.results)
    solved = dataclasses.replace(made.results["pour"], solution=SimpleNamespace())
    assert w.wants_window(made, {"pour": solved})
    made.asks["pour"] = PourAsk(window="none")
    assert not w.wants_window(made, {"pour": solved})
    assert np.isnan(w.search(mould(2000.0, 2000.0), LOW, TOP, melt(), METAL).sure)
