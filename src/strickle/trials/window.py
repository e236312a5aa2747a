"""The pour window of the mould that stands: the lowest temperature that fills it, by bisection with rough solves, and the highest that is wise."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence

from strickle.base import Finding, Margin, Outcome, Watch, tell
from strickle.melt import Melt, MeltAsk
from strickle.metal import Metal
from strickle.part import Part
from strickle.pour import Pour, PourAsk, PourTried, PourWindow
from strickle.pour.rules import EMPTY_TELLS, too_coarse
from strickle.trials.cure import Results, find
from strickle.trials.runner import Runner

OVER_LIQUIDUS = 5.0
"""K over the liquidus of the coldest metal tried: colder is refused before any solve."""
NEAR = 5.0
"""K to which the ends of the window are found."""
MOST_TRIES = 9
"""Solves of the filling that one window may take."""
CLOSE = 10.0
"""K over the floor under which a plan is told to be near it, at the least; more where the metal's temperature is less well known."""
STANDS = ("pour.misrun", "pour.cold_shut", "pour.break")
"""Findings of metal that may stand before the mould is full: a STOP of one does not fill, a MIND is a doubt."""
HELPS = "a thicker wall where it stands, another ingate near that place or more head"

Solve = Callable[[float], PourTried | None]


def wants_window(runner: Runner, results: Results) -> bool:
    """Whether the window is looked for: asked for, not found yet, and the filling of the plan that stands has been solved."""
    ask, pour = runner.ask("pour"), results.get("pour")
    wished = isinstance(ask, PourAsk) and ask.window == "run"
    return wished and isinstance(pour, Pour) and pour.solution is not None and pour.window is None


def look_for(runner: Runner, results: dict[str, Outcome], preset: str, watch: Watch) -> None:
    """Find the window and put the pour with it, and what is told of it, in ``results``. Raises what the stages and ``watch`` raise."""
    pour = find(results, "pour", Pour)
    asks = runner.ask("melt"), dataclasses.replace(_asked(runner), preset="rough")
    parts = ["window", preset, *(results[stage].key for stage in ("metal", "part", "mould", "rigging", "cavity", "melt", "pour")), *asks]

    def make() -> Outcome:
        window = window_of(runner, results, preset, watch)
        if window is None:
            return dataclasses.replace(pour, findings=(*pour.findings, _none()))
        found = told(window, find(results, "melt", Melt), find(results, "metal", Metal))
        return dataclasses.replace(pour, window=window, findings=(*pour.findings, found))

    results["pour"] = runner.keep("pour", parts, make)


def _asked(runner: Runner) -> PourAsk:
    ask = runner.ask("pour")
    assert isinstance(ask, PourAsk)
    return ask


def window_of(runner: Runner, results: Results, preset: str, watch: Watch) -> PourWindow | None:
    """The window of what stands in ``results``; None where a solve did not come to an end."""
    melt, metal, pour = find(results, "melt", Melt), find(results, "metal", Metal), find(results, "pour", Pour)
    given = runner.ask("melt")
    assert isinstance(given, MeltAsk)
    owned = {crucible.name for crucible in runner.stores.kit.crucibles}
    pot = melt.pot if melt.pot in owned else given.crucible  # the same pot at every temperature
    volume = find(results, "part", Part).volume
    count = 0

    def solve(temperature: float) -> PourTried | None:
        nonlocal count
        count += 1
        watch(0.8, f"how cold it may be poured: the filling solved at {tell(temperature, 'K')}, {count} of {MOST_TRIES} at most")
        hot = runner.once("melt", results, dataclasses.replace(given, pour=temperature, crucible=pot), runner.stores, _silent(watch))
        ask = dataclasses.replace(_asked(runner), filling="run", preset="rough")
        poured = runner.once("pour", {**results, "melt": hot}, ask, runner.stores, _silent(watch))
        assert isinstance(poured, Pour)
        return seen(temperature, poured, volume)

    known = seen(melt.pour_temperature.value, pour, volume) if preset == "rough" else None
    return search(solve, metal.liquidus + OVER_LIQUIDUS, metal.aim[1], melt, metal, () if known is None else (known,))


def _silent(watch: Watch) -> Watch:
    """Heard only so that it can be broken off: shares of a single solve say nothing of the whole."""
    return lambda share, says: watch(0.8, "how cold it may be poured") if share < 1.0 else None


def seen(temperature: float, pour: Pour, volume: float) -> PourTried | None:
    """What is kept of one filling of a part of ``volume`` [m3]; None where it was not solved."""
    s = pour.solution
    if s is None:
        return None
    stops = [f.code for f in pour.findings if f.code in STANDS and f.weight == "STOP"]
    whole = (s.empty_volume < EMPTY_TELLS * volume and math.isfinite(s.fill_time)) or too_coarse(
        s.across_wall, s.stiffest, pour.fluid_margin.low, s.empty_volume / volume
    )
    doubt = [f.code for f in pour.findings if f.code in STANDS and f.weight != "NOTE"]
    return PourTried(
        temperature=temperature,
        fills=whole and not stops,
        doubt=tuple(dict.fromkeys(doubt)),
        empty_volume=s.empty_volume,
        coldest=s.coldest,
        stiffest=s.stiffest,
    )


