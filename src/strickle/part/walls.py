"""How thick the metal is behind the surface: a cone of inward rays from points spread over it."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from strickle.base import Array, BadInput

CONE = np.radians([0.0, 12.0, 24.0])  # rings of the cone: one ray along the normal, then RING on each further ring
RING = 5
SAMPLES = 20_000  # points over the surface, beside the one each face has
SHEET = 5e-5  # of the diagonal: rays start at 1e-5 of it inside, and measure nothing thinner than a few times that
MOST_RAYS = 1_500_000
SHARE = 0.05  # of the surface that may be thinner than the least wall


class Walls(NamedTuple):
    """Thickness of the part."""

    face: Array  # (m,) m, wall behind each face, NaN where no ray came back
    least: float  # m, SHARE of the surface is thinner at most
    median: float  # m
    least_at: Array  # (3,) m, where thin walls are densest
    thin_faces: tuple[int, ...]  # faces with a wall at most the least, the largest first


def walls(vertices: Array, faces: Array) -> Walls:
    """Walls of a closed outward mesh (n, 3) [m], (m, 3).

    From every point a bundle of rays goes inwards; each path is shortened by the cosine to the inward normal, so that a plate's
    wall reads the same on every ray, and the median of the bundle is taken, so that a slanted or rounded opposite face does not
    decide alone.
    """
    corners = vertices[faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    double = np.linalg.norm(cross, axis=1)
    normal = cross / np.maximum(double, 1e-300)[:, None]
    face, point, weight = _samples(corners, double / 2.0)
    wall = _cone(vertices, faces, face, point, normal)
    good = np.isfinite(wall)
    per_face = _medians(face[good], wall[good], len(faces))
    if not good.any() or float(np.median(wall[good])) < SHEET * float(np.linalg.norm(np.ptp(vertices, axis=0))):
        raise BadInput("the mesh has no metal between its faces", "Export the part again as a solid, not as a sheet")
    face, point, weight, wall = face[good], point[good], weight[good], wall[good]
    order = np.argsort(wall, kind="stable")
    share = np.cumsum(weight[order]) / weight.sum()
    least = float(wall[order[min(int(np.searchsorted(share, SHARE)), len(order) - 1)]])
    median = float(wall[order[min(int(np.searchsorted(share, 0.5)), len(order) - 1)]])
    thin = np.flatnonzero(per_face <= least)
    thin = thin[np.argsort(-double[thin], kind="stable")][:200]
    return Walls(per_face, least, median, _densest(point, weight, wall, least), tuple(int(i) for i in thin))


def _samples(corners: Array, area: Array) -> tuple[Array, Array, Array]:
    """Faces, points and weights [m2] of the samples: at least one on each face, more on large ones, evenly strewn."""
    share = area / area.sum()
    count = np.maximum(1, np.round(share * SAMPLES)).astype(np.int64)
    face = np.repeat(np.arange(len(area)), count)
    place = np.arange(len(face)) - np.repeat(np.cumsum(count) - count, count)
    # a rank-1 sequence (golden ratio of the plane), folded into the triangle; a lone point sits at the middle
    a = (0.5 + place * 0.7548776662466927) % 1.0
    b = (0.5 + place * 0.5698402909980532) % 1.0
    fold = a + b > 1.0
    a, b = np.where(fold, 1.0 - a, a), np.where(fold, 1.0 - b, b)
    alone = count[face] == 1
    a, b = np.where(alone, 1.0 / 3.0, a), np.where(alone, 1.0 / 3.0, b)
    own = corners[face]
    point = own[:, 0] + a[:, None] * (own[:, 1] - own[:, 0]) + b[:, None] * (own[:, 2] - own[:, 0])
    return face, point, area[face] / count[face]


def _cone(vertices: Array, faces: Array, face: Array, point: Array, normal: Array) -> Array:
    """Median over the cone of each sample [m], NaN where no ray came back."""
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2.0
    size = float(np.linalg.norm(np.ptp(vertices, axis=0)))
    scene = _scene((vertices - middle) / size, faces)
    inward = -normal[face]
    side, other = _frame(inward)
    start = (point - middle) / size + 1e-5 * inward
    rings = [(0.0, 0.0)] + [(tilt, 2.0 * np.pi * (k + 0.5 * i) / RING) for i, tilt in enumerate(CONE[1:]) for k in range(RING)]
    if len(point) * len(rings) > MOST_RAYS:
        rings = rings[:1] + rings[1 :: max(1, len(rings) * len(point) // MOST_RAYS)]
    paths = np.empty((len(rings), len(point)))
    for i, (tilt, turn) in enumerate(rings):
        way = np.cos(tilt) * inward + np.sin(tilt) * (np.cos(turn) * side + np.sin(turn) * other)
        far = scene.run(start.astype(np.float32), way.astype(np.float32), query="DISTANCE").astype(np.float64)
        paths[i] = np.where(far < 10.0, far * np.cos(tilt) + 1e-5, np.nan)
    missed = np.isnan(paths).all(axis=0)
    paths[0, missed] = np.inf
    wall = np.nanmedian(paths, axis=0) * size
    return np.where(missed, np.nan, wall)


def _scene(vertices: Array, faces: Array) -> Any:
    from embreex import rtcore_scene
    from embreex.mesh_construction import TriangleMesh

    scene = rtcore_scene.EmbreeScene()
    TriangleMesh(scene, np.ascontiguousarray(vertices[faces], dtype=np.float32))
    return scene


def _frame(axis: Array) -> tuple[Array, Array]:
    """Two unit vectors across each axis."""
    across = np.where(np.abs(axis[:, :1]) < 0.9, np.array([[1.0, 0.0, 0.0]]), np.array([[0.0, 1.0, 0.0]]))
    side = np.cross(axis, across)
    side /= np.maximum(np.linalg.norm(side, axis=1), 1e-300)[:, None]
    return side, np.cross(axis, side)


def _medians(face: Array, wall: Array, count: int) -> Array:
    """Median wall of each face, NaN for a face without samples."""
    order = np.lexsort((wall, face))
    face, wall = face[order], wall[order]
    here, first, number = np.unique(face, return_index=True, return_counts=True)
    out = np.full(count, np.nan)
    out[here] = (wall[first + (number - 1) // 2] + wall[first + number // 2]) / 2.0
    return out


def _densest(point: Array, weight: Array, wall: Array, least: float) -> Array:
    """Among points with a wall at most ``least`` the one with most thin surface round it."""
    from scipy.spatial import cKDTree

    thin = np.flatnonzero(wall <= least)
    if len(thin) > 2000:
        thin = thin[:: len(thin) // 2000 + 1]
    tree = cKDTree(point[thin])
    round_it = tree.query_ball_point(point[thin], 2.0 * least)
    density = np.array([weight[thin[near]].sum() for near in round_it])
    return np.array(point[thin[int(np.argmax(density))]])
