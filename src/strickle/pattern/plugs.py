"""Holes filled level with the faces they open in: their walls and floors are taken off the mesh and the rims closed.

Nothing is cut or laid over, so a filled hole leaves no sliver and every other face stays as it is, to the last bit. Millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import manifold3d
import numpy as np
from scipy.spatial import ConvexHull, QhullError

from strickle.base import Array
from strickle.pattern.directions import basis
from strickle.pattern.facets import Facets, labels
from strickle.pattern.holes import TIP, Hole

LEVEL = 1e-3  # mm that a rim may stray from a plane to be closed as one
WITHIN = 0.02  # mm outside a hole's radius that its floor may reach
ASIDE = 1.1  # radii off its axis to which a hole's drill is held to reach
LIKELY = (0.4, 1.6)  # what a plug's volume is at least and at most over those of its holes


class Plugged(NamedTuple):
    """A mesh with holes filled."""

    vertices: Array
    faces: Array
    volume: float  # mm3 of metal put in
    filled: tuple[int, ...]  # numbers of the holes that were filled
    gone: Array  # triangles of the mesh as given that are no more


class _Plug(NamedTuple):
    gone: Array
    caps: Array  # (k, 3)
    volume: float


def filled(mesh: Facets, holes: Sequence[Hole], chosen: Sequence[int]) -> Plugged:
    """Fill the holes whose numbers are ``chosen``, and hollows that would be shut in behind them.

    Rims are closed level: flat ones in their plane, those of a curved face along it. A hole that does not close cleanly stays, and its number
    is not among those filled.
    """
    around, every = _neighbours(mesh), {int(i) for hole in holes for i in hole.wall}
    made: list[_Plug] = []
    for group in _groups(mesh, holes, chosen):
        whole = _plug(mesh, [holes[i] for i in group], around, every)
        if whole is None and len(group) > 1:
            made += [one for i in group if (one := _plug(mesh, [holes[i]], around, every)) is not None]
        elif whole is not None:
            made.append(whole)
    while made:
        gone = np.unique(np.concatenate([one.gone for one in made]))
        left = np.delete(np.arange(len(mesh.faces)), gone)
        faces = np.concatenate([mesh.faces[left], *(one.caps for one in made)])
        shut, hollow = _shut_in(mesh.vertices, faces, len(left))
        if hollow <= sum(one.volume for one in made) and _in_line(mesh.vertices[faces[shut]], [holes[i] for i in chosen]):
            gone = np.union1d(gone, left[shut[: len(left)]])
            isin = np.zeros(len(mesh.faces), dtype=bool)
            isin[gone] = True
            numbers = tuple(i for i, hole in enumerate(holes) if isin[hole.wall].all())
            return Plugged(mesh.vertices, faces[~shut], sum(one.volume for one in made) + hollow, numbers, gone)
        corners = np.unique(faces[shut])  # a room of the part, not the rest of a hole: what leads to it stays open
        made = [one for one in made if not np.isin(one.caps, corners).any()]
    return Plugged(mesh.vertices, mesh.faces, 0.0, (), np.zeros(0, dtype=np.int64))


def _shut_in(vertices: Array, faces: Array, before: int) -> tuple[Array, float]:
    """Which triangles bound a hollow that caps (from number ``before``) have shut in, and its volume [mm3]."""
    corners = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]]])
    shell = labels(corners, len(vertices))[faces[:, 0]]
    tri = vertices[faces]
    volume = np.bincount(shell, np.einsum("ij,ij->i", tri[:, 0], np.cross(tri[:, 1], tri[:, 2])) / 6)
    capped = np.unique(shell[before:])
    shut = capped[volume[capped] < 0]
    return np.isin(shell, shut), -float(volume[shut].sum())


def _in_line(faces: Array, holes: Sequence[Hole]) -> bool:
    """Whether a hollow, by its triangles (n, 3, 3), lies on the axes of holes, so that the drills that go in there make it too."""
    points = np.concatenate([faces.reshape(-1, 3), faces.mean(axis=1)])
    met = np.zeros(len(points), dtype=bool)
    for hole in holes:
        off = points - hole.at
        met |= np.linalg.norm(off - (off @ hole.axis)[:, None] * hole.axis, axis=1) < ASIDE * hole.radius + WITHIN
    return bool(met.all())


def _neighbours(mesh: Facets) -> Array:
    """Triangles (m, 3) beyond the sides 01, 12, 20 of each; -1 where not known."""
    out = np.full((len(mesh.faces), 3), -1, dtype=np.int64)
    for mine, other, first, second in ((0, 1, 0, 1), (1, 0, 1, 0)):
        own = mesh.faces[mesh.pairs[:, mine]]
        start = mesh.ends[:, first][:, None] == own
        stop = mesh.ends[:, second][:, None] == np.roll(own, -1, axis=1)
        side = np.argmax(start & stop, axis=1)
        out[mesh.pairs[:, mine], side] = mesh.pairs[:, other]
    return out


def _groups(mesh: Facets, holes: Sequence[Hole], wanted: Sequence[int]) -> list[list[int]]:
    """Holes that share corners, and so are filled as one."""
    if not wanted:
        return []
    owner = np.full(len(mesh.vertices), -1, dtype=np.int64)
    pairs = []
    for place, i in enumerate(wanted):
        corners = np.unique(mesh.faces[holes[i].wall])
        pairs += [(int(other), place) for other in np.unique(owner[corners][owner[corners] >= 0])]
        owner[corners] = place
    for place, i in enumerate(wanted):
        pairs += [(place, later) for later in range(place + 1, len(wanted)) if stacked(holes[i], holes[wanted[later]])]
    group = labels(np.array(pairs, dtype=np.int64).reshape(-1, 2), len(wanted))
    return [[int(wanted[k]) for k in np.flatnonzero(group == g).tolist()] for g in range(int(group.max()) + 1)]


def stacked(one: Hole, other: Hole) -> bool:
    """Whether a hole goes on as another, narrower or wider, on one axis."""
    off = other.at - one.at
    aside = float(np.linalg.norm(off - (off @ one.axis) * one.axis))
    if abs(float(one.axis @ other.axis)) < 0.999 or aside > 0.1 * max(one.radius, other.radius):
        return False
    a = np.sort([0.0, one.reach])
    b = np.sort([float(off @ one.axis), float((off + other.reach * other.axis) @ one.axis)])
    return bool(max(a[0], b[0]) - min(a[1], b[1]) < 0.1 * min(one.radius, other.radius))


def _plug(mesh: Facets, holes: list[Hole], around: Array, every: set[int]) -> _Plug | None:
    """What a group of holes takes away and puts on; None where it does not close cleanly."""
    walls = np.unique(np.concatenate([hole.wall for hole in holes]))
    gone = np.union1d(walls, _floors(mesh, holes, around, every))
    within = np.zeros(len(mesh.faces), dtype=bool)
    within[gone] = True
    beyond = around[gone]
    if (beyond < 0).any():
        return None
    rim = ~within[beyond]
    runs = np.stack([mesh.faces[gone], np.roll(mesh.faces[gone], -1, axis=1)], axis=2)[rim]
    loops = _loops(runs)
    if not loops:
        return None
    outside = dict(zip(map(tuple, runs.tolist()), beyond[rim].tolist()))
    caps = []
    for loop in loops:
        cap = _cap(mesh, loop, min(holes, key=lambda hole: _aside(mesh.vertices[loop], hole)), outside)
        if cap is None:
            return None
        caps.append(cap)
    lids = np.concatenate(caps)
    shell = mesh.vertices[np.concatenate([mesh.faces[gone][:, ::-1], lids])]
    volume = float(np.einsum("ij,ij->i", shell[:, 0], np.cross(shell[:, 1], shell[:, 2])).sum()) / 6
    likely = sum(np.pi * hole.radius**2 * hole.depth for hole in holes)
    return _Plug(gone, lids, volume) if LIKELY[0] * likely < volume < LIKELY[1] * likely + 0.05 else None


def _aside(points: Array, hole: Hole) -> float:
    """How far points are from lying on a hole's wall [mm]."""
    off = points - hole.at
    along = off @ hole.axis
    away = np.abs(np.linalg.norm(off - along[:, None] * hole.axis, axis=1) - hole.radius)
    return float(away.max() + max(-along.min() - hole.radius, along.max() - hole.reach - hole.radius, 0.0))


