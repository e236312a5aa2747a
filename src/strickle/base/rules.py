"""Scalar trade formulas that describe themselves: inputs with units and ranges, formula in words, source.

A room's ``rules.py`` decorates its formulas with ``@rule``; ``strickle.reckon`` finds them there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One input of a rule, SI. ``default`` None means it must be given; low..high is where the rule is known to hold.

    ``unit`` may also be "text" (a key or grade), "pairs" (sieve=mass pairs) or "s/m^n" (a mould constant, n the exponent). ``step`` marks
    a temperature difference.
    """

    name: str
    unit: str
    says: str
    default: float | str | None = None
    low: float | None = None
    high: float | None = None
    step: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Relation:
    """A condition between inputs: the same in words and as a test that takes the inputs by name."""

    says: str
    holds: Callable[[Mapping[str, Any]], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """One output of a rule, SI."""

    name: str
    unit: str
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A formula of the trade with its range and source. ``needs_stores`` rules get ``stores`` as first argument.

    ``example`` is one set of inputs as a person types them after the rule's name.
    """

    name: str
    says: str
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    formula: str
    source: str
    example: str
    function: Callable[..., Any]
    needs_stores: bool = False
    relations: tuple[Relation, ...] = ()

    @property
    def range(self) -> str:
        """Where the rule holds, in words and SI."""
        return self.range_in(_plain)

    def range_in(self, told: Callable[[float, Input], tuple[str, str]]) -> str:
        """Where the rule holds, with each limit as ``told`` gives it: (number, unit)."""
        parts = [_span(item, told) for item in self.inputs if _is_bound(item)]
        return "; ".join([*parts, *(one.says for one in self.relations)]) or "any input of the right kind"

    def in_range(self, values: Mapping[str, Any]) -> bool:
        """Whether every input lies where the rule is known to hold."""
        return not self.outside(values)

    def outside(self, values: Mapping[str, Any]) -> tuple[str, ...]:
        """Names of the inputs that lie outside, then the relations that do not hold (these only once every input is there)."""
        out = [item.name for item in self.inputs if _beyond(item, values.get(item.name))]
        if all(item.name in values for item in self.inputs):
            out += [one.says for one in self.relations if not _true(one, values)]
        return tuple(out)


def ranges(items: Iterable[Input]) -> str:
    """Where these inputs may lie, in words and SI; empty if they have no limits."""
    return "; ".join(_span(item, _plain) for item in items if _is_bound(item))


def _is_bound(item: Input) -> bool:
    return item.low is not None or item.high is not None


def _plain(value: float, item: Input) -> tuple[str, str]:
    return f"{value:g}", "" if item.unit == "1" else item.unit


def _span(item: Input, told: Callable[[float, Input], tuple[str, str]]) -> str:
    low, high = (None if end is None else told(end, item) for end in (item.low, item.high))
    if high is None:
        return f"{item.name} >= {' '.join(low or ())}".rstrip()
    lowest = "" if low is None else (low[0] if low[1] == high[1] else " ".join(low).rstrip()) + " <= "
    return f"{lowest}{item.name} <= {' '.join(high)}".rstrip()


def _beyond(item: Input, value: Any) -> bool:
    if not isinstance(value, int | float):
        return False
    return (item.low is not None and value < item.low) or (item.high is not None and value > item.high)


def _true(one: Relation, values: Mapping[str, Any]) -> bool:
    try:
        return one.holds(values)
    except ArithmeticError:  # a relation such as a ratio that these inputs do not have
        return False


def rule(
    *,
    name: str,
    says: str,
    inputs: tuple[Input, ...],
    outputs: tuple[Output, ...],
    formula: str,
    source: str,
    example: str,
    needs_stores: bool = False,
    relations: tuple[Relation, ...] = (),
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Mark a plain function as a rule; it stays callable as it was and carries ``.rule``."""

    def mark(function: Callable[..., Any]) -> Callable[..., Any]:
        described = Rule(
            name=name,
            says=says,
            inputs=inputs,
            outputs=outputs,
            formula=formula,
            source=source,
            example=example,
            function=function,
            needs_stores=needs_stores,
            relations=relations,
        )
        function.rule = described  # type: ignore[attr-defined]
        return function

    return mark
