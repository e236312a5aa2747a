"""Risers: where each can stand, with its neck. Top risers first, then beside the part, else the reasons why not."""

from __future__ import annotations

import dataclasses
import math
from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from scipy import ndimage
from scipy.spatial import cKDTree

from strickle.base import Array
from strickle.rigging.body import Body, Plan
from strickle.rigging.faces import find_places
from strickle.rigging.gates import Bar, bar_width, fit_bar
from strickle.rigging.solids import DRAFT, NECK_DRAFT, REACH, RISER_DRAFT, Solid, around, contact, frustum, pieces_over

STAND_OFF = 8.0
"""mm of sand between a side riser and the part; the neck is as long."""
SHORTEST_NECK = 6.0
NECKS = (1.0, 0.75, 0.55)
"""shares of the wished neck that are tried in turn; a smaller one is told."""
SAW = 8.0
"""mm free beside a top riser's foot, for sand to hold and a blade to pass."""


@dataclass(slots=True, eq=False)
class Spot:
    """A hot spot in the room's frame with the size its riser is given [mm]."""

    number: int
    at: Array
    radius: float
    diameter: float
    height: float
    neck_area: float
    why: str


@dataclass(slots=True, eq=False)
class Stand:
    """A riser that stands: solids untrimmed, millimetres."""

    spot: Spot
    kind: str
    at: Array
    foot: float
    radius: float
    body: Solid
    neck: Solid
    drag: Solid | None
    width: float
    tall: float
    length: float
    section: float
    asked: float
    contact: float
    joint: Array
    bar: Bar | None
    top_radius: float
    over: float
    neck_wish: float = 0.0

    @property
    def low(self) -> Plan:
        """Ground it holds at the runner's level; empty for a top riser."""
        if self.kind == "top":
            return shapely.Polygon()
        return shapely.Point(*self.at).buffer(self.top_radius)

    @property
    def high(self) -> Plan:
        """Ground it holds at the cope top."""
        return shapely.Point(*self.at).buffer(self.top_radius)

    @property
    def metal(self) -> Solid:
        """Body, foot and neck together."""
        made = self.body + self.neck
        return made if self.drag is None else made + self.drag

    @property
    def modulus(self) -> float:
        """Volume over cooled surface, side and open top [mm]."""
        cooled = self.body.surface_area() - math.pi * self.radius**2
        volume = self.body.volume()
        if self.drag is not None:
            cooled += self.drag.surface_area() - math.pi * self.radius**2
            volume += self.drag.volume()
        return float(volume / cooled)


def thick_body(body: Body, spot: Spot) -> tuple[Any, float]:
    """Points of the thick metal about a spot as a tree, and its largest ball [mm]."""
    i = body.index(spot.at[None])[0]
    reach = max(2, math.ceil(1.5 * spot.radius / body.cell))
    low = np.maximum(i - reach, 0)
    window = body.depth[tuple(slice(a, b + 1) for a, b in zip(low, i + reach))]
    peak = low + np.unravel_index(int(np.argmax(window)), window.shape)
    ball = float(body.depth[tuple(peak)])
    names, _ = ndimage.label(body.depth >= 0.6 * ball, structure=np.ones((3, 3, 3)))
    cells = np.argwhere(names == names[tuple(peak)]) if ball > 0 else i[None]
    return cKDTree(body.origin + (cells + 0.5) * body.cell), max(ball, 0.5 * body.cell)


def stand(
    body: Body, spot: Spot, others: list[Stand], top: float, room: Array, clear: float, tries: tuple[Counter[str], Counter[str]]
) -> Stand | None:
    """A riser for ``spot``: on top if it can, else beside the part; None with the reasons counted in ``tries`` (top, side)."""
    tree, ball = thick_body(body, spot)
    for share in NECKS:
        asked = dataclasses.replace(spot, neck_area=share * spot.neck_area)
        made = _stand(body, asked, tree, ball, others, top, room, clear, tries if share == 1.0 else (Counter(), Counter()))
        if made is not None:
            made.neck_wish = spot.neck_area
            return made
    return None


def _stand(
    body: Body,
    spot: Spot,
    tree: Any,
    ball: float,
    others: list[Stand],
    top: float,
    room: Array,
    clear: float,
    tries: tuple[Counter[str], Counter[str]],
) -> Stand | None:
    on_top = _top(body, spot, tree, ball, others, top, room, clear, tries[0])
    if on_top is not None and on_top.over == 0:
        return on_top
    beside = _side(body, spot, tree, ball, others, top, room, clear, tries[1])
    if on_top is None or (beside is not None and beside.over < on_top.over):
        return beside
    return on_top