def search(solve: Solve, low: float, top: float, melt: Melt, metal: Metal, known: Sequence[PourTried] = ()) -> PourWindow | None:
    """The window between ``low`` and ``top`` [K]: first where it fills, then where it does so with no doubt, each to NEAR.

    Both are taken to be so at every higher temperature. None where a solve gave nothing. ``known`` was solved already.
    """
    tried = {one.temperature: one for one in known if low <= one.temperature <= top}
    solved = 0
    for good in (_fills, _sure):
        while (at := _next(tried, low, top, good)) is not None and solved < MOST_TRIES:
            one = solve(at)
            if one is None:
                return None
            tried[at], solved = one, solved + 1
    floor, fails = _bracket(tried, _fills)
    sure, _ = _bracket(tried, _sure)
    planned = melt.pour_temperature.value
    return PourWindow(
        floor=floor,
        fails=fails,
        sure=sure,
        top=top,
        aim=_aim(floor, sure, top, melt, metal),
        planned=planned,
        tolerance=NEAR,
        tried=tuple(tried[at] for at in sorted(tried)),
    )


def _fills(one: PourTried) -> bool:
    return one.fills


def _sure(one: PourTried) -> bool:
    return one.fills and not one.doubt


def _bracket(tried: dict[float, PourTried], good: Callable[[PourTried], bool]) -> tuple[float, float]:
    """The lowest temperature over all that are not good, and the highest that is not; NaN where there is none."""
    fails = max((at for at, one in tried.items() if not good(one)), default=math.nan)
    goods = [at for at, one in tried.items() if good(one) and not at <= fails]
    return min(goods, default=math.nan), fails


def _next(tried: dict[float, PourTried], low: float, top: float, good: Callable[[PourTried], bool]) -> float | None:
    """The next temperature to try, or None where nothing is left to know: the ends first, for either may answer at once."""
    best, worst = _bracket(tried, good)
    if math.isnan(worst):
        return None if low in tried else low
    if math.isnan(best):
        return None if top in tried else top
    return 0.5 * (best + worst) if best - worst > NEAR else None


def _spread(melt: Melt) -> float:
    """How much colder [K] than meant the metal may be, CLOSE at the least."""
    return max(melt.pour_temperature.value - melt.pour_temperature.low, CLOSE)


def _aim(floor: float, sure: float, top: float, melt: Melt, metal: Metal) -> float:
    if math.isnan(floor):
        return math.nan
    least = max(floor + _spread(melt), sure if math.isfinite(sure) else floor, metal.aim[0])  # a doubt that stays at the top is not cured by heat
    return min(max(melt.pour_temperature.value, least), top)


def _none() -> Finding:
    return Finding(
        code="pour.no_window",
        weight="NOTE",
        says="The lowest temperature that fills this mould was not found",
        because="one of the fillings solved for it on the rough grid did not come to an end",
        do="Keep to the pour temperature of the plan; a plan with other cells may find it",
        source="a choice of this program",
    )


def told(window: PourWindow, melt: Melt, metal: Metal) -> Finding:
    """What the window says: a NOTE, or a MIND where the plan lies near its floor or outside it."""
    planned, source = window.planned, "free surface and heat solved on the rough grid at each temperature; top: common practice"
    wise = f"{tell(window.top, 'K')} is the highest that is wise" + (": hotter metal has more defects" if math.isfinite(metal.too_hot) else "")
    if math.isnan(window.floor):
        return Finding(
            code="pour.window",
            weight="MIND",
            says=f"No temperature up to {tell(window.top, 'K')} was found that fills this mould",
            because=f"of {tell(len(window.tried), '1')} fillings solved on the rough grid none comes to its end as it should; {wise}",
            do=f"Do not pour hotter than that: {HELPS} comes first",
            margin=Margin(value=planned - window.top, unit="K", of="pour temperature planned less the highest that is wise"),
            source=source,
        )
    close, spread = planned - window.floor < _spread(melt), _spread(melt)
    just = " which is as cold as is tried" if math.isnan(window.fails) else ""
    doubt = (
        f"with no doubt of misrun or cold shut from {tell(window.sure, 'K')} on"
        if math.isfinite(window.sure)
        else "though a doubt of misrun or cold shut stays up to the highest that is wise"
    )
    narrow = window.floor + spread > window.top or math.isnan(window.sure)
    solves = "1 filling was" if len(window.tried) == 1 else f"{tell(len(window.tried), '1')} fillings were"
    more = f"; {HELPS} widens the window, more heat does not" if narrow else ""
    return Finding(
        code="pour.window",
        weight="MIND" if close or planned > window.top else "NOTE",
        says=f"This mould fills from {tell(window.floor, 'K')} at the mould on,{just + ',' if just else ''} {doubt}; {wise}",
        because=f"{solves} solved on the rough grid, the floor to {tell(window.tolerance, 'K', 'step')}; "
        f"{tell(planned, 'K')} is planned, and the metal may be {tell(spread, 'K', 'step')} colder than meant",
        do=f"Aim at {tell(window.aim, 'K')} as it enters the mould{more}",
        margin=Margin(value=planned - window.floor, unit="K", low=planned - spread - window.floor, high=window.top - window.floor,
                      of="pour temperature planned less the lowest that fills"),
        source=source,
    )  # fmt: skip
