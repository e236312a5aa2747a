"""What stands out finely on a casting, and its edges: width and height of strokes and ribs, sharpness of corners, by rays from the surface."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from strickle.base import Array

SAMPLES = 20_000
"""Points over the surface, half of them by area and half by faces, for letters are many small ones. No mesh gets more."""
WIDEST = 6e-3
"""m. As wide as this or wider, a mouth opens under little more than the metal's own weight: about the capillary length of clean aluminium."""
ALIKE = 1e-4
"""Share by which two widths found by rays in single precision differ for no reason; one that near WIDEST counts as that wide on every machine."""
TURNS = 12
"""Directions along the surface in which the nearest side is looked for; the side found is then measured along its own normal."""
UNDER = 5e-5
"""m under the top at which sides are looked for; what stands out less than twice that is not seen."""
STEPS = 5e-5 * 2.0 ** np.arange(7)
"""m beyond a side at which the ground is sounded: a side that leans, or ends in a fillet, is followed so far."""
FEW = 10
"""Fewer places than this are chance: a corner that looks like a stroke."""
STEEP, LEVEL, STANDS, FACES = 0.5, 0.9, 1.15, 0.5
"""Least slope of a side; share of the depth from which the ground is reached; metal behind the top over the height: what stands has a foot; how
squarely two sides face the line between them, as a cosine."""
SHARP_TURN, ROUND_TURN = 0.7, 0.17
"""rad between two faces: from the first on an edge is drawn sharp, from the second on it is one facet of a round one."""
EDGES = 4_000
"""Points along edges, spread evenly over their length."""


class Strokes(NamedTuple):
    """Places on the tops of what stands out."""

    at: Array  # (n, 3) m
    area: Array  # (n,) m2 of top that the place stands for
    width: Array  # (n,) m, half way down
    height: Array  # (n,) m over the nearer ground beside it


class Edges(NamedTuple):
    """Places along convex edges."""

    at: Array  # (k, 3) m
    length: Array  # (k,) m that the place stands for
    drawn: Array  # (k,) m, radius drawn; 0 for a sharp edge


class Rays:
    """Rays in a mesh of vertices (n, 3) [m] and faces (m, 3)."""

    def __init__(self, vertices: Array, faces: Array) -> None:
        from embreex import rtcore_scene
        from embreex.mesh_construction import TriangleMesh

        self.middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2.0
        self.size = float(np.linalg.norm(np.ptp(vertices, axis=0)))
        self.scene: Any = rtcore_scene.EmbreeScene()
        TriangleMesh(self.scene, np.ascontiguousarray(((vertices - self.middle) / self.size)[faces], dtype=np.float32))

    def _run(self, start: Array, way: Array, query: str) -> Array:
        begin = np.ascontiguousarray((start - self.middle) / self.size, dtype=np.float32)
        return np.asarray(self.scene.run(begin, np.ascontiguousarray(way, dtype=np.float32), query=query))

    def far(self, start: Array, way: Array) -> Array:
        """Distance [m] to the surface along unit vectors, infinite where there is none."""
        found = self._run(start, way, "DISTANCE").astype(np.float64)
        return np.where(found < 10.0, found * self.size, np.inf)

    def face(self, start: Array, way: Array) -> Array:
        """Number of the face met, -1 where there is none."""
        return self._run(start, way, "INTERSECT").astype(np.int64)


