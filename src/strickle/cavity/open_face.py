"""An open mould on the grid: where its metal ends, and the air over it."""

from __future__ import annotations

import math

import numpy as np

from strickle.base import Array
from strickle.cavity.result import AIR, SAND
from strickle.rigging import OpenPour


def grid_top(level: float, cell: float) -> float:
    """Upper end of the grid [m]: at the sand's level or over it, and such that the metal's ``level`` is a face of cells.

    >>> grid_top(0.0, 0.002), grid_top(0.003, 0.002), round(grid_top(-0.003, 0.002), 6)
    (0.0, 0.003, 0.001)
    """
    return level + math.ceil(max(-level, 0.0) / cell - 1e-9) * cell


def airy(tags: Array, impression: Array, pour: OpenPour, origin: Array, cell: float) -> Array:
    """Tags with air for all that is neither metal nor sand: over the sand's level, and in the impression over the metal.

    ``impression`` (nx, ny, nz) is the fraction of each cell inside the impression, filled or not.
    """
    middle = origin[2] + (np.arange(tags.shape[2]) + 0.5) * cell
    over = (middle > 0.0) | ((impression >= 0.5) & (middle > pour.level.value))
    return np.where((tags == SAND) & over, AIR, tags).astype(np.uint8)
