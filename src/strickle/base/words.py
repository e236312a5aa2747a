"""Quantities inside text. Stages write tokens; the shells turn them into the person's units and spelling."""

from __future__ import annotations

import math
import re
from fractions import Fraction

_TOKEN = re.compile(r"\{\{q:([^|}]+)\|([^|}]+)(?:\|([^}]*))?\}\}")


def tell(value: float, unit: str, style: str = "") -> str:
    """A token for ``value`` in SI ``unit``.

    ``style``: "step" a temperature difference, "%" a share, "min" minutes however short, "fine" one more digit (of a length: tenths of a
    millimetre), "drill" a bit or wire, which US shops know by fractions of an inch.

    >>> tell(0.012, "m")
    '{{q:0.012|m}}'
    """
    number = float(value)
    return f"{{{{q:{number!r}|{unit}|{style}}}}}" if style else f"{{{{q:{number!r}|{unit}}}}}"


def figures(value: float, digits: int = 3) -> str:
    """``value`` rounded to ``digits`` significant figures, without exponent or useless zeros.

    >>> figures(0.012345), figures(1234.5), figures(12.0)
    ('0.0123', '1230', '12')
    """
    if not math.isfinite(value):
        return "not known"
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    text = f"{round(value, places):.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


_METRIC: dict[str, tuple[float, float, str]] = {
    "m": (1e3, 0, "mm"),
    "m2": (1e6, 0, "mm²"),
    "m3": (1e6, 0, "cm³"),
    "kg": (1, 0, "kg"),
    "K": (1, -273.15, "°C"),
    "Pa": (1e-3, 0, "kPa"),
    "N": (1, 0, "N"),
    "J": (1e-6, 0, "MJ"),
    "W": (1e-3, 0, "kW"),
    "m/s": (1, 0, "m/s"),
    "m3/s": (1e3, 0, "L/s"),
    "kg/m3": (1, 0, "kg/m³"),
    "kg/s": (1, 0, "kg/s"),
}
_US: dict[str, tuple[float, float, str]] = {
    "m": (1 / 0.0254, 0, "in"),
    "m2": (1 / 0.0254**2, 0, "in²"),
    "m3": (1 / 0.0254**3, 0, "in³"),
    "kg": (1 / 0.45359237, 0, "lb"),
    "K": (1.8, -459.67, "°F"),
    "Pa": (1 / 6894.757, 0, "psi"),
    "N": (1 / 4.4482216, 0, "lbf"),
    "J": (1 / 1055.056, 0, "Btu"),
    "W": (3.412142, 0, "Btu/h"),
    "m/s": (1 / 0.3048, 0, "ft/s"),
    "m3/s": (1 / 0.0254**3, 0, "in³/s"),
    "kg/m3": (1 / 16.018463, 0, "lb/ft³"),
    "kg/s": (1 / 0.45359237, 0, "lb/s"),
}
_SPELLING = {
    "mould": "mold",
    "aluminium": "aluminum",
    "grey": "gray",
    "colour": "color",
    "litre": "liter",
    "centre": "center",
    "metre": "meter",
    "galvanis": "galvaniz",
}


def shown(value: float, unit: str, system: str = "metric", style: str = "") -> tuple[str, str]:
    """(number, unit) as a person reads it, in ``system`` metric or us.

    >>> shown(0.161, "m", "metric", "fine"), shown(0.0032, "m", "us", "drill")
    (('161.0', 'mm'), ('1/8 in (3.2 mm)', ''))
    """
    if not math.isfinite(value) and (unit == "K" or style == "drill"):
        return figures(value), ""
    if unit == "1":
        return (figures(100 * value if abs(value) > 5e-9 else 0.0), "%") if style == "%" else (figures(value), "")
    if unit == "s":
        if style == "fine" or (value < 120 and style != "min"):
            return figures(value, 2 if value >= 1 else 1), "s"
        return figures(value / 60, 2), "min"
    if unit == "kg" and system == "metric" and abs(value) < 0.1 and value:
        return figures(value * 1e3), "g"
    if unit == "m" and style == "fine":
        return (f"{value / 0.0254:.3f}", "in") if system == "us" else (f"{value * 1e3:.1f}", "mm")
    if unit == "m" and style == "drill" and system == "us":
        return f"{Fraction(max(round(value / 0.0254 * 64), 1), 64)} in ({figures(value * 1e3)} mm)", ""
    if unit == "K" and style == "step":
        return (figures(value * 1.8), "°F") if system == "us" else (figures(value), "°C")
    factor, offset, name = (_US if system == "us" else _METRIC).get(unit, (1.0, 0.0, unit))
    if unit == "K":
        return f"{round(value * factor + offset):d}", name
    return figures(value * factor + offset), name


def ends(low: float, high: float, unit: str, system: str = "metric", style: str = "") -> tuple[tuple[str, str], tuple[str, str]]:
    """Both ends of a band as ``shown`` gives one, a time of minutes at one end in minutes at both.

    >>> ends(110.0, 186.0, "s"), ends(20.0, 90.0, "s")
    ((('1.8', 'min'), ('3.1', 'min')), (('20', 's'), ('90', 's')))
    """
    last = shown(high, unit, system, style)
    return shown(low, unit, system, "min" if unit == "s" and last[1] == "min" and not style else style), last


def spelled(text: str, system: str) -> str:
    """Trade words in the person's spelling; codes of findings (room.word) and keys (two_words) stay as they are.

    >>> spelled("Moulder's mould, grey_iron: mould.no_flask", "us")
    "Molder's mold, grey_iron: mould.no_flask"
    """
    if system != "us":
        return text
    for british, american in _SPELLING.items():
        for old, new in ((british, american), (british.capitalize(), american.capitalize())):
            text = re.sub(rf"(?<!_){old}(?!_|\w*\.[a-z])", new, text)
    return text


def render(text: str, system: str = "metric") -> str:
    """Text with every quantity token shown in ``system`` units.

    >>> render("wall " + tell(0.0042, "m")), render("wall " + tell(0.0042, "m"), "us")
    ('wall 4.2 mm', 'wall 0.165 in')
    """

    def one(match: re.Match[str]) -> str:
        try:
            value = float(match[1])
        except ValueError:  # no token of ours but something that came with a name
            return match[0]
        number, name = shown(value, match[2], system, match[3] or "")
        return number if not name else f"{number}{'' if name == '%' else ' '}{name}"

    return _TOKEN.sub(one, spelled(text, system))
