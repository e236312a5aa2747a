"""A crooked parting as the mould room takes it: heights on a grid, and a cavity laid flat by it.

Drawing is along z, so a body of sand is as deep as its wall reaches from the parting above or below it. Every point of the cavity is
moved along z by the height of the sheet over it: sections, walls along the draw and depths from the parting stay what they are, and
everything that holds of a flat parting holds of the mould so laid flat. Walls that lean keep their draft only where the sheet is level.
"""

from __future__ import annotations

from typing import NamedTuple

import manifold3d
import numpy as np
from scipy import ndimage

from strickle.base import Array, Mesh

LONGEST = 2.0  # mm, edges of the cavity before it is laid flat: coarser ones cut off the sheet's bends
LEVEL = 5e-6  # m off the flask's level that is none


class Sheet(NamedTuple):
    """The parting over the flask's plan [m]: even nodes and the height at each; level, at 0, outside them."""

    x: Array  # (nx,)
    y: Array  # (ny,)
    h: Array  # (nx, ny)

    @property
    def flat(self) -> bool:
        """Whether it lies at the flask's level all over."""
        return bool(np.abs(self.h).max(initial=0.0) < LEVEL)

    def heights(self, plan: Array) -> Array:
        """Height (n,) over places in plan (n, 2)."""
        return np.asarray(ndimage.map_coordinates(self.h, self._places(plan), order=1, cval=0.0))

    def normals(self, plan: Array) -> Array:
        """Unit normal (n, 3), upward, over places in plan (n, 2)."""
        rise = np.gradient(self.h, self.x, self.y)
        slopes = [ndimage.map_coordinates(part, self._places(plan), order=1, cval=0.0) for part in rise]
        out = np.stack([-slopes[0], -slopes[1], np.ones(len(plan))], axis=1)
        return np.asarray(out / np.linalg.norm(out, axis=1)[:, None])

    def _places(self, plan: Array) -> Array:
        step = self.x[1] - self.x[0], self.y[1] - self.y[0]
        return np.stack([(plan[:, 0] - self.x[0]) / step[0], (plan[:, 1] - self.y[0]) / step[1]])


def laid_flat(cavity: Mesh, sheet: Sheet | None) -> Mesh:
    """The cavity with every point lowered by the sheet's height over it; as it is where the parting is flat."""
    if sheet is None or sheet.flat:
        return cavity
    corners = np.ascontiguousarray(cavity.vertices * 1e3, dtype=np.float64)
    solid = manifold3d.Manifold(manifold3d.Mesh64(corners, np.ascontiguousarray(cavity.faces, dtype=np.uint64)))
    made = solid.refine_to_length(LONGEST).to_mesh64()
    vertices = np.array(made.vert_properties[:, :3], dtype=np.float64) * 1e-3
    vertices[:, 2] -= sheet.heights(vertices[:, :2])
    vertices[np.abs(vertices[:, 2]) < LEVEL, 2] = 0.0
    return Mesh(vertices=vertices, faces=np.array(made.tri_verts, dtype=np.int64))
