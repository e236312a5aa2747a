"""The follow board: it holds the pattern to its crooked parting while the other half is rammed. Millimetres, mould frame.

The seat is the pattern's own underside cleared all round and left open upward, so that the board lifts off whatever the pattern's shape.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import manifold3d
import numpy as np
from scipy import ndimage

from strickle.base import Array, BadInput
from strickle.pattern.crooked import bodies
from strickle.pattern.field import Field, block, lowest

CLEAR = 0.25  # mm between pattern and seat on every side; below, the pattern rests on its lowest places (choice of this program)
LAYER = 0.4  # mm of height in one step of the seat
PINHOLE = 1e-5  # mm2: less is the library's rounding
SNAP = 1 / 512  # mm
COARSE = 3  # nodes of the sheet to one of the hollow under it
LAYERS = 40  # at most: a deeper seat has higher steps
FINE = 0.02  # mm, what the seat's outline may leave out of its corners; twice as much of slivers between one step and the next
FLOOR = 4.0  # mm of board under the deepest place
WALL = 2.4  # mm of shell, rim and ribs: six lines of a 0.4 mm nozzle
RIB = 40.0  # mm from rib to rib, at most
BRIM = 20.0  # mm of board under the flask's walls
PIN, PIN_HIGH = 6.0, 10.0  # mm, pegs that place the flask
DENSITY = 1.24e-6  # kg/mm3 of print, solid (a common print material, from memory)


class Board(NamedTuple):
    """A follow board as it is printed."""

    solid: manifold3d.Manifold
    side: float  # the half whose place it takes: -1 drag, +1 cope
    draw: float  # +1 or -1: it is lifted off the pattern along this way of z
    mass: float  # kg
    wall: float  # mm of shell and ribs; 0 where it is solid
    height: float  # mm over all, pegs left out
    crumbs: int  # loose bodies left out


def follow(
    whole: manifold3d.Manifold, field: Field, room: Array, side: float = -1.0, pins: Array | None = None, layer: float = LAYER, clear: float = CLEAR
) -> Board:
    """The board that takes the place of the drag (``side`` -1) or the cope (+1) while the other half is rammed.

    ``room`` (4,) x low, x high, y low, y high is the flask's inside; a brim goes round it for the flask to stand on, at z = 0.
    ``pins`` (k, 2) are places of pegs on it. Raises BadInput where pegs stand off the brim or the sheet leaves the room.
    """
    if side > 0:
        turned = follow(whole.mirror((0, 0, 1)), field._replace(h=-field.h, low=-field.high, high=-field.low), room, -1.0, pins, layer, clear)
        return turned._replace(solid=turned.solid.mirror((0, 0, 1)), side=1.0, draw=1.0)
    sheet_top = max(float(field.h.max()), 0.0)
    bottom = min(float(whole.bounding_box()[2]), sheet_top)
    base = min(float(field.h.min()), bottom, 0.0) - FLOOR
    layer = max(layer, (sheet_top - bottom) / LAYERS)
    outer = np.array([room[0] - BRIM, room[1] + BRIM, room[2] - BRIM, room[3] + BRIM])
    body = block(field, np.array([*outer, base, sheet_top + 1.0]))
    seat = _seat(whole, sheet_top, layer, clear)
    shell, wall = body, 0.0
    if (hollow := _hollow(whole, field, outer, base, max(layer, clear))) is not None:
        shell, wall = body - hollow, WALL
    made = shell
    for part in seat:
        made = made - part
    every = bodies(made)
    kept = [p for p in every if float(p.bounding_box()[2]) < base + 1e-3]
    if not kept:
        raise BadInput("the follow board falls to pieces", "Part the pattern flat")
    main = max(kept, key=lambda p: float(p.volume()))
    height = float(main.bounding_box()[5]) - base
    if pins is not None and len(pins):
        main = pegged(main, pins, outer, room)
    return Board(main, -1.0, -1.0, float(main.volume()) * DENSITY, wall, height, len(every) - 1)


def pegged(board: manifold3d.Manifold, pins: Array, outer: Array, room: Array) -> manifold3d.Manifold:
    """The board with pegs on its brim."""
    r = PIN / 2
    for x, y in pins:
        on = outer[0] + r <= x <= outer[1] - r and outer[2] + r <= y <= outer[3] - r
        if not on or (room[0] - r < x < room[1] + r and room[2] - r < y < room[3] + r):
            raise BadInput(
                f"a peg at {x:.0f}, {y:.0f} mm stands off the brim of the follow board", f"Keep it within {BRIM:.0f} mm of the flask's inside"
            )
        board = board + manifold3d.Manifold.cylinder(PIN_HIGH + 1.0, r, circular_segments=48).translate((float(x), float(y), -1.0))
    return board


def _seat(whole: manifold3d.Manifold, top: float, layer: float, clear: float) -> list[manifold3d.Manifold]:
    """Room for the pattern up to ``top`` with clearance, widening upward: every section with all sections under it, pushed outward.

    Below there is none: the pattern rests on its lowest places and so comes to lie at its own height. It comes as two solids to take
    away one after the other, each of every second step: their bodies do not touch and need no joining.
    """
    low = float(whole.bounding_box()[2])
    if low >= top:
        return []
    count = max(math.ceil((top - low) / layer), 1)
    levels = low + (np.arange(count + 1) * layer)
    levels[0] += min(1e-3, 0.01 * layer)
    outline = manifold3d.CrossSection()
    parts: list[manifold3d.Manifold] = []
    start, area = low, 0.0
    for k in range(count):
        fresh = manifold3d.CrossSection.batch_boolean(
            [whole.slice(float(z)) for z in np.linspace(levels[k], levels[k + 1], 3)], manifold3d.OpType.Add
        )
        if fresh.is_empty():
            continue
        more = (fresh.offset(clear + 2 * FINE, manifold3d.JoinType.Round, 2.0, 16).simplify(FINE) - outline).offset(-FINE, manifold3d.JoinType.Miter)
        here = low + k * layer
        if more.area() < 1e-3 or here >= top:
            continue
        if area > 0:
            parts.append(outline.extrude(here - start).translate((0, 0, start)))
        joined = outline + more.offset(2 * FINE, manifold3d.JoinType.Miter)
        outline = _snapped(joined + _pinholes(joined))
        area, start = float(outline.area()), here
    if area <= 0:
        return []
    parts.append(outline.extrude(top + 2.0 - start).translate((0, 0, start)))
    return [manifold3d.Manifold.compose(parts[k::2]) for k in (0, 1) if parts[k::2]]


def _snapped(outline: manifold3d.CrossSection) -> manifold3d.CrossSection:
    """The outline with its corners on a lattice finer than any print: walls of one step and the next are then the same or clearly apart."""
    corners = [np.round(ring / SNAP) * SNAP for ring in outline.to_polygons()]
    return manifold3d.CrossSection(corners, manifold3d.FillRule.Positive)


def _pinholes(outline: manifold3d.CrossSection) -> manifold3d.CrossSection:
    """Slits and holes in an outline too narrow for anything, a little larger than they are; nothing along its sound edges."""
    closed = outline.offset(2 * FINE, manifold3d.JoinType.Miter).offset(-2 * FINE, manifold3d.JoinType.Miter)
    found = [p for p in (closed - outline).decompose() if p.area() > PINHOLE]
    return (
        manifold3d.CrossSection.batch_boolean(found, manifold3d.OpType.Add).offset(FINE / 2, manifold3d.JoinType.Miter)
        if found
        else manifold3d.CrossSection()
    )


def _thinned(line: Array, ends: Array) -> tuple[Array, Array]:
    """Every so many places of a grid's line with their numbers, up to the first beyond the board's ``ends`` (2,), which is drawn back to them."""
    number = np.unique(np.append(np.arange(0, len(line), COARSE), len(line) - 1))
    low, high = ends[0] + FINE, ends[1] - FINE
    within = np.flatnonzero((line[number] > low) & (line[number] < high))
    number = number[max(within[0] - 1, 0) : within[-1] + 2]
    return np.clip(line[number], low, high), number


def _hollow(whole: manifold3d.Manifold, field: Field, outer: Array, base: float, under: float) -> manifold3d.Manifold | None:
    """Room inside the board, open below, with at least WALL of print over and beside it and ribs between; None where it saves too little."""
    top = np.minimum(field.h, lowest(whole, field.x, field.y, field.step) - under)
    reach = math.ceil((WALL + under) / field.step) + 2
    span = np.arange(-reach, reach + 1)
    disc = span[:, None] ** 2 + span**2 <= reach**2
    ceiling = ndimage.grey_erosion(top, footprint=disc, mode="nearest") - WALL
    ceiling = np.maximum(ndimage.minimum_filter(ceiling, 2 * COARSE + 1, mode="nearest"), base - 0.5)
    (x, i), (y, j) = (_thinned(line, outer[2 * axis : 2 * axis + 2]) for axis, line in enumerate((field.x, field.y)))
    coarse = field._replace(x=x, y=y)
    if base + WALL >= -WALL:
        return None
    inner = np.array([outer[0] + WALL, outer[1] - WALL, outer[2] + WALL, outer[3] - WALL])
    cells: list[manifold3d.Manifold] = []
    lines = []
    for a, b in (inner[:2], inner[2:]):
        many = max(math.ceil((b - a) / RIB), 1)
        size = (b - a - (many - 1) * WALL) / many
        lines.append([(a + i * (size + WALL), size) for i in range(many)])
    tall = float(max(ceiling.max(), 0.0)) - base + 3.0
    for x, wide in lines[0]:
        cells += [manifold3d.Manifold.cube((float(wide), float(deep), tall)).translate((float(x), float(y), base - 1.0)) for y, deep in lines[1]]
    room = block(coarse, np.array([*outer, base + WALL - 2.0, tall + base + 3.0 + WALL]), -1.0, ceiling[np.ix_(i, j)] + WALL).translate((0, 0, -WALL))
    return room ^ manifold3d.Manifold.compose(cells)


def lifts(board: Board, whole: manifold3d.Manifold, lift: float) -> float:
    """What of the pattern [mm3] stands in the way of the board moved ``lift`` off it."""
    return max(float((board.solid.translate((0.0, 0.0, board.draw * lift)) ^ whole).volume()), 0.0)
