"""Centre marks: a small cone in the printed pattern where a drill shall start, on faces that look out of their own half. Mould frame, millimetres."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array
from strickle.pattern.holes import Hole

WIDEST, LEAST = 4.0, 2.0  # mm across a mark; narrower ones the sand does not show
SHARE = 0.8  # of the hole's diameter, so that the drill takes the mark away
SQUARE = np.cos(np.radians(1.0))  # a hole along the draw
FLAT = 0.3  # depth over width, as a drill's point is ground (common practice); steeper sand would tear
OVER = 0.2  # mm that the tool stands over the face
CLEAR = 0.5  # mm from the parting at least
OFF = 0.05  # share of the cone that may be missing, or of the room over it that may be metal


class Centred(NamedTuple):
    """Centre marks to cut."""

    cut: manifold3d.Manifold | None
    marked: tuple[bool, ...]  # for each hole
    volume: float  # mm3 taken out


def level(x: float, y: float) -> float:
    """Height of a flat parting."""
    return 0.0


def centred(body: manifold3d.Manifold, holes: Sequence[Hole], parting: Callable[[float, float], float] = level) -> Centred:
    """Marks for every filled hole that lies along the draw and opens in a face looking away from the parting.

    ``parting``: height of the parting over a place in plan. A mark is left out where there is no level metal to take it, or no room over it.
    """
    tools, marked = [], []
    for hole in holes:
        tool = next((made for at, out in _mouths(hole) if (made := _tool(body, at, out, 2 * hole.radius, parting)) is not None), None)
        marked.append(tool is not None)
        tools += [tool] if tool is not None else []
    if not tools:
        return Centred(None, tuple(marked), 0.0)
    cut = manifold3d.Manifold.batch_boolean(tools, manifold3d.OpType.Add)
    return Centred(cut, tuple(marked), float((body ^ cut).volume()))


def _mouths(hole: Hole) -> list[tuple[Array, Array]]:
    """Places where a drill can start, each with the direction out of the metal."""
    if hole.reach > hole.depth + 0.05:
        return []  # opens aslant or in a curved face
    ends = [(hole.at, -hole.axis), (hole.at + hole.reach * hole.axis, hole.axis)]
    return [ends[i] for i in (0, 1) if hole.ends[i] == "open"]


def _tool(body: manifold3d.Manifold, at: Array, out: Array, diameter: float, parting: Callable[[float, float], float]) -> manifold3d.Manifold | None:
    """The cone that cuts a mark at a mouth; None where it would not draw or not show."""
    across = min(WIDEST, SHARE * diameter)
    side = float(np.sign(out[2]))
    if across < LEAST or abs(out[2]) < SQUARE or side * (at[2] - parting(float(at[0]), float(at[1]))) < CLEAR:
        return None
    half, deep = across / 2, FLAT * across
    cone = manifold3d.Manifold.cylinder(deep, 0.0, half, circular_segments=32)
    room = manifold3d.Manifold.cylinder(1.0, half, circular_segments=32)
    cut = manifold3d.Manifold.cylinder(deep + OVER, 0.0, half + OVER / (2 * FLAT), circular_segments=32).translate((0.0, 0.0, -deep))
    placed = [
        (tool if side > 0 else tool.mirror((0.0, 0.0, 1.0))).translate(tuple(float(v) for v in at))
        for tool in (cone.translate((0.0, 0.0, -deep)), room.translate((0.0, 0.0, 0.05)), cut)
    ]
    whole = (placed[0] ^ body).volume() > (1 - OFF) * placed[0].volume()
    return placed[2] if whole and (placed[1] ^ body).volume() < OFF * placed[1].volume() else None


def moved(hole: Hole, turn: Array, scale: Array, shift: Array) -> Hole:
    """A hole of the part [mm] in the mould; ``shift`` [m]. The scale is the same along the hole and across it, or nearly."""
    size = float(np.prod(scale) ** (1 / 3))
    return hole._replace(
        at=scale * (turn @ hole.at) + shift * 1e3, axis=turn @ hole.axis, radius=hole.radius * size, depth=hole.depth * size, reach=hole.reach * size
    )
