"""The layers of a half for its stack of sections: heights that level faces get, what is upright between them, what overhangs in each."""

from __future__ import annotations

import itertools

import manifold3d
import numpy as np

from strickle.base import Array
from strickle.pattern.sections import NEAR, POSITIVE, Section
from strickle.pattern.undercut import plain

FINE = 0.005  # mm, surface moved at most before the stack is built
SNAP = 2e-3  # mm, corners nearer to the height of a flat than this lie in it
UPRIGHT = 1e-4  # faces this near to the draw (tangent) make no new section
FLAT = 1.0  # mm2 of level face at one height that get a layer of their own


def levels_of(vertices: Array, faces: Array, base: float, layer: float, extra: tuple[float, ...]) -> tuple[Array, Array]:
    """Heights of the layers' faces, rising, and which layers hold walls that are not upright."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    plan = np.hypot(cross[:, 0], cross[:, 1])
    height = vertices[faces][:, :, 2]
    low, high = height.min(axis=1), height.max(axis=1)
    flat = (high - low < SNAP) & (plan < 0.05 * np.abs(cross[:, 2]))
    order = np.flatnonzero(flat)[np.argsort(low[flat])]
    groups = np.split(order, np.flatnonzero(np.diff(low[order]) > SNAP) + 1) if order.size else []
    sized = [(float(np.median(low[g])), float(np.abs(cross[g, 2]).sum()) / 2) for g in groups]
    keys = [base, float(vertices[:, 2].max())]
    for level, _size in sorted((s for s in (*sized, *((e, np.inf) for e in extra)) if s[1] >= FLAT), key=lambda s: -s[1]):
        if base < level and min(abs(level - k) for k in keys) > 0.2 * layer:
            keys.append(level)
    keys.sort()
    leans = (np.abs(cross[:, 2]) > UPRIGHT * plan) & (high - low > SNAP)
    fine = np.unique(np.concatenate([np.linspace(p, q, int(np.ceil((q - p) / layer - 1e-6)) + 1) for p, q in itertools.pairwise(keys)]))
    begin = np.searchsorted(fine, low[leans] + SNAP, side="right") - 1
    end = np.searchsorted(fine, high[leans] - SNAP, side="left")
    ends = np.bincount(np.clip(begin, 0, None), minlength=len(fine) + 1) - np.bincount(np.clip(end, 0, len(fine)), minlength=len(fine) + 1)
    busy = np.cumsum(ends)[: len(fine) - 1] > 0
    keep = np.ones(len(fine), dtype=bool)
    keep[1:-1] = busy[1:] | busy[:-1] | np.isin(fine[1:-1], keys)
    first = np.flatnonzero(keep)[:-1]
    return fine[keep], busy[first]


def steady(body: manifold3d.Manifold, room: manifold3d.Manifold | None) -> tuple[manifold3d.Manifold, float]:
    """The body with the corners of level faces brought to one height each, and the height the stack goes down to."""
    vertices, faces = plain(body)
    base = 0.0 if room is None else max(float(room.bounding_box()[2]), -1e6)
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    height = vertices[faces][:, :, 2]
    flat = (np.ptp(height, axis=1) < SNAP) & (np.hypot(cross[:, 0], cross[:, 1]) < 0.05 * np.abs(cross[:, 2]))
    if room is None:
        vertices[np.abs(vertices[:, 2]) < FINE + SNAP, 2] = 0.0
    level = np.sort(height[flat].ravel())
    for group in np.split(level, np.flatnonzero(np.diff(level) > SNAP / 2) + 1) if level.size else []:
        if abs(group[0]) > 0 and group[-1] - group[0] < SNAP:
            vertices[np.abs(vertices[:, 2] - np.median(group)) < SNAP, 2] = np.median(group)
    made = manifold3d.Manifold(manifold3d.Mesh64(vertices, np.ascontiguousarray(faces, dtype=np.uint64)))
    return (body, base) if made.is_empty() or made.volume() <= 0 else (made, base)


def down_facing(vertices: Array, faces: Array) -> Array:
    """Triangles (k, 3, 3) that look down."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    return np.asarray(vertices[faces[cross[:, 2] < -1e-5 * np.linalg.norm(cross, axis=1)]])


def shadows(triangles: Array, levels: Array, skip: float) -> dict[int, Section]:
    """What overhangs within each layer, seen along the draw.

    ``triangles`` (m, 3, 3) look down over the sand; ``levels`` (k,) rising. Layer i reaches from levels[i] to levels[i + 1] and holds what
    lies on its upper face, not what lies on its lower. Triangles within ``skip`` (tangent) of the draw that go on through the upper face
    are left out: growth covers them.
    """
    low, high = triangles[:, :, 2].min(axis=1), triangles[:, :, 2].max(axis=1)
    last = np.searchsorted(levels, high, side="left") - 1
    first = np.where(high > low, np.searchsorted(levels, low, side="right") - 1, last)
    first, last = np.maximum(first, 0), np.minimum(last, len(levels) - 2)
    count = np.maximum(last - first + 1, 0)
    number = np.repeat(np.arange(len(triangles)), count)
    layer = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)
    cross = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    steep = np.abs(cross[:, 2]) < skip * np.hypot(cross[:, 0], cross[:, 1])
    wanted = ~(steep[number] & (high[number] > levels[layer + 1] - NEAR))
    number, layer = number[wanted], layer[wanted]
    cut = _clipped(triangles[number], levels[layer], levels[layer + 1])
    x, y = cut[:, :, 0], cut[:, :, 1]
    plan = np.abs((x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(axis=1))
    keep = plan > 1e-9
    layer, cut = layer[keep], cut[keep]
    out: dict[int, Section] = {}
    for i in np.unique(layer):
        out[int(i)] = Section(list(cut[layer == i][:, ::-1]), POSITIVE)
    return out


def _clipped(triangles: Array, low: Array, high: Array) -> Array:
    """Plan (m, 6, 2) of what of each triangle lies between two heights, corners in order, doubled where there are fewer than six."""
    start, end = triangles, np.roll(triangles, -1, axis=1)
    rise = end[:, :, 2] - start[:, :, 2]
    safe = np.where(np.abs(rise) < 1e-12, 1.0, rise)
    at_low, at_high = (level[:, None] - start[:, :, 2] for level in (low, high))
    t_low, t_high = at_low / safe, at_high / safe
    enter, leave = np.minimum(t_low, t_high), np.maximum(t_low, t_high)
    level_edge = np.abs(rise) < 1e-12
    within = (at_low <= 1e-12) & (at_high >= -1e-12)
    enter = np.where(level_edge, np.where(within, 0.0, 2.0), np.maximum(enter, 0.0))
    leave = np.where(level_edge, np.where(within, 1.0, -1.0), np.minimum(leave, 1.0))
    met = leave >= enter
    points_ = np.stack([start + enter[:, :, None] * (end - start), start + leave[:, :, None] * (end - start)], axis=2)[..., :2]
    # an edge that misses the layer gives way to the first corner of the next that meets it
    for _ in range(2):
        for i in (2, 1, 0):
            nxt = (i + 1) % 3
            take = ~met[:, i] & met[:, nxt]
            points_[take, i] = points_[take, nxt, :1]
            met[take, i] = True
    out = points_.reshape(len(triangles), 6, 2)
    out[~met.all(axis=1)] = 0.0
    return np.asarray(out)
