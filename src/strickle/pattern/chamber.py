"""Chambers in holes along the draw: sand wider than the hole that leads to it, which no half releases. Hole and chamber are one upright core.

Millimetres, mould frame, parting z = 0.
"""

from __future__ import annotations

from collections.abc import Sequence

import manifold3d
import numpy as np

from strickle.kernels import winding
from strickle.pattern.places import Place
from strickle.pattern.seams import SPECK, off
from strickle.pattern.undercut import plain, region

LEVEL = 0.01  # mm within the ends of a hole that its open faces lie
CRUMB = 1.0  # mm3


def joined(whole: manifold3d.Manifold, places: Sequence[Place], holes: Sequence[Place]) -> list[tuple[Place, list[Place]]]:
    """Each of the upright ``holes`` with those ``places`` that open into it alone, as one upright place, and those places."""
    metal, out = winding.tree_of(*plain(whole)), []
    left = [place for place in places if not place.ends and not place.upright]
    for hole in holes:
        met = [place for place in left if float((place.solid ^ hole.solid).volume()) > CRUMB and _within(hole.solid + place.solid, metal)]
        if not met:
            continue
        solid = manifold3d.Manifold.batch_boolean([hole.solid, *(place.solid for place in met)], manifold3d.OpType.Add)
        prism = manifold3d.Manifold.batch_boolean([place.prism for place in met], manifold3d.OpType.Add)
        out.append((Place(solid, prism, region(solid)._replace(bore=0.0), hole.ends, False, np.zeros(3), True), met))
        left = [place for place in left if not any(place is one for one in met)]
    return out


def _within(solid: manifold3d.Manifold, metal: winding.Tree) -> bool:
    """Whether sand is one body that meets the mould's at its top and its foot only."""
    if len(solid.decompose()) > 1:
        return False
    vertices, faces = plain(solid)
    _, areas, middles, outside = off(vertices, faces)
    low, high = float(vertices[:, 2].min()), float(vertices[:, 2].max())
    between = (middles[:, 2] > low + LEVEL) & (middles[:, 2] < high - LEVEL) & (areas > 0)
    return float(areas[between][winding.at(metal, outside[between]) < 0.5].sum()) < SPECK


def widening(place: Place) -> float:
    """Volume [mm3] of the sand of an upright place that stands out over its section at the foot: metal gets under it."""
    _, _, low, _, _, high = place.solid.bounding_box()
    column = place.solid.slice(low + LEVEL).extrude(high - low).translate((0.0, 0.0, low))
    volume = float((place.solid - column).volume())
    return volume if volume > CRUMB else 0.0
