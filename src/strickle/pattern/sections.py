"""Sections of a solid across the draw, as closed rings, and how they grow: edge by edge, each with its own distance.

Rings are arrays (n, 2) [mm] with metal on the left of every edge. Two rings of equal many corners at two heights bound a wall; where every
triangle of that wall looks up or level, and the lower ring crosses itself nowhere, the body between them is a height field and draws.
"""

from __future__ import annotations

from typing import TypeAlias

import manifold3d
import numpy as np
from shapely import STRtree, linestrings, points

from strickle.base import Array
from strickle.pattern.readable import solid_of, volume

Section: TypeAlias = manifold3d.CrossSection
POSITIVE = manifold3d.FillRule.Positive
MITRE = manifold3d.JoinType.Miter
NEAR = 1e-5  # mm, corners nearer than this are one
SPIKE = 4.0  # times the distance a corner may move at most
GIVE = 0.04  # mm that a section may be filled out to be rid of corners: a tenth of a printed line
PASSES = 6
READ = 1e-7  # share of its volume by which a loft may be read as another solid
SAME = 1e-6  # mm2, area by which a ring laid over itself is told


def rings(section: Section) -> list[Array]:
    """The rings of a section without corners that coincide."""
    out: list[Array] = []
    for ring in section.to_polygons():
        ring = np.asarray(ring, dtype=float)
        ring = ring[np.hypot(*(np.roll(ring, -1, axis=0) - ring).T) > NEAR]
        if len(ring) > 2:
            out.append(ring)
    return out


def area(ring: Array) -> float:
    """Signed area: positive round metal, negative round a hole."""
    x, y = ring[:, 0], ring[:, 1]
    across = x[:-1] @ y[1:] - y[:-1] @ x[1:]
    return 0.5 * float(across + x[-1] * y[0] - y[-1] * x[0])


def length(ring: Array) -> float:
    """Length round a ring."""
    return float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum())


def tidied(section: Section) -> list[Array]:
    """Rings that hold the section with fewer corners: what goes is only ever filled, by at most ``GIVE``, never cut off."""
    out: list[Array] = []
    many = 0
    for ring in rings(section):
        many += len(ring)
        if area(ring) > 0 or -4 * area(ring) > GIVE * length(ring):
            for _ in range(PASSES):
                ring, n = _tidier(ring), len(ring)
                if len(ring) == n:
                    break
            out.append(ring)
    if sum(map(len, out)) == many:
        return out
    return rings(clean(out))


def _tidier(ring: Array) -> Array:
    """Shallow corners that look into metal taken out, and edges between shallow corners that look out replaced by one corner."""
    if len(ring) < 5:
        return ring
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    chord = np.hypot(*(before + after).T)
    forward = (before * after).sum(axis=1) > -0.5 * np.hypot(*before.T) * np.hypot(*after.T)
    shallow = (turn < 0) & (((-turn < GIVE * chord) & forward) | (-turn < 0.1 * GIVE**2))
    shallow &= ~(np.roll(shallow, 1) & (np.arange(len(ring)) % 2 == 0))  # of two in a row the odd one
    shallow &= ~np.roll(shallow, 1)
    out = ring[~shallow]
    if shallow.any() or len(out) < 5:
        return np.asarray(out)
    edge = np.hypot(*after.T)
    short = (turn >= 0) & (np.roll(turn, -1) >= 0)
    following, last = np.roll(after, -1, axis=0), before
    det = last[:, 0] * following[:, 1] - last[:, 1] * following[:, 0]
    reach = (after[:, 0] * following[:, 1] - after[:, 1] * following[:, 0]) / np.where(np.abs(det) < 1e-12, np.inf, det)
    corner = ring + last * reach[:, None]
    off = np.abs(turn) * np.abs(reach) / np.maximum(edge, 1e-12)  # how far the corner stands over the edge it replaces
    short &= (det > 1e-12) & (reach >= 0) & (off < GIVE) & (np.hypot(*(corner - ring).T) < 10 * GIVE + edge)
    short &= ~(np.roll(short, 1) | np.roll(short, 2))
    short[-1] = False
    out = ring.copy()
    out[short] = corner[short]
    return np.asarray(out[~np.roll(short, 1)])


def joined(parts: list[Section]) -> Section:
    """The union of sections."""
    return Section.batch_boolean(parts, manifold3d.OpType.Add) if len(parts) > 1 else parts[0] if parts else Section()


def inside(ring: Array, at: Array) -> bool:
    """Whether a point (2,) lies within a ring."""
    a, b = ring, np.roll(ring, -1, axis=0)
    cross = (a[:, 1] > at[1]) != (b[:, 1] > at[1])
    if not cross.any():
        return False
    a, b = a[cross], b[cross]
    return bool(np.count_nonzero(a[:, 0] + (at[1] - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1]) > at[0]) % 2)


