"""Loose pieces: what hangs over a place is cut off its half, keyed to it, and drawn sideways into the hollow once the half is out.

The piece is all metal that stands over the place, away from the parting. A key, a rib narrower towards the half and towards the parting, holds it
while sand is rammed and lets go at the half's first move. The way out is proved by moving the solids in that order. All millimetres, mould frame.
"""

from __future__ import annotations

from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array
from strickle.pattern.core_body import back, turned
from strickle.pattern.places import Place
from strickle.pattern.undercut import fill, plain

KEY_DEEP = 4.0  # mm
KEY_BACK = 2.0  # mm of print left behind a key
KEY_WIDE = (3.0, 10.0)  # mm, least and most
KEY_SHARE = 0.45  # of the piece's width
NARROWS = 0.7  # width of a key at its ridge over that at its root
LEAN = np.tan(np.radians(2.0))  # of a key's flanks along the draw
SLACK = 0.15  # mm between the piece and its half
SPARE = 0.3  # mm that the piece is moved past the sand before it is lifted
DRAGS = 5e-3  # mm3 of sand that it may cut on its way
HANGS = 1.0  # mm3 of the place that may still hang once the piece is off
STEPS = 6
FAR = 1e3


class LoosePiece(NamedTuple):
    """One loose piece. Millimetres, mould frame."""

    place: Place
    side: float  # +1 in the cope, -1 in the drag
    solid: manifold3d.Manifold  # as printed
    shape: manifold3d.Manifold  # as the sand has it: no slack where it meets its half
    away: Array  # (3,) unit, level: the way it is moved first
    travel: float  # mm it is moved that way before it is drawn to the parting
    drags: float = 0.0  # mm3 of sand that it cuts on its way


class Parted(NamedTuple):
    """A part with a piece cut off."""

    main: manifold3d.Manifold
    piece: LoosePiece


def separate(whole: manifold3d.Manifold, place: Place) -> Parted | str:
    """Cut off what hangs over ``place``; or why that is no loose piece."""
    if place.told.half == "both":
        return "it reaches over the parting"
    if not np.any(place.out):
        return "it goes all round"
    side = 1.0 if place.told.half == "cope" else -1.0
    over = _over(whole, place, side)
    if over is None:
        return "nothing stands over it"
    main = whole - over
    left = fill(main)[0] - main
    if (left ^ place.solid).volume() > HANGS:
        return "metal hangs over it that cannot be cut off upright"
    key = _key(main, over, place, side)
    if isinstance(key, str):
        return key
    solid = over + key
    reach = plain(solid)[0] @ place.out
    travel = float(reach.max() - (plain(place.solid)[0] @ place.out).min()) + SPARE
    return Parted(main - key, LoosePiece(place, side, solid, solid, -place.out, travel))


def _over(whole: manifold3d.Manifold, place: Place, side: float) -> manifold3d.Manifold | None:
    """The metal that stands over a place, in its own columns."""
    _, _, low, _, _, high = place.solid.bounding_box()
    columns = place.solid.project().extrude(2 * FAR).translate((0.0, 0.0, -FAR))
    near = (low + high) / 2
    parts = [part for part in ((columns ^ whole) - place.solid).decompose() if part.volume() > HANGS]
    kept = []
    for part in parts:
        box = part.bounding_box()
        if side * ((box[2] + box[5]) / 2 - near) > 0 and (box[5] > 0.0 if side > 0 else box[2] < 0.0):
            kept.append(part)
    return manifold3d.Manifold.batch_boolean(kept, manifold3d.OpType.Add) if kept else None


def _key(main: manifold3d.Manifold, over: manifold3d.Manifold, place: Place, side: float) -> manifold3d.Manifold | str:
    """The rib that holds a piece to its half, from the piece's foot through to the far end of the half."""
    frame = turned(place.out)
    inner = float((plain(over)[0] @ place.out).min())
    local = plain(over.transform(back(frame)))[0]
    at_back = local[local[:, 2] < inner + 1.0]
    middle, wide = float((at_back[:, 0].min() + at_back[:, 0].max()) / 2), float(np.ptp(at_back[:, 0]))
    wide = float(np.clip(KEY_SHARE * wide, *KEY_WIDE))
    foot = float((side * local[:, 1]).min())
    box = main.bounding_box()
    top = max(side * box[2], side * box[5])
    height = top - foot + 1.0
    more = height * LEAN
    # corners in the end's frame: across, up, along the way out
    section = [(-0.5, 0.5), (0.5, 0.5), (0.5 * NARROWS, -KEY_DEEP), (-0.5 * NARROWS, -KEY_DEEP)]
    points = []
    for level, width in ((foot, wide), (top + 1.0, wide + 2 * more)):
        points += [(middle + x * width, side * level, inner + z) for x, z in section]
    rib = manifold3d.Manifold.hull_points(np.array(points)).transform(frame)
    deep = [(middle + x, side * level, inner - KEY_DEEP - z) for x in (-wide / 2, wide / 2) for level in (foot, foot + 2.0) for z in (0.0, KEY_BACK)]
    behind = manifold3d.Manifold.hull_points(np.array(deep)).transform(frame)
    if (behind ^ main).volume() < 0.9 * behind.volume():
        return "the wall behind it is too thin for a key"
    key = rib ^ main
    parts = [part for part in key.decompose() if (part.bounding_box()[2] if side > 0 else -part.bounding_box()[5]) < foot + 1.0]
    if not parts:
        return "the wall behind it is too thin for a key"
    return manifold3d.Manifold.batch_boolean(parts, manifold3d.OpType.Add)


def fitted(piece: LoosePiece, half: manifold3d.Manifold) -> LoosePiece:
    """The piece made to its half as that is drafted, with what it drags on its way out; ``half`` holds everything else that is drawn there."""
    across = turned(piece.away)[:, 0]
    grown = [half.translate(tuple(SLACK * way)) for way in (-piece.away, across, -across)]
    shape = _largest(piece.shape - half)
    fit = piece._replace(solid=_largest(shape - manifold3d.Manifold.batch_boolean(grown, manifold3d.OpType.Add)), shape=shape)
    return fit._replace(drags=drags(fit, half + shape))


def _largest(solid: manifold3d.Manifold) -> manifold3d.Manifold:
    """A solid without scraps."""
    return max(solid.decompose(), key=lambda part: part.volume(), default=solid)


def drags(piece: LoosePiece, hollow: manifold3d.Manifold) -> float:
    """Most sand [mm3] that a piece cuts: moved into the ``hollow`` that its half has left, then to the parting."""
    box = hollow.bounding_box()
    room = manifold3d.Manifold.cube((2 * FAR, 2 * FAR, FAR)).translate((-FAR, -FAR, 0.0 if piece.side > 0 else -FAR))
    depth = max(piece.side * box[5], piece.side * box[2])
    ways = [piece.away * piece.travel * share for share in np.linspace(0.0, 1.0, STEPS + 1)[1:]]
    last = ways[-1]
    ways += [last + np.array([0.0, 0.0, -piece.side * lift]) for lift in (1.0, 5.0, *np.linspace(0.0, depth, STEPS)[1:])]
    return max(max(float(((piece.solid.translate(tuple(way)) ^ room) - hollow).volume()), 0.0) for way in ways)
