"""Which way the pattern is drawn: a search over the directions the part itself offers, and a modest net between them."""

from __future__ import annotations

from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array, BadInput, Mesh, Watch
from strickle.pattern.columns import View, view
from strickle.pattern.undercut import fill

SNAP = np.radians(5.0)  # a direction of the part this near to the winner is preferred
NET = 48  # directions of the half-sphere net
ACROSS = 112  # columns over the longer side while searching
LEVELS = 64
WALLS = 0.03  # weight of the walls without draft
GAP = 3.0  # weight of what no flat parting releases, over the part's volume
TRAP = 0.3  # weight of what the best one does not
TALL = 0.4  # weight of the height over the bounding diagonal: a tall cope costs sand, a long draw and draft
HOLE = 0.01  # what drilling one hole afterwards counts
DRILL = 15.0  # mm, round holes across the draw up to this are filled and drilled by anyone (common practice)
WEIGHED = 5  # directions at most that are looked at for holes to drill


class Scored(NamedTuple):
    """One direction with what it costs."""

    direction: Array
    score: float
    gap: float  # m3
    trapped: float  # m3, at the best flat parting
    wall: float  # share of the surface along the draw
    own: bool  # a flat's normal or an axis of the file: what a part is drawn square to

    @property
    def undercut_score(self) -> float:
        """The score without the walls' share, which would tilt the draw to lend draft to walls that have none."""
        return self.score - WALLS * self.wall


def basis(direction: Array) -> Array:
    """A rotation (3, 3) whose last row is ``direction``: it turns the draw to z."""
    z = np.asarray(direction, dtype=float) / np.linalg.norm(direction)
    x = np.cross(np.eye(3)[int(np.argmin(np.abs(z)))], z)
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(z, x), z])


def solid(mesh: Mesh, factor: float = 1000.0) -> manifold3d.Manifold:
    """The mesh as a manifold3d solid, in millimetres."""
    vertices, faces = np.asarray(mesh.vertices * factor, dtype=np.float64), np.asarray(mesh.faces, dtype=np.uint64)
    return manifold3d.Manifold(manifold3d.Mesh64(np.ascontiguousarray(vertices), np.ascontiguousarray(faces)))


def lighter(mesh: Mesh) -> Mesh:
    """A copy with fewer triangles, within 3e-4 of the bounding diagonal; the mesh itself if the solid does not build."""
    built = solid(mesh)
    if built.is_empty():
        return mesh
    diagonal = float(np.linalg.norm(np.ptp(mesh.vertices, axis=0)))
    out = built.simplify(0.3 * diagonal).to_mesh64()
    if len(out.tri_verts) < 4:
        return mesh
    return Mesh(vertices=out.vert_properties[:, :3] * 1e-3, faces=out.tri_verts.astype(np.int64))


