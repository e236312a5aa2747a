"""How a pattern is lifted out of the sand: screws about the middle of the drag of its walls, and for long ones a bar across them.

A pattern longer than ``LONG`` leans when it is lifted by one screw: it is lifted by two, as far apart as the print allows and even about
the middle of the drag, and one as wide by four. A bar of wood joins them and is lifted by its middle. Lengths here are millimetres, print scale.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from strickle.base import Array, Finding, Where, tell
from strickle.pattern.result import Lift

HELD = 100.0  # N: from which on a half of the mould is lifted with the pattern unless it is held (choice of this program)
LONG = 150.0  # mm: longer patterns are lifted by more than one point (common practice)
APART = (0.7, 0.55, 0.4)  # of the length, from screw to screw
OFF = 0.02  # of the length that the middle of the screws may stand off the middle of the drag
BEYOND = 30.0  # mm of bar past each screw
BARS = ((20.0, 20.0), (20.0, 30.0), (25.0, 40.0), (30.0, 50.0), (40.0, 60.0))  # mm, width and height of bars from the shop's offcuts
STIFF = 1e4  # N/mm2, softwood along the grain (from memory, unverified)
SAG = 1 / 500  # of the screws' distance that the bar may bend (choice of this program)


class Sides(NamedTuple):
    """A piece in plan: its longer direction, and its length and width along and across it."""

    along: Array  # (2,) unit
    long: float
    wide: float


def sides(points: Array) -> Sides:
    """The sides of the least rectangle along the axes round points in plan (n, 2)."""
    size = np.ptp(points, axis=0)
    i = int(np.argmax(size))
    return Sides(np.eye(2)[i], float(size[i]), float(size[1 - i]))


def places(plan: Sides, middle: Array) -> Iterator[tuple[Array, ...]]:
    """Sets of places for screws, even about ``middle`` (2,), those that hold best first; none for a piece that one screw lifts."""
    if plan.long <= LONG:
        return
    across = plan.along[::-1]
    for share in APART:
        out = plan.along * share * plan.long / 2
        side = across * share * plan.wide / 2
        if plan.wide > LONG:
            yield tuple(middle + a * out + b * side for a in (-1, 1) for b in (-1, 1))
        yield middle - out, middle + out


def lift(piece: str, screws: Sequence[Array], force: float, level: float = 0.0) -> Lift:
    """How a piece is lifted that takes ``force`` [N] to draw, by screws at ``level``; its record in metres.

    The bar is stiff enough for the whole force at its middle.
    """
    at = np.mean(screws, axis=0)
    apart = max(float(np.linalg.norm(a - b)) for a in screws for b in screws) if len(screws) > 1 else 0.0
    rows = len(screws) // 2
    span = apart if rows < 2 else float(np.ptp(np.array(screws), axis=0).max())
    wide, high = bar(span, force / max(rows, 1)) if rows else (0.0, 0.0)
    length = math.ceil((span + 2 * BEYOND) / 10) * 10.0 if rows else 0.0
    return Lift(
        piece=piece, at=np.append(at, level) * 1e-3, screws=len(screws), apart=span * 1e-3, force=force, bars=rows, bar_length=length * 1e-3,
        bar_width=wide * 1e-3, bar_height=high * 1e-3,
    )  # fmt: skip


def bar(span: float, force: float) -> tuple[float, float]:
    """The lightest bar of ``BARS`` that bends no more than ``SAG`` under ``force`` [N] at its middle; the heaviest where none does.

    >>> bar(150.0, 60.0), bar(300.0, 200.0)
    ((20.0, 20.0), (20.0, 30.0))
    """
    for wide, high in BARS:
        if force * span**3 / (48 * STIFF * wide * high**3 / 12) <= SAG * span:
            return wide, high
    return BARS[-1]


def said(one: Lift) -> str:
    """The bar in words, for a piece's note; nothing where there is none."""
    if not one.bars:
        return ""
    size = f"{tell(one.bar_width, 'm')} by {tell(one.bar_height, 'm')}, {tell(one.bar_length, 'm')} long"
    if one.bars == 1:
        return f"a bar of wood {size}, on edge, joins the screws {tell(one.apart, 'm')} apart; lift it by its middle"
    return f"{one.bars} bars of wood {size}, on edge, join the screws two and two, {tell(one.apart, 'm')} apart; lift both by their middles at once"


def _held(force: float) -> str:
    """What keeps the half of the mould down, where walls hold the pattern with much of its weight."""
    return "; have someone hold the half down, or jack the pattern off it with the screws" if force > HELD else ""


def told(lifts: Sequence[Lift]) -> list[Finding]:
    """What is said of pieces that want a bar."""
    long = [one for one in lifts if one.bars]
    if not long:
        return []
    worst = max(long, key=lambda one: one.apart)
    others = f"; the same of {len(long) - 1} more" if len(long) > 1 else ""
    return [
        Finding(
            code="pattern.bridge",
            weight="NOTE",
            says=f"The {worst.piece} is lifted by {worst.screws} screws under a bar{others}",
            because=(
                f"it is longer than {tell(LONG * 1e-3, 'm')}: held at one point it leans as it rises and pushes the sand aside;"
                f" its walls may hold it with {tell(worst.force, 'N')}"
            ),
            do=f"Make ready what it takes: {said(worst)}. Rap first, then lift straight and slowly; turn the screws by even steps where nuts bear on"
            f' the bar{_held(worst.force)}. Chances are reckoned for the lift that the kit names: lift = "bridge" there, once you use one',
            where=Where(body=worst.piece),
        )
    ]
