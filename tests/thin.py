"""Thin strips and plates of A356 in sand, filled with heat, and the account of heat that every such run must keep."""

from __future__ import annotations

import numpy as np

import melt_shop as shop
from flows import grid, kept, say
from strickle import MediumData, fill, poured

MOULD = shop.mould()
SAND = MediumData(conductivity=MOULD.sand_conductivity, density=MOULD.sand_density, heat_capacity=MOULD.sand_heat)
METAL = shop.a356()
ROOM, KELVIN = 293.15, 273.15
STOPS, CONTACTS, SKINS = (0.15, 0.3), (300.0, 1000.0), (1.0, 3.0)
"""Bands: share solid at which a front stands (common practice), metal to sand [W/(m2 K)] and pull of the skin [N/m] of the stores."""
LIKELY = {"stands": 0.3, "contact": 600.0, "skin": 2.0}
FRICTION = 0.009  # Fanning's, of a duct in rammed sand
WEIGHT = METAL.density_liquidus * 9.81  # Pa for each metre of head
FULL = 0.98


def audited(told, name):
    """What every run must keep, and its heat: what the metal lost, less what left, is what the sand got, in all and over the walls. Says so."""
    kept(told)
    walls = float(np.nansum(told.wall_heat))
    scale = max(abs(told.metal_loss), 1e-9)
    say(
        f"{name}: {told.status} after {told.time:.2f} s, {told.full:.1%} full; metal lost {told.metal_loss:.1f} J, sand got {told.wall_gain:.1f} J "
        f"({told.wall_gain / scale - 1.0:+.1e}), its walls {walls:.1f} J; left {told.outflow * 1e6:.2f} cm3; {told.steps} steps, "
        f"fullest {np.nanmax(told.share):.4f}"
    )
    assert abs(told.metal_loss - told.wall_gain) < 5e-3 * scale
    assert abs(told.wall_gain - walls) < 5e-3 * scale
    return told


def _mouth(flow, celsius, head, breaks):
    """Metal poured in at ``flow`` [m3/s], pressing no more than ``head`` [m], with a stop if asked."""
    rates, times = (flow, None) if breaks is None else (np.array([flow, 0.0, flow]), np.array([0.0, breaks[0], sum(breaks)]))
    return poured(rates, times=times, temperature=celsius + KELVIN, most=head * WEIGHT)


def strip(thick, celsius, speed, *, wide=6, long=150, cell=1e-3, breaks=None, until=8.0, **more):
    """A strip fed at one end, lengths in cells: metal comes up through the foot of a shaft 8 cells long at ``speed`` [m/s] in the strip's section,
    pressing no more than 0.1 m of metal; air never resists. ``breaks``: moment and length of a stop [s]. The run and its reach [m]: how far metal has
    filled half of the section.
    """
    tags = np.full((10 + long, wide, thick + 4), 10)
    tags[:8, :, 1 : thick + 3] = 1
    tags[:8, :, 0] = 12
    tags[8 : 8 + long, :, 1 : 1 + thick] = 1
    mouth = _mouth(speed * thick * wide * cell**2, celsius, 0.1, breaks)
    told = fill(
        grid(tags, cell), {1: METAL, 10: SAND, 12: mouth}, start={1: celsius + KELVIN, 10: ROOM}, until=until, full=0.999,
        friction=FRICTION, **{**LIKELY, **more},
    )  # fmt: skip
    came = np.isfinite(told.arrival[8 : 8 + long, :, 1 : 1 + thick]).mean(axis=(1, 2)) > 0.5
    return told, float(came.sum()) * cell


def plate(thick, celsius, flow, *, long=80, tall=50, gate=40, cell=1.0, breaks=None, until=40.0, **more):
    """A standing plate, lengths in mm, over a runner 10 x 10 mm with one gate ``gate`` x 10 mm in the middle of its foot, wide enough to be
    entered freely and the same for every ``thick``; ``flow`` [m3/s] comes in at the runner's end, pressing no more than 0.2 m of metal.
    ``breaks``: moment and length of a stop [s]. All but ``thick`` are multiples of 5 mm, so that several cells fit.
    """
    tags = np.full([round(n / cell) for n in (long, 10, tall + 15)], 10)

    def put(tag, *sides):
        tags[tuple(slice(round(a / cell), round(b / cell)) for a, b in sides)] = tag

    put(1, (0, long), (0, thick), (15, 15 + tall))
    put(1, (0, (long + gate) / 2), (0, 10), (0, 10))
    put(1, ((long - gate) / 2, (long + gate) / 2), (0, 10), (10, 15))
    put(12, (0, cell), (0, 10), (0, 10))
    return fill(
        grid(tags, cell * 1e-3), {1: METAL, 10: SAND, 12: _mouth(flow, celsius, 0.2, breaks)}, start={1: celsius + KELVIN, 10: ROOM}, until=until,
        full=FULL, friction=FRICTION, **{**LIKELY, **more},
    )  # fmt: skip


def lowest(fills, high=750.0, within=5.0):
    """Lowest temperature [degC] at which ``fills``, by bisection between that at which metal stands and ``high``; infinite where it does not at
    ``high``.
    """
    low = float(np.interp(LIKELY["stands"], METAL.curve_solid, METAL.curve_temperature)) - KELVIN
    if not fills(high):
        return np.inf
    while high - low > within:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if fills(middle) else (middle, high)
    return high
