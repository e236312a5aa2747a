"""Marked faces: the flat or the round wall that a point on the part means, and what it is marked for. Millimetres, part coordinates."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from strickle.base import Array, BadInput, tell
from strickle.pattern.ask import Mark
from strickle.pattern.facets import Facets, Round, curved, flat, rounds
from strickle.pattern.holes import Hole

ON_PART = 0.5  # mm from the part that a point may lie at most
BETWEEN = 0.02  # mm from a second face within which a point is on the edge between them
LEAST = 4.0  # mm2 of a face that can be marked


class Marked(NamedTuple):
    """A marked face."""

    name: str
    kind: str  # machined | good | no-draft
    shape: str  # flat | bore | boss
    at: Array  # (3,) the point on the face
    normal: Array  # (3,) out of a flat; along the axis of a round wall
    area: float  # mm2
    faces: Array  # triangles
    amount: float | None  # mm of stock asked for
    round_: Round | None = None
    hole: int = -1  # its number among the holes


def marked(mesh: Facets, marks: Sequence[Mark], holes: Sequence[Hole]) -> tuple[Marked, ...]:
    """The faces that the marks mean.

    Raises BadInput, naming the mark, for a point farther than 0.5 mm from the part, on an edge, or on a face neither flat nor round all the way.
    """
    if not marks:
        return ()
    bosses = rounds(mesh, hollow=False)
    out: list[Marked] = []
    for mark in marks:
        one = _meant(mesh, mark, holes, bosses)
        for other in out:
            if np.intersect1d(one.faces, other.faces).size and (one.kind == other.kind or {one.kind, other.kind} == {"good", "machined"}):
                raise BadInput(f"the marks {other.name!r} and {one.name!r} lie on one face", "Leave one of them out")
        out.append(one)
    return tuple(out)


def _meant(mesh: Facets, mark: Mark, holes: Sequence[Hole], bosses: Sequence[Round]) -> Marked:
    """The face one mark means."""
    point = np.asarray(mark.at, dtype=float) * 1e3
    away = distances(point, mesh.vertices[mesh.faces])
    nearest = float(away.min())
    if nearest > ON_PART:
        raise BadInput(
            f"the mark {mark.name!r} lies {tell(nearest * 1e-3, 'm')} from the part",
            f"Give a point of the face in the part's own coordinates, within {tell(ON_PART * 1e-3, 'm')} of it",
        )
    near = np.flatnonzero(away <= nearest + BETWEEN)
    found = [_face(mesh, int(seed), holes, bosses) for seed in near]
    first = found[0]
    if any(set(other[1].tolist()) != set(first[1].tolist()) for other in found[1:]):
        raise BadInput(f"the mark {mark.name!r} lies on the edge between faces", "Give a point inside the face that is meant")
    shape, faces, round_, hole = first
    area = float(mesh.areas[faces].sum())
    if not shape or area < LEAST:
        raise BadInput(f"the mark {mark.name!r} lies on no flat or round face", "Mark a flat of more than 4 mm2, or the wall of a round hole or boss")
    normal = (mesh.normals[faces] * mesh.areas[faces][:, None]).sum(axis=0) if shape == "flat" else (round_.axis if round_ else holes[hole].axis)
    return Marked(
        mark.name, mark.kind, shape, point, normal / np.linalg.norm(normal), area, faces, None if mark.amount is None else mark.amount * 1e3,
        round_, hole,
    )  # fmt: skip


def _face(mesh: Facets, seed: int, holes: Sequence[Hole], bosses: Sequence[Round]) -> tuple[str, Array, Round | None, int]:
    """Shape, triangles and roundness of the face that a triangle lies in; no shape where it is neither flat nor round."""
    for i, hole in enumerate(holes):
        if seed in hole.wall:
            return "bore", hole.wall, None, i
    for boss in bosses:
        if seed in boss.faces:
            return "boss", boss.faces, boss, -1
    faces = flat(mesh, seed)
    return ("" if curved(mesh, faces) else "flat"), faces, None, -1


def distances(point: Array, tri: Array) -> Array:
    """Distance of a point (3,) from each triangle (k, 3, 3)."""
    a = tri[:, 0]
    along, rel = np.roll(tri, -1, axis=1) - tri, point - tri
    normal = np.cross(along[:, 0], along[:, 1])
    long = np.maximum(np.linalg.norm(normal, axis=1), 1e-300)
    over = np.abs(np.einsum("ij,ij->i", point - a, normal)) / long
    inside = (np.einsum("ij,ikj->ik", normal, np.cross(along, rel)) >= 0).all(axis=1) & (long > 1e-12)
    share = np.clip((rel * along).sum(axis=2) / np.maximum((along**2).sum(axis=2), 1e-300), 0.0, 1.0)
    sides = np.linalg.norm(rel - share[:, :, None] * along, axis=2).min(axis=1)
    return np.asarray(np.where(inside, over, sides))


def kept(mesh: Facets, found: Sequence[Marked]) -> Array:
    """Triangles (k, 3, 3) of the faces that get no draft."""
    own = [one.faces for one in found if one.kind == "no-draft"]
    return mesh.vertices[mesh.faces[np.concatenate(own)]] if own else np.zeros((0, 3, 3))
