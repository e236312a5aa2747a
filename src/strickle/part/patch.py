"""Holes of a mesh closed: each open loop is given the triangles that bend least, flat ones with what lies in them.

Least bending (the sum over edges of turn times length) is Liepa's measure (Filling holes in meshes, Symposium on Geometry Processing 2003)
summed where he takes the worst: a hole over a sharp edge gets its edge back instead of a bevel.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from strickle.base import Array
from strickle.part.edges import Edges, edges_of, pairs_of, wrong_edges
from strickle.part.measure import areas_of, volume_of
from strickle.part.polygons import normals, plane_of

MOST_LOOP = 100  # corners of a loop that is weighed in every way; larger ones are filled if they are flat
MOST_WORK = 400_000  # sum of squares of the loops of a file that are weighed: about twenty seconds
FLAT = 1e-5  # share of the diagonal within which a loop is flat
MOST = 0.25  # share of the surface that patches may make up: choice


@dataclass
class Work:
    """What mending may still spend on a file."""

    weighed: int = MOST_WORK  # squares of corners of loops weighed in every way
    drawn: int = 12  # objects drawn anew, a few seconds each


class Patched(NamedTuple):
    """What closes a mesh."""

    kept: Array  # (m,) bool, triangles that stay: those that hang on others by one side and end nowhere do not
    patches: Array  # (k, 3) new triangles
    more: float  # volume with every hole closed by a cone to its middle, less that with the patches


def patched(vertices: Array, faces: Array, work: Work) -> Patched | None:
    """The triangles with their holes closed, or None where loops cannot be told, too much is missing or the file's ``work`` is spent."""
    edges = edges_of(faces, len(vertices))
    mask = np.ones(len(faces), bool)
    if (wrong_edges(edges) & (edges.halves != 1)).any():
        mask = _without_fins(faces, edges)
        edges = edges_of(faces[mask], len(vertices))
        if not mask.any() or (wrong_edges(edges) & (edges.halves != 1)).any():
            return None
    kept = faces[mask]
    loops = _loops(vertices, kept, edges)
    if loops is None:
        return None
    new = [np.array([loop for loop in loops if len(loop) == 3], np.int64).reshape(-1, 3)]
    flat, rest = _flat_groups(vertices, [loop for loop in loops if len(loop) > 3])
    cost = sum(len(loop) ** 2 for loop in rest)
    if cost > work.weighed or any(len(loop) > MOST_LOOP for loop in rest):
        return None
    work.weighed -= cost
    new += [_filled_flat(vertices, group) for group in flat]
    across_of = _beyond(vertices, kept, edges) if rest else {}
    for loop in rest:
        across = np.array([across_of[(b, a)] for a, b in zip(loop, [*loop[1:], loop[0]])])
        new.append(np.array(loop)[_least_bent(vertices[loop], across)])
    patches = np.vstack(new)
    area = float(areas_of(vertices, patches).sum())
    if area > MOST * (area + float(areas_of(vertices, kept).sum())):
        return None
    if wrong_edges(edges_of(np.vstack([kept, patches]), len(vertices))).any():
        return None
    return Patched(mask, patches, _cones(vertices, loops, patches))


def _beyond(vertices: Array, faces: Array, edges: Edges) -> dict[tuple[int, int], Array]:
    """Unit normal of the triangle on each open edge, by the ends of the edge as the triangle runs it."""
    is_open = edges.halves[edges.number] == 1
    face = edges.face[is_open]
    ends = zip(faces.ravel()[is_open].tolist(), np.roll(faces, -1, axis=1).ravel()[is_open].tolist())
    return dict(zip(ends, _unit(normals(vertices[faces[face]]))))


def _unit(vectors: Array) -> Array:
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-300))


def _cones(vertices: Array, loops: list[list[int]], patches: Array) -> float:
    """Volume under cones over the loops less that under the patches."""
    if not loops:
        return 0.0
    points, cones = [vertices], []
    for number, loop in enumerate(loops):
        points.append(vertices[loop].mean(axis=0, keepdims=True))
        cones.append(np.column_stack([loop, np.roll(loop, -1), np.full(len(loop), len(vertices) + number)]))
    both = np.vstack([*cones, patches[:, ::-1]])
    return volume_of(np.vstack(points), both)


