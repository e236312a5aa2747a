"""Where the grid lies: cells over the flask's inside, laid so that the metal's large flat walls fall on faces of cells."""

from __future__ import annotations

import numpy as np

from strickle.base import Array, Mesh
from strickle.cavity.ask import CavityAsk
from strickle.cavity.open_face import grid_top
from strickle.mould import Mould
from strickle.part import Part

COARSEST, ACROSS = 2e-3, 3.0  # wished cell [m] and cells across the least wall
FAR_OFF = 1.3  # finest cell of the budget over the wished one from which the wish is given up
FLAT = 0.9999  # component of a normal along an axis from which a triangle counts as a flat wall
SHRINK = 0.04  # by how much of itself a cell may be made smaller so that level walls fall on its faces


def lay(mould: Mould, part: Part, casting: Mesh, ask: CavityAsk, level: float | None) -> tuple[float, tuple[int, int, int], Array]:
    """Cell, shape and origin: the grid fills the flask from its top down, so that the cope top, or the open metal's level, is a face of cells.

    A wall through the middle of cells is the worst place for one, so in plan the grid is moved by up to half a cell, and the cell made up
    to SHRINK smaller, such that most of the flat walls of ``casting`` lie on faces.  A cell that was asked for is kept.
    """
    box = mould.box.copy()
    box[5] = box[5] if level is None else max(level, 0.0)
    size = np.array([box[1] - box[0], box[3] - box[2], box[5] - box[4]])
    cell = ask.cell if ask.cell is not None else min(COARSEST, part.least_wall / ACROSS)
    least = (float(np.prod(size)) / ask.most_cells) ** (1.0 / 3.0)
    if ask.cell is None and least > FAR_OFF * cell:
        least = max(least, COARSEST)  # so thin a wall is out of reach: a grid a little finer costs much and shows it no better
    cell = max(cell, least)
    shape = np.maximum(np.round(size / cell).astype(int), 1)
    while int(np.prod(shape)) > ask.most_cells:
        cell *= 1.01
        shape = np.maximum(np.round(size / cell).astype(int), 1)
    walls = [_walls(casting, axis) for axis in range(3)]
    top = float(box[5]) if level is None else float(level)
    if ask.cell is None:
        cell = _fitted(cell, size, ask.most_cells, top, *walls[2])
        shape = np.maximum(np.round(size / cell).astype(int), 1)
    ends = box[5] if level is None else grid_top(level, cell)
    middle = np.array([(box[0] + box[1]) / 2, (box[2] + box[3]) / 2])
    low = middle - shape[:2] * cell / 2
    moved = [_phase(cell, at - corner, area)[0] for corner, (at, area) in zip(low, walls[:2], strict=True)]
    origin = np.array([*(low + moved), ends - shape[2] * cell])
    return float(cell), (int(shape[0]), int(shape[1]), int(shape[2])), origin


def _walls(mesh: Mesh, axis: int) -> tuple[Array, Array]:
    """Places [m] along an axis of the triangles that lie square to it, and their areas [m2]."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    whole = np.linalg.norm(normal, axis=1)
    flat = np.abs(normal[:, axis]) > FLAT * np.maximum(whole, 1e-300)
    return np.asarray(a[flat, axis]), np.asarray(0.5 * whole[flat])


def _phase(cell: float, at: Array, area: Array) -> tuple[float, float]:
    """Shift [m], within half a cell, that brings most wall onto faces, and how well it does: 1 where all of it lies on one phase."""
    if not area.sum() > 0.0:
        return 0.0, 0.0
    mean = complex((area * np.exp(2j * np.pi * at / cell)).sum() / area.sum())
    return float(np.angle(mean) / (2.0 * np.pi) * cell), abs(mean)


def _fitted(cell: float, size: Array, most: int, top: float, at: Array, area: Array) -> float:
    """The cell at or a little under ``cell`` [m] for which most level wall lies a whole number of cells under ``top``, within ``most`` cells."""
    if not area.sum() > 0.0:
        return cell
    tried = np.linspace(cell, cell * (1.0 - SHRINK), 33)
    tried = tried[[int(np.prod(np.maximum(np.round(size / one), 1))) <= most for one in tried]]
    gain = [float((area * np.cos(2.0 * np.pi * (top - at) / one)).sum()) for one in tried] or [0.0]
    return float(tried[int(np.argmax(gain))]) if len(tried) else cell
