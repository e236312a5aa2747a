"""Which flask, and how it stands round part and rigging."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strickle.base import Array, Record, si, word
from strickle.mould.result import FlaskChosen
from strickle.mould.rules import rounded_up
from strickle.stores import Flask


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Need(Record):
    """What the flask must hold: metal bounds in plan, sand round them, heights."""

    low: Array = si("m", "least x and y of all metal", shape="(2,)")
    high: Array = si("m", "greatest x and y of all metal", shape="(2,)")
    side: float = si("m", "sand to the flask wall")
    cope: float = si("m", "least cope height")
    drag: float = si("m", "least drag height")

    @property
    def plan(self) -> Array:
        """Inside length and width needed [m]."""
        return np.asarray(self.high - self.low + 2.0 * self.side)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted(Record):
    """A flask round the need."""

    flask: FlaskChosen = word("flask")
    box: Array = si("m", "x low, x high, y low, y high, z low, z high", shape="(6,)")
    at_hand: bool = word("false where it stands in no kit")


def choose(need: Need, flasks: tuple[Flask, ...], wish: Need | None = None) -> Fitted:
    """The flask at hand that takes least sand and still holds the need, either way round; else one of the size needed.

    It stands with the middle of ``wish`` in its middle as far as the need's own sand allows; None = the need's.
    """
    best: FlaskChosen | None = None
    for flask in flasks:
        if flask.cope < need.cope - 1e-9 or flask.drag < need.drag - 1e-9:
            continue
        for length, width in ((flask.length, flask.width), (flask.width, flask.length)):
            if length < need.plan[0] - 1e-9 or width < need.plan[1] - 1e-9:
                continue
            size = length * width * (flask.cope + flask.drag)
            if best is None or size < best.length * best.width * (best.cope + best.drag) - 1e-12:
                best = FlaskChosen(name=flask.name, length=length, width=width, cope=flask.cope, drag=flask.drag)
            break
    at_hand = best is not None
    if best is None:
        best = FlaskChosen(
            name="a flask to be built",
            length=rounded_up(float(need.plan[0])),
            width=rounded_up(float(need.plan[1])),
            cope=rounded_up(need.cope),
            drag=rounded_up(need.drag),
        )
    middle = (need.low + need.high) / 2.0
    if wish is not None:
        slack = np.maximum(np.array([best.length, best.width]) - need.plan, 0.0) / 2.0
        middle = middle + np.clip((wish.low + wish.high) / 2.0 - middle, -slack, slack)
    box = np.array(
        [
            middle[0] - best.length / 2,
            middle[0] + best.length / 2,
            middle[1] - best.width / 2,
            middle[1] + best.width / 2,
            -best.drag,
            best.cope,
        ]
    )
    return Fitted(flask=best, box=box, at_hand=at_hand)


def nearest(need: Need, flasks: tuple[Flask, ...]) -> tuple[str, float]:
    """The flask at hand that comes nearest, and its tightest size over the size needed; empty name where there is none."""
    best, share = "", 0.0
    for flask in flasks:
        over = flask.cope / need.cope if need.cope > 0 else np.inf
        for length, width in ((flask.length, flask.width), (flask.width, flask.length)):
            fits = float(min(length / need.plan[0], width / need.plan[1], over, flask.drag / need.drag))
            if fits > share:
                best, share = flask.name, fits
    return best, share
