"""How sharp the sand's edges are: where two walls of the pattern meet with sand between them, and where a wall meets the parting."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from strickle.base import Array, Mesh
from strickle.mould.draw_sheet import Sheet

SHORT = 3e-3  # an edge must be this long in all to count [m]
GRAIN = 0.5e-3  # walls lower than this make no edge of sand [m]
CRACK = 2.0  # sharper is a crack of no width left by the mesh, no sand [deg]
BLUNT = 90.0
ASIDE = 0.5e-3  # how far outside the metal the slope of a crooked parting is taken [m]
UPRIGHT = 0.5  # sine: edges steeper than 30 degrees are corners in plan, drawn along themselves


class Edge(NamedTuple):
    """The sharpest edge of sand of one half."""

    angle: float  # [deg], 90 where none is sharper
    at: Array | None  # its place (3,) [m], None where there is none


def sharpest(cavity: Mesh, sheet: Sheet | None = None) -> dict[str, Edge]:
    """The sharpest edge of sand of each half; ``sheet`` is a parting that is not flat."""
    import trimesh

    mesh = trimesh.Trimesh(cavity.vertices, cavity.faces, process=False)
    ridge = ~mesh.face_adjacency_convex
    ends = mesh.vertices[mesh.face_adjacency_edges[ridge]]
    along = ends[:, 1] - ends[:, 0]
    long = np.linalg.norm(along, axis=1)
    angle = 180.0 - np.degrees(mesh.face_adjacency_angles[ridge])
    broad = (2.0 * mesh.area_faces[mesh.face_adjacency[ridge]] > GRAIN * long[:, None]).all(axis=1)  # no sand is finer than this
    lying = broad & (angle > CRACK) & (np.abs(along[:, 2]) < UPRIGHT * np.maximum(long, 1e-12))
    middle = ends[:, :, 2].mean(axis=1)
    crooked = sheet is not None and not sheet.flat
    if sheet is not None and crooked:
        middle = middle - sheet.heights(ends[:, :, :2].mean(axis=1))
    out = {}
    for name, side in (("drag", -1.0), ("cope", 1.0)):
        mine = lying & (middle * side > 1e-5)
        wall, wall_long, foot = _at_sheet(mesh, sheet, side) if sheet is not None and crooked else _at_parting(mesh, side)
        places = np.concatenate([ends[mine].mean(axis=1), foot])
        out[name] = _least(np.concatenate([angle[mine], wall]), np.concatenate([long[mine], wall_long]), places)
    return out


def _at_parting(mesh: Any, side: float) -> tuple[Array, Array, Array]:
    """Angle of the sand between each wall that stands on the parting and the parting itself [deg], length of its foot [m], its middle (m, 3)."""
    corners = mesh.vertices[mesh.faces]
    down = np.abs(corners[:, :, 2]) < 2e-6
    feet = (down.sum(axis=1) == 2) & ((corners[:, :, 2] * side).max(axis=1) > 1e-5)
    if not feet.any():
        return np.zeros(0), np.zeros(0), np.zeros((0, 3))
    two = corners[feet][down[feet]].reshape(-1, 2, 3)
    rise = mesh.face_normals[feet][:, 2] * side
    return BLUNT + np.degrees(np.arcsin(np.clip(rise, -1.0, 1.0))), np.linalg.norm(two[:, 1] - two[:, 0], axis=1), two.mean(axis=1)


def _at_sheet(mesh: Any, sheet: Sheet, side: float) -> tuple[Array, Array, Array]:
    """As ``_at_parting``, where faces cross a crooked parting: what stands between wall and parting is measured square to their common line."""
    over = (mesh.vertices[:, 2] - sheet.heights(mesh.vertices[:, :2]))[mesh.faces]
    cut = (over.min(axis=1) < -1e-6) & (over.max(axis=1) > 1e-6)
    resting = (np.abs(over) < 2e-6).sum(axis=1) == 2
    angle, long, at = [], [], []
    for mine in (np.flatnonzero(cut), np.flatnonzero(resting & ~cut & ((over * side).max(axis=1) > 1e-5))):
        first, second, good = _crossing(mesh.vertices[mesh.faces[mine]], over[mine])
        normal = mesh.face_normals[mine[good]]
        plan = np.hypot(normal[:, 0], normal[:, 1])
        wall = plan > UPRIGHT
        middle = ((first + second) / 2.0)[wall]
        beside = middle[:, :2] + ASIDE * normal[wall, :2] / plan[wall, None]
        leans = (normal[wall] * sheet.normals(beside)).sum(axis=1) * side
        angle.append(BLUNT + np.degrees(np.arcsin(np.clip(leans, -1.0, 1.0))))
        long.append(np.linalg.norm(second - first, axis=1)[wall])
        at.append(middle)
    return np.concatenate(angle), np.concatenate(long), np.concatenate(at)


def _crossing(corners: Array, over: Array) -> tuple[Array, Array, Array]:
    """Ends (k, 3) of the line in which faces (m, 3, 3) meet the parting, by the heights ``over`` (m, 3) over it, and which faces (k,) have one."""
    places: list[list[Array]] = [[] for _ in range(len(corners))]
    for i in range(3):
        j = (i + 1) % 3
        a, b = over[:, i], over[:, j]
        meets = ((a <= 2e-6) & (b > 2e-6)) | ((b <= 2e-6) & (a > 2e-6))
        share = np.clip(a / np.where(np.abs(a - b) < 1e-12, 1.0, a - b), 0.0, 1.0)
        point = corners[:, i] + share[:, None] * (corners[:, j] - corners[:, i])
        for face in np.flatnonzero(meets):
            places[face].append(point[face])
    good = np.array([face for face, found in enumerate(places) if len(found) == 2], dtype=np.int64)
    pairs = np.array([places[face] for face in good]).reshape(-1, 2, 3)
    return pairs[:, 0], pairs[:, 1], good


def _least(angle: Array, long: Array, at: Array) -> Edge:
    """The angle below which ``SHORT`` of edge lies, and where an edge of it is."""
    order = np.argsort(angle)
    enough = np.flatnonzero(np.cumsum(long[order]) >= SHORT)
    if not len(enough) or angle[order][enough[0]] >= BLUNT:
        return Edge(BLUNT, None)
    return Edge(float(angle[order][enough[0]]), at[order][enough[0]])
