"""Vents and flow-offs at the high places of the cope's cavity, and the thin plate the wire is pricked through."""

from __future__ import annotations

import math
from dataclasses import dataclass

import manifold3d as m3
import numpy as np
import shapely
from scipy import ndimage

from strickle.base import Array
from strickle.rigging.body import Body, Plan
from strickle.rigging.gates import CLOSE
from strickle.rigging.risers import Stand, disc
from strickle.rigging.solids import NECK_DRAFT, REACH, Solid, around, contact, frustum, pieces_over

WIRE = 2.0
"""mm, vent wire."""
SHORT_OF = 7.0
"""mm of sand left between the wire's end and the cavity: 5 to 10 mm (common practice)."""
FLOW_OFF = 6.0
"""mm, least flow-off that is drawn as a former."""
APART = 30.0
MOST = 8


@dataclass(slots=True, eq=False)
class High:
    """A high place of the cavity's roof."""

    at: Array
    spread: float


@dataclass(slots=True, eq=False)
class FlowOff:
    """A flow-off's solid and its joint."""

    at: Array
    solid: Solid
    asked: float
    contact: float
    radius: float
    top_radius: float


def high_places(body: Body) -> list[High]:
    """Tops of the roof in the cope, highest first; of a flat top the middle, of a long or wide one several."""
    roof = np.where(np.isfinite(body.top), body.top, -1e3)
    size = max(3, round(15.0 / body.fine) | 1)
    crest = (roof >= ndimage.maximum_filter(roof, size=size) - 0.15) & (roof > 3.0)
    names, count = ndimage.label(crest)
    found: list[High] = []
    for n in range(1, count + 1):
        cells = np.argwhere(names == n)
        inner = ndimage.distance_transform_edt(np.pad(names == n, 1))[1:-1, 1:-1] if len(cells) > 20 else None
        left = cells.copy()
        for _ in range(4):
            if not len(left):
                break
            if inner is not None:
                near = inner[tuple(left.T)] - 0.02 * np.linalg.norm(left - left.mean(axis=0), axis=1)
                cell = left[int(np.argmax(near))]
            else:
                cell = left[int(np.argmin(np.linalg.norm(left - left.mean(axis=0), axis=1)))]
            plan = body.origin[:2] + (cell + 0.5) * body.fine
            found.append(High(np.array([*plan, roof[tuple(cell)]]), len(cells) * body.fine**2))
            left = left[np.linalg.norm((left - cell) * body.fine, axis=1) > 60.0]
    found.sort(key=lambda h: -h.at[2])
    return found


def roof_over(body: Body, at: Array) -> Array | None:
    """Where a straight way up from ``at`` (3,) in the cavity leaves it; None outside the cavity, and where other metal lies over the roof."""
    top = float(body.top_at(at[0], at[1]))
    if not np.isfinite(top):
        return None
    column = np.column_stack([np.full(24, at[0]), np.full(24, at[1]), np.linspace(min(at[2], top), top - 0.5 * body.cell, 24)])
    i = body.index(column)
    inside = body.metal[i[:, 0], i[:, 1], i[:, 2]]
    return np.array([at[0], at[1], top]) if inside.mean() > 0.9 else None


def choose(body: Body, stands: list[Stand], gates: Array, top: float, room: Array, closed: Plan) -> tuple[list[Array], FlowOff | None]:
    """Places of pricked vents, and one flow-off at the high place farthest from the ingates where no riser stands near.

    ``closed`` is ground where no former may come up (basin, sprue). Flow-off None where none is wanted or none fits.
    """
    highs = high_places(body)
    free = [h for h in highs if all(np.linalg.norm(h.at[:2] - s.at) > s.top_radius + 10.0 for s in stands)]
    near = 0.35 * body.extent + 20.0
    flow: FlowOff | None = None
    if len(gates):
        away = [h for h in free if all(np.linalg.norm(h.at[:2] - s.at) > near for s in stands)]
        level = max((h.at[2] for h in free), default=0.0)
        away = [h for h in away if h.at[2] > level - 0.25 * max(level, 1.0)]
        away.sort(key=lambda h: -float(np.min(np.linalg.norm(gates[:, :2] - h.at[:2], axis=1))))
        for place in away[:6]:
            flow = flow_off(body, place.at, top, room, closed)
            if flow is not None:
                break
    vents: list[Array] = []
    for h in free:
        taken = [*vents, *([flow.at] if flow else [])]
        if h.at[2] > top - SHORT_OF - 5.0 or any(np.linalg.norm(h.at[:2] - t[:2]) < APART for t in taken):
            continue
        if closed.distance(shapely.Point(*h.at[:2])) < 6.0:
            continue
        vents.append(h.at)
        if len(vents) == MOST:
            break
    return vents, flow


