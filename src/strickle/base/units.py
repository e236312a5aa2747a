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
    "K/s": "K/s",
}
# What people write, as pint knows it.
_SPOKEN = (
    (r"\bfl\.? ?oz\b", "fluid_ounce"),
    (r"\bcu\.? (\w+)", r"\1**3"),
    (r"\bsq\.? (\w+)", r"\1**2"),
    (r"\bcfm\b", "ft**3/min"),
    (r"\b(mm|cm|m|in|ft|inch|km)([23])\b", r"\1**\2"),
)
_SCALES = {"C": "degC", "F": "degF"}
_WEIGHED = {"N": "kg", "Pa": "kg/m**2"}  # forces and pressures that people give as masses
_KINDS = {
    "1": "share", "m": "length", "m2": "area", "m3": "volume", "kg": "mass", "s": "time", "K": "temperature", "Pa": "pressure", "N": "force",
    "J": "heat", "W": "power", "m/s": "speed", "m3/s": "flow", "kg/m3": "density", "kg/s": "mass a time",
}  # fmt: skip
_EXAMPLES = {
    "1": "1.3 %",
    "m": "12 mm, 1/2 in",
    "m2": "120 mm2, 0.2 in2",
    "m3": "250 cm3, 1.2 l",
    "kg": "1.5 kg, 6 lb",
    "s": "8 s, 2 min",
    "K": "720 degC, 1350 degF, 993 K",
    "Pa": "8 kPa, 1.2 psi",
    "N": "40 N, 9 lbf, 4 kg",
    "J": "1.2 MJ, 0.3 kWh",
    "W": "2 kW",
    "m/s": "0.5 m/s, 20 in/s",
    "m3/s": "0.5 L/s, 30 in3/s",
    "kg/m3": "2380 kg/m3, 0.086 lb/in3",
    "J/kg": "390 kJ/kg, 168 Btu/lb",
    "J/(kg K)": "0.9 kJ/kg/K, 0.215 Btu/lb/degF",
    "K/s": "0.5 K/s, 0.9 degF/s",
}
_TWO = re.compile(  # 1 ft 2 1/2 in, 2 lb 3 oz
    r"\s*(\d{1,6}\s*(?:ft|feet|foot|'|lbs?))[\s,]*(\d{1,6}(?:[\s-]\d{1,4}/\d{1,4}|/\d{1,4}|\.\d{1,6})?\s*(?:in|inch|inches|\"|oz))\s*", re.IGNORECASE
)
_NUMBER = re.compile(r"^\s*([-+]?(?:\d+[\s-]+\d+/\d+|\d+/\d+|\d*\.?\d+(?:[eE][-+]?\d+)?))\s*(.*?)\s*$")
_POWER = re.compile(r"(\*\*|\^)\s*(?!-?\d(\.\d{1,3})?(?![\d.eE]|\s*(\*\*|\^)))|\d{7}")


@functools.cache
def _registry() -> Any:
    import pint

    registry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=None)
    registry.define("percent = 0.01 = %")
    return registry


def _number(text: str) -> float:
    whole, _, rest = re.sub(r"(?<=\d)[\s-]+(?=\d)", " ", text.strip()).partition(" ")
    if rest:
        sign = -1.0 if whole.startswith("-") else 1.0
        return float(whole) + sign * _number(rest)
    top, slash, bottom = whole.partition("/")
    return float(top) / float(bottom) if slash else float(top)


def parse(text: str, unit: str, what: str = "value", *, step: bool = False) -> float:
    """``text`` such as "12 mm", "1/2 in", "1350 degF", "1.3 %" in SI ``unit``.

    ``step``: a temperature difference, so that "60 degC" is 60 K. A mass where a force, or a mass on an area where a pressure is wanted,
    is taken as its weight. A bare number is refused unless ``unit`` is "1". Raises BadInput with the units allowed.
    """
    hint = f"Give it with a unit, such as {'60 K, 108 degF' if step else _EXAMPLES.get(unit, unit)}"
    if isinstance(text, str) and len(text) < 80 and (two := _TWO.fullmatch(text)):
        return parse(two[1], unit, what, step=step) + parse(two[2], unit, what, step=step)
    match = _NUMBER.match(text) if isinstance(text, str) and len(text) < 80 else None
    if match is None:
        raise BadInput(f"{what}: {text!r} is not a number with a unit", hint)
    try:
        number = _number(match[1])
    except ZeroDivisionError:
        raise BadInput(f"{what}: {text!r} divides by zero", hint) from None
    name = match[2].replace("²", "2").replace("³", "3").replace("°", "deg")
    name = {'"': "in", "'": "ft"}.get(name, name)
    if not name:
        if unit == "1":
            return number
        raise BadInput(f"{what}: {text!r} has no unit", hint)
    if not re.fullmatch(r"[A-Za-z%µ/*\^0-9 ()._-]+", name):
        raise BadInput(f"{what}: {match[2]!r} is not a unit", hint)
    if _POWER.search(name):  # nine to the power of nine to the power of nine is reckoned for ever
        raise BadInput(f"{what}: {match[2]!r} is not a unit", hint)
    for spoken, known in _SPOKEN:
        name = re.sub(spoken, known, name)
    if unit == "K":
        name = _SCALES.get(name, name)
    if step or unit == "K/s":
        name = re.sub(r"\bdeg([CF])\b", r"delta_deg\1", name)
    registry = _registry()
    try:
        quantity = registry.Quantity(number, registry.Unit(name))
        if unit in _WEIGHED and quantity.check(_WEIGHED[unit]):
            quantity = quantity * registry.Quantity(1.0, "standard_gravity")
        value = float(quantity.to(_PINT.get(unit, unit)).magnitude)
    except Exception:
        raise BadInput(f"{what}: {text!r} is no {_KINDS.get(unit, f'number of {unit}')}", hint) from None
    if unit == "K" and not step and value <= 0.0:
        raise BadInput(f"{what}: {text!r} lies below absolute zero", hint)
    if not math.isfinite(value):
        raise BadInput(f"{what}: {text!r} is not finite", hint)
    return value
