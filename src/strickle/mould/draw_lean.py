"""Draft of bodies of sand, measured stretch by stretch of the outlines of their sections: mean of the walls, and least of the sides. Millimetres."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from typing import Any

import manifold3d
import numpy as np
import shapely

from strickle.base import Array

NEAR = 0.06  # distance from metal at which sand touches it [mm]
STEEP = 0.268  # what leans more from the draw, 15 degrees, is a floor or a ledge, no wall [tangent] (choice of this program)
STRETCH = 1.0  # longest stretch of outline that is measured as one [mm]
SIDES = 16  # ways in plan in which the least draft of a body's sides is sought
SQUARE = 0.7  # cosine to its own face within which a stretch has moved, and not begun
TOUCH = 1e-3  # mm, that near the section before it has not moved
TOWARDS, A_SIDE = 0.866, 0.12  # cosine within which a stretch looks one way, and share of the outline that makes it a side
RISEN = 0.25  # least share of the depth over which draft is counted where a pattern leans

WAYS = np.array([[np.cos(turn), np.sin(turn)] for turn in 2 * np.pi * np.arange(SIDES) / SIDES])
NO_LEANS = np.zeros((2 + SIDES, 2))


class Outline:
    """The metal of one section [mm] with its outline, to be asked for distances."""

    def __init__(self, section: manifold3d.CrossSection, high: float) -> None:
        self.section, self.high = section, high
        self.rings = [np.asarray(ring) for ring in section.to_polygons()]
        closed = [np.vstack([ring, ring[:1]]) for ring in self.rings]
        self.edge = shapely.MultiLineString(closed)
        shapely.prepare(self.edge)
        self.ends = np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in closed]) if closed else np.zeros((0, 2, 2))

    @functools.cached_property
    def tree(self) -> shapely.STRtree:
        """Of the straight pieces of the outline."""
        return shapely.STRtree(shapely.linestrings(self.ends))

    def off(self, points: Array) -> Array:
        """From the nearest place of the outline to each point (n, 2) [mm] (n, 2)."""
        _, at = self.tree.query_nearest(shapely.points(points), all_matches=False)
        a, b = self.ends[at, 0], self.ends[at, 1]
        along, off = b - a, points - a
        share = np.clip((off * along).sum(axis=1) / np.maximum((along**2).sum(axis=1), 1e-18), 0.0, 1.0)
        return np.asarray(off - share[:, None] * along)


def leans_of(shapes: Sequence[Any], is_open: Array, now: Outline, before: Outline | None) -> list[Array]:
    """Leans (2 + SIDES, 2) of the outlines of some components of a section since the section ``before``.

    The first row holds draft times length, and length [mm], of walls; the second the same of all that touches the pattern, what is steep as
    ``STEEP``; the others of what of that looks each way. ``is_open`` (m,): part of the outline does not touch the pattern.
    """
    if before is None or not len(shapes) or not len(before.ends):
        return [NO_LEANS] * len(shapes)
    starts, ends, owner = [], [], []
    for i, shape in enumerate(shapes):
        for ring in (shape.exterior, *shape.interiors):
            corners = shapely.get_coordinates(shapely.segmentize(ring, STRETCH))
            starts.append(corners[:-1])
            ends.append(corners[1:])
            owner.append(np.full(len(corners) - 1, i))
    a, b, mine = np.concatenate(starts), np.concatenate(ends), np.concatenate(owner)
    middles, along = (a + b) / 2.0, b - a
    long = np.linalg.norm(along, axis=1)
    touches = np.ones(len(long), bool)
    partly = is_open[mine]
    touches[partly] = shapely.dwithin(shapely.points(middles[partly]), now.edge, NEAR)
    middles, along, long, mine = middles[touches], along[touches], long[touches], mine[touches]
    off, normal = before.off(middles), np.column_stack([along[:, 1], -along[:, 0]]) / np.maximum(long, 1e-12)[:, None]  # out of the sand
    far, back = np.linalg.norm(off, axis=1), (off * normal).sum(axis=1)
    # a wall that only begins here, beside a floor that ends, lies off the section before along itself: it says nothing of its draft
    known = (np.abs(back) > SQUARE * far) | (far < TOUCH)
    slope = np.sign(back) * far / abs(now.high - before.high)
    wall, capped = known & (np.abs(slope) < STEEP), np.clip(slope, -STEEP, STEEP)
    looks = (normal @ WAYS.T > TOWARDS) * (long * known)[:, None]
    columns = np.column_stack([long * wall, long * known, looks])
    worth = np.column_stack([long * wall * slope, long * known * capped, looks * capped[:, None]])
    out = []
    for i in range(len(shapes)):
        own = mine == i
        out.append(np.column_stack([worth[own].sum(axis=0), columns[own].sum(axis=0)]))
    return out


def draft_of(leans: Array, thick: Array) -> tuple[Array, Array]:
    """Tangents of the draft of each layer, tip to root (n,): mean of the walls, and least of the sides; ``leans`` (n, 2 + SIDES, 2)."""
    n = len(thick)
    out = np.zeros((2, n))
    apart = (thick[1:] + thick[:-1]) / 2.0
    reach = max(2, round(0.15 * n))
    for i in range(n if n > 1 else 0):
        window = slice(max(0, i - reach), min(n - 1, i + reach))
        worth, long = np.moveaxis((leans[1:][window] * apart[window, None, None]).sum(axis=0), -1, 0)
        if long[0] > 0.0:
            out[0, i] = worth[0] / long[0]
        sides = long[2:] > A_SIDE * max(float(long[1]), 1e-12)
        if sides.any():
            out[1, i] = float((worth[2:][sides] / long[2:][sides]).min())
    return np.maximum(out[0], 0.0), np.maximum(out[1], 0.0)


def towards_tip(draft: Array, thick: Array) -> float:
    """Tangent of the draft that gives a body room as its pattern leans, layers tip to root (n,).

    As the pattern rises the tip gains what the wall has gained over the way risen, counted from the tip: a chamfer at the root comes last. The
    least mean of those over ``RISEN`` of the depth and more.

    >>> round(towards_tip(np.array([0.0, 0.0, 0.0, 0.6]), np.ones(4)), 3)
    0.0
    >>> round(towards_tip(np.full(4, 0.05), np.ones(4)), 3)
    0.05
    """
    deep, gained = np.cumsum(thick), np.cumsum(draft * thick)
    far = deep >= min(RISEN * deep[-1], deep[-1])
    return float((gained[far] / deep[far]).min())