def flow_off(body: Body, at: Array, top: float, room: Array, closed: Plan) -> FlowOff | None:
    """A round former from the cavity's roof to the cope top, wider upward; None where the roof or the ground does not allow it."""
    radius = 0.5 * FLOW_OFF
    spots = disc(at[:2], radius, 0.5 * body.fine)
    tops = body.top_at(spots[:, 0], spots[:, 1])
    if not np.isfinite(tops).all() or tops.max() - tops.min() > 0.25 * FLOW_OFF + body.fine or tops.max() > top - 8.0:
        return None
    points = np.column_stack([spots, tops])
    if body.is_marked(points):
        return None
    wide = radius + (top - tops.max()) * math.tan(NECK_DRAFT)
    if closed.distance(shapely.Point(*at[:2])) < wide + 8.0:
        return None
    if at[0] - wide < room[0] or at[0] + wide > room[1] or at[1] - wide < room[2] or at[1] + wide > room[3]:
        return None
    beside = disc(at[:2], wide + 6.0, 1.0)
    if body.top_at(beside[:, 0], beside[:, 1]).max() > tops.max() + 2.0:
        return None
    asked = math.pi * radius**2
    base = float(tops.min()) - REACH - 0.4
    found = 0.0
    middle = 0.5 * (tops.min() + tops.max())
    for _ in range(6):
        solid = frustum(at[0], at[1], base, top, radius - (middle - base) * math.tan(NECK_DRAFT), radius + (top - middle) * math.tan(NECK_DRAFT))
        near = around(body.light, frustum(at[0], at[1], base, middle + 4.0, radius + 2, radius + 2))
        found = contact(near, solid)
        if abs(found / asked - 1) < 0.004:
            break
        radius *= float(np.clip(math.sqrt(asked / max(found, 1e-3)), 0.8, 1.25))
    if abs(found / asked - 1) > CLOSE or pieces_over(near ^ solid, 0.1) != 1:
        return None
    return FlowOff(np.array([*at[:2], middle]), solid, asked, found, radius, radius + (top - middle) * math.tan(NECK_DRAFT))


def vent_plate(vents: list[Array], formers: list[Plan], bed: Array, top: float) -> Solid | None:
    """A plate 2 mm thick with a hole over each vent, cut out round the formers it meets so that it finds its place by them.

    ``formers`` are outlines at the cope top, the one that fixes it best first. None where no plate with a former in it fits ``bed`` [mm].
    """
    if not vents or not formers:
        return None
    points = [shapely.Point(*v[:2]) for v in vents]
    for anchor in formers:
        shape = shapely.unary_union([*(p.buffer(10.0) for p in points), anchor.buffer(6.0)]).convex_hull
        x0, y0, x1, y1 = shape.bounds
        if max(x1 - x0, y1 - y0) > max(bed[:2]) or min(x1 - x0, y1 - y0) > min(bed[:2]):
            continue
        shape = shape.difference(shapely.unary_union([f.buffer(0.3) for f in formers]))
        shape = shape.difference(shapely.unary_union([p.buffer(0.5 * WIRE + 0.2, quad_segs=6) for p in points]))
        shape = max(shapely.get_parts(shape), key=lambda g: g.area)
        if sum(shape.convex_hull.contains(p) for p in points) < len(points):
            continue
        rings = [np.asarray(r.coords)[:-1] for r in (shape.exterior, *shape.interiors)]
        return m3.Manifold.extrude(m3.CrossSection(rings, m3.FillRule.EvenOdd), 2.0).translate((0.0, 0.0, top))
    return None
