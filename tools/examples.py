"""Commands whose output the pages show: run here on the demo part, so that no page shows what the program does not print.

A place is marked ``<!-- made: run NAME -->`` and ``<!-- end -->``; NAME is one of RUNS.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import tempfile
from collections.abc import Iterator
from pathlib import Path

RUNS = {
    "look": "strickle look bracket.stl --until mould",
    "look-us": "strickle look bracket.stl --until mould --units us",
    "reckon": 'strickle reckon fall_speed --height "20 cm"',
    "reckon-us": 'strickle reckon pattern_length --length "7 1/2 in" --contraction "1.3 %" --units us',
    "no-unit": 'strickle reckon fall_speed --height "20"',
}
FIGURES = {"look-us"}
"""Of these only the figures at the end are shown; dots stand for what is left out."""
MARK = re.compile(r"(<!-- made: run ([\w-]+) -->\n).*?(<!-- end -->)", re.DOTALL)


def output(name: str) -> str:
    """What the command prints, with the command above it."""
    with _shop():
        told = _run(RUNS[name])
    if name in FIGURES:
        told = "...\n\n" + told[told.index("\npart  ") + 1 :]
    return f"```\n$ {RUNS[name]}\n{told}\n```"


def filled(text: str) -> str:
    """A page with every marked place written anew."""
    return MARK.sub(lambda match: f"{match[1]}\n{output(match[2])}\n\n{match[3]}", text)


def write(folder: Path) -> None:
    """Write every page under ``folder`` that shows a run."""
    for path in sorted(folder.rglob("*.md")):
        old = path.read_text(encoding="utf-8")
        if MARK.search(old) and (new := filled(old)) != old:
            path.write_text(new, encoding="utf-8")


@contextlib.contextmanager
def _shop() -> Iterator[None]:
    """A fresh folder with the demo part in it and no kit of its own."""
    from strickle.job.demo import bracket_stl

    before, config = Path.cwd(), os.environ.get("XDG_CONFIG_HOME")
    with tempfile.TemporaryDirectory() as place:
        os.environ["XDG_CONFIG_HOME"] = str(Path(place) / "config")
        os.chdir(place)
        Path("bracket.stl").write_bytes(bracket_stl())
        try:
            yield
        finally:
            os.chdir(before)
            os.environ.pop("XDG_CONFIG_HOME")
            if config is not None:
                os.environ["XDG_CONFIG_HOME"] = config


def _run(command: str) -> str:
    from strickle.cli import main

    told, asides = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(told), contextlib.redirect_stderr(asides):
        code = main([*shlex.split(command)[1:], *(["--quiet"] if " look " in command else [])])
    if code == 1:
        raise SystemExit(f"docs: {command} fails: {asides.getvalue()}")
    return (told.getvalue() + asides.getvalue()).rstrip()