def enclosed(every: list[Array]) -> list[bool]:
    """Which rings look into sand that metal surrounds: holes, and what stands in a hole."""
    holes = [ring for ring in every if area(ring) < 0]
    return [area(ring) < 0 or any(inside(hole, ring[0]) for hole in holes) for ring in every]


def moved(ring: Array, by: Array) -> Array:
    """The ring with every edge moved out of the metal by its own distance ``by`` (n,) [mm], corners where the edges meet again."""
    along = np.roll(ring, -1, axis=0) - ring
    out = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.hypot(*along.T)[:, None]
    before, d_before = np.roll(out, 1, axis=0), np.roll(by, 1)
    det = before[:, 0] * out[:, 1] - before[:, 1] * out[:, 0]
    flat = np.abs(det) < 1e-3
    safe = np.where(flat, 1.0, det)
    step = np.stack([out[:, 1] * d_before - before[:, 1] * by, before[:, 0] * by - out[:, 0] * d_before], axis=1) / safe[:, None]
    least = np.where(np.abs(d_before) < np.abs(by), d_before, by)
    step[flat] = ((before + out) / 2 * least[:, None])[flat]
    length = np.hypot(*step.T)
    most = SPIKE * np.maximum(np.abs(by), np.abs(d_before))
    return np.asarray(ring + step * np.minimum(1.0, most / np.maximum(length, 1e-12))[:, None])


def clean(every: list[Array]) -> Section:
    """The section that rings bound, where they may cross."""
    return Section(every, POSITIVE) if every else Section()


def strips(top: list[Array], foot: list[Array]) -> Section:
    """All that edges pass over on their way from rings to moved rings."""
    out: list[Array] = []
    for ring, to in zip(top, foot):
        following, to_following = np.roll(ring, -1, axis=0), np.roll(to, -1, axis=0)
        tri = np.concatenate([np.stack([ring, to, following], 1), np.stack([to, to_following, following], 1)])
        u, v = tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0]
        turned = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] < 0
        tri[turned] = tri[turned][:, ::-1]
        out += list(tri)
    return clean(out)


def swept(top: list[Array], foot: list[Array]) -> Section:
    """What rings hold with all that they pass over on their way out to moved rings; holes that close stay closed."""
    return joined([clean(top), strips(top, foot)])


def _walls(first: int, every: list[Array]) -> Array:
    """Triangles of the wall between one level of rings, numbered from ``first``, and the next lower."""
    n = sum(len(ring) for ring in every)
    number = first + np.arange(n)
    parts = np.split(number, np.cumsum([len(ring) for ring in every])[:-1])
    following = np.concatenate([np.roll(part, -1) for part in parts])
    return np.concatenate([np.stack([number + n, following + n, following], 1), np.stack([number + n, following, number], 1)])


def stands(top: list[Array], bottom: list[Array]) -> bool:
    """Whether the wall between rings and lower rings of as many corners looks up or level everywhere and crosses itself nowhere."""
    if abs(float(clean(bottom).area()) - sum(area(ring) for ring in bottom)) > SAME:
        return False
    plan, walls = np.concatenate([*top, *bottom]), _walls(0, top)
    a, b, c = (plan[walls[:, i]] for i in range(3))
    return bool(((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]).min() >= -1e-12)


def lofted(levels: list[tuple[float, list[Array]]]) -> manifold3d.Manifold:
    """The body through rings at falling heights, all of as many corners; empty where it does not close or is read as another."""
    n = sum(len(ring) for ring in levels[0][1])
    vertices = np.concatenate([np.column_stack([np.concatenate(every), np.full(n, height)]) for height, every in levels])
    caps = [np.asarray(manifold3d.triangulate([np.ascontiguousarray(r) for r in levels[i][1]]), dtype=np.int64).reshape(-1, 3) for i in (0, -1)]
    walls = [_walls(i * n, every) for i, (_, every) in enumerate(levels[:-1])]
    faces = np.concatenate([caps[0], caps[1][:, ::-1] + (len(levels) - 1) * n, *walls])
    made = solid_of(vertices, faces)
    return made if abs(float(made.volume()) - volume(vertices, faces)) < READ * volume(vertices, faces) else manifold3d.Manifold()


def aways(every: list[Array], others: list[Array]) -> list[Array]:
    """Distances (n,) [mm] from the middle of each edge of each ring to the nearest edge of other rings; infinite where there are none."""
    if not every or not others:
        return [np.full(len(ring), np.inf) for ring in every]
    ends = np.concatenate([np.stack([other, np.roll(other, -1, axis=0)], axis=1) for other in others])
    middle = np.concatenate([(ring + np.roll(ring, -1, axis=0)) / 2 for ring in every])
    (which, _), distance = STRtree(linestrings(ends)).query_nearest(points(middle), return_distance=True, all_matches=False)
    out = np.full(len(middle), np.inf)
    out[which] = distance
    return np.split(out, np.cumsum([len(ring) for ring in every])[:-1])
