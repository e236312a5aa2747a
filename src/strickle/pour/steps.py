"""Does it fill: hydraulics of the rigging as built against the time the thinnest wall stays fluid."""

from __future__ import annotations

import dataclasses
import math

from strickle.base import GRAVITY, Source, Span, Watch, falling_speed, tearing_speed
from strickle.cavity import Cavity
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.pour.ask import PourAsk
from strickle.pour.fluid import Face, Top, fluid_span
from strickle.pour.hydraulics import basin_of, fill_time, first_flow, head_of, layers_of, layers_over, least_pressure, steady_flow, topping_time
from strickle.pour.judge import findings_of, misrun_of
from strickle.pour.open_face import ALUMINIUM, fill_open, lies
from strickle.pour.result import Pour
from strickle.rigging import Rigging
from strickle.stores import Stores

LOSSES_UNSURE = 0.10
"""Spread of the discharge coefficient: loss coefficients are good to a fifth, and it goes with their root (guess)."""
DRINKS = 0.02
"""Share of the head by which the sprue's pressure may fall under the air's before it is called drinking."""


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
    at worst half full with a tenth less; never faster than the hand pours. Pour time adds the basin before it, filled as fast as the hand
    can, and the risers after it, with the basin full in every case: they do not fill to the top otherwise.
    """
    watch(0.0, "filling on paper")
    if rigging.open_pour is not None:
        pool = rigging.open_pour
        fluid = _fluid(pool.depth, mould, metal, melt, stores, _air(metal, stores)) if lies(pool) else _fluid(pool.wall, mould, metal, melt, stores)
        found = fill_open(rigging, rigging.open_pour, part, metal, melt, stores.kit, fluid)
        misrun = misrun_of(found, part, mould, metal, melt, pool)
        return dataclasses.replace(found, findings=(*misrun, *found.findings), sources=(*_sources(stores), *found.sources))
    layers = layers_of(cavity, rigging)
    full, half = head_of(rigging), head_of(rigging, 0.5)
    hand = stores.kit.pour_rate_high / ALUMINIUM
    likely = rigging.discharge
    over, basin = layers_over(cavity), basin_of(rigging) / hand
    best, worst = min(likely * (1.0 + LOSSES_UNSURE), 1.0), likely * (1.0 - LOSSES_UNSURE)
    time = Span(
        value=fill_time(layers, rigging, full, likely, hand),
        low=fill_time(layers, rigging, full, best, hand),
        high=fill_time(layers, rigging, half, worst, hand),
    )
    whole = Span(
        value=basin + time.value + topping_time(over, rigging, full, likely, hand),
        low=basin + time.low + topping_time(over, rigging, full, best, hand),
        high=basin + time.high + topping_time(over, rigging, full, worst, hand),
    )
    fluid = _fluid(part.least_wall, mould, metal, melt, stores)
    section = sum(ingate.area for ingate in rigging.ingates)
    fall = max((ingate.fall for ingate in rigging.ingates), default=0.0)
    pressure = min(least_pressure(rigging, head, metal.density_liquidus, stores) for head in (full, half))
    pour = Pour(
        fill_time=time,
        pour_time=whole,
        rate=steady_flow(rigging, full, likely) * metal.density_liquidus,
        gate_speed=first_flow(rigging, full, stores) / section if section > 0.0 else math.nan,
        critical_speed=tearing_speed(metal.surface_tension, metal.density_liquidus),
        fall=fall,
        fall_speed=falling_speed(fall),
        least_pressure=pressure,
        aspirates=pressure < -DRINKS * metal.density_liquidus * GRAVITY * full.total,
        fluid_time=fluid,
        fluid_margin=Span(value=fluid.value / time.value, low=fluid.low / time.high, high=fluid.high / time.low),
        sources=_sources(stores),
    )
    watch(1.0, "filled on paper")
    return dataclasses.replace(pour, findings=findings_of(pour, full, hand, part, pattern, mould, rigging, metal, melt))


def _air(metal: Metal, stores: Stores) -> Top:
    """What is over an open face while it is poured: a cover comes later."""
    return Top(film=stores.constants["open_top.film"].value, emissivity=metal.emissivity, around=stores.kit.ambient)


def _fluid(wall: float, mould: Mould, metal: Metal, melt: Melt, stores: Stores, top: Top | None = None) -> Span:
    """How long a wall [m] between two sand faces of this mould, or between one and ``top``, flows."""
    sand = Face(
        conductivity=mould.sand_conductivity,
        density=mould.sand_density,
        heat=mould.sand_heat,
        contact=mould.contact,
        cold=stores.kit.ambient,
    )
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
    names = ("loss.entrance_sharp", "fill.fluidity_share", "contact.metal_sand")
    keys = dict.fromkeys(stores.constants[name].source for name in names)
    return (
        *(stores.sources[key] for key in keys if key in stores.sources),
        Source(key="campbell-speed", says="Critical gate speed: Campbell, Complete Casting Handbook, 2011", mark="memory"),
    )
