"""Chances come from freezings that were run: at the ends of what is not known, on the rough grid, counted and the same every time."""

from __future__ import annotations

import dataclasses
import math
import os
from types import SimpleNamespace

import pytest
from planned import SHOPS, codes, runner, text

from strickle.base import LEVELS, Chance, Finding, Margin, Where, quiet
from strickle.cavity import CavityAsk
from strickle.sound import Sound, SoundAsk
from strickle.sound.rules import LEAST_RATIO, NECK_LEAST
from strickle.stores.kit import starter_kit
from strickle.trials import chances, corners, steps
from strickle.trials.corners import Round, Seen, affordable, run_corners
from strickle.trials.ends import End
from strickle.trials.lay import Lay
from strickle.trials.purse import CORNERS

SMALL = 45_000  # cells: enough for a joint, few enough for a test


def seen(name: str, neck: float, riser: float = 1.4, last: float = 100.0, findings: tuple[Finding, ...] = ()) -> Seen:
    """A freezing that was not run, with one joint."""
    return Seen(
        name=name, changed="", joints={"riser-1": (neck, riser)}, last=last, riser=last * riser, knock_out=2 * last, touch=50 * last,
        void=0.0, findings=findings,
    )  # fmt: skip


def turn(base: Seen, *others: Seen) -> Round:
    """Such freezings as a round."""
    singles = tuple((End(of=s.name, name=s.name, changed="", cools=True, change=lambda case: case), s) for s in others)
    return Round(base=base, singles=singles, together=(), left_out=(), cell=2e-3, cells=SMALL, wanted=1 + len(others))


def judged(neck: float, *moved: float) -> Finding:
    """The joint's finding, planned and frozen at ``neck``, and at ``moved`` in the corners."""
    finding = Finding(code="sound.fed", weight="NOTE", says="fed", because="of a test", do="Nothing", where=Where(body="riser-1"))
    necks = (SimpleNamespace(riser="riser-1", fed_time=100.0, neck_time=100.0 * neck, riser_time=140.0),)
    round_ = turn(seen("as planned", neck), *(seen(f"corner {n}", value) for n, value in enumerate(moved)))
    return chances._judged(finding, round_, SimpleNamespace(necks=necks), 0.1)[0]


def test_a_close_joint_has_a_chance_that_is_not_low_and_a_wide_one_a_low_one():
    close = judged(1.06, 1.045, 1.055, 1.06, 1.07).chance
    wide = judged(1.25, 1.2, 1.24, 1.26, 1.3).chance
    assert close.likely > LEVELS["low"]
    assert (wide.low, wide.likely, wide.high) == (LEVELS["low"],) * 3
    assert judged(1.0, 0.98, 1.01).chance.likely == LEVELS["high"]


def test_the_levels_are_in_order_and_no_others():
    for neck in (0.9, 1.0, 1.03, 1.05, 1.06, 1.1, 1.2):
        chance = judged(neck, neck - 0.03, neck + 0.03).chance
        assert chance.low <= chance.likely <= chance.high
        assert {chance.low, chance.likely, chance.high} <= set(LEVELS.values())


def test_the_corners_that_raise_a_trouble_are_named():
    said = judged(1.08, 1.0, 1.1).because
    assert "with corner 0 there is a chance that it falls short" in said
    assert "corner 1" not in said


def test_of_many_corners_the_three_that_move_it_most_are_named():
    said = judged(1.08, 1.03, 0.98, 1.0, 1.04, 0.9).because
    assert "with corner 4, corner 1, corner 2 and 2 more there is a chance that it falls short" in said
    place = Finding(
        code="sound.cavity", weight="STOP", says="hollow", because="of a test", do="Nothing", margin=Margin(value=0.5, unit="1", of="bar")
    )
    worse = [
        seen(f"corner {n}", 1.2, findings=(dataclasses.replace(place, margin=dataclasses.replace(place.margin, value=1 - 0.1 * n)),))
        for n in range(1, 6)
    ]
    told, swing = chances._judged(place, turn(seen("as planned", 1.2), *worse), SimpleNamespace(necks=()), 0.1)
    assert "with corner 5, corner 4, corner 3 and 2 more there is" in told.because
    assert len(swing.raised) == 5


