"""Cooling on to the knock-out: a slow, smooth affair that needs no fine grid."""

from __future__ import annotations

import numpy as np

from strickle.base import Array
from strickle.cavity import METAL_TAGS, PART

FEW = 600_000
"""Cells up to which the cooling is followed on the freezing's own grid."""
APART = 0.03
"""Added to both ends of a knock-out time found on merged cells; seen on a flat plate with three risers: 0.2 % against 2.9 M cells."""


OFF = 0.02  # of the metal's volume: merged cells that lose or gain more, as of a thin plate, are not used


def merged(tags: Array, fraction: Array) -> tuple[Array, int]:
    """Tags (nx, ny, nz) with cells merged two by two by two until few are left, and how many cells of the old edge make one new edge.

    Merging stops before the metal's volume, on which the time hangs, would be off by more than ``OFF``.

    A merged cell is metal where metal fills half of it or more; ``fraction`` is the metal fraction of each cell.  Metal loses its
    names: all of it is PART.  A last odd layer is repeated.
    """
    metal = np.where(np.isin(tags, METAL_TAGS), np.maximum(fraction, 0.5), np.minimum(fraction, 0.5))
    medium = tags
    edge, true = 1, float(np.isin(tags, METAL_TAGS).sum())
    while metal.size > FEW and min(metal.shape) > 8:
        odd = [(0, n % 2) for n in metal.shape]
        larger = np.pad(metal, odd, mode="edge")
        i, j, k = (n // 2 for n in larger.shape)
        larger = larger.reshape(i, 2, j, 2, k, 2).mean(axis=(1, 3, 5))
        if abs(float((larger >= 0.5).sum()) * (2 * edge) ** 3 / max(true, 1.0) - 1.0) > OFF:
            break
        metal, medium = larger, np.pad(medium, odd, mode="edge")[::2, ::2, ::2]
        edge *= 2
    if edge == 1:
        return tags, 1
    # a merged cell whose first corner was metal but that is sand by volume takes the mould's own tag
    others = np.setdiff1d(np.unique(medium), METAL_TAGS)
    base = others[0] if len(others) else medium.flat[0]
    out = np.where(metal >= 0.5, PART, np.where(np.isin(medium, METAL_TAGS), base, medium))
    return np.ascontiguousarray(out.astype(np.uint8)), edge
