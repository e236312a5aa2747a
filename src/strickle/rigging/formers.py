"""Printed formers: what each piece is, how it leaves the sand, and whether it does."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d as m3
import numpy as np

from strickle.base import Array, Piece, tell
from strickle.rigging.solids import Frame, Solid

PILOT = 3.2
"""mm, pilot hole for a lifting screw."""
SLACK = 0.02
"""mm a section may stand proud of the next without counting as held."""
UP, DOWN = np.array([0.0, 0.0, 1.0]), np.array([0.0, 0.0, -1.0])


@dataclass(slots=True, eq=False)
class Former:
    """A printed piece before its holes: solid, half, direction and order of drawing; ``beside`` is pattern it is drawn with."""

    name: str
    role: str
    half: str
    solid: Solid
    up: bool
    order: int
    note: str
    holes: list[Array]
    hole_radius_room: float = 0.0
    beside: Solid | None = None
    touches_sand: bool = True


def held(former: Former, slices: int = 12) -> float:
    """Area [mm2] of sections that stand proud of the next one along the draw: sand that holds the piece. 0 is right.

    A piece that is drawn together with pattern is judged with it, less the pattern's own fault.
    """
    x0, y0, low, x1, y1, high = former.solid.bounding_box()
    levels = np.linspace(low + 0.01, high - 0.01, slices)
    if not former.up:
        levels = levels[::-1]
    near = None
    if former.beside is not None:
        box = m3.Manifold.cube((x1 - x0 + 6, y1 - y0 + 6, high - low + 2)).translate((x0 - 3, y0 - 3, low - 1))
        near = former.beside ^ box
    fault = _proud([former.solid.slice(z) + near.slice(z) if near is not None else former.solid.slice(z) for z in levels])
    return fault if near is None else max(fault - _proud([near.slice(z) for z in levels]), 0.0)


def _proud(sections: Sequence[m3.CrossSection]) -> float:
    total = 0.0
    for this, after in itertools.pairwise(sections):
        left = this - after.offset(SLACK, m3.JoinType.Miter)
        # slivers thinner than the slack are noise of the sections' corners
        total += left.offset(-SLACK / 2, m3.JoinType.Miter).area()
    return total


def drilled(former: Former) -> tuple[Solid, Array | None]:
    """The solid with blind pilot holes in the face one grabs, and the first hole's mouth (3,); unchanged where it is too slight."""
    solid, mouth = former.solid, None
    _, _, low, _, _, high = solid.bounding_box()
    if former.hole_radius_room < PILOT / 2 + 2.0 or not former.up:
        return solid, None
    for at in former.holes:
        room = high - low if len(at) < 3 else float(at[2])
        depth = min(15.0, room - 2.5)
        if depth < 4.0:
            continue
        solid = solid - m3.Manifold.cylinder(depth + 1.0, PILOT / 2, PILOT / 2, 24).translate((float(at[0]), float(at[1]), high - depth))
        if mouth is None:
            mouth = np.array([at[0], at[1], high])
    return solid, mouth


def printed(former: Former, frame: Frame, print_error: float) -> Piece:
    """The piece as the printer makes it, drawn smaller or larger by the printer's own error."""
    solid, mouth = drilled(former)
    if mouth is not None:
        former.note += f"; pilot hole {tell(PILOT * 1e-3, 'm')} for the lifting screw, tape over it while ramming"
    made = frame.mesh(solid)
    grow = 1.0 + print_error
    mesh = type(made)(vertices=made.vertices * grow, faces=made.faces)
    span = mesh.vertices.max(axis=0) - mesh.vertices.min(axis=0) if len(mesh.vertices) else np.zeros(3)
    return Piece(
        name=former.name,
        role=former.role,
        half=former.half,
        mesh=mesh,
        draw=UP.copy() if former.up else DOWN.copy(),
        order=former.order,
        touches_sand=former.touches_sand,
        volume=float(solid.volume()) * 1e-9 * grow**3,
        extents=span,
        lift_point=None if mouth is None else frame.outward(mouth) * grow,
        note=former.note,
    )
