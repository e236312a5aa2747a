"""Findings of the solved filling with cures that were run: the mould laid, charged and filled again with one change at a time."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from strickle.base import BadInput, Finding, Outcome, Watch, tell
from strickle.metal import Metal
from strickle.pour import Pour, PourAsk
from strickle.pour.rules import KNITS, SPRUE_EMPTY, STOPS
from strickle.rigging import RiggingAsk
from strickle.trials.changes import Change
from strickle.trials.cure import Cure, Results, find
from strickle.trials.lay import ORDER, Lay
from strickle.trials.mending import WEIGHTS, Mended
from strickle.trials.result import Tried
from strickle.trials.runner import Runner
from strickle.trials.ways import named, ways

MOST_CODES = 3
TRIES: Mapping[str, int] = {"rough": 14, "shop": 3, "fine": 3}
"""Solves of the filling that all cures of one plan may take, by preset."""
LAID = ("ingate", "quicker", "higher", "wider")
"""Kinds that are one only where the mould came out otherwise: their words then differ from those before."""
LAW = "fluid time of the thinnest section over the fill time"
FRONTS = "fraction solid at which a front stands over that of the coldest fronts"
OF: Mapping[str, str] = {
    "pour.cold_shut": "superheat left where fronts meet over that with which they knit",
    "pour.break": LAW,
    "pour.gate_fast": "critical speed over the ingate's highest speed",
    "pour.sprue_empty": "share of sprue and runner that may be empty over that which is",
    "pour.air_trapped": "air that sand and vents let out in the time over the air that has to go",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """What was tried, what findings say to do after it, and the cures of STOPs still to be run through the freezing; None where none was found."""

    mended: Mended
    cures: Mapping[str, Cure | None]


@dataclass(slots=True)
class Again:
    """The mould that stands, to be laid and filled again with changes, as often as ``left`` says."""

    runner: Runner
    lay: Lay
    preset: str
    watch: Watch
    left: dict[str, int] = field(default_factory=lambda: dict(TRIES))
    cured: list[Change] = field(default_factory=list)

    def solve(self, change: Change | None, preset: str) -> dict[str, Outcome] | None:
        """Results up to the pour with a change, or None where it could not be laid, lost a riser, changed nothing or was not solved."""
        self.left[preset] -= 1
        asks = {} if change is None else dict(change.asks)
        ask = asks.pop("rigging", self.lay.ask)
        assert isinstance(ask, RiggingAsk)
        other = self.runner.variant(asks=asks)
        new = Lay(other, ORDER.index("pour"))
        new.room = self.lay.room if change is None else change.room
        for stage in ("metal", "part", "pattern"):
            new.results[stage] = other.run(stage)
        try:
            stop = new.go(ask, preset == "rough")
        except BadInput:  # a vent that finds no way up
            return None
        if stop or new.risers < self.lay.risers:
            return None
        if change is not None and change.kind in LAID and change.words(new.results) == change.words(self.lay.results):
            return None
        how = other.ask("pour")
        assert isinstance(how, PourAsk)
        pour = other.run("pour", replace(how, filling="run", preset=preset))
        assert isinstance(pour, Pour)
        new.results["pour"] = pour
        return new.results if pour.solution is not None else None


def mend_pour(runner: Runner, lay: Lay, findings: Sequence[Finding], preset: str, watch: Watch) -> Filled:
    """Look for the easiest change that cures each finding of the solved filling. Nothing is run where there is none, or no solve."""
    pour = lay.results.get("pour")
    codes = named(findings)[:MOST_CODES] if isinstance(pour, Pour) and pour.solution is not None else ()
    again = Again(runner, lay, preset, watch)
    tried: list[Tried] = []
    do, cures = dict[str, str](), dict[str, Cure | None]()
    for code in codes:
        weight = max((f.weight for f in findings if f.code == code), key=lambda w: WEIGHTS[w])
        found = _cure(again, code, weight)
        do[f"{code} {weight}"] = found.says
        if found.told is not None and weight != "STOP":
            tried.append(found.told)
        if weight == "STOP":
            cures[code] = _to_the_end(found.change, found.told) if found.change is not None and found.told is not None else None
    return Filled(mended=Mended(tried=tuple(tried), do=do), cures=cures)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """What came of one code: the words, the margins of the change told, and that change where it cures."""

    says: str
    told: Tried | None = None
    change: Change | None = None


def _cure(again: Again, code: str, weight: str) -> _Found:
    """The easiest change that cures ``code`` on the plan's own grid; else the one that came nearest."""
    results, preset = again.lay.results, again.preset
    of = _of(code, results)
    coarse = again.solve(None, "rough") if preset != "rough" else results
    first = (
        "rough" if coarse is not None and _raised(coarse, code, weight) else preset
    )  # where a coarser grid does not show it, it is solved on its own
    start = coarse if first == "rough" and coarse is not None else results
    best: Tried | None = None
    run, unrun = dict[str, int](), 0
    for change in (*again.cured, *ways(code, results, again.runner, again.lay.ask, again.lay.room)):
        if again.left[first] <= 0:
            unrun += 1
            continue
        again.watch(0.85, f"trying a change ({change.kind}) for a finding of the filling")
        after = again.solve(change, first)
        if after is None:
            continue
        run[change.kind] = run.get(change.kind, 0) + 1
        one = _told(code, change, of, (start, after), again.lay.results, first, weight)
        if not _raised(after, code, weight) and not _new_stops(after, results):
            if first == preset or again.left[preset] <= 0:
                done = first == preset
                if done:
                    again.cured.append(change)
                return _Found(says=_cured(one, sum(run.values()), _brings(after, start), done), told=one, change=change if done else None)
            after = again.solve(change, preset)
            if after is None:
                continue
            one = _told(code, change, of, (results, after), again.lay.results, preset, weight)
            if not _raised(after, code, weight) and not _new_stops(after, results):
                again.cured.append(change)
                return _Found(says=_cured(one, sum(run.values()), _brings(after, results), True), told=one, change=change)
        if _gain(one) > (1.0 if best is None else _gain(best)):
            best = one
    return _Found(says=_uncured(best, run, unrun), told=best)


