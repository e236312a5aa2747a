"""The generated tables inside the hand-written pages of the day: asks, results, finding codes, cautions.

A page holds pairs of marks, ``<!-- made: asks -->`` and ``<!-- end -->``; what stands between them is written here and nowhere else.
"""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import re
from collections.abc import Iterable, Mapping
from types import ModuleType
from typing import Any

import numpy as np

from strickle.base import BadInput, Record, declared, shown
from strickle.card.safety import all_cautions
from strickle.job.recipe import CHOICES
from strickle.stores.kit import starter_kit

MARK = re.compile(r"(<!-- made: ([\w-]+)((?: [\w-]+)*) -->\n).*?(<!-- end -->)", re.DOTALL)
CONDITIONS = {
    "inserts": "chills or sleeves",
    "gas": "gas furnace", "electric": "electric furnace", "oil-bonded": "oil-bonded sand", "aluminium": "aluminium", "copper": "copper alloys",
    "zinc-bearing": "zinc and copper alloys", "not-zinc": "any metal but zinc", "indoors": "indoors", "not-indoors": "outdoors",
    "no-thermometer": "no thermometer in the kit", "vents": "pricked vents",
}  # fmt: skip


def filled(text: str, room: str, codes: Mapping[str, tuple[str, str, str]]) -> str:
    """The page with every marked place written anew. Raises SystemExit for a mark that is not known."""

    def one(match: re.Match[str]) -> str:
        what, words = match[2], match[3].split()
        if what == "asks":
            body = asks(room)
        elif what == "gives":
            body = gives(room)
        elif what == "findings":
            body = findings(words or [room], codes)
        elif what == "cautions":
            body = cautions(words)
        elif what == "kit":
            body = kit()
        elif what == "options":
            body = options()
        elif what == "formats":
            body = formats()
        elif what == "run":
            return match[0]  # written by tools/examples.py, which runs what it shows
        else:
            raise SystemExit(f"docs: a place is marked {what!r}, which tools/pages_day.py does not know")
        return f"{match[1]}\n{body}\n\n{match[4]}"

    return MARK.sub(one, text)


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """A markdown table; bars inside cells become slashes, and an angle bracket is no tag."""
    names = list(head)
    lines = [f"| {' | '.join(names)} |", "|" + "---|" * len(names)]
    lines += [f"| {' | '.join(_cell(cell) for cell in row)} |" for row in rows]
    return "\n".join(lines)


def _cell(text: str) -> str:
    parts = text.replace("|", "/").split("`")
    return "`".join(part if i % 2 else part.replace("<", "&lt;") for i, part in enumerate(parts))


def _records(module: ModuleType) -> list[type]:
    found = [k for k in vars(module).values() if inspect.isclass(k) and issubclass(k, Record) and k.__module__ == module.__name__]
    return [k for k in found if dataclasses.is_dataclass(k)]


def _default(item: dataclasses.Field[object]) -> str:
    if item.default is dataclasses.MISSING:
        return "must be given"
    if item.default is None:
        return "left out"
    if isinstance(item.default, tuple):
        return "none"
    if isinstance(item.default, bool):
        return "yes" if item.default else "no"
    unit = item.metadata["unit"]
    if isinstance(item.default, float) and unit not in (None, "1"):
        return " ".join(shown(item.default, unit)).strip()
    return f"`{item.default}`" if item.default != "" else "empty"


def asks(room: str) -> str:
    """What a room is asked: each field with its default, and how a person says it."""
    options = {(c.stage, c.field): f"`--{c.name.replace('_', '-')}`" for c in CHOICES}
    module = importlib.import_module(f"strickle.{room}.ask")
    rows = []
    for kind in _records(module):
        if not kind.__name__.endswith("Ask"):
            continue
        for item in declared(kind):
            says = re.sub(r"\bNone = ", "left out: ", item.metadata["says"])
            how = options.get((room, item.name), "set by the job")
            rows.append((f"`{item.name}`", how, item.metadata["unit"] or "word", _default(item), says))
    if not rows:
        return "Nothing: what it needs follows from the rooms before it."
    return table(("ask", "option", "unit", "default", "says"), rows)


