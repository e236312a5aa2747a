"""Stages run again: the riser loop, the next flask, and the one change that lifts a STOP. Searches never touch disk."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from strickle.base import Array, Finding, Outcome, Trouble, Verdict, Watch, ranked, tell
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.rigging import RiggingAsk
from strickle.sound import Sound
from strickle.stores import Kit
from strickle.trials.back import back_clause
from strickle.trials.chances import close_clause, wants_corners, weigh
from strickle.trials.cure import Cure
from strickle.trials.cures import CURES
from strickle.trials.joint import levelled, wants_level
from strickle.trials.lay import ORDER, Lay, ends, poured, solved
from strickle.trials.mending import Mended, mend, said
from strickle.trials.pouring import Filled, mend_pour
from strickle.trials.result import Trail, Tried
from strickle.trials.risers import finish, finish_poured, grow_risers, leave_out
from strickle.trials.runner import Runner
from strickle.trials.sand_ways import compare, wants_ways
from strickle.trials.turned import turned, wants_turning
from strickle.trials.window import look_for, wants_window

MOST_CURES = 2
MOST_SIZES = 3  # of one change


def plan_through(runner: Runner, *, until: str | None = None, preset: str = "shop", watch: Watch, cures: bool = True, fills: bool = True) -> Trail:
    """Run the stages in order with their loops, then look for the one change that lifts a STOP.

    ``until`` names the last stage wanted; ``preset`` rough | shop | fine; without ``fills`` the filling is not solved.
    Returns the Trail; raises what the stages raise.
    """
    gone = _go(runner, until, preset, watch, corners=True, fills=fills)
    results, because, solves, told = gone.lay.results, gone.because, gone.solves, gone.told
    stops = tuple(f for r in results.values() for f in r.stops)
    tried: tuple[Tried, ...] = ()
    findings: Sequence[Finding] = ranked([*(f for r in results.values() for f in r.findings), *told])
    filled = Filled(mended=Mended(tried=(), do={}), cures={})
    if cures and until is None and not because:
        filled = mend_pour(runner, gone.lay, findings, preset, watch)
        findings = said(findings, filled.mended)
    if stops and cures and until is None:
        tried = _try_changes(runner, results, stops, preset, watch, filled.cures)
    if cures and until is None and not any(one.worked for one in tried):
        mended = mend(runner, gone.lay, findings, preset, watch)
        tried, findings = (*tried, *mended.tried), said(findings, mended)
    tried = (*tried, *filled.mended.tried)
    if wants_ways(runner, results, until is None and not because):  # a plan that ends early has more to mend than its sand
        findings = ranked([*findings, *compare(runner, results, gone.lay.room, watch)])
    return Trail(
        results=results,
        because=because,
        findings=tuple(findings),
        verdict=_verdict(results, stops, tried, until, because),
        tried=tried,
        solves=solves,
    )


@dataclass(frozen=True, slots=True)
class _Gone:
    """What was laid and solved, why the plan ended early, the solves of the riser loop, and findings of the loops."""

    lay: Lay
    because: str
    solves: int = 0
    told: tuple[Finding, ...] = ()


def _go(
    runner: Runner, until: str | None, preset: str, watch: Watch, *, corners: bool = False, fills: bool = True, room: Array | None = None
) -> _Gone:
    last = ORDER.index(until) if until in ORDER else len(ORDER) - 1
    lay = Lay(runner, last)
    lay.room = room
    way: tuple[Finding, ...] = ()
    for stage in ORDER[: min(last, ORDER.index("mould")) + 1]:
        lay.results[stage] = runner.run(stage)
        if isinstance(pattern := lay.results[stage], Pattern) and wants_turning(runner, pattern):
            lay.results[stage], way = turned(runner, pattern, watch)
        if stop := ends(lay.results[stage]):
            return _Gone(lay, f"{stop} stands", told=way)
    if last < ORDER.index("rigging"):
        return _Gone(lay, f"asked to stop after {until}", told=way)
    asked = runner.ask("rigging")
    assert isinstance(asked, RiggingAsk)
    lay.ask = asked
    coarse = preset == "rough" or last < ORDER.index("sound") or _risers_likely(lay.results)
    stop = lay.go(asked, coarse)
    joint: tuple[Finding, ...] = ()
    if wants_level(runner, lay):
        watch(0.4, "parting it flat, for the crooked joint takes no rigging")
        stop, joint = levelled(runner, lay, asked, coarse)
    if stop or last < ORDER.index("sound"):
        if not stop and last == ORDER.index("pour") and fills:
            poured(runner, lay.results, preset)
        return _Gone(lay, stop or f"asked to stop after {until}", told=(*way, *joint))
    solves = grow_risers(runner, lay, preset, watch)
    if preset != "rough" and _risers_likely(lay.results):
        stop, more = finish(runner, lay, preset)
        solves += more
    told: tuple[Finding, ...] = ()
    if not stop:
        told, more = leave_out(runner, lay, preset)
        solves += more
    if not stop and fills:
        watch(0.8, "filling the mould that stands")
        if poured(runner, lay.results, preset):
            watch(0.8, "freezing it from what the filling left")
            solved(runner, lay.results, preset)
            solves += 1 + finish_poured(runner, lay, preset, watch)
    if not stop and corners and wants_corners(runner, lay.results, preset):
        told += weigh(runner, lay, watch)
    if not stop and fills and corners and until is None and wants_window(runner, lay.results):
        look_for(runner, lay.results, preset, watch)
    return _Gone(lay, stop, solves, (*way, *joint, *told))


def _risers_likely(results: Mapping[str, Outcome]) -> bool:
    part, mould = results["part"], results.get("mould")
    feeds = isinstance(part, Part) and any(s.needs_feed for s in part.hot_spots)
    return feeds and not (isinstance(mould, Mould) and mould.kind == "open-face")  # an open back feeds itself, and has no riser


def _try_changes(
    runner: Runner, results: Mapping[str, Outcome], stops: tuple[Finding, ...], preset: str, watch: Watch, known: Mapping[str, Cure | None]
) -> tuple[Tried, ...]:
    """Run each STOP's cure through the stages until one leaves no STOP; ``known`` are those that cured a filling.

    A STOP of the freezing is tried again on the grid that raised it, for a coarser one may not show it; others on the rough grid.
    """
    tried: list[Tried] = []
    codes: set[str] = set()
    for finding in stops:
        make, cure = CURES.get(finding.code), known.get(finding.code)
        fresh = finding.code not in codes and len(codes) < MOST_CURES
        if fresh and make is not None and finding.code not in known:  # one whose filling was looked at and not cured is left
            cure = make(finding, results, runner)
        codes.add(finding.code)
        if cure is None or not fresh:
            continue
        watch(0.85, "trying a change that may lift what stops the plan")
        grid = preset if finding.stage == "sound" else "rough"
        for last in (None,) if cure.letter is None else ("pour", None):
            other, after, left, worked = _with(runner, cure, cure.kit, last, grid, watch)
            if worked and cure.letter is not None:  # the shop was freer than the words are: the words themselves are run
                other, after, left, worked = _with(runner, cure, cure.letter(after), None, grid, watch)
            if worked:
                break
        for _ in range(MOST_SIZES - 1):
            more = None if worked or cure.again is None else cure.again(after)
            if more is None:
                break
            cure = more
            other, after, left, worked = _with(runner, cure, cure.kit, None, grid, watch)
        try:
            margins = cure.margin(results, after, runner.stores.kit), cure.margin(after, after, other.stores.kit)
        except KeyError:
            margins = math.nan, math.nan
        if cure.told is not None:
            margins, grid = cure.told[:2], cure.told[2]
        change = cure.change(after if "mould" in after else results)
        tried.append(Tried(cures=finding.code, change=change, worked=worked, of=cure.of, before=margins[0], after=margins[1], left=left, preset=grid))
        if worked:
            break
    return tuple(tried)


def _with(
    runner: Runner, cure: Cure, kit: Kit | None, until: str | None, preset: str, watch: Watch
) -> tuple[Runner, dict[str, Outcome], tuple[str, ...], bool]:
    """The stages run in a changed shop: that runner, its results, the STOPs left, and whether none was and it came as far as asked."""
    stores = dataclasses.replace(runner.stores, kit=kit) if kit is not None else None
    other = runner.variant(stores=stores, asks=cure.asks)
    after = _go(other, until, preset, watch, fills=until is None, room=cure.room).lay.results
    left = tuple(f.code for r in after.values() for f in r.stops)
    return other, after, left, not left and (until or ORDER[-1]) in after


def _verdict(results: Mapping[str, Outcome], stops: tuple[Finding, ...], tried: tuple[Tried, ...], until: str | None, because: str) -> Verdict:
    for one in tried:
        if stops and one.worked:
            margin = (
                f" ({one.of}: {tell(one.before, '1')} before, {tell(one.after, '1')} after)"
                if math.isfinite(one.before) and math.isfinite(one.after)
                else ""
            )
            grid = "" if one.cures.startswith("sound.") else " on the rough grid"
            return Verdict(
                code="after_change",
                says=f"Castable after one change: {one.change}. As it stands, {_clause(stops[0].says)}.",
                change=f"{one.change}{margin}; run through all stages{grid}, no STOP was left",
            )
    if stops:
        more = f", and {len(stops) - 1} more" if len(stops) > 1 else ""
        return Verdict(code="not_this_way", says=f"Not by this way: {_clause(stops[0].says)}{more}.")
    if until is not None and until != "sound":
        return Verdict(code="castable", says=f"Nothing found so far speaks against casting it; the plan was asked to stop after {until}.")
    sound = results.get("sound")
    if not isinstance(sound, Sound):
        raise Trouble("the plan ended without a freezing solve and without saying why", "This is a mistake in strickle, please report it")
    minds = [f for r in results.values() for f in r.findings if f.weight == "MIND"]
    minds.sort(key=lambda f: f.code == "part.unit_assumed")  # a size to check is not what decides the casting
    if sound.back is not None:
        fed = back_clause(sound)
    elif sound.necks:
        weak = min(sound.necks, key=lambda n: n.margin)
        fed = f" Every riser and neck outlasts what it feeds, {tell(weak.margin, '1')} times at the least."
    elif _risers_likely(results):
        fed = " It is planned without a riser, though a place was looked at: see the findings."
    else:
        fed = " It needs no riser."
    mind = f" Mind {len(minds)} {'point' if len(minds) == 1 else 'points'}, first: {_clause(minds[0].says)}." if minds else ""
    return Verdict(code="castable", says=f"Castable as it is.{fed}{close_clause(sound)}{mind}")


def _clause(text: str) -> str:
    """A finding's sentence as a clause: no full stop, and no capital where its first word is an ordinary one."""
    text = text.rstrip(". ")
    first = text.split(" ", 1)[0]
    return text[:1].lower() + text[1:] if first[1:].islower() or len(first) == 1 else text