def normals(vertices: Array, faces: Array) -> tuple[Array, Array]:
    """Unit normal and area [m2] of each face."""
    corners = vertices[faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    double = np.linalg.norm(cross, axis=1)
    return cross / np.maximum(double, 1e-300)[:, None], double / 2.0


def strokes(vertices: Array, faces: Array, in_sand: Array) -> Strokes:
    """What stands out narrower than WIDEST on the faces (m,) marked ``in_sand`` of a closed outward mesh [m].

    From a point on a top rays go along the surface, a hair inside, to the nearest side and across; then the ground beyond each side is
    sounded. A place counts where a side falls steeply to a ground that is level, and where there is metal behind it: a rounded corner, a dome
    and the rim of a plate do not.
    """
    normal, area = normals(vertices, faces)
    face, at, weight = _spread(vertices[faces], np.where(in_sand, area, 0.0))
    none = Strokes(np.empty((0, 3)), np.empty(0), np.empty(0), np.empty(0))
    if not len(face):
        return none
    rays, up = Rays(vertices, faces), normal[face]
    start = at - UNDER * up
    side, other = _frame(up)
    turns = np.arange(TURNS) * (2.0 * np.pi / TURNS)
    reach = np.stack([rays.far(start, np.cos(t) * side + np.sin(t) * other) for t in turns])
    nearest = reach.argmin(axis=0)
    keep = np.flatnonzero((reach.min(axis=0) < 0.6 * WIDEST) & (rays.far(at - 0.1 * UNDER * up, -up) > 2.0 * UNDER))
    if not len(keep):
        return none
    at, up, weight, start, side, other = at[keep], up[keep], weight[keep], start[keep], side[keep], other[keep]
    turn = turns[nearest[keep]][:, None]
    way = np.cos(turn) * side + np.sin(turn) * other
    way = _level(normal[rays.face(start, way)], up, way)  # square to the side that was met
    along = np.cross(up, way)
    one, two = _chord(rays, normal, start, way), _chord(rays, normal, start, along)
    axis, width = np.where((two < one)[:, None], along, way), np.minimum(one, two)
    height = _height(_ground(rays, at, up, axis, rays.far(start, axis)), _ground(rays, at, up, -axis, rays.far(start, -axis)))
    behind = rays.far(at - 0.1 * UNDER * up, -up)
    keep = np.flatnonzero((width < (1.0 - ALIKE) * WIDEST) & np.isfinite(height) & (height > 2.0 * UNDER) & (behind > STANDS * height))
    at, up, axis, weight, height = at[keep], up[keep], axis[keep], weight[keep], height[keep]
    middle = at - 0.5 * height[:, None] * up
    width = rays.far(middle, axis) + rays.far(middle, -axis)
    keep = np.flatnonzero(width < (1.0 - ALIKE) * WIDEST)
    if len(keep) < FEW:
        return none
    return Strokes(at[keep], weight[keep], width[keep], height[keep])


def _chord(rays: Rays, normal: Array, start: Array, way: Array) -> Array:
    """Length [m] of the line through ``start`` along ``way`` between two sides that face it; infinite where one does not, as at a disc's rim."""
    fore, back = rays.face(start, way), rays.face(start, -way)
    facing = (np.sum(normal[fore] * way, axis=1) > FACES) & (np.sum(normal[back] * way, axis=1) < -FACES) & (fore >= 0) & (back >= 0)
    return np.where(facing, rays.far(start, way) + rays.far(start, -way), np.inf)


def _height(one: tuple[Array, Array], two: tuple[Array, Array]) -> Array:
    """The nearer of two grounds; that of a gap too narrow to be sounded well only where there is no other, and then the deeper."""
    (a, gap_a), (b, gap_b) = one, two
    open_ground = np.minimum(np.where(gap_a, np.inf, a), np.where(gap_b, np.inf, b))
    deepest = np.maximum(np.where(np.isfinite(a), a, -np.inf), np.where(np.isfinite(b), b, -np.inf))
    return np.where(np.isfinite(open_ground), open_ground, np.where(deepest > 0.0, deepest, np.inf))


def _ground(rays: Rays, at: Array, up: Array, way: Array, side: Array) -> tuple[Array, Array]:
    """Depth [m] under the top of the ground beyond the side that lies ``side`` [m] along ``way``, and whether a gap between two things ended it.

    Infinite where it does not level out. Sounding stops where something else rises. Ground that falls away again later, as past the rim of a
    plate, counts at its deepest.
    """
    clear = rays.far(at + UNDER * up, way)
    deep = np.zeros(len(at))
    run, last = np.zeros(len(at)), np.zeros(len(at))
    going = np.isfinite(side)
    base = np.where(going, side, 0.0)
    stopped = np.zeros(len(at), bool)
    for step in STEPS:
        down = rays.far(at + UNDER * up + (base + step)[:, None] * way, -up) - UNDER
        rises = (base + step >= clear) | (down < 0.5 * deep)
        stopped |= going & rises
        going = going & ~rises
        deeper = going & (down > deep / LEVEL)
        run = np.where(deeper, step, run)
        deep = np.where(going & (down > deep), down, deep)
        last = np.where(going, step, last)
    level = (last > run) | stopped
    good = np.isfinite(side) & level & np.isfinite(deep) & (deep >= STEEP * run)
    return np.where(good, deep, np.inf), stopped


def _level(wall: Array, up: Array, instead: Array) -> Array:
    """The walls' normals laid into the planes square to ``up``, unit length; ``instead`` where a wall has none there."""
    flat = wall - np.sum(wall * up, axis=1, keepdims=True) * up
    size = np.linalg.norm(flat, axis=1, keepdims=True)
    return np.where(size > 0.2, flat / np.maximum(size, 1e-12), instead)


def _spread(corners: Array, area: Array) -> tuple[Array, Array, Array]:
    """Faces, points and the area [m2] each stands for: evenly, one after another along the faces in their order."""
    whole, used = float(area.sum()), area > 0.0
    if not whole > 0.0:
        return np.empty(0, np.int64), np.empty((0, 3)), np.empty(0)
    share = 0.5 * area / whole + 0.5 * used / np.count_nonzero(used)
    total = np.cumsum(share)
    face = np.searchsorted(total, (np.arange(SAMPLES) + 0.5) / SAMPLES * total[-1])
    place = np.arange(SAMPLES)
    a, b = (0.5 + place * 0.7548776662466927) % 1.0, (0.5 + place * 0.5698402909980532) % 1.0
    fold = a + b > 1.0
    a, b = np.where(fold, 1.0 - a, a), np.where(fold, 1.0 - b, b)
    own = corners[face]
    at = own[:, 0] + a[:, None] * (own[:, 1] - own[:, 0]) + b[:, None] * (own[:, 2] - own[:, 0])
    return face, at, area[face] / (SAMPLES * share[face] / total[-1])


def _frame(axis: Array) -> tuple[Array, Array]:
    """Two unit vectors across each axis."""
    across = np.where(np.abs(axis[:, :1]) < 0.9, np.array([[1.0, 0.0, 0.0]]), np.array([[0.0, 1.0, 0.0]]))
    side = np.cross(axis, across)
    side /= np.maximum(np.linalg.norm(side, axis=1), 1e-300)[:, None]
    return side, np.cross(axis, side)


def edges(vertices: Array, faces: Array, in_sand: Array) -> Edges:
    """Places along the convex edges between two faces that both lie ``in_sand``; a round edge is known by the narrow facets along it."""
    normal, area = normals(vertices, faces)
    half = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1).reshape(-1, 2), axis=1)
    order = np.argsort(half[:, 0] * np.int64(len(vertices)) + half[:, 1], kind="stable")
    same = np.flatnonzero((half[order[:-1]] == half[order[1:]]).all(axis=1))
    one, two, ends = order[same] // 3, order[same + 1] // 3, half[order[same]]
    turn = np.arccos(np.clip(np.sum(normal[one] * normal[two], axis=1), -1.0, 1.0))
    apex = vertices[faces[two]].mean(axis=1) - vertices[ends[:, 0]]
    length = np.linalg.norm(vertices[ends[:, 1]] - vertices[ends[:, 0]], axis=1)
    keep = np.flatnonzero((turn > ROUND_TURN) & (np.sum(apex * normal[one], axis=1) < 0.0) & in_sand[one] & in_sand[two] & (length > 0.0))
    one, two, ends, turn, length = one[keep], two[keep], ends[keep], turn[keep], length[keep]
    drawn = np.where(turn >= SHARP_TURN, 0.0, (area[one] + area[two]) / (length * np.maximum(turn, 1e-9)))
    if not len(keep):
        return Edges(np.empty((0, 3)), np.empty(0), np.empty(0))
    total = np.cumsum(length)
    count = min(EDGES, max(len(keep), 200))
    mark = (np.arange(count) + 0.5) / count * total[-1]
    edge = np.searchsorted(total, mark)
    along = ((mark - total[edge] + length[edge]) / length[edge])[:, None]
    at = (1.0 - along) * vertices[ends[edge, 0]] + along * vertices[ends[edge, 1]]
    return Edges(at, np.full(count, total[-1] / count), drawn[edge])
