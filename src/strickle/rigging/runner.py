"""The runner's way on the parting: straight bar past one ingate, along the offset outline between several, run-in and run-out."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import ops

from strickle.base import Array
from strickle.rigging.basin import Cup, place_cup
from strickle.rigging.body import Plan
from strickle.rigging.gates import Bar
from strickle.rigging.solids import DRAFT

CLOSING = 25.0
"""mm: notches narrower than twice this are passed by."""

SHORT_LEAD = 5.0
"""mm between the well and the first ingate of a small part, at least."""


@dataclass(slots=True, eq=False)
class Needs:
    """Sizes the route must respect, millimetres."""

    clear: float
    radius: float
    depth: float
    well: float
    sprue_top: float
    cup_length: float
    cup_width: float
    cup_depth: float
    room: Array
    top: float
    small: bool = False
    below: float = 6.0


@dataclass(slots=True, eq=False)
class Ground:
    """Plans to keep off: runner level, sprue (full height), basin (near the cope top)."""

    low: Plan
    sprue: Plan
    high: Plan


@dataclass(slots=True, eq=False)
class Route:
    """A runner's line with the sprue at its start, the basin over it, and what speaks against it."""

    line: Array
    cup: Cup
    backs: list[float]
    overflow: float
    cost: float

    @property
    def sprue(self) -> Array:
        """Plan point of the sprue."""
        return np.asarray(self.line[0])


def runner_section(area: float, deeper_than: float) -> tuple[float, float]:
    """Radius (half width at the parting) and depth [mm] of a drafted bar of ``area`` [mm2], at least ``deeper_than`` deep."""
    depth = max(math.sqrt(area / 1.25), deeper_than, 6.0)
    radius = 0.5 * (area / depth + depth * math.tan(DRAFT))
    least = max(4.0, 0.5 * depth * 0.9)
    return max(radius, least), depth


def section_area(radius: float, depth: float) -> float:
    """Section [mm2] of a drafted bar."""
    return depth * (2.0 * radius - depth * math.tan(DRAFT))


def lay(bars: list[Bar], ground: Ground, needs: Needs) -> Route | None:
    """The best way past all ``bars``: the sprue at one end, a run-out at the other. None where no line keeps clear."""
    offset = needs.clear + needs.radius + 1.0
    grown = ground.low.buffer(CLOSING + offset, quad_segs=16).buffer(-CLOSING, quad_segs=16)
    ring = max(shapely.get_parts(grown), key=lambda g: g.area).exterior.simplify(0.2)
    crossings, backs = [], []
    for bar in bars:
        ray = shapely.LineString([bar.at, bar.at - 400.0 * bar.inward])
        met = [shapely.Point(c) for g in shapely.get_parts(ray.intersection(ring)) for c in g.coords]
        if not met:
            return None
        first = min(met, key=lambda p: p.distance(shapely.Point(*bar.at)))
        crossings.append(np.array([first.x, first.y]))
        backs.append(float(first.distance(shapely.Point(*bar.at))))
    best: Route | None = None
    for line in _lines(bars, crossings, ring, ground, needs):
        route = _judge(line, backs, ground, needs, best)
        if route is not None and (best is None or route.cost < best.cost):
            best = route
    return best


def _lines(bars: list[Bar], crossings: list[Array], ring: Plan, ground: Ground, needs: Needs) -> Iterator[Array]:
    """Lines worth trying, sprue end first."""
    order, body = _along(bars, crossings, ring)
    first, last = bars[order[0]], bars[order[-1]]
    for flip in (False, True):
        start, end = (last, first) if flip else (first, last)
        middle = body[::-1] if flip else body
        on, off = _ways(middle, start, end, flip)
        long, short = max(4.0 * needs.radius, 15.0 if needs.small else 25.0) + end.width / 2, 2.0 * needs.radius + 8.0 + end.width / 2
        outs = list(_ends(middle[-1], off, end, ground, needs, [long, short]))
        lead = max(30.0, start.width / 2 + needs.well + 12.0)
        leads = [start.width / 2 + needs.well + 12.0, lead, *(lead + extra for extra in (10.0, 20.0, 35.0, 55.0, 80.0))]
        if needs.small:
            leads.insert(0, start.width / 2 + needs.well + SHORT_LEAD)
        for tip in _ends(middle[0], on, start, ground, needs, leads):
            for out in outs[:2]:
                yield np.vstack([tip[:0:-1], middle, out[1:]])


