"""Scalar trade formulas that describe themselves: inputs with units and ranges, formula in words, source.

A room's ``rules.py`` decorates its formulas with ``@rule``; ``strickle.reckon`` finds them there.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One input of a rule, SI. ``default`` None means it must be given; low..high is where the rule is known to hold.

    ``unit`` may also be "text" (a key or grade) or "pairs" (sieve=mass pairs).
    """

    name: str
    unit: str
    says: str
    default: float | str | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """One output of a rule, SI."""

    name: str
    unit: str
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A formula of the trade with its range and source. ``needs_stores`` rules get ``stores`` as first argument."""

    name: str
    says: str
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    formula: str
    source: str
    function: Callable[..., Any]
    needs_stores: bool = False

    @property
    def range(self) -> str:
        """Where the rule holds, in words."""
        parts = []
        for item in self.inputs:
            if item.low is not None or item.high is not None:
                low = "" if item.low is None else f"{item.low:g} <= "
                high = "" if item.high is None else f" <= {item.high:g}"
                parts.append(f"{low}{item.name}{high}{'' if item.unit == '1' else ' ' + item.unit}")
        return "; ".join(parts) or "any input of the right sign"

    def in_range(self, values: Mapping[str, Any]) -> bool:
        """Whether every input lies where the rule is known to hold."""
        for item in self.inputs:
            value = values.get(item.name)
            if isinstance(value, int | float):
                if item.low is not None and value < item.low:
                    return False
                if item.high is not None and value > item.high:
                    return False
        return True


def rule(
    *, name: str, says: str, inputs: tuple[Input, ...], outputs: tuple[Output, ...], formula: str, source: str, needs_stores: bool = False
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
            function=function,
            needs_stores=needs_stores,
        )
        function.rule = described  # type: ignore[attr-defined]
        return function

    return mark