def _floors(mesh: Facets, holes: list[Hole], around: Array, every: set[int]) -> Array:
    """Triangles past the ends of holes that are shut or go on narrower: floors, drill points, ledges; ``every`` are the walls of all holes."""
    out: set[int] = set()
    for hole in holes:
        for end, at in zip(hole.ends, (0.0, hole.reach)):
            if end == "open":
                continue
            frame = basis(hole.axis)
            local = (mesh.vertices - hole.at) @ frame.T
            past = (local[:, 2] - at) * (1.0 if at > 0 else -1.0)
            # a slanted floor reaches back along the wall
            inside = (np.hypot(local[:, 0], local[:, 1]) < hole.radius + WITHIN) & (past > -hole.reach) & (past < TIP * hole.radius + WITHIN)
            may = inside[mesh.faces].all(axis=1)
            rim = around[hole.wall].ravel()
            front = {int(i) for i in rim if i >= 0 and may[i] and int(i) not in every}
            front = {i for i in front if past[mesh.faces[i]].max() > -WITHIN}
            while front:
                out |= front
                front = {int(i) for i in around[list(front)].ravel() if i >= 0 and may[i] and int(i) not in every} - out
    return np.array(sorted(out), dtype=np.int64)


def _loops(runs: Array) -> list[Array]:
    """Edges (k, 2) chained to closed loops; none where a corner has more than one way on."""
    after = dict(runs.tolist())
    if len(after) != len(runs) or set(after) != set(runs[:, 1].tolist()):
        return []
    out = []
    while after:
        first = next(iter(after))
        loop, at = [first], after.pop(first)
        while at != first:
            loop.append(at)
            at = after.pop(at)
        out.append(np.array(loop))
    return out


