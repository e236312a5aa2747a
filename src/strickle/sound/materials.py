"""What the freezing solver's door takes and gives: metals, media, faces and contacts by their data, and how a grid froze."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from strickle.base import Array, Record, si, word


class MetalLike(Protocol):
    """What the solver reads of a metal. The metal room's result has it all; MetalData serves where there is only data."""

    @property
    def curve_temperature(self) -> Array:
        """K, falling."""
        ...

    @property
    def curve_solid(self) -> Array:
        """Fraction solid along it."""
        ...

    @property
    def latent_heat(self) -> float:
        """J/kg over the whole range."""
        ...

    @property
    def solid_heat_temperature(self) -> Array:
        """K, nodes."""
        ...

    @property
    def solid_heat(self) -> Array:
        """J/(kg K) at the nodes."""
        ...

    @property
    def liquid_heat(self) -> float:
        """J/(kg K)."""
        ...

    @property
    def solid_conductivity_temperature(self) -> Array:
        """K, nodes."""
        ...

    @property
    def solid_conductivity(self) -> Array:
        """W/(m K) at the nodes."""
        ...

    @property
    def liquid_conductivity(self) -> float:
        """W/(m K)."""
        ...

    @property
    def density_solidus(self) -> float:
        """kg/m3."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MetalData(Record):
    """A metal by its bare data, under the names the metal room uses."""

    curve_temperature: Array = si("K", "freezing curve, falling", shape="(n,)")
    curve_solid: Array = si("1", "fraction solid along it, rising 0 to 1", shape="(n,)")
    latent_heat: float = si("J/kg", "heat of solidification over the whole range")
    solid_heat_temperature: Array = si("K", "nodes of the solid's heat capacity", shape="(k,)")
    solid_heat: Array = si("J/(kg K)", "heat capacity of the solid at the nodes", shape="(k,)")
    liquid_heat: float = si("J/(kg K)", "heat capacity of the liquid")
    solid_conductivity_temperature: Array = si("K", "nodes of the solid's conductivity", shape="(j,)")
    solid_conductivity: Array = si("W/(m K)", "conductivity of the solid at the nodes", shape="(j,)")
    liquid_conductivity: float = si("W/(m K)", "conductivity of the liquid")
    density_solidus: float = si("kg/m3", "solid at the solidus: the solver's one constant density")
    shrinkage: float = si("1", "volume lost on solidification; only feeding asks for it", default=0.0)
    density_liquidus: float = si("kg/m3", "liquid at the liquidus; only feeding asks for it", default=float("nan"))
    density_slope: float = si("kg/(m3 K)", "change of the liquid's density with temperature; only feeding asks for it", default=0.0)

    @classmethod
    def plain(
        cls, *, solidus: float, liquidus: float, latent_heat: float, solid_heat: float, liquid_heat: float, solid_conductivity: float,
        liquid_conductivity: float, density: float, shrinkage: float = 0.0, density_slope: float = 0.0,
    ) -> MetalData:  # fmt: skip
        """A metal with one value for each property and a fraction solid that is linear between liquidus and solidus [K].

        ``density`` [kg/m3] is that of the solid at the solidus; the liquid at the liquidus is lighter by the ``shrinkage``.
        """
        return cls(
            curve_temperature=np.array([liquidus, solidus]),
            curve_solid=np.array([0.0, 1.0]),
            latent_heat=latent_heat,
            solid_heat_temperature=np.array([solidus]),
            solid_heat=np.array([solid_heat]),
            liquid_heat=liquid_heat,
            solid_conductivity_temperature=np.array([solidus]),
            solid_conductivity=np.array([solid_conductivity]),
            liquid_conductivity=liquid_conductivity,
            density_solidus=density,
            shrinkage=shrinkage,
            density_liquidus=density * (1.0 - shrinkage),
            density_slope=density_slope,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MediumData(Record):
    """Sand, core, chill, sleeve or board. Where curves over temperature are given they rule; level outside their nodes."""

    conductivity: float = si("W/(m K)", "heat conductivity")
    density: float = si("kg/m3", "as rammed")
    heat_capacity: float = si("J/(kg K)", "heat capacity")
    conductivity_temperature: Array | None = si("K", "nodes of the conductivity", shape="(k,)", default=None)
    conductivity_nodes: Array | None = si("W/(m K)", "conductivity at them", shape="(k,)", default=None)
    heat_temperature: Array | None = si("K", "nodes of the heat capacity", shape="(m,)", default=None)
    heat_nodes: Array | None = si("J/(kg K)", "heat capacity at them", shape="(m,)", default=None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gap(Record):
    """A contact in which a gap opens: one conductance while the metal at it is fluid, falling with its fraction solid to another."""

    early: float = si("W/(m2 K)", "up to coherency")
    late: float = si("W/(m2 K)", "from the solidus on")


def gap(early: float, late: float) -> Gap:
    """A contact of ``early`` [W/(m2 K)] up to coherency of the metal at it, falling with its fraction solid to ``late`` at the solidus."""
    return Gap(early=early, late=late)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Face(Record):
    """What lies beyond an outer face or an open surface. Made by ``adiabatic``, ``fixed`` and ``film``."""

    kind: str = word("adiabatic | fixed | film")
    temperature: float = si("K", "beyond the face", default=293.15)
    h: float = si("W/(m2 K)", "film conductance", default=0.0)
    emissivity: float = si("1", "of the surface, towards surroundings at that temperature", default=0.0)


adiabatic = Face(kind="adiabatic")


def fixed(temperature: float) -> Face:
    """A face held at ``temperature`` [K]."""
    return Face(kind="fixed", temperature=temperature)


def film(h: float, temperature: float, emissivity: float = 0.0) -> Face:
    """A face that loses heat by a film ``h`` [W/(m2 K)] and by radiation to surroundings at ``temperature`` [K]."""
    return Face(kind="film", temperature=temperature, h=h, emissivity=emissivity)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Below(Record):
    """An end of the run: all metal below a temperature (and solid)."""

    temperature: float = si("K", "all metal below it")


def below(temperature: float) -> Below:
    """Run until every metal cell is solid and below ``temperature`` [K]."""
    return Below(temperature=temperature)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Freezing(Record):
    """How a tagged grid froze. Cell arrays have the grid's index order; NaN outside the metal and where it did not come to pass."""

    time_to_liquidus: Array = si("s", "superheat gone: read at the liquidus + 1 K, where the crossing is sharp", shape="(nx, ny, nz)")
    time_to_coherency: Array = si("s", "crystals lock, at the fraction solid asked", shape="(nx, ny, nz)")
    time_to_solidus: Array = si("s", "the whole cell solid; the front is then at the cell's far face", shape="(nx, ny, nz)")
    time_to_below: Array = si("s", "below the temperature asked for in ``until``", shape="(nx, ny, nz)")
    niyama: Array = si("1", "gradient over root of cooling rate near the solidus, in root(K s) per millimetre", shape="(nx, ny, nz)")
    gradient: Array = si("1", "temperature gradient near the solidus, in kelvin per metre", shape="(nx, ny, nz)")
    cooling_rate: Array = si("1", "cooling rate there, in kelvin per second", shape="(nx, ny, nz)")
    temperature: Array = si("K", "every cell, at the end", shape="(nx, ny, nz)")
    snapshot_times: Array = si("s", "moments asked", shape="(k,)")
    snapshots: Array = si("K", "every cell at the moments asked; NaN where the run ended before", shape="(k, nx, ny, nz)")
    time: float = si("s", "last moment computed")
    solid_time: float = si("s", "the last metal cell solid, NaN if not all are")
    below_time: float = si("s", "all metal below the temperature asked, NaN if not")
    metal_loss: float = si("J", "heat lost by the metal")
    media_gain: float = si("J", "heat gained by the media")
    outer_loss: float = si("J", "heat lost through walls and films")
    mark_solid: Array = si("1", "fractions solid asked for in ``marks``", shape="(j,)")
    mark_times: Array = si("s", "when each metal cell, in the grid's index order, passed them", shape="(j, m)")
    cell_volumes: Array = si("1", "metal in each metal cell, in cells: 1 but where it is cut by a ``surface``", shape="(m,)")
    cell_edge: float = si("m", "edge of a cell of the grid that was frozen")
    metal_begin: Array = si("K", "what each metal cell, in the grid's index order, began at", shape="(m,)")
    balance: float = si("1", "worst closure error of the heat balance at any check")
    status: str = word("done, or why it stopped before what was asked")
    steps: int = word("super-steps taken")
    peg_names: tuple[str, ...] = word("names of the points asked for in ``pegs``")
    peg_at: Array = si("m", "where each peg is really read: beside a wall up to half a cell from the point asked", shape="(n, 3)")
    peg_times: Array = si("s", "every super-step, from the pour on; empty without pegs", shape="(k,)")
    peg_temperatures: Array = si("K", "each peg at those times", shape="(n, k)")
