"""Where the mould parts and which way up the part lies: levels and both ways up, scored together, with reasons."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import ndimage

from strickle.base import Array, BadInput, Mesh
from strickle.pattern.columns import View, view
from strickle.pattern.directions import LEVELS, basis, surface
from strickle.pattern.good import NONE, Good
from strickle.pattern.mirror import mirror_level
from strickle.pattern.rules import fall_speed

ACROSS = 240
STILL = 0.5  # m/s, above which falling metal folds its skin in (Campbell; Runyoro, Boutorabi & Campbell 1992, in Jolly 2005)
LEAN = 0.005  # sine of the lean under which a wall faces neither up nor down
FINGER = 0.005  # m, sand narrower than this is filled and drilled whichever way up
NEAR = 0.001  # m, a parting this little off an edge or a flat face saves nothing and leaves a lip all round (common practice)
SLAB = 0.003  # m, a half shallower than this is a poor pattern
LOOKS_UP = 1.0  # weight of marked faces that look up
SEAM = 0.3  # weight of a parting line that runs over marked faces as far as the part's girth in plan
LIP, CLEAR = 0.1, 1e-3  # weight of sand trapped that another level releases, and the share of the part's volume from which it counts in full
EVEN = 0.05  # weight of halves that are not alike where they could be
MIRRORED = 2e-5  # m that a part may be uneven about a level and still have two halves alike


class Lie(NamedTuple):
    """One way of lying in the mould. Costs are in the same loose unit; the least sum wins."""

    draw: Array  # (3,) up, part coordinates
    level: float  # along ``draw``
    trapped: float  # m3
    section: float  # share of the widest section
    flat: float  # share of that section that is a flat face of the part lying on the parting
    cope: float  # m above the parting
    drag: float  # m below it
    hanging: float  # slender pockets of sand in the cope, counted by how far they pass the trade's limit
    standing: float  # the same in the drag
    unfed: float  # how far below the top the places that freeze last lie, as a share of the height
    costs: dict[str, float]
    gap: float = 0.0  # m3 of what is trapped that no parting releases
    up: float = 0.0  # how far marked faces look up: 0 all down, a quarter upright, 1 all up
    seam: float = 0.0  # m of the parting line on marked faces

    @property
    def cost(self) -> float:
        """Sum of the costs."""
        return sum(self.costs.values())


def flats(heights: Array, normals: Array, areas: Array, least: float) -> list[tuple[float, float, float]]:
    """Flat faces across the draw: (height, area facing up, area facing down) where the sum is over ``least`` [m2].

    ``heights`` (m,) are those of the faces' centres, ``normals`` their parts along the draw.
    """
    flat = np.abs(normals) > 0.9999
    order = np.argsort(heights[flat], kind="stable")
    z, up, a = heights[flat][order], normals[flat][order] > 0, areas[flat][order]
    groups = np.split(np.arange(z.size), np.flatnonzero(np.diff(z) > 2e-5) + 1)
    return [
        (float(np.average(z[g], weights=a[g])), float(a[g][up[g]].sum()), float(a[g][~up[g]].sum())) for g in groups if g.size and a[g].sum() > least
    ]


def brims(mesh: Mesh, heights: Array, normals: Array) -> list[float]:
    """Heights of level edges with metal facing up on one side and down on the other, such as the equator of a rim.

    Kept are those whose length sums to over a tenth of the girth in plan. ``heights`` (n,) are those of the vertices, ``normals`` (m,)
    the faces' parts along the draw.
    """
    ends = np.sort(np.concatenate([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]]]), axis=1)
    order = np.argsort(ends[:, 0] * np.int64(len(heights)) + ends[:, 1], kind="stable")
    ends, side = ends[order], np.tile(normals, 3)[order]
    first, second = ends[:-1], ends[1:]
    low, high = np.minimum(side[:-1], side[1:]), np.maximum(side[:-1], side[1:])
    rise = np.abs(heights[first[:, 0]] - heights[first[:, 1]])
    level = (first == second).all(axis=1) & (low < -LEAN) & (high > LEAN) & (rise < 2e-5)
    edges = first[level]
    at, length = heights[edges].mean(axis=1), np.linalg.norm(mesh.vertices[edges[:, 0]] - mesh.vertices[edges[:, 1]], axis=1)
    order = np.argsort(at, kind="stable")
    groups = np.split(order, np.flatnonzero(np.diff(at[order]) > 2e-5) + 1)
    girth = 2.0 * float(np.sort(np.ptp(mesh.vertices, axis=0))[1:].sum())
    return [float(np.average(at[g], weights=length[g])) for g in groups if g.size and length[g].sum() > 0.1 * girth]


def slender(top: Array, floor: float, cell: float, limit: float) -> float:
    """How much slender sand hangs in a height map: each enclosed pocket counts its depth over width over ``limit``, capped at 2.

    ``top`` (nx, ny) metal height above ``floor`` (NaN outside). Pockets under half the limit and fingers narrower than FINGER
    count nothing.
    """
    height = np.where(np.isfinite(top), np.maximum(top, floor), floor)
    levels = np.linspace(floor, float(height.max()), 17)[:-1] + 1e-9
    step = float(levels[1] - levels[0]) if levels.size > 1 else 0.0
    if step <= 0:
        return 0.0
    enclosed = np.stack([ndimage.binary_fill_holes(height > z) & ~(height > z) for z in levels], axis=2)
    labels, _ = ndimage.label(enclosed)
    total = 0.0
    for i, box in enumerate(ndimage.find_objects(labels), start=1):
        body = labels[box] == i
        depth = float(body.any(axis=(0, 1)).sum()) * step
        width = float(np.sqrt(body.sum() / max(body.any(axis=(0, 1)).sum(), 1))) * cell
        if width >= FINGER and depth / width > 0.5 * limit:
            total += min(depth / width / limit, 2.0)
    return total


class Seen(NamedTuple):
    """What is known of a part along one axis before choosing level and way up."""

    view: View
    bottom: float
    top: float
    flats: list[tuple[float, float, float]]
    brims: list[float]
    spots: Array  # heights of the places to feed
    girth: float  # m in plan
    mirror: float | None  # level about which the part is its own image
    good: Good

    @property
    def own(self) -> list[float]:
        """Levels the part itself offers."""
        return [*(z for z, _, _ in self.flats), *self.brims, *([] if self.mirror is None else [self.mirror])]


def look(mesh: Mesh, draw: Array, spots: Array, good: Good = NONE) -> Seen:
    """View a mesh along ``draw``; ``spots`` (k, 3) are the part's places to feed, ``good`` the faces that must come out good."""
    turned = mesh.vertices @ basis(draw).T
    normals, areas = surface(mesh)
    heights = turned[mesh.faces][:, :, 2].mean(axis=1)
    seen = view(turned, mesh.faces, ACROSS)
    return Seen(
        seen,
        float(turned[:, 2].min()),
        float(turned[:, 2].max()),
        flats(heights, normals @ draw, areas, 0.01 * float(areas.sum())),
        brims(mesh, turned[:, 2], normals @ draw),
        spots @ draw if len(spots) else np.zeros(0),
        2.0 * float(np.ptp(turned[:, :2], axis=0).sum()),
        mirror_level(seen, MIRRORED),
        good,
    )


