"""What the pour finds in the solved filling, put together with what the hydraulics found: one finding for one matter."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator

from strickle.base import Array, Finding, Margin, Source, Value, Watch, Weight, Where, tell
from strickle.pour.result import Pour
from strickle.pour.rules import ACROSS_WALL, EMPTY_MUCH, EMPTY_STOPS, EMPTY_TELLS, KNITS, SPRUE_EMPTY, STOPS, too_coarse
from strickle.pour.solution import GateSolved, Pocket, Seam, Solution
from strickle.pour.solved import SKINNED, Question, solve

WASHES = Value(
    value=1.0, low=0.7, high=1.5, unit="m/s", source="house", mark="guess", note="speed of metal along sand from which grains are washed off"
)
DIFFERS = 0.10
"""Share by which solve and hydraulics may differ before both are told."""
AIR_TELLS = 2e-3
"""Share of the part's volume shut in as air from which that is told."""
PLENTY = 3.0
"""Times what has to go that sand and vents let out, from which air that stays in cells too coarse for the wall is no more than a doubt."""
LONG = 0.1
"""s above the critical speed from which that is told."""
OPEN_FACE = "metal in an open face lies about as high as it stands of itself, which the law of cover judges and a solve does not"
METHOD = "free surface and heat solved on its own grid"
SOURCE = Source(
    key="free-surface",
    says="Filling: metal alone on a staggered grid, volume of fluid with planes, pressure projected, heat by the sand's law",
    mark="computed",
)


def not_solved(why: str) -> Iterator[Finding]:
    """The filling is judged by its laws alone."""
    yield Finding(
        code="pour.not_solved",
        weight="NOTE",
        says="The filling was not solved: it is judged by hydraulics and the laws of thin sections",
        because=why,
        do="Read the margins of the pour as they stand; a plan with other cells may solve it" if why != OPEN_FACE else "Read what is said of cover",
        source="a choice of this program",
    )


def with_solve(pour: Pour, q: Question, watch: Watch) -> Pour:
    """The pour with its filling solved and its findings put together; as it is, with the reason, where that cannot be."""
    if not math.isfinite(pour.fill_time.value):
        return pour  # it never fills, and the hydraulics say why
    if q.melt.pour_temperature.value <= q.metal.liquidus:
        return pour  # too cold from the first, which the melt says
    solved, why = solve(pour, q, watch)
    found = solved.solution
    if found is None:
        return dataclasses.replace(pour, findings=(*pour.findings, *not_solved(why)))
    solved = _banded(solved, found)
    return dataclasses.replace(solved, findings=tuple(_together(solved, found, q)), sources=(*solved.sources, SOURCE))


def _banded(pour: Pour, s: Solution) -> Pour:
    """The bands of fill time and of what flows over it, widened to hold the solved time."""
    if not math.isfinite(s.fill_time):
        return pour
    time, margin = pour.fill_time, pour.fluid_margin
    low, high = min(time.low, s.fill_time), max(time.high, s.fill_time)
    worst, best = pour.fluid_time.low / high, pour.fluid_time.high / low
    return dataclasses.replace(
        pour,
        fill_time=dataclasses.replace(time, low=low, high=high),
        fluid_margin=dataclasses.replace(margin, low=min(margin.low, worst), high=max(margin.high, best)),
    )


def _together(pour: Pour, s: Solution, q: Question) -> Iterator[Finding]:
    """Findings of the hydraulics as the solve leaves them, then those of the solve alone."""
    judged = {"pour.misrun": _misrun(pour, s, q), "pour.gate_fast": _gate(pour, s, q)}
    for finding in pour.findings:
        if finding.code not in judged:
            yield finding
    for code, made in judged.items():
        old = next((f for f in pour.findings if f.code == code), None)
        if made is not None:
            yield made
        elif old is not None:
            yield _both(old, s, q)
    yield from _thin(pour, s, q)
    yield from _cold_shut(s, q)
    yield from _air(s, q)
    yield from _sprue(pour, s)
    yield from _wash(s)
    yield from _differs(pour, s, q)


def _where(at: Array) -> Where:
    x, y, z = (float(v) for v in at)
    return Where(point=(x, y, z))


