"""Where the part has a side face for an ingate or a side riser's neck: sampled along its outline beside the parting."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np
import shapely

from strickle.base import Array, tell
from strickle.kernels.edges import feel as rays
from strickle.rigging.body import Body, Plan

LEVELS = (0.04, 0.35, 0.65, 0.95)
PLACES = (-0.4, 0.0, 0.4)
FAR = 1e9
STAND = 8.0
"""mm outside the face where the feeling rays start."""


@dataclass(slots=True, eq=False)
class Place:
    """A stretch of the outline that can take a bar ``width`` x ``height``."""

    at: Array
    inward: Array
    side: int
    width: float
    height: float
    slant: float
    score: float
    ball: float

    @property
    def middle(self) -> Array:
        """A point in the metal behind the contact (3,)."""
        return np.array([*(self.at + 2.0 * self.inward), self.side * 0.5 * self.height])


@dataclass(slots=True, eq=False)
class Outline:
    """Points along all outer rings of a section with their chord for one width."""

    at: Array
    inward: Array
    chord: Array
    sag: Array


def feel(origins: Array, directions: Array, edges: Array) -> tuple[Array, Array, Array]:
    """Rays in plan against edges: first crossing, second crossing, number of crossings of each ray (n,)."""
    return rays(origins, directions, edges, FAR)


def outline_points(section: Plan, width: float) -> Outline:
    """Points along the outer rings, with the chord over +-width/2 of arc, its inward normal and the sag over it (convex > 0)."""
    rows: list[Array] = []
    for polygon in shapely.get_parts(section):
        if polygon.geom_type != "Polygon" or polygon.area < 4.0:
            continue
        xy = np.asarray(shapely.geometry.polygon.orient(polygon).exterior.coords)[:, :2]
        arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(xy, axis=0), axis=1))])
        around = arc[-1]
        if around < 2.0 * width:
            continue
        s = np.arange(0.0, around, max(2.0, around / 160))

        def along(at: Array, arc: Array = arc, xy: Array = xy, around: float = around) -> Array:
            at = np.mod(at, around)
            return np.column_stack([np.interp(at, arc, xy[:, 0]), np.interp(at, arc, xy[:, 1])])

        middle, one, two = along(s), along(s - width / 2), along(s + width / 2)
        chord = two - one
        length = np.linalg.norm(chord, axis=1)
        inward = np.column_stack([-chord[:, 1], chord[:, 0]]) / np.maximum(length, 1e-9)[:, None]
        line = 0.5 * (one + two)
        sags = [((line - along(s + k * width)) * inward).sum(axis=1) for k in (-0.3, -0.15, 0.0, 0.15, 0.3)]
        worst = np.max(np.abs(sags), axis=0)
        sag = np.where(np.min(sags, axis=0) < -0.05 * width, -worst, worst)
        rows.append(np.column_stack([middle, inward, length / width, sag]))
    if not rows:
        return Outline(np.empty((0, 2)), np.empty((0, 2)), np.empty(0), np.empty(0))
    table = np.vstack(rows)
    return Outline(table[:, :2], table[:, 2:4], table[:, 4], table[:, 5])


def find_places(
    body: Body, side: int, height: float, width: float, taken: Plan, clear: float, counts: Counter[str], near: Array | None = None
) -> list[Place]:
    """Places for a bar of this size in one half (side -1 drag, +1 cope), best first, at most 14. ``counts`` gathers why others failed.

    ``taken`` is ground held by risers; ``clear`` the sand wanted beside the bar's way out; ``near`` a plan point to be close to.
    """
    outline = outline_points(body.section(side * 0.04 * height), width)
    if not len(outline.at):
        counts["no metal beside the parting"] += 1
        return []
    corner = outline.chord < 0.8
    bent = ~corner & ((outline.sag > 0.30 * width) | (outline.sag < -0.12 * width))
    _tell(counts, "corner", corner)
    _tell(counts, "not straight enough", bent)
    keep = np.flatnonzero(~corner & ~bent)
    if not len(keep):
        return []
    at, inward, sag = outline.at[keep], outline.inward[keep], np.maximum(outline.sag[keep], 0.0)
    reach, chord, whole = _feel_face(body, side, height, width, at, inward)
    good = whole.copy()
    _tell(counts, "no side face over the whole height", ~whole)
    fit, slant, spread = _fit(reach, width, height)
    toothed = good & (fit > max(0.3, 0.06 * height))
    _tell(counts, "face is stepped or toothed", toothed)
    good &= ~toothed
    lean = good & (spread > max(3.0, 0.6 * height) + sag)
    _tell(counts, "face leans or steps back", lean)
    good &= ~lean
    least = max(1.8, 0.6 * height)
    ball = _ball(body, side, height, at, inward, reach)
    inner = at + 3.0 * inward
    roof = body.top_at(inner[:, 0], inner[:, 1]) if side > 0 else -body.bottom_at(inner[:, 0], inner[:, 1])
    thin = good & ((chord.min(axis=1) < least) | (2 * ball < least - body.cell) | (height > 1.05 * (2 * ball + body.cell)) | (height > roof - 0.1))
    if thin.any():
        counts[f"wall thinner than {tell(least * 1e-3, 'm')}"] += int(thin.sum())
    good &= ~thin
    most = float(body.depth.max()) or 1.0
    score = ball / most - 0.5 * sag / width - 0.15 * spread / height
    if near is not None:
        score = score - 0.05 * np.linalg.norm(at - near, axis=1)
    places: list[Place] = []
    if not good.any():
        return places
    low, high = (-3.0, height + 3.0) if side > 0 else (-height - 3.0, 3.0)
    band = body.shadow(low, high)
    shapely.prepare(band)
    apart = max(8.0, 0.6 * width)
    beside = np.zeros(len(at), dtype=bool)  # too near a place that was taken
    for i in np.flatnonzero(good)[np.argsort(-score[good])]:
        if beside[i]:
            continue
        if body.marked is not None and body.is_marked(_spots(at[i], inward[i], side, width, height, reach[i])):
            counts["marked face"] += 1
            continue
        way = _way_out(at[i], inward[i], width, clear)
        if band.intersects(way) and way.intersection(band).area > 0.5:
            counts["way out blocked by the part"] += 1
            continue
        if not body.closed.is_empty and way.intersects(body.closed):
            counts["the joint is not level there"] += 1
            continue
        if not taken.is_empty and way.intersects(taken):
            counts["taken by a riser"] += 1
            continue
        places.append(Place(at[i], inward[i], side, width, height, float(slant[i]), float(score[i]), float(ball[i])))
        beside |= np.linalg.norm(at - at[i], axis=1) < apart
        if len(places) == 14:
            break
    return places


def _tell(counts: Counter[str], reason: str, failed: Array) -> None:
    if failed.any():
        counts[reason] += int(failed.sum())


def _spots(at: Array, inward: Array, side: int, width: float, height: float, reach: Array) -> Array:
    """Where a bar's corners and middle would meet the face (12, 3)."""
    across = np.array([-inward[1], inward[0]])
    return np.array([[*(at + k * width * across + r * inward), side * f * height] for k, r, f in _touches(reach)])


