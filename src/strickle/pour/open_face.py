"""Pouring an open face by hand: how long it takes, how the stream lands, whether metal covers the floor, how sharp it presses edges."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator

from strickle.base import GRAVITY, Finding, Margin, Source, Span, Where, falling_speed, tearing_speed, tell
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.part import Part
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


def fill_open(rigging: Rigging, pour: OpenPour, part: Part, metal: Metal, melt: Melt, kit: Kit, ask: PourAsk, fluid: Span) -> Pour:
    """Times by the rate asked for or the kit's pouring rates, the fall from the lip, and what the metal's own depth presses into edges."""
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
        edge_radius=metal.surface_tension / (metal.density_liquidus * GRAVITY * deepest(rigging)),
        break_time=lost,
        lip_temperature=hand.last,
        cover_depth=cover.of_itself,
        hand=hand,
        sources=SOURCES,
    )
    findings = (
        *covers(cover, rigging, pour, hand.rate.value, metal, melt),
        *_detail(found, rigging, pour, part, metal),
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


def _detail(found: Pour, rigging: Rigging, pour: OpenPour, part: Part, metal: Metal) -> Iterator[Finding]:
    radius, known = found.edge_radius, not lies(pour)
    at = part.least_wall_at
    sharp = known and 2.0 * radius > pour.wall
    if math.isfinite(pour.strokes):
        yield _letters(radius, rigging, pour, metal)
    head = (
        f"only {tell(deepest(rigging), 'm')} of metal press on the lowest face, {tell(metal.density_liquidus * GRAVITY * deepest(rigging), 'Pa')},"
        f" against a surface that does not wet sand"
    )
    yield Finding(
        code="pour.detail_rounded",
        weight="MIND" if sharp else "NOTE",
        says=f"Edges of the lowest face come out round by about {tell(radius, 'm', 'fine')}"
        + (
            f", and the thinnest wall there is {tell(pour.wall, 'm')}; letters and ribs under {tell(2.0 * radius, 'm')} come out as lumps"
            if known
            else "; letters with strokes or steps finer than that blur"
        ),
        because=f"{head}; a falling stream presses harder for a moment, an oxide skin less",
        do="Round the part's edges by that much, make letters bolder, or cast it in a two-part mould, whose sprue presses harder",
        where=Where(point=(float(at[0]), float(at[1]), float(at[2]))) if known else None,
        margin=Margin(value=pour.wall / (2.0 * radius), unit="1", of="thinnest wall over twice the roundness") if known else None,
        source="Young and Laplace's law, metal at rest and clean",
    )


def _letters(radius: float, rigging: Rigging, pour: OpenPour, metal: Metal) -> Finding:
    margin = pour.strokes / (2.0 * radius)
    return Finding(
        code="pour.letters",
        weight="MIND" if margin < 1.0 else "NOTE",
        says=f"What stands out on the lowest face is about {tell(pour.strokes, 'm')} wide and {tell(pour.relief, 'm')} high; metal at rest enters "
        f"grooves of {tell(2.0 * radius, 'm')} and wider"
        + (": there is a chance that letters come out as lumps or not at all" if margin < 1.0 else ""),
        because=f"{tell(deepest(rigging), 'm')} of {metal.name} press it in, and it does not wet sand; the falling stream presses harder, but "
        "only for a moment",
        do="Make strokes wider, let them stand out less with rounded edges, pour deeper with stock, or cast it in a two-part mould"
        if margin < 1.0
        else "Round the letters' edges and pour the first metal over them",
        margin=Margin(value=margin, unit="1", of="width of what stands out over that of the narrowest groove metal at rest enters"),
        source="Young and Laplace's law, metal at rest and clean",
    )


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
