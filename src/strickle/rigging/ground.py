"""Ground beside the part on which no rigging may lie: where a crooked joint is not level. Millimetres of the room's frame."""

from __future__ import annotations

import numpy as np
import shapely

from strickle.base import Array
from strickle.pattern import Pattern
from strickle.rigging.body import Plan
from strickle.rigging.solids import MM, Frame

LEVEL = 0.05  # mm off the flask's joint that the formers bridge


def closed(pattern: Pattern, frame: Frame) -> Plan:
    """Plan of the joint off its level, a node of it and more all round; empty where the joint is flat."""
    sheet = pattern.sheet
    if sheet is None:
        return shapely.Polygon()
    off = np.abs(sheet.height) * MM > LEVEL
    if not off.any():
        return shapely.Polygon()
    x, y = (line * MM - shift * MM for line, shift in ((sheet.x, frame.shift[0]), (sheet.y, frame.shift[1])))
    step = float(x[1] - x[0])
    runs = [box for i in np.flatnonzero(off.any(axis=1)) for box in _runs(off[i], float(x[i]), y, step)]
    return shapely.unary_union(shapely.box(*np.array(runs).T)).simplify(0.5 * step)


def _runs(row: Array, at: float, y: Array, step: float) -> list[tuple[float, float, float, float]]:
    """Boxes over the stretches of one line of nodes that are off level."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], row, [False]]).astype(int)))
    return [(at - step, float(y[a]) - step, at + step, float(y[b - 1]) + step) for a, b in zip(edges[::2], edges[1::2])]
