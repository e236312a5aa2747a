"""Pouring an open face by hand: how long it takes, how the stream lands, whether metal covers the floor."""

from __future__ import annotations

import dataclasses
import math

from strickle.base import Finding, Margin, Source, Span, falling_speed, tearing_speed, tell
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.pour.ask import PourAsk
from strickle.pour.covers import cover_of, covers
from strickle.pour.hand import ALUMINIUM, Hand, Pot, Schedule, interruption, lip_of, pots_of, rate_of, schedule, stopped
from strickle.pour.result import Pour
from strickle.rigging import OpenPour, Rigging
from strickle.stores import Kit

QUICK = 3.0
"""s. A pour shorter than that cannot be begun gently and made faster."""
PLATE = 0.7
"""Least wall over mean depth from which the wall is the plate itself: sand on one side of it, air on the other."""
SOURCES = (
    Source(key="edge", says="Roundness of an edge: Young and Laplace's law for a surface that is not wetted", mark="computed"),
    Source(key="house", says="Height of the lip over the rim: a guess of this program, to be learned from the log", mark="guess"),
)


def lies(pour: OpenPour) -> bool:
    """Whether the thinnest metal is the plate itself: sand under it, air over it."""
    return pour.wall > PLATE * pour.depth


def deepest(rigging: Rigging) -> float:
    """Depth of metal over the lowest face [m]."""
    heights = rigging.casting.vertices[:, 2]
    return float(heights.max() - heights.min())


def fill_open(rigging: Rigging, pour: OpenPour, metal: Metal, melt: Melt, kit: Kit, ask: PourAsk, fluid: Span) -> Pour:
    """Times by the rate asked for or the kit's pouring rates and the fall from the lip."""
    hand = _hand(rigging, metal, melt, kit, ask)
    at, volume = interruption(ask), rigging.flow * rigging.pour_time
    lost = stopped(at, volume / hand.rate.value)
    time = Span(value=hand.likely.lasts, low=hand.fast.lasts, high=hand.slow.lasts)
    fall, cover = hand.lip.value + deepest(rigging), cover_of(rigging, pour)
    found = Pour(
        fill_time=time,
        pour_time=time,
        rate=pour.mass.value / (time.value - lost),
        gate_speed=math.nan,
        critical_speed=tearing_speed(metal.surface_tension, metal.density_liquidus),
        fall=fall,
        fall_speed=falling_speed(fall),
        least_pressure=math.nan,
        aspirates=False,
        fluid_time=fluid,
        fluid_margin=Span(value=fluid.value / time.value, low=fluid.low / time.high, high=fluid.high / time.low),
        break_time=lost,
        lip_temperature=hand.last,
        cover_depth=cover.of_itself,
        hand=hand,
        sources=SOURCES,
    )
    findings = (
        *covers(cover, rigging, pour, hand.rate.value, metal, melt),
        _lands(found, rigging, metal),
    )
    return dataclasses.replace(found, findings=findings)


def _hand(rigging: Rigging, metal: Metal, melt: Melt, kit: Kit, ask: PourAsk) -> Hand:
    """The hand over an open face, one level stream: as asked, else as the rigging reckoned with the kit's rates, which are its ends."""
    volume = rigging.flow * rigging.pour_time
    kept = Span(value=rigging.flow, low=kit.pour_rate_low / ALUMINIUM, high=kit.pour_rate_high / ALUMINIUM)
    rate = kept if ask.rate is None else rate_of(ask, kit, metal)
    likely, cold, hot = pots_of(melt, metal)

    def goes(flow: float, pot: Pot) -> Schedule:
        return schedule(((volume / flow, flow),), pot, interruption(ask))

    return Hand(lip=lip_of(ask), kept_full=False, rate=rate, likely=goes(rate.value, likely), slow=goes(rate.low, cold), fast=goes(rate.high, hot))


def _lands(found: Pour, rigging: Rigging, metal: Metal) -> Finding:
    return Finding(
        code="pour.open_fall",
        weight="NOTE",
        says=f"From a lip {tell(found.fall - deepest(rigging), 'm')} over the rim the first metal lands at {tell(found.fall_speed, 'm/s')}",
        because=f"it falls {tell(found.fall, 'm')} to the lowest place; above {tell(found.critical_speed, 'm/s')} {metal.name} folds its skin in and"
        " washes sand, which an open pour cannot wholly avoid",
        do="Lip as low as the pot allows, on one flat place, "
        + ("gently until the floor is covered, then faster" if found.pour_time.value > QUICK else "in one go without a stop")
        + "; skim the back while it is liquid",
        margin=Margin(value=found.critical_speed / found.fall_speed, unit="1", of="critical speed over the speed after the fall"),
        source="Torricelli's law; Campbell, Complete Casting Handbook, 2011 (from memory, unverified)",
    )
