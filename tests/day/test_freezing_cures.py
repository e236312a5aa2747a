"""Cures of what the freezing found: each kind of change does what it is for, the smallest that cures is told, and where none does it is said."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
import pytest
from planned import PARTS, _stl, box, codes, runner, text, through

from strickle.base import quiet, render
from strickle.cavity import CavityAsk
from strickle.rigging import RiggingAsk, RiserWish
from strickle.sound import Corners, SoundAsk
from strickle.trials.changes import KINDS, changes, free_sides
from strickle.trials.lay import Lay, solved
from strickle.trials.mending import ALWAYS, Bench, _cure, bar, margin, mend, wanted
from strickle.trials.purse import LAYING, WORK, Purse

NARROW = RiggingAsk(risers=(RiserWish(spot=0, neck_area=3e-5), RiserWish(spot=1, neck_area=3e-5)))
ONE_NARROW = RiggingAsk(risers=(RiserWish(spot=0, neck_area=5e-5),))
NO_RISER = RiggingAsk(risers=(RiserWish(spot=0, drop=True),))


@functools.cache
def bench(part: str, ask: RiggingAsk) -> Bench:
    """A mould laid and frozen roughly as asked, without the riser loop, to be changed."""
    made = runner(part, rigging=ask, cavity=CavityAsk(most_cells=200_000), sound=SoundAsk(preset="rough", knock_out=False))
    lay = Lay(made, 8)
    for stage in ("metal", "part", "pattern"):
        lay.results[stage] = made.run(stage)
    assert lay.go(ask, True) == ""
    solved(made, lay.results, "rough")
    return Bench(made, lay, "rough", quiet)


def offered(at: Bench, code: str):
    """The changes for the findings of a code; for a code that was not found, as if its place were the last to freeze."""
    found = [f for f in at.lay.results["sound"].findings if f.code == code]
    if not found:
        spot = at.lay.results["sound"].last_to_freeze.at_part
        some = at.lay.results["sound"].findings[0]
        where = dataclasses.replace(some.where, point=tuple(float(v) for v in spot), body="") if some.where is not None else None
        found = [dataclasses.replace(some, code=code, where=where)]
    return list(changes(code, found, at.lay.results, at.runner, at.ask, at.room))


# Each kind of change


@pytest.mark.parametrize(
    ("part", "ask", "code", "kind"),
    [
        ("demo", ONE_NARROW, "sound.neck_short", "neck"),
        ("dumb-bell", NARROW, "sound.neck_short", "riser"),
        ("dumb-bell", NARROW, "sound.riser_short", "sleeve"),
        ("boss", NO_RISER, "sound.cavity", "cooler"),
        ("boss", NO_RISER, "sound.cavity", "chill"),
    ],
)
def test_each_kind_of_change_moves_the_margin_its_way(part, ask, code, kind):
    at = bench(part, ask)
    change = next(c for c in offered(at, code) if c.kind == kind)
    after = at.solve(change, "rough")
    assert after is not None
    if kind == "neck":  # a wider neck also holds what it feeds warm, so their ratio moves by no more than the rough grid's 0.3 %; its own time grows
        largest = [c for c in offered(at, code) if c.kind == kind][-1]
        old, new = (min(n.neck_time for n in r["sound"].necks) for r in (at.lay.results, at.solve(largest, "rough")))
        assert new > 1.02 * old
    elif kind == "sleeve":  # the neck, the shorter of the two, is what the margin reads; a sleeve is for the riser
        old, new = (max(n.riser_time / n.fed_time for n in r["sound"].necks) for r in (at.lay.results, after))
        assert new > 1.1 * old
    else:
        assert margin(code, after) > margin(code, at.lay.results)
    assert "{{" not in render(change.words(after))


def test_a_moved_ingate_joins_elsewhere():
    at = bench("boss", NO_RISER)
    change = next(c for c in offered(at, "sound.cavity") if c.kind == "ingate")
    after = at.solve(change, "rough")
    assert after is not None
    old, new = (r["rigging"].ingates[0].at for r in (at.lay.results, after))
    assert np.linalg.norm(new - old) > 0.02
    assert "ingates moved to" in change.words(after)


def test_a_higher_cope_makes_risers_higher():
    at = bench("dumb-bell", NARROW)
    change = next(c for c in offered(at, "sound.riser_short") if c.kind == "higher")
    after = at.solve(change, "rough")
    assert after is not None
    old, new = (r["rigging"].risers[0].height for r in (at.lay.results, after))
    assert new > old + 0.02


def test_hotter_and_cooler_stay_within_the_metals_window():
    at = bench("boss", NO_RISER)
    metal, now = at.lay.results["metal"], at.lay.results["melt"].pour_temperature.value
    for code, kind, way in (("sound.weak_gradient", "hotter", 1.0), ("sound.cavity", "cooler", -1.0)):
        pours = [c.asks["melt"].pour for c in offered(at, code) if c.kind == kind]
        assert pours
        assert all(metal.pour_low <= p <= metal.pour_high and way * (p - now) > 0 for p in pours)


@pytest.mark.parametrize("code", sorted(KINDS))
def test_changes_come_easiest_first_and_smaller_before_larger(code):
    got = offered(bench("boss", NO_RISER) if code in ALWAYS else bench("dumb-bell", NARROW), code)
    kinds = [c.kind for c in got]
    assert sorted(kinds, key=KINDS[code].index) == kinds
    thick = [c.asks["rigging"].chills[-1].thick for c in got if c.series == "chill 0"]
    assert thick == sorted(thick)


def test_a_chill_is_put_where_nothing_joins():
    at = bench("dumb-bell", NARROW)
    part, joint = at.lay.results["part"], np.array([0.045, 0.0, 0.02])
    free = free_sides(part, np.array([0.045, 0.0, 0.0]), [])
    kept = free_sides(part, np.array([0.045, 0.0, 0.0]), [joint])
    assert len(free) == 6  # a ball with a bar on one side: the far end of that way is the farthest
    assert free[-1][0] == pytest.approx([-0.065, 0.0, 0.0], abs=1e-3)
    assert all(np.linalg.norm(spot - joint) > 0.02 for spot, _ in kept)
    assert len(kept) < len(free)


# What is looked for, and how much is spent on it


def test_where_there_is_nothing_to_cure_nothing_is_run():
    at = bench("boss", RiggingAsk())
    findings = at.lay.results["sound"].findings
    assert {f.code for f in findings} & {"sound.fed", "sound.neck_close"}
    assert wanted(findings, at.lay.results, "shop") == []
    got = mend(at.runner, at.lay, findings, "shop", quiet)
    assert got.tried == ()
    assert got.do == {}


def test_the_fine_preset_looks_at_every_finding_on_feeding():
    at = bench("boss", RiggingAsk())
    close = dataclasses.replace(at.lay.results["sound"].findings[0], code="sound.neck_close", weight="MIND")
    assert wanted([close], at.lay.results, "shop") == []
    assert [code for code, _ in wanted([close], at.lay.results, "fine")] == ["sound.neck_close"]


def test_the_purse_keeps_back_what_it_is_told_to_and_never_owes():
    purse = Purse()
    assert purse.holds(0.4 * WORK, 0.5 * WORK)
    assert not purse.holds(0.6 * WORK, 0.5 * WORK)  # what is kept back is for what stops the plan
    purse.pay(0.6 * WORK)
    assert purse.left == pytest.approx(0.4 * WORK)
    purse.pay(WORK)
    assert purse.left == 0.0
    assert not purse.holds(1.0)


def test_cures_have_what_the_corners_left():
    at = bench("boss", RiggingAsk())
    sound = at.lay.results["sound"]
    assert at.purse.left == WORK  # no corners were run
    record = Corners(cell=1e-3, cells=1, ran=2, wanted=2, base=None, runs=(), left_out=(), swings=(), work=0.3 * WORK)
    at.lay.results["sound"] = dataclasses.replace(sound, corners=record)
    assert Bench(at.runner, at.lay, "rough", quiet).purse.left == pytest.approx(0.7 * WORK)
    at.lay.results["sound"] = sound
    before = at.purse.left
    at.solve(None, "rough", free=True)
    assert at.purse.left == before
    at.solve(None, "rough")
    assert at.purse.left < before - LAYING


def test_a_spent_purse_runs_nothing_and_says_so():
    at = bench("boss", RiggingAsk())
    short = dataclasses.replace(at.lay.results["sound"].findings[0], code="sound.neck_short", weight="STOP")
    at.purse.pay(WORK)
    one, said = _cure(at, "sound.neck_short", [short])
    assert one is None
    assert "No change was run" in said
    assert "the work set aside for them was used up" in said


def test_a_void_is_let_be_from_where_it_is_no_longer_told():
    assert bar("sound.cavity", "STOP") == 1.0
    assert bar("sound.cavity", "MIND") == 2.0


# Whole plans


@functools.cache
def narrow():
    """Two balls whose necks were forced too narrow: what no larger neck may mend, a larger riser does."""
    return through(runner("dumb-bell", rigging=NARROW))


def test_a_stop_is_cured_by_the_change_that_the_verdict_names():
    trail = narrow()
    one = next(t for t in trail.tried if t.cures == "sound.neck_short")
    assert one.worked
    assert one.before < 1.0 <= one.after
    assert one.left == ()
    assert trail.verdict.code == "after_change"
    assert one.change in trail.verdict.change
    (stop,) = (f for f in trail.findings if f.code == "sound.neck_short")
    assert "Cured by one change that was run" in text(stop)
    assert render(one.change) in text(stop)


def test_where_no_change_cures_it_is_said_with_how_many_were_run():
    trail = narrow()
    weak = next(f for f in trail.findings if f.code == "sound.weak_gradient")
    assert "none cured it" in text(weak)
    assert "may help" in text(weak)
    assert not next(t for t in trail.tried if t.cures == "sound.weak_gradient").worked


@pytest.mark.validate
def test_the_same_plan_tries_the_same_changes_and_says_the_same():
    one = narrow()
    fresh = runner("dumb-bell", rigging=NARROW)
    fresh._memory = {}
    other = through(fresh)
    told = [[(t.cures, t.change, t.worked, t.before, t.after, t.left, t.preset) for t in trail.tried] for trail in (one, other)]
    assert repr(told[0]) == repr(told[1])
    assert [text(f) for f in one.findings] == [text(f) for f in other.findings]


def test_a_void_left_without_a_riser_is_cured_by_a_chill():
    trail = through(runner("boss", rigging=NO_RISER))
    one = next(t for t in trail.tried if t.cures == "sound.cavity")
    assert one.worked
    assert "chill" in one.change
    assert "clean, rust-free, coated, warm and dry" in one.change
    assert trail.verdict.code == "castable"  # it stopped nothing: the verdict names no change
    assert trail.verdict.change == ""
    assert "sound.cavity" in codes(trail)


def test_a_block_has_no_free_side_off_its_own_axes():
    PARTS["cube"] = lambda: _stl(box(20, 20, 20))
    part = runner("cube").run("part")
    found = free_sides(part, np.array([0.0, 0.0, 0.015]), [])
    assert len(found) == 6
    assert found[0][0] == pytest.approx([0.0, 0.0, 0.02])
    assert all(wall == pytest.approx(0.02) for _, wall in found)
