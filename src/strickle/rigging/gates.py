"""Ingates: which places, how wide and how deep, measured on the solids; lap ingates under a flat face where no side face serves."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from dataclasses import dataclass

import numpy as np
import shapely

from strickle.base import Array
from strickle.rigging.body import Body, Plan
from strickle.rigging.faces import LEVELS, Place, feel, find_places, outline_points
from strickle.rigging.solids import DRAFT, REACH, Solid, around, bar_section, contact, pieces_over, wedge_bar

HEIGHTS = (12.0, 10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.5, 2.0)
THIN = 4.0
"""mm: metal in an ingate no higher bears a higher speed before its skin tears (stores, fill.critical_speed_thin)."""
WIDEST = 45.0
FLUSH = 0.01
"""mm a bar's flat faces are drawn back while its contact is measured: a flush face would count its hidden area."""
CLOSE = 0.02
"""share by which a contact may miss what was asked."""
LARGE = 120.0
"""mm: only parts longer than this are given a second ingate by choice."""


@dataclass(slots=True, eq=False)
class Bar:
    """A bar of metal joined to the part: ingate or side neck. ``ahead`` mm inside ``at``; ``lap`` for one under a flat face."""

    at: Array
    inward: Array
    side: int
    width: float
    height: float
    ahead: float
    asked: float
    contact: float
    joint: Array
    lap: bool = False
    fall: float = 0.0

    @property
    def section(self) -> float:
        """Flow section [mm2]."""
        return bar_section(self.width, self.height)

    def solid(self, back: float) -> Solid:
        """The bar reaching ``back`` mm outside ``at``."""
        return wedge_bar(self.at, self.inward, self.width, self.height, self.side, back, self.ahead)


def bar_width(area: float, height: float) -> float:
    """Width at the parting of a bar with this section [mm2]."""
    return area / height + height * math.tan(DRAFT)


def fit_bar(body: Body, place: Place, section: float, counts: Counter[str]) -> Bar | None:
    """The bar at a place whose flow section is ``section`` [mm2] and whose contact is that section seen on the slanting face.

    Width is found by secant on the measured contact; the depth is felt again at each width. None with the reason counted.
    """
    asked = section * place.slant
    width = bar_width(section, place.height)
    low, high = 0.4 * width, 1.5 * width
    near = around(body.light, wedge_bar(place.at, place.inward, high, place.height, place.side, 4.0, 40.0 + 0.4 * high))
    tries: list[tuple[float, float]] = []
    for _ in range(8):
        depth = _depth(body, place, width)
        if depth is None:
            counts["gate would come out through a thin wall"] += 1
            return None
        bar = _measuring(place, width, depth)
        found = contact(near, bar)
        tries.append((width, found))
        if abs(found / asked - 1) < 0.004:
            return _taken(near, place, width, depth, asked, found, bar, counts)
        if len(tries) > 1 and abs(tries[-1][1] - tries[-2][1]) > 1e-6:
            (w0, c0), (w1, c1) = tries[-2:]
            width = w1 + (asked - c1) * (w1 - w0) / (c1 - c0)
        else:
            width = width * asked / max(found, 1e-3)
        width = float(np.clip(width, low, high))
    width, found = min(tries, key=lambda t: abs(t[1] - asked))
    depth = _depth(body, place, width)
    if abs(found / asked - 1) > CLOSE or depth is None:
        counts["contact cannot be brought to the area asked"] += 1
        return None
    return _taken(near, place, width, depth, asked, found, _measuring(place, width, depth), counts)


def _measuring(place: Place, width: float, depth: float) -> Solid:
    back = 4.0 + 0.35 * width
    return wedge_bar(place.at, place.inward, width, place.height - FLUSH, place.side, back, depth, start=place.side * FLUSH)


def _taken(near: Solid, place: Place, width: float, depth: float, asked: float, found: float, bar: Solid, counts: Counter[str]) -> Bar | None:
    if pieces_over(near ^ bar, 0.5) != 1:
        counts["gate enters the part twice"] += 1
        return None
    joint = np.array([*(place.at + 0.5 * (depth - REACH) * place.inward), place.side * 0.5 * place.height])
    return Bar(place.at, place.inward, place.side, width, place.height, depth, asked, found, joint)


