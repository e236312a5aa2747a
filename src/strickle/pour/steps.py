"""Does it fill: hydraulics of the rigging as built against the time the thinnest wall stays fluid."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

from strickle.base import GRAVITY, Source, Span, Watch, falling_speed, tearing_speed
from strickle.cavity import Cavity
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.pour.ask import PourAsk
from strickle.pour.detailed import detailed
from strickle.pour.fluid import Face, Top, fluid_span, fluid_time, table_of
from strickle.pour.hydraulics import first_flow, head_of, least_pressure, steady_flow
from strickle.pour.judge import findings_of, misrun_of
from strickle.pour.open_face import fill_open, lies
from strickle.pour.paper import on_paper
from strickle.pour.result import Pour
from strickle.pour.says import Wall, hand_findings
from strickle.pour.solved import Question
from strickle.pour.solved_says import OPEN_FACE, not_solved, with_solve
from strickle.rigging import OpenPour, Rigging
from strickle.stores import Stores

DRINKS = 0.02
"""Share of the head by which the sprue's pressure may fall under the air's before it is called drinking."""
LOWEST = {"yes": 0.5, "no": 0.0}
"""Share of the basin at which the sprue is looked at, besides full: kept full or not (common practice)."""


def fill(
    part: Part,
    pattern: Pattern,
    mould: Mould,
    rigging: Rigging,
    cavity: Cavity,
    metal: Metal,
    melt: Melt,
    stores: Stores,
    ask: PourAsk,
    watch: Watch,
) -> Pour:
    """Fill time, speeds, sprue pressure and the thinnest wall's fluid time, each with its spread.

    Fill time runs from the first metal in the sprue until the part is full: likely with the basin full, at best with a tenth more discharge,
    at worst half full with a tenth less; never faster than the hand pours. A basin not kept full stands half full, at worst empty, and an
    interruption before the part is full is added whole. Pour time adds the basin before it, filled as fast as the hand can, and the risers
    after it, with the basin full in every case: they do not fill to the top otherwise.
    """
    watch(0.0, "filling on paper")
    if rigging.open_pour is not None:
        return _open(rigging, rigging.open_pour, part, pattern, mould, cavity, metal, melt, stores, ask)
    paper = on_paper(rigging, cavity, metal, melt, stores.kit, ask)
    full, time = head_of(rigging), paper.fill
    fluid = _fluid(part.least_wall, mould, metal, melt, stores)
    section = sum(ingate.area for ingate in rigging.ingates)
    fall = max((ingate.fall for ingate in rigging.ingates), default=0.0)
    pressure = min(least_pressure(rigging, head_of(rigging, share), metal.density_liquidus, stores) for share in (1.0, LOWEST[ask.kept_full]))
    pour = Pour(
        fill_time=time,
        pour_time=paper.whole,
        rate=steady_flow(rigging, full, rigging.discharge) * metal.density_liquidus,
        gate_speed=first_flow(rigging, full, stores) / section if section > 0.0 else math.nan,
        critical_speed=tearing_speed(metal.surface_tension, metal.density_liquidus),
        fall=fall,
        fall_speed=falling_speed(fall),
        least_pressure=pressure,
        aspirates=pressure < -DRINKS * metal.density_liquidus * GRAVITY * full.total,
        fluid_time=fluid,
        fluid_margin=Span(value=fluid.value / time.value, low=fluid.low / time.high, high=fluid.high / time.low),
        break_time=paper.lost,
        lip_temperature=paper.hand.last,
        hand=paper.hand,
        sources=_sources(stores),
    )
    watch(0.5, "filled on paper")
    found = findings_of(pour, full, ask, part, pattern, mould, rigging, metal, melt)
    wall = Wall(thick=part.least_wall, fluid=_likely(mould, metal, stores))
    pour = dataclasses.replace(pour, findings=(*found, *hand_findings(pour, ask, melt, metal, wall)))
    if ask.filling == "run":
        question = Question(
            part=part, pattern=pattern, mould=mould, rigging=rigging, cavity=cavity, metal=metal, melt=melt, stores=stores, ask=ask,
        )  # fmt: skip
        pour = with_solve(pour, question, watch)
    return detailed(pour, part, pattern, rigging, cavity, metal, melt, stores, wall.fluid)


def _open(
    rigging: Rigging,
    pool: OpenPour,
    part: Part,
    pattern: Pattern,
    mould: Mould,
    cavity: Cavity,
    metal: Metal,
    melt: Melt,
    stores: Stores,
    ask: PourAsk,
) -> Pour:
    """The pour of an open face."""
    thin, top = (pool.depth, _air(metal, stores)) if lies(pool) else (pool.wall, None)
    fluid = _fluid(thin, mould, metal, melt, stores, top)
    found = fill_open(rigging, pool, metal, melt, stores.kit, ask, fluid)
    misrun = misrun_of(found, part, mould, metal, melt, pool)
    heat = hand_findings(found, ask, melt, metal, Wall(thick=thin, fluid=_likely(mould, metal, stores, top)))
    told = (*misrun, *found.findings, *heat, *(not_solved(OPEN_FACE) if ask.filling == "run" else ()))
    found = dataclasses.replace(found, findings=told, sources=(*_sources(stores), *found.sources))
    return detailed(found, part, pattern, rigging, cavity, metal, melt, stores, _likely(mould, metal, stores))


def _air(metal: Metal, stores: Stores) -> Top:
    """What is over an open face while it is poured: a cover comes later."""
    return Top(film=stores.constants["open_top.film"].value, emissivity=metal.emissivity, around=stores.kit.ambient)


def _fluid(wall: float, mould: Mould, metal: Metal, melt: Melt, stores: Stores, top: Top | None = None) -> Span:
    """How long a wall [m] between two sand faces of this mould, or between one and ``top``, flows."""
    sand = _face(mould, stores)
    return fluid_span(
        wall,
        melt.pour_temperature,
        _constant(stores, "fill.fluidity_share", 1.0),
        metal,
        sand,
        _sand_spread(mould, stores),
        _constant(stores, "contact.metal_sand", mould.contact / stores.constants["contact.metal_sand"].value),
        top,
    )


def _likely(mould: Mould, metal: Metal, stores: Stores, top: Top | None = None) -> Callable[[float, float], float]:
    """How long a wall [m] poured at a temperature [K] flows, likely."""
    share, sand = stores.constants["fill.fluidity_share"].value, _face(mould, stores)
    return lambda wall, start: fluid_time(wall, start, share, table_of(metal, start), sand, top)


def _face(mould: Mould, stores: Stores) -> Face:
    return Face(
        conductivity=mould.sand_conductivity,
        density=mould.sand_density,
        heat=mould.sand_heat,
        contact=mould.contact,
        cold=stores.kit.ambient,
    )


def _constant(stores: Stores, name: str, times: float) -> Span:
    datum = stores.constants[name]
    return Span(value=datum.value * times, low=datum.low * times, high=datum.high * times)


def _sand_spread(mould: Mould, stores: Stores) -> Span:
    """The sand's conductivity with the published spread of its kind; the mould's own value where the kind is not in the stores."""
    k = mould.sand_conductivity
    if mould.sand not in stores.sands or "k" not in stores.sands[mould.sand].values:
        return Span(value=k, low=k, high=k)
    datum = stores.sands[mould.sand].values["k"]
    return Span(value=k, low=k * datum.low / datum.value, high=k * datum.high / datum.value)


def _sources(stores: Stores) -> tuple[Source, ...]:
    """Citations of the constants used, as the stores have them."""
    names = ("loss.entrance_sharp", "fill.fluidity_share", "contact.metal_sand", "fill.gamma_skin")
    keys = dict.fromkeys(stores.constants[name].source for name in names)
    return (
        *(stores.sources[key] for key in keys if key in stores.sources),
        Source(key="campbell-speed", says="Critical gate speed: Campbell, Complete Casting Handbook, 2011", mark="memory"),
    )
