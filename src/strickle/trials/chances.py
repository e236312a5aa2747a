"""What the corners make of the answer: a chance for each finding, bands of the times, and whether a corner turns the verdict."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from strickle.base import LEVELS, Chance, Finding, Margin, Outcome, Span, Watch, tell
from strickle.mould import Mould
from strickle.part import Part
from strickle.sound import Corner, Late, Sound, SoundAsk, Swing
from strickle.sound.rules import LEAST_RATIO, NECK_LEAST, freezing_spread
from strickle.trials.corners import Round, Seen, run_corners
from strickle.trials.cure import Results, find
from strickle.trials.lay import Lay
from strickle.trials.risers import ROUGH_ERROR
from strickle.trials.runner import Runner

JOINTS = frozenset({"sound.fed", "sound.neck_close", "sound.neck_short", "sound.riser_short"})
PLACES = frozenset(
    {
        "sound.cavity",
        "sound.cut_off",
        "sound.pipe_reaches",
        "sound.weak_gradient",
        "sound.hot_tear",
        "sound.back_sinks",
        "sound.hollow_under_back",
    }
)
FEW, MANY = 0.15, 0.6  # shares of the runs in which a trouble stands: under the first its chance is low, over the second high (choice)
REACH = 0.2  # of the part's diagonal: a finding of the same code so near is the same one on another grid
MOST_NAMED = 3  # corners named in one sentence; all stand in results.json
MEASURES = {
    "sand": "a thermocouple in the sand beside the casting (pegs) would tell most",
    "pour": "a sheathed thermocouple in the metal, just before the pour, would tell most",
    "contact": "a thermocouple in the sand beside the casting (pegs) would tell most",
    "lot": "clean metal of a known lot would help most",
    "cut": "a gauge on necks and gates before the mould is closed would help most",
    "critical solid": "the first casting, sawn through, would tell most",
}
NO_MEASURE = "a log of castings would tell most"


def wants_corners(runner: Runner, results: Results, preset: str) -> bool:
    """Whether corners are run: not with the rough preset, not where they were refused, and only for a freezing that reached its end."""
    ask, sound, mould = runner.ask("sound"), results.get("sound"), results.get("mould")
    if not isinstance(ask, SoundAsk) or ask.corners != "run" or preset == "rough":
        return False
    known = isinstance(mould, Mould) and mould.sand in runner.stores.sands
    return known and isinstance(sound, Sound) and sound.feeding is not None


def weigh(runner: Runner, lay: Lay, watch: Watch) -> tuple[Finding, ...]:
    """Run the corners of what stands in ``lay`` and put the freezing with its chances there. Returns what is told of them besides."""
    sound = find(lay.results, "sound", Sound)
    parts = [lay.results[stage].key for stage in ("metal", "mould", "rigging", "cavity", "melt", "sound")] + [lay.ask, lay.fine(True)]

    def make() -> Outcome:
        sand = runner.stores.sands[find(lay.results, "mould", Mould).sand].values["k"]
        return weighed(
            run_corners(runner, lay, watch), sound, find(lay.results, "part", Part), (sand.low, sand.high), find(lay.results, "mould", Mould)
        )

    made = runner.keep("sound", parts, make)
    assert isinstance(made, Sound)
    lay.results["sound"] = made
    return told_of(made)


def weighed(turn: Round, sound: Sound, part: Part, sand: tuple[float, float], mould: Mould) -> Sound:
    """The freezing with a chance for each finding, its times as the corners found them, and the corners themselves.

    ``sand``: ends of the range of the sand's conductivity [W/(m K)] that the freezing's own bands were made with.
    """
    near = REACH * float(np.linalg.norm(part.extents))
    judged = [_judged(f, turn, sound, near) for f in sound.findings]
    record = dataclasses.replace(
        turn.record(),
        base=_carried(turn.base, turn, sound),
        runs=tuple(_carried(seen, turn, sound) for seen in turn.corners),
        swings=tuple(swing for _, swing in judged if swing is not None),
        worst=_moves_most(turn),
    )
    spread = freezing_spread(mould.sand_conductivity, *sand)
    return dataclasses.replace(_banded(sound, turn, spread), findings=tuple(f for f, _ in judged), corners=record)


def _joints(seen: Seen, turn: Round, sound: Sound) -> dict[str, tuple[float, float]]:
    """Ratios of the plan's own grid, moved as the corner moves them on the rough one."""
    out = {}
    for neck in sound.necks:
        now, then = seen.joints.get(neck.riser), turn.base.joints.get(neck.riser)
        if now is not None and then is not None and neck.fed_time > 0 and min(then) > 0:
            out[neck.riser] = (neck.neck_time / neck.fed_time * now[0] / then[0], neck.riser_time / neck.fed_time * now[1] / then[1])
    return out


