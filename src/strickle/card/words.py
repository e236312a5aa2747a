"""Quantities on the card: values, bands and lists in the person's units."""

from __future__ import annotations

import math

from strickle.base import Span, shown, spelled

UNKNOWN = "not computed"


def qty(value: float, unit: str, units: str, style: str = "") -> str:
    """One value with its unit; what is not finite was not computed."""
    if not math.isfinite(value):
        return UNKNOWN
    number, name = shown(value, unit, units, style)
    return f"{number} {name}".strip() if name != "%" else f"{number}%"


def parts(span: Span, unit: str, units: str, style: str = "") -> tuple[str, str]:
    """A band as (figures, unit), both ends in the unit of the upper end where that can be.

    >>> parts(Span(value=-0.001, low=-0.003556, high=-0.001054), "m", "us")
    ('-0.14 to -0.04', 'in')
    """
    if not math.isfinite(span.low):
        return UNKNOWN, ""
    if not math.isfinite(span.high):
        number, name = shown(span.low, unit, units, style)
        return f"{number} {name}", "or more"
    (low, a), (high, b) = shown(span.low, unit, units, style), shown(span.high, unit, units, style)
    if a == b and span.low < 0:
        least, most = float(low), float(high)
        places = max(0, 1 - math.floor(math.log10(max(abs(least), abs(most), 1e-12))))
        return f"{least:.{places}f} to {most + 0.0:.{places}f}", a
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
    return f"{'from ' if figures.startswith('-') else ''}{figures}{'' if name == '%' else ' '}{name}".strip()


def near(value: float, units: str) -> str:
    """A place or depth [m] as it is marked by hand, without its unit: whole millimetres, hundredths of an inch; never a minus nought.

    >>> near(-0.0000009, "metric"), near(0.0524, "metric"), near(0.0524, "us")
    ('0', '52', '2.06')
    """
    number = round(value / 0.0254, 2) + 0.0 if units == "us" else round(value * 1e3) + 0.0
    return f"{number:.2f}" if units == "us" else f"{number:.0f}"


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
