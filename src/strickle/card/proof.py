"""The proof that nothing on a drawing lies over anything: every box and line on the sheet, tested against each other by exact geometry."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from strickle.card.lettering import reach, wide

Box = tuple[float, float, float, float]
BASE = 0.34  # the base line lies this share of the letter size under the middle of a line


@dataclass(frozen=True, slots=True)
class Written:
    """Words with the box kept free for them, the middle of the line and the leader's two ends, all in sheet millimetres.

    ``plate``: the box is filled, so that it hides what lies under it. ``stays`` is the region the words must stand in.
    """

    words: str
    box: Box
    size: float
    bold: bool = False
    up: bool = False
    plate: bool = True
    leader: tuple[float, float, float, float] | None = None
    stays: Box | None = None

    @property
    def ink(self) -> Box:
        """The letters' own box from the font's advances and outlines."""
        x, y = (self.box[0] + self.box[2]) / 2, (self.box[1] + self.box[3]) / 2
        half = wide(self.words, self.size, self.bold) / 2
        below, above = reach(self.words, self.size, self.bold)
        low, high = BASE * self.size + below, above - BASE * self.size
        return (x - high, y - half, x + low, y + half) if self.up else (x - half, y - high, x + half, y + low)


@dataclass(frozen=True, slots=True)
class Proof:
    """What was tested: labels, figures of dimensions and letters of the cut line; the lines none of them may cover; the sheet.

    ``lines`` are outlines of part, metal and flask and the parting line, ``measures`` the boxes of
    dimension lines, ``ties`` those of the thin lines from them to what they measure, ``left`` the words that
    found no place and stand in the key beside the drawing with their number (empty where not even the number found one).
    """

    labels: tuple[Written, ...]
    figures: tuple[Written, ...]
    measures: tuple[Box, ...]
    ties: tuple[Box, ...]
    lines: Any
    sheet: Box
    left: tuple[tuple[str, str], ...] = ()

    def faults(self) -> list[str]:
        """Every overlap in words; empty when the drawing is clean."""
        return [*self._boxes(), *self._leaders(), *self._lines()]

    def _boxes(self) -> Iterator[str]:
        for one in (*self.labels, *self.figures):
            if not within(one.box, self.sheet):
                yield f"{one.words!r} leaves the sheet"
            if not within(one.ink, one.box):
                yield f"{one.words!r} is wider or higher than its box"
            if one.stays is not None and not within(one.box, one.stays):
                yield f"{one.words!r} leaves its region"
        for one, other in combinations((*self.labels, *self.figures), 2):
            if overlap(one.box, other.box):
                yield f"{one.words!r} over {other.words!r}"
        for one in self.labels:
            if any(overlap(one.box, row) for row in self.measures):
                yield f"{one.words!r} over a dimension line"
        for one in (*self.labels, *self.figures):
            if any(overlap(one.ink, tie) for tie in self.ties):
                yield f"{one.words!r} over a dimension's tie"

    def _leaders(self) -> Iterator[str]:
        from shapely.geometry import LineString, box

        lines = [(one, LineString([one.leader[:2], one.leader[2:]])) for one in self.labels if one.leader is not None]
        for one, line in lines:
            for other in (*self.labels, *self.figures):
                if other is not one and line.intersects(box(*other.box)):
                    yield f"leader of {one.words!r} through {other.words!r}"
        for (one, line), (other, second) in combinations(lines, 2):
            if line.crosses(second):
                yield f"leader of {one.words!r} crosses that of {other.words!r}"

    def _lines(self) -> Iterator[str]:
        from shapely.geometry import box

        if self.lines is None or self.lines.is_empty:
            return
        for one in (*self.labels, *self.figures):
            if box(*(one.box if one.plate else one.ink)).intersects(self.lines):
                yield f"{one.words!r} over an outline"


def overlap(a: Box, b: Box) -> bool:
    """Whether two boxes share any area."""
    return a[0] < b[2] - 1e-9 and b[0] < a[2] - 1e-9 and a[1] < b[3] - 1e-9 and b[1] < a[3] - 1e-9


def within(inner: Box, outer: Box) -> bool:
    """Whether one box lies in another."""
    slack = 1e-6
    return inner[0] >= outer[0] - slack and inner[1] >= outer[1] - slack and inner[2] <= outer[2] + slack and inner[3] <= outer[3] + slack
