"""Plate, cylinder and sphere of metal in sand along one radius, by plain explicit finite volumes: C07 with nothing left out.

Written for this check alone, with nothing of strickle's in it; two grids and their extrapolation.
"""

from __future__ import annotations

import functools

import numpy as np
from numba import njit

BODIES = {"plate": (0.010, 0), "cylinder": (0.020, 1), "sphere": (0.030, 2)}  # half-thickness or radius [m], power of the radius in the area
WIDTH = 0.005  # K, freezing range


@njit
def heat_time(radius: float, power: int, cell: float) -> float:
    """Seconds until the metal, poured at its melting point, has lost its latent heat to 55 mm of sand."""
    metal, cells = round(radius / cell), round((radius + 0.055) / cell)
    edge = np.arange(cells + 1) * cell
    area, volume = edge**power, np.diff(edge ** (power + 1)) / (power + 1)
    latent, solid, liquid, sand = 2550.0 * 396e3, 2550.0 * 1190.0, 2550.0 * 1080.0, 1500.0 * 1130.0
    t = np.where(np.arange(cells) < metal, 660.0, 20.0)
    heat, flow = np.full(metal, latent), np.zeros(cells + 1)
    step = 0.2 * cell**2 * liquid / 211.0
    need, lost, now = latent * volume[:metal].sum(), 0.0, 0.0
    while lost < need:
        for i in range(1, cells):
            link = 211.0 / cell if i < metal else 0.6 / cell
            if i == metal:
                link = 2.0 / (cell / 211.0 + cell / 0.6)
            flow[i] = area[i] * link * (t[i - 1] - t[i])
        for i in range(cells):
            change = step * (flow[i] - flow[i + 1]) / volume[i]
            if i < metal:
                heat[i] += change
                t[i] = 660.0 - WIDTH + (heat[i] / solid if heat[i] < 0.0 else WIDTH * heat[i] / latent)
            else:
                t[i] += change / sand
        lost += flow[metal] * step
        now += step
    return now - (lost - need) / flow[metal]


@functools.cache
def exact(kind: str) -> float:
    """Extrapolated from cells of 1 and 0.5 mm, the error falling with the square."""
    coarse, fine = (heat_time(*BODIES[kind], cell) for cell in (1e-3, 0.5e-3))
    return fine + (fine - coarse) / 3.0
