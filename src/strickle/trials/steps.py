"""Stages run again: the riser loop, the next flask, and the one change that lifts a STOP. Searches never touch disk."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping

from strickle.base import Array, Finding, Margin, Outcome, Record, Trouble, Verdict, Watch, Where, ranked, tell
from strickle.cavity import CavityAsk
from strickle.mould import Mould, MouldAsk
from strickle.part import HotSpot, Part
from strickle.rigging import Rigging, RiggingAsk, RiserWish
from strickle.sound import NeckJudged, Sound, SoundAsk
from strickle.sound.rules import LEAST_RATIO, NECK_RATIO, SINK, TARGET_RATIO
from strickle.trials.cures import CURES
from strickle.trials.result import Trail, Tried
from strickle.trials.runner import Runner

ORDER = ("metal", "part", "pattern", "mould", "rigging", "cavity", "melt", "pour", "sound")
TARGET, NECK_TARGET, LEAST = (v.value for v in (TARGET_RATIO, NECK_RATIO, LEAST_RATIO))
MOST_SIZE, MOST_NECK = 1.9, 8.0  # factors on the first guess at which the loop gives up
ENDS = frozenset(
    {
        "mould.no_flask",
        "rigging.no_ingate",
        "rigging.no_room",
        "cavity.sand_short",
        "cavity.weights_short",
        "melt.pot_too_small",
        "melt.too_heavy",
        "melt.too_cold",
        "melt.metal_short",
        "melt.place",
    }
)
ROUGH_CELLS, SHOP_CELLS = 400_000, 3_000_000
MOST_LOOPS, MOST_LAYS = 9, 14
ROUGH_ERROR = 0.02  # of a ratio of times on the rough grid, measured against the shop grid
MOST_CURES = 2


def plan_through(runner: Runner, *, until: str | None = None, preset: str = "shop", watch: Watch, cures: bool = True) -> Trail:
    """Run the stages in order with their loops, then look for the one change that lifts a STOP.

    ``until`` names the last stage wanted; ``preset`` rough | shop | fine. Returns the Trail; raises what the stages raise.
    """
    results, because, solves, told = _go(runner, until, preset, watch)
    stops = tuple(f for r in results.values() for f in r.stops)
    tried: tuple[Tried, ...] = ()
    if stops and cures and until is None:
        tried = _try_changes(runner, results, stops, watch)
    findings = ranked([*(f for r in results.values() for f in r.findings), *told])
    return Trail(
        results=results,
        because=because,
        findings=findings,
        verdict=_verdict(results, stops, tried, until, because),
        tried=tried,
        solves=solves,
    )


def _ends(result: Outcome) -> str:
    codes = [f.code for f in result.stops if f.code in ENDS or f.code.startswith("metal.use")]
    return codes[0] if codes else ""


def _go(runner: Runner, until: str | None, preset: str, watch: Watch) -> tuple[dict[str, Outcome], str, int, tuple[Finding, ...]]:
    last = ORDER.index(until) if until in ORDER else len(ORDER) - 1
    lay = _Lay(runner, last)
    for stage in ORDER[: min(last, ORDER.index("mould")) + 1]:
        lay.results[stage] = runner.run(stage)
        if stop := _ends(lay.results[stage]):
            return lay.results, f"{stop} stands", 0, ()
    if last < ORDER.index("rigging"):
        return lay.results, f"asked to stop after {until}", 0, ()
    asked = runner.ask("rigging")
    assert isinstance(asked, RiggingAsk)
    lay.ask = asked
    stop = lay.go(asked, preset == "rough" or last < ORDER.index("sound") or _risers_likely(lay.results))
    if stop or last < ORDER.index("sound"):
        return lay.results, stop or f"asked to stop after {until}", 0, ()
    solves = _grow(runner, lay, preset, watch)
    if preset != "rough" and _risers_likely(lay.results):
        stop, more = _finish(runner, lay, preset)
        solves += more
    told: tuple[Finding, ...] = ()
    if not stop:
        told, more = _leave_out(runner, lay, preset)
        solves += more
    return lay.results, stop, solves, told


def _leave_out(runner: Runner, lay: _Lay, preset: str) -> tuple[tuple[Finding, ...], int]:
    """Risers that stay short on places whose loss may go unfed are left out, and the mould is solved without them.

    Kept as they were where that solve raises a STOP of its own.
    """
    sound, part = lay.results.get("sound"), lay.results["part"]
    if not isinstance(sound, Sound) or not isinstance(part, Part):
        return (), 0
    short = [n for n in sound.necks if n.margin < LEAST]
    idle = [n for n in short if part.hot_spots[n.feeds].loss < SINK.high]
    if not idle or len(idle) < len(short):
        return (), 0
    kept = lay.ask
    wishes = {w.spot: w for w in kept.risers}
    for neck in idle:
        wishes[neck.feeds] = dataclasses.replace(wishes.get(neck.feeds, RiserWish(spot=neck.feeds)), drop=True)
    stop = lay.go(dataclasses.replace(kept, risers=tuple(wishes.values())), preset == "rough")
    if stop or _sound(runner, lay.results, preset).stops:
        lay.go(kept, preset == "rough")
        _sound(runner, lay.results, preset)
        return (), 2
    return tuple(_left_out(n, part.hot_spots[n.feeds]) for n in idle), 1


def _left_out(neck: NeckJudged, spot: HotSpot) -> Finding:
    return Finding(
        code="trials.riser_left_out",
        weight="MIND",
        says=f"Hot spot {neck.feeds + 1} is left without a riser: unfed it may sink {tell(spot.loss, 'm')} a face",
        because=(
            f"no riser that found a place there outlasts what it feeds more than {tell(neck.margin, '1')} times, {tell(LEAST, '1')} is the least"
            f" called sound, and a loss under {tell(SINK.high, 'm')} a face may pass; the mould was solved without it"
        ),
        do="If that face matters, turn it down or leave stock on it; cut the first casting through this spot",
        where=Where(point=(float(spot.at[0]), float(spot.at[1]), float(spot.at[2]))),
        margin=Margin(value=SINK.high / spot.loss, unit="1", of="loss that may pass over the loss here"),
        source="house",
    )


def _grow(runner: Runner, lay: _Lay, preset: str, watch: Watch) -> int:
    """The riser loop: rough solves until every joint outlasts what it feeds. Without risers, the one solve. Returns the number of solves."""
    wishes: dict[int, RiserWish] = {w.spot: w for w in lay.ask.risers}
    stuck: set[int] = set()
    solves, grown = 0, False
    while True:
        sound = _sound(runner, lay.results, "rough" if lay.risers else preset)
        solves += 1
        if not lay.risers or solves >= MOST_LOOPS or not any(_short(n) for n in sound.necks):
            return solves
        wanted = {k: w for k, w in _wish(wishes, sound, lay.results).items() if w != wishes.get(k)}
        wider = {k: w for k, w in wanted.items() if k not in stuck}
        least = min(n.margin for n in sound.necks)
        grow = not wider  # none that is short can grow in this flask: a larger one is worth its sand only where a joint is short indeed
        if not wanted or lay.lays > MOST_LAYS or (grow and (grown or least > LEAST - (0.0 if preset == "rough" else ROUGH_ERROR))):
            return solves
        grown |= grow
        watch(0.5 + 0.3 * solves / MOST_LOOPS, f"solve {solves}: a joint outlasts what it feeds {tell(least, '1')} times; risers are made larger")
        taken = _widen(lay, wishes, wanted if grow else wider, grow=grow)
        stuck = set() if grow else stuck | (set(wider) - set(taken))
        if not taken and (grow or stuck == set()):
            _sound(runner, lay.results, "rough")
            return solves
        wishes |= taken


def _finish(runner: Runner, lay: _Lay, preset: str) -> tuple[str, int]:
    """The fine solves: where a joint that passed the rough ones falls short here, it is made larger once or twice more."""
    for number in range(1, 4):
        if stop := lay.go(lay.ask, False):
            return stop, number - 1
        sound = _sound(runner, lay.results, preset)
        short = [n for n in sound.necks if n.margin < LEAST]
        if not short or number == 3:
            break
        wishes = {w.spot: w for w in lay.ask.risers}
        wider = {n.feeds: w for n in short if (w := _wish(wishes, sound, lay.results).get(n.feeds)) and w != wishes.get(n.feeds)}
        if not wider or not (_widen(lay, wishes, wider) or _widen(lay, wishes, wider, grow=True)):
            stop = lay.go(lay.ask, False)
            if not stop:
                _sound(runner, lay.results, preset)  # what stood before a vain try: recalled, not computed anew
            return stop, number
    return "", number


def _widen(lay: _Lay, wishes: Mapping[int, RiserWish], wider: Mapping[int, RiserWish], *, grow: bool = False) -> dict[int, RiserWish]:
    """Lay with all risers made larger; where that finds no place, one at a time: whole, then riser or neck alone.

    The flask that stands is kept unless ``grow``. Returns the wishes that were laid; what is laid at the end is what they and the old
    ones say.
    """
    stood, kept, room, flask = lay.risers, lay.ask, lay.room, lay.flask

    def laid(some: Mapping[int, RiserWish]) -> bool:
        lay.room = room
        ask = dataclasses.replace(kept, risers=tuple((dict(wishes) | dict(some)).values()))
        return not lay.go(ask, True) and lay.risers >= stood and (grow or lay.flask == flask)

    if laid(wider):
        return dict(wider)
    taken: dict[int, RiserWish] = {}
    for spot, wish in wider.items():
        old = wishes.get(spot, RiserWish(spot=spot))
        tries = [wish] if len(wider) > 1 else []
        tries += [dataclasses.replace(wish, neck=old.neck), dataclasses.replace(wish, size=old.size)]
        for one in tries:
            if one != old and laid(taken | {spot: one}):
                taken[spot] = one
                break
    laid(taken)
    return taken


class _Lay:
    """Rigging laid in a flask: runs mould, rigging and what follows up to the pour, taking the next flask when rigging lacked room."""

    def __init__(self, runner: Runner, last: int) -> None:
        self.runner, self.last = runner, last
        self.results: dict[str, Outcome] = {}
        self.ask = RiggingAsk()
        self.room: Array | None = None
        self.lays = 0

    @property
    def risers(self) -> int:
        """Risers standing."""
        rigging = self.results.get("rigging")
        return len(rigging.risers) if isinstance(rigging, Rigging) else 0

    @property
    def flask(self) -> tuple[str, float, float]:
        """Name and plan of the flask that stands; one to be built counts as the same whatever its size."""
        mould = self.results["mould"]
        assert isinstance(mould, Mould)
        if self.runner.stores.kit.builds_flasks and all(f.name != mould.flask.name for f in self.runner.stores.kit.flasks):
            return mould.flask.name, 0.0, 0.0
        return mould.flask.name, mould.flask.length, mould.flask.width

    def go(self, ask: RiggingAsk, rough: bool) -> str:
        """Lay and close. Returns why the plan ends there, or nothing; ``self.ask`` is the ask of the last lay that went through."""
        self.lays += 1
        base = self.runner.ask("mould")
        assert isinstance(base, MouldAsk)
        room, rigging = self.room, None
        for _ in range(4):
            mould = self.runner.run("mould", base if room is None else dataclasses.replace(base, room=room))
            self.results["mould"] = mould
            if stop := _ends(mould):
                self._drop("rigging")
                return f"{stop} stands"
            rigging = self.runner.run("rigging", ask)
            assert isinstance(rigging, Rigging)
            self.results["rigging"] = rigging
            if rigging.room_wanted is None:
                break
            room = rigging.room_wanted
        if rigging is None or (stop := _ends(rigging)):
            self._drop("cavity")
            return f"{stop} stands"
        for stage in ORDER[ORDER.index("cavity") : min(self.last, ORDER.index("pour")) + 1]:
            self.results[stage] = self.runner.run(stage, self._fine(rough) if stage == "cavity" else None)
            if stop := _ends(self.results[stage]):
                self._drop(ORDER[ORDER.index(stage) + 1])
                return f"{stop} stands"
        self.room, self.ask = room, ask
        return ""

    def _drop(self, first: str) -> None:
        for stage in ORDER[ORDER.index(first) :]:
            self.results.pop(stage, None)

    def _fine(self, rough: bool) -> Record:
        ask = self.runner.ask("cavity")
        assert isinstance(ask, CavityAsk)
        return dataclasses.replace(ask, most_cells=min(ask.most_cells, ROUGH_CELLS if rough else SHOP_CELLS))


def _risers_likely(results: Mapping[str, Outcome]) -> bool:
    part = results["part"]
    return isinstance(part, Part) and any(s.needs_feed for s in part.hot_spots)


def _sound(runner: Runner, results: dict[str, Outcome], preset: str) -> Sound:
    ask = runner.ask("sound")
    assert isinstance(ask, SoundAsk)
    sound = runner.run("sound", dataclasses.replace(ask, preset=preset, knock_out=ask.knock_out and preset != "rough"))
    assert isinstance(sound, Sound)
    results["sound"] = sound
    return sound


def _short(neck: NeckJudged) -> bool:
    """Whether a joint misses its target: the riser is to outlast what it feeds TARGET times; the neck, between the two, more than LEAST times."""
    return neck.riser_time < TARGET * neck.fed_time or neck.neck_time < NECK_TARGET * neck.fed_time


def _wish(wishes: Mapping[int, RiserWish], sound: Sound, results: Mapping[str, Outcome]) -> dict[int, RiserWish]:
    """Larger riser or neck where the solve found them closing too early. Freezing time goes as size squared; the neck's follows its riser's too."""
    rigging = results["rigging"]
    assert isinstance(rigging, Rigging)
    wider = dict(wishes)
    for neck in sound.necks:
        old = wishes.get(neck.feeds, RiserWish(spot=neck.feeds))
        if not _short(neck) or not neck.fed_time > 0 or old.neck_area is not None:
            continue
        riser = next(r for r in rigging.risers if r.name == neck.riser)
        size, area = old.size, old.neck
        if neck.riser_time < TARGET * neck.fed_time:
            size *= min(1.4, max(1.05, math.sqrt(1.04 * TARGET * neck.fed_time / neck.riser_time)))
        lacking = 1.02 * NECK_TARGET - neck.neck_time / neck.fed_time
        if lacking > 0:
            area *= min(2.0, max(1.15, 1.0 + 6.0 * lacking))
            if riser.neck.area > 0.4 * math.pi / 4 * riser.diameter**2:
                size *= min(1.2, max(1.04, 1.0 + 2.5 * lacking))
        wider[neck.feeds] = dataclasses.replace(old, size=min(size, MOST_SIZE), neck=min(area, MOST_NECK))
    return wider


def _try_changes(runner: Runner, results: Mapping[str, Outcome], stops: tuple[Finding, ...], watch: Watch) -> tuple[Tried, ...]:
    """Run each STOP's cure through the stages with the rough preset until one leaves no STOP."""
    tried: list[Tried] = []
    codes: set[str] = set()
    for finding in stops:
        make = CURES.get(finding.code)
        cure = make(finding, results, runner) if make is not None and finding.code not in codes and len(codes) < MOST_CURES else None
        codes.add(finding.code)
        if cure is None:
            continue
        watch(0.85, "trying a change that may lift what stops the plan")
        stores = dataclasses.replace(runner.stores, kit=cure.kit) if cure.kit is not None else None
        other = runner.variant(stores=stores, asks=cure.asks)
        after, because, *_ = _go(other, None, "rough", watch)
        left = tuple(f.code for r in after.values() for f in r.stops)
        worked = not left and not because
        try:
            margins = cure.margin(results, after, runner.stores.kit), cure.margin(after, after, other.stores.kit)
        except KeyError:
            margins = math.nan, math.nan
        change = cure.change(after if "mould" in after else results)
        tried.append(Tried(cures=finding.code, change=change, worked=worked, of=cure.of, before=margins[0], after=margins[1], left=left))
        if worked:
            break
    return tuple(tried)


