"""Chances of the sand bodies laid on the faces of the part that bound them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from strickle.base import Array
from strickle.mould.draw_bodies import Body

NEAR = 0.3  # a face's middle this near to a section of a body bounds it [mm]


def face_chances(middles: Array, bodies: Sequence[Body], chances: Sequence[float]) -> Array:
    """The greatest chance (m,) of the bodies that the faces with these ``middles`` (m, 3) [m, mould frame] bound; 0 elsewhere."""
    out = np.zeros(len(middles))
    for half, side in (("drag", -1.0), ("cope", 1.0)):
        high = middles[:, 2] * side * 1e3
        layers: dict[tuple[float, float], list[tuple[shapely.Polygon, float]]] = {}
        for body, chance in zip(bodies, chances, strict=True):
            if body.half == half and chance > 0.0:
                for low, top, shape in body.shapes:
                    layers.setdefault((low, top), []).append((shape, chance))
        for (low, top), held in layers.items():
            mine = np.flatnonzero((high > low - 0.02) & (high < top + 0.02))
            if not len(mine):
                continue
            tree = shapely.STRtree([shape for shape, _ in held])
            face, body_at = tree.query(shapely.points(middles[mine, :2] * 1e3), predicate="dwithin", distance=NEAR)
            worth = np.array([chance for _, chance in held])
            np.maximum.at(out, mine[face], worth[body_at])
    return out
