"""The validation page: the table of all outside checks, and how a block of the page is written."""

from __future__ import annotations

import fcntl
import re
from pathlib import Path

from outside import MISSES, Case, Row

PAGE = Path(__file__).resolve().parents[2] / "docs" / "validation.md"
TITLES = {
    "columns": "Freezing and heating: columns and a brick",
    "bodies": "Freezing: round bodies on their true surface",
    "likeness": "Niyama's value under scale",
    "criteria": "Fields made of freezing times",
    "filling": "Filling with a free surface",
    "metals": "Stored metals",
    "peers": "General-purpose libraries",
    "shapes": "Bodies measured",
    "reckoned": "Calculators and tables (SI)",
}
HEAD = """| check | figure | source | theirs | ours | error | tolerance | verdict |
|---|---|---|---|---|---|---|---|
"""
INTRO = """{count} figures, each asked again by `make validate` through the doors that a plan uses; quick tests hold ours to the same list.
{held} hold. A tolerance follows from the rounding or scatter of the source; those beside the two libraries and the radial sums are ours.
Sources say whether they were read or recalled.

"""


def write_block(name: str, text: str, page: Path = PAGE) -> None:
    """Put ``text`` between the marks of ``name``; other processes may be writing other blocks."""
    with page.open("r+", encoding="utf-8") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        old = file.read()
        mark = re.compile(rf"(<!-- make validate: {name} -->\n).*?(<!-- end -->)", re.DOTALL)
        assert len(mark.findall(old)) == 1, f"the page has no place for {name}"
        file.seek(0)
        file.write(mark.sub(lambda m: f"{m[1]}\n{text.strip()}\n\n{m[2]}", old))
        file.truncate()


def table(done: list[tuple[Case, list[Row]]]) -> str:
    """All cases with their rows; one whose library is not installed has none."""
    every = [(case, row) for case, rows in done for row in rows]
    text = INTRO.format(count=len(every), held=sum(row.holds for _, row in every))
    missed = [(case, row) for case, row in every if not row.holds]
    if missed:
        text += "Misses:\n\n" + "".join(f"- **{case.key(row)}**: {MISSES.get(case.key(row), 'not explained')}\n" for case, row in missed) + "\n"
    for home, title in TITLES.items():
        mine = [(case, rows) for case, rows in done if case.home == home]
        if mine:
            text += f"### {title}\n\n{HEAD}" + "".join(line(case, row) for case, rows in mine for row in rows) + "\n"
            text += "".join(f"Not run, {case.needs} is not installed: {case.source}\n\n" for case, rows in mine if not rows)
    return text


def line(case: Case, row: Row) -> str:
    """One row of the table."""
    verdict = "holds" if row.holds else "**misses**"
    unit = "" if row.unit in ("", "1") else f" {row.unit}"
    if row.at_least:
        error, allowed = "", "at least"
    elif row.relative:
        error, allowed = f"{100 * row.error:+.2g} %", f"{100 * row.tolerance:.2g} %"
    else:
        error, allowed = f"{row.error:+.2g}{unit}", f"{row.tolerance:.2g}{unit}"
    if abs(row.error) < 1e-9:
        error = error and "0"
    if row.relative and row.tolerance < 1e-9:
        allowed = "exact"
    return f"| {case.name} | {row.what} | {case.source} | {row.theirs:.6g}{unit} | {row.ours:.6g}{unit} | {error} | {allowed} | {verdict} |\n"
