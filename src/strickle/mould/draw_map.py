"""Chances of the sand bodies laid on the faces of the part that bound them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from strickle.base import Array
from strickle.mould.draw_bodies import Body

NEAR = 0.3  # a face's middle this near to a section of a body bounds it [mm]
FACES = 0.7  # cosine between a face's normal and the way to a body farther off, which draft moved off that face


def face_chances(middles: Array, bodies: Sequence[Body], chances: Sequence[float], normals: Array | None = None) -> Array:
    """The greatest chance (m,) of the bodies that the faces with these ``middles`` (m, 3) [m, mould frame] bound; 0 elsewhere.

    The middles are the part's, the bodies those of the cavity: where the pattern was given draft its wall stands off the part's. A face
    that looks at a body from no farther than the body has grown from there to its root bounds it too, by its ``normals`` (m, 3).
    """
    out = np.zeros(len(middles))
    for half, side in (("drag", -1.0), ("cope", 1.0)):
        high = middles[:, 2] * side * 1e3
        layers: dict[tuple[float, float], list[tuple[shapely.Polygon, float, float]]] = {}
        for body, chance in zip(bodies, chances, strict=True):
            if body.half == half and chance > 0.0:
                for (low, top, shape), off in zip(body.shapes, _grown(body), strict=True):
                    layers.setdefault((low, top), []).append((shape, chance, off))
        for (low, top), held in layers.items():
            mine = np.flatnonzero((high > low - 0.02) & (high < top + 0.02))
            if len(mine):
                _lay_on(out, mine, middles, normals, held)
    return out


def _grown(body: Body) -> Array:
    """How far a wall of the body stands off where it stands at the root, layer by layer of ``shapes`` [mm]."""
    step = (body.draft * body.thick * 1e3)[body.own :]
    return np.asarray(step[::-1].cumsum()[::-1] - step / 2.0)


def _lay_on(out: Array, mine: Array, middles: Array, normals: Array | None, held: Sequence[tuple[shapely.Polygon, float, float]]) -> None:
    """Raise ``out`` at those of the faces ``mine`` that bound sections of one layer."""
    tree = shapely.STRtree([shape for shape, _, _ in held])
    worth, off = (np.array([one[i] for one in held]) for i in (1, 2))
    points = shapely.points(middles[mine, :2] * 1e3)
    reach = NEAR + (float(off.max()) if normals is not None else 0.0)
    face, at = tree.query(points, predicate="dwithin", distance=reach)
    if not len(face):
        return
    line = shapely.shortest_line(points[face], tree.geometries[at])
    far = shapely.length(line)
    good = far <= NEAR
    if normals is not None:
        ends = shapely.get_coordinates(line).reshape(-1, 2, 2)
        way = (ends[:, 1] - ends[:, 0]) / np.maximum(far, 1e-9)[:, None]
        plan = normals[mine[face], :2]
        looks = (way * plan).sum(axis=1) > FACES * np.maximum(np.linalg.norm(plan, axis=1), 0.5)
        good |= looks & (far <= NEAR + off[at])
    np.maximum.at(out, mine[face[good]], worth[at[good]])
