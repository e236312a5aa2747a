"""A drawing to scale: places in the mould to millimetres on the sheet, dimensions that find their own row, hatching, sand."""

from __future__ import annotations

from typing import Any

import numpy as np

from strickle.base import shown
from strickle.card.labels import Ground, Label, place_all
from strickle.card.lettering import wide
from strickle.card.proof import Box, Proof, Written, overlap
from strickle.card.svg import INK, Sheet, path, text_box

SCALES = (0.5, 1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 12.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0)
METAL, SAND_INK = "#f0c98c", "#8d8468"
SIDE, HEAD, ROW = 13.0, 9.5, 5.2
DIM = 3.1
SMALL = 1.6  # mm on the sheet: lines round what is smaller are no walls to labels


class Frame:
    """A sheet with a scale. World u, v [m] (v up) fall on the sheet so that ``world`` (u low, u high, v low, v high) is centred."""

    def __init__(
        self, width: float, height: float, world: tuple[float, float, float, float], units: str, says: str, *, snug: bool = False, foot: float = HEAD
    ) -> None:
        room_w, room_h = width - 2 * SIDE, height - HEAD - foot
        need = max(1e3 * (world[1] - world[0]) / room_w, 1e3 * (world[3] - world[2]) / room_h)
        self.ratio = next((s for s in SCALES if s >= need), need)
        self.units, self.world = units, world
        height = min(height, 1e3 * (world[3] - world[2]) / self.ratio + HEAD + foot)
        width = min(width, max(90.0, 1e3 * (world[1] - world[0]) / self.ratio + 2 * SIDE + 12)) if snug else width
        self.sheet, self.ground = Sheet(width, height, says), Ground(width, height)
        self.middle = HEAD + (height - HEAD - foot) / 2
        self.figures: list[Written] = []
        self.rows: list[Box] = []
        self.ties: list[Box] = []
        self.labels: list[Label] = []
        self.over: list[str] = []
        self.key: list[tuple[str, str]] = []
        self.proof: Proof | None = None

    def at(self, u: float, v: float) -> tuple[float, float]:
        """World to sheet."""
        k = 1e3 / self.ratio
        x = self.sheet.width / 2 + (u - (self.world[0] + self.world[1]) / 2) * k
        return x, self.middle - (v - (self.world[2] + self.world[3]) / 2) * k

    def on_sheet(self, shape: Any) -> Any:
        """A shapely shape in world metres, moved to the sheet."""
        from shapely.affinity import affine_transform

        k = 1e3 / self.ratio
        x0, y0 = self.at(0.0, 0.0)
        return affine_transform(shape, [k, 0, 0, -k, x0, y0])

    def told(self, value: float) -> str:
        """A length as it stands beside a dimension line: figure without unit, which the heading gives."""
        return shown(value, "m", self.units)[0]

    def draw(self, shape: Any, **pen: Any) -> None:
        """Draw an area given in sheet millimetres."""
        data = path(ring for piece in pieces(shape) for ring in ([*piece.exterior.coords], *([*r.coords] for r in piece.interiors)))
        if data:
            self.sheet.shape(data, **pen)

    def border(self, shape: Any) -> None:
        """Forbid labels on the edges of an area."""
        for piece in pieces(shape):
            self.ground.wall(piece.boundary)

    def hatch(self, shape: Any, gap: float = 1.9, thick: float = 0.16, *, back: bool = False) -> None:
        """Lines at 45 degrees inside an area given in sheet millimetres; ``back`` leans them to the left."""
        from shapely.geometry import LineString, MultiLineString

        if shape.is_empty:
            return
        x0, y0, x1, y1 = shape.bounds
        reach = y1 - y0
        foot, head = (y0, y1) if back else (y1, y0)
        lines = MultiLineString([LineString([(x, foot), (x + reach, head)]) for x in np.arange(x0 - reach, x1, gap)])
        cut = lines.intersection(shape)
        found = [g for g in getattr(cut, "geoms", [cut]) if g.geom_type == "LineString" and g.length > 0.2]
        if found:
            self.sheet.shape(path(([*g.coords] for g in found), close=False), thick=thick)

    def stipple(self, shape: Any, gap: float = 2.4, thick: float = 0.32) -> None:
        """Dots in an area given in sheet millimetres: sand."""
        import shapely

        if shape.is_empty:
            return
        x0, y0, x1, y1 = shape.bounds
        x, y = np.meshgrid(np.arange(x0, x1, gap), np.arange(y0, y1, gap))
        turn = np.random.default_rng(7)
        x, y = x + turn.uniform(-0.5, 0.5, x.shape) * gap, y + turn.uniform(-0.5, 0.5, y.shape) * gap
        inside = shapely.contains_xy(shape, x.ravel(), y.ravel())
        dots = "".join(f"M{a:.2f} {b:.2f}h0" for a, b in zip(x.ravel()[inside], y.ravel()[inside], strict=True))
        if dots:
            self.sheet.shape(dots, stroke=SAND_INK, thick=thick, cap="round")

    def free(self, box: Box) -> bool:
        """Whether a box lies on the sheet, clear of figures and dimension lines."""
        inside = box[0] >= 0 and box[1] >= 0 and box[2] <= self.sheet.width and box[3] <= self.sheet.height
        return inside and not any(overlap(box, other) for other in (*(f.box for f in self.figures), *self.rows))

    def clear(self, box: Box) -> bool:
        """Whether a box is free and touches no outline and no tie of a dimension drawn so far."""
        from shapely.geometry import box as rectangle

        if not self.free(box) or any(overlap(box, tie) for tie in self.ties):
            return False
        return not any(wall.intersects(rectangle(*box)) for wall in self.ground.walls)

    def _room(self, figure: Box, span: Box, ties: list[Box]) -> bool:
        """Whether a dimension has room: its figure, its line and the thin lines that tie it to what it measures."""
        return self.clear(figure) and self.free(span) and not any(overlap(tie, done.box) for tie in ties for done in self.figures)

    def _tied(self, span: Box, ties: list[Box]) -> None:
        """Keep a drawn dimension's lines."""
        self.rows.append(span)
        self.ties += ties

    def _figure(self, x: float, y: float, words: str, up: bool, box: Box) -> None:
        self.sheet.box(box[0] + 0.2, box[1] + 0.2, box[2] - box[0] - 0.4, box[3] - box[1] - 0.4, thick=0.0, r=0.0)
        self.sheet.text(x, y, words, DIM, anchor="middle", up=up)
        self.figures.append(Written(words, box, DIM, up=up))

    def _arrow(self, x: float, y: float, dx: float, dy: float) -> None:
        wing = 0.42
        tip = [(x, y), (x - 1.7 * dx - wing * dy, y - 1.7 * dy + wing * dx), (x - 1.7 * dx + wing * dy, y - 1.7 * dy - wing * dx)]
        self.sheet.shape(path([tip]), fill=INK, thick=0.0)

    def across(self, u0: float, u1: float, edge: float, side: int, value: float, name: str, from_v: tuple[float, float] | None = None) -> None:
        """A level dimension u0..u1 outside ``edge`` [sheet y]; side -1 above, +1 below; ``name`` is said where it finds no room."""
        v0, v1 = from_v or (0.0, 0.0)
        (xa, ya), (xb, yb) = self.at(u0, v0), self.at(u1, v1)
        ya, yb = (ya, yb) if from_v else (edge, edge)
        words = self.told(value)
        for row in range(4):
            y = edge + side * (3.6 + ROW * row)
            fits = abs(xb - xa) > wide(words, DIM) + 6
            for x in _along(xa, xb, wide(words, DIM), 3.0, fits):
                box = text_box(x, y, words, DIM)
                span = (min(xa, xb, box[0]) - 0.5, y - 0.9, max(xa, xb, box[2]) + 0.5, y + 0.9)
                ties = [(xe - 0.1, min(ye, y), xe + 0.1, max(ye, y)) for xe, ye in ((xa, ya), (xb, yb))]
                if self._room(box, span, ties):
                    for xe, ye in ((xa, ya), (xb, yb)):
                        self.sheet.rule(xe, ye + side * 0.8, xe, y + side * 1.2, thick=0.13)
                        self.ground.line(xe, ye, xe, y, 0.6)
                    self.sheet.rule(xa, y, xb if fits else x, y, thick=0.16)
                    self.ground.line(xa, y, xb, y, 4.0)
                    sign = 1.0 if xb > xa else -1.0
                    self._arrow(xa, y, -sign, 0.0)
                    self._arrow(xb, y, sign, 0.0)
                    self._figure(x, y, words, False, box)
                    self._tied(span, ties)
                    return
        self.over.append(f"{name} {words}")

    def upward(self, v0: float, v1: float, edge: float, side: int, value: float, name: str, from_u: float | None = None) -> None:
        """An upright dimension v0..v1 outside ``edge`` [sheet x]; side -1 to the left, +1 to the right; ``name`` as in ``across``."""
        ya, yb = self.at(0.0, v0)[1], self.at(0.0, v1)[1]
        start = edge if from_u is None else self.at(from_u, 0.0)[0]
        words = self.told(value)
        for row in range(4):
            x = edge + side * (3.6 + ROW * row)
            fits = abs(yb - ya) > wide(words, DIM) + 5
            for y in _along(ya, yb, wide(words, DIM), 2.5, fits):
                box = text_box(x, y, words, DIM, up=True)
                span = (x - 0.9, min(ya, yb, box[1]) + 0.3, x + 0.9, max(ya, yb, box[3]) - 0.3)
                ties = [(min(start, x), ye - 0.1, max(start, x), ye + 0.1) for ye in (ya, yb)]
                if self._room(box, span, ties):
                    for ye in (ya, yb):
                        self.sheet.rule(start + side * 0.8, ye, x + side * 1.2, ye, thick=0.13)
                        self.ground.line(start, ye, x, ye, 0.6)
                    self.sheet.rule(x, ya, x, yb if fits else y, thick=0.16)
                    self.ground.line(x, ya, x, yb, 4.0)
                    sign = 1.0 if yb > ya else -1.0
                    self._arrow(x, ya, 0.0, -sign)
                    self._arrow(x, yb, 0.0, sign)
                    self._figure(x, y, words, True, box)
                    self._tied(span, ties)
                    return
        self.over.append(f"{name} {words}")

    def label(self, words: str, u: float, v: float, **kind: Any) -> None:
        """Ask for a label at a world place; placed by ``finish``."""
        self.labels.append(Label(words, self.at(u, v), **kind))

    def finish(self) -> bytes:
        """Place the labels, draw them, and give the file; the key holds the words of labels without room. Raises AssertionError on any overlap."""
        from shapely.geometry import box as rectangle
        from shapely.ops import unary_union

        walls = list(self.ground.walls)
        for row in (*self.rows, *self.ties):
            self.ground.wall(rectangle(*row).boundary)
        placed, self.key = place_all(self.labels, self.ground, [f.box for f in self.figures])
        for done in placed:
            if done.label.leader:
                self.sheet.rule(*done.label.at, *done.foot, thick=0.2)
                self.sheet.dot(*done.label.at)
        for done in placed:
            x0, y0, x1, y1 = done.box
            if done.label.leader:
                self.sheet.box(x0, y0, x1 - x0, y1 - y0, r=(y1 - y0) / 2 if done.label.key else 0.6, thick=0.35 if done.label.key else 0.2)
            self.sheet.text((x0 + x1) / 2, (y0 + y1) / 2, done.label.words, done.label.size, bold=done.label.bold, anchor="middle")
        sheet = (0.0, 0.0, self.sheet.width, self.sheet.height)
        written = tuple(done.written() for done in placed)
        self.proof = Proof(
            written, tuple(self.figures), tuple(self.rows), tuple(self.ties), unary_union(walls) if walls else None, sheet, tuple(self.key)
        )
        faults = self.proof.faults()
        assert not faults, f"{self.sheet.says}: {'; '.join(faults)}"
        return self.sheet.written()


def _along(a: float, b: float, wide: float, beyond: float, fits: bool) -> tuple[float, ...]:
    """Where the figure of a dimension from a to b is tried: in the middle, else along it, else beyond its ends."""
    ends = (max(a, b) + wide / 2 + beyond, min(a, b) - wide / 2 - beyond)
    if not fits:
        return ends
    slack = max(0.0, abs(b - a) - wide - 5.0) / 2
    return tuple((a + b) / 2 + share * slack for share in (0.0, -0.5, 0.5, -0.9, 0.9))


def pieces(shape: Any) -> list[Any]:
    """The polygons of a shapely shape."""
    found = getattr(shape, "geoms", [shape])
    return [g for g in found if g.geom_type == "Polygon" and not g.is_empty]
