"""The surface of a part as facets: how neighbouring triangles bend, and flats and round walls grown out of them.

Millimetres. A bend is positive where the surface is hollow and the metal lies outside it, as on the wall of a hole.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from strickle.base import Array
from strickle.pattern.directions import basis

EVEN = np.radians(0.3)  # neighbours that bend less lie in one facet
ROUND = np.radians(46.0)  # neighbours that bend more are no round wall: eight facets go round at least
ALIKE = np.cos(np.radians(1.5))  # edges between the facets of a round wall run along its axis within this
TURN = np.radians(345.0)  # what the facets of a round wall go round at least
THIN = 1e-3  # mm, height under which a triangle's own normal tells nothing
ON_PLANE = 0.02  # mm that the corners of a flat lie off its plane at most
LEANS = np.cos(np.radians(1.0))  # and its triangles lean no more
ON_ROUND = (0.02, 0.005)  # mm, and share of the radius, that the corners of a round wall lie off it at most
UPRIGHT = np.sin(np.radians(2.0))  # triangles of a round wall lean no more from its axis
SMOOTH = np.radians(20.0)  # neighbours that bend less go on as one curved surface


class Facets(NamedTuple):
    """A closed mesh with its edges."""

    vertices: Array  # (n, 3)
    faces: Array  # (m, 3)
    normals: Array  # (m, 3)
    areas: Array  # (m,)
    pairs: Array  # (e, 2) triangles on both sides of an edge
    ends: Array  # (e, 2) its corners, as the first triangle runs
    bend: Array  # (e,) rad
    facet: Array  # (m,) number of the flat facet each triangle lies in


class Round(NamedTuple):
    """A wall that is round all the way about its axis."""

    axis: Array  # (3,)
    foot: Array  # (3,) a point of the axis; heights are along the axis from there
    radius: float
    low: float
    high: float
    depth: float  # of the wall on average: less than its reach where an end is slanted
    faces: Array  # triangles of the wall


def facets_of(vertices: Array, faces: Array) -> Facets:
    """Edges, bends and facets of a closed mesh."""
    vertices, faces = np.asarray(vertices, dtype=float), np.asarray(faces, dtype=np.int64)
    pairs, ends = _edges(faces, len(vertices))
    normals, areas = _normals(vertices, faces, pairs)
    along = vertices[ends[:, 1]] - vertices[ends[:, 0]]
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-300)[:, None]
    one, other = normals[pairs[:, 0]], normals[pairs[:, 1]]
    bend = np.arctan2(-np.einsum("ij,ij->i", np.cross(one, other), along), np.einsum("ij,ij->i", one, other))
    even = np.abs(bend) < EVEN
    return Facets(vertices, faces, normals, areas, pairs, ends, bend, labels(pairs[even], len(faces)))


def labels(pairs: Array, count: int) -> Array:
    """Number of the group each of ``count`` things is in, where ``pairs`` (k, 2) hang together."""
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1])


def _edges(faces: Array, count: int) -> tuple[Array, Array]:
    """Triangles (e, 2) on both sides of each edge that two share, and its corners (e, 2) as the first runs."""
    runs = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    owner = np.tile(np.arange(len(faces)), 3)
    key = runs.min(axis=1) * count + runs.max(axis=1)
    order = np.argsort(key, kind="stable")
    sorted_ = key[order]
    first = np.concatenate([[True], sorted_[1:] != sorted_[:-1]])
    start = np.flatnonzero(first)
    twice = start[np.diff(np.append(start, len(key))) == 2]
    return np.stack([owner[order[twice]], owner[order[twice + 1]]], axis=1), runs[order[twice]]


def _normals(vertices: Array, faces: Array, pairs: Array) -> tuple[Array, Array]:
    """Unit normals and areas; a sliver takes the normal of its largest neighbour."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    twice = np.linalg.norm(cross, axis=1)
    normals = cross / np.maximum(twice, 1e-300)[:, None]
    longest = np.sqrt(np.max([((p - q) ** 2).sum(axis=1) for p, q in ((a, b), (b, c), (c, a))], axis=0))
    thin = twice < THIN * longest
    if thin.any():
        both = np.concatenate([pairs, pairs[:, ::-1]])
        both = both[thin[both[:, 0]] & ~thin[both[:, 1]]]
        both = both[np.argsort(twice[both[:, 1]], kind="stable")]
        normals[both[:, 0]] = normals[both[:, 1]]  # the largest is written last
    return normals, twice / 2