def _carried(seen: Seen, turn: Round, sound: Sound) -> Corner:
    joints = _joints(seen, turn, sound)
    planned = {f.code for f in (*sound.stops, *(f for f in turn.base.findings if f.weight == "STOP"))}
    others = [f.code for f in seen.findings if f.weight == "STOP" and f.code not in planned and f.code not in JOINTS]
    sound_now = _joints(turn.base, turn, sound)
    fallen = [
        code
        for riser, pair in joints.items()
        for code, at, bar in (("sound.neck_short", 0, NECK_LEAST.value), ("sound.riser_short", 1, LEAST_RATIO.value))
        if pair[at] < bar <= sound_now[riser][at]
    ]
    least = min((min(pair) for pair in joints.values()), default=math.nan)
    return dataclasses.replace(seen.fields(), least_margin=least, stops=tuple(dict.fromkeys([*fallen, *others])))


def _judged(finding: Finding, turn: Round, sound: Sound, near: float) -> tuple[Finding, Swing | None]:
    """The finding with its chance, and what moves it; as it is where corners say nothing of it."""
    runs = (turn.base, *turn.corners)
    body = finding.where.body if finding.where is not None else ""
    if finding.code in JOINTS:
        shares = [_shares(_joints(seen, turn, sound).get(body)) for seen in runs]
        known = [(seen, share) for seen, share in zip(runs, shares, strict=True) if share is not None]
        if len(known) < 2 or known[0][0] is not turn.base:
            return finding, None
        means = [float(np.mean([share[at] for _, share in known])) for at in range(3)]
        chance = _spanned(_level(means[1]), _level(means[0]), _level(means[2]))
        stands = [(seen, share[1] >= 0.5) for seen, share in known]
        trouble = "falls short"
    elif finding.code in PLACES:
        stands = [(seen, any(_same(finding, other, near) for other in seen.findings)) for seen in runs]
        share = sum(yes for _, yes in stands) / len(stands)
        chance = _chance(share, on_base=stands[0][1])
        trouble = "stands"
    else:
        return finding, None
    on_base = stands[0][1]
    raised = tuple(seen.name for seen, yes in stands[1:] if yes and not on_base)
    lifted = tuple(seen.name for seen, yes in stands[1:] if on_base and not yes)
    said, moved = "", _moved(finding, turn, sound, near)
    if raised:
        said = f"; with {_few(raised, moved)} there is a chance that it {trouble}"
    elif lifted:
        said = f"; with {_few(lifted, moved)} there is a chance that it does not {'stand' if trouble == 'stands' else 'fall short'}"
    swing = Swing(code=finding.code, body=body, stands=sum(yes for _, yes in stands), raised=raised, lifted=lifted)
    return dataclasses.replace(finding, chance=chance, because=finding.because + said), swing


def _moved(finding: Finding, turn: Round, sound: Sound, near: float) -> dict[str, float]:
    """How far each corner moves the finding's margin, by the corner's name.

    A place that the base does not show is taken to stand at 1 there; for one that a corner no longer shows it is the share by which voids change.
    """

    def joint(seen: Seen) -> float:
        pair = _joints(seen, turn, sound).get(body)
        return math.nan if pair is None else min(pair[0] / NECK_LEAST.value, pair[1] / LEAST_RATIO.value)

    def place(seen: Seen) -> float:
        values = [f.margin.value for f in seen.findings if f.margin is not None and _same(finding, f, near)]
        return min(values, default=math.nan)

    body = finding.where.body if finding.where is not None else ""
    read = joint if finding.code in JOINTS else place
    base, out = read(turn.base), {}
    for seen in turn.corners:
        now = read(seen)
        voids = abs(seen.void - turn.base.void) / turn.base.void if turn.base.void > 0 else 0.0
        far = voids if math.isnan(now) else abs(now - (1.0 if math.isnan(base) else base))
        out[seen.name] = far if math.isfinite(far) else 0.0
    return out


