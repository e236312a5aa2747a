"""The page of calculators: every rule of ``strickle reckon`` with its inputs, formula, range, source and one line worked as it is made."""

from __future__ import annotations

import shlex

from strickle.base import Input, Output, Rule
from strickle.cli.rules import default_words, pairs, range_words, unit_words, words
from strickle.job.reckon import reckon_text, rules

HEAD = """# Calculators: strickle reckon

Made by `tools/generate.py` from the rules themselves; do not edit. Each answer below was worked out when this page was made.

`strickle reckon RULE --name "value unit"` answers in your kit's units, or in those of `--units metric` or `--units us`; with `--json` always in SI.
`strickle reckon RULE` alone shows what the rule wants, `strickle reckon --list` shows them all. Inputs are text with a unit: `20 cm`, `8 in`,
`1350 degF`, `0.26 lb/in3`, `16 fl oz`; shares may be bare or per cent. Where an input lies outside the range in which the rule is known to
hold, the answer says so and stands all the same. From Python: `strickle.reckon("fall_speed", height=0.2)`, SI throughout.

"From memory, unverified" means just that: nobody has laid the book beside it.
"""


def page() -> str:
    """The page as Markdown."""
    blocks = [HEAD, "| rule | says |", "|---|---|"]
    blocks += [f"| [`{one.name}`](#{one.name}) | {_cell(one.says)} |" for one in rules()]
    for one in rules():
        blocks += ["", *_rule(one)]
    return "\n".join(blocks) + "\n"


def _rule(one: Rule) -> list[str]:
    lines = [f"## {one.name}", "", f"{one.says[0].upper()}{one.says[1:]}.", ""]
    lines += ["| input | unit | default | says |", "|---|---|---|---|"]
    lines += [f"| `--{item.name}` | {unit_words(item)} | {_default(item)} | {_cell(item.says)} |" for item in one.inputs]
    lines += ["", f"Gives {'; '.join(_output(out) for out in one.outputs)}.", "", f"Formula: `{one.formula}`", ""]
    lines += [f"Known to hold for {_cell(range_words(one, 'metric'))}.", "", f"Source: {_cell(one.source)}.", ""]
    answer = reckon_text(one.name, pairs(shlex.split(one.example)))
    told = [line for line in words(one, answer, "metric") if not line.startswith("  ")]
    return [*lines, "```", f"$ strickle reckon {one.name} {one.example} --units metric", *told, "```"]


def _default(item: Input) -> str:
    return "" if item.default is None else _cell(default_words(item, "metric")) or "none"


def _output(out: Output) -> str:
    return f"{out.name.replace('_', ' ')}{'' if out.unit == '1' else f' [{out.unit}]'}: {_cell(out.says)}"


def _cell(text: str) -> str:
    """Text that Markdown leaves as it is."""
    return text.replace("|", "/").replace("<", "&lt;").replace("*", "\\*").replace("_", "\\_")
