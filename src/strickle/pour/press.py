"""How metal that wets nothing is pressed into a mould's corners and slots: Young and Laplace's law in two dimensions."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from strickle.base import GRAVITY, Array, Span

WORST, LIKELY, BEST = 0, 1, 2
"""Columns of a band: strongest skin and slowest arrival, likely, weakest skin and fastest arrival."""


class Arrival(NamedTuple):
    """How the metal comes to each of n places."""

    head: Array  # (n,) m of metal over the place in the end
    speed: Array  # (n, 3) m/s of the arriving metal; WORST, LIKELY, BEST
    wait: Array  # (n,) s from its arrival until that head stands over the place


def reached_share(width: Array, height: Array, radius: Array) -> Array:
    """Share of a slot's section, ``width`` by ``height`` [m], that metal fills whose surface is bent to ``radius`` [m].

    Until the radius is half the width the surface bulges into the mouth as a cap; at that it goes in, or before, where the slot is so shallow
    that the cap touches the ground. After that two corners stay empty, under an arc that touches the ground and ends at the wall, or at the
    mouth where the radius is larger than the height.

    >>> [round(float(s), 4) for s in reached_share(0.7e-3, 0.5e-3, np.array([0.68e-3, 0.26e-3]))]
    [0.1313, 0.9171]
    """
    width, height, radius = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in (width, height, radius)))
    half = 0.5 * width
    touches = (height**2 + half**2) / (2.0 * height)
    inside = (radius < half) | ((height < half) & (radius <= touches))
    with np.errstate(divide="ignore", invalid="ignore"):
        lean = np.minimum(half / radius, 1.0)
        cap = np.where(lean < 1e-3, lean * half**2 * (2.0 / 3.0), radius**2 * np.arcsin(lean) - half * radius * np.sqrt(1.0 - lean**2))
    bend = np.where(inside, radius, half)
    foot = np.where(bend > height, np.sqrt(np.maximum(2.0 * bend * height - height**2, 0.0)), bend)
    turn = np.arcsin(np.minimum(foot / bend, 1.0))
    empty = bend * foot - 0.5 * (foot * np.sqrt(np.maximum(bend**2 - foot**2, 0.0)) + bend**2 * turn)
    share = np.where(inside, 1.0 - 2.0 * empty / (width * height), cap / (width * height))
    return np.asarray(np.clip(share, 0.0, 1.0))


def pressures(arrival: Arrival, liquid: Array, density: float) -> Array:
    """Pressure [Pa], (n, 3), that works on each place while it is liquid for ``liquid`` [s].

    The head grows evenly with time from the arrival on, so a place that freezes before has only its share of it. The arriving metal's
    rho v^2 / 2 works for a moment, and what it presses in is held by the skin: both are added, which favours the casting.
    """
    while_liquid = np.where(arrival.wait > liquid, liquid / np.maximum(np.maximum(arrival.wait, liquid), 1e-300), 1.0)
    still = density * GRAVITY * np.maximum(arrival.head, 0.0) * while_liquid
    return np.asarray(still[:, None] + 0.5 * density * arrival.speed**2)


def radii(pressure: Array, tension: Span) -> Array:
    """Radius [m], (n, 3), of the surface under ``pressure`` (n, 3): r = gamma / p, infinite where nothing presses."""
    gamma = np.array([tension.high, tension.value, tension.low])
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(pressure > 0.0, gamma / np.maximum(pressure, 1e-300), np.inf))


def sheet_speed(distance: Array, fall_speed: float, rate: float, density: float, tension: float) -> Array:
    """Speed [m/s] at ``distance`` [m] from where a falling stream lands on an open floor.

    It runs out as a thin sheet that keeps the speed of its fall as far as its thrust, rate times speed spread over the rim, holds against the
    pull of a front that wets nothing, 2 gamma on each length: r = rate v / (4 pi gamma). Beyond, the metal goes on as a puddle as high as it
    stands of itself, 2 sqrt(gamma / (rho g)).
    """
    jump = rate * fall_speed / (4.0 * math.pi * tension)
    stands = 2.0 * math.sqrt(tension / (density * GRAVITY))
    creeps = rate / (density * 2.0 * math.pi * np.maximum(distance, 1e-9) * stands)
    return np.asarray(np.where(distance <= jump, fall_speed, np.minimum(creeps, fall_speed)))


def gate_reach(distance: Array, gate_speed: float, width: float) -> Array:
    """Speed [m/s] of a stream ``distance`` [m] away from an ingate of ``width`` [m]: it spreads over half a circle at the ingate's height."""
    return np.asarray(gate_speed * np.minimum(width / (math.pi * np.maximum(distance, 1e-9)), 1.0))
