"""reckon: one rule of the trade, asked and answered in words or JSON."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from typing import Any

import click

from strickle.base import BadInput, shown, spelled


def reckon(rule: str | None, listed: bool, as_json: bool, units: str, inputs: Sequence[str]) -> int:
    """``strickle reckon``."""
    from strickle.job.reckon import Reckoning, listing, reckon_text

    if listed or rule is None:
        rules = listing()
        click.echo(json.dumps(rules, ensure_ascii=False, indent=1) if as_json else "\n".join(_listed(one) for one in rules))
        return 0
    if rule.startswith("-"):
        raise BadInput(f"{rule!r} stands where a rule's name belongs", "strickle reckon --list names them")
    answer: Reckoning = reckon_text(rule, pairs(inputs))
    if as_json:
        click.echo(json.dumps(answer.to_json(), ensure_ascii=False, indent=1))
        return 0
    for name, (value, unit) in answer.values.items():
        click.echo(f"{spelled(name.replace('_', ' '), units)}: {' '.join(shown(value, unit, units)).strip()}")
    for line in (answer.formula, f"holds for {answer.range}{'' if answer.in_range else ': these inputs lie OUTSIDE it'}", answer.source):
        click.echo("\n".join(textwrap.wrap(line, 92, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False)))
    return 0


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


def _listed(rule: dict[str, Any]) -> str:
    head = f"{rule['rule']}: {rule['says']}"
    lines = textwrap.wrap(head, 92)
    for item in rule["inputs"]:
        default = "" if item["default"] is None else f" (default {item['default']})"
        lines.append(f"    --{item['name']} [{item['unit']}]{default} {item['says']}")
    return "\n".join(lines)
