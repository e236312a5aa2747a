"""Numbered pins on the pictures of a filling: where fronts meet, air is shut in, metal comes last or not at all, and what was found there."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from strickle.base import WEIGHTS, Array, Finding, render, tell
from strickle.card.came import Pane
from strickle.card.lettering import wide
from strickle.card.svg import Sheet
from strickle.card.words import say
from strickle.pattern import Pattern
from strickle.pour import Pour

MOST = 8
MOST_SEAMS, MOST_POCKETS = 3, 3
ROUND, FIGURE = 2.5, 3.0  # mm on the sheet
FAST = ("pour.gate_fast", "pour.sand_wash")
SAME = 1e-6  # m
AWAY = (6.5, 9.5, 13.0)  # mm from the place to the middle of its pin


@dataclass(frozen=True, slots=True)
class Pin:
    """A place in the mould frame [m], what is told of it, the weight of its finding ("" where it has none), when it comes about [s], and
    on which pictures it stands.
    """

    at: Array
    says: str
    weight: str
    time: float
    on: tuple[str, ...]
    kind: str = ""


def pins_of(pour: Pour, pattern: Pattern, findings: Sequence[Finding], units: str) -> list[Pin]:
    """The pins of a solved filling, heaviest findings first, in the person's words."""
    told = [f for f in findings if f.code.startswith("pour.") and f.where is not None and f.where.point is not None]
    pins = list(_seen(pour, told, units))
    for f in told:
        if f.code in FAST and f.where is not None:
            at = pattern.scale * (pattern.turn @ np.asarray(f.where.point)) + pattern.shift
            pins.append(Pin(at, render(f.says, units), f.weight, 0.0, ("speed",)))
    rank: dict[str, int] = {weight: i for i, weight in enumerate(WEIGHTS)}
    return sorted(pins, key=lambda pin: -rank.get(pin.weight, -1))[:MOST]


def _seen(pour: Pour, findings: Sequence[Finding], units: str) -> Iterator[Pin]:
    s = pour.solution
    assert s is not None
    first = ("arrival", "warmth")

    def said(code: str, at_part: Array, otherwise: str) -> tuple[str, str]:
        """The finding's words and weight at a place it names, else the plain words."""
        for f in findings:
            if f.code == code and f.where is not None and np.allclose(f.where.point or (), at_part, atol=SAME):
                return say(render(f.says, units), units), f.weight
        return say(render(otherwise, units), units), ""

    for seam in s.seams[:MOST_SEAMS]:
        plain = f"Fronts meet at {tell(seam.colder, 'K')} and {tell(seam.warmer, 'K')}, {tell(seam.time, 's', 'fine')} in"
        yield Pin(seam.at, *said("pour.cold_shut", seam.at_part, plain), seam.time, first, "fronts meet")
    for pocket in s.pockets[:MOST_POCKETS]:
        plain = f"{tell(pocket.volume, 'm3')} of air shut in, {tell(pocket.time, 's', 'fine')} in"
        yield Pin(pocket.at, *said("pour.air_trapped", pocket.at_part, plain), pocket.time, ("arrival",), "air shut in")
    if s.empty is not None:
        plain = f"{tell(s.empty.volume, 'm3')} stays empty"
        yield Pin(s.empty.at, *said("pour.misrun", s.empty.at_part, plain), math.inf, first, "stays empty")
    for i, last in enumerate(s.last):
        late = "Filled last" if i == 0 else "A far end, filled"
        plain = f"{late}, {tell(last.time, 's', 'fine')} in, by metal at {tell(last.temperature, 'K')}"
        yield Pin(last.at, *said("pour.misrun", last.at_part, plain), last.time, first, "filled late")


class Seen(Protocol):
    """A picture on a sheet [mm] that pins can stand on."""

    @property
    def x(self) -> float:
        """Left edge."""
        ...

    @property
    def y(self) -> float:
        """Upper edge."""
        ...

    @property
    def wide(self) -> float:
        """Width."""
        ...

    @property
    def high(self) -> float:
        """Height."""
        ...

    def lost(self, at: Array) -> bool:
        """Whether a place is not in the picture at all."""
        ...

    def places(self, points: Array) -> tuple[Array, Array]:
        """Where points (n, 3) lie in the picture, as shares across and down (n, 2), and which of them metal hides (n,)."""
        ...