def _both(old: Finding, s: Solution, q: Question) -> Finding:
    """A finding of the hydraulics that the solve does not share: it stays, no heavier than MIND where the solve knows better."""
    if old.code == "pour.gate_fast":
        most = max((gate.highest for gate in s.gates), default=math.nan)
        more = f"; solved, the mean speed in an ingate is at most {tell(most, 'm/s')}"
        return dataclasses.replace(old, because=old.because + more)
    more = f"; solved, the part fills and one part in a hundred of it is met by metal under {tell(s.coldest, 'K')}"
    weight: Weight = "MIND" if old.weight == "STOP" and s.across_wall >= ACROSS_WALL and s.stiffest < STOPS.low else old.weight
    return dataclasses.replace(old, because=old.because + more, weight=weight)


def _too_coarse(pour: Pour, s: Solution, q: Question) -> bool:
    return too_coarse(s.across_wall, s.stiffest, pour.fluid_margin.low, s.empty_volume / q.part.volume)


def _misrun(pour: Pour, s: Solution, q: Question) -> Finding | None:
    """Places that stay empty, or metal that comes nearly standing."""
    share = s.empty_volume / q.part.volume
    if _too_coarse(pour, s, q):
        return None
    stiff = s.stiffest > STOPS.low
    if share < EMPTY_TELLS and not stiff:
        return None
    sure = share >= EMPTY_MUCH or (share >= EMPTY_STOPS and (s.across_wall >= ACROSS_WALL or stiff or pour.fluid_margin.value < 1.0))
    places = (
        f"{tell(s.empty_volume, 'm3')} of the part stays empty" if share >= EMPTY_TELLS else "Metal comes nearly standing to parts of the casting"
    )
    room = q.metal.aim[1] - q.melt.pour_temperature.value
    hotter = f"Pour hotter, up to {tell(q.metal.aim[1], 'K')}, or " if room > 5.0 else "Do not pour hotter, but "
    at = s.empty.at_part if s.empty is not None else s.last[0].at_part if s.last else None
    return Finding(
        code="pour.misrun",
        weight="STOP" if sure or s.stiffest > STOPS.high else "MIND",
        says=f"There is a {'high ' if sure else ''}chance of a misrun: solved, {places[:1].lower()}{places[1:]}",
        because=f"metal poured at {tell(q.melt.pour_temperature.value, 'K')} meets one part in a hundred of the cavity under {tell(s.coldest, 'K')}, "
        f"{tell(s.stiffest, '1')} of it solid, and stands at about {tell(STOPS.value, '1')}; by the law of channels the thinnest wall flows "
        f"{tell(pour.fluid_margin.value, '1')} times as long as the mould takes to fill",
        do=f"{hotter}fill quicker: more head, a wider choke, or another ingate near the place told; or thicken the wall there",
        where=None if at is None else _where(at),
        margin=Margin(value=STOPS.value - s.stiffest, low=STOPS.low - s.stiffest, high=STOPS.high - s.stiffest, unit="1",
                      of="fraction solid at which a front stands less that of the coldest fronts"),
        source=METHOD,
    )  # fmt: skip


def _gate(pour: Pour, s: Solution, q: Question) -> Finding | None:
    """An ingate whose metal is over its critical speed for longer than a splash."""
    worst: GateSolved | None = max(s.gates, key=lambda gate: gate.over, default=None)
    if worst is None or worst.over < LONG:
        return None
    ingate = next((i for i in q.rigging.ingates if i.name == worst.name), None)
    section = sum(i.area for i in q.rigging.ingates)
    wanted = section * worst.highest / worst.critical
    return Finding(
        code="pour.gate_fast",
        weight="MIND",
        says=f"Metal leaves {worst.name} at up to {tell(worst.highest, 'm/s')}, and for {tell(worst.over, 's', 'fine')} above the "
        f"{tell(worst.critical, 'm/s')} from which its front breaks up and folds oxide in",
        because=f"the ingates together are {tell(section, 'm2')} against a choke of {tell(q.rigging.choke_area, 'm2')} under "
        f"{tell(q.rigging.head, 'm')} of metal; by hydraulics the first metal comes at {tell(pour.gate_speed, 'm/s')}",
        do=f"Give the ingates {tell(wanted, 'm2')} together, by more or wider ones, or lower the cope",
        where=None if ingate is None else _where(q.on_part(ingate.at)),
        margin=Margin(value=worst.critical / worst.highest, unit="1", of="critical speed over the ingate's highest speed"),
        source=f"{METHOD}; Campbell, Complete Casting Handbook, 2011 (from memory, unverified)",
    )


