"""The card: what a person carries to the bench, written from results only."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from strickle.base import BadInput, Finding, Outcome, Source, Verdict, ranked, render
from strickle.card import sand as sand_page
from strickle.card.ask import PAPERS
from strickle.card.curves import curves
from strickle.card.filling import filling_files
from strickle.card.lettering import plain
from strickle.card.open_face import amounts, figures, rows
from strickle.card.order import DAY, Facts, blanks, day
from strickle.card.pages import PAPERS as SHEETS
from strickle.card.pages import Layout, compose
from strickle.card.pattern_plate import plate_drawing
from strickle.card.picture import pictures
from strickle.card.places import level_from, places
from strickle.card.prints import print_files
from strickle.card.result import Card
from strickle.card.safety import DEFERS, chosen, cited, conditions
from strickle.card.section import Bodies, Drawing, middle_of, plan, section
from strickle.card.slices import Plane, informative
from strickle.card.tell import finding_rows, largest, notes, numbers, piece_rows, quantities, subtitle
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

_A4 = ((96.0, 100.0), (88.0, 92.0), (80.0, 86.0), (74.0, 80.0), (68.0, 80.0), (68.0, 72.0), (60.0, 72.0), (60.0, 66.0))
_LETTER = ((88.0, 90.0), (80.0, 84.0), (72.0, 78.0), (66.0, 72.0), (60.0, 72.0), (60.0, 66.0), (54.0, 66.0), (54.0, 60.0))
# most width and height of section and plan [mm], the largest tried first; the next is taken when the page of the mould does not hold all pieces
SIZES: Mapping[str, tuple[tuple[tuple[float, float], tuple[float, float]], ...]] = {
    "a4": tuple(((186.0, a), (128.0, b)) for a, b in _A4),
    "letter": tuple(((191.0, a), (132.0, b)) for a, b in _LETTER),
}
ROOMY = 2  # taken where no size lets the page hold all pieces, which then run over to the next
LONGEST = 120  # letters of a title

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


def _begun(text: str) -> str:
    """With a capital."""
    return text[:1].upper() + text[1:]


def _short(text: str, most: int) -> str:
    """Text cut to a length."""
    return text if len(text) <= most else text[: most - 3].rstrip() + "..."


def _fitted(
    data: dict[str, Any], draw: Callable[[tuple[tuple[float, float], tuple[float, float]]], dict[str, Drawing]],
    sizes: Sequence[tuple[tuple[float, float], tuple[float, float]]], more: Mapping[str, bytes],
) -> tuple[dict[str, Any], dict[str, bytes]]:  # fmt: skip
    """The data fitted to pages with the largest drawings that leave room for all pieces; with it the drawings' files."""
    layout = Layout({**data, "drawings": {}, "plan_width": 0.0}, more)
    spelling = "us" if data["unit"] == "inches" else "metric"

    made: dict[int, dict[str, Drawing]] = {}

    def drawn(which: int) -> None:
        if which not in made:
            made[which] = draw(sizes[which])
        drawings = made[which]
        of = {
            name: {
                "scale": d.scale, "key": [[number, say(words, spelling)] for number, words in d.key],
                "over": [say(words, spelling) for words in d.over], "note": d.note,
            }
            for name, d in drawings.items()
        }  # fmt: skip
        layout.data |= {"drawings": of, "plan_width": drawings["plan"].size[0] if drawings else 0.0}
        layout.pictures = {f"{name}.svg": drawing.svg for name, drawing in drawings.items()} | dict(more)

    tried: dict[int, int] = {}

    def fits(which: int, some: bool = False) -> int:
        """0 where the mould's page does not hold all pieces, 1 where it does, 2 where it rounds the card off as well."""
        drawn(which)
        tried[which] = (2 if layout.rounds_off() else 1) if layout.mould(some=some) else 0
        return tried[which]

    drawn(0)
    layout.day()
    layout.settle("day")
    for wanted in (2, 1):  # smaller drawings never fit worse, so the first that does is found by halving
        low, high = 0, len(sizes)
        while low < high:
            middle = (low + high) // 2
            low, high = (low, middle) if (tried[middle] if middle in tried else fits(middle)) >= wanted else (middle + 1, high)
        if low < len(sizes):
            break
    take = low if low < len(sizes) else min(ROOMY, len(sizes) - 1)
    if next(reversed(tried)) != take or not tried[take]:
        fits(take, some=True)
    layout.settle("mould")
    layout.know()
    return layout.data, dict(layout.pictures)


