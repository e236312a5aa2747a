"""Which way the pattern is drawn: a search over the directions the part itself offers, and a modest net between them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array, BadInput, Mesh, Watch
from strickle.pattern.columns import View, view
from strickle.pattern.good import NONE, Good
from strickle.pattern.mirror import mirror_level
from strickle.pattern.undercut import fill

SNAP = np.radians(5.0)  # a direction of the part this near to the winner is preferred
NET = 48  # directions of the half-sphere net
ACROSS = 112  # columns over the longer side while searching
LEVELS = 64
WALLS = 0.03  # weight of the walls without draft
GAP = 3.0  # weight of what no flat parting releases, over the part's volume
TRAP = 0.3  # weight of what the best one does not
TALL = 0.4  # weight of the height over twice the part's reach: a tall cope costs sand, a long draw and draft
HOLE = 0.01  # what drilling one hole afterwards counts
DRILL = 15.0  # mm, round holes across the draw up to this are filled and drilled by anyone (common practice)
WEIGHED = 5  # directions at most that are looked at for holes to drill
CROOKED = 0.03  # what a direction counts that the part itself does not offer: nothing lies flat on the board, nothing is square
LOSS = 0.05  # of the score without its walls that a direction square to the part may cost over a crooked one beside it
SQUARE = np.radians(0.1)  # within this of flat or upright, a face is square to a direction
ROUGHLY = np.radians(1.0)  # faces that say which direction they are square to
LEAST_FLAT = 0.01  # share of the surface that a flat needs to offer its normal: less may be a facet of something round
LEAST_SQUARE = 0.2  # share of the surface square to a direction that makes it one of the part's own
ALIKE = 1e-3  # moments of inertia closer than this, over their mean, are those of something round or regular
MARKED = 0.3  # weight of marked faces that look up
MANY = 100_000  # triangles over which a mesh is made sparer: no shape is lost, only triangles within its flats
SAME = 1e-5  # mm by which that may move a face


class Scored(NamedTuple):
    """One direction with what it costs."""

    direction: Array
    score: float
    gap: float  # m3
    trapped: float  # m3, at the best flat parting
    wall: float  # share of the surface along the draw
    own: bool  # a flat's normal, an axis of the file or of symmetry, or square to the walls: what a part is drawn square to
    square: float = 0.0  # share of the surface flat across it or upright along it
    drilled: float = 0.0  # m3 of the gap that are holes to drill

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
    return _taken(built.simplify(0.3 * diagonal), mesh)


def spare(mesh: Mesh) -> Mesh:
    """The same shape with no more triangles than it needs, where it has many; else the mesh itself."""
    return _taken(solid(mesh).simplify(SAME), mesh) if len(mesh.faces) > MANY else mesh


def _taken(made: manifold3d.Manifold, mesh: Mesh) -> Mesh:
    """A solid in millimetres as a mesh, the mesh it came of where nothing is left."""
    out = made.to_mesh64()
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
    d = directions / np.maximum(np.linalg.norm(directions, axis=1), 1e-300)[:, None]
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
    """Directions the part itself offers: its own (k, 3), to which a good share of it is square; further ones (l, 3).

    Own are the normals of flats of some size, the axes of the file, those about which it is symmetric, and of the further ones those that turn
    out square to a fifth of the surface. The further ones are normals of small flats, cross products of flats, and the principal directions of
    the normals and of inertia.
    """
    flats = clusters(mesh)
    normals, areas = surface(mesh)
    top = flats[:5]
    crosses = [c for c in (np.cross(a, b) for i, a in enumerate(top) for b in top[i + 1 :]) if np.linalg.norm(c) > 0.05]
    _, spread = np.linalg.eigh((normals * areas[:, None]).T @ normals)
    axes, symmetric = principal(mesh)
    further = folded(np.array([*flats, *np.eye(3), *crosses, *spread.T, *axes]))
    straight = [*flats, *(squared(d, normals, areas) for d in further[len(flats) :])]
    drawn = [d for d in np.eye(3) if held(d, normals, areas) > LEAST_FLAT]  # else the file's axes mean nothing to the part
    known = _apart(folded(np.array([*(d for d in flats if flat(d, normals, areas) > LEAST_FLAT), *drawn, *axes[symmetric]]).reshape(-1, 3)), 0.5)
    found = [d for d in straight if held(d, normals, areas) > LEAST_SQUARE]
    own = np.vstack([known, _apart(folded(np.array(found)), 0.5, known)]) if found else known
    return own, _apart(further, 0.5, own)


def flat(direction: Array, normals: Array, areas: Array) -> float:
    """Share of the surface that is flat across a direction."""
    return float(areas[np.abs(normals @ direction) > np.cos(SQUARE)].sum() / areas.sum())


def square(direction: Array, normals: Array, areas: Array) -> float:
    """Share of the surface that is flat across a direction or upright along it."""
    along = np.abs(normals @ direction)
    return float(areas[(along > np.cos(SQUARE)) | (along < np.sin(SQUARE))].sum() / areas.sum())


def held(direction: Array, normals: Array, areas: Array) -> float:
    """Share of the surface that holds a direction: flats across it, and walls along it that look more than one way."""
    upright = np.abs(normals @ direction) < np.sin(SQUARE)
    walls = normals[upright] @ basis(direction)[:2].T
    return flat(direction, normals, areas) + 2.0 * float(np.linalg.eigvalsh((walls * areas[upright, None]).T @ walls)[0] / areas.sum())


def squared(direction: Array, normals: Array, areas: Array) -> Array:
    """The direction near the given one that is squarest to the flats across it and the walls along it, in the least-squares sense."""
    d = direction / np.linalg.norm(direction)
    for near in (2 * ROUGHLY, ROUGHLY, SQUARE):
        along = normals @ d
        flat, wall = np.abs(along) > np.cos(near), np.abs(along) < np.sin(near)
        if not (flat.any() or wall.any()):
            return np.asarray(d)
        across, upright = normals[flat] * areas[flat, None], normals[wall] * areas[wall, None]
        _, axes = np.linalg.eigh(upright.T @ normals[wall] - across.T @ normals[flat])
        if abs(axes[:, 0] @ d) < np.cos(2 * ROUGHLY):
            return np.asarray(d)  # one flat or wall alone says nothing of the other turn
        d = axes[:, 0] * np.sign(axes[:, 0] @ d)
    return np.asarray(d)


def principal(mesh: Mesh) -> tuple[Array, Array]:
    """Principal axes of the solid's inertia (3, 3) as rows, and which of them are axes it is symmetric about (3,).

    Integrals over the solid, so that it does not matter how its faces are cut. Symmetric: even about a level across the axis, or the odd one of
    three moments, as of what is round or regular.
    """
    corners = mesh.vertices[mesh.faces] - mesh.vertices.mean(axis=0)
    det = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
    total = corners.sum(axis=1)
    volume = det.sum() / 6
    if volume <= 0:
        return np.eye(3), np.zeros(3, dtype=bool)
    middle = det @ total / 24 / volume
    second = (np.einsum("i,ikp,ikq->pq", det, corners, corners) + np.einsum("i,ip,iq->pq", det, total, total)) / 120
    moments, axes = np.linalg.eigh(second / volume - np.outer(middle, middle))
    heavy = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    skew = heavy @ ((total / 3 - middle) @ axes) ** 3
    axes = axes * np.where(skew < 0, -1.0, 1.0)  # one way round, however the part is turned
    apart = np.diff(moments) / moments.mean() > ALIKE
    even = [bool(not apart[1] and apart[0]), False, bool(not apart[0] and apart[1])]
    lone = [bool(apart[0]), bool(apart.all()), bool(apart[1])]  # of two alike the axes are any
    for i in range(3):
        if lone[i] and not even[i]:
            seen = view(mesh.vertices @ basis(axes[:, i]).T, mesh.faces, ACROSS)
            even[i] = mirror_level(seen, 3e-4 * size_of(mesh)) is not None
    return np.asarray(axes.T), np.array(even)


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


def size_of(mesh: Mesh) -> float:
    """Twice the reach of a mesh from the middle of its surface [m]: for a block its diagonal, and the same however it is turned."""
    _, areas = surface(mesh)
    middle = areas @ mesh.vertices[mesh.faces].mean(axis=1) / areas.sum()
    return 2.0 * float(np.linalg.norm(mesh.vertices - middle, axis=1).max())


def score(
    mesh: Mesh, direction: Array, volume: float, size: float, normals: Array, areas: Array, own: bool, good: Good = NONE
) -> Scored:  # fmt: skip
    """What a direction costs: gaps above all, sand trapped by a flat parting, depth, marked faces that look up, walls without draft.

    Gap and trap are weighed over the part's volume, height over its ``size`` [m]; the walls' weight is small since draft can be added
    while an undercut cannot be wished away.
    """
    turned = mesh.vertices @ basis(direction).T
    seen: View = view(turned, mesh.faces, ACROSS)
    bottom, top = float(turned[:, 2].min()), float(turned[:, 2].max())
    trapped = float(seen.trapped(np.linspace(bottom, top, LEVELS + 1)).min())
    wall = float(areas[np.abs(normals @ direction) < np.sin(np.radians(0.5))].sum() / areas.sum())
    up = min(good.up(direction), good.up(-direction))
    cost = GAP * seen.gap / volume + TRAP * min(trapped, 2 * volume) / volume + TALL * (top - bottom) / size + MARKED * up + WALLS * wall
    cost += 0.0 if own else CROOKED
    return Scored(np.asarray(direction), cost, seen.gap, trapped, wall, own, square(direction, normals, areas))


def search(mesh: Mesh, volume: float, watch: Watch, true: Mesh | None = None, good: Good = NONE) -> tuple[Scored, ...]:
    """Directions, best first, a direction of the part standing for those beside it. ``mesh`` is a light copy of ``true``."""
    normals, areas = surface(mesh)
    size = size_of(mesh)
    own, further = features(mesh if true is None else true)
    axes, _ = principal(mesh if true is None else true)
    between = _apart(folded(net(NET) @ axes), 2.0, own)
    every = [(d, True) for d in own] + [(d, False) for d in further] + [(d, False) for d in between]
    out = []
    for i, (direction, is_own) in enumerate(every):
        out.append(score(mesh, direction, volume, size, normals, areas, is_own, good))
        if i % 8 == 0:
            watch(0.4 * i / len(every), "looking for the way to draw")
    return _with_drill(snapped(out), mesh, volume)


def as_crooked(found: Sequence[Scored], volume: float) -> tuple[Scored, ...]:
    """The directions as they are worth on a joint that follows the part: sand that a flat one would trap no longer counts; best first."""
    more = [TRAP * (min(one.trapped, 2 * volume) - min(one.gap, 2 * volume)) / volume for one in found]
    eased = [one._replace(score=one.score - less, trapped=one.gap) for one, less in zip(found, more, strict=True)]
    return tuple(sorted(eased, key=lambda one: one.score))


def snapped(found: list[Scored]) -> list[Scored]:
    """Those left where a direction of the part stands for others within 5 degrees of it, the squarest first; by score.

    What beats it by more than ``LOSS``, walls left out, stays beside it: that is no slip of the net.
    """
    kept: list[Scored] = []
    for one in sorted(found, key=lambda s: (not s.own, -round(s.square, 6), s.score)):
        near = [k for k in kept if k.own and abs(k.direction @ one.direction) > np.cos(SNAP)]
        if all(one.undercut_score < k.undercut_score - LOSS for k in near):
            kept.append(one)
    return sorted(kept, key=lambda s: s.score)


def _with_drill(found: list[Scored], mesh: Mesh, volume: float) -> tuple[Scored, ...]:
    """The directions with holes that are drilled anyway no longer counted, where that can still decide; best first."""
    done = [_relieved(found[0], mesh, volume)]
    left: list[Scored] = []
    for other in found[1:]:
        # all of its gap would have to be holes
        hoped = other.score - (GAP + TRAP) * min(other.gap, volume) / volume + HOLE
        if not other.own or other.gap <= 0 or hoped >= done[0].score or len(done) > WEIGHED:
            left.append(other)
            continue
        done.append(_relieved(other, mesh, volume))
        done.sort(key=lambda s: s.score)
    return tuple(sorted([*done, *left], key=lambda s: s.score))


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
    drilled = min(1e-9 * sum(r.volume for r in bores), scored.gap)
    relief = (GAP * drilled + TRAP * min(drilled, scored.trapped)) / volume
    return scored._replace(score=scored.score - relief + HOLE * len(bores), gap=scored.gap - drilled, drilled=drilled)
