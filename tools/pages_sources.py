"""The page of every stored value with its mark and source, and of every number that stands in the code and says what it is."""

from __future__ import annotations

import ast
import importlib
import io
import re
import tokenize
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from pages_day import table

from strickle.base import Value

SOURCE = Path(__file__).resolve().parent.parent / "src" / "strickle"
DATA = SOURCE / "stores" / "data"
MARKS = {
    "seen": "published",
    "computed": "computed",
    "common practice": "common practice",
    "measured": "measured",
    "memory": "from memory, unverified",
    "guess": "guess",
}
MEANS = {
    "seen": "read by us, in part or whole, in the work named",
    "computed": "worked out by us from published data or a published database",
    "common practice": "what the trade does; no single source",
    "measured": "measured in a shop and entered with its date",
    "memory": "recalled, the work not opened again: likely right, not checked",
    "guess": "nothing was found; a number had to stand, and it says so",
}
ROOMS = ("metal", "part", "pattern", "mould", "rigging", "cavity", "melt", "pour", "sound", "trials")
GROUPS = {
    "base": "Metals in general", "melting": "Melting", "heat": "Heat between metal, sand and air", "mould": "Mould and draw",
    "filling": "Filling", "feeding": "Feeding and freezing", "print": "Printing", "contraction": "Contraction, draft and stock in the books",
}  # fmt: skip


def page() -> str:
    """docs/sources.md."""
    metals, sands, shop, cited = (_read(f"{name}.toml") for name in ("metals", "sands", "shop", "sources"))
    used = _strings()
    lines = [
        "# Sources",
        "",
        "Made by `tools/generate.py` from the stores and the rooms' source; do not edit. Every value that strickle reckons with stands here "
        "with its band, its mark and where it comes from. A value you measured in your own shop goes into the [kit](day/kit.md) and overrules it.",
        "",
        *_counts(metals, sands, shop),
        "",
        "## Guesses that decide something",
        "",
        "Values marked guess that a room reads by name. They bear on an answer, so they are the first to replace by your own measurement.",
        "",
        table(("value", "stands at", "unit", "what it is, or why it had to be guessed"), _deciding(sands, shop, used)),
        "",
        "Guessed properties of metals, each taken from its neighbour or by the way its note below tells:",
        "",
        table(("metal", "guessed"), _guessed(metals, used)),
    ]
    lines += ["", "## Metals", "", "Units as in the data file. Names with `@` give a temperature in degrees Celsius."]
    for key, entry in metals.items():
        lines += ["", f"### {entry['name']}", "", f"`{key}`, {entry['family']}{_composition(entry)}.{_curve(entry, cited)}", ""]
        lines.append(_values(entry["values"], cited))
    lines += ["", "## Sands"]
    for key, entry in sands.items():
        lines += ["", f"### {entry['name']}", "", f"`{key}`.", "", _values(entry["values"], cited)]
    lines += ["", "## Constants", "", "Names with `@` give the place on an axis: a temperature in kelvin, or a wall in metres."]
    for group, values in shop.items():
        lines += ["", f"### {GROUPS.get(group, group)}", "", _values(values, cited)]
    lines += ["", "## Numbers that stand in the code", "", _in_code_words(), "", table(("room", "name", "value", "what it is"), _in_code())]
    lines += ["", "## Works cited", "", table(("key", "work", "how we know it"), _works(cited))]
    return "\n".join(lines) + "\n"


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads((DATA / name).read_text(encoding="utf-8"))


def _counts(metals: Mapping[str, Any], sands: Mapping[str, Any], shop: Mapping[str, Any]) -> list[str]:
    each = {
        "metals": Counter(v["mark"] for e in metals.values() for v in e["values"].values()),
        "sands": Counter(v["mark"] for e in sands.values() for v in e["values"].values()),
        "constants": Counter(v["mark"] for g in shop.values() for v in g.values()),
    }
    rows = []
    for mark, word in MARKS.items():
        numbers = [each[kind][mark] for kind in each]
        rows.append((f"**{word}**", *(str(n) for n in numbers), str(sum(numbers)), MEANS[mark]))
    whole = [sum(c.values()) for c in each.values()]
    rows.append(("all", *(str(n) for n in whole), str(sum(whole)), ""))
    return [table(("mark", *each, "together", "means"), rows)]


def _number(datum: Mapping[str, Any]) -> str:
    return f"{datum['value']:g}" if "value" in datum else f"{0.5 * (datum['low'] + datum['high']):g} (middle)"


def _band(datum: Mapping[str, Any]) -> str:
    if "low" not in datum and "high" not in datum:
        return ""
    middle = datum.get("value")
    return f"{datum.get('low', middle):g} to {datum.get('high', middle):g}"


def _values(values: Mapping[str, Any], cited: Mapping[str, Any]) -> str:
    rows = []
    for name, datum in values.items():
        said = cited[datum["source"]]["says"] + (f". {_capital(datum['note'])}" if datum.get("note") else "")
        rows.append((f"`{name}`", _number(datum), _band(datum), datum["unit"], MARKS[datum["mark"]], said))
    return table(("value", "stands at", "band", "unit", "mark", "source and note"), rows)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _composition(entry: Mapping[str, Any]) -> str:
    return f": {entry['composition']}" if entry.get("composition") else ""


