"""The riser loop: joints that close before what they feed are made larger until they outlast it, or until that gains nothing."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping

from strickle.base import Array, Finding, Margin, Outcome, Watch, Where, tell
from strickle.part import HotSpot, Part
from strickle.rigging import Rigging, RiggingAsk, RiserWish
from strickle.sound import NeckJudged, Sound
from strickle.sound.rules import NECK_LEAST, NECK_RATIO, SINK, TARGET_RATIO, is_short
from strickle.trials.lay import Lay, poured, solved
from strickle.trials.runner import Runner

TARGET, NECK_TARGET, LEAST = (v.value for v in (TARGET_RATIO, NECK_RATIO, NECK_LEAST))
MOST_SIZE, MOST_NECK = 1.9, 8.0  # factors on the first guess at which the loop gives up
MOST_LOOPS, MOST_LAYS = 9, 14
ROUGH_ERROR = 0.02  # of a ratio of times on the rough grid, measured against the shop grid
GAIN, MOST_VAIN = 0.004, 2  # of a joint's ratio: less is no gain; growths in a row without one
MOST_POURED = 2  # moulds filled anew for joints that the filling left short


def leave_out(runner: Runner, lay: Lay, preset: str) -> tuple[tuple[Finding, ...], int]:
    """Risers that stay short on places whose loss may go unfed are left out, and the mould is solved without them.

    Kept as they were where that solve raises a STOP of its own.
    """
    sound, part = lay.results.get("sound"), lay.results["part"]
    if not isinstance(sound, Sound) or not isinstance(part, Part):
        return (), 0
    short = [n for n in sound.necks if is_short(n.fed_time, n.neck_time, n.riser_time)]
    idle = [n for n in short if part.hot_spots[n.feeds].loss < SINK.high]
    if not idle or len(idle) < len(short):
        return (), 0
    kept = lay.ask
    wishes = {w.spot: w for w in kept.risers}
    for neck in idle:
        wishes[neck.feeds] = dataclasses.replace(wishes.get(neck.feeds, RiserWish(spot=neck.feeds)), drop=True)
    stop = lay.go(dataclasses.replace(kept, risers=tuple(wishes.values())), preset == "rough")
    if stop or solved(runner, lay.results, preset).stops:
        lay.go(kept, preset == "rough")
        solved(runner, lay.results, preset)
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


def grow_risers(runner: Runner, lay: Lay, preset: str, watch: Watch) -> int:
    """The riser loop: rough solves until every joint outlasts what it feeds. Without risers, the one solve. Returns the number of solves.

    A joint may get worse as its riser grows, for a wide neck also keeps what it feeds hot: the best lay is what stands at the end, and
    two growths in a row that gain nothing end the loop.
    """
    wishes: dict[int, RiserWish] = {w.spot: w for w in lay.ask.risers}
    stuck: set[int] = set()
    solves, grown, vain = 0, False, 0
    best: tuple[float, RiggingAsk, Array | None] = (0.0, lay.ask, lay.room)
    while True:
        sound = solved(runner, lay.results, "rough" if lay.risers else preset)
        solves += 1
        if not lay.risers or not any(_short(n) for n in sound.necks):
            return solves
        least = min(n.margin for n in sound.necks)
        vain = 0 if least > best[0] + GAIN else vain + 1
        if least > best[0]:
            best = (least, lay.ask, lay.room)
        if solves >= MOST_LOOPS or vain >= MOST_VAIN:
            break
        wanted = {k: w for k, w in _wish(wishes, sound, lay.results).items() if w != wishes.get(k)}
        wider = {k: w for k, w in wanted.items() if k not in stuck}
        grow = not wider  # none that is short can grow in this flask: a larger one is worth its sand only where a joint is short indeed
        if not wanted or lay.lays > MOST_LAYS or (grow and (grown or least > LEAST - (0.0 if preset == "rough" else ROUGH_ERROR))):
            break
        grown |= grow
        watch(0.5 + 0.3 * solves / MOST_LOOPS, f"solve {solves}: a joint outlasts what it feeds {tell(least, '1')} times; risers are made larger")
        taken = _widen(lay, wishes, wanted if grow else wider, grow=grow)
        stuck = set() if grow else stuck | (set(wider) - set(taken))
        if not taken and (grow or stuck == set()):
            break
        wishes |= taken
    _, ask, room = best
    if lay.ask is not ask:
        lay.room = room
        lay.go(ask, True)
    if lay.risers:
        solved(runner, lay.results, "rough")
    return solves


def finish(runner: Runner, lay: Lay, preset: str) -> tuple[str, int]:
    """The fine solves: where a joint that passed the rough ones falls short here, it is made larger once or twice more.

    A larger one is solved fine only where the rough grid says that it gains.
    """
    for number in range(1, 4):
        if stop := lay.go(lay.ask, False):
            return stop, number - 1
        sound = solved(runner, lay.results, preset)
        short = [n for n in sound.necks if is_short(n.fed_time, n.neck_time, n.riser_time)]
        if not short or number == 3:
            break
        wishes, wider = _wider(lay, sound)
        stood, room = lay.ask, lay.room
        if not wider or not _gains(runner, lay, wishes, wider):
            lay.room = room
            stop = lay.go(stood, False)
            if not stop:
                solved(runner, lay.results, preset)  # what stood before a vain try: recalled, not computed anew
            return stop, number
    return "", number


def finish_poured(runner: Runner, lay: Lay, preset: str, watch: Watch) -> int:
    """Joints that fall short once the freezing begins with the metal as it was poured are made larger, the mould is filled and frozen again.

    Tried where the rough grid says that it gains; kept where the worst joint gains and no new kind of STOP comes with it. What stands
    is filled and solved. Returns the number of solves.
    """
    rough, solves = preset == "rough", 0
    for _ in range(MOST_POURED):
        sound = lay.results["sound"]
        assert isinstance(sound, Sound)
        wishes, wider = _wider(lay, sound)
        if not wider:
            break
        least, stops, stood, room = min(n.margin for n in sound.necks), _stops(lay.results), lay.ask, lay.room
        watch(0.8, f"a joint outlasts what it feeds {tell(least, '1')} times as poured; it is made larger, and the mould filled again")
        gained = False
        if _gains(runner, lay, wishes, wider) and not lay.go(lay.ask, rough):
            poured(runner, lay.results, preset)
            after = solved(runner, lay.results, preset)
            solves += 1
            gained = min(n.margin for n in after.necks) > least + GAIN and _stops(lay.results) <= stops
        if not gained:
            lay.room = room
            if not lay.go(stood, rough):  # what stood before a vain try: recalled, not computed anew
                poured(runner, lay.results, preset)
                solved(runner, lay.results, preset)
            break
    return solves


def _wider(lay: Lay, sound: Sound) -> tuple[dict[int, RiserWish], dict[int, RiserWish]]:
    """The wishes that were laid, and those for joints that are short, made larger."""
    wishes = {w.spot: w for w in lay.ask.risers}
    wanted = _wish(wishes, sound, lay.results)
    short = [n.feeds for n in sound.necks if is_short(n.fed_time, n.neck_time, n.riser_time)]
    return wishes, {spot: wanted[spot] for spot in short if spot in wanted and wanted[spot] != wishes.get(spot)}


def _stops(results: Mapping[str, Outcome]) -> set[str]:
    return {f.code for r in results.values() for f in r.stops}


def _gains(runner: Runner, lay: Lay, wishes: Mapping[int, RiserWish], wider: Mapping[int, RiserWish]) -> bool:
    """Whether larger risers or necks found a place and lift the worst joint on the rough grid; they are what is laid then."""
    if lay.go(lay.ask, True):
        return False
    before = min((n.margin for n in solved(runner, lay.results, "rough").necks), default=0.0)
    if not (_widen(lay, wishes, wider) or _widen(lay, wishes, wider, grow=True)):
        return False
    return min((n.margin for n in solved(runner, lay.results, "rough").necks), default=0.0) > before + GAIN


def _widen(lay: Lay, wishes: Mapping[int, RiserWish], wider: Mapping[int, RiserWish], *, grow: bool = False) -> dict[int, RiserWish]:
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