def _thin(pour: Pour, s: Solution, q: Question) -> Iterator[Finding]:
    if s.across_wall >= ACROSS_WALL:
        return
    at = q.part.least_wall_at
    doubt = s.empty_volume >= EMPTY_TELLS * q.part.volume and _too_coarse(pour, s, q)
    left = f"; the solve leaves {tell(s.empty_volume, 'm3')} empty among cells that coarse, where metal still flows, and is not believed on it"
    yield Finding(
        code="pour.thin_by_law",
        weight="NOTE",
        says=f"The thinnest wall, {tell(q.part.least_wall, 'm')}, is only {tell(s.across_wall, '1')} cells of the filling across: it is judged "
        "by the law of channels and not by the solve",
        because=f"a solve wants {tell(ACROSS_WALL, '1')} cells across a wall to carry flow and heat; by the law that wall flows "
        f"{tell(pour.fluid_margin.value, '1')} times as long as the mould takes to fill{left if doubt else ''}",
        do="Believe that margin for this wall, or the solve where that is worse; the preset fine takes smaller cells",
        where=_where(at),
        margin=Margin(value=pour.fluid_margin.value, low=pour.fluid_margin.low, high=pour.fluid_margin.high, unit="1",
                      of="fluid time of the thinnest section over the fill time"),
        source="conduction into sand solved",
    )  # fmt: skip


def _cold_shut(s: Solution, q: Question) -> Iterator[Finding]:
    """The coldest meeting of two fronts, if it is colder than fronts knit."""
    cold = [seam for seam in s.seams if seam.colder < q.metal.liquidus + KNITS.value]
    if not cold:
        return
    worst: Seam = cold[0]
    left = worst.colder - q.metal.liquidus
    others = f", and {len(cold) - 1} more places like it" if len(cold) > 1 else ""
    yield Finding(
        code="pour.cold_shut",
        weight="STOP" if worst.solid >= STOPS.value or (worst.warmer < q.metal.liquidus and worst.solid >= STOPS.low) else "MIND",
        says=f"Two fronts meet here at {tell(worst.colder, 'K')} and {tell(worst.warmer, 'K')}{others}: there is a chance that they do not knit",
        because=f"they meet {tell(worst.time, 's', 'fine')} after metal enters the sprue over {tell(worst.area, 'm2')}; {q.metal.name} begins "
        f"to freeze at {tell(q.metal.liquidus, 'K')}, and {tell(worst.solid, '1')} of the colder front is solid",
        do="Move or add an ingate so that fronts meet sooner, or in a thicker place or a riser; or fill quicker, or pour hotter within what is wise",
        where=_where(worst.at_part),
        margin=Margin(value=left - KNITS.value, low=left - KNITS.high, high=left - KNITS.low, unit="K",
                      of="superheat left where fronts meet less that with which they knit"),
        source=f"{METHOD}; superheat with which fronts knit: a guess of this program",
    )  # fmt: skip


