"""What draft each face of the part has in the cavity as it was made: measured on the walls that stand there, not taken from the rule."""

from __future__ import annotations

import numpy as np

from strickle.base import Array, Mesh
from strickle.pattern.crooked import heights
from strickle.pattern.directions import surface
from strickle.pattern.lay import DRAFT, Laid
from strickle.pattern.undercut import LEAN
from strickle.pattern.works import Joint

STEEPEST = float(np.sin(np.radians(12.0)))  # faces that lean more are changed by no draft
ALONG = 0.9  # cosine in plan between a face and the wall that stands for it
MOST = 4000  # faces that are measured, the largest first: the rest are held to have what the rule gives


def drafts_built(
    mesh: Mesh, laid: Laid, shift: Array, sines: Array, cavity: tuple[Array, Array], joint: Joint | None, kept: Array | None, rule: float
) -> Array:
    """Sine of each face's draft (m,) with what was added: of near upright ones that of the wall next to it.

    cavity: vertices [m], mould frame, and faces. kept (k, 3, 3) [mm], mould frame: faces that get no draft, if any. ``rule`` [rad]: what others have
    at least, also where it comes in steps of a layer, whose walls stand upright, or where the wall could not be found again.
    """
    from strickle.kernels.distance import nearest

    near = np.flatnonzero((sines > -LEAN) & (sines < STEEPEST))
    if near.size == 0:
        return sines
    normals, areas = surface(mesh)
    out, near = sines.copy(), near[np.argsort(-areas[near], kind="stable")]
    out[near] = np.maximum(sines[near], np.sin(rule))
    middle = laid.scale * (mesh.vertices[mesh.faces].mean(axis=1) @ laid.turn.T) + shift
    fixed = _among(middle[near], kept.mean(axis=1) * 1e-3) if kept is not None else np.zeros(near.size, dtype=bool)
    out[near[fixed]] = sines[near[fixed]]
    near, fixed = near[:MOST], fixed[:MOST]
    vertices, faces = cavity
    corner = vertices[faces]
    _, at = nearest(middle[near], vertices, faces)
    cross = np.cross(corner[at, 1] - corner[at, 0], corner[at, 2] - corner[at, 0])
    wall = cross / np.maximum(np.linalg.norm(cross, axis=1, keepdims=True), 1e-300)
    own = normals[near] @ laid.turn.T
    flat = np.hypot(*own[:, :2].T) * np.hypot(*wall[:, :2].T)
    found = (own[:, :2] * wall[:, :2]).sum(axis=1) > ALONG * np.maximum(flat, 1e-12)
    place = corner[at].mean(axis=1)
    level = np.zeros(near.size) if joint is None else heights(joint.sheet, place[:, 0] * 1e3, place[:, 1] * 1e3) * 1e-3
    told = np.where(place[:, 2] >= level, wall[:, 2], -wall[:, 2])
    take = found & (told > -LEAN) & (fixed | (told >= DRAFT))
    out[near[take]] = np.maximum(told[take], 0.0)
    return out


def standing(mesh: Mesh, sines: Array) -> float:
    """Area [m2] of the faces that stand within half a degree of the draw."""
    return float(surface(mesh)[1][np.abs(sines) < DRAFT].sum())


def _among(points: Array, others: Array) -> Array:
    """Which points (n, 3) [m] lie on one of the others (k, 3) [m]."""
    from scipy.spatial import cKDTree

    return np.asarray(np.isfinite(cKDTree(others).query(points, distance_upper_bound=1e-6)[0]))
