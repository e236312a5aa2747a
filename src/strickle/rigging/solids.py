"""Solids of the rigging: meshes to manifolds and back, drafted shapes, the contact of two solids.

Inside the rigging room lengths are millimetres about the middle of the part: the boolean library is happiest there. ``Place`` keeps the
way in and out.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

import manifold3d as m3
import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from strickle.base import Array, Mesh

Solid = Any  # manifold3d.Manifold: an untyped library

MM = 1e3
REACH = 0.6
"""mm a solid goes past the face it joins: coincident oblique faces do not merge."""
DRAFT = math.radians(5.0)
"""of runner, well and ingates."""
RISER_DRAFT = math.radians(3.0)
"""of sprue and riser bodies, per side."""
NECK_DRAFT = math.radians(2.0)
"""of top necks and flow-offs, per side."""
ROUND = 48
"""corners of a circle."""


class Frame:
    """Mould metres to the room's millimetres: x and y about ``middle``, z kept."""

    def __init__(self, middle: ArrayLike) -> None:
        self.shift = np.array([*np.asarray(middle, dtype=float)[:2], 0.0])

    def inward(self, points: ArrayLike) -> Array:
        """Metres, mould frame (..., 3) to millimetres."""
        return np.asarray((np.asarray(points, dtype=float) - self.shift) * MM)

    def outward(self, points: ArrayLike) -> Array:
        """Millimetres (..., 3) to metres, mould frame."""
        return np.asarray(np.asarray(points, dtype=float) / MM + self.shift)

    def solid(self, mesh: Mesh) -> Solid:
        """The manifold of a closed mesh. Raises ValueError if it is none."""
        made = raw(self.inward(mesh.vertices), mesh.faces)
        if made.is_empty() or made.status() != m3.Error.NoError:
            raise ValueError(f"the cavity is no closed solid ({made.status()})")
        return made

    def mesh(self, solid: Solid) -> Mesh:
        """A manifold as a mesh in metres, mould frame."""
        got = solid.to_mesh64()
        return Mesh(vertices=self.outward(got.vert_properties[:, :3]), faces=np.asarray(got.tri_verts, dtype=np.int64))


def raw(vertices: ArrayLike, faces: ArrayLike) -> Solid:
    """A manifold from arrays as they are; corners that coincide are merged if that is needed to close it."""
    mesh = m3.Mesh64(np.ascontiguousarray(vertices, dtype=np.float64), np.ascontiguousarray(faces, dtype=np.uint64))
    made = m3.Manifold(mesh)
    if made.status() != m3.Error.NoError:
        mesh.merge()
        made = m3.Manifold(mesh)
    return made


def circle(x: float, y: float, radius: float, corners: int = ROUND) -> Array:
    """Corners (corners, 2) of a circle whose polygon has the circle's own area."""
    turn = np.arange(corners) * (2 * math.pi / corners)
    grow = math.sqrt(math.pi / (0.5 * corners * math.sin(2 * math.pi / corners)))
    return np.column_stack([x + grow * radius * np.cos(turn), y + grow * radius * np.sin(turn)])


def hull(*rings: tuple[ArrayLike, float]) -> Solid:
    """Hull of plan outlines (n, 2), each at its height."""
    points = [np.column_stack([np.asarray(r, dtype=float), np.full(len(np.asarray(r)), z)]) for r, z in rings]
    return m3.Manifold.hull_points(np.vstack(points))


def frustum(x: float, y: float, low: float, high: float, low_radius: float, high_radius: float) -> Solid:
    """Upright round taper."""
    return hull((circle(x, y, low_radius), low), (circle(x, y, high_radius), high))


def chain(line: ArrayLike, radius: float, depth: float) -> Solid:
    """A round-ended drafted bar along a plan line (n, 2), top at z = 0, wide at the top."""
    lean = depth * math.tan(DRAFT)
    feet = [frustum(x, y, -depth, 0.0, radius - lean, radius) for x, y in np.asarray(line, dtype=float)]
    if len(feet) == 1:
        return feet[0]
    return unite([m3.Manifold.batch_hull([a, b]) for a, b in itertools.pairwise(feet)])


def unite(solids: Sequence[Solid]) -> Solid:
    """Union of all."""
    if not solids:
        return m3.Manifold()
    return m3.Manifold.batch_boolean(list(solids), m3.OpType.Add)


def wedge_bar(at: Array, inward: Array, width: float, height: float, side: int, back: float, ahead: float, start: float = 0.0) -> Solid:
    """An ingate's bar: trapezoid section, wide at z = ``start``, from ``back`` mm outside ``at`` to ``ahead`` mm inside along ``inward``."""
    across = np.array([-inward[1], inward[0]])
    lean = height * math.tan(DRAFT)
    points = []
    for t in (-back, ahead):
        for z, half in ((start, width / 2), (side * height, width / 2 - lean)):
            for s in (-1, 1):
                plan = at + t * inward + s * half * across
                points.append((plan[0], plan[1], z))
    return m3.Manifold.hull_points(np.array(points))


def bar_section(width: float, height: float) -> float:
    """Section [mm2] of an ingate's bar."""
    return height * (width - height * math.tan(DRAFT))


def contact(part: Solid, other: Solid) -> float:
    """Area [mm2] of ``other``'s metal joined to ``part``: the part's skin that lies inside ``other``.

    c = (A(P) + A(P ^ G) - A(P - G)) / 2, from transversal booleans only; ``other`` must pass through the skin.
    """
    return 0.5 * float(part.surface_area() + (part ^ other).surface_area() - (part - other).surface_area())


def around(part: Solid, other: Solid, margin: float = 4.0) -> Solid:
    """The piece of ``part`` in the box about ``other``, so that booleans on it are quick."""
    x0, y0, z0, x1, y1, z1 = other.bounding_box()
    box = m3.Manifold.cube((x1 - x0 + 2 * margin, y1 - y0 + 2 * margin, z1 - z0 + 2 * margin))
    return part ^ box.translate((x0 - margin, y0 - margin, z0 - margin))


CRUMB = 1e-3
"""mm3: a smaller body is a rounding of the boolean, not metal."""


def whole(solid: Solid) -> Solid:
    """The solid without its crumbs."""
    bodies = solid.decompose()
    kept = [b for b in bodies if abs(b.volume()) >= CRUMB]
    return solid if len(kept) in (0, len(bodies)) else m3.Manifold.compose(kept)


APART = 3e-5
"""mm: corners of a printed piece are at least this far from each other, for a file of few places joins nearer ones."""


def plainer(solid: Solid) -> Solid:
    """The solid rid of slivers whose corners a file would join, where it has any: the surface moves by a hundredth of a millimetre at most."""
    got = solid.to_mesh64()
    if not cKDTree(got.vert_properties[:, :3]).query_pairs(APART):
        return solid
    # made anew: across faces that came from different solids nothing would be joined
    plain = raw(np.array(got.vert_properties[:, :3]), np.array(got.tri_verts))
    for tolerance in (1e-4, 5e-4, 2e-3, 5e-3, 1e-2):
        made = plain.simplify(tolerance)
        if not made.is_empty() and not cKDTree(made.to_mesh64().vert_properties[:, :3]).query_pairs(APART):
            return made
    return solid


def pieces_over(solid: Solid, least: float) -> int:
    """How many separate bodies of more than ``least`` mm3 it has."""
    return sum(1 for body in solid.decompose() if body.volume() > least)
