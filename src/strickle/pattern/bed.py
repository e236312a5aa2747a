"""How a printed piece lies on the printer's bed. In the results every piece stays in the mould frame; only the files are turned.

A half of the pattern lies on its parting face, the side it is drawn through; a follow board and the parts of a core box on their back. Every
other piece, a pattern in one piece too, lies on its widest flat end along z, or along x or y where it has none along z; where the bed does not
hold it so, on the next widest flat end that it does hold. Turned about the upright only as far as it must be. Vertices on the bed are
millimetres, least corner at the origin.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strickle.base import Array, BadInput, Mesh, Piece

NEAR = 2e-6  # m, how near the end of a piece a corner must be to count as lying in its flat face
BETTER = 1.001  # as much larger another end must be before the piece is turned for it
HAIR = 1e-4  # mm a piece may be over the bed's size: rounding
LEAST_BED = 0.02  # m, as in the kit
SLENDER = 8.0  # times as high as wide a piece may stand on an end that is not its widest
FIXED = {"pattern": "parting face down", "board": "seat up"}  # roles that lie one way only, drawn upward from that side
ASLANT = 0.6  # cosine to its draw that the back of a piece comes to
SQUARE = 1.0 - 1e-9
WIDEST = 8  # faces tried as a back
TURNS = np.radians(np.arange(180.0))

# Proper rotations that bring a direction of the mould frame down, so that the outward face of that side lies on the bed.
DOWN: dict[tuple[int, int], Array] = {
    (2, -1): np.eye(3),
    (2, 1): np.diag([1.0, -1.0, -1.0]),
    (0, -1): np.array([[0.0, 0.0, -1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]]),
    (0, 1): np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]]),
    (1, -1): np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]]),
    (1, 1): np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]),
}


class Lying(NamedTuple):
    """Rotation (3, 3) from the mould frame to the bed's, how the piece lies in words, and whether the bed holds it so."""

    turn: Array
    says: str
    held: bool


def checked(bed: Array) -> Array:
    """The bed's build space in millimetres. Raises BadInput where nothing could be printed on it."""
    room = np.asarray(bed, dtype=float)
    if room.shape != (3,) or not np.isfinite(room).all() or room.min() < LEAST_BED:
        raise BadInput(
            "the printer's bed in the kit holds nothing: it must be three sizes of 20 mm or more",
            'Set it, such as bed = ["220 mm", "220 mm", "250 mm"]',
        )
    return room * 1e3


def lying(piece: Piece, bed: Array | None = None) -> Lying:
    """How a piece lies on a bed of that build space (3,) [m], on any bed where it is None. Raises BadInput for a bed that holds nothing."""
    room = None if bed is None else checked(bed)
    if piece.role in FIXED and not is_whole(piece):
        ways = [(DOWN[2, 1 if piece.draw[2] > 0 else -1], FIXED[piece.role])]
    elif piece.role == "core box":
        ways = [(_on_its_back(piece.mesh, piece.draw), "parting up")]
    else:
        ways = [(DOWN[side], _says(side)) for side in _ends(piece.mesh)]
    for number, (turn, says) in enumerate(ways):
        if room is None:
            break
        turned = piece.mesh.vertices @ turn.T * 1e3
        if (number == 0 or _steady(turned)) and turn_for(turned, room) is not None:
            return Lying(turn, says, True)
    return Lying(*ways[0], room is None)


def is_whole(piece: Piece) -> bool:
    """Whether it is a pattern in one piece, which reaches into both halves of the mould and has no parting face."""
    z = piece.mesh.vertices[:, 2]
    return piece.role == "pattern" and bool(z.min() < -NEAR and z.max() > NEAR)


def on_the_bed(piece: Piece, bed: Array | None = None) -> tuple[Array, str]:
    """Vertices (n, 3) in millimetres as the piece is printed, least corner at the origin, and how it lies in words."""
    how = lying(piece, bed)
    return laid(piece.mesh, how.turn, bed), how.says


def laid(mesh: Mesh, turn: Array, bed: Array | None = None) -> Array:
    """Vertices (n, 3) in millimetres turned onto the bed and about the upright as far as the bed asks, least corner at the origin."""
    vertices = mesh.vertices @ turn.T * 1e3
    about = 0.0 if bed is None else turn_for(vertices, checked(bed)) or 0.0
    if about:
        c, s = np.cos(about), np.sin(about)
        vertices = vertices @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    moved: Array = vertices - vertices.min(axis=0)
    return moved


