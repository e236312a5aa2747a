"""Round inner corners for a half that draws: between walls, and where a wall meets a floor that looks towards the far end.

Upright corners are closed section by section: what a disc of the radius cannot reach is filled. The foot of a wall is rounded in steps as it
nears the floor. Both only add what every lower section holds too, so a half that draws still draws. Gaps narrower than twice the radius,
corners under the parting's own side and floors that are not level are left as they are.
"""

from __future__ import annotations

import itertools
from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array
from strickle.pattern.sections import MITRE, Section, area, joined, length, rings
from strickle.pattern.undercut import plain

ROUND = manifold3d.JoinType.Round
TURN = 24  # corners of a full circle
STEPS = 6  # layers of a foot, at most
STEP = 0.3  # mm of radius to a layer of a foot
STRAIGHT = 0.004  # mm a corner may leave the line of its neighbours by and still be dropped
LAP = 0.02  # mm a filling reaches into the wall it lies against
UNDER = 2e-5  # mm under or over a level that it is cut
CORNER = 1.1  # times the radius squared: a filled corner is smaller, a closed gap is larger or longer
LEVEL = 2.0  # mm2 of floor at one height that are rounded
DOWN = 1e-3  # mm a layer reaches into the one below it, which holds it
SAME = 0.02  # share of a section's filling that may come or go before it is laid in a new layer
SAND = 0.02  # mm2 of filling in one section


class Filleted(NamedTuple):
    """A half with round inner corners. Millimetres."""

    solid: manifold3d.Manifold
    added: float  # mm3


def filleted(half: manifold3d.Manifold, side: float, radius: float, *, layer: float = 0.4, block: manifold3d.Manifold | None = None) -> Filleted:
    """A half that draws, over (``side`` +1) or under (-1) its parting, with inner corners of ``radius`` [mm]; ``layer`` [mm] high steps."""
    if half.is_empty() or radius <= 0:
        return Filleted(half, 0.0)
    mirror = (0.0, 0.0, 1.0)
    body = half if side > 0 else half.mirror(mirror)
    solids = [*_upright(body, radius, layer), *(made for level in _floors(body) for made in _foot(body, level, radius))]
    if not solids:
        return Filleted(half, 0.0)
    out = manifold3d.Manifold.batch_boolean([body, *solids], manifold3d.OpType.Add)
    out = out if side > 0 else out.mirror(mirror)
    if block is not None:
        out = out ^ block
    return Filleted(out, max(float(out.volume() - half.volume()), 0.0))


def _floors(body: manifold3d.Manifold) -> list[float]:
    """Heights of level faces that look up and have metal over them somewhere."""
    vertices, faces = plain(body)
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    height = vertices[faces][:, :, 2]
    flat = (np.ptp(height, axis=1) < 1e-3) & (cross[:, 2] > 0)
    order = np.flatnonzero(flat)[np.argsort(height[flat, 0])]
    groups = np.split(order, np.flatnonzero(np.diff(height[order, 0]) > 1e-3) + 1) if order.size else []
    top = float(vertices[:, 2].max())
    levels = [(float(height[g].max()), float(cross[g, 2].sum()) / 2) for g in groups]
    return [level for level, size in levels if size > LEVEL and level < top - 0.1]


def _foot(body: manifold3d.Manifold, level: float, radius: float) -> list[manifold3d.Manifold]:
    """Steps that round the feet of walls on a floor."""
    floor, walls = body.slice(level - UNDER), body.slice(level + UNDER).simplify(STRAIGHT)
    low_x, low_y, _, high_x, high_y, _ = body.bounding_box()
    sheet = Section.square((high_x - low_x + 8 * radius, high_y - low_y + 8 * radius)).translate((low_x - 4 * radius, low_y - 4 * radius))
    # where a ball of the radius comes down to the floor, and the corners beside it
    reached = _offset(_offset(sheet - walls, -radius), 1.42 * radius) ^ floor
    if reached.is_empty():
        return []
    out = []
    steps = min(max(int(np.ceil(radius / STEP)), 2), STEPS)
    edges = radius * (1 - np.cos(np.linspace(0.0, np.pi / 2, steps + 1)))
    for low, high in itertools.pairwise(edges):
        reach = radius - np.sqrt(radius**2 - (radius - (low + high) / 2) ** 2)
        wall = body.slice(level + high - UNDER).simplify(STRAIGHT)
        step = (_offset(wall, float(reach)).simplify(STRAIGHT) ^ reached) - wall.offset(-2 * LAP, MITRE)
        if step.area() > SAND:
            out.append(step.extrude(high - low + UNDER).translate((0.0, 0.0, level + low - UNDER)))
    return out


def _upright(body: manifold3d.Manifold, radius: float, layer: float) -> list[manifold3d.Manifold]:
    """Fillings of corners between walls, layer by layer."""
    low_z, high_z = float(body.bounding_box()[2]), float(body.bounding_box()[5])
    levels = np.linspace(low_z, high_z, max(int(np.ceil((high_z - low_z) / layer)), 1) + 1)
    out: list[manifold3d.Manifold] = []
    fills, kept, top = Section(), Section(), high_z
    for high in levels[:0:-1]:
        part = body.slice(high - UNDER).simplify(STRAIGHT)
        fresh = _corners(part, radius)
        if fresh:
            fills = joined([*fresh, fills] if not fills.is_empty() else fresh)
        fills = fills - part.offset(-2 * LAP, MITRE)  # what is deep in metal from here down needs no filling
        if abs(fills.area() - kept.area()) > SAME * kept.area() + SAND or (fills - kept).area() > SAME * kept.area() + SAND:
            if not kept.is_empty():
                out.append(kept.extrude(top - high + DOWN).translate((0.0, 0.0, high - DOWN)))
            kept, top = fills, high
    if not kept.is_empty():
        out.append(kept.extrude(top - low_z).translate((0.0, 0.0, low_z)))
    return out


def _corners(part: Section, radius: float) -> list[Section]:
    """What a disc cannot reach of the sand round a section, without gaps between walls."""
    closed = _offset(_offset(part, radius), -radius)
    out = []
    for piece in (closed - part).decompose():
        size = float(piece.area())
        round_ = sum(length(ring) for ring in rings(piece))
        if (
            SAND < size < CORNER * radius**2
            and size > LAP * round_ / 2
            and max((_span(r) for r in rings(piece) if area(r) > 0), default=0.0) < 4 * radius
        ):
            out.append(piece.offset(LAP, MITRE) ^ closed)
    return out


def _span(ring: Array) -> float:
    return float(np.ptp(ring, axis=0).max())


def _offset(section: Section, by: float) -> Section:
    return section.offset(by, ROUND, 2.0, TURN)
