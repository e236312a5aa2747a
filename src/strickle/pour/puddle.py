"""Metal that does not wet sand, lying in an open impression: from which depth it covers, and what a brisk pour adds. Lengths in metres.

A front of depth d is pushed on by its own weight, rho g d^2 / 2 a metre, and held back by gamma (1 - cos angle): they balance at the height at
which a wide puddle stands. In a long impression that balance hardly knows of the walls at the sides, for the wall that metal must cover as it
draws together is the same as before: solved in the cross-section (Young and Laplace's law), the mean depth is 0.96 to 0.99 of that height for
any width. A round or square impression is covered earlier: a drop as wide as it touches its walls all round, and of a drop less than about ten
capillary lengths across a good part is rounded away.
"""

from __future__ import annotations

import math

from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from strickle.base import GRAVITY

ROUND = 0.75
"""Share of a round plan of the same longest size from which a plan counts as round: a square has 1.27, a plate twice as long as wide 0.64."""
WIDEST = 40.0
"""Capillary lengths from which a drop is a wide puddle."""
FLATTEST, SHARPEST = -9.5, 3.5
"""Powers of ten of a drop's curvature at its top, over the capillary length: those of drops wider than ``WIDEST`` and under a thousandth."""


def angle_of(stands: float, capillary: float) -> float:
    """Angle [radians] at which metal that stands ``stands`` high meets the sand.

    >>> round(math.degrees(angle_of(2.0 * math.sin(math.radians(75.0)), 1.0)), 6)
    150.0
    """
    return 2.0 * math.asin(min(stands / (2.0 * capillary), 1.0))


def drop_of(top: float, angle: float) -> tuple[float, float]:
    """Width and volume of a resting drop with curvature ``top`` at its top, in capillary lengths, up to where it meets the floor."""

    def slopes(_: float, at: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
        r, z, phi, _ = at
        sine = math.sin(phi)
        return math.cos(phi), sine, 2.0 * top + z - (sine / r if r > 1e-9 else top), math.pi * r * r * sine

    def meets(_: float, at: tuple[float, float, float, float]) -> float:
        return at[2] - angle

    def upright(_: float, at: tuple[float, float, float, float]) -> float:
        return at[2] - 0.5 * math.pi

    meets.terminal = True  # type: ignore[attr-defined]
    found = solve_ivp(slopes, (0.0, 4.0 * WIDEST), (1e-9, 0.0, 0.0, 0.0), events=(meets, upright), rtol=1e-7, atol=1e-10)
    widest = found.y_events[1][0] if len(found.y_events[1]) else found.y[:, -1]
    return 2.0 * float(widest[0]), float(found.y[3][-1])


def drop_depth(wide: float, stands: float, capillary: float) -> float:
    """Mean depth, over a round plan ``wide`` across, of the drop that just reaches all round; ``stands`` for a wide one.

    >>> round(drop_depth(1e-5, 2.0 * 6.7e-3, 6.7e-3) / 1e-5, 3)  # a ball in a pit: two thirds
    0.667
    """
    across = wide / capillary
    if across >= WIDEST:
        return stands
    angle = angle_of(stands, capillary) - 1e-6
    top = brentq(lambda power: math.log(drop_of(10.0**power, angle)[0] / across), FLATTEST, SHARPEST, xtol=1e-6)
    across, volume = drop_of(10.0**top, angle)
    return min(4.0 * volume / (math.pi * across * across) * capillary, stands)


def cover_depth(area: float, longest: float, stands: float, capillary: float) -> float:
    """Mean depth from which metal covers an impression of ``area`` in plan whose longest size is ``longest``.

    A drop's where it is about as long as wide, else that of a wide puddle.
    """
    if area < ROUND * math.pi / 4.0 * longest**2:
        return stands
    return drop_depth(longest, stands, capillary)


def hold_depth(stands: float, capillary: float) -> float:
    """Depth under which metal that was spread comes off an upright wall: the depth by which its edge hangs down there.

    >>> round(hold_depth(2.0 * math.sin(math.radians(75.0)), 1.0), 6)
    1.0
    """
    return capillary * math.sqrt(2.0 * (1.0 - math.sin(angle_of(stands, capillary))))


def spread_speed(depth: float, stands: float) -> float:
    """Speed [m/s] of a front ``depth`` deep whose push makes up for the weight it lacks: rho v^2 d = rho g (stands^2 - depth^2) / 2.

    >>> round(spread_speed(0.004, 0.012), 2), spread_speed(0.012, 0.012)
    (0.4, 0.0)
    """
    return math.sqrt(max(GRAVITY * (stands**2 - depth**2) / (2.0 * depth), 0.0))
