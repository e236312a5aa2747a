"""Slices of the very solids that are cast: through the mould upright, and flat at the parting."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np

from strickle.base import Array, Mesh
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.rigging import Rigging
from strickle.sound import Sound

LEAST = 2e-6  # a slice smaller than this [m2] is not worth a label
KEPT = 60  # slices of the last solids, which are asked for again at every size of drawing
ABOVE = 2e-4  # a hair off the parting, so that faces lying in it belong to one side


@dataclass(frozen=True, slots=True)
class Plane:
    """An upright plane: a point on it, its level direction (to the right as drawn) and what it was laid through."""

    at: Array
    along: Array
    through: tuple[str, ...]

    @property
    def toward(self) -> Array:
        """Level direction toward the reader."""
        return np.array([self.along[1], -self.along[0], 0.0])

    def flat(self, points: Array) -> Array:
        """Points (n, 3) as (along, height) from ``at`` [m]."""
        points = np.atleast_2d(points)
        return np.column_stack([(points[:, :2] - self.at[:2]) @ self.along[:2], points[:, 2]])


def solid(mesh: Mesh) -> Any:
    """A manifold3d solid of a mesh, None where the mesh is not one."""
    import manifold3d as m3

    made = m3.Manifold(m3.Mesh64(np.array(mesh.vertices, dtype=np.float64), np.array(mesh.faces, dtype=np.uint64)))
    return made if made.status() == m3.Error.NoError and not made.is_empty() else None


def _shape(section: Any) -> Any:
    """Shapely polygons of a manifold3d cross section: of each of its pieces the ring that goes round metal, and its holes."""
    from shapely.geometry import LinearRing, Polygon
    from shapely.ops import unary_union

    shapes = []
    for piece in section.decompose():
        rings = [LinearRing(ring) for ring in piece.to_polygons() if len(ring) >= 3]
        holes = [ring for ring in rings if not ring.is_ccw]
        shapes += [Polygon(ring, holes) for ring in rings if ring.is_ccw]
    return unary_union([shape if shape.is_valid else shape.buffer(0) for shape in shapes])


def upright(body: Any, plane: Plane) -> Any:
    """The slice of a solid by an upright plane, shapely, in (along, height) metres."""
    from shapely.geometry import Polygon

    if body is None:
        return Polygon()
    rows = np.array([plane.along, [0.0, 0.0, 1.0], plane.toward])
    frame = np.column_stack([rows, -rows @ np.array([plane.at[0], plane.at[1], 0.0])])
    return _shape(body.transform(frame).slice(0.0))


@functools.lru_cache(maxsize=KEPT)
def level(body: Any, height: float) -> Any:
    """The slice of a solid at a height, shapely, x and y in metres."""
    from shapely.geometry import Polygon

    return Polygon() if body is None else _shape(body.slice(height))


def at_parting(body: Any) -> Any:
    """What a solid opens in the parting, from just above and just below together."""
    return level(body, ABOVE).union(level(body, -ABOVE))


@functools.lru_cache(maxsize=KEPT)
def seen_from_above(body: Any) -> Any:
    """Outline of a solid from above, shapely."""
    from shapely.geometry import Polygon

    return Polygon() if body is None else _shape(body.project())


def half(body: Any, plane: Plane) -> Mesh | None:
    """The solid without its half toward the reader, as a mesh."""
    if body is None:
        return None
    away = -plane.toward
    kept = body.trim_by_plane(tuple(away), float(away @ np.array([plane.at[0], plane.at[1], 0.0])))
    if kept.is_empty():
        return None
    mesh = kept.to_mesh64()
    return Mesh(vertices=np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3], faces=np.asarray(mesh.tri_verts, dtype=np.int64))


def _late(part: Part | None, pattern: Pattern | None, sound: Sound | None) -> Array | None:
    if sound is not None:
        return np.asarray(sound.last_to_freeze.at, dtype=float)
    if part is not None and pattern is not None and part.hot_spots:
        spot: Array = pattern.scale * (pattern.turn @ part.hot_spots[0].at) + pattern.shift
        return spot
    return None


def informative(part: Part | None, pattern: Pattern | None, rigging: Rigging | None, sound: Sound | None, middle: Array) -> Plane:
    """The upright plane that cuts the most of what matters.

    Through the sprue's axis where there is one, turned to whichever of riser, last place to freeze, ingate or part's middle lets it cut
    most: the largest core counts 4, the last place 3, the worst riser 3, other risers 2, other cores 1.5, an ingate 1.
    """
    wanted: list[tuple[str, Array, float, float]] = []
    late = _late(part, pattern, sound)
    if late is not None:
        wanted.append(("last place to freeze", late, 0.002, 3.0))
    for number, core in enumerate(pattern.cores if pattern is not None else ()):  # the largest first
        wanted.append((core.name, np.asarray(core.at), 0.3 * core.width, 1.5 if number else 4.0))
    if rigging is not None:
        worst = sound.necks[0].riser if sound is not None and sound.necks else ""
        wanted += [(r.name, np.asarray(r.at), 0.2 * r.diameter, 3.0 if r.name == worst else 2.0) for r in rigging.risers]
        wanted += [(g.name, np.asarray(g.at), 0.35 * g.width, 1.0) for g in rigging.ingates]
    sprue = rigging is not None and bool(np.isfinite(rigging.sprue.at).all())  # an open face has none
    start = np.array([*rigging.sprue.at, 0.0]) if rigging is not None and sprue else (late if late is not None else middle)
    aims = [w[1] for w in wanted] + [middle, start + np.array([1.0, 0.0, 0.0]), start + np.array([0.0, 1.0, 0.0])]
    best: tuple[float, Plane] | None = None
    for aim in aims:
        way = np.array([aim[0] - start[0], aim[1] - start[1], 0.0])
        if np.hypot(way[0], way[1]) < 5e-3:
            continue
        way /= np.linalg.norm(way)
        off = [(name, abs((p[0] - start[0]) * way[1] - (p[1] - start[1]) * way[0]), reach, worth) for name, p, reach, worth in wanted]
        cut = tuple(name for name, far, reach, _ in off if far <= max(reach, 1e-4))
        score = sum(worth for _, far, reach, worth in off if far <= max(reach, 1e-4)) + 1e-3 * float(max(abs(way[0]), abs(way[1])) > 0.9999)
        if best is None or score > best[0] + 1e-9:
            best = score, Plane(start, way, (("sprue",) if sprue else ()) + cut)
    assert best is not None  # the two axes always give a plane
    plane = best[1]
    if rigging is not None:  # look from the side that leaves most of the casting to be seen behind the cut
        bulk = (rigging.casting.vertices.min(axis=0) + rigging.casting.vertices.max(axis=0)) / 2
        if (bulk - plane.at) @ plane.toward > 1e-4:
            plane = Plane(plane.at, -plane.along, plane.through)
    return plane
