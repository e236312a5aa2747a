"""What pulls on a body of sand as the pattern is drawn, over what it holds: utilisations U, with U = 1 at the break.

Every formula takes floats or arrays that broadcast together, SI. Marks of the constants (seen, memory, computed, fitted, guess) stand
where they are used; the study they come from is "drawmodel" of the stores. Nothing here was measured on a mould.

* pull-off (a): drag on all wall beyond a level against tension of the section there and half the shear of its sides to other sand.
* tilt (b): the pattern leans as it rises and bends the body sideways: a strain, so stronger sand does not help.
* hanging (c), edges (d), bending and dropping of the whole half (e).
"""

from __future__ import annotations

import numpy as np

from strickle.base import Array

GRAVITY = 9.81
AIR = 1.8e-5  # viscosity of air [Pa s], memory
SEAT = 10e-6  # wall free of the sand beyond its own elastic give [m], guess
RIM_STRAIN, RIM_HOLD, RIM_OFF = 0.015, 0.005, 0.05  # rule of the rim: strain at break, least and relative offset of the lift; guess


def wall_drag(adhesion: Array, friction: Array, left: Array, strength: Array, slender: float, draft: Array, shear: Array) -> Array:
    """Drag on a wall [Pa]: adhesion, and friction under what is left of the ramming pressure, eased by the draft as the body stretches.

    ``left`` [Pa] is pressure after rapping, ``slender`` depth over width, ``draft`` a tangent. By estimate, not measured. Never above the
    sand's own shear strength.

    >>> round(float(wall_drag(700.0, 0.42, 1000.0, 8000.0, 2.5, 0.0, 18000.0)), 1)
    1120.0
    >>> round(float(wall_drag(700.0, 0.42, 1000.0, 8000.0, 2.5, 0.01746, 18000.0)), 1)
    961.9
    """
    press = np.maximum(0.0, left - strength * slender * draft)
    cos = 1.0 / np.sqrt(1.0 + draft**2)
    return np.asarray(np.minimum(adhesion + press * (friction * cos - draft * cos), shear))


def corner(width: Array | float, zone: Array | float, is_fin: bool) -> Array:
    """How much the root's corner raises the mean stress, averaged over the process ``zone`` [m]; never below 1. Computed (linear elastic).

    >>> float(corner(0.012, 0.008, False)), round(float(corner(0.1, 0.008, False)), 2)
    (1.0, 1.42)
    """
    return np.asarray(np.maximum(1.0, (0.87 if is_fin else 0.70) * (np.asarray(width) / zone) ** 0.28))


def pull_off(force: Array, section: Array, side: Array, strength: Array, shear: Array, raised: Array) -> Array:
    """Pull on a section [N] over what it holds: ``section`` [m2] in tension and half the shear of its ``side`` [m2] to other sand.

    >>> round(float(pull_off(1.152, 144e-6, 0.0, 8000.0, 18000.0, 1.0)), 6)
    1.0
    """
    return np.asarray(raised * np.maximum(force, 0.0) / (strength * section + 0.5 * shear * side))


def tilted(
    tilt: Array, clear: Array, strain: Array, pull: Array, free: Array, depth: float, width: float, draft: float, length: float, steps: int = 14
) -> Array:
    """Bending by a pattern that leans while it rises, with what is left of the pull; the worst over the lift. Kinematic: an upper bound.

    ``tilt`` [rad] is reached as the pattern pivots on its far edge, ``length`` away; ``clear`` [m] was made by rapping; ``strain`` breaks
    the sand; ``free`` [m] sideways give after which a drafted wall no longer drags. All arrays (n,).

    >>> one = np.ones(1)
    >>> round(float(tilted(0.035 * one, 1.5e-4 * one, 2e-3 * one, 0 * one, 1e-5 * one, 0.03, 0.012, 0.0, 0.3)[0]), 1)
    2.9
    """
    worst = np.array(pull, dtype=float)
    bent = strain * depth**2 * (1.0 + 2.5 * (depth / width) ** -1.6)
    for lift in np.linspace(0.0, depth, steps + 1)[1:-1]:
        into = np.maximum(interference(tilt, clear, float(lift), depth, draft, length), 0.0)
        rest = pull * (1.0 - lift / depth) * np.maximum(0.0, 1.0 - lift * draft / free)
        np.maximum(worst, into * width / bent + rest, out=worst)
    return worst


