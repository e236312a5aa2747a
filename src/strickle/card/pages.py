"""From the card's data to PDF: the typst template is set with less and less until two pages hold it, lists run over to a third if need be."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from importlib.resources import files
from typing import Any

from strickle.base import Trouble
from strickle.card.lettering import folder, wide

SIZES = (9.2, 8.9, 8.6, 8.3, 8.0)


def _inputs(data: Mapping[str, Any], pictures: Mapping[str, bytes]) -> dict[str, bytes]:
    template = files("strickle.card").joinpath("card.typ").read_bytes()
    return {"main.typ": template, "data.json": json.dumps(data, ensure_ascii=False).encode(), **{k: v for k, v in pictures.items() if k.endswith(".svg")}}


def _ends(data: Mapping[str, Any], pictures: Mapping[str, bytes]) -> tuple[int, int, int]:
    """Page on which the first part ends, the second, and the last page."""
    import typst

    raw = typst.query(_inputs(data, pictures), "<end>", field="value", font_paths=[folder()], ignore_system_fonts=True)
    first, second, last = json.loads(raw)
    return int(first), int(second), int(last)


def _weight(step: Mapping[str, Any]) -> float:
    """About how many lines a step takes in half a page's width [lines], at a middle letter size."""
    size, room = 8.4 * 0.353, 80.0
    texts = [step["text"], *("xx " + c for c in step["cautions"])]
    lines = sum(math.ceil(1.03 * wide(t, size, bold=step["hold"] and i > 0) / room) for i, t in enumerate(texts))
    return float(1.35 + lines + (0.9 if step["hold"] else 0.0))


def split(steps: list[dict[str, Any]]) -> int:
    """How many steps stand in the left column so that both are about as long."""
    weights = [_weight(step) for step in steps]
    total, best = sum(weights), 0
    for n in range(len(weights) + 1):
        if abs(2 * sum(weights[:n]) - total) < abs(2 * sum(weights[:best]) - total):
            best = n
    return best


def _ways(pieces: int) -> list[tuple[float, bool, int]]:
    """What is tried for the second page, the best first: letter size, sources moved to the end, pieces kept on it."""
    ways = [(size, False, pieces) for size in SIZES[:4]] + [(size, True, pieces) for size in SIZES]
    return ways + [(8.4, True, keep) for keep in (12, 8, 0) if keep < pieces]


def compose(data: dict[str, Any], pictures: Mapping[str, bytes]) -> tuple[bytes, int]:
    """The PDF and its number of pages. Raises Trouble when typst refuses the template."""
    import typst

    data["steps_left"] = split(data["steps"])
    findings, pieces = len(data["findings"]), len(data["pieces"])
    data |= {"findings_first": findings, "pieces_second": pieces, "size": SIZES[0], "sources_last": False}
    try:
        for first in range(findings, -1, -1):
            data["findings_first"] = first
            if _ends(data, pictures)[0] == 1:
                break
        for size, sources_last, keep in _ways(pieces):
            data |= {"size": size, "sources_last": sources_last, "pieces_second": keep}
            if _ends(data, pictures)[1] <= 2:
                break
        pdf = typst.compile(_inputs(data, pictures), font_paths=[folder()], ignore_system_fonts=True, format="pdf")
        return bytes(pdf), _ends(data, pictures)[2]
    except typst.TypstError as trouble:
        raise Trouble("the card could not be set", f"Report this as our fault: {str(trouble).splitlines()[0][:200]}") from trouble
