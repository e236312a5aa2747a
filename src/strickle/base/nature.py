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


def tapered_stream(
    top_area: float, base_area: float, height: float, entrance: float, friction: float, steps: int = 24
) -> tuple[tuple[float, float, float], ...]:
    """A stream that fills a round tapered pipe, from its top down: (depth [m], velocity head, loss so far) at each step.

    Heads and losses are in velocity heads of the base. ``entrance`` is the loss coefficient at the top, ``friction`` the Darcy factor.

    >>> depth, head, loss = tapered_stream(2e-4, 1e-4, 0.1, 0.57, 0.036)[-1]
    >>> round(depth, 3), head, round(loss, 2)
    (0.1, 1.0, 0.29)
    """
    top, base = math.sqrt(4.0 * top_area / math.pi), math.sqrt(4.0 * base_area / math.pi)
    head, loss = (base / top) ** 4, entrance * (base / top) ** 4
    out = [(0.0, head, loss)]
    for step in range(steps):
        middle = top + (base - top) * (step + 0.5) / steps
        loss += friction * (height / steps) / middle * (base / middle) ** 4
        end = top + (base - top) * (step + 1) / steps
        out.append((height * (step + 1) / steps, (base / end) ** 4, loss))
    return tuple(out)
