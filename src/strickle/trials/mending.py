"""Findings of the freezing with cures that were run: changes tried on the rough grid, the one that is told on the plan's own.

They share one purse of work with the corners.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from strickle.base import BadInput, Finding, Outcome, Watch, tell
from strickle.cavity import Cavity
from strickle.mould import Mould
from strickle.rigging import RiggingAsk
from strickle.sound import Sound, SoundAsk
from strickle.sound.rules import LEAST_RATIO, NECK_LEAST, NECK_RATIO, SINK
from strickle.trials.changes import KINDS, Change, changes
from strickle.trials.cure import Results, find
from strickle.trials.lay import ROUGH_CELLS, Lay
from strickle.trials.purse import JUDGING, LAYING, WORK, Purse
from strickle.trials.result import Tried
from strickle.trials.runner import Runner

MIND = 0.5  # share of what the corners left that findings which stop nothing may cost
COARSER = 5.0 / 3.0  # power of the number of cells with which the work of a freezing goes: cells, and steps that grow with the cell's square
MOST_CODES = 3
POOR = 0.02  # share of the part under the threshold that is told
MATTERS = 0.10  # and from which a cure of it is looked for
FURTHER = 4.0  # times the gain of a change that the larger one of its series is held able of; one that could not do it is passed by
ALWAYS = ("sound.cavity", "sound.pipe_reaches", "sound.cut_off")
OF = {
    "sound.neck_short": "least of neck and riser time over what is called sound",
    "sound.riser_short": "least of neck and riser time over what is called sound",
    "sound.neck_close": "least neck time over what is aimed at",
    "sound.pipe_reaches": "loss let pass over the metal missing in the deepest column",
    "sound.cavity": "loss per face let pass over the loss here",
    "sound.cut_off": "loss per face let pass over the loss here",
    "sound.weak_gradient": "share of the part that is told over the share under the threshold",
}
WEIGHTS = {"NOTE": 0, "MIND": 1, "STOP": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mended:
    """What was tried, and what findings say to do after it: by code and weight."""

    tried: tuple[Tried, ...]
    do: dict[str, str]


def wanted(findings: Sequence[Finding], results: Results, preset: str) -> list[tuple[str, list[Finding]]]:
    """Codes whose cure is looked for, STOPs first, each with its findings of the greatest weight."""
    by: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.code in KINDS and finding.weight in ("STOP", "MIND"):
            by.setdefault(finding.code, []).append(finding)
    sound = results.get("sound")
    weak = sound.poor_share if isinstance(sound, Sound) else 0.0
    out = []
    for code, all_of in by.items():
        heaviest = max(WEIGHTS[f.weight] for f in all_of)
        mine = [f for f in all_of if WEIGHTS[f.weight] == heaviest]
        if mine[0].weight == "STOP" or code in ALWAYS or preset == "fine" or (code == "sound.weak_gradient" and weak > MATTERS):
            out.append((code, mine))
    return sorted(out, key=lambda one: -WEIGHTS[one[1][0].weight])[:MOST_CODES]


def margin(code: str, results: Results) -> float:
    """The finding's margin in these results, 1 where it is let be; infinite where nothing of the kind was found."""
    sound = find(results, "sound", Sound)
    if code in ("sound.neck_short", "sound.riser_short"):
        bars = [min(n.neck_time / NECK_LEAST.value, n.riser_time / LEAST_RATIO.value) / n.fed_time for n in sound.necks if n.fed_time > 0]
        return min(bars, default=math.inf)
    if code == "sound.neck_close":
        return min((n.neck_time / NECK_RATIO.value / n.fed_time for n in sound.necks if n.fed_time > 0), default=math.inf)
    if code == "sound.weak_gradient":
        return POOR / sound.poor_share if sound.poor_share > 0 else math.inf
    return min((f.margin.value for f in sound.findings if f.code == code and f.margin is not None), default=math.inf)


def bar(code: str, weight: str) -> float:
    """The margin from which a finding of that weight is no longer raised."""
    return SINK.high / SINK.low if weight == "MIND" and code in ALWAYS else 1.0