def _top(
    body: Body, spot: Spot, tree: Any, ball: float, others: list[Stand], top: float, room: Array, clear: float, counts: Counter[str]
) -> Stand | None:
    neck = math.sqrt(spot.neck_area / math.pi)
    length = max(SHORTEST_NECK, 0.35 * 2 * neck)
    wide = max(0.5 * spot.diameter, neck / 0.9)
    found: list[tuple[float, Array, float, float, float]] = []
    for ring in (0.0, 0.35, 0.7, 1.2, 1.6, 2.0):
        for turn in np.arange(1 if ring == 0 else 12) * (math.pi / 6) + 0.1:
            at = spot.at[:2] + ring * max(ball, 2.0) * np.array([math.cos(turn), math.sin(turn)])
            judged = _judge_top(body, at, neck, length, wide, tree, ball, others, top, clear, counts)
            if judged is None:
                continue
            low, high, slant = judged
            radius = wide + (top - high - length) * math.tan(RISER_DRAFT)
            over = _over(at, radius, room)
            cost = float(np.linalg.norm(at - spot.at[:2])) + 1.5 * (high - low) - 0.2 * high + 10.0 * over
            found.append((cost, at, low, high, slant))
    for _, at, low, high, slant in sorted(found, key=lambda f: f[0])[:6]:
        made = _build_top(body, spot, at, low, high, spot.neck_area * slant, length, wide, top, room, counts)
        if made is not None:
            return made
    return None


def _over(at: Array, radius: float, room: Array) -> float:
    """How far a round foot sticks out of the room in plan [mm]."""
    out = np.maximum(room[[0, 2]] - (at - radius), 0.0).sum() + np.maximum(at + radius - room[[1, 3]], 0.0).sum()
    return float(out) if out > 0.01 else 0.0


def disc(at: Array, radius: float, step: float) -> Array:
    """Plan points (n, 2) filling a disc."""
    n = max(3, math.ceil(radius / max(step, 1e-3)))
    line = np.linspace(-radius, radius, 2 * min(n, 40) + 1)
    x, y = np.meshgrid(line, line)
    inside = x**2 + y**2 <= radius**2
    return np.column_stack([at[0] + x[inside], at[1] + y[inside]])


def _judge_top(
    body: Body,
    at: Array,
    neck: float,
    length: float,
    wide: float,
    tree: Any,
    ball: float,
    others: list[Stand],
    top: float,
    clear: float,
    counts: Counter[str],
) -> tuple[float, float, float] | None:
    """Lowest and highest metal under the neck if a riser can stand at ``at``, and the roof's area over its plan."""
    spots = disc(at, neck, body.fine)
    tops = body.top_at(spots[:, 0], spots[:, 1])
    if not np.isfinite(tops).all():
        counts["no metal under the whole neck"] += 1
        return None
    low, high = float(tops.min()), float(tops.max())
    slant, proud = _roof(spots - at, tops, neck)
    if high - low > 0.25 * 2 * neck + body.fine or proud > max(0.4, 0.04 * neck) + 0.7 * body.fine * math.sqrt(slant**2 - 1):
        counts["not flat"] += 1
        return None
    joint = np.array([[*at, body.top_at(at[:1], at[1:])[0]]])
    gap = float(tree.query(joint)[0][0])
    if gap > 0.6 * ball + 1.8 * body.cell + 0.5 or gap > 9.0 * ball:
        counts["thin way to the spot"] += 1
        return None
    foot = high + length
    if top - foot < 10.0:
        counts["cope too low above it"] += 1
        return None
    radius = wide + (top - foot) * math.tan(RISER_DRAFT)
    beside = disc(at, radius + SAW, max(body.fine, 1.0))
    if float(body.top_at(beside[:, 0], beside[:, 1]).max()) > high + 0.5 * length:
        counts["higher metal beside it"] += 1
        return None
    if any(np.linalg.norm(at - o.at) < radius + o.top_radius + clear for o in others):
        counts["another riser too near"] += 1
        return None
    if body.cores and shapely.Point(*at).distance(body.cores_over(high)) < radius + clear:
        counts["a core in the way"] += 1
        return None
    if body.is_marked(np.column_stack([spots, tops])[:: max(1, len(spots) // 40)]):
        counts["marked face"] += 1
        return None
    return low, high, slant


def _roof(spots: Array, tops: Array, radius: float) -> tuple[float, float]:
    """Area of the roof under a disc over its plan area, by a quadratic laid through it, and how far the roof leaves that [mm]."""
    x, y = spots.T / radius
    solved, *_ = np.linalg.lstsq(np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y]), tops, rcond=None)
    _, b, c, d, e, f = solved
    left = tops - np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y]) @ solved
    slope = np.hypot(b + 2 * d * x + e * y, c + e * x + 2 * f * y) / radius
    # what is within the maps' own grain counts as flat
    slant = float(np.sqrt(1.0 + slope**2).mean())
    return (1.0 if slant < 1.001 else slant), float(np.abs(left).max())