def rounds(mesh: Facets, hollow: bool = True) -> list[Round]:
    """Every round wall: of holes where ``hollow``, of bosses where not.

    A round wall is a ring of flat strips that run along its axis: neighbours bend the same way by up to 46 degrees and share edges that are
    parallel within 1.5, they go round by 345 degrees or more, and all corners lie within 0.02 mm or half a per cent of the radius.
    """
    bend = mesh.bend if hollow else -mesh.bend
    bent = np.flatnonzero((bend >= EVEN) & (bend <= ROUND))
    if bent.size < 6:
        return []
    way = _folded(mesh.vertices[mesh.ends[bent, 1]] - mesh.vertices[mesh.ends[bent, 0]])
    linked = labels(_linked(mesh.facet[mesh.pairs[bent]], way), bent.size)
    turn = np.bincount(linked, weights=bend[bent])
    by_facet = np.argsort(mesh.facet, kind="stable")
    start = np.searchsorted(mesh.facet[by_facet], np.arange(mesh.facet.max() + 2))
    order = np.argsort(linked, kind="stable")
    cuts = np.searchsorted(linked[order], np.arange(len(turn) + 1))
    out = []
    for k in np.flatnonzero(turn >= 0.8 * TURN):
        own = order[cuts[k] : cuts[k + 1]]
        strips = np.unique(mesh.facet[mesh.pairs[bent[own]]])
        faces = np.concatenate([by_facet[start[s] : start[s + 1]] for s in strips])
        made = fitted(mesh, faces, way[own].sum(axis=0))
        if made is not None:
            out.append(made)
    return out


def _folded(ways: Array) -> Array:
    """Directions of length one, opposite ones made the same."""
    ways = ways / np.maximum(np.linalg.norm(ways, axis=1), 1e-300)[:, None]
    large = np.abs(ways) > 0.2
    sign = np.sign(ways[np.arange(len(ways)), np.argmax(large, axis=1)])
    return np.asarray(ways * np.where(sign == 0, 1.0, sign)[:, None])


def _linked(sides: Array, way: Array) -> Array:
    """Pairs of bent edges that bound one facet and are parallel; ``sides`` (k, 2) are their facets, ``way`` (k, 3) their directions."""
    edge = np.concatenate([np.arange(len(way))] * 2)
    facet = sides.T.ravel()
    # parallel edges of a facet stand together when sorted along an odd direction
    order = np.lexsort(((way @ np.array([0.532, 0.286, 0.797]))[edge], facet))
    edge, facet = edge[order], facet[order]
    pairs = []
    for step in (1, 2, 3):
        p, q = edge[:-step], edge[step:]
        good = (facet[:-step] == facet[step:]) & (np.abs(np.einsum("ij,ij->i", way[p], way[q])) > ALIKE)
        pairs.append(np.stack([p[good], q[good]], axis=1))
    return np.concatenate(pairs)


