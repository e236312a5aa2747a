"""Round holes of a part, along any direction: found on its mesh or known from exact faces, and which of them are drilled in the casting.

Millimetres, in whatever frame the mesh is given.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from strickle.base import Array
from strickle.pattern import rules
from strickle.pattern.directions import basis
from strickle.pattern.facets import UPRIGHT, Facets, Round, fitted, rounds
from strickle.stores import Stores

TIP = 1.3  # radii past the wall within which metal on the axis shuts the hole: a drill's point reaches 0.6, a ball end 1
LEDGE = 0.35  # radii past the wall within which metal near the rim is a ledge
BESIDE = 0.8  # radii from the axis that the rim is looked at
SPOTS = 8  # lines along the rim
FAR = 1e6  # mm: nothing beyond
SHALLOW = 0.1  # mm, a lower rim of a wall is none


class Hole(NamedTuple):
    """A round hole. ``ends`` and ``gaps`` are those of the mouth and of the far end."""

    at: Array  # (3,) middle of its mouth
    axis: Array  # (3,) from the mouth into the hole
    radius: float
    depth: float  # of its round wall
    reach: float  # from the mouth to the farthest of its wall, more than the depth where an end is slanted
    ends: tuple[str, str]  # open | shut | step: a narrower hole goes on
    gaps: tuple[float, float]  # free way past both ends along the rim
    wall: Array  # triangles of its wall
    exact: bool = False  # radius and axis are the file's own

    @property
    def through(self) -> bool:
        """Whether it is open at both ends; a hole that goes on narrower is not."""
        return self.ends == ("open", "open")


class Limits(NamedTuple):
    """Which holes are drilled. Millimetres."""

    narrow: float = 10.0  # holes under this are drilled
    slender: float = 1.5  # and those deeper than this many diameters
    widest: float = 30.0  # as far as a drill goes
    recess: float = 0.25  # hollows with a floor less deep than this many diameters are no holes to drill


def limits_of(stores: Stores) -> Limits:
    """The limits by the stores' data."""
    narrow, slender, widest, recess = (rules.constant(stores, f"holes.{name}").value for name in Limits._fields)
    return Limits(narrow * 1e3, slender, widest * 1e3, recess)


def drilled(diameter: float, depth: float, limits: Limits) -> bool:
    """Whether a hole of ``diameter`` and ``depth`` is filled in the pattern and drilled in the casting.

    Up to 10 mm or deeper than one and a half diameters: common practice. Wider than 30 mm nobody drills from the solid: a choice of this program.

    >>> [drilled(d, h, Limits()) for d, h in ((6, 3), (10, 8), (12, 12), (12, 20), (40, 90))]
    [True, True, False, True, False]
    """
    return diameter < 1.001 * limits.narrow or (1.001 * limits.slender * diameter < depth and diameter <= 1.001 * limits.widest)


def found(mesh: Facets, known: Sequence[tuple[Array, Array, float, float]] = ()) -> tuple[Hole, ...]:
    """The round holes of a mesh, the widest first.

    ``known``: holes by the file's own faces, each a point of the mouth, the direction into it, radius and depth. A hole whose two ends are shut
    or with metal in its middle is none.
    """
    walls = [(wall, True) for at, axis, radius, depth in known if (wall := _known(mesh, at, axis, radius, depth)) is not None]
    taken = {int(i) for wall, _ in walls for i in wall.faces}
    walls += [(wall, False) for wall in rounds(mesh) if taken.isdisjoint(wall.faces.tolist())]
    out = [hole for wall, exact in walls if (hole := _hole(mesh, wall, exact)) is not None]
    return tuple(sorted(out, key=lambda h: (-round(h.radius, 3), -round(h.depth, 3), *np.round(h.at, 3))))


def _known(mesh: Facets, at: Array, axis: Array, radius: float, depth: float) -> Round | None:
    """The wall of a hole that is known, on the mesh."""
    axis = axis / np.linalg.norm(axis)
    frame, near = basis(axis), max(0.01, 1e-3 * radius)
    local = (mesh.vertices - at) @ frame.T
    on = (np.abs(np.hypot(local[:, 0], local[:, 1]) - radius) < near) & (local[:, 2] > -near) & (local[:, 2] < depth + near)
    faces = np.flatnonzero(on[mesh.faces].all(axis=1))
    middles = local[mesh.faces[faces]].mean(axis=1)[:, :2]
    inward = np.einsum("ij,ij->i", mesh.normals[faces] @ frame[:2].T, middles) < 0
    faces = faces[inward & (np.abs(mesh.normals[faces] @ axis) < UPRIGHT)]
    return fitted(mesh, faces, axis, (np.asarray(at, dtype=float), radius)) if len(faces) else None


