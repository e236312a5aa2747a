"""Ask one formula of the trade: ``reckon("fall_speed", height=0.2)``."""

from __future__ import annotations

import difflib
import functools
import importlib
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from strickle.base import BadInput, Input, Output, Rule, parse, ranges, word

CONSTANT = "s/m^n"  # unit of a mould constant; n is the rule's exponent
_BARE = (CONSTANT, "K/s")  # SI without its unit is taken here, for it is awkward to write
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
    outside: tuple[str, ...] = word("inputs, and relations between them, that do not")
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
    known = {described.name: described for described in rules()}
    name = _british(name, known)
    if name in known:
        return known[name]
    raise BadInput(f"there is no rule {name!r}", _near(name, known))


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
    parts: tuple[Any, ...] = answer if isinstance(answer, tuple) else (answer,)
    if len(parts) != len(described.outputs) or any(isinstance(part, complex) for part in parts):
        raise _no_answer(described, given)
    outputs = {out.name: (float(part), _unit_of(out, given)) for out, part in zip(described.outputs, parts, strict=True)}
    value, unit = outputs[described.outputs[0].name]
    if math.isnan(value):  # further outputs may be unknown, such as the spread of a book that gives none
        raise _no_answer(described, given)
    outside = described.outside(given)
    return Reckoning(
        rule=rule,
        value=value,
        values=outputs,
        unit=unit,
        formula=described.formula,
        range=described.range,
        in_range=not outside,
        outside=outside,
        source=described.source,
        inputs=given,
    )


def _unit_of(out: Output, given: Mapping[str, Any]) -> str:
    """Unit of an output; that of a mould constant goes with the exponent."""
    return out.unit.replace("^n", power(given["exponent"])) if out.unit == CONSTANT else out.unit


def power(exponent: float) -> str:
    """The exponent as it stands in a unit: m2, m^1.8."""
    return f"{exponent:g}" if exponent == int(exponent) and exponent > 0 else f"^{exponent:g}"


def _no_answer(described: Rule, given: Mapping[str, Any]) -> BadInput:
    """One line for inputs that the formula cannot take, naming those outside its range, else those that are zero or below."""
    outside = [name for name in described.outside(given) if name in given]
    if not outside:
        outside = [name for name, value in given.items() if isinstance(value, float) and value <= 0]
    named = outside[:4]
    more = f" and {len(outside) - len(named)} more" if len(outside) > len(named) else ""
    what = f"{', '.join(named)}{more} out of what the formula can take" if named else "these inputs together are more than the formula can take"
    limits = ranges(item for item in described.inputs if item.name in named) or described.range
    return BadInput(f"{described.name} has no answer: {what}", f"It holds for {limits}")


def reckon_text(rule: str, texts: Mapping[str, str]) -> Reckoning:
    """As ``reckon``, for inputs written with their units ("20 cm", "720 degC")."""
    described = find(rule)
    known = {item.name: item for item in described.inputs}
    texts = {_british(name, known): text for name, text in texts.items()}
    values: dict[str, Any] = {}
    for name, text in texts.items():
        item = known.get(name)
        numeric = item is not None and item.unit not in ("text", "pairs")
        values[name] = _read(described.name, item, text, texts) if item is not None and numeric else text
    return reckon(described.name, **values)


def _british(name: str, known: Iterable[str]) -> str:
    """The name as it is kept: mold_area is mould_area."""
    other = name.replace("mold", "mould")
    return other if name not in known and other in known else name


def _bare(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _read(rule: str, item: Input, text: str, texts: Mapping[str, str]) -> float:
    what = f"{rule} {item.name}"
    if item.unit in _BARE and (bare := _bare(text)) is not None:
        return bare
    if item.unit != CONSTANT:
        return parse(text, item.unit, what, step=item.step)
    default = next(one.default for one in find(rule).inputs if one.name == "exponent")
    exponent = parse(texts["exponent"], "1", f"{rule} exponent") if "exponent" in texts else float(default or 0.0)
    try:
        return parse(text, f"s/m**{exponent:g}", what)
    except BadInput:
        fitting = f"min/cm{power(exponent)}"
        raise BadInput(f"{what}: {text!r} is no time for each length^{exponent:g}", f"Give it with a unit, such as 3.5 {fitting}") from None


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
    return [entry(described) for described in rules()]


def entry(described: Rule) -> dict[str, Any]:
    """One rule as ``listing`` has it."""
    return {
        "rule": described.name,
        "says": described.says,
        "inputs": [{"name": i.name, "unit": i.unit, "says": i.says, "default": i.default} for i in described.inputs],
        "outputs": [{"name": o.name, "unit": o.unit, "says": o.says} for o in described.outputs],
        "formula": described.formula,
        "range": described.range,
        "source": described.source,
        "example": described.example,
    }
