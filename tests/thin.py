"""Thin strips and plates of A356 in sand, filled with heat, and the account of heat that every such run must keep."""

from __future__ import annotations

import numpy as np

import melt_shop as shop
from flows import grid, kept, say
from strickle import MediumData, fill, open_air, poured

MOULD = shop.mould()
SAND = MediumData(conductivity=MOULD.sand_conductivity, density=MOULD.sand_density, heat_capacity=MOULD.sand_heat)
METAL = shop.a356()
ROOM, KELVIN = 293.15, 273.15
STOPS, CONTACTS, SKINS = (0.15, 0.3), (300.0, 1000.0), (1.0, 3.0)
"""Bands: share solid at which a front stands (common practice), metal to sand [W/(m2 K)] and pull of the skin [N/m] of the stores."""
LIKELY = {"stands": 0.3, "contact": 600.0, "skin": 2.0}
FRICTION = 0.009  # Fanning's, of a duct in rammed sand
HEAD = 0.1  # m
PRESS = METAL.density_liquidus * 9.81 * HEAD
FULL = 0.99


def audited(told, name):
    """What every run must keep, and its heat: what the metal lost is what the sand got, in all and summed over the walls. Says so."""
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


def strip(thick, celsius, speed, *, wide=6, long=150, cell=1e-3, until=8.0, **more):
    """A strip fed at one end, lengths in cells: metal comes up through the foot of a shaft 8 cells long at ``speed`` [m/s] in the strip's section,
    pressing no more than HEAD of metal; the far end is open. The run and its reach [m]: how far metal has filled half of the section.
    """
    tags = np.full((10 + long, wide, thick + 4), 10)
    tags[:8, :, 1 : thick + 3] = 1
    tags[:8, :, 0] = 12
    tags[8 : 8 + long, :, 1 : 1 + thick] = 1
    tags[8 + long, :, 1 : 1 + thick] = 11
    mouth = poured(speed * thick * wide * cell**2, temperature=celsius + KELVIN, most=PRESS)
    told = fill(
        grid(tags, cell), {1: METAL, 10: SAND, 11: open_air(), 12: mouth}, start={1: celsius + KELVIN, 10: ROOM}, until=until, full=0.999,
        friction=FRICTION, **{**LIKELY, **more},
    )  # fmt: skip
    came = np.isfinite(told.arrival[8 : 8 + long, :, 1 : 1 + thick]).mean(axis=(1, 2)) > 0.5
    return told, float(came.sum()) * cell


def plate(thick, celsius, flow, *, long=40, tall=30, cell=1e-3, breaks=None, until=40.0, preset="rough", **more):
    """A standing plate, lengths in cells, over a runner 6 x 6 cells with one gate of 12 x 3 in the middle of its foot, the same for every ``thick``;
    ``flow`` [m3/s] comes in at the runner's end, pressing no more than HEAD. ``breaks``: moment and length of a stop [s].
    """
    deep = max(thick, 6)
    tags = np.full((long + 4, deep + 4, tall + 14), 10)
    middle, mid = 2 + long // 2, 2 + deep // 2
    tags[2 : 2 + long, mid - thick // 2 : mid - thick // 2 + thick, 12 : 12 + tall] = 1
    tags[2 : middle + 6, mid - 3 : mid + 3, 2:8] = 1
    tags[middle - 6 : middle + 6, mid - 1 : mid + 2, 8:12] = 1
    tags[1, mid - 3 : mid + 3, 2:8] = 12
    rates, times = (flow, None) if breaks is None else (np.array([flow, 0.0, flow]), np.array([0.0, breaks[0], sum(breaks)]))
    mouth = poured(rates, times=times, temperature=celsius + KELVIN, most=PRESS)
    return fill(
        grid(tags, cell), {1: METAL, 10: SAND, 12: mouth}, start={1: celsius + KELVIN, 10: ROOM}, until=until, full=FULL, friction=FRICTION,
        preset=preset, **{**LIKELY, **more},
    )  # fmt: skip


def lowest(thick, flow, *, low=None, high=750.0, within=5.0, **more):
    """Lowest temperature [degC] at which the plate fills, by bisection down from ``high``, to ``within``; infinite where it does not at ``high``."""
    low = METAL.liquidus - KELVIN if low is None else low
    if audited(plate(thick, high, flow, **more), f"plate {thick}, {high:.0f} degC").status != "filled":
        return np.inf
    while high - low > within:
        middle = 0.5 * (low + high)
        fills = audited(plate(thick, middle, flow, **more), f"plate {thick}, {middle:.0f} degC").status == "filled"
        low, high = (low, middle) if fills else (middle, high)
    return high