def levels(seen: Seen) -> Array:
    """Levels worth a try: flat faces, long level edges, the middle of what is even about it, both ends and an even ladder (k,)."""
    ladder = np.linspace(seen.bottom, seen.top, LEVELS + 1)
    kept = [seen.bottom, seen.top]
    for z in [*seen.own, *ladder]:
        if min(abs(z - k) for k in kept) > 2e-5:
            kept.append(float(z))
    return np.array(sorted(kept))


def widest(seen: Seen, around: Array) -> Array:
    """Largest section within 0.6 mm of each level [m2]; (k,)."""
    near = np.array([-6e-4, -3e-4, -1e-6, 1e-6, 3e-4, 6e-4])
    return np.asarray(seen.view.section((around[:, None] + near).ravel()).reshape(-1, near.size).max(axis=1))


def lies(seen: Seen, draw: Array, volume: float, limits: tuple[float, float], only: float | None = None) -> list[Lie]:
    """Every level within 1 % of the part's volume of the least trapped sand, with ``draw`` up; best first.

    ``limits``: depth over width a pocket may have, cope and drag. Pockets are looked at only where they can still decide.
    """
    tried = levels(seen) if only is None else np.array([only])
    trapped = seen.view.trapped(tried)
    kept = trapped <= trapped.min() + 0.01 * volume
    own = np.array(seen.own)
    if only is None and own.size:
        there = (np.abs(tried[:, None] - own) < 3e-5).any(axis=1)
        close = there & (np.abs(tried[:, None] - tried) < NEAR)
        kept &= trapped <= np.where(close, trapped, np.inf).min(axis=1) + 1e-6 * volume
    most = float(widest(seen, levels(seen)).max())
    if not (kept.any() and most > 0):
        raise BadInput("the part has no section along its draw", "Export it again as a solid, not as a sheet")
    section = widest(seen, tried[kept]) / most
    plain = [_plain(seen, draw, float(z), float(t), min(float(s), 1.0), volume) for z, t, s in zip(tried[kept], trapped[kept], section)]
    out: list[Lie] = []
    for lie in sorted(plain, key=lambda p: p.cost):
        if out and lie.cost > min(o.cost for o in out):
            break
        out.append(_pockets(seen, lie, limits))
    return sorted(out, key=lambda p: p.cost)


