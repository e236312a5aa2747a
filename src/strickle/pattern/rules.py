"""Trade rules of the pattern, with their sources. Lengths in metres."""

from __future__ import annotations

import math

from strickle.base import Input, Output, Source, Span, Value, rule
from strickle.stores import Stores

PRACTICE = Source(key="practice", says="common practice", mark="common practice")
MEMORY = Source(key="pattern-memory", says="from memory, unverified", mark="memory")
HOUSE = Source(key="pattern-house", says="choice of this program, to be learned from the log", mark="guess")

# Where the stores hold no datum under that name, these stand.
DEFAULTS = {
    "restraint.open": Value(value=0.10, low=0.05, high=0.15, unit="1", source="pattern-memory", mark="memory"),
    "restraint.frame": Value(value=0.30, low=0.20, high=0.40, unit="1", source="pattern-memory", mark="memory"),
    "pocket.depth_to_width_cope": Value(value=0.75, low=0.5, high=1.0, unit="1", source="pattern-memory", mark="memory"),
    "pocket.depth_to_width_drag": Value(value=1.25, low=1.0, high=1.5, unit="1", source="pattern-memory", mark="memory"),
    "pattern.fill_share": Value(value=0.05, low=0.02, high=0.10, unit="1", source="pattern-house", mark="guess"),
    "pattern.fill_least": Value(value=0.5e-6, low=0.2e-6, high=1e-6, unit="m3", source="pattern-house", mark="guess"),
    "pattern.most_rapping": Value(value=0.005, low=0.003, high=0.01, unit="1", source="pattern-house", mark="guess"),
    "pattern.drill_width": Value(value=0.015, low=0.010, high=0.020, unit="m", source="practice", mark="common practice"),
    "core.least_width": Value(value=8e-3, low=8e-3, high=10e-3, unit="m", source="pattern-memory", mark="memory"),
    "core.slender": Value(value=5.0, low=5.0, high=8.0, unit="1", source="pattern-memory", mark="memory"),
    "core.slender_one": Value(value=2.5, low=2.0, high=4.0, unit="1", source="pattern-house", mark="guess"),
    "core.bore_least": Value(value=10e-3, low=8e-3, high=15e-3, unit="m", source="practice", mark="common practice"),
    "core.bore_deep": Value(value=1.5, low=1.0, high=2.0, unit="1", source="practice", mark="common practice"),
    "core.vent_share": Value(value=0.12, low=0.08, high=0.2, unit="1", source="pattern-house", mark="guess"),
    "core_print.clearance": Value(value=0.25e-3, low=0.1e-3, high=0.5e-3, unit="m", source="pattern-memory", mark="memory"),
    "core_print.least": Value(value=12e-3, low=8e-3, high=20e-3, unit="m", source="pattern-house", mark="guess"),
    "loose.deep": Value(value=12e-3, low=8e-3, high=20e-3, unit="m", source="pattern-house", mark="guess"),
    "loose.volume": Value(value=8e-6, low=4e-6, high=15e-6, unit="m3", source="pattern-house", mark="guess"),
    # angles in radians
    "draft.outside": Value(value=math.radians(2), low=math.radians(1), high=math.radians(3), unit="1", source="practice", mark="common practice"),
    "draft.pocket": Value(value=math.radians(3), low=math.radians(2), high=math.radians(5), unit="1", source="practice", mark="common practice"),
    # that low walls get more degrees is common practice, how many and over what taper is a choice
    "draft.steepest": Value(value=math.radians(5), low=math.radians(3), high=math.radians(7), unit="1", source="pattern-house", mark="guess"),
    "draft.extra": Value(value=0.15e-3, low=0.0, high=0.3e-3, unit="m", source="pattern-house", mark="guess"),
    "draft.across": Value(value=math.radians(1), low=0.0, high=math.radians(2), unit="1", source="pattern-house", mark="guess"),
    "draft.layer": Value(value=0.4e-3, low=0.2e-3, high=0.6e-3, unit="m", source="pattern-house", mark="guess"),
    "holes.narrow": Value(value=0.010, low=0.008, high=0.012, unit="m", source="practice", mark="common practice"),
    "holes.slender": Value(value=1.5, low=1.0, high=2.0, unit="1", source="practice", mark="common practice"),
    "holes.widest": Value(value=0.030, low=0.020, high=0.040, unit="m", source="pattern-house", mark="guess"),
    "holes.recess": Value(value=0.25, low=0.15, high=0.4, unit="1", source="pattern-house", mark="guess"),
    "fillet.share": Value(value=1 / 3, low=0.25, high=0.5, unit="1", source="practice", mark="common practice"),
    "fillet.most": Value(value=3e-3, low=2e-3, high=5e-3, unit="m", source="practice", mark="common practice"),
}


