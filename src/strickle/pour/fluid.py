"""How long a thin wall between two sand faces stays fluid: heat conduction into the sand, the wall as one lump."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strickle.base import STEFAN_BOLTZMANN, Array, Record, Span, si
from strickle.kernels import column
from strickle.kernels.freeze_tables import MetalTable, metal_table
from strickle.metal import Metal

FINEST = 5e-5
"""m. First sand layer; each further one is GROWTH times thicker."""
GROWTH = 1.15
DEPTH = 0.06
"""m of sand; heat reaches no further while a thin wall is fluid."""
STEPS = 400
"""Steps of equal heat from pouring to standing still."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Face(Record):
    """The sand a wall stands against."""

    conductivity: float = si("W/(m K)", "rammed sand")
    density: float = si("kg/m3", "rammed sand")
    heat: float = si("J/(kg K)", "rammed sand")
    contact: float = si("W/(m2 K)", "metal to sand")
    cold: float = si("K", "sand before the pour")


class SandColumn:
    """Deep sand cut into layers, stepped implicitly; its face takes heat through the contact conductance."""

    def __init__(self, face: Face) -> None:
        layers = math.ceil(math.log(1.0 + DEPTH * (GROWTH - 1.0) / FINEST) / math.log(GROWTH))
        thick = FINEST * GROWTH ** np.arange(layers)
        self.into = 1.0 / (1.0 / face.contact + 0.5 * thick[0] / face.conductivity)
        self.between = face.conductivity / (0.5 * (thick[1:] + thick[:-1]))
        self.holds = face.density * face.heat * thick
        self.temperature: Array = np.full(layers, face.cold)

    def step(self, metal: float, time: float) -> float:
        """Heat [J/m2] taken from metal at ``metal`` [K] in ``time`` [s]."""
        return column.step(*self.layers(), metal, time)

    def layers(self) -> tuple[Array, float, Array, Array]:
        """As the kernel takes them; the temperatures are those of this column and are moved on in place."""
        return self.temperature, self.into, self.between, self.holds

    def draw(self, metal: float) -> float:
        """Heat flux [W/m2] it would take at this moment."""
        return float(self.into * (metal - self.temperature[0]))


def table_of(metal: Metal, hottest: float) -> MetalTable:
    """The metal's heat against temperature."""
    return metal_table(
        metal.curve_temperature,
        metal.curve_solid,
        latent_heat=metal.latent_heat,
        solid_heat_temperature=metal.solid_heat_temperature,
        solid_heat=metal.solid_heat,
        liquid_heat=metal.liquid_heat,
        solid_conductivity_temperature=metal.solid_conductivity_temperature,
        solid_conductivity=metal.solid_conductivity,
        liquid_conductivity=metal.liquid_conductivity,
        density=metal.density_liquidus,
        lowest=metal.solidus - 50.0,
        highest=max(hottest, metal.liquidus) + 50.0,
        nodes=512,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Top(Record):
    """The air over metal that lies open."""

    film: float = si("W/(m2 K)", "film conductance")
    emissivity: float = si("1", "of the metal")
    around: float = si("K", "surroundings")

    def draw(self, metal: float) -> float:
        """Heat flux [W/m2] from metal at ``metal`` [K]."""
        return self.film * (metal - self.around) + self.emissivity * STEFAN_BOLTZMANN * (metal**4 - self.around**4)


def fluid_time(wall: float, start: float, share: float, table: MetalTable, face: Face, top: Top | None = None) -> float:
    """Time [s] a wall of ``wall`` [m] between two sand faces flows from ``start`` [K] until ``share`` of it is solid; with ``top`` it has
    sand on one side and that on the other.

    The wall has one temperature (metal conducts a hundred times better than sand). Zero if it starts colder than that.

    Source: Flemings, Solidification Processing, 1974, for the criterion (from memory); the conduction is solved.
    """
    u, end = float(table.u_at(start)), table.u_at_solid(share)
    if u <= end:
        return 0.0
    per_u = (0.5 if top is None else 1.0) * wall * table.density * table.heat  # J/m2 of a sand face for each kelvin of heat content
    bite = per_u * (u - end) / STEPS
    open_above = (0.0, 0.0, 0.0) if top is None else (top.film, top.emissivity * STEFAN_BOLTZMANN, top.around)
    return column.until(u, end, bite, per_u, (table.least, table.step, table.temperature), SandColumn(face).layers(), open_above)


def fluid_span(wall: float, start: Span, share: Span, metal: Metal, face: Face, conductivity: Span, contact: Span, top: Top | None = None) -> Span:
    """Fluid time with what is not known well: pour temperature, share, sand conductivity and contact, each moved alone, added as squares."""
    table = table_of(metal, start.high)

    def at(temperature: float, stop: float, k: float, h: float) -> float:
        sand = Face(conductivity=k, density=face.density, heat=face.heat, contact=h, cold=face.cold)
        return fluid_time(wall, temperature, stop, table, sand, top)

    base = (start.value, share.value, conductivity.value, contact.value)
    middle = at(*base)
    low = high = 0.0
    ends = ((start.low, start.high), (share.low, share.high), (conductivity.high, conductivity.low), (contact.high, contact.low))
    for place, (short, long) in enumerate(ends):
        low += (middle - at(*_moved(base, place, short))) ** 2
        high += (at(*_moved(base, place, long)) - middle) ** 2
    return Span(value=middle, low=max(middle - math.sqrt(low), 0.0), high=middle + math.sqrt(high))


def _moved(base: tuple[float, float, float, float], place: int, value: float) -> tuple[float, float, float, float]:
    out = list(base)
    out[place] = value
    return out[0], out[1], out[2], out[3]