def _shares(pair: tuple[float, float] | None) -> tuple[float, float, float] | None:
    """How far a joint of these ratios (neck, riser) is short, 0 to 1: with the bars at their low end, as they are, at their high end.

    A ratio nearer to its bar than the rough grid's error counts in part.

    >>> _shares((1.2, 1.3)), _shares((1.0, 1.3))
    ((0.0, 0.0, 0.0), (1.0, 1.0, 1.0))
    """
    if pair is None:
        return None

    def short(ratio: float, bar: float) -> float:
        return min(max((bar + ROUGH_ERROR - ratio) / (2.0 * ROUGH_ERROR), 0.0), 1.0)

    ends: tuple[Callable[..., float], ...] = (lambda v: v.low, lambda v: v.value, lambda v: v.high)
    low, value, high = (max(short(pair[0], end(NECK_LEAST)), short(pair[1], end(LEAST_RATIO))) for end in ends)
    return low, value, high


def _level(share: float) -> float:
    """A share of the runs as one of the three levels.

    >>> _level(0.0), _level(0.3), _level(1.0)
    (0.1, 0.5, 0.9)
    """
    return LEVELS["low" if share < FEW else "likely" if share <= MANY else "high"]


def _chance(share: float, *, on_base: bool) -> Chance:
    """Chance of a trouble that the plan's own grid shows, from the share of the rough runs that show it too.

    Where all agree it has no span; a trouble that the rough base does not show is never called low on the strength of that.

    >>> _chance(1.0, on_base=True).says, _chance(0.5, on_base=True).says, _chance(0.0, on_base=False).says
    ('high', 'likely (low to high)', 'likely (low to high)')
    """
    likely = _level(share) if on_base else max(_level(share), LEVELS["likely"])
    sure = share >= 1.0 or (share <= 0.0 and on_base)
    return _spanned(likely, likely if sure else 0.0, likely if sure else 1.0)


def _spanned(likely: float, low: float, high: float) -> Chance:
    """A chance whose ends are no further than one level from what is likely.

    >>> _spanned(0.1, 0.1, 0.9).says
    'low (low to likely)'
    """
    steps = sorted(LEVELS.values())
    at = steps.index(likely)
    return Chance(low=max(low, steps[max(at - 1, 0)]), likely=likely, high=min(high, steps[min(at + 1, len(steps) - 1)]))


def _same(one: Finding, other: Finding, near: float) -> bool:
    """Whether a finding on the rough grid is this one: the same trouble, no lighter, on the same body or near the same place."""
    if one.code != other.code or (one.weight == "STOP" and other.weight != "STOP"):
        return False
    if one.where is None or other.where is None:
        return True
    if one.where.body or other.where.body:
        return one.where.body == other.where.body
    if one.where.point is None or other.where.point is None or one.code in ("sound.weak_gradient", "sound.hot_tear"):
        return True  # those two are of the whole part; their place is only where it is worst
    return math.dist(one.where.point, other.where.point) <= near


def _banded(sound: Sound, turn: Round, spread: tuple[float, float]) -> Sound:
    """Times with the bands that the corners found: least and greatest ratio to the base, in place of the sand's alone."""

    def moved(band: Span, of: Callable[[Seen], float]) -> Span:
        base = of(turn.base)
        ratios = [of(seen) / base for seen in turn.corners if base > 0 and math.isfinite(of(seen))]
        if not ratios:
            return band
        low, high = min(1.0, *ratios), max(1.0, *ratios)
        return Span(value=band.value, low=band.low / spread[0] * low, high=band.high / spread[1] * high)

    def late(place: Late) -> Late:
        return dataclasses.replace(place, time=moved(place.time, lambda seen: seen.last))

    return dataclasses.replace(
        sound,
        last_to_freeze=late(sound.last_to_freeze),
        others=tuple(late(place) for place in sound.others),
        riser_time=moved(sound.riser_time, lambda seen: seen.riser),
        knock_out_time=moved(sound.knock_out_time, lambda seen: seen.knock_out),
        touch_time=moved(sound.touch_time, lambda seen: seen.touch),
    )