def _along(bars: list[Bar], crossings: list[Array], ring: Plan) -> tuple[list[int], Array]:
    """Order of the gates along the ring with its largest gap left out, and the line through them."""
    if len(bars) == 1:
        return [0], np.array(crossings)
    marks = [ring.project(shapely.Point(*c)) for c in crossings]
    order = sorted(range(len(bars)), key=lambda i: marks[i])
    spans = [(marks[b] - marks[a]) % ring.length for a, b in itertools.pairwise([*order, order[0]])]
    cut = int(np.argmax(spans))
    order = order[cut + 1 :] + order[: cut + 1]
    pieces: list[Array] = []
    for a, b in itertools.pairwise(order):
        if marks[a] <= marks[b]:
            piece = np.asarray(ops.substring(ring, marks[a], marks[b]).coords)
        else:
            tail = np.asarray(ops.substring(ring, marks[a], ring.length).coords)
            piece = np.vstack([tail, np.asarray(ops.substring(ring, 0.0, marks[b]).coords)[1:]])
        pieces.append(piece if not pieces else piece[1:])
    line = shapely.LineString(np.vstack(pieces)).simplify(0.3)
    return order, np.asarray(line.coords)


def _ways(middle: Array, start: Bar, end: Bar, flip: bool) -> tuple[Array, Array]:
    """Directions along the face in which the line goes on before its first ingate and after its last."""
    one, two = (np.array([-b.inward[1], b.inward[0]]) for b in (start, end))
    if len(middle) == 1:
        return (-one, one) if flip else (one, -one)
    return (
        one if one @ (middle[0] - middle[1]) > 0 else -one,
        two if two @ (middle[-1] - middle[-2]) > 0 else -two,
    )


def _ends(at: Array, way: Array, bar: Bar, ground: Ground, needs: Needs, lengths: list[float]) -> Iterator[Array]:
    """Lines on from ``at``: straight along the face, else bent away from the part by 10 to 60 degrees."""
    for length in lengths:
        for bend in (0, 10, 20, 30, 45, 60):
            turn = math.radians(bend)
            bent = math.cos(turn) * way - math.sin(turn) * bar.inward
            line = np.array([at, at + length * bent])
            if bend:
                knee = at + (bar.width / 2 + 2.0) * way
                line = np.array([at, knee, knee + max(length - bar.width / 2 - 2.0, 6.0) * bent])
            if shapely.LineString(line).distance(ground.low) >= needs.clear + needs.radius:
                yield line
                break


def _judge(line: Array, backs: list[float], ground: Ground, needs: Needs, best: Route | None) -> Route | None:
    """A route over this line with its basin, or None where sprue or basin has no clear ground, or another is better already."""
    track = shapely.LineString(line)
    turned = _turning(line)
    cost = track.length + 30.0 * turned
    if best is not None and best.overflow == 0 and cost > best.cost:
        return None
    sprue = shapely.Point(*line[0])
    wide = max(needs.well, needs.sprue_top)
    if sprue.distance(ground.sprue) < needs.clear + wide or sprue.distance(ground.low) < needs.clear + needs.well:
        return None
    room = needs.room
    low = np.minimum(line.min(axis=0) - needs.radius, line[0] - needs.well)
    high = np.maximum(line.max(axis=0) + needs.radius, line[0] + needs.well)
    cup = place_cup(
        line[0], line[min(1, len(line) - 1)], needs.sprue_top, (needs.cup_length, needs.cup_width, needs.cup_depth), ground.high, needs.clear, room
    )
    if cup is None:
        return None
    x0, y0, x1, y1 = cup.rim.bounds
    low, high = np.minimum(low, (x0, y0)), np.maximum(high, (x1, y1))
    over = np.maximum(room[[0, 2]] - low, 0.0).sum() + np.maximum(high - room[[1, 3]], 0.0).sum()
    over = float(over) if over > 0.01 else 0.0
    return Route(line, cup, backs, over, cost + 20.0 * over)


def _turning(line: Array) -> float:
    """Sum of the bends of a line [rad]."""
    steps = np.diff(line, axis=0)
    steps = steps[np.linalg.norm(steps, axis=1) > 1e-6]
    heading = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    return float(np.abs(np.diff(heading)).sum())