def surface(mesh: Mesh) -> tuple[Array, Array]:
    """Unit normals (m, 3) and areas (m,) of the faces."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    twice = np.linalg.norm(cross, axis=1)
    return cross / np.maximum(twice, 1e-300)[:, None], twice / 2


def folded(directions: Array) -> Array:
    """Directions (n, 3) turned to the half-sphere z > 0 (then y, x), length one."""
    d = directions / np.linalg.norm(directions, axis=1)[:, None]
    first = np.where(np.abs(d[:, 2]) > 1e-9, d[:, 2], np.where(np.abs(d[:, 1]) > 1e-9, d[:, 1], d[:, 0]))
    return np.asarray(d * np.where(first < 0, -1.0, 1.0)[:, None])


def clusters(mesh: Mesh, most: int = 12) -> Array:
    """Normals of the ``most`` largest flat areas (k, 3), folded to a half-sphere, exact where an axis of the file is meant."""
    normals, areas = surface(mesh)
    normals, areas = normals[areas > 0], areas[areas > 0]  # a sliver has no direction
    _, back = np.unique(np.round(folded(normals), 3), axis=0, return_inverse=True)
    weight = np.bincount(back.ravel(), areas)
    summed = np.stack([np.bincount(back.ravel(), areas * folded(normals)[:, i]) for i in range(3)], axis=1)
    kept: list[Array] = []
    for i in np.argsort(-weight, kind="stable"):
        d = summed[i] / max(float(np.linalg.norm(summed[i])), 1e-300)
        if all(abs(d @ other) < np.cos(np.radians(1.0)) for other in kept):
            kept.append(d)
        if len(kept) == most:
            break
    out = np.array(kept)
    axis = np.argmax(np.abs(out), axis=1)
    near = np.abs(out[np.arange(len(out)), axis]) > np.cos(np.radians(0.05))
    out[near] = np.eye(3)[axis[near]]
    return folded(out)


def features(mesh: Mesh) -> tuple[Array, Array]:
    """Directions the part itself offers: its own (k, 3) from flats and file axes; further ones (l, 3).

    The further ones, from cross products of flats, the covariance of the normals and inertia, find the axes of round and slanted parts
    but lie a degree off on others.
    """
    flats = clusters(mesh)
    normals, areas = surface(mesh)
    top = flats[:5]
    crosses = [np.cross(a, b) for i, a in enumerate(top) for b in top[i + 1 :]]
    _, spread = np.linalg.eigh((normals * areas[:, None]).T @ normals)
    centres = mesh.vertices[mesh.faces].mean(axis=1)
    centres = centres - np.average(centres, axis=0, weights=areas)
    _, inertia = np.linalg.eigh((centres * areas[:, None]).T @ centres)
    own = _apart(folded(np.array([*flats, *np.eye(3)])), 0.5)
    return own, _apart(folded(np.array([*(c for c in crosses if np.linalg.norm(c) > 0.05), *spread.T, *inertia.T])), 0.5, own)


def _apart(directions: Array, degrees: float, known: Array | None = None) -> Array:
    """Those directions that lie ``degrees`` from ``known`` ones and from those kept before them (k, 3)."""
    kept: list[Array] = []
    others: list[Array] = [] if known is None else list(known)
    for d in directions:
        if all(abs(d @ other) < np.cos(np.radians(degrees)) for other in [*others, *kept]):
            kept.append(d)
    return np.array(kept).reshape(-1, 3)


def net(count: int) -> Array:
    """Directions spread evenly over the half-sphere (golden-angle spiral)."""
    i = np.arange(count)
    z = (i + 0.5) / count
    turn = i * np.pi * (3 - np.sqrt(5.0))
    flat = np.sqrt(1 - z**2)
    return np.stack([flat * np.cos(turn), flat * np.sin(turn), z], axis=1)


def score(mesh: Mesh, direction: Array, volume: float, normals: Array, areas: Array, own: bool) -> Scored:
    """What a direction costs: gaps above all, sand trapped by a flat parting, depth, walls without draft.

    Gap and trap are weighed over the part's volume, height over the bounding diagonal; the walls' weight is small since draft can be
    added while an undercut cannot be wished away.
    """
    turned = mesh.vertices @ basis(direction).T
    seen: View = view(turned, mesh.faces, ACROSS)
    bottom, top = float(turned[:, 2].min()), float(turned[:, 2].max())
    trapped = float(seen.trapped(np.linspace(bottom, top, LEVELS + 1)).min())
    diagonal = float(np.linalg.norm(np.ptp(mesh.vertices, axis=0)))
    wall = float(areas[np.abs(normals @ direction) < np.sin(np.radians(0.5))].sum() / areas.sum())
    cost = GAP * seen.gap / volume + TRAP * min(trapped, 2 * volume) / volume + TALL * (top - bottom) / diagonal + WALLS * wall
    return Scored(np.asarray(direction), cost, seen.gap, trapped, wall, own)


def search(mesh: Mesh, volume: float, watch: Watch) -> tuple[Scored, ...]:
    """Directions, best first; the first is a direction of the part wherever one lies near the winner. ``mesh`` is a light copy."""
    normals, areas = surface(mesh)
    own, further = features(mesh)
    every = [(d, True) for d in own] + [(d, False) for d in further] + [(d, False) for d in _apart(net(NET), 2.0, own)]
    out = []
    for i, (direction, is_own) in enumerate(every):
        out.append(score(mesh, direction, volume, normals, areas, is_own))
        if i % 8 == 0:
            watch(0.4 * i / len(every), "looking for the way to draw")
    out.sort(key=lambda s: s.score)
    near = [i for i, s in enumerate(out) if s.own and abs(s.direction @ out[0].direction) > np.cos(SNAP)]
    if near:
        out.insert(0, out.pop(min(near, key=lambda i: out[i].undercut_score)))
    return _with_drill(out, mesh, volume)


def _with_drill(found: list[Scored], mesh: Mesh, volume: float) -> tuple[Scored, ...]:
    """The directions with holes that are drilled anyway no longer counted, where that can still decide; best first."""
    best = _relieved(found[0], mesh, volume)
    others, looked = found[1:], 0
    for i, other in enumerate(others):
        # all of its gap would have to be holes
        hoped = other.score - (GAP + TRAP) * min(other.gap, volume) / volume + HOLE
        if not other.own or other.gap <= 0 or hoped >= best.score:
            continue
        looked += 1
        if looked > WEIGHED:
            break
        tried = _relieved(other, mesh, volume)
        if tried.score < best.score:
            others[i], best = best, tried
    return (best, *others)


def _relieved(scored: Scored, mesh: Mesh, volume: float) -> Scored:
    """A direction without the holes to drill: volume taken off gap and trap, a little added for each hole."""
    if scored.gap <= 0:
        return scored
    turned = mesh.vertices @ basis(scored.direction).T
    levels = np.linspace(turned[:, 2].min(), turned[:, 2].max(), LEVELS + 1)
    level = float(levels[int(np.argmin(view(turned, mesh.faces, ACROSS).trapped(levels)))])
    try:
        regions = fill(solid(Mesh(vertices=turned - [0.0, 0.0, level], faces=mesh.faces)))[1]
    except BadInput:
        return scored  # too rough to tell its holes
    bores = [r for r in regions if 0 < r.bore <= DRILL]
    drilled = 1e-9 * sum(r.volume for r in bores)
    relief = (GAP * min(drilled, scored.gap) + TRAP * min(drilled, scored.trapped)) / volume
    return scored._replace(score=scored.score - relief + HOLE * len(bores), gap=max(scored.gap - drilled, 0.0))