def _touches(reach: Array) -> list[tuple[float, float, float]]:
    return [(k, float(reach[a * len(PLACES) + b]), f) for a, f in enumerate(LEVELS) for b, k in enumerate(PLACES)]


def _feel_face(body: Body, side: int, height: float, width: float, at: Array, inward: Array) -> tuple[Array, Array, Array]:
    """Reach from the outline point to the face and metal behind it, (n, 12) each, and whether every ray met metal near."""
    across = np.column_stack([-inward[:, 1], inward[:, 0]])
    reaches, chords, whole = [], [], np.ones(len(at), dtype=bool)
    for level in LEVELS:
        edges = body.edges(side * level * height)
        for place in PLACES:
            first, second, crossings = feel(at + place * width * across - STAND * inward, inward, edges)
            whole &= (first < STAND + max(3.0, 0.6 * height) + 0.35 * width) & (crossings % 2 == 0)
            reaches.append(first - STAND)
            chords.append(second - first)
    return np.column_stack(reaches), np.column_stack(chords), whole


def _fit(reach: Array, width: float, height: float) -> tuple[Array, Array, Array]:
    """Of each row: largest residual of a + b y + c y2 + d z; area of the fitted face over its view; spread of reach."""
    y = np.tile(np.array(PLACES) * width, len(LEVELS))
    z = np.repeat(np.array(LEVELS) * height, len(PLACES))
    terms = np.column_stack([np.ones_like(y), y, y * y, z])
    values = np.minimum(reach, 1e3)
    solved = values @ np.linalg.pinv(terms).T
    residual = np.abs(values - solved @ terms.T).max(axis=1)
    along = np.linspace(-0.5, 0.5, 9) * width
    slope = solved[:, 1, None] + 2 * solved[:, 2, None] * along[None]
    slant = np.sqrt(1 + slope**2 + solved[:, 3, None] ** 2).mean(axis=1)
    return residual, slant, values.max(axis=1) - values.min(axis=1)


def _ball(body: Body, side: int, height: float, at: Array, inward: Array, reach: Array) -> Array:
    """Radius [mm] of the largest ball of metal within 10 mm behind each point."""
    start = np.minimum(reach[:, 1 :: len(PLACES)].mean(axis=1), 50.0)
    best = np.zeros(len(at))
    for level in (0.3, 0.5, 0.8):
        for step in np.arange(0.5, 10.1, max(1.0, body.cell)):
            plan = at + (start + step)[:, None] * inward
            best = np.maximum(best, body.thick(np.column_stack([plan, np.full(len(at), side * level * height)])))
    return best


def _way_out(at: Array, inward: Array, width: float, clear: float) -> Plan:
    """Plan of the wedge a bar needs to leave the part: 42 degrees open each side up to the clear sand wanted, 40 mm long or more."""
    across = np.array([-inward[1], inward[0]])
    flare = 0.9 * clear
    length = flare / math.tan(math.radians(42.0))
    corners = [(1.5, 0.5 * width), (1.5 + length, 0.5 * width + flare), (max(40.0, length + 10.0), 0.5 * width + flare)]
    left = [at - t * inward + s * across for t, s in corners]
    right = [at - t * inward - s * across for t, s in reversed(corners)]
    return shapely.Polygon([*left, *right])