def _verdict(results: Mapping[str, Outcome], stops: tuple[Finding, ...], tried: tuple[Tried, ...], until: str | None, because: str) -> Verdict:
    for one in tried:
        if one.worked:
            margin = (
                f" ({one.of}: {tell(one.before, '1')} before, {tell(one.after, '1')} after)"
                if math.isfinite(one.before) and math.isfinite(one.after)
                else ""
            )
            return Verdict(
                code="after_change",
                says=f"Castable after one change: {one.change}. As it stands, {_clause(stops[0].says)}.",
                change=f"{one.change}{margin}; run through all stages, no STOP was left",
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
    if sound.necks:
        weak = min(sound.necks, key=lambda n: n.margin)
        fed = f" Every riser and neck outlasts what it feeds, {tell(weak.margin, '1')} times at the least."
    elif _risers_likely(results):
        fed = " It is planned without a riser, though a place was looked at: see the findings."
    else:
        fed = " It needs no riser."
    mind = f" Mind {len(minds)} {'point' if len(minds) == 1 else 'points'}, first: {_clause(minds[0].says)}." if minds else ""
    return Verdict(code="castable", says=f"Castable as it is.{fed}{mind}")


def _clause(text: str) -> str:
    """A finding's sentence as a clause: no full stop, and no capital where its first word is an ordinary one."""
    text = text.rstrip(". ")
    first = text.split(" ", 1)[0]
    return text[:1].lower() + text[1:] if first[1:].islower() or len(first) == 1 else text
