"""What the pour finds: misrun, gate speed, fall, drinking sprue, a hand that cannot keep up."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from strickle.base import Array, Finding, Margin, Where, tell
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.pour.ask import PourAsk
from strickle.pour.hydraulics import Head
from strickle.pour.open_face import lies
from strickle.pour.result import Pour
from strickle.rigging import Ingate, OpenPour, Rigging

SAFE = 1.5
"""Fluid time over fill time that is called good (common practice)."""


def findings_of(
    pour: Pour, head: Head, ask: PourAsk, part: Part, pattern: Pattern, mould: Mould, rigging: Rigging, metal: Metal, melt: Melt
) -> tuple[Finding, ...]:
    """Every finding of the pour but those of hand and heat."""
    return (
        *_rise(pour, head, rigging),
        *_misrun(pour, part, mould, metal, melt, None),
        *_gate(pour, pattern, rigging),
        *_fall(pour, pattern, rigging, metal),
        *_sprue(pour, ask, rigging),
        *_hand(pour, ask, metal),
    )


def _at(point: Array, pattern: Pattern) -> Where:
    """A place in the mould as a place on the part."""
    x, y, z = pattern.turn.T @ ((np.asarray(point) - pattern.shift) / pattern.scale)
    return Where(point=(float(x), float(y), float(z)))


def _rise(pour: Pour, head: Head, rigging: Rigging) -> Iterator[Finding]:
    if math.isfinite(pour.fill_time.high):
        return
    never = not math.isfinite(pour.fill_time.value)
    yield Finding(
        code="pour.no_rise",
        weight="STOP" if never else "MIND",
        says=f"The metal stands {tell(head.total, 'm')} over the ingates and does not reach the part's top"
        + ("" if never else " unless the basin is kept full"),
        because=f"it rises no higher than in the basin, whose floor lies {tell(rigging.sprue.height, 'm')} over the parting",
        do="Take a higher cope, or turn the part so that it lies lower",
        margin=Margin(value=rigging.head / head.total, unit="1", of="effective head over the full head"),
        source="Bernoulli's law",
    )


def misrun_of(pour: Pour, part: Part, mould: Mould, metal: Metal, melt: Melt, pool: OpenPour | None = None) -> tuple[Finding, ...]:
    """Metal that may stand still before the mould is full; with ``pool`` that of an open face."""
    return tuple(_misrun(pour, part, mould, metal, melt, pool))


def _misrun(pour: Pour, part: Part, mould: Mould, metal: Metal, melt: Melt, pool: OpenPour | None) -> Iterator[Finding]:
    margin = pour.fluid_margin
    if margin.value >= SAFE or not math.isfinite(pour.fill_time.value):
        return
    if pour.break_time > 0.0 and pour.fluid_time.value >= SAFE * (pour.fill_time.value - pour.break_time):
        return  # the interruption alone does it, and says so
    hopeless = margin.high < 1.0
    at = part.least_wall_at
    room = metal.aim[1] - melt.pour_temperature.value
    hotter = f"pour hotter, up to {tell(metal.aim[1], 'K')}; " if room > 5.0 else ""
    yield Finding(
        code="pour.misrun",
        weight="STOP" if hopeless else "MIND",
        says=f"The thinnest wall, {tell(part.least_wall if pool is None else pool.wall, 'm')}, flows for {tell(pour.fluid_time.low, 's', 'fine')} to "
        f"{tell(pour.fluid_time.high, 's', 'fine')}; the mould takes {tell(pour.fill_time.low, 's', 'fine')} to "
        f"{tell(pour.fill_time.high, 's', 'fine')} to fill",
        because=f"{metal.name} at {tell(melt.pour_temperature.value, 'K')} gives its heat to {mould.sand_name}"
        + (" on both sides of the wall" if pool is None or not lies(pool) else " under it and to the air over it")
        + ("; even with everything in its favour it stops first" if hopeless else ""),
        do=f"Thicken that wall, or bring the ingates nearer to it; {hotter}a pour that fills in "
        f"{tell(pour.fluid_time.value / SAFE, 's', 'fine')} would be safe",
        where=Where(point=(float(at[0]), float(at[1]), float(at[2]))),
        margin=Margin(value=margin.value, low=margin.low, high=margin.high, unit="1", of="fluid time of the thinnest section over the fill time"),
        source="conduction into sand solved; stop at 0.3 to 0.5 solid: Flemings, Solidification Processing, 1974 (from memory)",
    )


def _gate(pour: Pour, pattern: Pattern, rigging: Rigging) -> Iterator[Finding]:
    critical = max(pour.critical_speed, min((i.critical for i in rigging.ingates), default=0.0))  # a low ingate bears more
    if not pour.gate_speed > critical:
        return
    section = sum(ingate.area for ingate in rigging.ingates)
    wanted = section * pour.gate_speed / critical
    narrow = min(rigging.ingates, key=lambda ingate: ingate.area)
    yield Finding(
        code="pour.gate_fast",
        weight="MIND",
        says=f"The first metal comes out of the ingates at {tell(pour.gate_speed, 'm/s')}; above {tell(critical, 'm/s')} "
        "its front breaks up and folds oxide in",
        because=f"the ingates together are {tell(section, 'm2')} against a choke of {tell(rigging.choke_area, 'm2')} under "
        f"{tell(rigging.head, 'm')} of metal",
        do=f"Give the ingates {tell(wanted, 'm2')} together, by more or wider ones, or lower the cope",
        where=_at(narrow.at, pattern),
        margin=Margin(value=critical / pour.gate_speed, unit="1", of="critical speed over the ingates' highest speed"),
        source="Campbell, Complete Casting Handbook, 2011 (from memory, unverified)",
    )


def _fall(pour: Pour, pattern: Pattern, rigging: Rigging, metal: Metal) -> Iterator[Finding]:
    if pour.fall_speed <= pour.critical_speed:
        return
    worst: Ingate = max(rigging.ingates, key=lambda ingate: ingate.fall)
    yield Finding(
        code="pour.fall",
        weight="MIND",
        says=f"Below {worst.name} the metal falls {tell(pour.fall, 'm')} inside the mould and lands at {tell(pour.fall_speed, 'm/s')}",
        because=f"the cavity goes on below the ingate; {metal.name} folds its skin in above {tell(pour.critical_speed, 'm/s')}",
        do="Turn the part over, or put the parting and the ingates lower, so that the mould fills from its lowest place upward",
        where=_at(worst.at, pattern),
        margin=Margin(value=pour.critical_speed / pour.fall_speed, unit="1", of="critical speed over the speed after the fall"),
        source="Torricelli's law; Campbell, Complete Casting Handbook, 2011 (from memory, unverified)",
    )


def _sprue(pour: Pour, ask: PourAsk, rigging: Rigging) -> Iterator[Finding]:
    if not pour.aspirates:
        return
    sprue = rigging.sprue
    yield Finding(
        code="pour.aspirates",
        weight="MIND",
        says=f"With the basin {'half full' if ask.kept_full == 'yes' else 'nearly empty'} the pressure in the sprue falls "
        f"{tell(-pour.least_pressure, 'Pa')} under that of the air",
        because=f"the sprue is {tell(sprue.top_area, 'm2')} at its top and {tell(sprue.base_area, 'm2')} at its foot: the falling metal is "
        "thinner than that and draws air out of the sand",
        do=f"Widen the sprue's top or deepen the basin beyond {tell(rigging.basin.depth, 'm')}, and keep the basin full from first to last",
        margin=Margin(value=pour.least_pressure, unit="Pa", of="lowest gauge pressure in the sprue"),
        source="Bernoulli's law with published loss coefficients",
    )


def _hand(pour: Pour, ask: PourAsk, metal: Metal) -> Iterator[Finding]:
    if pour.hand is None or pour.rate <= 1.02 * (most := pour.hand.rate.value * metal.density_liquidus):
        return
    whose = "the pour asked for" if ask.rate is not None else "the kit's fastest pour" if ask.kept_full == "yes" else "the kit's middling pour"
    yield Finding(
        code="pour.hand",
        weight="MIND",
        says=f"The sprue takes {tell(pour.rate, 'kg/s')} from a full basin, and {whose} gives {tell(most, 'kg/s')} of {metal.name}",
        because="the basin empties faster than it is filled, and dross and air go down with the last of it",
        do="Take a lower cope or a narrower choke, or fill the basin to the brim before the sprue is opened",
        margin=Margin(value=most / pour.rate, unit="1", of="what the hand pours over what the sprue takes"),
        source="the pour asked for" if ask.rate is not None else "the pouring rates in the kit",
    )
