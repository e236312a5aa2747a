"""Text with a unit, at the edge only. pint is imported when the first text is parsed."""

from __future__ import annotations

import functools
import math
import re
from typing import Any

from strickle.base.errors import BadInput

_PINT = {
    "1": "dimensionless",
    "m": "m",
    "m2": "m**2",
    "m3": "m**3",
    "kg": "kg",
    "s": "s",
    "K": "K",
    "Pa": "Pa",
    "N": "N",
    "J": "J",
    "W": "W",
    "m/s": "m/s",
    "m3/s": "m**3/s",
    "kg/m3": "kg/m**3",
    "W/(m K)": "W/m/K",
    "W/(m2 K)": "W/m**2/K",
    "kg/s": "kg/s",
    "J/kg": "J/kg",
    "J/(kg K)": "J/kg/K",
    "Pa s": "Pa*s",
    "N/m": "N/m",
    "1/K": "1/K",
    "kg/(m3 K)": "kg/m**3/K",
}
_EXAMPLES = {
    "1": "1.3 %",
    "m": "12 mm, 1/2 in",
    "m2": "120 mm2, 0.2 in2",
    "m3": "250 cm3, 1.2 l",
    "kg": "1.5 kg, 6 lb",
    "s": "8 s, 2 min",
    "K": "720 degC, 1350 degF, 993 K",
    "Pa": "8 kPa, 1.2 psi",
    "J": "1.2 MJ, 0.3 kWh",
    "W": "2 kW",
    "m/s": "0.5 m/s, 20 in/s",
}
_NUMBER = re.compile(r"^\s*([-+]?(?:\d+\s+\d+/\d+|\d+/\d+|\d*\.?\d+(?:[eE][-+]?\d+)?))\s*(.*?)\s*$")


@functools.cache
def _registry() -> Any:
    import pint

    registry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=None)
    registry.define("percent = 0.01 = %")
    return registry


def _number(text: str) -> float:
    whole, _, rest = text.strip().partition(" ")
    if rest:
        sign = -1.0 if whole.startswith("-") else 1.0
        return float(whole) + sign * _number(rest)
    top, slash, bottom = whole.partition("/")
    return float(top) / float(bottom) if slash else float(top)


def parse(text: str, unit: str, what: str = "value") -> float:
    """``text`` such as "12 mm", "1/2 in", "1350 degF", "1.3 %" in SI ``unit``.

    A bare number is refused unless ``unit`` is "1". Raises BadInput with the units allowed.
    """
    hint = f"Give it with a unit, such as {_EXAMPLES.get(unit, unit)}"
    match = _NUMBER.match(text) if isinstance(text, str) and len(text) < 80 else None
    if match is None:
        raise BadInput(f"{what}: {text!r} is not a number with a unit", hint)
    try:
        number = _number(match[1])
    except ZeroDivisionError:
        raise BadInput(f"{what}: {text!r} divides by zero", hint) from None
    name = match[2].replace("²", "2").replace("³", "3").replace("°", "deg")
    if not name:
        if unit == "1":
            return number
        raise BadInput(f"{what}: {text!r} has no unit", hint)
    if not re.fullmatch(r"[A-Za-z%µ/*\^0-9 ()._-]+", name):
        raise BadInput(f"{what}: {match[2]!r} is not a unit", hint)
    name = re.sub(r"\b(mm|cm|m|in|ft|inch|km)([23])\b", r"\1**\2", name)
    registry = _registry()
    try:
        value = float(registry.Quantity(number, registry.Unit(name)).to(_PINT[unit]).magnitude)
    except Exception:
        raise BadInput(f"{what}: {text!r} cannot be read in {unit if unit != '1' else 'a share'}", hint) from None
    if not math.isfinite(value):
        raise BadInput(f"{what}: {text!r} is not finite", hint)
    return value