def constant(stores: Stores, name: str) -> Value:
    """The stores' datum of that name, else the one kept here."""
    return stores.constants.get(name) or DEFAULTS[name]


@rule(
    name="pattern_length",
    says="Length of the pattern for a length of the casting",
    inputs=(
        Input(name="length", unit="m", says="length of the cold casting", low=0.0),
        Input(name="contraction", unit="1", says="linear contraction", low=0.0, high=0.03),
    ),
    outputs=(Output(name="pattern_length", unit="m", says="length of the pattern"),),
    formula="length x (1 + contraction)",
    source="common practice",
    example='--length "300 mm" --contraction "1.3 %"',
)
def pattern_length(length: float, contraction: float) -> float:
    """Length of the pattern.

    >>> round(pattern_length(0.3, 0.013), 5)
    0.3039
    """
    return length * (1 + contraction)


def restraint(enclosed: float, open_: Value, frame: Value) -> Span:
    """Share of the book contraction that the sand holds back beyond what the book already counts.

    The allowance of the books is for ordinary open castings, so it holds the restraint of ``open_`` already. ``enclosed``: share of the
    part's hull that is sand with metal all round it across the draw; as it reaches three tenths the restraint reaches that of ``frame``.
    The values are from memory, the place where they hold is a choice of this program.

    >>> v = lambda a, b: Value(value=(a + b) / 2, low=a, high=b, unit="1", source="x", mark="memory")
    >>> [round(restraint(e, v(.05, .15), v(.2, .4)).value, 3) for e in (0.0, 0.15, 0.3)]
    [0.0, 0.1, 0.2]
    """
    held = min(max(enclosed, 0.0) / 0.3, 1.0)
    return Span(value=held * (frame.value - open_.value), low=held * (frame.low - open_.low), high=held * (frame.high - open_.high))


def contraction_used(free: Span, held: Span) -> Span:
    """Contraction less restraint, spreads joined at their worst.

    >>> round(contraction_used(Span(value=.013, low=.01, high=.018), Span(value=.1, low=.05, high=.15)).value, 5)
    0.0117
    """
    return Span(value=free.value * (1 - held.value), low=free.low * (1 - held.high), high=free.high * (1 - held.low))


def rapping_factor(length: float, growth: float, most: float) -> float:
    """What rapping takes off a length across the draw: (length - growth)/length, never more than ``most`` of it.

    >>> rapping_factor(0.1, 0.0002, 0.005), rapping_factor(0.01, 0.0002, 0.005)
    (0.998, 0.995)
    """
    return 1.0 - min(growth / length, most) if length > 0 else 1.0


def fillet_radius(thinner: float, share: float, most: float) -> float:
    """Radius of an inner corner: a share of the thinner of the walls that meet, no more than ``most``.

    >>> round(fillet_radius(0.006, 1 / 3, 0.003), 4), fillet_radius(0.02, 1 / 3, 0.003)
    (0.002, 0.003)
    """
    return min(share * thinner, most)


def wall_taper(height: float, angle: float, steepest: float, extra: float) -> float:
    """How far a wall of ``height`` goes out from its far end to its foot.

    Next to its far end a wall stands at ``steepest``; once that has given ``extra`` over the wall's own angle it goes on at its angle. So a
    low wall gets more degrees than a high one: 1 mm 5, 5 mm 3.7, 50 mm 2.2 of them at an angle of 2.

    >>> [round(math.degrees(math.atan(wall_taper(h, *map(math.radians, (2, 5)), 0.15e-3) / h)), 1) for h in (0.001, 0.005, 0.05)]
    [5.0, 3.7, 2.2]
    """
    return min(height * math.tan(max(steepest, angle)), extra + height * math.tan(angle))


def fall_speed(height: float) -> float:
    """Speed of metal after falling ``height``: root of 2 g h.

    >>> round(fall_speed(0.0127), 2)
    0.5
    """
    return math.sqrt(2 * 9.80665 * max(height, 0.0))
