"""The open-face mould: one drag frame, nothing over it, set level before the pour."""

from __future__ import annotations

import dataclasses

import numpy as np

from strickle.base import Finding, Margin, Value, tell
from strickle.mould.flask import Need
from strickle.mould.result import FlaskChosen
from strickle.pattern import Pattern
from strickle.stores import Flask, Kit

LEAST_RISE = Value(
    value=0.25e-3, low=0.1e-3, high=0.5e-3, unit="m", source="house", mark="guess",
    note="from one end of the casting to the other: what a spirit level of a shop shows well",
)  # fmt: skip
STOCK_SHARE = 0.5
"""Share of the stock that the back may run out of true by."""


def drags(kit: Kit) -> tuple[Flask, ...]:
    """The kit's flasks as drag frames alone."""
    return tuple(dataclasses.replace(flask, cope=0.0) for flask in kit.flasks)


def need(pattern: Pattern, side: float, under: float) -> Need:
    """What the frame must hold: the pattern with sand beside and under it."""
    corners = pattern.cavity.vertices[:, :2]
    return Need(low=corners.min(axis=0), high=corners.max(axis=0), side=side, cope=0.0, drag=pattern.drag_depth + under)


def allowed_rise(stock: float) -> float:
    """How much one end of the casting's back may stand over the other [m]: half the stock, never less than a level can show.

    >>> allowed_rise(0.002), allowed_rise(0.0)
    (0.001, 0.00025)
    """
    return max(STOCK_SHARE * stock, LEAST_RISE.value)


def slope(pattern: Pattern) -> float:
    """Allowed rise over length [1]: over the casting's longest way in plan."""
    corners = pattern.cavity.vertices[:, :2]
    return allowed_rise(pattern.stock) / max(float(np.linalg.norm(np.ptp(corners, axis=0))), 1e-9)


def told(flask: FlaskChosen, tilt: float, pattern: Pattern, at_hand: bool) -> tuple[Finding, ...]:
    """How the frame is used and how level it must stand."""
    rise = tilt * max(flask.length, flask.width)
    frame = f"Use the drag frame of {flask.name} alone, {tell(flask.drag, 'm')} high" if at_hand else f"Use one frame, {tell(flask.drag, 'm')} high"
    return (
        Finding(
            code="mould.open_face",
            weight="NOTE",
            says=f"{frame}, and set it level to {tell(rise, 'm', 'fine')} over its length",
            because=f"metal lies level whatever the mould does: beyond a tilt of {tell(np.degrees(tilt), '1')} degrees the back runs out of true by"
            f" {tell(allowed_rise(pattern.stock), 'm', 'fine')} and more over the casting"
            + (f", half of its {tell(pattern.stock, 'm')} of stock, and the lowest rim would spill first" if pattern.stock > 0 else ""),
            do="Bed the frame on dry sand, lay a spirit level on the strickled face both ways, and level it again after the pattern is drawn",
            margin=Margin(value=rise, unit="m", of="rise allowed over the frame's length"),
            source="geometry; half the stock: choice of this program",
        ),
    )