def interference(tilt: Array, clear: Array, lift: float, depth: float, draft: float, length: float) -> Array:
    """How far a leaning pattern pushes the tip sideways [m] at a lift [m].

    >>> round(float(interference(np.radians(1.0), 1.5e-4, 2.7e-3, 0.03, 0.0, 0.3)) * 1e3, 2)
    0.33
    """
    return np.asarray(np.minimum(tilt, 2.0 * lift / length) * (depth - lift) - clear - 2.0 * lift * draft)


def hang(volume: float, section: float, density: float, jerk: Array, strength: Array) -> Array:
    """Weight of a hanging body, jerked (in units of gravity), over its weakest section.

    >>> round(float(hang(144e-6 * 0.3, 144e-6, 1600.0, 0.3, 8000.0)), 2)
    0.77
    """
    return np.asarray(density * GRAVITY * (1.0 + jerk) * volume / (section * strength))


def ledge(reach: float, thick: float, density: float, jerk: Array, flexural: Array) -> Array:
    """A shelf of sand ``thick`` at its root that hangs out by ``reach`` [m], jerked: a beam held at one end, as the bar over a table's edge.

    >>> round(float(ledge(0.08, 0.03, 1600.0, 0.3, 12000.0)), 2)
    1.09
    """
    return np.asarray(3.0 * density * GRAVITY * (1.0 + jerk) * reach**2 / (thick * flexural))


def side_jerk(depth: float, width: float, density: float, jerk: Array, flexural: Array) -> Array:
    """Bending of a standing wall of sand jerked sideways.

    >>> round(float(side_jerk(0.03, 0.012, 1600.0, 0.3, 12000.0)), 2)
    0.09
    """
    return np.asarray(3.0 * density * GRAVITY * jerk * depth**2 / (width * flexural))


def edge(drag: Array, strength: Array, angle: float) -> Array:
    """Drag on an edge of sand of the given angle [deg]; a feather edge below 80 degrees. Guess.

    >>> round(float(edge(1220.0, 8000.0, 90.0)), 3), round(float(edge(1220.0, 8000.0, 30.0)), 2)
    (0.076, 0.79)
    """
    blunt = 0.5 * drag / strength
    return np.asarray(blunt if angle >= 80.0 else np.maximum(blunt, 3.0 * drag / (strength * np.tan(np.radians(angle)))))


def rim(into: Array, drag: Array, strength: Array, height: float, length: float) -> Array:
    """A leaning pattern against the rim of a wall of sand, bounded by the moment a hand can give. Guess."""
    off = max(RIM_HOLD, RIM_OFF * length)
    return np.asarray(np.minimum(np.maximum(into, 0.0) / (0.5 * height * RIM_STRAIN), 5.5 * drag * off / (height * strength)))


def cake_bend(short: float, long: float, net: float, load: float, density: float, jerk: Array, flexural: Array, relief: float) -> Array:
    """Bending of a rammed half lifted without a board: ``short`` by ``long`` [m] inside (or a bay between bars), carrying as a plate ``net``
    thick and weighing as one ``load`` thick [m]. ``relief`` for bond and arching at the flask wall: 0.65 rigid and grooved, 1 smooth.
    Plate formula from memory, held by a linear elastic twin within 2 %.

    >>> round(float(cake_bend(0.305, 0.305, 0.089, 0.089, 1600.0, 0.3, 12000.0, 0.65)), 2)
    0.33
    """
    plate = 0.75 / (1.0 + 1.61 * (short / long) ** 3)
    return np.asarray(relief * plate * density * GRAVITY * (1.0 + jerk) * short**2 * load / (net**2 * flexural))


def cake_drop(short: float, long: float, weight: float, density: float, jerk: Array, bond: Array) -> Array:
    """Weight of a rammed half over its bond [Pa] to the flask walls: free of thickness; ``weight`` is its sand over that of a full half.

    >>> round(float(cake_drop(0.305, 0.305, 1.0, 1600.0, 0.3, 6000.0)), 2)
    0.26
    """
    return np.asarray(density * GRAVITY * (1.0 + jerk) * short * long * weight / (2.0 * (short + long) * bond))
