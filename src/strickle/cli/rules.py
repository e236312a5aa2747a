"""reckon: one rule of the trade, asked and answered in words or JSON."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

import click

from strickle.base import GRAVITY, BadInput, Input, Rule, figures, shown, spelled

_WIDE = 92
_US_LENGTH, _MINUTE = 0.0254, 60.0
# units that only these rules show: factor and name, metric and US
_MORE = {
    "K/s": ((1.0, "°C/s"), (1.8, "°F/s")),
    "J/kg": ((1e-3, "kJ/kg"), (1 / 2326.0, "Btu/lb")),
    "J/(kg K)": ((1.0, "J/(kg K)"), (1 / 4186.8, "Btu/(lb °F)")),
    "W/(m K)": ((1.0, "W/(m K)"), (0.577789, "Btu/(h ft °F)")),
    "W/(m2 K)": ((1.0, "W/(m² K)"), (0.176110, "Btu/(h ft² °F)")),
    "Pa s": ((1e3, "mPa s"), (1e3, "cP")),
}
EXACT = ("pattern_length", "shrunk_length")  # lengths that are marked out, not estimated


def reckon(rule: str | None, listed: bool, as_json: bool, units: str | None, inputs: Sequence[str]) -> int:
    """``strickle reckon``."""
    from strickle.job.reckon import entry, find, reckon_text, rules

    if rule is not None and rule.startswith("-"):
        raise BadInput(f"{rule!r} stands where a rule's name belongs", "strickle reckon --list names them")
    described = None if rule is None else find(rule)
    if listed or described is None:
        which = rules() if described is None else (described,)
        if as_json:
            click.echo(json.dumps([entry(one) for one in which], ensure_ascii=False, indent=1))
        else:
            system = units or kit_units()
            click.echo("\n".join(spelled("\n".join(_listed(one, system, full=len(which) == 1)), system) for one in which))
        return 0
    given = pairs(inputs)
    if not given and any(item.default is None for item in described.inputs):
        system = units or kit_units()
        click.echo(spelled("\n".join(_listed(described, system, full=True)), system), err=True)
        raise BadInput(f"{described.name} wants its inputs", f"For example: strickle reckon {described.name} {described.example}")
    answer = reckon_text(described.name, given)
    if as_json:
        click.echo(json.dumps(answer.to_json(), ensure_ascii=False, indent=1))
        return 0
    click.echo("\n".join(words(described, answer, units or kit_units())))
    return 0


def words(described: Rule, answer: Any, units: str) -> list[str]:
    """An answer of ``described`` as lines in ``units`` metric or us."""
    lines = []
    for out in described.outputs:
        value, unit = answer.values[out.name]
        lines.append(spelled(f"{out.name.replace('_', ' ')}: {quantity(value, unit, units, exact=described.name in EXACT)}  ({out.says})", units))
    if answer.outside:
        lines += _wrapped(f"outside the range in which this is known to hold: {', '.join(answer.outside)}")
    for line in (described.formula, f"known to hold for {range_words(described, units)}", f"source: {described.source}"):
        lines += [spelled(row, units) for row in _wrapped(line, "  ")]
    return lines


def quantity(value: float, unit: str, units: str, step: bool = False, *, exact: bool = False) -> str:
    """``value`` in SI ``unit`` as a person reads it; a force also as the mass that weighs it.

    ``step``: a temperature difference; ``exact``: a length to mark out, to a hundredth of a millimetre or a thousandth of an inch.
    """
    if math.isinf(value):
        return "without limit"
    if unit.startswith("s/m"):
        exponent = float(unit.removeprefix("s/m").removeprefix("^"))
        length, name = (_US_LENGTH, "in") if units == "us" else (0.01, "cm")
        return f"{figures(value / _MINUTE * length**exponent)} min/{name}{unit.removeprefix('s/m')}"
    if unit in _MORE:
        factor, name = _MORE[unit][units == "us"]
        return f"{figures(value * factor)} {name}"
    if exact and unit == "m":
        return f"{value / 0.0254:.3f} in" if units == "us" else f"{value * 1e3:.2f} mm"
    text = " ".join(shown(value, unit, units, "step" if step else "")).strip()
    if unit == "N" and units != "us":
        text += f", the weight of {' '.join(shown(value / GRAVITY, 'kg', units))}"
    return text


def range_words(described: Rule, units: str) -> str:
    """Where a rule holds, with the limits in ``units``."""

    def told(value: float, item: Input) -> tuple[str, str]:
        if item.unit == "1" or item.unit.startswith("s/m") or not math.isfinite(value):
            return f"{value:g}", ""
        if value == 0.0 and (item.unit != "K" or item.step):
            return "0", ""
        number, _, name = quantity(value, item.unit, units, item.step).partition(",")[0].partition(" ")
        return number, name

    return described.range_in(told)


def kit_units() -> str:
    """Units of the shop's kit; metric where its file cannot be read."""
    from strickle.job import kit

    try:
        file = kit.kit_path()
        return str(kit.read_kit(file if file.is_file() else None).units)
    except (BadInput, OSError):
        return "metric"


def pairs(inputs: Sequence[str]) -> dict[str, str]:
    """``--name value`` and ``--name=value`` as a mapping. Raises BadInput for what is neither, or given twice."""
    found: dict[str, str] = {}
    left = list(inputs)
    while left:
        word = left.pop(0)
        name, equals, value = word.removeprefix("--").partition("=")
        if not word.startswith("--") or not name:
            raise BadInput(f"{word!r} is not an input", 'Give inputs as --name "value unit"')
        if not equals:
            if not left:
                raise BadInput(f"--{name} has no value", 'Give inputs as --name "value unit"')
            value = left.pop(0)
        name = name.replace("-", "_")
        if name in found:
            raise BadInput(f"--{name} is given twice", "Give it once")
        found[name] = value
    return found


def _listed(described: Rule, units: str, full: bool) -> Iterator[str]:
    """A rule as lines: what it is for and its inputs; ``full`` adds formula, outputs, range, source and an example."""
    yield from textwrap.wrap(f"{described.name}: {described.says}", _WIDE)
    for item in described.inputs:
        default = "" if item.default is None else f" (default {default_words(item, units) or 'none'})"
        yield from textwrap.wrap(f"    --{item.name} [{unit_words(item)}]{default} {item.says}", _WIDE, subsequent_indent="        ")
    if full:
        gives = ", ".join(f"{out.name.replace('_', ' ')} ({out.says})" for out in described.outputs)
        for line in (f"gives {gives}", described.formula, f"known to hold for {range_words(described, units)}", f"source: {described.source}"):
            yield from _wrapped(line, "  ")
        yield from _wrapped(f"strickle reckon {described.name} {described.example}", "  ")


def unit_words(item: Input) -> str:
    """What an input is given in."""
    return {"1": "number", "text": "word", "pairs": "sieve=mass, ..."}.get(item.unit, item.unit)


def default_words(item: Input, units: str) -> str:
    """An input's default as a person reads it."""
    if not isinstance(item.default, float) or item.default == 0.0:
        return "0" if item.default == 0.0 else str(item.default)
    return quantity(item.default, item.unit, units, item.step) if item.unit != "1" else f"{item.default:g}"


def _wrapped(line: str, indent: str = "") -> list[str]:
    return textwrap.wrap(line, _WIDE, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)