def _air(s: Solution, q: Question) -> Iterator[Finding]:
    """The pocket of which most air stays."""
    big = [pocket for pocket in s.pockets if pocket.volume > AIR_TELLS * q.part.volume]
    if not big:
        return
    worst: Pocket = big[0]
    easy = worst.left <= AIR_TELLS * q.part.volume
    vented = easy and worst.through_sand < 1.0 and worst.through_vents > 0.0
    coarse = s.across_wall < ACROSS_WALL and worst.through_sand + worst.through_vents > PLENTY
    way = "the vent" if vented else "the sand"
    count = f", and {len(big) - 1} smaller" if len(big) > 1 else ""
    yield Finding(
        code="pour.air_trapped",
        weight="NOTE" if easy else "STOP" if worst.left >= EMPTY_STOPS * q.part.volume and not coarse else "MIND",
        says=f"Metal shuts in {tell(worst.volume, 'm3')} of air here{count}; "
        + (f"{way} lets it out" if easy else f"there is a chance that {tell(worst.left, 'm3')} of it stays"),
        because=f"it is shut in {tell(worst.time, 's', 'fine')} after metal enters the sprue; the sand beside it lets out "
        f"{tell(worst.through_sand, '1')} times what has to go while the metal is liquid"
        + (f", and vents {tell(worst.through_vents, '1')} times as the metal comes" if worst.through_vents > 0.0 else "")
        + (", so a vent changes little" if easy and not vented else "" if easy else "; solved, air still holds metal off there at the end")
        + (", in walls too thin for its cells" if coarse and not easy else ""),
        do="Keep that vent clear of loose sand"
        if vented
        else "Prick the mould over this place all the same, which costs nothing"
        if easy
        else f"Vent this place with {tell(worst.vent, 'm', 'fine')} of bore up to the air, or turn the part so that it fills upward there",
        where=_where(worst.at_part),
        margin=Margin(
            value=worst.through_sand + worst.through_vents, unit="1", of="air that sand and vents let out in the time over the air that has to go"
        ),
        source=f"{METHOD}; Darcy's law with the sand's permeability of the stores",
    )


def _sprue(pour: Pour, s: Solution) -> Iterator[Finding]:
    if s.sprue_empty < SPRUE_EMPTY or s.flow_from == "law":
        return
    yield Finding(
        code="pour.sprue_empty",
        weight="MIND",
        says=f"Sprue and runner do not run full: {tell(s.sprue_empty, '1')} of them is empty when the filling ends",
        because="the mould takes more than comes in, so air goes down with the metal",
        do="Pour faster, or take a narrower choke, and keep the basin full from first to last",
        margin=Margin(value=SPRUE_EMPTY / s.sprue_empty, unit="1", of="share that may be empty over that which is"),
        source=METHOD,
    )


def _wash(s: Solution) -> Iterator[Finding]:
    if not s.wall_speed > WASHES.value:
        return
    yield Finding(
        code="pour.sand_wash",
        weight="MIND",
        says=f"Metal runs along the part's sand at up to {tell(s.wall_speed, 'm/s')} and more: there is a chance that it washes grains off",
        because=f"above about {tell(WASHES.value, 'm/s')} rammed sand is worn away (common practice)",
        do="Widen the ingates, or turn them so that the stream runs along a wall and not against one; blow out loose sand and face that place well",
        where=_where(s.wall_speed_at),
        margin=Margin(value=WASHES.value / s.wall_speed, low=WASHES.low / s.wall_speed, high=WASHES.high / s.wall_speed, unit="1",
                      of="speed from which sand washes over that of the metal"),
        source=f"{METHOD}; limit: common practice, a guess of this program",
    )  # fmt: skip


def _differs(pour: Pour, s: Solution, q: Question) -> Iterator[Finding]:
    if not math.isfinite(s.ratio) or abs(s.ratio - 1.0) <= DIFFERS:
        return
    thin = f", and the metal's skin has to be pressed into walls of {tell(q.part.least_wall, 'm')}" if q.part.least_wall < SKINNED else ""
    rises = f"{tell(s.risen, 'm3')} of metal stand in risers and flow-offs when the part is full{thin}; " if s.ratio > 1.0 and s.risen > 0.0 else ""
    yield Finding(
        code="pour.two_times",
        weight="NOTE",
        says=f"Solved, the part is full after {tell(s.fill_time, 's', 'fine')}; by hydraulics after {tell(pour.fill_time.value, 's', 'fine')}",
        because=f"the one is {tell(s.ratio, '1')} times the other: {rises}cells of {tell(s.cell, 'm', 'fine')} round narrow passages, and published "
        "losses are those of smooth fittings",
        do="Reckon with the longer of the two, which the card's band holds; the preset fine takes smaller cells",
        margin=Margin(value=s.ratio, unit="1", of="solved fill time over that of the hydraulics"),
        source=METHOD,
    )
