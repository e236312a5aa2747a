"""What a crooked joint asks of the print: the pattern's bodies on either side of it, and the follow board. Millimetres; pieces in metres."""

from __future__ import annotations

from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array, Mesh, Piece
from strickle.pattern.board import follow
from strickle.pattern.crooked import cut, dragged, heights, split
from strickle.pattern.field import facts
from strickle.pattern.halves import Body, Cut
from strickle.pattern.readable import written
from strickle.pattern.result import Sheet
from strickle.pattern.rules import THIN
from strickle.pattern.works import Joint

LIFTS = (1.0, 5.0)  # mm
SMALL = 1e-3  # of the pattern: bodies smaller than this are told where they are films, and are no reason to give a crooked joint up


class Seated(NamedTuple):
    """The pattern cut along a crooked joint, at print scale."""

    cut: Cut
    dragged: float  # mm3 of sand a body drags along, the most
    thin: float  # mm, mean wall of the thinnest body that is not small: twice its volume over its surface
    slivers: tuple[tuple[str, float], ...]  # small bodies thinner than a print can be, and their mean wall [mm]


def seated(solid: manifold3d.Manifold, joint: Joint, scale: Array) -> Seated:
    """``solid`` at cavity scale cut along the joint, bodies scaled by ``scale`` (3,) to print scale."""
    parted = split(solid, joint.sheet, joint.box)
    face = joint.sheet._replace(h=cut(joint.sheet))
    size = tuple(float(s) for s in scale)
    own = [Body(p.name, p.half, p.side, p.turn, p.solid.scale(size)) for p in parted.pieces]
    most = max(dragged(piece, solid, parted, lift) for piece in parted.pieces for lift in LIFTS)
    walls = {p.name: 2.0 * float(p.solid.volume()) / float(p.solid.surface_area()) for p in parted.pieces}
    small = {p.name for p in parted.pieces if p.solid.volume() < SMALL * solid.volume()}
    thin = min(wall for name, wall in walls.items() if name not in small)
    slivers = tuple((name, wall) for name, wall in walls.items() if name in small and wall < THIN)
    return Seated(Cut(own, parted.crumbs, lambda x, y: heights(face, x / scale[0], y / scale[1]) * scale[2]), most, thin, slivers)


def board_of(solid: manifold3d.Manifold, joint: Joint, scale: Array) -> Piece:
    """The follow board that takes the cope's place while the drag is rammed, at print scale."""
    field = joint.sheet
    low_x, low_y, _, high_x, high_y, _ = solid.bounding_box()
    bent = np.argwhere(field.h != 0)
    (i, j), (k, m) = bent.min(axis=0), bent.max(axis=0)
    i, j, k, m = max(i - 1, 0), max(j - 1, 0), min(k + 1, len(field.x) - 1), min(m + 1, len(field.y) - 1)
    room = np.array([min(low_x, field.x[i]), max(high_x, field.x[k]), min(low_y, field.y[j]), max(high_y, field.y[m])])
    made = follow(solid, field, room + np.array([-1.0, 1.0, -1.0, 1.0]), 1.0)
    board = made.solid.scale(tuple(float(s) for s in scale))
    vertices, faces = written(board)
    return Piece(
        name="follow-board",
        role="board",
        half="drag",
        mesh=Mesh(vertices=vertices * 1e-3, faces=faces),
        draw=np.array([0.0, 0.0, made.draw]),
        order=0,
        volume=float(board.volume()) * 1e-9,
        extents=np.ptp(vertices, axis=0) * 1e-3,
        note=(
            "Takes the cope's place while the drag is rammed: stood in the turned-over cope frame, sand rammed round it level with its brim,"
            " the pattern laid in its seat; lifted off straight when drag and board have been turned over together."
        ),
    )


def sheet_of(joint: Joint) -> Sheet:
    """The joint as the result keeps it."""
    field, told = joint.sheet, facts(joint.sheet)
    return Sheet(
        x=field.x * 1e-3,
        y=field.y * 1e-3,
        height=field.h * 1e-3,
        lowest=told.lowest * 1e-3,
        highest=told.highest * 1e-3,
        steepest=float(np.tan(np.radians(told.steepest))),
        area=told.beyond * 1e-6,
        saved=joint.saving.saved * 1e-9,
    )
