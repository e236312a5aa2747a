"""What the pour finds of the hand and the heat: an interruption, metal that freezes in the pot, and what helps before more heat."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from strickle.base import Finding, Margin, Weight, tell
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.pour.ask import PourAsk
from strickle.pour.hand import interruption
from strickle.pour.judge import SAFE
from strickle.pour.result import Pour

TIMES_THICKER = 4.0
"""A wall is looked for up to so many times the thinnest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """The thinnest metal: its thickness [m] and how long [s] such a one stays fluid from a temperature [K]."""

    thick: float
    fluid: Callable[[float, float], float]


def hand_findings(pour: Pour, ask: PourAsk, melt: Melt, metal: Metal, wall: Wall) -> tuple[Finding, ...]:
    """Findings of hand and heat, for a two-part mould and an open face alike."""
    return (*_break(pour, ask), *_cold(pour, melt, metal), *_hot(pour, melt, metal, wall))


def _break(pour: Pour, ask: PourAsk) -> Iterator[Finding]:
    asked = interruption(ask)
    if asked is None or not math.isfinite(pour.fill_time.value):
        return
    at, lasts = asked
    margin = pour.fluid_margin
    if pour.break_time <= 0.0:
        yield Finding(
            code="pour.break",
            weight="NOTE",
            says=f"The interruption after {tell(at, 's', 'fine')} comes when the part is full",
            because=f"it is full {tell(pour.fill_time.value, 's', 'fine')} after metal enters the sprue; the rest goes into risers and basin",
            do="Pour without a stop all the same: a riser topped late is topped on a skin",
            source="hydraulics with the interruption",
        )
        return
    before = pour.fluid_time.value / (pour.fill_time.value - lasts)
    weight: Weight = "STOP" if margin.high < 1.0 else "MIND" if margin.value < SAFE else "NOTE"
    yield Finding(
        code="pour.break",
        weight=weight,
        says=f"An interruption of {tell(lasts, 's', 'fine')} takes the thinnest wall's margin from {tell(before, '1')} to {tell(margin.value, '1')}",
        because=f"metal that waits goes on giving its heat to the sand: the wall flows for {tell(pour.fluid_time.value, 's', 'fine')} and has to, "
        f"for {tell(pour.fill_time.value, 's', 'fine')} with the stop; what the basin holds runs on, but is missing after it",
        do="Have all the metal in one pot and pour without a stop"
        + (
            ""
            if weight == "NOTE"
            else "; should it happen, stop the pour there and melt the casting down: fronts that waited have a chance not to knit"
        ),
        margin=Margin(value=margin.value, low=margin.low, high=margin.high, unit="1", of="fluid time of the thinnest section over the fill time"),
        source="conduction into sand solved; the interruption is added whole to the fill time (a choice on the safe side)",
    )


def _cold(pour: Pour, melt: Melt, metal: Metal) -> Iterator[Finding]:
    """Metal that begins warm enough and is not at the end; that it is too cold from the first the melt has said."""
    hand = pour.hand
    if hand is None or melt.pour_temperature.low <= metal.liquidus:
        return
    coldest = pour.lip_temperature.low
    if coldest > metal.liquidus:
        return
    full = hand.likely.temperature_at(pour.fill_time.value)  # by then what the part needs has left the lip; risers and basin may be colder
    sure = full - (melt.pour_temperature.value - melt.pour_temperature.low) <= metal.liquidus
    yield Finding(
        code="pour.cold",
        weight="STOP" if sure else "MIND",
        says=f"The last metal leaves the lip at {tell(pour.lip_temperature.value, 'K')}, perhaps at no more than {tell(coldest, 'K')}; {metal.name} "
        f"begins to freeze at {tell(metal.liquidus, 'K')}",
        because=f"the pot loses {tell(melt.cooling_rate, 'K', 'step')} each second, more as it empties, and the pour takes "
        f"{tell(hand.likely.lasts, 's', 'fine')} to {tell(hand.slow.lasts, 's', 'fine')}",
        do=f"Pour faster or without the stop, from a pot kept warm; or begin hotter, at up to {tell(metal.aim[1], 'K')}",
        margin=Margin(
            value=pour.lip_temperature.value - metal.liquidus, low=coldest - metal.liquidus, high=pour.lip_temperature.high - metal.liquidus,
            unit="K", of="temperature of the last metal at the lip less the liquidus",
        ),
        source="rule pot_cooling with what is left in the pot; liquidus of the stores",
    )  # fmt: skip


def _hot(pour: Pour, melt: Melt, metal: Metal, wall: Wall) -> Iterator[Finding]:
    now, wise = melt.pour_temperature.value, metal.aim[1]
    if not metal.too_hot < now or not math.isfinite(pour.fill_time.value):
        return
    fluid = wall.fluid(wall.thick, wise)
    margin, wanted = fluid / pour.fill_time.value, SAFE * pour.fill_time.value
    if margin >= SAFE:
        do = f"Pour at {tell(wise, 'K')}: the thinnest wall then still flows {tell(margin, '1')} times as long as the filling takes"
    else:
        thick = _thick(wall, wise, wanted)
        do = (
            f"First make that wall {tell(thick, 'm', 'fine')} thick, or" if thick else "First"
        ) + f" give it another ingate or more head, so that it fills in {tell(fluid / SAFE, 's', 'fine')}; then it is safe at {tell(wise, 'K')}"
    yield Finding(
        code="pour.hot",
        weight="MIND",
        says=f"{tell(now, 'K')} at the mould is hotter than is wise for {metal.name}: above {tell(metal.too_hot, 'K')} castings have more defects",
        because=f"hotter metal takes up gas, burns the sand and shrinks more, and buys little: the thinnest wall flows for "
        f"{tell(pour.fluid_time.value, 's', 'fine')}, at {tell(wise, 'K')} for {tell(fluid, 's', 'fine')}",
        do=do,
        margin=Margin(value=metal.too_hot - now, unit="K", of="temperature above which defects grow, less the pour temperature"),
        source="Ndaliman & Pius 2004; conduction into sand solved",
    )


def _thick(wall: Wall, temperature: float, wanted: float) -> float | None:
    """Thickness [m] that stays fluid for ``wanted`` [s] from ``temperature`` [K]; None if it is out of reach."""
    low, high = wall.thick, TIMES_THICKER * wall.thick
    if wall.fluid(high, temperature) < wanted:
        return None
    for _ in range(10):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if wall.fluid(middle, temperature) < wanted else (low, middle)
    return high
