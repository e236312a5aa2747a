"""Constants of nature and the two flow sums that more than one room needs."""

from __future__ import annotations

import math

GRAVITY = 9.81
"""m/s2; two decimals, as the worked examples of the trade's books have it."""

STEFAN_BOLTZMANN = 5.670374419e-8
"""W/(m2 K4); CODATA 2018."""

ICE_POINT = 273.15
"""K; 0 degrees Celsius."""


def falling_speed(height: float) -> float:
    """Speed [m/s] after a free fall of ``height`` [m].

    >>> round(falling_speed(0.2), 4)
    1.9809
    """
    return math.sqrt(2.0 * GRAVITY * height)


def tearing_speed(surface_tension: float, density: float) -> float:
    """Speed [m/s] at which a metal front can tear its own surface and fold oxide in: 2 (g * tension / density)^(1/4).

    Source: Campbell, Complete Casting Handbook, 2011 (from memory, unverified).

    >>> round(tearing_speed(1.05, 2385.0), 4)
    0.5127
    """
    return 2.0 * math.sqrt(math.sqrt(GRAVITY * surface_tension / density))