def gives(room: str) -> str:
    """What a room gives: each field with unit, of the result and of the records in it."""
    module = importlib.import_module(f"strickle.{room}.result")
    kinds = sorted(_records(module), key=lambda k: [r.__name__ for r in _records(module)].index(k.__name__), reverse=True)
    parts = []
    for kind in kinds:
        rows = []
        for item in declared(kind):
            if not item.metadata.get("inner"):
                shape = f" {item.metadata['shape']}" if item.metadata["shape"] else ""
                rows.append((f"`{item.name.rstrip('_')}`", f"{item.metadata['unit'] or 'word'}{shape}", item.metadata["says"]))
        if rows:
            parts.append(f"**{kind.__name__}**: {(kind.__doc__ or '').strip().splitlines()[0]}\n\n{table(('field', 'unit', 'says'), rows)}")
    return "\n\n".join(parts)


def findings(rooms: Iterable[str], codes: Mapping[str, tuple[str, str, str]]) -> str:
    """The codes a room may raise."""
    rows = [(f"`{code}`", row[0], row[1]) for code, row in codes.items() if code.split(".")[0] in rooms]
    return table(("code", "weight", "says (`...` is a computed figure or word)"), rows) if rows else "None of its own."


def cautions(steps: Iterable[str]) -> str:
    """The cautions the card prints at these steps, word for word."""
    wanted = list(steps)
    lines = []
    for step in wanted:
        mine = [c for c in all_cautions() if c.step == step]
        if not mine:
            raise SystemExit(f"docs: no caution stands at the step {step!r}")
        for one in mine:
            when = ", ".join(CONDITIONS.get(word, word.replace("-", " ")) for word in one.when)
            hold = " **Hold point: signed before going on.**" if one.hold else ""
            lines.append(f"- {f'({when}) ' if when else ''}{one.text}{hold}")
    return "\n".join(lines)


def options() -> str:
    """Every command's options with their own words of help."""
    import click

    from strickle.cli import group

    told: dict[str, list[str]] = {}
    for name, command in group.commands.items():
        given = [p for p in command.params if isinstance(p, click.Option)]
        rows = [(f"`--{p.opts[0].lstrip('-')}{f' {p.metavar}' if p.metavar else ''}`", _words(p)) for p in given]
        told.setdefault(table(("option", "says"), rows) if rows else "No option.", []).append(f"`{name}`")
    return "\n\n".join(f"{', '.join(names)}\n\n{body}" for body, names in told.items())


def _words(option: Any) -> str:
    import click

    also = "".join(f" Also spelt {other}." for other in option.opts[1:])
    choices = f" One of {', '.join(str(c) for c in option.type.choices)}." if isinstance(option.type, click.Choice) else ""
    return f"{option.help or ''}{choices}{also}".strip()


def formats() -> str:
    """The formats read, in the words a wrong one is refused with."""
    from strickle.part import formats as readers

    try:
        readers.read(b"part", "part.none")
    except BadInput as refused:
        named = re.search(r"only (.+?) (?:is|are) read", refused.says)
        if named:
            return f"Formats read: {named[1]}."
    raise SystemExit("docs: the part room no longer says which formats it reads")


def kit() -> str:
    """The entries of the kit with what the starter kit holds."""
    from strickle.stores import Crucible, Flask, Furnace, Kit

    own = starter_kit()
    parts = []
    for kind, example in ((Kit, own), (Crucible, own.crucibles[0]), (Furnace, own.furnaces[0]), (Flask, own.flasks[0])):
        rows = []
        for item in declared(kind):
            if item.name in ("crucibles", "furnaces", "flasks", "starter"):
                continue
            name = "holds" if kind is Crucible and item.name == "volume" else item.name
            rows.append((f"`{name}`", item.metadata["says"], *(_both(getattr(example, item.name), item.metadata["unit"]))))
        parts.append(f"**{kind.__name__.lower()}**\n\n" + table(("entry", "says", "starter kit, metric", "US"), rows))
    return "\n\n".join(parts)


def _both(value: object, unit: str | None) -> tuple[str, str]:
    if value is None:
        return "left out", "left out"
    if isinstance(value, bool):
        return ("yes", "yes") if value else ("no", "no")
    if isinstance(value, np.ndarray):
        metric, us = zip(*(_both(float(v), unit) for v in value), strict=True)
        return " x ".join(metric), " x ".join(us)
    if isinstance(value, float):
        if unit == "1":
            return f"{value:g}", f"{value:g}"
        if unit in ("W", "J/(kg K)"):
            return f"{value:g} {unit}", " ".join(shown(value, unit, "us"))
        style = "fine" if unit == "m" and value < 0.01 else ""
        return " ".join(shown(value, unit, "metric", style)), " ".join(shown(value, unit, "us", style))
    return str(value), str(value)
