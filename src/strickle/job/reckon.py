"""Ask one formula of the trade: ``reckon("fall_speed", height=0.2)``."""

from __future__ import annotations

import difflib
import functools
import importlib
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from strickle.base import BadInput, Input, Rule, parse, word

_ROOMS = ("stores", "metal", "part", "pattern", "mould", "rigging", "cavity", "melt", "pour", "sound", "day")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reckoning:
    """One answer. ``value`` and ``unit`` are the first output; ``values`` has them all as name -> (value, unit)."""

    rule: str = word("name of the rule")
    value: float = word("the first output, SI")
    values: Mapping[str, tuple[float, str]] = word("every output with its unit")
    unit: str = word("unit of the first output")
    formula: str = word("the formula in words")
    range: str = word("where it is known to hold")
    in_range: bool = word("whether every input lies there")
    source: str = word("where the formula comes from")
    inputs: Mapping[str, Any] = word("inputs used, defaults included")

    def to_json(self) -> dict[str, Any]:
        """As CONTRACT.md has it: several outputs stand under ``values``."""
        plain = {
            "rule": self.rule,
            "inputs": {name: dict(v) if isinstance(v, Mapping) else v for name, v in self.inputs.items()},
            "value": _plain(self.value),
            "unit": self.unit,
            "formula": self.formula,
            "range": self.range,
            "in_range": self.in_range,
            "source": self.source,
        }
        if len(self.values) > 1:
            plain["values"] = {name: {"value": _plain(value), "unit": unit} for name, (value, unit) in self.values.items()}
        return plain


def _plain(value: float) -> float | None:
    return value if math.isfinite(value) else None


@functools.cache
def rules() -> tuple[Rule, ...]:
    """Every rule of every room, in the order of the flow. Raises RuntimeError if two carry one name."""
    found: dict[str, Rule] = {}
    for room in _ROOMS:
        name = f"strickle.{room}.rules"
        try:
            module = importlib.import_module(name)
        except ModuleNotFoundError as error:
            if error.name not in (name, f"strickle.{room}"):
                raise
            continue
        for thing in vars(module).values():
            described = getattr(thing, "rule", None)
            if isinstance(described, Rule) and getattr(thing, "__module__", "") == name:
                if described.name in found:
                    raise RuntimeError(f"two rules are called {described.name}")
                found[described.name] = described
    return tuple(found.values())


def _near(name: str, known: Iterable[str]) -> str:
    names = list(known)
    close = difflib.get_close_matches(name, names, 3, 0.5)
    return f"Nearest: {', '.join(close)}" if close else f"Known: {', '.join(names)}"


def find(name: str) -> Rule:
    """The rule called ``name``. Raises BadInput with the nearest names."""
    for described in rules():
        if described.name == name:
            return described
    raise BadInput(f"there is no rule {name!r}", _near(name, [r.name for r in rules()]))


def reckon(rule: str, /, **values: Any) -> Reckoning:
    """Answer of ``rule`` for inputs in SI (temperatures in kelvin); names and units are in ``listing``.

    Text inputs are text; sieve masses are a mapping, pairs, or text such as ``"20=0.3, pan=0.4"``. An answer outside the
    rule's range is given with ``in_range`` False. Raises BadInput for an unknown rule or input, a missing one, or one the
    formula cannot take.
    """
    described = find(rule)
    given = _filled(described, values)
    call = dict(given)
    if described.needs_stores:
        from strickle.stores import load

        call["stores"] = load()
    try:
        answer = described.function(**call)
    except (ZeroDivisionError, OverflowError, ValueError, TypeError):
        raise _no_answer(described, given) from None
    parts = answer if isinstance(answer, tuple) else (answer,)
    if len(parts) != len(described.outputs) or any(isinstance(part, complex) for part in parts):
        raise _no_answer(described, given)
    outputs = {out.name: (float(part), out.unit) for out, part in zip(described.outputs, parts, strict=True)}
    first = described.outputs[0]
    if math.isnan(outputs[first.name][0]):  # further outputs may be unknown, such as the spread of a book that gives none
        raise _no_answer(described, given)
    return Reckoning(
        rule=rule,
        value=outputs[first.name][0],
        values=outputs,
        unit=first.unit,
        formula=described.formula,
        range=described.range,
        in_range=described.in_range(given),
        source=described.source,
        inputs=given,
    )


