"""The card: what a person carries to the bench, written from results only."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from strickle.base import BadInput, Finding, Outcome, Source, Verdict, ranked, render
from strickle.card.ask import PAPERS
from strickle.card.open_face import amounts, figures, rows
from strickle.card.order import DAY, Facts, blanks, day
from strickle.card.pages import compose
from strickle.card.picture import pictures
from strickle.card.places import places
from strickle.card.result import Card
from strickle.card.safety import DEFERS, chosen, cited, conditions
from strickle.card.section import Bodies, Drawing, middle_of, plan, section
from strickle.card.slices import Plane, informative
from strickle.card.tell import finding_rows, notes, numbers, piece_rows, quantities, subtitle
from strickle.card.words import say
from strickle.cavity import Cavity
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.pour import Pour
from strickle.rigging import Rigging
from strickle.sound import Sound
from strickle.stores import Kit

# most width and height of section and plan [mm], the largest tried first; the next is taken when page one does not hold what must stand on it
SIZES: Mapping[str, tuple[tuple[tuple[float, float], tuple[float, float]], ...]] = {
    "a4": tuple(((186.0, a), (112.0, b)) for a, b in ((79.0, 80.0), (75.0, 75.0), (70.0, 70.0), (64.0, 66.0), (58.0, 62.0), (50.0, 56.0))),
    "us-letter": tuple(((191.0, a), (114.0, b)) for a, b in ((70.0, 70.0), (64.0, 64.0), (60.0, 60.0), (54.0, 56.0), (48.0, 52.0))),
}
MUST, ROOMY, PAGES = 3, 3, 2  # findings wanted on page one while drawings are at one of the first ROOMY sizes; after that the STOPs alone
TRIED = 4  # with drawings smaller than at this size a third page is better

_MARKED = {"memory": " (from memory)", "measured": " (measured)"}


def _sources(results: Sequence[Outcome | None], extra: Sequence[Source]) -> list[str]:
    """Works cited, each once; what is common practice, memory or guess without a work behind it is said in one entry."""
    cited: dict[str, Source] = {}
    bare = 0
    for source in [*(s for r in results if r is not None for s in r.sources), *extra]:
        if source.mark in ("common practice", "guess") or not any(c.isdigit() for c in source.says):
            bare += 1
            continue
        cited.setdefault(source.key, source)
    texts = {source.says: f"{source.says}{_MARKED.get(source.mark, '')}" for source in cited.values()}
    rest = ["common practice, memory and guesses without a work behind them are marked one by one in results.json"] if bare else []
    return [*texts.values(), *rest]


def _because(because: str, verdict: Verdict) -> str:
    """Why the plan ended, as a sentence; nothing where the verdict says it already."""
    told = because.strip().removeprefix("as it stands, ").rstrip(". ")
    if not told or told.lower() in verdict.says.lower():
        return ""
    return f"The plan ended early: {told}."


def _drawings(
    pattern: Pattern | None, mould: Mould | None, rigging: Rigging | None, sound: Sound | None, bodies: Bodies | None, plane: Plane | None,
    units: str, sizes: tuple[tuple[float, float], tuple[float, float]],
) -> dict[str, Drawing]:  # fmt: skip
    """Section and plan within the sizes given; none before there is a pattern."""
    if pattern is None or bodies is None or plane is None:
        return {}
    return {
        "section": section(plane, pattern, mould, rigging, sound, bodies, sizes[0], units),
        "plan": plan(plane, pattern, mould, rigging, bodies, sizes[1], units),
    }


def write(
    *, verdict: Verdict, findings: Sequence[Finding], metal: Metal, part: Part, kit: Kit, pattern: Pattern | None = None, mould: Mould | None = None,
    rigging: Rigging | None = None, cavity: Cavity | None = None, melt: Melt | None = None, pour: Pour | None = None, sound: Sound | None = None,
    title: str = "", units: str = "metric", paper: str = "a4", date: str = "", because: str = "",
) -> dict[str, bytes]:  # fmt: skip
    """The card's files by name: card.pdf, section.svg, plan.svg, casting.png, casting-cut.png, casting.svg.

    Later results may be None: the card then says what is known and why the plan ended (``because``). ``date`` is printed as given.
    Raises BadInput for a paper or unit system that is not known, AssertionError should two labels of a drawing overlap.
    """
    return written(
        verdict=verdict, findings=findings, metal=metal, part=part, kit=kit, pattern=pattern, mould=mould, rigging=rigging, cavity=cavity, melt=melt,
        pour=pour, sound=sound, title=title, units=units, paper=paper, date=date, because=because,
    )[1]  # fmt: skip


def written(
    *, verdict: Verdict, findings: Sequence[Finding], metal: Metal, part: Part, kit: Kit, pattern: Pattern | None = None, mould: Mould | None = None,
    rigging: Rigging | None = None, cavity: Cavity | None = None, melt: Melt | None = None, pour: Pour | None = None, sound: Sound | None = None,
    title: str = "", units: str = "metric", paper: str = "a4", date: str = "", because: str = "",
) -> tuple[Card, dict[str, bytes]]:  # fmt: skip
    """As ``write``, with the record of what was written before the files."""
    if paper not in PAPERS:
        raise BadInput(f"paper {paper!r} is not known", f"Take one of {', '.join(PAPERS)}")
    if units not in ("metric", "us"):
        raise BadInput(f"units {units!r} are not known", "Take metric or us")
    bodies = Bodies.of(pattern, rigging) if pattern is not None else None
    plane = informative(part, pattern, rigging, sound, middle_of(pattern.cavity)) if pattern is not None else None
    shown = pictures(part, pattern, rigging, cavity, sound, bodies, plane, units)
    stopped = verdict.code != "castable" or any(f.weight == "STOP" for f in findings) or sound is None
    furnace = next((f.kind for f in kit.furnaces if melt is not None and f.name == melt.furnace), kit.furnaces[0].kind if kit.furnaces else "")
    cautions = chosen(conditions(metal, kit, sand=mould.sand if mould else kit.sand, furnace=furnace, rigging=rigging))
    pieces = (*(pattern.pieces if pattern else ()), *(rigging.pieces if rigging else ()))
    rough = sound is not None and not math.isfinite(sound.knock_out_time.high)
    with_day = not stopped and not rough
    results = (metal, part, pattern, mould, rigging, cavity, melt, pour, sound)
    listed = quantities(metal, part, pattern, mould, rigging, cavity, melt, pour, sound, kit, units)
    data: dict[str, Any] = {
        "paper": paper,
        "title": title or part.file.rsplit(".", 1)[0],
        "subtitle": say(subtitle(metal, part, mould, melt, units), units),
        "date": date,
        "stopped": stopped,
        "verdict": {"code": verdict.code, "says": render(verdict.says, units), "change": render(verdict.change, units)},
        "because": render(_because(because, verdict), units),
        "rough": rough,
        "numbers": [[say(a, units), b, c] for a, b, c in figures(numbers(melt, pour, cavity, sound, units), rigging, units)],
        "quantities": [[say(a, units), b] for a, b in amounts(listed, mould, rigging, sound, units)],
        "findings": finding_rows(ranked(findings), units),
        "pieces": [[say(cell, units) for cell in row] for row in piece_rows(pieces, units)],
        "picture": shown.says,
        "unit": "inches" if units == "us" else "mm",
        "of_sand": say("mould", units),
        "steps": [],
        "places": [],
        "blanks": blanks(cavity),
        "emergency": [c.text for c in cautions if c.step == "emergency"],
        "defers": DEFERS,
        "sources": _sources(results, cited(cautions)),
    }
    if with_day:
        assert pattern is not None and mould is not None and rigging is not None and cavity is not None  # noqa: PT018
        assert melt is not None and pour is not None and sound is not None  # noqa: PT018
        facts = Facts(metal, pattern, mould, rigging, cavity, melt, pour, sound, kit, tuple(pieces), units)
        data["places"] = [[say(a, units), b] for a, b in places(pattern, mould, rigging, units)]
        data["steps"] = [
            {"title": say(s.title, units), "text": say(s.text, units), "cautions": [say(c.text, units) for c in s.cautions], "hold": s.hold}
            for s in day(facts, cautions, DAY if rigging.open_pour is None else rows())
        ]
    data["notes"] = notes(data["pieces"])
    stops = sum(f.weight == "STOP" for f in findings)
    good: tuple[bytes, int, dict[str, bytes]] | None = None
    for turn, sizes in enumerate(SIZES[paper]):
        drawings = _drawings(pattern, mould, rigging, sound, bodies, plane, units, sizes)
        data["plan_width"] = drawings["plan"].width if drawings else 0.0
        data["drawings"] = {n: {"scale": d.scale, "over": [say(o, units) for o in d.over], "note": d.note} for n, d in drawings.items()}
        files = {f"{name}.svg": drawing.svg for name, drawing in drawings.items()} | {"casting.svg": shown.sheet}
        pdf, pages, held = compose(dict(data), files)
        enough = not drawings or held >= max(stops, min(MUST, len(findings)) if turn < ROOMY else min(1, len(findings)))
        if enough and (good is None or pages < good[1]):
            good = pdf, pages, files
        if good is not None and (good[1] <= PAGES or not drawings or turn >= TRIED):
            break
    if good is not None:
        pdf, pages, files = good
    files |= {"card.pdf": pdf, "casting.png": shown.whole} | ({"casting-cut.png": shown.cut} if shown.cut is not None else {})
    printed = tuple(c.key for c in cautions if with_day or c.step == "emergency")
    card = Card(names=tuple(files), pages=pages, paper=paper, units=units, cautions=printed, sources=cited(cautions))
    return card, files
