"""Sprue and pouring basin: the sprue stands on the well and widens upward to the basin's floor; the basin is open at the cope top.

A small pour gets a round cup over the sprue, a larger one a long basin with the sprue under one end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from strickle.base import Array
from strickle.rigging.body import Plan
from strickle.rigging.solids import Solid, frustum, hull

LEAN = math.radians(10.0)
"""of the basin's sides."""
LEAST_DRAFT = math.radians(1.5)
"""of the sprue, per side."""


@dataclass(slots=True, eq=False)
class Cup:
    """A pouring basin: plan outlines at floor and rim; ``length`` and ``width`` at the rim."""

    floor: Plan
    rim: Plan
    length: float
    width: float
    depth: float

    def solid(self, top: float, reach: float = 0.0) -> Solid:
        """The basin up to ``top``; ``reach`` mm below its floor are added for joining."""
        floor = np.asarray(self.floor.exterior.coords)[:-1]
        rim = np.asarray(self.rim.exterior.coords)[:-1]
        return hull((floor, top - self.depth - reach), (rim, top))


def sprue_radii(base_area: float, top_area: float, height: float) -> tuple[float, float]:
    """Radii at base and top [mm] for the sections asked; the top is widened until the former has its least draft."""
    base = math.sqrt(base_area / math.pi)
    return base, max(math.sqrt(top_area / math.pi), base + height * math.tan(LEAST_DRAFT))


def sprue_solid(at: Array, base: float, top: float, low: float, high: float) -> Solid:
    """Round taper from ``low`` to ``high``, widest at the top."""
    return frustum(float(at[0]), float(at[1]), low, high, base, top)


def place_cup(at: Array, beside: Array, sprue_top: float, size: tuple[float, float, float], tall: Plan, clear: float, room: Array) -> Cup | None:
    """The basin with the sprue under one end of its floor, turned where it keeps clear of ``tall`` and inside ``room`` best.

    ``size``: length, width at the rim and depth. As long as wide it is a round cup with the sprue in its middle.
    """
    length, width, depth = size
    lean = depth * math.tan(LEAN)
    round_cup = length <= width
    width = max(width - 2.0 * lean, 2.0 * sprue_top + 6.0)
    length = width if round_cup else max(length - 2.0 * lean, width)
    heading = math.atan2(*(at - beside)[::-1])
    best: tuple[float, Cup] | None = None
    for turn in np.arange(1 if round_cup else 8) * (math.pi / 4):
        way = np.array([math.cos(heading + turn), math.sin(heading + turn)])
        spine = shapely.Point(*at) if round_cup else shapely.LineString([at, at + max(length - width, 0.1) * way])
        rim = spine.buffer(0.5 * width + lean, quad_segs=10)
        x0, y0, x1, y1 = rim.bounds
        over = max(room[0] - x0, 0.0) + max(x1 - room[1], 0.0) + max(room[2] - y0, 0.0) + max(y1 - room[3], 0.0)
        cost = 20.0 * over + 2.0 * abs(math.sin(turn)) + (1.0 if turn > 1 else 0.0)
        if (best is None or cost < best[0]) and (tall.is_empty or rim.distance(tall) >= clear):
            floor = spine.buffer(0.5 * width, quad_segs=10)
            best = cost, Cup(floor, rim, length + 2.0 * lean, width + 2.0 * lean, depth)
    return None if best is None else best[1]
