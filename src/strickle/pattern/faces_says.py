"""What is told of holes to drill, machining stock and tolerance."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from strickle.base import Array, Finding, Margin, Where, tell
from strickle.pattern.faces import Raw
from strickle.pattern.holes import Hole, drilled
from strickle.pattern.marks import Marked
from strickle.pattern.plugs import stacked
from strickle.pattern.stock import LONGEST, MACHINING, Amount, Grade

FEW = 6  # places, or sizes, told one by one
GRADES = "Grade: ISO/CD 8062-2, Table A.2, single castings in clay-bonded sand moulded by hand; tolerance: ISO 8062-3:2007, Table 2"
STOCK = "ISO 8062:1994, Table 2 and clause 9 (from memory, unverified)"


def told(raw: Raw, centres: Sequence[bool], asked: str) -> list[Finding]:
    """Findings on the holes and the marked faces; ``centres`` says for each drilled hole whether its mark is in the pattern."""
    out = [_drilled(raw, centres)] if raw.drilled else []
    stay = [raw.holes[i] for i in raw.left]
    if asked == "cast":
        would = [h for i, h in enumerate(raw.holes) if i not in raw.drilled and drilled(2 * h.radius, h.depth, raw.limits)]
        out += [_cast(would, "they are asked to be cast")] if would else []
    elif stay:
        out.append(_cast(stay, "their walls do not close to a plain plug"))
    deep = [h for i, h in enumerate(raw.holes) if i not in raw.drilled and _deep(h, raw)]
    out += [_wide(deep, raw)] if deep else []
    out += [_stocked(one, by, raw.grade) for one, by in raw.stocked]
    out += [_spared(one, raw.holes[one.hole]) for one in raw.spared]
    return out


def _deep(hole: Hole, raw: Raw) -> bool:
    return hole.depth > raw.limits.slender * 2 * hole.radius and 2 * hole.radius > raw.limits.widest


def _sizes(holes: Sequence[Hole]) -> str:
    """How many holes of which diameter, the most first."""
    count = Counter(round(2 * hole.radius, 1) for hole in holes).most_common()
    words = [f"{number} of {tell(size * 1e-3, 'm', 'fine')}" for size, number in count[:FEW]]
    return ", ".join(words) + (" and others" if len(count) > FEW else "")


def _place(at: Array) -> str:
    """A place on the part [mm] in words."""
    return "(" + ", ".join(tell(float(v) * 1e-3 + 0.0, "m", "fine") for v in np.round(at, 4)) + ")"


def _point(at: Array) -> Where:
    x, y, z = (float(v) * 1e-3 for v in at)
    return Where(point=(x, y, z))


def _holes(count: int) -> str:
    return "1 round hole" if count == 1 else f"{count} round holes"


def _drilled(raw: Raw, centres: Sequence[bool]) -> Finding:
    """The holes that are filled."""
    holes = [raw.holes[i] for i in raw.drilled]
    out = [hole for hole, has in zip(holes, centres, strict=True) if not has]
    wider = [h for i, h in enumerate(raw.holes) if i not in raw.drilled and "step" in h.ends]
    under = sum(any(_opens_in(hole, other) for other in wider) for hole in holes)
    be = "is" if len(holes) == 1 else "are"
    ways = []
    if any(centres):
        ways.append(f"drill {sum(centres)} at the centre mark cast in the face")
    led = [hole for hole in out if any(has and stacked(hole, other) for other, has in zip(holes, centres, strict=True))]
    out = [hole for hole in out if all(hole is not other for other in led)]
    if led:
        ways.append(f"open {len(led)} wider from {'the hole it goes' if len(led) == 1 else 'the holes they go'} on as")
    if out:
        more = f" and {len(out) - FEW} more that results.json lists" if len(out) > FEW else ""
        where = ", ".join(_place(hole.at) for hole in out[:FEW])
        ways.append(f"mark out and drill {len(out)} at {where}{more}, in the part's own coordinates")
    limits = raw.limits
    return Finding(
        code="pattern.holes_drilled",
        weight="NOTE",
        says=f"{_holes(len(holes))} {be} filled in the pattern and drilled in the casting: {_sizes(holes)}"
        + (f"; the wider hole over {under} of them stays as drawn" if under else ""),
        because=(
            f"Sand stands badly in holes up to {tell(limits.narrow * 1e-3, 'm')} or deeper than {tell(limits.slender, '1')} diameters,"
            f" and up to {tell(limits.widest * 1e-3, 'm')} a drill makes them truer; weight and freezing are reckoned with them full"
        ),
        do=f"After casting, {', '.join(ways)}; --holes cast leaves them as drawn",
        where=_point(holes[0].at),
        source="Holes filled for drilling: common practice; how wide a drill goes, and the marks: choices of this program",
    )


def _opens_in(hole: Hole, other: Hole) -> bool:
    """Whether a hole starts at the ledge of a wider one."""
    ends = [hole.at, hole.at + hole.reach * hole.axis]
    ledge = [other.at, other.at + other.reach * other.axis]
    return any(float(np.linalg.norm(a - b)) < 0.5 * other.radius for a in ends for b in ledge) and other.radius > hole.radius


def _cast(holes: Sequence[Hole], why: str) -> Finding:
    """Holes that are usually drilled and stay."""
    return Finding(
        code="pattern.holes_cast",
        weight="MIND",
        says=f"{_holes(len(holes))} that a drill would make {'stays' if len(holes) == 1 else 'stay'} in the pattern as drawn: {_sizes(holes)}",
        because=f"Sand in such holes has a chance to tear at the draw or to wash away, and {why}",
        do="Fill them in the drawing of the part and drill the casting, or ream what comes out",
        where=_point(holes[0].at),
        source="Holes filled for drilling: common practice",
    )


def _wide(holes: Sequence[Hole], raw: Raw) -> Finding:
    """Deep holes too wide to drill."""
    return Finding(
        code="pattern.holes_deep",
        weight="NOTE",
        says=f"{_holes(len(holes))} deeper than {tell(raw.limits.slender, '1')} diameters {'is' if len(holes) == 1 else 'are'} left to the sand:"
        f" {_sizes(holes)}",
        because=f"From the solid hardly anyone drills more than {tell(raw.limits.widest * 1e-3, 'm')}",
        do="See how its sand stands the draw; a core, or stock for boring, may help",
        where=_point(holes[0].at),
        source="Wider than what is drilled: a choice of this program",
    )


def _stocked(one: Marked, by: Amount, grade: Grade) -> Finding:
    """Stock on one face."""
    what = {"flat": "flat", "bore": "bore, on its radius,", "boss": "boss, on its radius,"}[one.shape]
    own = (
        "it was asked for"
        if by.asked
        else f"{tell(by.machining, 'm', 'fine')} is the allowance of grade {MACHINING}, the rest a share of the"
        f" {tell(by.tolerance, 'm', 'fine')} that a size there may vary by in grade {grade.grade}"
    )
    return Finding(
        code="pattern.machining",
        weight="NOTE",
        says=f"The {what} marked {one.name!r} carries {tell(by.total, 'm', 'fine')} of stock",
        because=f"It is marked as machined, {tell(one.area * 1e-6, 'm2')} of it; {own}",
        do="Machine it down to the drawing; give another amount behind the mark's place to overrule",
        where=Where(point=_point(one.at).point, faces=tuple(int(i) for i in one.faces[:2000])) if one.hole >= 0 else _point(one.at),
        margin=Margin(value=by.total, unit="m", of="stock on the face"),
        source=f"{STOCK}; {GRADES}",
    )


def _spared(one: Marked, hole: Hole) -> Finding:
    """A machined bore that is drilled from the solid."""
    return Finding(
        code="pattern.machining",
        weight="NOTE",
        says=f"The bore marked {one.name!r} is filled in the pattern: it is drilled and machined from the solid",
        because=f"It is {tell(2e-3 * hole.radius, 'm')} wide and {tell(hole.depth * 1e-3, 'm')} deep: less its stock, a drill's work",
        do="Drill and machine it after casting; --holes cast casts it smaller by its stock instead",
        where=_point(one.at),
        source=STOCK,
    )


def toleranced(grade: Grade, length: float, band: float, family: str) -> Finding:
    """The tolerance grade; ``length`` [m] the part's longest size and ``band`` [m] its whole tolerance."""
    ends = length > LONGEST
    row = "" if grade.own_row else f"; the standard's row for {family} could not be had and light metal's stands in"
    return Finding(
        code="pattern.tolerance",
        weight="NOTE",
        says=f"The raw casting is reckoned to ISO 8062-3 tolerance grade DCTG {grade.grade}: over its {tell(length, 'm')} within"
        f" {tell(band / 2, 'm', 'fine')} either way{' at the least' if ends else ''}",
        because=f"Single castings in clay-bonded sand moulded by hand come out in grades {grade.low} to {grade.high}, the middle is taken;"
        f" oil-bonded sand is no row of the standard and is taken as clay-bonded{row}"
        + (f"; the table here ends at {tell(LONGEST, 'm')}, and what it gives there stands in: a longer size varies more" if ends else ""),
        do="Mark faces that must be truer as machined with --marks, so that they get stock; measure your own castings to learn better",
        margin=Margin(value=band, unit="m", of="tolerance band of the longest size"),
        source=GRADES,
    )
