"""How a piece lies on the printer's bed. In the results every piece stays in the mould frame; only the files are turned."""

from __future__ import annotations

import numpy as np

from strickle.base import Array, Mesh, Piece

NEAR = 2e-6  # m, how near the end of a piece a corner must be to count as lying in its flat face
BETTER = 1.001  # as much larger another end must be before the piece is turned for it

# Proper rotations that bring a direction of the mould frame down, so that the outward face of that side lies on the bed.
_DOWN: dict[tuple[int, int], Array] = {
    (2, -1): np.eye(3),
    (2, 1): np.diag([1.0, -1.0, -1.0]),
    (0, -1): np.array([[0.0, 0.0, -1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]]),
    (0, 1): np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]]),
    (1, -1): np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]]),
    (1, 1): np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]),
}


def on_the_bed(piece: Piece) -> tuple[Array, str]:
    """Vertices (n, 3) in millimetres as the piece is printed, least corner at the origin, and how it lies in words.

    A half of the pattern lies on its parting face: the side it is drawn through; a follow board and the parts of a core box lie on their
    back. Every other piece lies on its widest flat end along z, or along x or y where it has none along z.
    """
    if piece.role == "board":
        side, lies = (2, 1 if piece.draw[2] > 0 else -1), "seat up"
    elif piece.role == "pattern":
        side, lies = (2, 1 if piece.draw[2] > 0 else -1), "parting face down"
    elif piece.role == "core box":
        return _boxed(piece), "parting up"
    else:
        side = _widest(piece.mesh)
        lies = "as in the mould" if side == (2, -1) else "upside down, wide end on the bed" if side == (2, 1) else "on its side"
    turned = piece.mesh.vertices @ _DOWN[side].T
    moved: Array = (turned - turned.min(axis=0)) * 1e3
    return moved, lies


def _boxed(piece: Piece) -> Array:
    """Part of a core box on its back, as it is drawn off the core, in millimetres."""
    down = np.asarray(piece.draw) / np.linalg.norm(piece.draw)
    first = np.cross(down, np.eye(3)[int(np.argmin(np.abs(down)))])
    first = first / np.linalg.norm(first)
    turned = piece.mesh.vertices @ np.stack([first, np.cross(first, down), -down]).T
    moved: Array = (turned - turned.min(axis=0)) * 1e3
    return moved


def flat_end(mesh: Mesh, axis: int, way: int) -> float:
    """Area [m2] of the flat face in which a mesh ends along ``axis`` (0, 1, 2), on the low (-1) or high (1) side."""
    along = mesh.vertices[:, axis] * way
    corners = mesh.vertices[mesh.faces]
    ends = (along[mesh.faces] > along.max() - NEAR).all(axis=1)
    cross = np.cross(corners[ends, 1] - corners[ends, 0], corners[ends, 2] - corners[ends, 0])
    return float(0.5 * np.maximum(cross[:, axis] * way, 0.0).sum())


def _widest(mesh: Mesh) -> tuple[int, int]:
    """Axis and way of the widest flat end; the lower one along z where nothing is wider."""
    for sides in (((2, -1), (2, 1)), ((0, -1), (0, 1), (1, -1), (1, 1))):
        areas = [flat_end(mesh, *side) for side in sides]
        best = 0
        for number, area in enumerate(areas):
            if area > BETTER * areas[best]:
                best = number
        if areas[best] > 0.0:
            return sides[best]
    return (2, -1)
