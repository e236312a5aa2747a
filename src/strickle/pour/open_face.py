"""Pouring an open face by hand: how long it takes, how the stream lands, whether metal covers the floor, how sharp it presses edges."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator

from strickle.base import GRAVITY, Finding, Margin, Source, Span, Value, Where, falling_speed, tearing_speed, tell
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.part import Part
from strickle.pour.result import Pour
from strickle.rigging import OpenPour, Rigging
from strickle.stores import Kit

ALUMINIUM = 2380.0
"""kg/m3 of the melt the kit's pouring rates are stated for; another metal is poured at the same volume rate."""
LIP = Value(value=0.05, low=0.03, high=0.10, unit="m", source="house", mark="guess", note="lip of the pot over the sand's level")
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


def fill_open(rigging: Rigging, pour: OpenPour, part: Part, metal: Metal, melt: Melt, kit: Kit, fluid: Span) -> Pour:
    """Times by the kit's pouring rates, the fall from the lip, and what the metal's own depth presses into edges."""
    volume = rigging.flow * rigging.pour_time
    fast, slow = (volume * ALUMINIUM / rate for rate in (kit.pour_rate_high, kit.pour_rate_low))
    time = Span(value=rigging.pour_time, low=fast, high=slow)
    fall = LIP.value + deepest(rigging)
    found = Pour(
        fill_time=time,
        pour_time=time,
        rate=pour.mass.value / rigging.pour_time,
        gate_speed=math.nan,
        critical_speed=tearing_speed(metal.surface_tension, metal.density_liquidus),
        fall=fall,
        fall_speed=falling_speed(fall),
        least_pressure=math.nan,
        aspirates=False,
        fluid_time=fluid,
        fluid_margin=Span(value=fluid.value / time.value, low=fluid.low / time.high, high=fluid.high / time.low),
        edge_radius=metal.surface_tension / (metal.density_liquidus * GRAVITY * deepest(rigging)),
        sources=SOURCES,
    )
    findings = (*_covers(pour, metal, melt), *_detail(found, rigging, pour, part, metal), _lands(found, pour, metal))
    return dataclasses.replace(found, findings=findings)


def _covers(pour: OpenPour, metal: Metal, melt: Melt) -> Iterator[Finding]:
    if pour.depth >= pour.stands:
        return
    yield Finding(
        code="pour.covers",
        weight="MIND",
        says=f"Metal {tell(pour.depth, 'm')} deep lies shallower than the {tell(pour.stands, 'm')} at which it stands of itself:"
        " there is a chance that it does not reach into every corner",
        because=f"{metal.name} does not wet sand and draws together; only its push, and pouring it proud, spread it thinner than that",
        do=f"Pour at {tell(melt.pour_temperature.value, 'K')} and no colder, without a stop, the stream led along the far edges first;"
        " a thicker part or more stock covers by itself",
        margin=Margin(value=pour.depth / pour.stands, unit="1", of="depth of the metal over the height at which it stands of itself"),
        source="resting drop: Campbell, Complete Casting Handbook, 2011 (from memory); angle of contact from memory",
    )


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


def _lands(found: Pour, pour: OpenPour, metal: Metal) -> Finding:
    return Finding(
        code="pour.open_fall",
        weight="NOTE",
        says=f"From a lip {tell(LIP.value, 'm')} over the rim the first metal lands at {tell(found.fall_speed, 'm/s')}",
        because=f"it falls {tell(found.fall, 'm')} to the lowest place; above {tell(found.critical_speed, 'm/s')} {metal.name} folds its skin in and"
        " washes sand, which an open pour cannot wholly avoid",
        do="Lip as low as the pot allows, on one flat place, "
        + ("gently until the floor is covered, then faster" if found.pour_time.value > QUICK else "in one go without a stop")
        + "; skim the back while it is liquid",
        margin=Margin(value=found.critical_speed / found.fall_speed, unit="1", of="critical speed over the speed after the fall"),
        source="Torricelli's law; Campbell, Complete Casting Handbook, 2011 (from memory, unverified)",
    )
