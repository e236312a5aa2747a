"""Where cope and drag part, as the drawings show it: a straight line, or a crooked joint as its sheet runs."""

from __future__ import annotations

from typing import Any

import numpy as np

from strickle.base import Array
from strickle.card.slices import Plane, at_parting, seen_from_above
from strickle.pattern import Sheet

STEPS = 240  # places along a section where a crooked joint's height is read


def heights(sheet: Sheet | None, points: Array) -> Array:
    """Height [m] of the joint at plan points (n, 2) [m]: straight between its nodes, zero outside them and where it is flat."""
    at = np.asarray(points, dtype=float)
    if sheet is None:
        return np.zeros(len(at))
    share = []
    for axis, nodes in enumerate((sheet.x, sheet.y)):
        i = np.clip(np.searchsorted(nodes, at[:, axis]) - 1, 0, len(nodes) - 2)
        share.append((i, (at[:, axis] - nodes[i]) / (nodes[i + 1] - nodes[i])))
    (i, u), (j, v) = share
    h = sheet.height
    low = h[i, j] * (1 - u) + h[i + 1, j] * u
    high = h[i, j + 1] * (1 - u) + h[i + 1, j + 1] * u
    inside = (at[:, 0] >= sheet.x[0]) & (at[:, 0] <= sheet.x[-1]) & (at[:, 1] >= sheet.y[0]) & (at[:, 1] <= sheet.y[-1])
    return np.asarray(np.where(inside, low * (1 - v) + high * v, 0.0))


def line(sheet: Sheet | None, plane: Plane, low: float, high: float) -> Array:
    """The joint on an upright section from ``low`` to ``high`` along it, as (along, height) [m]; two points where it is flat."""
    along = np.linspace(low, high, 2 if sheet is None else STEPS)
    return np.column_stack([along, heights(sheet, plane.at[:2] + along[:, None] * plane.along[:2])])


def opened(body: Any, sheet: Sheet | None) -> Any:
    """What a solid opens in the joint, from above, shapely: its slice at a flat one; all it covers on a crooked one, which follows its outline."""
    return at_parting(body) if sheet is None else seen_from_above(body)
