"""How the edges of a splice are prepared for welding, by the wall that is there. Lengths in metres, angles in radians.

Source of the angles, walls and lands: G. Mathers, The Welding of Aluminium and its Alloys, Woodhead Publishing, Cambridge, 2002, the tables of
edge preparations for TIG (after BS 3019) and MIG. They are for sheet and plate; that they serve for a casting's walls is common practice.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from strickle.base import Source

MATHERS = Source(
    key="mathers",
    says="G. Mathers, The Welding of Aluminium and its Alloys, Woodhead Publishing, Cambridge, 2002, tables of edges (TIG after BS 3019, and MIG)",
    mark="seen",
)
SQUARE = 4e-3  # up to this wall the edges meet square (the table: to 3.8 mm, 4.8 mm is bevelled)
SINGLE, DOUBLE = math.radians(80), math.radians(90)  # from outside alone (the table: 70 to 90 degrees), from both sides (the table: 90 degrees)
LAND = 1.6e-3  # land left between the bevels (the tables: 1.5 and 1.6 mm)
MOST = 12e-3  # deepest bevel from one side: what is thicker is not welded through (choice of this program)
LEAST_CAST = 1e-3  # a shallower bevel is left to the file (choice of this program)


class Groove(NamedTuple):
    """A splice's edge: its form, angle, land, depth into the wall, and how much of the depth is cast on."""

    edge: str
    angle: float
    root: float
    depth: float
    cast: float


def groove(thin: float, hollow: bool, least: float, kind: str = "weld") -> Groove:
    """The edge of a wall ``thin`` [m]: bevelled from outside alone where the splice face is ``hollow``, else all round.

    ``least`` is the thinnest section that the sand fills [m]: a bevel is cast on until that much land is left, the rest is filed.

    >>> groove(0.0035, False, 0.003).edge
    'square'
    >>> made = groove(0.010, False, 0.003)
    >>> made.edge, round(made.depth * 1e3, 2), round(made.cast * 1e3, 2)
    ('bevel all round', 4.2, 3.5)
    >>> made = groove(0.010, True, 0.003)
    >>> made.edge, round(made.depth * 1e3, 2), round(made.cast * 1e3, 2)
    ('bevel outside', 8.4, 7.0)
    """
    if kind != "weld" or thin <= SQUARE:
        return Groove("square", 0.0, thin, 0.0, 0.0)
    sides = 1 if hollow else 2
    depth = min((thin - LAND) / sides, MOST)
    cast = min(max(thin - max(least, LAND), 0.0) / sides, depth)
    edge, angle = ("bevel outside", SINGLE) if hollow else ("bevel all round", DOUBLE)
    return Groove(edge, angle, thin - sides * depth, depth, cast if cast >= LEAST_CAST else 0.0)
