"""Quantities on the card: values, bands and lists in the person's units."""

from __future__ import annotations

from strickle.base import Span, shown, spelled

UNKNOWN = "not computed"


def qty(value: float, unit: str, units: str, style: str = "") -> str:
    """One value with its unit."""
    number, name = shown(value, unit, units, style)
    return f"{number} {name}".strip() if name != "%" else f"{number}%"


def parts(span: Span, unit: str, units: str, style: str = "") -> tuple[str, str]:
    """A band as (figures, unit), both ends in the unit of the upper end where that can be."""
    (low, a), (high, b) = shown(span.low, unit, units, style), shown(span.high, unit, units, style)
    if a == b:
        return (low if low == high else f"{low}–{high}"), a
    if unit == "s":
        return f"{span.low / 60:.2g}–{high}", b
    if unit == "kg" and b == "kg":
        return f"{span.low:.2g}–{high}", b
    return f"{low} {a}–{high}", b


def band(span: Span, unit: str, units: str, style: str = "") -> str:
    """A band in words."""
    figures, name = parts(span, unit, units, style)
    return f"{figures} {name}".strip()


def electric(span: Span) -> str:
    """Energy from the socket."""
    low, high = (f"{v / 3.6e6:.2g}" for v in (span.low, span.high))
    return f"{low}–{high} kWh"


def size(extents: tuple[float, ...], units: str) -> str:
    """A bounding size."""
    return " × ".join(shown(float(v), "m", units)[0] for v in extents) + " " + shown(1.0, "m", units)[1]


def say(text: str, units: str) -> str:
    """Trade words in the person's spelling."""
    return spelled(text, units)