def _without_fins(faces: Array, edges: Edges) -> Array:
    """Which triangles stand in no run of them that hangs on others by an edge of three or more and is open elsewhere."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    one, other, _ = pairs_of(edges)
    count, run = connected_components(coo_matrix((np.ones(len(one), bool), (one, other)), shape=(len(faces),) * 2), directed=False)
    halves = edges.halves[edges.number]
    hangs, is_open = np.zeros(count, bool), np.zeros(count, bool)
    hangs[run[edges.face[halves > 2]]] = True
    is_open[run[edges.face[halves == 1]]] = True
    return np.asarray(~(hangs & is_open)[run])


def _loops(vertices: Array, faces: Array, edges: Edges) -> list[list[int]] | None:
    """Open loops, each the way round that new triangles run it; a corner stands once in a loop. None where they do not come round."""
    open_half = edges.halves[edges.number] == 1
    start, end = faces.ravel()[open_half], np.roll(faces, -1, axis=1).ravel()[open_half]
    after: dict[int, list[int]] = {}
    for a, b in zip(end.tolist(), start.tolist()):
        after.setdefault(a, []).append(b)
    before: dict[int, int] = {}
    for b in start.tolist():
        before[b] = before.get(b, 0) + 1
    if any(len(outs) != before.get(a, 0) for a, outs in after.items()):
        return None
    normal: dict[int, Array] = {}
    crossed = {corner for corner, outs in after.items() if len(outs) > 1}
    if crossed:
        touching = np.flatnonzero(np.isin(faces, list(crossed)).any(axis=1))
        for face, vector in zip(faces[touching], normals(vertices[faces[touching]])):
            for corner in face.tolist():
                normal[corner] = normal.get(corner, np.zeros(3)) + vector
    loops: list[list[int]] = []
    while after:
        first = next(iter(after))
        walk, place = [first], {first: 0}
        while walk:
            here = walk[-1]
            outs = after.get(here)
            if not outs:
                return None
            chosen = outs[0] if len(outs) == 1 else _leftmost(vertices, walk[-2] if len(walk) > 1 else -1, here, outs, normal[here])
            outs.remove(chosen)
            if not outs:
                del after[here]
            if chosen in place:
                at = place[chosen]
                loop = walk[at:]
                if len(loop) < 3:
                    return None
                loops.append(loop)
                for corner in loop[1:]:
                    del place[corner]
                del walk[at + 1 :]
                if at == 0:
                    break
            else:
                place[chosen] = len(walk)
                walk.append(chosen)
    return loops


def _leftmost(vertices: Array, came: int, here: int, outs: list[int], normal: Array) -> int:
    """The next corner of the same hole where several meet: the first one met turning right from where the walk came."""
    if came < 0 or not np.linalg.norm(normal) > 0.0:
        return outs[0]
    flat = plane_of(normal)
    back = (vertices[came] - vertices[here]) @ flat
    ways = (vertices[outs] - vertices[here]) @ flat
    turn = (np.arctan2(back[1], back[0]) - np.arctan2(ways[:, 1], ways[:, 0])) % (2.0 * np.pi)
    turn[turn < 1e-9] = 2.0 * np.pi
    return outs[int(np.argmin(turn))]


def _flat_groups(vertices: Array, loops: list[list[int]]) -> tuple[list[list[list[int]]], list[list[int]]]:
    """Flat loops with the loops that lie in them and turn the other way; and the loops that are not flat."""
    from shapely import Polygon

    reach = FLAT * float(np.linalg.norm(np.ptp(vertices, axis=0)))
    planes: dict[tuple[int, ...], list[tuple[float, list[int]]]] = {}
    rest = []
    for loop in loops:
        points = vertices[loop]
        vector = normals(points[None])[0]
        size = float(np.linalg.norm(vector))
        unit = vector / max(size, 1e-300)
        height = points @ unit
        if size == 0.0 or np.ptp(height) > reach:
            rest.append(loop)
            continue
        sign = 1.0 if unit[int(np.argmax(np.abs(unit)))] > 0.0 else -1.0
        key = (*np.round(sign * unit * 1e3).astype(int).tolist(), round(sign * float(height.mean()) / (20.0 * reach)))
        planes.setdefault(key, []).append((size * sign, loop))
    groups: list[list[list[int]]] = []
    for own in planes.values():
        own.sort(key=lambda pair: -abs(pair[0]))
        flat = plane_of(np.asarray(normals(vertices[own[0][1]][None])[0]))
        shapes = [Polygon(vertices[loop] @ flat) for _, loop in own]
        outer: list[tuple[int, list[list[int]]]] = []
        for i, (size, loop) in enumerate(own):
            holders = [pair for pair in outer if own[pair[0]][0] * size < 0.0 and shapes[pair[0]].covers(shapes[i].representative_point())]
            if holders:
                holders[-1][1].append(loop)
            else:
                outer.append((i, [loop]))
        groups += [members for _, members in outer]
    return groups, rest


def _filled_flat(vertices: Array, loops: list[list[int]]) -> Array:
    """Triangles of a flat loop and of what lies in it."""
    import manifold3d

    flat = plane_of(normals(vertices[loops[0]][None])[0])
    made = np.asarray(manifold3d.triangulate([vertices[loop] @ flat for loop in loops], -1.0, False), np.int64)
    return np.concatenate([np.array(loop) for loop in loops])[made]


def _turn(one: Array, other: Array) -> Array:
    """Angle between unit normals."""
    return np.asarray(np.arccos(np.clip((one * other).sum(axis=-1), -1.0, 1.0)))


def _least_bent(points: Array, across: Array) -> Array:
    """Triangles (n - 2, 3) of a loop (n, 3) with the least sum of turn times length over its edges; ``across``: normals beyond its sides."""
    n = len(points)
    cost = np.zeros((n, n))
    normal = np.zeros((n, n, 3))
    apex = np.zeros((n, n), np.int64)
    normal[np.arange(n - 1), np.arange(1, n)] = across[: n - 1]
    side = np.linalg.norm(points[:, None] - points[None], axis=-1)
    for gap in range(2, n):
        for i in range(n - gap):
            j = i + gap
            m = np.arange(i + 1, j)
            vector = np.cross(points[m] - points[i], points[j] - points[i])
            size = np.linalg.norm(vector, axis=1)
            unit = vector / np.maximum(size, 1e-300)[:, None]
            bent = _turn(unit, normal[i, m]) * side[i, m] + _turn(unit, normal[m, j]) * side[m, j]
            if gap == n - 1:
                bent = bent + _turn(unit, across[n - 1]) * side[i, j]
            flat = size <= 1e-9 * np.maximum(side[i, j] * (side[i, m] + side[m, j]), 1e-300)
            bent = np.where(flat, np.pi * (side[i, m] + side[m, j] + side[i, j]), bent)
            total = cost[i, m] + cost[m, j] + bent
            best = int(np.argmin(total))
            cost[i, j], apex[i, j], normal[i, j] = total[best], m[best], unit[best]
    out, todo = [], [(0, n - 1)]
    while todo:
        a, b = todo.pop()
        if b - a < 2:
            continue
        middle = int(apex[a, b])
        out.append((a, middle, b))
        todo += [(a, middle), (middle, b)]
    return np.array(out)
