"""Writes the generated files: the JSON Schema of results.json, and the generated pages and tables of the documentation.

``--check`` only compares. ``--examples`` also runs the commands whose output the pages show, and puts it there anew.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))  # the page modules beside this file, however it was started

import pages_day
import pages_reckon
import pages_sources

from strickle.base import declared
from strickle.job.recipe import CHOICES
from strickle.job.schema import schema_text
from strickle.job.stages import ORDER, STAGES
from strickle.metal import USES
from strickle.metal.findings import FUMES

HOME = Path(__file__).resolve().parent.parent
SOURCE = HOME / "src" / "strickle"
ROOMS = (*ORDER, "trials")
# Codes that the source puts together: what they begin with, and every ending.
ENDINGS = {"metal.use_": [use for use in USES if use != "general"], "metal.fume_": list(FUMES)}


def files() -> dict[Path, str]:
    """Every generated file with the text it should have."""
    return {
        SOURCE / "job" / "schema.json": schema_text(),
        HOME / "docs" / "findings.md": findings_page(),
        HOME / "docs" / "recipe.md": recipe_page(),
        HOME / "docs" / "results.md": results_page(),
        HOME / "docs" / "calculators.md": pages_reckon.page(),
        HOME / "docs" / "sources.md": pages_sources.page(),
        **marked_pages(),
    }


def marked_pages() -> dict[Path, str]:
    """The hand-written pages with their marked places filled; a page of the day is named for its room."""
    known = codes()
    pages = sorted(path for path in (HOME / "docs").rglob("*.md") if pages_day.MARK.search(path.read_text(encoding="utf-8")))
    return {path: pages_day.filled(path.read_text(encoding="utf-8"), path.stem, known) for path in pages}


def codes() -> dict[str, tuple[str, str, str]]:
    """Finding codes in the rooms' source: code to (weight, says, do), with "..." where a computed figure or word stands."""
    out: dict[str, tuple[str, str, str]] = {}
    for room in ROOMS:
        trees = [ast.parse(path.read_text(encoding="utf-8")) for path in sorted((SOURCE / room).glob("*.py"))]
        helpers = {
            node.name: [a.arg for a in node.args.args]
            for tree in trees
            for node in ast.walk(tree)
            if isinstance(node, ast.FunctionDef) and "code" in [a.arg for a in node.args.args]
        }
        for tree in trees:
            for node in ast.walk(tree):
                if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None:
                    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
                    if any(isinstance(t, ast.Name) and t.id == "code" for t in targets):
                        for code in _codes_in(node.value, room):
                            out.setdefault(code, ("", "", ""))
                if isinstance(node, ast.Call):
                    named = helpers.get(getattr(node.func, "id", ""), [])
                    given = {**dict(zip(named, node.args, strict=False)), **{k.arg: k.value for k in node.keywords if k.arg}}
                    if "code" in given:
                        for code in _codes_in(given["code"], room):
                            out[code] = (_weight(given.get("weight")), _text(given.get("says")), _text(given.get("do")))
    return {code: out[code] for code in sorted(out)}


def _codes(node: ast.AST, room: str) -> Iterator[str]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str) and re.fullmatch(rf"{room}\.[a-z][a-z0-9_]*", node.value):
        if not node.value.endswith("_"):
            yield node.value
        elif node.value in ENDINGS:
            yield from (node.value + ending for ending in ENDINGS[node.value])
        else:
            raise SystemExit(f"{node.value} is put together from words that tools/generate.py does not know: add them to ENDINGS")


def _codes_in(node: ast.AST, room: str) -> Iterator[str]:
    for inner in ast.walk(node):
        yield from _codes(inner, room)


def _weight(node: ast.AST | None) -> str:
    found = [n.value for n in ast.walk(node) if isinstance(n, ast.Constant) and n.value in ("NOTE", "MIND", "STOP")] if node else []
    return " or ".join(dict.fromkeys(found))


def _text(node: ast.AST | None) -> str:
    if node is None:
        return ""
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(str(v.value) if isinstance(v, ast.Constant) else "..." for v in node.values)
    if isinstance(node, ast.IfExp):
        return f"{_text(node.body)} / {_text(node.orelse)}"
    if isinstance(node, ast.BinOp):
        return _text(node.left) + _text(node.right)
    return "..."


def findings_page() -> str:
    """The page of finding codes."""
    lines = [
        "# Finding codes",
        "",
        "Made by `tools/generate.py` from the rooms' source; do not edit. Where `...` stands, a computed figure or word stands in the finding.",
        "",
        "NOTE: good to know. MIND: think before you pour. STOP: not like this. Each finding also says why, where on the part, and by what margin.",
    ]
    rows = codes()
    for room in ROOMS:
        mine = {code: row for code, row in rows.items() if code.startswith(f"{room}.")}
        if mine:
            lines += ["", f"## {room}", "", "| code | weight | says | what to do |", "|---|---|---|---|"]
            lines += [f"| `{code}` | {' | '.join(cell.replace('|', '/') for cell in row)} |" for code, row in mine.items()]
    return "\n".join(lines) + "\n"


def recipe_page() -> str:
    """The page of what a job can be asked."""
    lines = [
        "# The recipe: job.toml",
        "",
        "Made by `tools/generate.py` from the asks; do not edit. Every length, temperature, mass and time is text with its unit.",
        "",
        "| entry | option | unit | says |",
        "|---|---|---|---|",
        "| `units` | `--units` | word | metric or us: units and spelling of everything shown |",
        "| `kit` | `--kit` | word | kit file in the job's folder, where the job has a kit of its own |",
        "| `part.file` | PART | word | the part's file in the job's folder |",
    ]
    for choice in CHOICES:
        says = choice.says.replace("|", "or")
        option = f"--{choice.name.replace('_', '-')}"
        lines.append(f"| `{choice.stage}.{choice.field}` | `{option}` | {choice.unit or 'word'} | {says} |")
    return "\n".join(lines) + "\n"


def results_page() -> str:
    """The page of what each stage gives."""
    lines = ["# What each stage gives", "", "Made by `tools/generate.py` from the results' declarations; do not edit. SI throughout."]
    for stage in STAGES:
        lines += ["", f"## {stage.name}", "", (stage.gives.__doc__ or "").strip(), "", "| field | unit | shape | says |", "|---|---|---|---|"]
        for item in declared(stage.gives):
            meta = item.metadata
            if not meta.get("inner"):
                says = meta["says"].replace("|", "or")
                lines.append(f"| `{item.name.rstrip('_')}` | {meta['unit'] or ''} | {meta['shape'] or ''} | {says} |")
    return "\n".join(lines) + "\n"


def main(arguments: list[str]) -> int:
    """Write the files, or with ``--check`` say which are stale. Returns 1 if any is."""
    made = files()
    stale = [path for path, text in made.items() if not path.exists() or path.read_text(encoding="utf-8") != text]
    if "--check" in arguments:
        for path in stale:
            sys.stdout.write(f"{path.relative_to(HOME)} is out of date: run tools/generate.py\n")
        return 1 if stale else 0
    for path in stale:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(made[path], encoding="utf-8")
        sys.stdout.write(f"written: {path.relative_to(HOME)}\n")
    if "--examples" in arguments:
        import examples

        examples.write(HOME / "docs")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
