"""What a crooked joint asks of the print: the pattern in one piece, and the follow board it is rammed on. Millimetres; pieces in metres.

A flat board wants a pattern in halves; on a follow board the whole pattern lies as it lies in the mould, so that nothing is cut along the joint.
"""

from __future__ import annotations

from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array, Mesh, Piece
from strickle.pattern.board import follow
from strickle.pattern.crooked import bodies, dragged
from strickle.pattern.field import facts, level_round
from strickle.pattern.halves import CRUMB, Body, Whole
from strickle.pattern.mend import mended
from strickle.pattern.readable import written
from strickle.pattern.result import Sheet
from strickle.pattern.works import Joint

LIFTS = (1.0, 5.0)  # mm


class Seated(NamedTuple):
    """The pattern that lies across a crooked joint, at print scale."""

    whole: Whole
    dragged: float  # mm3 of sand that comes along, the most


def seated(solid: manifold3d.Manifold, joint: Joint, scale: Array) -> Seated:
    """``solid`` at cavity scale, its bodies scaled by ``scale`` (3,) to print scale; drawn out of the drag once the cope is off."""
    every = bodies(solid)
    kept = [body.scale(tuple(float(s) for s in scale)) for body in every if body.volume() >= CRUMB]
    own = [Body("drag-pattern" + (f"-{i + 1}" if i else ""), "drag", -1.0, i, body) for i, body in enumerate(kept)]
    return Seated(Whole(own, len(every) - len(kept)), dragged(solid, joint.sheet, joint.box, LIFTS))


def board_of(solid: manifold3d.Manifold, joint: Joint, scale: Array) -> Piece:
    """The follow board that takes the cope's place while the drag is rammed, at print scale."""
    field = joint.sheet
    low_x, low_y, _, high_x, high_y, _ = solid.bounding_box()
    x, y, _ = level_round(field.x, field.y, field.h)
    room = np.array([min(low_x, x[0]), max(high_x, x[-1]), min(low_y, y[0]), max(high_y, y[-1])])
    made = follow(solid, field, room + np.array([-1.0, 1.0, -1.0, 1.0]), 1.0)
    board, _ = mended(made.solid.scale(tuple(float(s) for s in scale)), 0.0)
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