def fitted(mesh: Facets, faces: Array, axis: Array, exact: tuple[Array, float] | None = None) -> Round | None:
    """The round wall that triangles make about a direction near its axis; None where they do not. ``exact`` gives a point of it and its radius."""
    axis = axis / max(float(np.linalg.norm(axis)), 1e-300)
    faces = faces[np.abs(mesh.normals[faces] @ axis) < 2 * UPRIGHT]
    if len(faces) < 6:
        return None
    if exact is None:
        spread = (mesh.normals[faces] * mesh.areas[faces][:, None]).T @ mesh.normals[faces]
        own = np.linalg.eigh(spread)[1][:, 0]
        axis = own if own @ axis > 0 else -own
        faces = faces[np.abs(mesh.normals[faces] @ axis) < UPRIGHT]
    axis = axis if axis[int(np.argmax(np.abs(axis) > 0.1))] > 0 else -axis
    frame = basis(axis)
    corners = np.unique(mesh.faces[faces])
    if len(corners) < 12:
        return None
    plan = mesh.vertices[corners] @ frame[:2].T
    middle, radius = _circle(plan) if exact is None else (frame[:2] @ exact[0], exact[1])
    off = np.abs(np.hypot(*(plan - middle).T) - radius)
    if not radius > 0 or off.max() > max(ON_ROUND[0], ON_ROUND[1] * radius):
        return None
    strips = len(np.unique(mesh.facet[faces]))
    if not _goes_round(mesh.vertices[mesh.faces[faces]] @ frame[:2].T - middle):
        return None
    along = mesh.vertices[corners] @ axis
    low, high = float(along.min()), float(along.max())
    share = float(mesh.areas[faces].sum()) / max(2 * strips * np.sin(np.pi / strips) * radius * (high - low), 1e-12)
    if share < 0.4:
        return None
    depth = (high - low) * (share if share < 0.97 else 1.0)
    return Round(axis, frame[:2].T @ middle, radius, low, high, depth, faces)


def _circle(points: Array) -> tuple[Array, float]:
    """Middle and radius of the circle nearest to points (n, 2), by least squares on their squared distances."""
    about = points.mean(axis=0)
    p = points - about
    found, *_ = np.linalg.lstsq(np.column_stack([2 * p, np.ones(len(p))]), (p**2).sum(axis=1), rcond=None)
    return about + found[:2], float(np.sqrt(max(found[2] + found[:2] @ found[:2], 0.0)))


def _goes_round(tri: Array) -> bool:
    """Whether triangles in plan about the origin (k, 3, 2) cover the turn but for 15 degrees."""
    angle = np.degrees(np.arctan2(tri[:, :, 1], tri[:, :, 0]))
    angle = angle[:, :1] + (angle - angle[:, :1] + 180.0) % 360.0 - 180.0
    least, most = np.floor(angle.min(axis=1) + 0.5).astype(int), np.floor(angle.max(axis=1) + 0.5).astype(int)
    rise = np.zeros(1081, dtype=int)
    np.add.at(rise, least + 360, 1)
    np.add.at(rise, most + 360, -1)
    covered = np.cumsum(rise)[:1080].reshape(3, 360).sum(axis=0) > 0
    return bool(covered.sum() >= np.degrees(TURN))


def flat(mesh: Facets, seed: int) -> Array:
    """Triangles of the flat that the triangle ``seed`` lies in: joined by edges, corners within 0.02 mm of the plane, leaning less than 1 degree."""
    normal, inside = mesh.normals[seed], np.array([seed])
    for _ in range(2):
        middle = mesh.vertices[mesh.faces[inside]].mean(axis=(0, 1))
        near = np.abs((mesh.vertices - middle) @ normal) < ON_PLANE
        good = near[mesh.faces].all(axis=1) & (mesh.normals @ normal > LEANS)
        good[seed] = True
        both = mesh.pairs[good[mesh.pairs].all(axis=1)]
        group = labels(both, len(mesh.faces))
        inside = np.flatnonzero(good & (group == group[seed]))
        normal = (mesh.normals[inside] * mesh.areas[inside][:, None]).sum(axis=0)
        normal /= max(float(np.linalg.norm(normal)), 1e-300)
    return inside


def curved(mesh: Facets, patch: Array) -> bool:
    """Whether a flat is but a facet of a curved surface: over half its rim it bends gently into facets a third as large or larger."""
    size = np.bincount(mesh.facet, weights=mesh.areas)
    within = np.isin(mesh.pairs, patch)
    rim = np.flatnonzero(within[:, 0] != within[:, 1])
    length = np.linalg.norm(mesh.vertices[mesh.ends[rim, 1]] - mesh.vertices[mesh.ends[rim, 0]], axis=1)
    beyond = np.where(within[rim, 0], mesh.pairs[rim, 1], mesh.pairs[rim, 0])
    gentle = (np.abs(mesh.bend[rim]) < SMOOTH) & (size[mesh.facet[beyond]] > mesh.areas[patch].sum() / 3)
    return bool(length[gentle].sum() > 0.5 * length.sum())