def test_a_trouble_that_only_the_fine_grid_shows_is_never_called_low():
    assert chances._chance(0.0, on_base=False).likely >= LEVELS["likely"]
    assert chances._chance(0.0, on_base=True) == Chance(low=0.1, likely=0.1, high=0.1)
    assert chances._chance(0.1, on_base=True) == Chance(low=0.1, likely=0.1, high=0.5)


def test_a_place_is_the_same_one_when_it_is_near_and_as_heavy():
    one = Finding(code="sound.cavity", weight="STOP", says="hollow", because="of a test", do="Nothing", where=Where(point=(0.0, 0.0, 0.0)))
    assert chances._same(one, dataclasses.replace(one, where=Where(point=(0.0, 0.0, 0.009))), 0.01)
    assert not chances._same(one, dataclasses.replace(one, where=Where(point=(0.0, 0.0, 0.011))), 0.01)
    assert not chances._same(one, dataclasses.replace(one, weight="MIND"), 0.01)
    assert chances._same(dataclasses.replace(one, weight="MIND"), one, 0.01)


def test_the_budget_is_counted_in_work():
    for work in (1e6, 9e7, 3e8, 9e8, 3e9):
        singles, together = affordable(work, 12)
        assert singles <= 12
        assert together in (0, corners.TOGETHER)
        ran = 1 + singles + together
        assert ran <= max(3, CORNERS // corners.spent(work))
    assert affordable(9e7, 12) == (12, 2)


def test_worse_ends_are_those_that_bring_a_joint_nearer_to_its_bar():
    a, b = (End(of="sand", name=n, changed="", cools=True, change=lambda case: case) for n in ("less", "more"))
    worse, better = corners.sides(seen("as planned", 1.1), ((a, seen("less", 1.07)), (b, seen("more", 1.12))))
    assert ([e.name for e in worse], [e.name for e in better]) == (["less"], ["more"])
    worse, better = corners.sides(seen("as planned", 1.1), ((a, seen("less", 1.2)), (b, seen("more", 1.15))))
    assert (worse, [e.name for e in better]) == ((), ["less"])


class Wider:
    """A runner whose stores know less of the sand."""

    def __init__(self, old, share: float) -> None:
        self.old = old
        sands = {
            key: dataclasses.replace(
                sand, values={**sand.values, "k": dataclasses.replace(k := sand.values["k"], low=k.value / share, high=k.value * share)}
            )
            for key, sand in old.stores.sands.items()
        }
        self.stores = dataclasses.replace(old.stores, sands=sands)

    def __getattr__(self, name):
        return getattr(self.old, name)


@pytest.fixture(scope="module")
def plan():
    """A plate with a boss on a small grid, planned with corners; and what lay in the mould when they were run."""
    made = runner("boss", SHOPS["whole"](starter_kit()), cavity=CavityAsk(most_cells=SMALL))
    lays: list[Lay] = []

    def caught(one, lay, watch):
        lays.append(dataclasses.replace(lay) if dataclasses.is_dataclass(lay) else lay)
        before.append(lay.results["sound"])
        return weigh(one, lay, watch)

    before: list[Sound] = []
    weigh = chances.weigh
    steps.weigh = caught
    try:
        trail = steps.plan_through(made, preset="shop", watch=quiet, cures=False)
    finally:
        steps.weigh = weigh
    return SimpleNamespace(trail=trail, sound=trail.results["sound"], before=before[0], lay=lays[0], runner=made)


def test_corners_are_run_and_told(plan):
    record = plan.sound.corners
    assert record.ran == len(record.runs) + 1 <= record.wanted
    assert 0.0 < record.work <= CORNERS
    assert {"a cooler pour", "a hotter pour", "a sand that takes less heat", "a sand that takes more heat"} <= {one.name for one in record.runs}
    assert {"everything at its worse end", "everything at its better end"} <= {one.name for one in record.runs}
    told = next(f for f in plan.trail.findings if f.code == "trials.corners")
    assert f"{record.ran} of {record.wanted} freezings" in text(told)
    assert all(one.name in text(told) for one in record.runs)
    assert not {f.code for f in plan.sound.findings if f.code in chances.JOINTS and f.chance is None}


def test_the_planned_value_lies_in_every_band(plan):
    for now, then in (
        (plan.sound.last_to_freeze.time, plan.before.last_to_freeze.time),
        (plan.sound.riser_time, plan.before.riser_time),
        (plan.sound.knock_out_time, plan.before.knock_out_time),
        (plan.sound.touch_time, plan.before.touch_time),
    ):
        assert now.low < now.value < now.high
        assert now.value == then.value
    margins = [one.least_margin for one in plan.sound.corners.runs]
    assert min(margins) <= plan.sound.corners.base.least_margin <= max(margins)
    assert plan.sound.corners.base.least_margin == pytest.approx(min(n.margin for n in plan.sound.necks))


def test_sand_that_takes_less_heat_takes_longer_and_a_hotter_pour_too(plan):
    record = plan.sound.corners
    last = {one.name: one.last_time for one in record.runs}
    assert last["a sand that takes more heat"] < record.base.last_time < last["a sand that takes less heat"]
    assert last["a cooler pour"] < record.base.last_time < last["a hotter pour"]
    assert all(math.isfinite(one.touch_time) for one in record.runs if "sand that" in one.name)


def test_more_unknown_gives_a_wider_band_and_the_budget_is_kept(plan):
    spans, sand = [], plan.runner.stores.sands[plan.lay.results["mould"].sand].values["k"]
    for share in (1.1, 1.5):
        less = run_corners(Wider(plan.runner, share), plan.lay, quiet, budget=1)
        assert less.ran == 3
        assert any("set aside" in one for one in less.left_out)
        sound = chances.weighed(
            less, plan.before, plan.lay.results["part"], (sand.low, sand.high), plan.lay.results["mould"]
        )  # fmt: skip
        band = sound.last_to_freeze.time
        spans.append(band.high / band.low)
    assert spans[1] > 1.2 * spans[0]


@pytest.mark.validate
def test_the_answer_is_the_same_on_one_processor(plan, monkeypatch):
    two = run_corners(plan.runner, plan.lay, quiet, budget=1)
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    one = run_corners(plan.runner, plan.lay, quiet, budget=1)
    assert [s.fields().last_time for s in one.corners] == [s.fields().last_time for s in two.corners]
    assert one.base.joints == two.base.joints


def test_corners_may_be_left_out(plan):
    ask = SoundAsk(corners="none")
    other = SimpleNamespace(ask=lambda stage: ask)
    assert not chances.wants_corners(other, plan.trail.results, "shop")
    assert not chances.wants_corners(plan.runner, plan.trail.results, "rough")
    assert chances.wants_corners(plan.runner, plan.trail.results, "shop")


def test_a_corner_that_raises_a_stop_makes_the_verdict_close(plan):
    record = plan.sound.corners
    turned = dataclasses.replace(record, runs=(dataclasses.replace(record.runs[0], stops=("sound.neck_short",)), *record.runs[1:]))
    sound = dataclasses.replace(plan.sound, corners=turned, findings=())
    assert chances.close_clause(sound) == f" It is close: with {record.runs[0].name} there is a chance that it would not be sound."
    told = chances.told_of(sound)
    assert [f.code for f in told] == ["trials.corners", "trials.close"]
    assert "a short neck" in told[1].because
    calm = dataclasses.replace(sound, corners=dataclasses.replace(record, runs=tuple(dataclasses.replace(o, stops=()) for o in record.runs)))
    assert chances.close_clause(calm) == ""


def test_the_bars_are_those_of_the_freezing(plan):
    assert NECK_LEAST.low <= NECK_LEAST.value <= LEAST_RATIO.value
    assert "sound.unfinished" not in codes(plan.trail)