@dataclass(frozen=True, slots=True)
class Stand:
    """A pane on a sheet [mm], and which points (n, 3) are not in it because they were cut away."""

    pane: Pane
    x: float
    y: float
    wide: float
    high: float
    cut: tuple[Array, Array] | None = None  # a point of the cut and its level direction toward the reader

    def lost(self, at: Array) -> bool:
        """Whether a place was cut away."""
        return self.cut is not None and float((at - self.cut[0]) @ self.cut[1]) > 2.0 * self.pane.filled.cell

    def places(self, points: Array) -> tuple[Array, Array]:
        """As the pane says."""
        return self.pane.places(points)


def stick(sheet: Sheet, stands: Sequence[Seen], pins: Sequence[tuple[int, Pin]]) -> set[int]:
    """Draw numbered pins on panes; the numbers of those that metal hides wherever they stand are given back."""
    shown: set[int] = set()
    for stand in stands:
        taken: list[tuple[float, float]] = []
        mine = [(number, pin) for number, pin in pins if not stand.lost(pin.at)]
        if not mine:
            continue
        at, hidden = stand.places(np.array([pin.at for _, pin in mine]))
        spots = [(stand.x + float(u) * stand.wide, stand.y + float(v) * stand.high) for u, v in at]
        for (number, pin), (x, y), behind in zip(mine, spots, hidden, strict=True):
            place = _free(stand, x, y, taken, spots)
            taken.append(place)
            _draw(sheet, (x, y), place, number, pin.weight, bool(behind))
            if not behind:
                shown.add(number)
    return {number for number, _ in pins} - shown


def _free(stand: Seen, x: float, y: float, taken: Sequence[tuple[float, float]], spots: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Where a pin for a place stands: near it, in the pane, clear of the other pins and places."""
    best, least = (x, y - AWAY[0]), float("inf")
    for far in AWAY:
        for turn in np.arange(0.0, 2.0 * np.pi, np.pi / 8):
            u, v = x + far * np.sin(turn), y - far * np.cos(turn)
            out = max(stand.x + ROUND - u, u - stand.x - stand.wide + ROUND, stand.y + ROUND - v, v - stand.y - stand.high + ROUND, 0.0)
            near = sum(max(0.0, 2.3 * ROUND - float(np.hypot(u - a, v - b))) for a, b in taken)
            near += sum(max(0.0, 1.5 * ROUND - float(np.hypot(u - a, v - b))) for a, b in spots)
            cost = 4.0 * out + 3.0 * near + 0.12 * far + 0.15 * abs(turn - np.pi if turn > np.pi else turn)
            if cost < least:
                best, least = (float(u), float(v)), cost
    return best


def _draw(sheet: Sheet, at: tuple[float, float], to: tuple[float, float], number: int, weight: str, behind: bool) -> None:
    """A dot at the place, open where metal hides it, a line, and the number in its round: dark for STOP, thick for MIND."""
    dash = "1 0.7" if behind else ""
    sheet.rule(*at, *to, thick=0.9, stroke="#ffffff")
    sheet.rule(*at, *to, thick=0.32, dash=dash)
    if behind:
        sheet.circle(*at, 0.75, thick=0.3, fill="#ffffff")
    else:
        sheet.circle(*at, 0.85, thick=0.3, fill="#14181c")
    medal(sheet, *to, number, weight)


def medal(sheet: Sheet, x: float, y: float, number: int, weight: str) -> None:
    """A pin's number in its round."""
    dark = weight == "STOP"
    sheet.circle(x, y, ROUND, thick=0.75 if weight == "MIND" else 0.3, fill="#14181c" if dark else "#ffffff")
    sheet.text(x, y, str(number), FIGURE, bold=True, anchor="middle", fill="#ffffff" if dark else "#14181c")


def lines(text: str, size: float, room: float, most: int = 3) -> list[str]:
    """Text broken into at most ``most`` lines no wider than ``room``, all in the unit of ``size``; what is left over ends in dots."""
    out, line = [], ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and wide(longer, size) > room:
            out.append(line)
            line = word
        else:
            line = longer
    out.append(line)
    if len(out) > most:
        last = out[most - 1]
        while wide(f"{last} ...", size) > room and " " in last:
            last = last.rsplit(" ", 1)[0]
        out = [*out[: most - 1], f"{last} ..."]
    return out