def _curve(entry: Mapping[str, Any], cited: Mapping[str, Any]) -> str:
    if "curve" not in entry:
        return " No freezing curve is stored: one is derived from its ends, and the plan says so (`metal.rough_curve`)."
    curve = entry["curve"]
    note = f" {_capital(curve['note'])}." if curve.get("note") else ""
    return f" Freezing curve of {len(curve['temperature'])} points, {MARKS[curve['mark']]}: {cited[curve['source']]['says']}.{note}"


def _strings() -> tuple[set[str], set[str]]:
    """Words the rooms' source names, whole, and the beginnings that it completes while running (``knock_out.`` and the like)."""
    whole: set[str] = set()
    begun: set[str] = set()
    for room in (*ROOMS, "stores", "job"):
        for path in sorted((SOURCE / room).glob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.JoinedStr):
                    first = node.values[0]
                    if isinstance(first, ast.Constant) and re.search(r"[._@]$", str(first.value)) and " " not in str(first.value):
                        begun.add(str(first.value))
                elif isinstance(node, ast.Constant) and isinstance(node.value, str) and " " not in node.value:
                    (begun if node.value.endswith(("@", ".")) else whole).add(node.value)
    return whole, {b for b in begun if len(b) > 3}


def _is_used(name: str, used: tuple[set[str], set[str]]) -> bool:
    whole, begun = used
    base = name.partition("@")[0]
    return name in whole or base in whole or any(name.startswith(b) for b in begun)


def _deciding(sands: Mapping[str, Any], shop: Mapping[str, Any], used: tuple[set[str], set[str]]) -> Iterator[tuple[str, str, str, str]]:
    for group in shop.values():
        for name, datum in group.items():
            if datum["mark"] == "guess" and _is_used(name, used):
                yield f"`{name}`", _stands(datum), datum["unit"], datum.get("note", "nothing published was found")
    for key, entry in sands.items():
        for name, datum in entry["values"].items():
            if datum["mark"] == "guess" and _is_used(name, used):
                yield f"`{key}` {name}", _stands(datum), datum["unit"], datum.get("note", "taken from a neighbour")
    for room in ROOMS:
        for name, value in _code_values(room):
            if value.mark == "guess":
                yield f"`{name}` ({room})", f"{value.value:g} ({value.low:g} to {value.high:g})", value.unit, value.note or "choice of this program"


def _guessed(metals: Mapping[str, Any], used: tuple[set[str], set[str]]) -> Iterator[tuple[str, str]]:
    for entry in metals.values():
        names = [name for name, datum in entry["values"].items() if datum["mark"] == "guess" and _is_used(name, used)]
        if names:
            yield entry["name"], ", ".join(f"`{name}`" for name in names)


def _stands(datum: Mapping[str, Any]) -> str:
    band = _band(datum)
    return f"{_number(datum)} ({band})" if band else _number(datum)


def _code_values(room: str) -> Iterator[tuple[str, Value]]:
    """Values that a room's modules keep themselves, where the stores have none."""
    for path in sorted((SOURCE / room).glob("*.py")):
        text = path.read_text(encoding="utf-8")
        if not re.search(r"\bValue\(", text):
            continue
        own = {t.id for n in ast.parse(text).body if isinstance(n, ast.Assign) for t in n.targets if isinstance(t, ast.Name)}
        for name, thing in vars(importlib.import_module(f"strickle.{room}.{path.stem}")).items():
            if name in own and isinstance(thing, Value):
                yield name, thing
            elif name in own and isinstance(thing, dict):
                yield from ((str(key), value) for key, value in thing.items() if isinstance(value, Value))


def _in_code_words() -> str:
    return (
        "Bounds and choices of the method that are no property of any material. Each line is what stands beside the number in the source; "
        '"choice" and "guess" are ours.'
    )


def _in_code() -> Iterator[tuple[str, str, str, str]]:
    for room in ROOMS:
        for path in sorted((SOURCE / room).glob("*.py")):
            text = path.read_text(encoding="utf-8")
            yield from ((room, f"`{name}`", value, said) for name, value, said in _constants(text))


def _constants(text: str) -> Iterator[tuple[str, str, str]]:
    """Module constants of numbers with the words that stand behind or under them."""
    comments = {t.start[0]: t.string.lstrip("# ") for t in tokenize.generate_tokens(io.StringIO(text).readline) if t.type == tokenize.COMMENT}
    body = ast.parse(text).body
    for node, after in zip(body, [*body[1:], None], strict=True):
        if not isinstance(node, ast.Assign) or len(node.targets) != 1 or not re.fullmatch(r"[\d\s().,+*/e<>-]+|math\.pi.*", ast.unparse(node.value)):
            continue
        said = comments.get(node.end_lineno or 0, "")
        if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant) and isinstance(after.value.value, str):
            said = " ".join(after.value.value.split())
        if said and not said.startswith(("fmt", "noqa", "type")):
            yield ast.unparse(node.targets[0]), ast.unparse(node.value), said


def _works(cited: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    for key, entry in cited.items():
        yield f"`{key}`", entry["says"], MARKS[entry.get("mark", "seen")]