def _cap(mesh: Facets, loop: Array, hole: Hole, outside: dict[tuple[int, int], int]) -> Array | None:
    """Triangles (k, 3) that close a rim, looking out of the metal; the loop runs as the faces that are taken away do."""
    points = mesh.vertices[loop]
    out = hole.axis if float((points - hole.at).mean(axis=0) @ hole.axis) > hole.reach / 2 else -hole.axis
    frame = basis(out)
    local = (points - points.mean(axis=0)) @ frame.T
    x, y = local[:, 0], local[:, 1]
    turning = float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
    if turning <= 0:  # seen from outside the rim runs with the sun the other way: no lid of this end
        return None
    plane, *_ = np.linalg.lstsq(np.column_stack([x, y, np.ones(len(x))]), local[:, 2], rcond=None)
    off = np.abs(local[:, 2] - (x * plane[0] + y * plane[1] + plane[2]))
    made = None if off.max() < LEVEL else _ruled(local, loop, mesh, frame, points.mean(axis=0), outside)
    if made is None:
        made = manifold3d.triangulate([np.ascontiguousarray(local[:, :2])])
    tri = np.asarray(made, dtype=np.int64)
    area = x[tri], y[tri]
    sense = (area[0][:, 1] - area[0][:, 0]) * (area[1][:, 2] - area[1][:, 0]) - (area[0][:, 2] - area[0][:, 0]) * (area[1][:, 1] - area[1][:, 0])
    if len(tri) != len(loop) - 2 or (sense < -1e-9).any():
        return None
    return loop[tri]


def _ruled(local: Array, loop: Array, mesh: Facets, frame: Array, about: Array, outside: dict[tuple[int, int], int]) -> Array | None:
    """Triangles (k, 3) that close the rim of a curved face along it: the rim's hull from above where it bulges, from below where it is hollow."""
    over = []
    for i, j in zip(loop.tolist(), np.roll(loop, -1).tolist()):
        normal = mesh.normals[outside[i, j]] @ frame.T
        if abs(normal[2]) > 0.1:
            corner = (mesh.vertices[i] - about) @ frame.T
            over.append(float(corner @ normal / normal[2]))  # height over the rim's middle of the plane of the face there
    if not over:
        return None
    side = 1.0 if np.median(over) > local[:, 2].mean() else -1.0
    try:
        hull = ConvexHull(local)
    except QhullError:
        return None
    faces, normals = hull.simplices, hull.equations[:, :3]
    chosen = normals[:, 2] * side > 1e-9
    tri = faces[chosen]
    a, b, c = (local[tri[:, k], :2] for k in range(3))
    back = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] < 0
    tri[back] = tri[back][:, ::-1]
    edges = np.concatenate([tri[:, [0, 1]], tri[:, [1, 2]], tri[:, [2, 0]]])
    keys = edges[:, 0] * len(loop) + edges[:, 1]
    free = edges[~np.isin(keys, edges[:, 1] * len(loop) + edges[:, 0])]
    good = len(free) == len(loop) and ((free[:, 1] - free[:, 0]) % len(loop) == 1).all()
    return np.asarray(tri) if good else None
