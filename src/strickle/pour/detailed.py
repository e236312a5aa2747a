"""The verdict on detail for a pour as reckoned by hydraulics: an open face by hand, or a closed mould through its ingates."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

import numpy as np

from strickle.base import Array, Source, Span
from strickle.cavity import Cavity
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.pour.hydraulics import head_of, layers_of
from strickle.pour.open_face import deepest, lies
from strickle.pour.relief import Press, finest_of, gate_arrival, relief_of, sheet_arrival, skin_of, told_of
from strickle.pour.result import Pour
from strickle.rigging import Rigging
from strickle.stores import Stores

SOURCES = (
    Source(key="edge", says="Edges and slots: Young and Laplace's law for a surface that is not wetted, in two dimensions", mark="computed"),
    Source(key="sheet", says="How far a stream runs out on an open floor: its thrust against surface tension, from momentum", mark="computed"),
)


def detailed(
    pour: Pour,
    part: Part,
    pattern: Pattern,
    rigging: Rigging,
    cavity: Cavity,
    metal: Metal,
    melt: Melt,
    stores: Stores,
    fluid: Callable[[float, float], float],
) -> Pour:
    """The pour with its relief and the finding on it; ``fluid`` tells how long [s] a wall [m] poured at a temperature [K] flows."""
    start = melt.pour_temperature.value
    open_pour, skin = rigging.open_pour, skin_of(metal, stores)
    if open_pour is not None:
        arrives = sheet_arrival(
            pattern.cavity,
            open_pour.level.value,
            pour.fall_speed,
            _rates(pour, metal),
            pour.pour_time.value,
            metal.density_liquidus,
            skin,
        )
        wall, depth = math.inf if lies(open_pour) else open_pour.wall, deepest(rigging)
    else:
        height, waits = _waits(pour, rigging, cavity)
        arrives = gate_arrival(rigging.ingates, pour.gate_speed, head_of(rigging, _full(pour)).total, height, waits)
        wall, depth = part.least_wall, math.inf
    press = Press(
        tension=skin,
        density=metal.density_liquidus,
        liquid=lambda width: fluid(width, start),
        body=pour.fluid_time.value,
        arrives=arrives,
        pattern=pattern,
    )
    relief = relief_of(pattern.cavity, open_pour is not None, press)
    if relief is None or not math.isfinite(relief.edge_radius.value):
        return pour
    finding = told_of(relief, wall, depth, metal)
    told = (*pour.findings, finding, *finest_of(relief))
    return dataclasses.replace(pour, relief=relief, edge_radius=relief.edge_radius.value, findings=told, sources=(*pour.sources, *SOURCES))


def _rates(pour: Pour, metal: Metal) -> Span:
    """What the hand pours [kg/s], from its slowest to its fastest."""
    if pour.hand is None:
        return Span(value=pour.rate, low=pour.rate, high=pour.rate)
    rate = pour.hand.rate
    return Span(value=rate.value * metal.density_liquidus, low=rate.low * metal.density_liquidus, high=rate.high * metal.density_liquidus)


def _full(pour: Pour) -> float:
    """Share of the basin that stands full in the end: one not kept full is taken to stand half full."""
    return 1.0 if pour.hand is None or pour.hand.kept_full else 0.5


def _waits(pour: Pour, rigging: Rigging, cavity: Cavity) -> tuple[Array, Array]:
    """Levels [m], and how long [s] after metal came to each its whole head stands over it.

    The mould above it fills at its mean rate; where risers or vents are open the head is whole only when they stand full.
    """
    layers = layers_of(cavity, rigging)
    if not len(layers.level) or not math.isfinite(pour.fill_time.value):
        return layers.level, np.full(len(layers.level), math.inf)
    above = layers.volume[::-1].cumsum()[::-1] / layers.total
    after = max(pour.pour_time.value - pour.fill_time.value, 0.0) if rigging.risers or rigging.vents else 0.0
    return layers.level, pour.fill_time.value * above + after