def write(
    *, verdict: Verdict, findings: Sequence[Finding], metal: Metal, part: Part, kit: Kit, pattern: Pattern | None = None, mould: Mould | None = None,
    rigging: Rigging | None = None, cavity: Cavity | None = None, melt: Melt | None = None, pour: Pour | None = None, sound: Sound | None = None,
    title: str = "", units: str = "metric", paper: str = "", date: str = "", because: str = "",
) -> dict[str, bytes]:  # fmt: skip
    """The card's files by name: card.pdf, section.svg, plan.svg, casting.png, casting-cut.png, casting.svg, and where the filling was
    solved its stills filling*.png and filling.gif.

    Later results may be None: the card then says what is known and why the plan ended (``because``). ``date`` is printed as given.
    ``paper`` is a4 or letter; left empty it goes with the units.
    Raises BadInput for a paper or unit system that is not known, AssertionError should two labels of a drawing overlap.
    """
    return written(
        verdict=verdict, findings=findings, metal=metal, part=part, kit=kit, pattern=pattern, mould=mould, rigging=rigging, cavity=cavity, melt=melt,
        pour=pour, sound=sound, title=title, units=units, paper=paper, date=date, because=because,
    )[1]  # fmt: skip


def written(
    *, verdict: Verdict, findings: Sequence[Finding], metal: Metal, part: Part, kit: Kit, pattern: Pattern | None = None, mould: Mould | None = None,
    rigging: Rigging | None = None, cavity: Cavity | None = None, melt: Melt | None = None, pour: Pour | None = None, sound: Sound | None = None,
    title: str = "", units: str = "metric", paper: str = "", date: str = "", because: str = "",
) -> tuple[Card, dict[str, bytes]]:  # fmt: skip
    """As ``write``, with the record of what was written before the files."""
    paper = paper or ("letter" if units == "us" else "a4")
    if paper not in PAPERS:
        raise BadInput(f"paper {paper!r} is not known", f"Take one of {', '.join(PAPERS)}")
    if units not in ("metric", "us"):
        raise BadInput(f"units {units!r} are not known", "Take metric or us")
    bodies = Bodies.of(pattern, rigging) if pattern is not None else None
    plane = informative(part, pattern, rigging, sound, middle_of(pattern.cavity)) if pattern is not None else None
    shown = pictures(part, pattern, rigging, cavity, sound, bodies, plane, units)
    stopped = verdict.code != "castable" or any(f.weight == "STOP" for f in findings) or sound is None
    furnace = next((f.kind for f in kit.furnaces if melt is not None and f.name == melt.furnace), kit.furnaces[0].kind if kit.furnaces else "")
    cautions = chosen(
        conditions(metal, kit, sand=mould.sand if mould else kit.sand, furnace=furnace, rigging=rigging, cores=pattern.cores if pattern else ())
    )
    pieces = (*(pattern.pieces if pattern else ()), *(rigging.pieces if rigging else ()))
    rough = sound is not None and not math.isfinite(sound.knock_out_time.high)
    with_day = not stopped and not rough
    results = (metal, part, pattern, mould, rigging, cavity, melt, pour, sound)
    listed = quantities(metal, part, pattern, mould, rigging, cavity, melt, pour, sound, kit, units)
    main, others = largest(figures(numbers(melt, pour, cavity, sound, units), rigging, units))
    name = _short(plain(title or part.file.rsplit(".", 1)[0]) or "part", LONGEST)
    data: dict[str, Any] = {
        "paper": SHEETS[paper],
        "title": name,
        "footer": _short(name, 60),
        "subtitle": plain(say(subtitle(metal, part, mould, melt, units), units)),
        "date": plain(date),
        "minds": sum(f.weight == "MIND" for f in findings),
        "stopped": stopped,
        "verdict": {"code": verdict.code, "says": render(verdict.says, units), "change": render(verdict.change, units)},
        "because": render(_because(because, verdict), units),
        "rough": rough,
        "main": [[say(a, units), b, c] for a, b, c in main],
        "numbers": [[say(a, units), b, c] for a, b, c in others],
        "quantities": [[say(a, units), b] for a, b in amounts(listed, mould, rigging, sound, units)],
        "findings": finding_rows(ranked(findings), units),
        "pieces": [[say(cell, units) for cell in row] for row in piece_rows(pieces, units)],
        "picture": shown.says,
        "unit": "inches" if units == "us" else "mm",
        "of_sand": say("mould", units),
        "grade": f" · raw: ISO 8062-3 DCTG {pattern.tolerance_grade:.0f}" if pattern is not None and pattern.tolerance_grade > 0 else "",
        "drawn": _drawn(rigging) | {"cores": bool(pattern and pattern.cores)},
        "steps": [],
        "sand": None,
        "places": [],
        "level_from": "",
        "blanks": blanks(cavity),
        "emergency": [c.text for c in cautions if c.step == "emergency"],
        "defers": DEFERS,
        "sources": _sources(results, cited(cautions)),
    }
    if with_day:
        assert pattern is not None and mould is not None and rigging is not None and cavity is not None  # noqa: PT018
        assert melt is not None and pour is not None and sound is not None  # noqa: PT018
        facts = Facts(metal, pattern, mould, rigging, cavity, melt, pour, sound, kit, tuple(pieces), units)
        told = places(pattern, mould, rigging, units, sound)
        data["places"], data["level_from"] = [[say(a, units), b] for a, b in told], level_from(told, mould)
        data["steps"] = [
            {
                "title": say(s.title, units), "text": _begun(say(s.text, units)), "time": s.time, "hold": s.hold,
                "cautions": [say(c.text, units) for c in s.cautions],
            }
            for s in day(facts, cautions, DAY if rigging.open_pour is None else rows())
        ]  # fmt: skip
    data["notes"] = notes(data["pieces"])
    pictures_of = functools.partial(_drawings, pattern, mould, rigging, sound, bodies, plane, units)
    more = {"casting.svg": shown.sheet}
    if mould is not None and pattern is not None and plane is not None and sand_page.wanted(mould):
        data["sand"] = sand_page.tables(mould, pattern, units)
        more["sand.svg"] = sand_page.sheet(part, pattern, mould, plane, ranked(findings), SIZES[paper][0][0][0], units)
    data, files = _fitted(data, pictures_of, SIZES[paper], more)
    pdf, pages = compose(data, files)
    files |= {"card.pdf": pdf, "casting.png": shown.whole} | ({"casting-cut.png": shown.cut} if shown.cut is not None else {})
    drawn = curves(sound, metal, units) if sound is not None and metal is not None else None
    files |= {"pegs.svg": drawn} if drawn is not None else {}
    files |= filling_files(pour, metal, pattern, rigging, cavity, bodies, plane, findings, _short(name, 60), units)
    plate = plate_drawing(pattern, rigging, mould, name, units) if pattern and rigging and mould else None
    files |= {"pattern-plate.svg": plate} if plate is not None else {}
    files |= print_files(pieces, mould, kit, title=name, units=units, paper=paper, stopped=stopped, date=date)
    printed = tuple(c.key for c in cautions if with_day or c.step == "emergency")
    card = Card(names=tuple(files), pages=pages, paper=paper, units=units, cautions=printed, sources=cited(cautions))
    return card, files


def _drawn(rigging: Rigging | None) -> dict[str, bool]:
    """What besides the casting the drawings can show, for their key."""
    if rigging is None:
        return {"risers": True, "running": True, "vents": True, "parting": True}
    closed = rigging.open_pour is None
    return {"risers": bool(rigging.risers), "running": closed, "vents": bool(rigging.vents), "parting": closed}