def _hole(mesh: Facets, wall: Round, exact: bool) -> Hole | None:
    """A round wall as a hole with what lies past its ends."""
    frame = basis(wall.axis)
    local = (mesh.vertices - wall.foot) @ frame.T
    half = (wall.low + wall.high) / 2 - float(wall.foot @ wall.axis)
    turn = 0.37 + 2 * np.pi * np.arange(SPOTS) / SPOTS
    spots = [np.array([0.021, 0.013]), *(BESIDE * np.array([np.cos(t), np.sin(t)]) for t in turn)]
    column = _column(local, mesh.faces, wall.radius)
    ways = np.array([_free(column, wall.radius * spot, half) for spot in spots]) + wall.foot @ wall.axis
    if np.isnan(ways).any():
        return None
    if wall.high - wall.low < SHALLOW:
        return None
    ends, gaps = [], []
    for i, end in enumerate((wall.low, wall.high)):
        out = (np.clip(ways[:, i], -FAR, FAR) - end) * (-1.0, 1.0)[i]
        axis, rim = float(out[0]), float(np.median(out[1:]))
        ledge = rim < LEDGE * wall.radius
        shut = axis < TIP * wall.radius and (ledge or axis - rim > 0.15 * wall.radius)
        ends.append("shut" if shut else "step" if ledge else "open")
        gaps.append(max(float(out[1:].min()), 0.0))
    if ends == ["shut", "shut"]:
        return None
    turned = ends[0] != "open" and (ends[1] == "open" or ends[0] == "shut")
    mouth = wall.high if turned else wall.low
    axis_in = -wall.axis if turned else wall.axis
    order = (1, 0) if turned else (0, 1)
    return Hole(
        wall.foot + mouth * wall.axis, axis_in, wall.radius, wall.depth, wall.high - wall.low,
        (ends[order[0]], ends[order[1]]), (gaps[order[0]], gaps[order[1]]), wall.faces, exact,
    )  # fmt: skip


class _Column(NamedTuple):
    """Triangles near an axis, which runs along z through the origin."""

    tri: Array  # (k, 3, 3)
    low: Array  # (k, 2) their boxes in plan
    high: Array


def _column(local: Array, faces: Array, radius: float) -> _Column:
    """Triangles whose box in plan comes within ``radius`` of the axis."""
    x, y = (local[:, i][faces] for i in (0, 1))
    near = (x.min(axis=1) <= radius) & (x.max(axis=1) >= -radius) & (y.min(axis=1) <= radius) & (y.max(axis=1) >= -radius)
    tri = local[faces[near]]
    return _Column(tri, tri[:, :, :2].min(axis=1), tri[:, :, :2].max(axis=1))


def _free(column: _Column, at: Array, level: float) -> tuple[float, float]:
    """Heights between which the line through ``at`` (2,) is free of metal round ``level``; NaN where there is metal."""
    tri = column.tri[((column.low <= at) & (column.high >= at)).all(axis=1)]
    p = tri[:, :, :2] - at
    q = np.roll(p, -1, axis=1)
    side = p[:, :, 0] * q[:, :, 1] - p[:, :, 1] * q[:, :, 0]
    hit = (side > 0).all(axis=1) | (side < 0).all(axis=1)
    side = side[hit]
    # each side's product is twice the area across from the corner before it
    weight = np.roll(side, -1, axis=1) / side.sum(axis=1)[:, None]
    height = (weight * tri[hit][:, :, 2]).sum(axis=1)
    up = side.sum(axis=1) > 0  # the surface looks up: metal ends there
    if (up[height < level].sum() - (~up[height < level]).sum()) != 0:
        return np.nan, np.nan
    under, over = height[height < level], height[height >= level]
    return float(under.max()) if under.size else -np.inf, float(over.min()) if over.size else np.inf
