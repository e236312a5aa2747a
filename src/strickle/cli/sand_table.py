"""The ways to make the mould side by side, as a table of the terminal, and what a leaning draw does."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping
from typing import Any

from strickle.base import shown, spelled

KINDS = ("pocket", "edge", "hanging", "handling", "any")
HEADS = ("pockets", "edges", "hanging", "handling", "any")


def table(doc: Mapping[str, Any], units: str, wide: int) -> str:
    """The compared ways with what a draw that leans does; empty where none were run."""
    mould = doc["stages"]["mould"]
    rows = mould.get("sand_ways", ()) if mould["status"] == "done" else ()
    if not rows:
        return ""
    metal, print_ = (shown(1.0, unit, units)[1] for unit in ("kg", "m3"))
    lines = [("how", *HEADS, f"metal {metal}", "prints", f"of {print_}")]
    for row in rows:
        each = [_span(*(row[end][kind]["value"] for end in ("low", "chances", "high"))) for kind in KINDS]
        made = _in(row["metal"]["value"], "kg", units, metal), str(row["pieces"]), _in(row["print_volume"]["value"], "m3", units, print_)
        lines.append((row["name"], *each, *made))
    widths = [max(len(line[i]) for line in lines) for i in range(len(lines[0]))]
    out = ["Ways to make this mould: chance in % that its sand fails, low-likely-high"]
    out += ["  ".join(cell.ljust(w) if i == 0 else cell.rjust(w) for i, (cell, w) in enumerate(zip(line, widths, strict=True))) for line in lines]
    out += [f"{row['name']}: {row['says']}{_stopped(row)}" for row in rows[1:]]
    leans = _leans(mould)
    wrapped = [line if n <= len(rows) + 1 else textwrap.fill(line, wide, subsequent_indent="  ") for n, line in enumerate(out)]
    return "\n".join(spelled(line, units) for line in (*wrapped, *([textwrap.fill(leans, wide, subsequent_indent="  ")] if leans else [])))


def _stopped(row: Mapping[str, Any]) -> str:
    return f" (stops there: {', '.join(row['stops'])})" if row["stops"] else ""


def _in(value: float, unit: str, units: str, name: str) -> str:
    """A number in the column's own unit."""
    number, own = shown(value, unit, units)
    if own == name:
        return number
    one = shown(1.0, unit, units)[0]
    return f"{value * float(one):.3g}"


def _span(low: float, likely: float, high: float) -> str:
    three = [f"{100 * share:.0f}" for share in (low, likely, high)]
    return three[1] if len(set(three)) == 1 else "-".join(three)


def _leans(mould: Mapping[str, Any]) -> str:
    """What a draw that leans does to the pockets, in one line."""
    if not mould["leaning"] or max(one["pocket"]["value"] for one in mould["leaning"]) < 0.01:
        return ""
    told = ", ".join(f"{math.degrees(math.atan(one['lean']['value'])):.0f} deg {100 * one['pocket']['value']:.0f} %" for one in mould["leaning"])
    return f"Chance that a pocket tears if the pattern leans by: {told}"