class Bench:
    """The mould that stands, to be laid and frozen again with changes."""

    def __init__(self, runner: Runner, lay: Lay, preset: str, watch: Watch) -> None:
        self.runner, self.lay, self.preset, self.watch = runner, lay, preset, watch
        self.cured: list[Change] = []
        self.room, self.ask = lay.room, lay.ask
        sound, cells = find(lay.results, "sound", Sound), find(lay.results, "cavity", Cavity).cells
        corners = sound.corners
        self.purse = Purse(WORK - (corners.work if corners is not None else 0.0))
        self.whole = self.purse.left
        self.works = {preset: sound.work, "rough": sound.work * min(1.0, ROUGH_CELLS / max(cells, 1)) ** COARSER}
        self.stood = {f.code for r in lay.results.values() for f in r.stops}

    def holds(self, preset: str, kept: float) -> bool:
        """Whether the purse holds another lay and solve, by what the last of them took, over what is ``kept`` back."""
        return self.purse.holds(LAYING + JUDGING + self.works[preset], kept)

    def solve(self, change: Change | None, preset: str, free: bool = False) -> dict[str, Outcome] | None:
        """Results with a change, or None where it could not be laid or lost a riser. It is paid for, unless ``free``: kept from before."""
        after = self._solved(change, preset)
        took = 0.0
        if after is not None:
            took = JUDGING + find(after, "sound", Sound).work
            self.works[preset] = took - JUDGING
        if not free:
            self.purse.pay(LAYING + took)
        return after

    def _solved(self, change: Change | None, preset: str) -> dict[str, Outcome] | None:
        asks = {} if change is None else dict(change.asks)
        ask = asks.pop("rigging", self.ask)
        assert isinstance(ask, RiggingAsk)
        other = self.runner.variant(asks=asks)
        lay = Lay(other, self.lay.last)
        lay.room = self.room if change is None else change.room
        for stage in ("metal", "part", "pattern"):
            lay.results[stage] = other.run(stage)
        try:
            stop = lay.go(ask, preset == "rough")
        except BadInput:  # a chill that finds no metal where the pattern was filled
            return None
        if stop or lay.risers < self.lay.risers:
            return None
        how = other.ask("sound")
        assert isinstance(how, SoundAsk)
        lay.results["sound"] = other.run("sound", dataclasses.replace(how, preset=preset, knock_out=False))
        return lay.results


def mend(runner: Runner, lay: Lay, findings: Sequence[Finding], preset: str, watch: Watch) -> Mended:
    """Look for the smallest change that cures each finding of the freezing worth it. Nothing is run where there is none."""
    results = lay.results
    mould = results.get("mould")
    closed = isinstance(mould, Mould) and mould.kind != "open-face"
    todo = wanted(findings, results, preset) if "sound" in results and closed else []
    if not todo:
        return Mended(tried=(), do={})
    bench = Bench(runner, lay, preset, watch)
    tried, do = [], {}
    for code, mine in todo:
        one, said = _cure(bench, code, mine)
        do[f"{code} {mine[0].weight}"] = said
        if one is not None:
            tried.append(one)
    return Mended(tried=tuple(tried), do=do)