def _no_answer(described: Rule, given: Mapping[str, Any]) -> BadInput:
    """One line for inputs that the formula cannot take, naming those outside its range, else those that are zero or below."""
    outside = [item.name for item in described.inputs if not described.in_range({item.name: given[item.name]})]
    if not outside:
        outside = [name for name, value in given.items() if isinstance(value, float) and value <= 0]
    what = f"{', '.join(outside)} out of what the formula can take" if outside else "these inputs together are more than the formula can take"
    return BadInput(f"{described.name} has no answer: {what}", f"It holds for {described.range}")


def reckon_text(rule: str, texts: Mapping[str, str]) -> Reckoning:
    """As ``reckon``, for inputs written with their units ("20 cm", "720 degC")."""
    known = {item.name: item for item in find(rule).inputs}
    values: dict[str, Any] = {}
    for name, text in texts.items():
        item = known.get(name)
        numeric = item is not None and item.unit not in ("text", "pairs")
        values[name] = parse(text, item.unit, f"{rule} {name}") if item is not None and numeric else text
    return reckon(rule, **values)


def _filled(described: Rule, values: Mapping[str, Any]) -> dict[str, Any]:
    """Inputs read and completed with their defaults."""
    known = {item.name: item for item in described.inputs}
    for name in values:
        if name not in known:
            raise BadInput(f"{described.name} has no input {name!r}", _near(name, known))
    missing = [name for name, item in known.items() if name not in values and item.default is None]
    if missing:
        wanted = ", ".join(f"{name} ({_unit_word(known[name])})" for name in missing)
        raise BadInput(f"{described.name} lacks {wanted}", f"It takes {', '.join(known)}")
    return {name: _taken(described.name, item, values.get(name, item.default)) for name, item in known.items()}


def _unit_word(item: Input) -> str:
    return {"1": "a number", "text": "a word", "pairs": "sieve=mass pairs"}.get(item.unit, item.unit)


def _taken(rule: str, item: Input, value: Any) -> Any:
    if item.unit == "text":
        return str(value)
    if item.unit == "pairs":
        return _pairs(rule, item, value)
    if isinstance(value, bool | str):
        raise BadInput(f"{rule}: {item.name} must be a number in {item.unit}", "Give it in SI, without a unit")
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise BadInput(f"{rule}: {item.name} must be a number in {item.unit}", "Give it in SI, without a unit") from None
    if not math.isfinite(number):
        raise BadInput(f"{rule}: {item.name} is not finite", "Give a plain number")
    return number


def _pairs(rule: str, item: Input, value: Any) -> dict[str, float]:
    """Sieve = mass pairs from a mapping, a list of pairs, or text."""
    try:
        if isinstance(value, str):
            value = [part.split("=", 1) for part in value.replace(";", ",").split(",") if part.strip()]
        pairs = value.items() if isinstance(value, Mapping) else value
        found = {str(name).strip().lower(): float(mass) for name, mass in pairs}
    except (TypeError, ValueError):
        raise BadInput(f"{rule}: {item.name} must be pairs", "Write 20=0.3, 30=1.8, pan=0.4") from None
    if not all(math.isfinite(mass) for mass in found.values()):
        raise BadInput(f"{rule}: {item.name} holds a number that is not finite", "Give plain numbers")
    return found


def listing() -> list[dict[str, Any]]:
    """Every rule for ``reckon --list --json``: name, words, inputs, outputs, formula, range, source."""
    return [
        {
            "rule": described.name,
            "says": described.says,
            "inputs": [{"name": i.name, "unit": i.unit, "says": i.says, "default": i.default} for i in described.inputs],
            "outputs": [{"name": o.name, "unit": o.unit, "says": o.says} for o in described.outputs],
            "formula": described.formula,
            "range": described.range,
            "source": described.source,
        }
        for described in rules()
    ]
