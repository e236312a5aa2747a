"""A drawing to scale: places in the mould to millimetres on the sheet, dimensions that find their own row, hatching, sand."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from strickle.base import shown
from strickle.card.labels import Box, Ground, Label, overlap, place
from strickle.card.lettering import wide
from strickle.card.svg import INK, Sheet, path, text_box

SCALES = (0.5, 1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0)
METAL, SAND_INK = "#f0c98c", "#8d8468"
SIDE, HEAD, ROW = 13.0, 9.5, 5.2
DIM = 3.1


class Frame:
    """A sheet with a scale. World u, v [m] (v up) fall on the sheet so that ``world`` (u low, u high, v low, v high) is centred."""

    def __init__(self, width: float, height: float, world: tuple[float, float, float, float], units: str, says: str, *, snug: bool = False) -> None:
        room_w, room_h = width - 2 * SIDE, height - 2 * HEAD
        need = max(1e3 * (world[1] - world[0]) / room_w, 1e3 * (world[3] - world[2]) / room_h)
        self.ratio = next((s for s in SCALES if s >= need), need)
        self.units, self.world = units, world
        height = min(height, 1e3 * (world[3] - world[2]) / self.ratio + 2 * HEAD)
        width = min(width, max(90.0, 1e3 * (world[1] - world[0]) / self.ratio + 2 * SIDE + 12)) if snug else width
        self.sheet, self.ground = Sheet(width, height, says), Ground(width, height)
        self.hard: list[Box] = []
        self.rows: list[Box] = []
        self.labels: list[Label] = []
        self.over: list[str] = []

    def at(self, u: float, v: float) -> tuple[float, float]:
        """World to sheet."""
        k = 1e3 / self.ratio
        x = self.sheet.width / 2 + (u - (self.world[0] + self.world[1]) / 2) * k
        return x, self.sheet.height / 2 - (v - (self.world[2] + self.world[3]) / 2) * k

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
        """Make the edge of an area dear to labels."""
        for (x0, y0), (x1, y1) in pairwise(shape.exterior.coords):
            self.ground.line(x0, y0, x1, y1, 14.0)

    def hatch(self, shape: Any, gap: float = 1.9) -> None:
        """Lines at 45 degrees inside an area given in sheet millimetres."""
        from shapely.geometry import LineString, MultiLineString

        if shape.is_empty:
            return
        x0, y0, x1, y1 = shape.bounds
        reach = y1 - y0
        lines = MultiLineString([LineString([(x, y1), (x + reach, y0)]) for x in np.arange(x0 - reach, x1, gap)])
        cut = lines.intersection(shape)
        found = [g for g in getattr(cut, "geoms", [cut]) if g.geom_type == "LineString" and g.length > 0.2]
        if found:
            self.sheet.shape(path(([*g.coords] for g in found), close=False), thick=0.16)

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
        return inside and not any(overlap(box, other) for other in (*self.hard, *self.rows))

    def _figure(self, x: float, y: float, words: str, up: bool, box: Box) -> None:
        self.sheet.box(box[0] + 0.2, box[1] + 0.2, box[2] - box[0] - 0.4, box[3] - box[1] - 0.4, thick=0.0, r=0.0)
        self.sheet.text(x, y, words, DIM, anchor="middle", up=up)
        self.hard.append(box)

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
        for row in range(3):
            y = edge + side * (3.6 + ROW * row)
            fits = abs(xb - xa) > wide(words, DIM) + 6
            for x in ((xa + xb) / 2,) if fits else (max(xa, xb) + wide(words, DIM) / 2 + 3.0, min(xa, xb) - wide(words, DIM) / 2 - 3.0):
                box = text_box(x, y, words, DIM)
                span = (min(xa, xb, box[0]) - 0.5, y - 0.9, max(xa, xb, box[2]) + 0.5, y + 0.9)
                if self.free(box) and self.free(span):
                    for xe, ye in ((xa, ya), (xb, yb)):
                        self.sheet.rule(xe, ye + side * 0.8, xe, y + side * 1.2, thick=0.13)
                        self.ground.line(xe, ye, xe, y, 0.6)
                    self.sheet.rule(xa, y, xb if fits else x, y, thick=0.16)
                    self.ground.line(xa, y, xb, y, 4.0)
                    sign = 1.0 if xb > xa else -1.0
                    self._arrow(xa, y, -sign, 0.0)
                    self._arrow(xb, y, sign, 0.0)
                    self._figure(x, y, words, False, box)
                    self.rows.append(span)
                    return
        self.over.append(f"{name} {words}")

    def upward(self, v0: float, v1: float, edge: float, side: int, value: float, name: str, from_u: float | None = None) -> None:
        """An upright dimension v0..v1 outside ``edge`` [sheet x]; side -1 to the left, +1 to the right; ``name`` as in ``across``."""
        ya, yb = self.at(0.0, v0)[1], self.at(0.0, v1)[1]
        start = edge if from_u is None else self.at(from_u, 0.0)[0]
        words = self.told(value)
        for row in range(3):
            x = edge + side * (3.6 + ROW * row)
            fits = abs(yb - ya) > wide(words, DIM) + 5
            for y in ((ya + yb) / 2,) if fits else (max(ya, yb) + wide(words, DIM) / 2 + 2.5, min(ya, yb) - wide(words, DIM) / 2 - 2.5):
                box = text_box(x, y, words, DIM, up=True)
                span = (x - 0.9, min(ya, yb, box[1]) + 0.3, x + 0.9, max(ya, yb, box[3]) - 0.3)
                if self.free(box) and self.free(span):
                    for ye in (ya, yb):
                        self.sheet.rule(start + side * 0.8, ye, x + side * 1.2, ye, thick=0.13)
                        self.ground.line(start, ye, x, ye, 0.6)
                    self.sheet.rule(x, ya, x, yb if fits else y, thick=0.16)
                    self.ground.line(x, ya, x, yb, 4.0)
                    sign = 1.0 if yb > ya else -1.0
                    self._arrow(x, ya, 0.0, -sign)
                    self._arrow(x, yb, 0.0, sign)
                    self._figure(x, y, words, True, box)
                    self.rows.append(span)
                    return
        self.over.append(f"{name} {words}")

    def label(self, words: str, u: float, v: float, **kind: Any) -> None:
        """Ask for a label at a world place; placed by ``finish``."""
        self.labels.append(Label(words, self.at(u, v), **kind))

    def finish(self) -> bytes:
        """Place the labels, draw them, and give the file. Labels without room are added to ``over``."""
        placed, left = place(self.labels, self.ground, self.hard)
        for done in placed:
            if done.label.leader:
                self.sheet.rule(*done.label.at, *done.foot, thick=0.2)
                self.sheet.dot(*done.label.at)
        for done in placed:
            x0, y0, x1, y1 = done.box
            if done.label.leader:
                self.sheet.box(x0, y0, x1 - x0, y1 - y0)
            self.sheet.text((x0 + x1) / 2, (y0 + y1) / 2, done.label.words, done.label.size, bold=done.label.bold, anchor="middle")
        self.over += [label.words for label in left]
        return self.sheet.written()


def pieces(shape: Any) -> list[Any]:
    """The polygons of a shapely shape."""
    found = getattr(shape, "geoms", [shape])
    return [g for g in found if g.geom_type == "Polygon" and not g.is_empty]
