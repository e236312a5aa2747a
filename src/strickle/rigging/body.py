"""The part made ready for placing: solid, height maps, distances inside the metal, outlines in plan. Millimetres of the room's frame."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from scipy import ndimage, sparse
from scipy.sparse import csgraph
from scipy.spatial import cKDTree

from strickle.base import Array
from strickle.kernels.raster import columns
from strickle.rigging.solids import Solid

Plan = Any  # shapely geometry: an untyped library

MOST_WAYS = 400  # rows of ways that are kept, some 50 kB each
FINE = 0.02  # mm: finer steps of an outline are left out where only what it covers is asked
NEAR = 0.5  # mm under a level that counts as standing over it


@dataclass(slots=True, eq=False)
class Body:
    """What the searches ask of the part."""

    solid: Solid
    light: Solid
    low: Array
    high: Array
    cell: float
    origin: Array
    metal: Array
    depth: Array
    fine: float
    top: Array
    bottom: Array
    outline: Plan
    marked: Any
    closed: Plan = field(default_factory=shapely.Polygon)  # ground beside the part that no rigging may lie on
    cores: tuple[Array, ...] = ()  # corners (n, 3) of each
    kept: dict[tuple[float, ...], Plan] = field(default_factory=dict)
    kept_edges: dict[float, Array] = field(default_factory=dict)
    kept_islands: dict[int, Array] = field(default_factory=dict)
    kept_paths: list[Paths] = field(default_factory=list)

    @property
    def extent(self) -> float:
        """Longest side in plan [mm]."""
        return float(max(self.high[0] - self.low[0], self.high[1] - self.low[1]))

    def cores_over(self, level: float) -> Plan:
        """Plan of what stands of cores over a level [mm], each within the hull of its corners there."""
        over = [core[core[:, 2] > level - NEAR][:, :2] for core in self.cores]
        return shapely.unary_union([shapely.MultiPoint(some).convex_hull for some in over if len(some)])

    def index(self, points: Array) -> Array:
        """Voxel numbers (..., 3) of points, held inside the grid."""
        found = np.floor((points - self.origin) / self.cell).astype(int)
        return np.asarray(np.clip(found, 0, np.array(self.metal.shape) - 1))

    def thick(self, points: Array) -> Array:
        """Distance to the skin [mm] at points (n, 3) inside the metal, 0 outside."""
        i = self.index(points)
        return np.asarray(self.depth[i[:, 0], i[:, 1], i[:, 2]])

    def top_at(self, x: Array, y: Array) -> Array:
        """Highest metal [mm] over plan points; -inf where there is none."""
        return self._map(self.top, x, y)

    def bottom_at(self, x: Array, y: Array) -> Array:
        """Lowest metal [mm] over plan points; inf where there is none."""
        return self._map(self.bottom, x, y, np.inf)

    def _map(self, field: Array, x: Array, y: Array, none: float = -np.inf) -> Array:
        i = np.floor((np.asarray(x) - self.origin[0]) / self.fine).astype(int)
        j = np.floor((np.asarray(y) - self.origin[1]) / self.fine).astype(int)
        inside = (i >= 0) & (j >= 0) & (i < field.shape[0]) & (j < field.shape[1])
        return np.asarray(np.where(inside, field[np.clip(i, 0, field.shape[0] - 1), np.clip(j, 0, field.shape[1] - 1)], none))

    def is_marked(self, points: Array, within: float = 1.2) -> bool:
        """Whether any of the points (n, 3) lies on a marked face."""
        if self.marked is None:
            return False
        return bool((self.marked.query(np.atleast_2d(points), distance_upper_bound=within)[0] < within).any())

    def section(self, z: float) -> Plan:
        """Section at a height as plan polygons."""
        # the height as it is: rounded, it could fall on a flat face, or on whichever of two near ones was asked for first
        key = (float(z),)
        if key not in self.kept:
            self.kept[key] = plan_of(self.light.slice(z))
        return self.kept[key]

    def edges(self, z: float) -> Array:
        """Edges (n, 4) x0 y0 x1 y1 of the section at a height."""
        key = float(z)
        if key not in self.kept_edges:
            self.kept_edges[key] = segments(self.section(z))
        return self.kept_edges[key]

    def islands(self, layer: int) -> Array:
        """Numbers from 1 of the connected pieces of one layer of voxels (nx, ny), 0 outside the metal."""
        if layer not in self.kept_islands:
            self.kept_islands[layer] = ndimage.label(self.metal[:, :, layer])[0]
        return self.kept_islands[layer]

    @property
    def paths(self) -> Paths:
        """Ways through the metal."""
        if not self.kept_paths:
            self.kept_paths.append(Paths(self))
        return self.kept_paths[0]

    def shadow(self, low: float, high: float) -> Plan:
        """What of the part between two heights covers in plan."""
        key = (float(low), float(high))
        if key not in self.kept:
            cut = self.light.trim_by_plane((0.0, 0.0, 1.0), low).trim_by_plane((0.0, 0.0, -1.0), -high)
            self.kept[key] = shapely.Polygon() if cut.is_empty() else plan_of(cut.project().simplify(FINE))
        return self.kept[key]


def plan_of(section: Any) -> Plan:
    """A cross-section as shapely polygons, valid."""
    out = []
    for one in section.decompose():
        rings = sorted((r for r in one.to_polygons() if len(r) > 2), key=lambda r: -shapely.Polygon(r).area)
        if rings:
            out.append(shapely.Polygon(rings[0], rings[1:]).buffer(0))
    return shapely.union_all(out) if out else shapely.Polygon()


def segments(plan: Plan) -> Array:
    """Edges (n, 4) x0 y0 x1 y1 of a plan."""
    out = [np.empty((0, 4))]
    for polygon in shapely.get_parts(plan):
        if polygon.geom_type != "Polygon":
            continue
        for ring in (polygon.exterior, *polygon.interiors):
            xy = np.asarray(ring.coords)[:, :2]
            out.append(np.hstack([xy[:-1], xy[1:]]))
    return np.vstack(out)


def prepare(solid: Solid, marked: Array) -> Body:
    """Maps and distances of the part. ``marked`` (n, 3) are points on faces that stay clean."""
    light = solid.simplify(0.01)
    got = light.to_mesh64()
    corners, faces = np.asarray(got.vert_properties[:, :3]), np.asarray(got.tri_verts, dtype=np.int64)
    low, high = corners.min(axis=0), corners.max(axis=0)
    cell = float(np.clip((np.prod(high - low) / 150_000) ** (1 / 3), 0.5, 3.0))
    origin = low - 2.0 * cell
    shape = tuple(int(n) for n in np.ceil((high - low) / cell) + 4)
    metal = _voxels(corners, faces, origin, cell, shape)
    # one cell of air lies round the grid, so the distance is to the skin; half a cell is taken off for it
    depth = np.maximum(ndimage.distance_transform_edt(metal) - 0.5, 0.0) * cell * metal
    fine = float(np.clip(max(high[0] - low[0], high[1] - low[1]) / 300, 0.4, 1.0))
    top, bottom = _maps(corners, faces, origin, fine, high)
    return Body(
        solid=solid,
        light=light,
        low=low,
        high=high,
        cell=cell,
        origin=origin,
        metal=metal,
        depth=depth,
        fine=fine,
        top=top,
        bottom=bottom,
        outline=plan_of(light.project()),
        marked=cKDTree(marked) if len(marked) else None,
    )


def _voxels(corners: Array, faces: Array, origin: Array, cell: float, shape: tuple[int, ...]) -> Array:
    start, z, sign, _ = columns(corners, faces, origin, cell, shape[0], shape[1])
    steps = np.zeros((shape[0] * shape[1], shape[2] + 1), dtype=np.int16)
    column = np.repeat(np.arange(len(start) - 1), np.diff(start))
    layer = np.clip(np.ceil((z - origin[2]) / cell - 0.5).astype(int), 0, shape[2])
    np.add.at(steps, (column, layer), sign)
    return np.asarray(np.cumsum(steps[:, :-1], axis=1) > 0).reshape(shape)


def _maps(corners: Array, faces: Array, origin: Array, fine: float, high: Array) -> tuple[Array, Array]:
    nx, ny = (int(np.ceil((high[a] - origin[a]) / fine)) + 4 for a in (0, 1))
    start, z, _, _ = columns(corners, faces, origin, fine, nx, ny)
    top, bottom = np.full(nx * ny, -np.inf), np.full(nx * ny, np.inf)
    filled = np.flatnonzero(np.diff(start))
    top[filled], bottom[filled] = z[start[filled + 1] - 1], z[start[filled]]
    return top.reshape(nx, ny), bottom.reshape(nx, ny)


class Paths:
    """Ways through the metal on a coarse grid, for how far the metal runs from an ingate."""

    def __init__(self, body: Body) -> None:
        skip = max(1, round((body.metal.sum() / 6000) ** (1 / 3)))
        grown = ndimage.maximum_filter(body.metal, size=skip) if skip > 1 else body.metal
        self.coarse = np.ascontiguousarray(grown[skip // 2 :: skip, skip // 2 :: skip, skip // 2 :: skip])
        self.step = body.cell * skip
        self.origin = body.origin + body.cell * (skip // 2 + 0.5)
        number = np.full(self.coarse.shape, -1)
        cells = np.argwhere(self.coarse)
        number[tuple(cells.T)] = np.arange(len(cells))
        self.points = self.origin + cells * self.step
        rows, cols, lengths = [], [], []
        n = self.coarse.shape
        for offset in np.argwhere(np.ones((3, 3, 3))) - 1:
            if tuple(offset) <= (0, 0, 0):
                continue
            to = cells + offset
            inside = np.all((to >= 0) & (to < n), axis=1)
            target = np.full(len(cells), -1)
            target[inside] = number[tuple(to[inside].T)]
            good = target >= 0
            rows.append(np.flatnonzero(good))
            cols.append(target[good])
            lengths.append(np.full(int(good.sum()), self.step * float(np.linalg.norm(offset))))
        size = len(cells)
        self.kept: dict[int, Array] = {}
        self.graph = sparse.coo_matrix((np.concatenate(lengths), (np.concatenate(rows), np.concatenate(cols))), shape=(size, size)).tocsr()

    def distances(self, places: Array) -> Array:
        """Way [mm] from each place (k, 3) to every coarse metal cell: (k, cells), inf where there is none."""
        near = [int(n) for n in np.argmin(np.linalg.norm(self.points[None] - places[:, None], axis=2), axis=1)]
        if fresh := sorted(set(near) - set(self.kept)):
            if len(self.kept) > MOST_WAYS:
                self.kept.clear()
                fresh = sorted(set(near))
            self.kept.update(zip(fresh, csgraph.dijkstra(self.graph, directed=False, indices=fresh), strict=True))
        return np.array([self.kept[n] for n in near])