def _depth(body: Body, place: Place, width: float) -> float | None:
    """How far inside the outline point the bar must end to pass the face everywhere, None if it would come out behind."""
    across = np.array([-place.inward[1], place.inward[0]])
    lean = place.height * math.tan(DRAFT)
    entry, out = [], []
    stand = 8.0 + 0.2 * width
    for level in LEVELS:
        half = 0.5 * width - lean * level
        spots = np.array([place.at + k * half * across - stand * place.inward for k in (-0.98, -0.5, 0.0, 0.5, 0.98)])
        edges = body.edges(place.side * level * place.height)
        first, second, _ = feel(spots, np.tile(place.inward, (5, 1)), edges)
        if (first > 500).any():
            return None
        entry.append(first - stand)
        out.append(second - stand)
    deepest, shortest = float(np.max(entry)), float(np.min(out))
    if deepest + REACH < shortest:
        return deepest + REACH
    middle = 0.5 * (deepest + shortest)
    return middle if middle > deepest else None


def fall_below(body: Body, point: Array, level: float) -> float:
    """How far metal that comes in at ``point`` runs down inside the cavity below ``level`` [mm], moving only level or down."""
    i, j, k = body.index(point[None])[0]
    top = int(np.clip(np.floor((level - body.origin[2]) / body.cell), 0, body.metal.shape[2] - 1))
    k = min(k, top)
    names = body.islands(k)
    cells = np.argwhere(names)
    if not len(cells):
        return 0.0
    seed = cells[np.argmin(np.linalg.norm(cells - (i, j), axis=1))]
    if np.linalg.norm(seed - (i, j)) * body.cell > 8.0:
        return 0.0
    reached = np.zeros(names.shape, dtype=bool)
    reached[tuple(seed)] = True
    for lower in range(k, -1, -1):
        names = body.islands(lower)
        hit = np.zeros(int(names.max()) + 1, dtype=bool)
        hit[names[reached]] = True
        hit[0] = False
        if not hit.any():
            return float(max(level - (body.origin[2] + (lower + 1) * body.cell), 0.0))
        reached = hit[names]
    return float(max(level - body.low[2], 0.0))


@dataclass(slots=True, eq=False)
class Pick:
    """A set of places for the ingates, with what speaks against it."""

    places: list[Place]
    cost: float


def picks(
    body: Body, section: float, taken: Plan, clear: float, counts: Counter[str], most: int = 3, heights: tuple[float, ...] = HEIGHTS, least: int = 1
) -> list[Pick]:
    """Sets of ``least`` to ``most`` places that could carry ingates of ``section`` [mm2] together, best first."""
    found: list[Pick] = []
    scale = 100.0 / float(np.linalg.norm(body.high - body.low))
    for number in range(least, most + 1):
        if number > least and found and body.extent < LARGE:
            break
        for side, height in itertools.product((-1, 1), heights):
            width = bar_width(section / number, height)
            if not height <= width <= WIDEST:
                continue
            places = find_places(body, side, height, width, taken, clear, counts)
            if len(places) < number:
                continue
            places = places if number == 1 else places[: 10 if number == 2 else 7]
            ways = body.paths.distances(np.array([p.middle for p in places]))
            falls = [fall_below(body, p.middle, 0.0 if side > 0 else -height) for p in places]
            for chosen in itertools.combinations(range(len(places)), number):
                cost = _cost(body, [places[c] for c in chosen], ways[list(chosen)], scale)
                if cost is not None:
                    found.append(Pick([places[c] for c in chosen], cost + 0.6 * scale * max(falls[c] for c in chosen)))
    found.sort(key=lambda p: p.cost)
    return found


def _cost(body: Body, places: list[Place], ways: Array, scale: float) -> float | None:
    """What speaks against a set: far metal, gates on several sides, a long runner, poor faces, many, thin or high gates."""
    for a, b in itertools.combinations(places, 2):
        if np.linalg.norm(a.at - b.at) < a.width + 12.0:
            return None
    reach = np.min(ways, axis=0)
    reach = reach[np.isfinite(reach)]
    turned = sum(1.0 - float(p.inward @ places[0].inward) for p in places)
    hull = body.outline.convex_hull.exterior
    marks = sorted(hull.project(shapely.Point(*p.at)) for p in places)
    gaps = [b - a for a, b in itertools.pairwise(marks)] + [marks[0] + hull.length - marks[-1]]
    span = (hull.length - max(gaps)) * scale if len(places) > 1 else 0.0
    quality = sum(p.score for p in places) / len(places)
    first = places[0]
    return (
        scale * float(reach.max(initial=0.0))
        + 15.0 * turned
        + 0.25 * span
        - 20.0 * quality
        + 25.0 * (len(places) - 1)
        + max(2.0 * (8.0 - first.height), 1.5 * (first.height - 8.0))
        + (3.0 if first.side > 0 else 0.0)
    )


