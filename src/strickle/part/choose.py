"""Which body, and in which unit its numbers are: taken where only one reading makes sense, asked for otherwise."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strickle.base import Array, BadInput, MissingChoice, tell
from strickle.part.health import Body, together
from strickle.part.rules import LEAST_LONGEST, LEAST_MASS, LEAST_SHORTEST, MOST_LONGEST, MOST_MASS, unlike

METRES = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254}
WORDS = {"mm": "millimetre", "in": "inch", "m": "metre"}
TRIED = ("mm", "in", "m")
ABSURD = (1e-3, 5.0)  # m, longest extent outside which even a stated unit is refused

RULE = (
    f"a part for a one-person foundry is between {tell(LEAST_LONGEST, 'm')} and {tell(MOST_LONGEST, 'm')} long, at least "
    f"{tell(LEAST_SHORTEST, 'm')} thick over all, and weighs between {tell(LEAST_MASS, 'kg')} and {tell(MOST_MASS, 'kg')} in the metal chosen; a "
    "unit is taken when it is the only one of millimetre, inch and metre that gives such a part"
)


class Reading(NamedTuple):
    """A unit for the numbers of a file, and how it came to be."""

    unit: str  # in words
    scale: float  # m per number
    assumed: bool  # by the rule
    ignored: str  # a unit that was asked for but not used, as the file carries its own
    why: str = ""  # why an assumed unit is the only one that makes sense


def extents(body: Body) -> Array:
    """Bounding size in the file's numbers."""
    return np.asarray(np.ptp(body.vertices, axis=0))


def sized(body: Body, scale: float) -> str:
    """Bounding size for a message; in bare numbers where the unit is not known."""
    sides = extents(body)
    return " x ".join(tell(float(side * scale), "m") if np.isfinite(scale) else f"{side:.4g}" for side in sides)


def body_of(found: tuple[Body, ...], wanted: str | None, file: str, scale: float) -> Body:
    """The body asked for by number or name, or the only one. Raises MissingChoice with the list, BadInput for one unknown or past mending."""
    body = _picked(found, wanted, file, scale)
    if body.refused is not None:
        raise body.refused
    return body


def _picked(found: tuple[Body, ...], wanted: str | None, file: str, scale: float) -> Body:
    listed = tuple(
        f"--body {i}: {body.name}, {sized(body, scale) if body.refused is None else 'which is past mending'}" for i, body in enumerate(found, 1)
    )
    if wanted is None:
        if len(found) == 1:
            return found[0]
        if len(found) <= 50 and together(found) is not None:
            listed += ("--body all: they hang together and are taken as one",)
        raise MissingChoice(f"{file} holds {len(found)} bodies", f"Choose one: {'; '.join(listed[:40])}", listed)
    if wanted.strip().lower() == "all" and len(found) > 1:
        whole = together(found)
        if whole is None:
            raise BadInput(
                f"{file}: its {len(found)} bodies do not hang together, so they are no single casting",
                f"Choose one: {'; '.join(listed[:40])}",
            )
        return whole
    named = [body for body in found if body.name == wanted]
    if named:
        return named[0]
    if wanted.strip().isdigit() and 1 <= int(wanted) <= len(found):
        return found[int(wanted) - 1]
    raise BadInput(f"{file} has no body {wanted[:40]!r}", f"It holds: {'; '.join(listed[:40])}")


def unit_of(body: Body, own: str, own_scale: float, wanted: str | None, density: float, file: str) -> Reading:
    """The unit of the body's numbers: the file's own, else the one asked for, else the only plausible one of mm, inch and metre.

    ``density`` [kg/m3] is the metal's, cold.  Raises MissingChoice where several or none are plausible, BadInput for a unit that is
    not known or gives an absurd size.
    """
    if wanted is not None and wanted not in METRES:
        raise BadInput(f"{wanted[:20]!r} is not a unit of length that is known here", "Use --unit mm, cm, m or in")
    if own:
        scale, ignored = own_scale, ""
        if wanted is not None and abs(METRES[wanted] / own_scale - 1.0) > 1e-9:
            ignored = wanted
        return _sane(body, Reading(own, scale, False, ignored), file)
    if wanted is not None:
        return _sane(body, Reading(wanted, METRES[wanted], False, ""), file)
    sides = extents(body)
    good, told, against = [], [], []
    for unit in TRIED:
        scale = METRES[unit]
        mass = body.volume * scale**3 * density
        longest = float(sides.max() * scale)
        if fault := unlike(longest, float(sides.min() * scale), mass):
            against.append(f"read in {WORDS[unit]} it would be {tell(longest, 'm')} long and weigh {tell(mass, 'kg')}, {fault}")
        else:
            good.append(unit)
        told.append((unit, f"--unit {unit}: {sized(body, scale)}, {tell(mass, 'kg')}"))
    if len(good) == 1:
        return Reading(good[0], METRES[good[0]], True, "", " and ".join(against))
    choices = tuple(text for unit, text in told if unit in good or not good)
    how = "more than one unit makes sense" if good else "no unit makes a plausible part"
    raise MissingChoice(
        f"{file} carries no unit, and {how} of its {sized(body, float('nan'))}",
        f"Give the unit: {'; '.join(choices)} (or --unit cm). The rule: {RULE}",
        choices,
    )


def _sane(body: Body, reading: Reading, file: str) -> Reading:
    longest = float(extents(body).max() * reading.scale)
    if not ABSURD[0] <= longest <= ABSURD[1]:
        raise BadInput(
            f"{file} read in {WORDS.get(reading.unit, reading.unit)} is {tell(longest, 'm')} long, which is no part to cast at home",
            "Give another --unit (mm, cm, m, in) or export it in its true size",
        )
    return reading
