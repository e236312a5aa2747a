"""The page on the sand: where it may tear as the pattern is drawn, other ways to make the mould, a draw that leans, and how to lift."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from strickle.base import Array, Finding, Mesh, render
from strickle.card.lettering import wide
from strickle.card.picture import GREY
from strickle.card.pins import ROUND, Pin, lines, medal, stick
from strickle.card.png import png
from strickle.card.slices import Plane
from strickle.card.svg import Sheet
from strickle.card.words import qty, say
from strickle.kernels import sight
from strickle.mould import Mould, SandChances, SandWay
from strickle.part import Part
from strickle.pattern import Pattern

DOUBT = 0.1  # chance of any failure from which on the page is printed
BANDS = ((0.1, "under 10 %"), (0.25, "10 to 25 %"), (0.4, "25 to 40 %"), (1.01, "over 40 %, hatched"))  # upper ends of the colours
COLOURS = np.array([GREY, [0.99, 0.86, 0.52], [0.93, 0.55, 0.28], [0.66, 0.20, 0.30]])
CODES = ("mould.sand_tears", "mould.sand_fingers", "mould.sand_relief", "mould.sand_hangs")
MOST = 8  # pins
ACROSS, DOWN = 1000, 720  # pixels of a view
GAP, SIZE, LINE = 4.0, 2.9, 3.7  # mm
STEEP = math.radians(52.0)  # from above and from below, to look into the pockets
KINDS = ("pocket", "edge", "hanging", "handling", "any")


def wanted(mould: Mould | None) -> bool:
    """Whether there is anything to print: sand in doubt, or ways that were compared."""
    return mould is not None and mould.kind == "two-part" and (bool(mould.sand_ways) or mould.sand_chances.any >= DOUBT)


@dataclass(frozen=True, slots=True)
class View:
    """The part seen from one side with the chances on its faces, and where it stands on the sheet [mm]."""

    sight: Any
    down: int
    slack: float
    x: float
    wide: float
    y: float = 0.0

    @staticmethod
    def of(mesh: Mesh, turn: Array, slack: float, x: float, wide: float) -> View:
        """As high as it takes for its width."""
        seen = mesh.vertices @ turn.T
        size = np.ptp(seen, axis=0)
        down = int(min(max(ACROSS * 1.06 * size[1] / max(size[0], 1e-9), 0.3 * DOWN), DOWN))
        make: Any = sight.Sight  # kernels carry no type hints
        return View(make(mesh.vertices, mesh.faces, turn, ACROSS, down), down, slack, x, wide)

    @property
    def high(self) -> float:
        """Its height on the sheet [mm]."""
        return self.wide * self.down / ACROSS

    def lost(self, at: Array) -> bool:
        """Nothing is cut away."""
        return False

    def picture(self, band: Array) -> bytes:
        """PNG of the faces in the colours of their bands (m,), the last hatched."""
        mine = band[self.sight.owner.ravel()[self.sight.seen]]
        return png(self.sight.painted(COLOURS[mine].astype(np.float32), mine.astype(np.int64), (mine == len(BANDS) - 1).astype(np.uint8)))

    def places(self, points: Array) -> tuple[Array, Array]:
        """Where points (n, 3) lie in the picture, as shares across and down (n, 2), and which of them metal hides (n,)."""
        at, hidden = self.sight.places(points, self.slack)
        return at / np.array([ACROSS, self.down]), hidden


def sheet(part: Part, pattern: Pattern, mould: Mould, plane: Plane, findings: Sequence[Finding], width: float, units: str) -> bytes:
    """Both sides of the part with the chances on its faces, pins on what the findings name, and the words of these; SVG ``width`` mm wide."""
    mesh = Mesh(vertices=pattern.scale * (part.mesh.vertices @ pattern.turn.T) + pattern.shift, faces=part.mesh.faces)
    tear = mould.face_tear if len(mould.face_tear) == len(mesh.faces) else np.zeros(len(mesh.faces))
    band = np.searchsorted([end for end, _ in BANDS], tear, side="right")
    pins = pins_of(pattern, findings, units)
    azimuth = math.atan2(plane.along[1], plane.along[0]) + math.radians(24.0)
    slack = 0.02 * float(np.linalg.norm(part.extents))
    half = (width - GAP) / 2
    sides = (("cope", 1.0, "above"), ("drag", -1.0, "below"))
    views = [View.of(mesh, sight.view(azimuth, side * STEEP), slack, i * (half + GAP), half) for i, (_, side, _) in enumerate(sides)]
    high = max(view.high for view in views)
    told = [(number, lines(pin.says, SIZE, width - 10.0)) for number, pin in enumerate(pins, start=1)]
    foot = high + 4.5 + 6.0
    out = Sheet(width, foot + sum(LINE * len(text) + 1.6 for _, text in told) + 0.5, "Where the sand may tear as the pattern is drawn")
    for view, (name, side, whence) in zip(views, sides, strict=True):
        placed = dataclasses.replace(view, y=(high - view.high) / 2)
        out.picture(placed.x, placed.y, placed.wide, placed.high, placed.picture(band))
        stick(out, [placed], [(number, pin) for number, pin in enumerate(pins, start=1) if pin.at[2] * side >= -1e-6])
        out.text(placed.x + half / 2, high + 2.2, say(f"{name} side, from {whence}", units), SIZE, anchor="middle")
    _legend(out, high + 7.0, units)
    y = foot
    for number, text in told:
        medal(out, ROUND + 0.6, y + ROUND, number, pins[number - 1].weight)
        for i, line in enumerate(text):
            out.text(2 * ROUND + 3.0, y + 1.5 + LINE * i, line, SIZE)
        y += LINE * len(text) + 1.6
    return out.written()


def pins_of(pattern: Pattern, findings: Sequence[Finding], units: str) -> list[Pin]:
    """A pin for each finding on the sand that names a place, heaviest first as they are told."""
    out: list[Pin] = []
    for f in findings:
        if f.code in CODES and f.where is not None and f.where.point is not None and len(out) < MOST:
            at = pattern.scale * (pattern.turn @ np.asarray(f.where.point)) + pattern.shift
            out.append(Pin(at, say(render(f.says, units), units), f.weight, 0.0, ("sand",)))
    return out


def _legend(out: Sheet, y: float, units: str) -> None:
    """What the colours mean, in one line."""
    says = say("chance that the sand between these walls tears:", units)
    x = 0.5
    out.text(x, y, says, SIZE)
    x += wide(says, SIZE) + 3.0
    for (_, words), colour in zip(BANDS, COLOURS, strict=True):
        r, g, b = (int(255 * c) for c in colour)
        out.box(x, y - 1.7, 6.0, 3.4, fill=f"#{r:02x}{g:02x}{b:02x}", thick=0.18, r=0.0)
        out.text(x + 7.2, y, words, SIZE)
        x += 7.2 + wide(words, SIZE) + 4.0


def tables(mould: Mould, pattern: Pattern, units: str) -> Mapping[str, Any]:
    """Rows of words for the page: the ways, what they are, a draw that leans, how each piece is lifted."""
    names = _names(mould.sand_ways)
    return {
        "ways": [_way(names[row.name], row.chances, row.low, row.high) + _costs(row, units) for row in mould.sand_ways],
        "says": [
            say(render(f"{names[row.name]}: {row.says}{' (something stops the plan there)' if row.stops else ''}", units), units)
            for row in mould.sand_ways[1:]
        ],
        "chances": [] if mould.sand_ways else [_way("as planned", mould.sand_chances, mould.sand_low, mould.sand_high)],
        "leans": [
            [
                f"{math.degrees(math.atan(one.lean)):.0f}°", percent(one.pocket), percent(one.worst),
                f"{qty(one.push, 'm', units, 'fine')}, lifted {qty(one.lift, 'm', units)}" if one.push > 0 else "not at all",
            ]
            for one in mould.leaning
        ],
        "lifts": [
            [
                one.piece, str(one.screws), qty(one.force, "N", units),
                "by hand" if not one.bars else f"{one.bars} {'bar' if one.bars == 1 else 'bars'} {qty(one.bar_width, 'm', units)} by "
                f"{qty(one.bar_height, 'm', units)}, {qty(one.bar_length, 'm', units)} long, holes {qty(one.apart, 'm', units)} apart",
            ]
            for one in pattern.lifts
        ],
    }  # fmt: skip


def _names(rows: Sequence[SandWay]) -> dict[str, str]:
    """Short names of the ways for the table: another direction is numbered, and told in full under it."""
    lying = [row.name for row in rows if row.name.endswith(" up")]
    return {row.name: f"lying {lying.index(row.name) + 2}" if row.name in lying else row.name for row in rows}


def _way(name: str, chances: SandChances, low: SandChances, high: SandChances) -> list[str]:
    return [name, *(f"{percent(getattr(chances, kind))}|{percent(getattr(low, kind))}–{percent(getattr(high, kind))}" for kind in KINDS)]


def _costs(row: Any, units: str) -> list[str]:
    flask = row.flask
    size = f"{qty(flask.length, 'm', units).rpartition(' ')[0]} × {qty(flask.width, 'm', units)}"
    return [qty(row.metal, "kg", units), f"{row.pieces} of {qty(row.print_volume, 'm3', units)}", size]


def percent(share: float) -> str:
    """A chance as whole percent; a small one that is none is told as under 1.

    >>> percent(0.914), percent(0.002), percent(0.0)
    ('91', '<1', '0')
    """
    return "<1" if 0.0005 < share < 0.01 else f"{100 * share:.0f}"
