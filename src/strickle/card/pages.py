"""From the card's data to PDF: the typst template is set with less and less until two pages hold it, lists run over to a third if need be."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from importlib.resources import files
from typing import Any

from strickle.base import Trouble
from strickle.card.lettering import folder, wide

SIZES = (9.2, 8.9, 8.6, 8.3, 8.0, 7.8, 7.6)
SOURCE_SIZES = (6.0, 5.5, 5.0)  # points; sources are for looking up at the desk, not at the bench


def _inputs(data: Mapping[str, Any], pictures: Mapping[str, bytes]) -> dict[str, bytes]:
    template = files("strickle.card").joinpath("card.typ").read_bytes()
    return {"main.typ": template, "data.json": json.dumps(data, ensure_ascii=False).encode(), **pictures}


def _empty(svg: bytes) -> bytes:
    """A drawing of the same size with nothing on it: enough to see where the page ends."""
    return svg[: svg.index(b">") + 1] + b"</svg>"


def _ends(data: Mapping[str, Any], pictures: Mapping[str, bytes]) -> tuple[int, int, int]:
    """Page on which the first part ends, the second, and the last page."""
    import typst

    blank = {name: _empty(svg) for name, svg in pictures.items()}
    query: Any = typst.query  # its type hints leave out the dictionary of files that it takes
    raw = query(_inputs(data, blank), "<end>", field="value", font_paths=[folder()], ignore_system_fonts=True)
    first, second, last = json.loads(raw)
    return int(first), int(second), int(last)


def _weight(step: Mapping[str, Any]) -> float:
    """About how many lines a step takes in half a page's width [lines], at a middle letter size."""
    size, room = 8.4 * 0.353, 80.0
    texts = [step["text"], *("xx " + c for c in step["cautions"])]
    lines = sum(math.ceil(1.03 * wide(t, size, bold=step["hold"] and i > 0) / room) for i, text in enumerate(texts) for t in text.split("\n"))
    return float(1.35 + lines + (0.9 if step["hold"] else 0.0))


def split(steps: list[dict[str, Any]]) -> tuple[int, float]:
    """How many steps stand in the left column, and its share of the width, so that both columns are about as long."""
    weights = [_weight(step) for step in steps]
    total, best = sum(weights), 0
    for n in range(len(weights) + 1):
        if abs(2 * sum(weights[:n]) - total) < abs(2 * sum(weights[:best]) - total):
            best = n
    return best, round(sum(weights[:best]) / total, 3) if total else 0.5


def _ways(pieces: int, sources_at: str | None, places_at: str) -> list[dict[str, Any]]:
    """What is tried for the second page, the best first: letter size, where sources and places stand, how the pieces are listed."""
    first = _listed(pieces, sources_at)
    if places_at == "first":
        return first
    return [way | {"places_at": at} for at in ("second", "last") for way in first]


def _listed(pieces: int, sources_at: str | None) -> list[dict[str, Any]]:
    near = sources_at or "second"
    small = SOURCE_SIZES[-1]
    whole = [(size, near, False, pieces, SOURCE_SIZES[0]) for size in SIZES[:2]]
    narrow = [(size, near, True, pieces, SOURCE_SIZES[0]) for size in SIZES]
    smaller = [(size, near, True, pieces, small) for size in SIZES[2:]]
    last = [(size, "last", narrow_list, pieces, SOURCE_SIZES[0]) for size in SIZES for narrow_list in (False, True)]
    over = [(SIZES[2], "last", True, keep, SOURCE_SIZES[0]) for keep in (16, 12, 8, 0) if keep < pieces]
    ways = [*whole, *narrow, *smaller, *last, *over]
    if sources_at:  # they stand on page one already, at the size found there
        names: tuple[str, ...] = ("size", "sources_at", "pieces_narrow", "pieces_second")
        return [dict(zip(names, way[:4], strict=True)) for way in ways]
    names = ("size", "sources_at", "pieces_narrow", "pieces_second", "sources_size")
    return [dict(zip(names, way, strict=True)) for way in ways]


def _for_notes(data: dict[str, Any], held: int, under: int, fits: Any) -> str | None:
    """Sources in the place of the last notes of page one: a note stands in results.json too. Puts all back where that does not help."""
    kept = {key: data[key] for key in ("findings", "notes_left", "findings_first", "findings_under")}
    for fewer in range(1, held + under + 1):
        left = held + under - fewer
        if data["findings"][left]["weight"] != "NOTE":
            break
        data |= {"findings": data["findings"][:left], "notes_left": data["notes_left"] + 1, "findings_under": max(0, left - held)}
        if fits(1, findings_first=min(held, left), sources_at="first", sources_size=SOURCE_SIZES[-1]):
            return "first"
    data |= kept | {"sources_size": SOURCE_SIZES[0]}
    return None


def compose(data: dict[str, Any], pictures: Mapping[str, bytes]) -> tuple[bytes, int, int]:
    """The PDF, its number of pages, and how many findings page one holds (-1 where even none leaves it too full).

    Raises Trouble when typst refuses the template.
    """
    import typst

    findings, pieces = len(data["findings"]), len(data["pieces"])
    left, share = split(data["steps"])
    data |= {
        "steps_left": left,
        "left_share": share,
        "size": SIZES[0],
        "pieces_second": pieces,
        "pieces_narrow": False,
        "notes_left": 0,
        "sources_at": "second",
        "sources_size": SOURCE_SIZES[0],
        "findings_first": findings,
        "findings_under": 0,
        "places_at": "second",
    }

    def fits(page: int, **change: Any) -> bool:
        data.update(change)
        return _ends(data, pictures)[page - 1] <= page

    try:
        held = next((first for first in range(findings, -1, -1) if fits(1, findings_first=first)), -1)
        if data["places"] and not fits(1, places_at="first", findings_first=max(held, 0)):
            data["places_at"] = "second"
        under = next((n for n in range(findings - held, -1, -1) if fits(1, findings_under=n)), 0) if held > 0 else 0
        data["findings_under"] = under
        over = data["findings"][max(held, 0) + under :]
        if held >= 0 and over and all(f["weight"] == "NOTE" for f in over):  # notes alone are worth no third page
            data |= {"findings": data["findings"][: held + under], "notes_left": len(over)}
        places = ((at, size) for size in SOURCE_SIZES for at in ("first", "under", "foot"))
        here = next((at for at, size in places if fits(1, sources_at=at, sources_size=size)), None)
        if here is None:
            here = _for_notes(data, held, under, fits)
        for way in _ways(pieces, here, data["places_at"] if data["places"] else "first"):
            if fits(2, **way):
                break
        make: Any = typst.compile
        pdf = make(_inputs(data, pictures), font_paths=[folder()], ignore_system_fonts=True, format="pdf")
        return bytes(pdf), _ends(data, pictures)[2], held + data["findings_under"] if held >= 0 else held
    except typst.TypstError as trouble:
        raise Trouble("the card could not be set", f"Report this as our fault: {str(trouble).splitlines()[0][:200]}") from trouble