def _to_the_end(change: Change, one: Tried) -> Cure:
    """The change as a cure that is run through all stages; its margins are those of the filling on the plan's own grid."""
    return Cure(
        change=change.words, of=one.of, margin=lambda r, after, kit: math.nan, asks=change.asks, room=change.room,
        told=(one.before, one.after, one.preset),
    )  # fmt: skip


def _of(code: str, results: Results) -> str:
    """What the margin of a code compares; a misrun is told by the law of channels where that raised it."""
    if code != "pour.misrun":
        return OF[code]
    margins = [f.margin.of for f in find(results, "pour", Pour).findings if f.code == code and f.margin is not None]
    return FRONTS if any(of.startswith("fraction solid") for of in margins) else LAW


def margin(code: str, of: str, results: Results) -> float:
    """A finding's margin in these results, 1 where it is about let be; infinite where nothing of the kind was seen."""
    pour = find(results, "pour", Pour)
    s = pour.solution
    if of == LAW:
        return pour.fluid_margin.value
    if s is None:
        return math.nan
    match code:
        case "pour.misrun":
            return STOPS.value / s.stiffest if s.stiffest > 0.0 else math.inf
        case "pour.cold_shut":
            left = min((seam.colder for seam in s.seams), default=math.inf) - find(results, "metal", Metal).liquidus
            return left / KNITS.value
        case "pour.gate_fast":
            return min((gate.critical / gate.highest for gate in s.gates if gate.highest > 0.0), default=math.inf)
        case "pour.sprue_empty":
            return SPRUE_EMPTY / s.sprue_empty if s.sprue_empty > 0.0 else math.inf
        case _:
            return min((p.through_sand + p.through_vents for p in s.pockets), default=math.inf)


def _raised(results: Results, code: str, weight: str) -> bool:
    """Whether a finding of the code and at least that weight stands in the pour."""
    return any(f.code == code and WEIGHTS[f.weight] >= WEIGHTS[weight] for f in find(results, "pour", Pour).findings)


def _stops(results: Results) -> set[str]:
    return {f.code for r in results.values() for f in r.stops}


def _new_stops(after: Results, before: Results) -> set[str]:
    return _stops(after) - _stops(before)


def _brings(after: Results, before: Results) -> str:
    """What else the pour then finds, as a clause."""
    had, has = ({f.code for f in find(r, "pour", Pour).findings if f.weight != "NOTE"} for r in (before, after))
    new = sorted(has - had)
    return f"; with it {' and '.join(new)} has to be minded" if new else ""


def _told(code: str, change: Change, of: str, ends: tuple[Results, Results], stood: Results, preset: str, weight: str) -> Tried:
    before, after = ends
    left = _stops(after) | {f.code for f in stood["sound"].stops} if "sound" in stood else _stops(after)
    values = [m if math.isfinite(m) else math.nan for m in (margin(code, of, before), margin(code, of, after))]
    return Tried(
        cures=code,
        change=change.words(after),
        worked=not left and not _raised(after, code, weight),
        of=of,
        before=values[0],
        after=values[1],
        left=tuple(sorted(left)),
        preset=preset,
    )


def _gain(one: Tried) -> float:
    """What a change adds to the margin, over 1; infinite where nothing of the kind was left."""
    if math.isnan(one.after):
        return math.inf
    return 1.0 + one.after - one.before if math.isfinite(one.before) else 1.0


def _margins(one: Tried) -> str:
    if not math.isfinite(one.before) and not math.isfinite(one.after):
        return f"with the {one.preset} preset"
    before, after = (tell(m, "1") if math.isfinite(m) else "none" for m in (one.before, one.after))
    return f"{one.of}: {before} before, {after} after, with the {one.preset} preset"


def _cured(one: Tried, run: int, brings: str, done: bool) -> str:
    first = f", the easiest that does of {run} tried" if run > 1 else ", the first tried"
    grid = "" if done else "; it was run on the rough grid alone"
    return f"Cured by one change that was run{first}: {one.change} ({_margins(one)}){brings}{grid}"


def _uncured(best: Tried | None, run: Mapping[str, int], unrun: int) -> str:
    count = sum(run.values())
    tried = f"{count} {'change was' if count == 1 else 'changes were'} run ({', '.join(run)}) and none cured it" if count else "No change was run"
    near = f"; nearest came {best.change} ({_margins(best)})" if best is not None else ""
    more = f"; {unrun} more {'was' if unrun == 1 else 'were'} not run, for the solves set aside for them were used up" if unrun else ""
    return f"{tried}{near}{more}. A thicker wall there, or the part turned another way up, may help"