def _cure(bench: Bench, code: str, mine: Sequence[Finding]) -> tuple[Tried | None, str]:
    """The first change, easiest kind and smallest first, that cures ``code`` on the plan's own grid; else the one that came nearest."""
    results, weight, purse = bench.lay.results, mine[0].weight, bench.purse
    kept = 0.0 if weight == "STOP" or bench.preset == "fine" else MIND * bench.whole
    before, goal = margin(code, results), bar(code, weight)
    coarse = before
    if bench.preset != "rough" and bench.holds("rough", kept):
        stood = bench.solve(None, "rough")
        coarse = margin(code, stood) if stood is not None else before
    shift = before / coarse if math.isfinite(before) and math.isfinite(coarse) and coarse > 0 else 1.0
    best: Tried | None = None
    run, unrun, kinds, gains = 0, 0, dict[str, None](), dict[str, float]()
    known = len(bench.cured)  # what cured another finding is looked at first: it was solved already
    offered = itertools.chain(tuple(bench.cured), changes(code, mine, results, bench.runner, bench.ask, bench.room))
    for number, change in enumerate(offered):
        if number >= known and coarse * (1.0 + FURTHER * gains.get(change.series, math.inf)) * shift < goal:
            continue
        if number >= known and not bench.holds("rough", kept):
            unrun += 1
            continue
        run += 1
        kinds[change.kind] = None
        bench.watch(0.85 + 0.14 * (1.0 - purse.left / max(bench.whole, 1.0)), f"trying a change ({change.kind}) for a finding of the freezing")
        after = bench.solve(change, "rough", free=number < known)
        if after is None or _new_stops(bench, after):
            continue
        one = _told(code, weight, change, after, coarse, "rough")
        gains[change.series] = max(_gain(one) - 1.0, 0.0)
        near = margin(code, after) * shift >= goal
        if near and bench.preset != "rough":
            if number >= known and not bench.holds(bench.preset, kept):
                unrun, run = unrun + 1, run - 1  # not run to the end counts as not run
                continue
            after = bench.solve(change, bench.preset, free=number < known)
            if after is None or _new_stops(bench, after):
                continue
            one = _told(code, weight, change, after, before, bench.preset)
        if near and margin(code, after) >= goal and not _raised(after, code, weight):
            bench.cured.append(change)
            return one, _cured(one, run, change.pieces)
        if _gain(one) > (1.0 if best is None else _gain(best)):
            best = one
    return best, _uncured(best, run, unrun, tuple(kinds))


def _gain(one: Tried) -> float:
    return one.after / one.before if math.isfinite(one.after) and one.before > 0 else math.inf


def _raised(after: Results, code: str, weight: str) -> bool:
    """Whether a finding of the code and at least that weight stands."""
    return any(f.code == code and WEIGHTS[f.weight] >= WEIGHTS[weight] for f in find(after, "sound", Sound).findings)


def _new_stops(bench: Bench, after: Results) -> set[str]:
    """STOPs that did not stand before."""
    return {f.code for r in after.values() for f in r.stops} - bench.stood


def _told(code: str, weight: str, change: Change, after: Results, before: float, preset: str) -> Tried:
    left = tuple(dict.fromkeys(f.code for r in after.values() for f in r.stops))
    margins = (m if math.isfinite(m) else math.nan for m in (before, margin(code, after)))
    return Tried(
        cures=code,
        change=change.words(after),
        worked=not left and not _raised(after, code, weight),
        of=OF[code],
        before=next(margins),
        after=next(margins),
        left=left,
        preset=preset,
    )


def _margins(one: Tried) -> str:
    before, after = (tell(m, "1") if math.isfinite(m) else "nothing of the kind" for m in (one.before, one.after))
    return f"{one.of}: {before} before, {after} after, with the {one.preset} preset"


def _cured(one: Tried, run: int, pieces: int) -> str:
    rest = "" if one.worked else "; other points still stop the plan"
    first = f", the easiest and smallest that does of {run} tried" if run > 1 else ", the first tried"
    what = "one change" if pieces == 1 else f"{pieces} pieces set together, a change"
    return f"Cured by {what} that was run{first}: {one.change} ({_margins(one)}){rest}"


def _uncured(best: Tried | None, run: int, unrun: int, kinds: tuple[str, ...]) -> str:
    tried = f"{run} {'change was' if run == 1 else 'changes were'} run ({', '.join(kinds)}) and none cured it" if run else "No change was run"
    near = f"; nearest came {best.change} ({_margins(best)})" if best is not None else ""
    more = f"; {unrun} more {'was' if unrun == 1 else 'were'} not run, for the work set aside for them was used up" if unrun else ""
    return f"{tried}{near}{more}. Metal padded on towards the riser, or taken out of the thick place, may help"


def said(findings: Sequence[Finding], mended: Mended) -> list[Finding]:
    """The findings with what the cures that were run say to do."""
    return [dataclasses.replace(f, do=mended.do.get(f"{f.code} {f.weight}", f.do)) for f in findings]