def _build_top(
    body: Body,
    spot: Spot,
    at: Array,
    low: float,
    high: float,
    asked: float,
    length: float,
    wide: float,
    top: float,
    room: Array,
    counts: Counter[str],
) -> Stand | None:
    foot, base = high + length, low - REACH - 0.4
    lean = math.tan(NECK_DRAFT)
    middle = 0.5 * (low + high)

    def neck_of(radius: float) -> Solid:
        return frustum(at[0], at[1], base, foot + 1.0, radius + (middle - base) * lean, radius - (foot + 1.0 - middle) * lean)

    radius = math.sqrt(spot.neck_area / math.pi)
    near = around(body.light, neck_of(1.3 * radius))
    found = 0.0
    for _ in range(8):
        neck = neck_of(radius)
        found = contact(near, neck)
        if abs(found / asked - 1) < 0.004:
            break
        radius *= float(np.clip(math.sqrt(asked / max(found, 1e-3)), 0.8, 1.25))
    if abs(found / asked - 1) > 0.02 or radius - (foot - middle) * lean < 1.5:
        counts["neck contact cannot be brought to the area asked"] += 1
        return None
    if pieces_over(near ^ neck, 0.3) != 1:
        counts["neck would come out behind"] += 1
        return None
    top_radius = wide + (top - foot) * math.tan(RISER_DRAFT)
    throat = radius - (foot - middle) * lean
    return Stand(
        spot=spot, kind="top", at=at, foot=foot, radius=wide, body=frustum(at[0], at[1], foot, top, wide, top_radius), neck=neck, drag=None,
        width=2 * throat, tall=2 * throat, length=foot - high, section=math.pi * throat**2, asked=asked, contact=found,
        joint=np.array([*at, middle]), bar=None, top_radius=top_radius, over=_over(at, top_radius, room),
    )  # fmt: skip


def _side(
    body: Body, spot: Spot, tree: Any, ball: float, others: list[Stand], top: float, room: Array, clear: float, counts: Counter[str]
) -> Stand | None:
    across = 2 * math.sqrt(spot.neck_area / math.pi)
    taken = shapely.unary_union([o.high.buffer(clear) for o in others]) if others else shapely.Polygon()
    ranked = []
    for side in (1, -1):
        for height in {round(h, 1) for h in (f * across for f in (1.0, 0.75, 0.6, 0.5, 0.4)) if h >= 3.0}:
            width = bar_width(spot.neck_area, height)
            if width < height * 0.9:
                continue
            if width > 0.9 * spot.diameter:
                counts["neck would be wider than its riser"] += 1
                continue
            for place in find_places(body, side, height, width, taken, STAND_OFF, counts, spot.at[:2]):
                gap = float(tree.query(place.middle[None])[0][0])
                if gap > 0.6 * ball + 1.8 * body.cell + 2.0:
                    counts["thin way to the spot"] += 1
                    continue
                far = float(np.linalg.norm(place.middle - spot.at))
                if far > 9.0 * ball:
                    counts["too far from the spot"] += 1
                    continue
                ranked.append((far + 0.5 * abs(width - height), place))
    ranked.sort(key=lambda r: r[0])
    best: Stand | None = None
    for _, place in ranked[:10]:
        made = _build_side(body, spot, place, others, top, room, clear, counts)
        if made is not None and (best is None or made.over < best.over):
            best = made
            if best.over == 0:
                break
    return best


def _build_side(body: Body, spot: Spot, place: Any, others: list[Stand], top: float, room: Array, clear: float, counts: Counter[str]) -> Stand | None:
    wide = max(0.5 * spot.diameter, 0.5 * place.width / 0.9)
    near = disc(place.at, 3.0 * wide + STAND_OFF, 2.0)
    level = max(float(body.top_at(near[:, 0], near[:, 1]).max()), place.height)
    at_level = wide + level * math.tan(RISER_DRAFT)
    away = STAND_OFF + at_level
    at = place.at - away * place.inward
    for _ in range(6):
        short = STAND_OFF + at_level - shapely.Point(*at).distance(body.outline)
        if short < 0.05:
            break
        away += short + 0.05
        at = place.at - away * place.inward
    if away - at_level > 2.5 * STAND_OFF:
        counts["part in the way of the riser"] += 1
        return None
    top_radius = wide + top * math.tan(RISER_DRAFT)
    if any(np.linalg.norm(at - o.at) < top_radius + o.top_radius + clear for o in others):
        counts["another riser too near"] += 1
        return None
    if shapely.Point(*at).distance(body.closed) < top_radius:
        counts["a core or the crooked joint in the way"] += 1
        return None
    bar = fit_bar(body, place, spot.neck_area, counts)
    if bar is None:
        return None
    deep = max(0.3 * spot.diameter, (place.height + 4.0) if place.side < 0 else 6.0)
    drag = frustum(at[0], at[1], -deep, 0.0, wide - deep * math.tan(DRAFT), wide)
    over = _over(at, top_radius, room)
    return Stand(
        spot=spot, kind="side", at=at, foot=0.0, radius=wide, body=frustum(at[0], at[1], 0.0, top, wide, top_radius),
        neck=bar.solid(away - 0.65 * wide), drag=drag, width=bar.width, tall=bar.height, length=away - wide, section=bar.section, asked=bar.asked,
        contact=bar.contact, joint=bar.joint, bar=bar, top_radius=top_radius, over=over,
    )  # fmt: skip