def _moves_most(turn: Round) -> str:
    """The unknown whose ends lie furthest apart: in the least margin of a joint, or without risers in the last time."""

    def read(seen: Seen) -> float:
        if turn.base.joints:
            return min((min(pair) for pair in seen.joints.values()), default=math.nan)
        return math.log(seen.last) if seen.last > 0 else math.nan

    spans = {}
    for of in dict.fromkeys(end.of for end, _ in turn.singles):
        values = [read(turn.base), *(read(seen) for end, seen in turn.singles if end.of == of)]
        spans[of] = max(values) - min(values) if all(map(math.isfinite, values)) else 0.0
    return max(spans, key=lambda of: spans[of]) if any(spans.values()) else ""


def turned_by(sound: Sound | None) -> tuple[Corner, ...]:
    """Corners that raise a STOP where none stands as planned."""
    if sound is None or sound.corners is None or sound.stops:
        return ()
    return tuple(one for one in sound.corners.runs if one.stops)


def close_clause(sound: Sound | None) -> str:
    """What of the corners belongs in the verdict: nothing where none turns it."""
    turned = turned_by(sound)
    return f" It is close: with {_worst(turned)} there is a chance that it would not be sound." if turned else ""


def told_of(sound: Sound) -> tuple[Finding, ...]:
    """Which corners were run and what they span; and those that turn the verdict."""
    corners = sound.corners
    assert corners is not None
    margins = [m for one in (corners.base, *corners.runs) if math.isfinite(m := one.least_margin)]
    joint = f"the least joint outlasts what it feeds {tell(min(margins), '1')} to {tell(max(margins), '1')} times, " if margins else ""
    band = sound.last_to_freeze.time
    names = _listed([one.name for one in corners.runs], "and")
    left = f"; not run: {'; '.join(corners.left_out)}" if corners.left_out else ""
    out = [
        Finding(
            code="trials.corners",
            weight="NOTE",
            says=f"Frozen again at the ends of what is not known, {joint}and the part's last place is solid after"
            f" {tell(band.low, 's')} to {tell(band.high, 's')}",
            because=f"{corners.ran} of {corners.wanted} freezings were run on the rough grid: as planned, and one by one with {names}{left}",
            do=f"{MEASURES.get(corners.worst, NO_MEASURE).capitalize()}; chances in the findings come from these runs",
            source="computed from the freezing",
        )
    ]
    if turned := turned_by(sound):
        codes = tuple(dict.fromkeys(code for one in turned for code in one.stops))
        raised = _listed([_plain(code) for code in codes])
        margin = Margin(value=min(margins), unit="1", of="least joint over what it feeds in any of the freezings") if margins else None
        out.append(
            Finding(
                code="trials.close",
                weight="MIND",
                says=f"The answer is close: with {_worst(turned)} there is a chance that it would not be sound",
                because=f"{len(turned)} of {len(corners.runs)} freezings at the ends of what is not known raise {raised}",
                do=f"{MEASURES.get(corners.worst, NO_MEASURE).capitalize()}; saw the first casting through where the finding on it points",
                margin=margin,
                chance=_chance(len(turned) / corners.ran, on_base=True),
                source="computed from the freezing",
            )
        )
    return tuple(out)


def _plain(code: str) -> str:
    """A STOP's code in words: ``sound.neck_short`` is a short neck."""
    words = {"neck_short": "a short neck", "riser_short": "a short riser", "cavity": "a cavity in the part", "back_sinks": "a back sunk too deep"}
    return words.get(code.split(".")[1], code)


def _listed(names: Sequence[str], last: str = "or") -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {last} {names[-1]}" if names else "nothing"


def _few(names: Sequence[str], moved: Mapping[str, float]) -> str:
    """At most three of the names, those that move the margin most first, and how many more there are.

    >>> _few(["a", "b", "c", "d", "e"], {"a": 0.1, "b": 0.3, "c": 0.0, "d": 0.2, "e": 0.05})
    'b, d, a and 2 more'
    >>> _few(["a", "b"], {"a": 0.1, "b": 0.3})
    'b or a'
    """
    ranked = sorted(names, key=lambda name: -moved[name])
    more = len(ranked) - MOST_NAMED
    return f"{', '.join(ranked[:MOST_NAMED])} and {more} more" if more > 0 else _listed(ranked)


def _worst(turned: Sequence[Corner]) -> str:
    """The corners that turn the verdict, as in ``_few``: those with the least joint first."""
    return _few([one.name for one in turned], {one.name: -one.least_margin if math.isfinite(one.least_margin) else -math.inf for one in turned})