def _plain(seen: Seen, draw: Array, z: float, sand: float, section: float, volume: float) -> Lie:
    """A way of lying with all its costs but those of the pockets."""
    flat = max((max(up, down) for at, up, down in seen.flats if abs(at - z) < 3e-5), default=0.0)
    flat = min(flat / max(float(widest(seen, np.array([z]))[0]), 1e-12), 1.0)
    cope, drag = max(seen.top - z, 0.0), max(z - seen.bottom, 0.0)
    unfed = float(np.mean(seen.top - seen.spots)) / (seen.top - seen.bottom) if seen.spots.size else 0.5
    lesser = min(cope, drag)
    up, seam = seen.good.up(draw), seen.good.seam(draw, z)
    costs = {
        "trapped": 20.0 * sand / volume,
        "lip": LIP * min(max(sand - seen.view.gap, 0.0) / (CLEAR * volume), 1.0),
        "section": 0.8 * (1.0 - section),
        "flat": 0.1 * (1.0 - flat),
        "halves": 0.1 if lesser > 2e-5 else 0.0,
        "slab": 0.15 * max(0.0, 1 - lesser / SLAB) if lesser > 2e-5 else 0.0,
        "fall": 0.5 * max(0.0, fall_speed(drag) - STILL),
        "feeding": 0.1 * unfed,
        "even": EVEN if seen.mirror is not None and abs(z - seen.mirror) > MIRRORED else 0.0,
        "up": LOOKS_UP * up,
        "seam": SEAM * min(seam / seen.girth, 1.0),
    }
    return Lie(draw, z, sand, section, flat, cope, drag, 0.0, 0.0, unfed, costs, min(seen.view.gap, sand), up, seam)


def _pockets(seen: Seen, lie: Lie, limits: tuple[float, float]) -> Lie:
    """The same with the sand pockets counted."""
    cell = 2 * seen.view.cell
    hanging = slender(seen.view.high[::2, ::2], lie.level, cell, limits[0]) if lie.cope > SLAB else 0.0
    standing = slender(-seen.view.low[::2, ::2], -lie.level, cell, limits[1]) if lie.drag > SLAB else 0.0
    costs = {**lie.costs, "hanging": 0.12 * min(hanging, 3.0), "standing": 0.12 * min(standing, 3.0)}
    return lie._replace(hanging=hanging, standing=standing, costs=costs)


def choose(
    mesh: Mesh, axis: Array, volume: float, spots: Array, limits: tuple[float, float], up: bool, parting: float | None, good: Good = NONE
) -> list[Lie]:  # fmt: skip
    """Ways of lying along ``axis``, best first, the best of each way up among them.

    ``up``: the axis is asked for and is not turned over; ``parting``: asked level along it; ``good``: faces that must come out good.
    """
    found: list[Lie] = []
    for way in (axis,) if up else (axis, -axis):
        only = None if parting is None else parting * float(np.sign(way @ axis))
        found += lies(look(mesh, way, spots, good), way, volume, limits, only)
    return sorted(found, key=lambda lie: lie.cost)