def turn_for(vertices: Array, room: Array) -> float | None:
    """Turn about the upright [rad] that lets vertices (n, 3) lie on a bed, same unit: none, a quarter, else aslant with most to spare; or None."""
    size = np.ptp(vertices, axis=0) - HAIR
    if size[2] > room[2]:
        return None
    if size[0] <= room[0] and size[1] <= room[1]:
        return 0.0
    if size[0] <= room[1] and size[1] <= room[0]:
        return float(np.pi / 2)
    if size[:2].max() > np.hypot(room[0], room[1]):
        return None
    from scipy.spatial import ConvexHull

    rim = vertices[ConvexHull(vertices[:, :2]).vertices, :2]
    wide, deep = (np.ptp(rim @ np.stack(row), axis=0) - HAIR for row in ((np.cos(TURNS), -np.sin(TURNS)), (np.sin(TURNS), np.cos(TURNS))))
    spare = np.minimum(room[0] - wide, room[1] - deep)
    best = int(np.argmax(spare))
    return float(TURNS[best]) if spare[best] >= 0.0 else None


def flat_end(mesh: Mesh, axis: int, way: int) -> float:
    """Area [m2] of the flat face in which a mesh ends along ``axis`` (0, 1, 2), on the low (-1) or high (1) side."""
    along = mesh.vertices[:, axis] * way
    corners = mesh.vertices[mesh.faces]
    ends = (along[mesh.faces] > along.max() - NEAR).all(axis=1)
    cross = np.cross(corners[ends, 1] - corners[ends, 0], corners[ends, 2] - corners[ends, 0])
    return float(0.5 * np.maximum(cross[:, axis] * way, 0.0).sum())


def _on_its_back(mesh: Mesh, draw: Array) -> Array:
    """The rotation that lays the flat back towards which a piece is drawn, square to that or aslant, on the bed; exact where it is along an axis."""
    down = _back(mesh, np.asarray(draw) / np.linalg.norm(draw))
    axis = int(np.argmax(np.abs(down)))
    if abs(abs(down[axis]) - 1.0) < 1e-12:
        return DOWN[axis, 1 if down[axis] > 0 else -1]
    first = np.cross(down, np.eye(3)[int(np.argmin(np.abs(down)))])
    first = first / np.linalg.norm(first)
    return np.stack([first, np.cross(first, down), -down])


def _back(mesh: Mesh, draw: Array) -> Array:
    """Normal (3,) of the flat face in which a mesh ends towards ``draw``; that itself where it ends in none, or in one square to it."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    areas = np.linalg.norm(cross, axis=1)
    normals = cross / np.maximum(areas, 1e-300)[:, None]
    towards = np.flatnonzero(normals @ draw > ASLANT)
    for face in towards[np.argsort(-areas[towards])][:WIDEST]:
        if float((mesh.vertices @ normals[face]).max() - mesh.vertices[mesh.faces[face, 0]] @ normals[face]) < NEAR:
            return draw if normals[face] @ draw > SQUARE else np.asarray(normals[face])
    return draw


def _steady(vertices: Array) -> bool:
    """Whether what stands on the bed is not so slender that it would be knocked over or shake."""
    size = np.ptp(vertices, axis=0)
    return bool(size[2] <= SLENDER * size[:2].min())


def _says(side: tuple[int, int]) -> str:
    return "as in the mould" if side == (2, -1) else "upside down, wide end on the bed" if side == (2, 1) else "on its side"


def _ends(mesh: Mesh) -> list[tuple[int, int]]:
    """Axis and way of the flat ends, the widest first, those along z before the others; the lower one along z where there is none."""
    out: list[tuple[int, int]] = []
    for sides in (((2, -1), (2, 1)), ((0, -1), (0, 1), (1, -1), (1, 1))):
        areas = {side: flat_end(mesh, *side) for side in sides}
        left = [side for side in sides if areas[side] > 0.0]
        while left:
            best = left[0]
            for side in left:
                if areas[side] > BETTER * areas[best]:
                    best = side
            out.append(best)
            left.remove(best)
    return out or [(2, -1)]
