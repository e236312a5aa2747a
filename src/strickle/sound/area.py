"""The surface of a body of cells."""

from __future__ import annotations

import numpy as np

from strickle.base import Array

ROUND = 1.0  # cells over which the body is smoothed to see which way its skin looks
ROOM = 4  # cells kept round it


def surface_of(body: Array) -> float:
    """Surface [cells2] of a body of cells (nx, ny, nz): each face of its staircase counts by how squarely it faces the skin there; at least 1.

    A flat wall along the grid so counts whole and a slanting one by its slope; from the divergence theorem, exact for planes.
    """
    from scipy import ndimage

    cells = np.argwhere(body)
    if not len(cells):
        return 1.0
    low = np.maximum(cells.min(axis=0), 0)
    window = tuple(slice(a, b + 1) for a, b in zip(low, cells.max(axis=0), strict=True))
    padded = np.pad(body[window], ROOM).astype(float)
    skin = np.array(np.gradient(ndimage.gaussian_filter(padded, ROUND)))
    total = 0.0
    for axis in range(3):
        face = np.diff(padded, axis=axis) != 0.0
        one, other = (np.take(skin, np.arange(padded.shape[axis])[part], axis=axis + 1)[:, face] for part in (slice(None, -1), slice(1, None)))
        both = one + other
        length = np.sqrt((both**2).sum(axis=0))
        total += float(np.where(length > 0.0, np.abs(both[axis]) / np.where(length > 0.0, length, 1.0), 1.0).sum())
    return max(total, 1.0)
