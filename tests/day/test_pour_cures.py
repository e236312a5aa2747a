"""Findings of the solved filling are cured by changes that were run, and the window of the demo bracket stands in its results."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from planned import runner, through

from strickle.base import BadInput, quiet
from strickle.melt import MeltAsk
from strickle.pour import PourAsk
from strickle.rigging import RiggingAsk, VentWish
from strickle.trials.lay import ORDER, Lay, poured
from strickle.trials.pouring import OF, margin, mend_pour
from strickle.trials.ways import KINDS, ways

SLOW = PourAsk(filling="run", rate=0.05, break_at=2.0, break_for=6.0, window="none")


def test_a_break_that_lets_fronts_grow_cold_is_cured_by_pouring_without_it():
    made = runner("demo", pour=SLOW)
    lay = Lay(made, ORDER.index("pour"))
    for stage in ("metal", "part", "pattern"):
        lay.results[stage] = made.run(stage)
    assert lay.go(RiggingAsk(), True) == ""
    poured(made, lay.results, "rough")
    filled = mend_pour(made, lay, lay.results["pour"].findings, "rough", quiet)
    (tried,) = [one for one in filled.mended.tried if one.cures == "pour.cold_shut"]
    assert tried.worked
    assert tried.change == "pour without the stop"
    assert tried.before < 1.0 < tried.after
    assert tried.before == pytest.approx(margin("pour.cold_shut", OF["pour.cold_shut"], lay.results))
    assert filled.mended.do["pour.cold_shut MIND"].startswith("Cured by one change that was run, the first tried: pour without the stop")
    assert filled.cures == {}


@pytest.mark.validate
def test_a_plan_tells_the_cure_that_was_run():
    trail = through(runner("demo", pour=SLOW))
    found = next(f for f in trail.findings if f.code == "pour.cold_shut")
    assert found.do.startswith("Cured by one change that was run")
    assert any(one.cures == "pour.cold_shut" and one.worked for one in trail.tried)
    assert trail.results["pour"].window is None
    plain = through(runner("demo", pour=dataclasses.replace(SLOW, break_at=None, break_for=None)))
    assert not [f for f in plain.findings if f.code == "pour.cold_shut" and f.weight != "NOTE"]


def test_no_change_is_hotter_than_is_wise():
    made = runner("demo", pour=SLOW, melt=MeltAsk(pour=1000.0))
    trail = through(made, until="pour", cures=False)
    for code in KINDS:
        hot = [c.asks["melt"].pour for c in ways(code, trail.results, made, RiggingAsk(), None) if c.kind == "hotter"]
        assert all(1000.0 < to <= 1023.15 for to in hot)
        assert hot or "hotter" not in KINDS[code]


def test_more_ingates_wider_ones_and_a_vent_can_be_asked_for():
    made = runner("demo")
    stood = through(made, until="rigging").results["rigging"]
    wide = made.variant(asks={"rigging": RiggingAsk(gate_section=1.3)}).run("rigging")
    assert sum(g.area for g in wide.ingates) == pytest.approx(1.3 * sum(g.area for g in stood.ingates), rel=0.05)
    assert wide.ingates[0].speed == pytest.approx(stood.ingates[0].speed / 1.3, rel=0.06)
    more = made.variant(asks={"rigging": RiggingAsk(ingates=len(stood.ingates) + 1)}).run("rigging")
    assert len(more.ingates) >= len(stood.ingates)
    part = made.run("part")
    inside = np.asarray(part.hot_spots[0].at)
    (vent,) = [
        v for v in made.variant(asks={"rigging": RiggingAsk(breathing=(VentWish(at=inside, bore=2e-3),))}).run("rigging").vents if v.kind == "open"
    ]
    assert vent.to_metal == 0.0
    assert vent.diameter == 2e-3
    with pytest.raises(BadInput, match="vent"):
        made.variant(asks={"rigging": RiggingAsk(breathing=(VentWish(at=inside + 10.0, bore=2e-3),))}).run("rigging")


@pytest.mark.validate
def test_the_window_of_the_bracket():
    trail = through(runner("demo", pour=PourAsk(filling="run")))
    window, metal = trail.results["pour"].window, trail.results["metal"]
    assert metal.liquidus < window.floor < window.planned < window.top == pytest.approx(1023.15)
    assert window.floor <= window.sure < window.planned
    assert window.aim == window.planned == trail.results["melt"].pour_temperature.value
    assert len(window.tried) <= 10
    found = next(f for f in trail.findings if f.code == "pour.window")
    assert found.weight == "NOTE"
    assert "at the mould" in found.says