def fit_laps(body: Body, section: float, taken: Plan, counts: Counter[str]) -> list[Bar]:
    """Tongues in the other half under a flat face at the parting, for a part that lies wholly in one half; best first."""
    side = 1 if body.low[2] > -0.1 else -1 if body.high[2] < 0.1 else 0
    if side == 0:
        counts["as a lap: the part lies in both halves"] += 1
        return []
    rim, higher = body.section(side * 0.02), body.section(side * 1.0)
    found: list[tuple[float, Bar]] = []
    for height in (5.0, 4.0, 3.0):
        width = bar_width(section, height)
        if not height <= width <= WIDEST:
            continue
        outline = outline_points(rim, width)
        good = (outline.chord > 0.97) & (np.abs(outline.sag) < 0.08 * width)
        if not good.any():
            counts["as a lap: no straight flat rim"] += 1
        step = max(1, int(good.sum()) // 24)
        for i in np.flatnonzero(good)[::step]:
            bar = _lap(body, outline.at[i], outline.inward[i], side, width, height, section, (rim, higher, taken), counts)
            if bar is not None:
                found.append((bar.ahead + 2.0 * (5.0 - height), bar))
    found.sort(key=lambda f: f[0])
    return [bar for _, bar in found]


def _lap(
    body: Body,
    at: Array,
    inward: Array,
    side: int,
    width: float,
    height: float,
    section: float,
    plans: tuple[Plan, Plan, Plan],
    counts: Counter[str],
) -> Bar | None:
    rim, higher, taken = plans
    across = np.array([-inward[1], inward[0]])

    def tongue(ahead: float, back: float = 6.0) -> Plan:
        return shapely.Polygon([at + t * inward + s * 0.5 * width * across for t, s in ((-back, -1), (-back, 1), (ahead, 1), (ahead, -1))])

    if tongue(-0.5, 40.0).intersects(taken):
        counts["as a lap: taken by a riser"] += 1
        return None
    low, high = 0.0, 15.0
    if rim.intersection(tongue(high)).area < section:
        counts["as a lap: rim too narrow"] += 1
        return None
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if rim.intersection(tongue(middle)).area < section else (low, middle)
    # sand between tongue and a rounded edge would be a feather
    if higher.difference(rim.buffer(1.0)).intersection(tongue(high)).area > 0.5 or tongue(-1.5, 12.0).intersection(higher).area > 0.5:
        counts["as a lap: rounded edge would leave a feather of sand"] += 1
        return None
    joined = rim.intersection(tongue(high))
    x0, y0, x1, y1 = joined.bounds
    grid = np.stack(np.meshgrid(np.linspace(x0, x1, 12), np.linspace(y0, y1, 12)), axis=-1).reshape(-1, 2)
    inside = grid[shapely.contains_xy(joined, grid[:, 0], grid[:, 1])]
    probe = np.column_stack([inside, np.full(len(inside), side * 1.5)])
    i = body.index(probe)
    behind = body.metal[i[:, 0], i[:, 1], i[:, 2]] if len(inside) else np.zeros(1, dtype=bool)
    height_map = body.top_at(inside[:, 0], inside[:, 1]) if side > 0 else -body.bottom_at(inside[:, 0], inside[:, 1])
    if behind.mean() < 0.7 or (height_map >= 2.0).mean() < 0.9:
        counts["as a lap: too little metal behind the flat face"] += 1
        return None
    points = np.column_stack([inside, np.zeros(len(inside))])
    if body.is_marked(points):
        counts["as a lap: marked face"] += 1
        return None
    joint = np.array([joined.centroid.x, joined.centroid.y, 0.0])
    return Bar(at, inward, -side, width, height, high, section, float(joined.area), joint, lap=True)
