"""The metal as the freezing kernel reads it: temperature, conduction potential and conductivity against heat content.

Heat content is counted from the solidus and divided by the liquid's heat capacity, so it is in kelvin:
``u = (h - h(solidus)) / c``.  The conduction potential is Kirchhoff's, ``w = integral of k dT / (rho c)`` [m2 K/s], so that
``du/dt = laplacian(w)`` holds exactly for a conductivity that follows temperature and fraction solid.  Nodes are evenly spaced and
lie exactly on the solidus (u = 0) and the liquidus; outside the table the last slope goes on.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Array = NDArray[np.floating[Any]]

SPREAD = 0.01  # K, over which a jump of the fraction solid at one temperature is spread
FINE = 4001  # samples of the curve between liquidus and solidus before it is read at the even nodes
MOST_NODES = 400_000


class Refused(ValueError):
    """A question that makes no sense; the message says why."""


class MetalTable(NamedTuple):
    """A metal of one constant density as evenly spaced tables over heat content ``u`` [K]."""

    least: float  # K, u of the first node
    step: float  # K, between nodes
    temperature: Floats  # (n,) K
    potential: Floats  # (n,) m2 K/s
    conductivity: Floats  # (n,) W/(m K)
    solid: Floats  # (n,) 1, fraction solid
    solidus: float  # K
    liquidus: float  # K
    liquidus_u: float  # K, u at the liquidus
    density: float  # kg/m3
    heat: float  # J/(kg K), the heat capacity u is divided by

    def u_at(self, temperature: ArrayLike) -> Floats:
        """Heat content [K] at a temperature [K]; inside the freezing range the curve decides."""
        u = self.least + self.step * np.arange(self.temperature.size)
        return _through(np.asarray(temperature, dtype=float), self.temperature, u)

    def u_at_solid(self, fraction: float) -> float:
        """Heat content [K] at which the fraction solid is first reached on cooling."""
        u = self.least + self.step * np.arange(self.solid.size)
        return float(np.interp(fraction, self.solid[::-1], u[::-1]))

    def temperature_at(self, u: ArrayLike) -> Floats:
        """Temperature [K] at a heat content [K]."""
        nodes = self.least + self.step * np.arange(self.temperature.size)
        return _through(np.asarray(u, dtype=float), nodes, self.temperature)


def _through(x: Array, xs: Array, ys: Array) -> Floats:
    """Linear interpolation that goes on with the end slopes."""
    low = (ys[1] - ys[0]) / (xs[1] - xs[0])
    high = (ys[-1] - ys[-2]) / (xs[-1] - xs[-2])
    inside = np.interp(x, xs, ys)
    return np.where(x < xs[0], ys[0] + (x - xs[0]) * low, np.where(x > xs[-1], ys[-1] + (x - xs[-1]) * high, inside))


def _curve(temperature: ArrayLike, solid: ArrayLike) -> tuple[Floats, Floats]:
    """The freezing curve with temperature strictly rising and fraction solid falling from 1 to 0."""
    t = np.asarray(temperature, dtype=float).ravel()
    f = np.asarray(solid, dtype=float).ravel()
    if t.size != f.size or t.size < 2:
        raise Refused("a freezing curve needs as many temperatures as fractions, two at least")
    if not (np.isfinite(t).all() and np.isfinite(f).all()):
        raise Refused("a freezing curve must be finite")
    order = np.lexsort((-f, t))
    t, f = t[order].copy(), f[order]
    if abs(f[0] - 1.0) > 1e-9 or abs(f[-1]) > 1e-9 or (np.diff(f) > 1e-12).any():
        raise Refused("fraction solid must fall from 1 at the solidus to 0 at the liquidus")
    first = int(np.flatnonzero(f >= 1.0 - 1e-9)[-1])
    last = int(np.flatnonzero(f <= 1e-9)[0])
    t, f = t[first : last + 1], f[first : last + 1]
    for i in range(t.size - 2, -1, -1):  # a jump at one temperature: spread it downwards
        if t[i] >= t[i + 1] - 1e-12:
            t[i] = t[i + 1] - (SPREAD if f[i] > f[i + 1] else 1e-6)
    return t, f


def _steps(y: Floats, x: Floats) -> Floats:
    """Running integral of y over x by the trapezium rule, zero at the first point."""
    out = np.zeros_like(y)
    np.cumsum(0.5 * (y[1:] + y[:-1]) * np.diff(x), out=out[1:])
    return out


def metal_table(
    curve_temperature: ArrayLike,
    curve_solid: ArrayLike,
    *,
    latent_heat: float,
    solid_heat_temperature: ArrayLike,
    solid_heat: ArrayLike,
    liquid_heat: float,
    solid_conductivity_temperature: ArrayLike,
    solid_conductivity: ArrayLike,
    liquid_conductivity: float,
    density: float,
    lowest: float,
    highest: float,
    nodes: int = 1024,
) -> MetalTable:
    """Tabulate a metal from ``lowest`` to ``highest`` temperature [K].

    ``curve_*``: temperature [K] against fraction solid; ``latent_heat`` [J/kg] over the whole range; heat capacity [J/(kg K)] and
    conductivity [W/(m K)] of the solid as nodes over temperature (linear between, level outside), of the liquid as one value; in
    the mush both are mixed by fraction solid.  ``density`` [kg/m3] is one constant, the same in solid and liquid (give the
    solid's at the solidus), so mass and heat stay in the cell.  ``nodes``: intervals between solidus and liquidus.
    Raises Refused for data that cannot be tabulated.
    """
    t, f = _curve(curve_temperature, curve_solid)
    solidus, liquidus = float(t[0]), float(t[-1])
    named = {
        "latent heat": latent_heat,
        "liquid heat capacity": liquid_heat,
        "liquid conductivity": liquid_conductivity,
        "density": density,
    }
    for name, value in named.items():
        if not (np.isfinite(value) and value > 0.0):
            raise Refused(f"{name} of the metal must be a positive number")
    heat_t, heat_v = _nodes(solid_heat_temperature, solid_heat, "heat capacity of the solid")
    cond_t, cond_v = _nodes(solid_conductivity_temperature, solid_conductivity, "conductivity of the solid")
    low, high = min(lowest, solidus - 50.0) - 20.0, max(highest, liquidus + 50.0) + 20.0

    below = np.unique(np.concatenate([np.linspace(low, solidus, 1001), heat_t, cond_t]))
    below = below[(below >= low) & (below <= solidus)]
    within = np.unique(np.concatenate([np.linspace(solidus, liquidus, FINE), t]))[1:]
    temperature = np.concatenate([below, within, [high]])
    solid = np.interp(temperature, t, f)
    solid[temperature <= solidus] = 1.0
    solid[temperature >= liquidus] = 0.0
    heat = solid * np.interp(temperature, heat_t, heat_v) + (1.0 - solid) * liquid_heat
    conductivity = solid * np.interp(temperature, cond_t, cond_v) + (1.0 - solid) * liquid_conductivity
    u = (_steps(heat, temperature) + latent_heat * (1.0 - solid)) / liquid_heat
    w = _steps(conductivity, temperature) / (density * liquid_heat)
    at = below.size - 1
    u -= u[at]
    u_liquidus = float(u[-2])

    count = max(1, nodes)
    step = u_liquidus / count
    under, over = int(np.ceil(-u[0] / step)), int(np.ceil((u[-1] - u_liquidus) / step))
    if under + over > MOST_NODES:
        count = max(1, int(count * MOST_NODES / (under + over)))
        step = u_liquidus / count
        under, over = int(np.ceil(-u[0] / step)), int(np.ceil((u[-1] - u_liquidus) / step))
        if under + over > 4 * MOST_NODES:
            raise Refused("latent heat and freezing range are too small to tabulate: give a wider freezing range")
    under, over = max(under, 1), max(over, 1)
    even = step * np.arange(-under, count + over + 1)
    even[under], even[under + count] = 0.0, u_liquidus
    return MetalTable(
        least=-step * under,
        step=step,
        temperature=_through(even, u, temperature),
        potential=_through(even, u, w),
        conductivity=np.interp(even, u, conductivity),
        solid=np.interp(even, u, solid),
        solidus=solidus,
        liquidus=liquidus,
        liquidus_u=u_liquidus,
        density=float(density),
        heat=float(liquid_heat),
    )


def _nodes(temperature: ArrayLike, value: ArrayLike, name: str) -> tuple[Floats, Floats]:
    """Property nodes sorted by temperature. Raises Refused unless finite and positive."""
    t = np.atleast_1d(np.asarray(temperature, dtype=float)).ravel()
    v = np.atleast_1d(np.asarray(value, dtype=float)).ravel()
    if t.size != v.size or t.size < 1 or not (np.isfinite(t).all() and np.isfinite(v).all() and (v > 0.0).all()):
        raise Refused(f"{name} needs finite temperatures and as many positive values")
    order = np.argsort(t, kind="stable")
    return t[order], v[order]
