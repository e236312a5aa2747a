"""Core boxes: a block less the core, parted by a plane into two parts that draw straight off it.

Where a straight core has a flat end on the way of the parting the box is open there and is rammed closed, through that end; else, as where the
core is bent, each part is rammed by itself, struck off at the parting and closed on the other. The parts are proved by moving them: what they
would drag of the core is measured. All millimetres.
"""

from __future__ import annotations

from itertools import chain
from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array
from strickle.pattern.columns import view
from strickle.pattern.core_body import FAR, Body, Print, back, undone
from strickle.pattern.core_way import facing, is_bent, rod_ends
from strickle.pattern.places import across
from strickle.pattern.undercut import over, plain, shadow

WALL = 9.0  # mm of print round the core
PINS = (4.2, 3.2)  # mm, unlike, so the parts meet one way only
PIN_DEEP = 8.0
ACROSS = 120  # columns over the core to look for the best parting of its box
TAKEN = 1e-3  # share of the core that a box may add to let its parts draw
LEAST = 2.0  # mm3: that much may be added whatever the core
HOPELESS = 10.0  # times that, by columns: a parting that traps more is not tried as a solid
DRAGS = 5e-3  # mm3 that a part may drag along
LIFTS = (1.0, 5.0)
ROUNDING = 1e-5  # mm of its surface that turning a core to its box and back may move
LEVELS = 24
DUST = 1e-3  # mm3: less is left where nearly equal faces meet and is nothing
PARED = 0.1  # share of the room round a core that may be pared off its prints to let its box's parts draw


class BoxPart(NamedTuple):
    """One part of a box. Millimetres, mould frame at cavity scale."""

    solid: manifold3d.Manifold
    draw: Array  # (3,) unit
    drags: float  # mm3 of the core that it would take along


class Box(NamedTuple):
    """A core box with the core it makes."""

    parts: tuple[BoxPart, BoxPart]
    core: manifold3d.Manifold
    opening: Print | None  # the end it is rammed through
    added: float  # mm3 of core that let the parts draw; less than nothing where some of its prints went for that
    aslant: bool = False  # its parts draw along its ends, not square to the parting


class _Cut(NamedTuple):
    """A parting of a box: frame whose z lies across it, its height there and the sand it would trap."""

    frame: Array
    level: float
    trapped: float


def box(body: Body, vent: float) -> Box | str:
    """The box of a core, with a hole for a vent rod ``vent`` wide through the end across from its opening; or why none opens."""
    volume = float(body.made.volume())
    most = max(TAKEN * volume, LEAST)
    cuts = [cut for cut in sorted(_cuts(body), key=lambda cut: cut.trapped)[:3] if cut.trapped < HOPELESS * most]
    fitting = ((core, cut) for cut in cuts if (core := _fit(body, cut, most)) is not None)
    pared = ((core, one) for cut in cuts for one in (cut, _middle(body, cut)) if (core := _pared(body, one)) is not None)
    for core, cut in chain(fitting, pared):
        made = _parts(body, core, cut, vent)
        if all(part.drags < DRAGS for part in made.parts):
            return made
    return "no flat parting lets both parts of a box draw off it"


def _fit(body: Body, cut: _Cut, most: float) -> manifold3d.Manifold | None:
    """The core eased for a parting; None where that adds more than ``most`` [mm3], leaves its room, or loses sand that forms metal."""
    core = _eased(body.made, cut)
    fits = float(core.volume() - body.made.volume()) <= most and (core - body.room).volume() <= LEAST
    return core if fits and not body.lacks(core) else None


def _frames(body: Body) -> list[Array]:
    """Frames (3, 4) to try: z of each across the parting. Upright parting along the core first, then level, then square to the core.

    Where its prints end aslant the parts of the upright parting draw along those ends: a frame with z that way, in which volumes stay.
    """
    along = body.prints[0].out if body.prints else body.place.out
    if not np.any(along[:2]):
        along = np.array([1.0, 0.0, 0.0])
    up = np.array([0.0, 0.0, 1.0])
    side = across(along)
    columns = [(along, up, -side), (side, -along, up), (side, up, along)]
    slants = sorted({round(p.slant, 9): p for p in body.prints if p.slant}.values(), key=lambda p: -p.thick)
    columns[:0] = [(along, up, -side - p.slant * along) for p in slants]
    return [np.column_stack([*(np.asarray(c) for c in three), np.zeros(3)]) for three in columns]


def _cuts(body: Body) -> list[_Cut]:
    """The best level of the parting for each frame."""
    out = []
    for place, frame in enumerate(_frames(body)):
        vertices, faces = plain(body.made.transform(back(frame)))
        heights = vertices[:, 2]
        kinds, count = np.unique(np.round(heights, 3), return_counts=True)
        often = kinds[np.argsort(-count)[:LEVELS]]
        middle = (heights.min() + heights.max()) / 2
        levels = np.sort(np.concatenate([often, [middle]]))
        seen = view(np.ascontiguousarray(vertices), np.ascontiguousarray(faces), ACROSS)
        trapped = seen.trapped(levels) + 1e-6 * np.abs(levels - middle)
        best = int(np.argmin(trapped))
        out.append(_Cut(frame, float(levels[best]), float(trapped[best]) * (1.0 + 0.05 * place)))
    return out


def _eased(core: manifold3d.Manifold, cut: _Cut) -> manifold3d.Manifold:
    """The core with what hangs over in its box carried to the parting; nothing but rounding where the parting is right."""
    local = core.transform(back(cut.frame)).translate((0.0, 0.0, -cut.level))
    prisms: list[manifold3d.Manifold] = []
    for side in (1.0, -1.0):
        prisms += shadow(local.trim_by_plane((0.0, 0.0, side), 0.0), side)
    if not prisms:
        return core
    whole = manifold3d.Manifold.batch_boolean([local, *prisms], manifold3d.OpType.Add)
    if whole.volume() - local.volume() < ROUNDING * local.surface_area():
        return core
    return whole.translate((0.0, 0.0, cut.level)).transform(cut.frame)


def _middle(body: Body, cut: _Cut) -> _Cut:
    """The same parting through the middle of what forms metal."""
    _, _, low, _, _, high = body.place.solid.transform(back(cut.frame)).bounding_box()
    return cut._replace(level=(low + high) / 2)


def _pared(body: Body, cut: _Cut) -> manifold3d.Manifold | None:
    """The core without what hangs over a hollow of its prints, where the metal beside them leaves no room to fill that.

    None where more than ``PARED`` of the room round it would go or any of that is as thick as its clearance, so that the sand still fits its
    prints; or where sand that forms metal would go.
    """
    local = body.made.transform(back(cut.frame)).translate((0.0, 0.0, -cut.level))
    prisms = [one for side in (1.0, -1.0) for one in over(local.trim_by_plane((0.0, 0.0, side), 0.0), side)]
    away = manifold3d.Manifold.batch_boolean(prisms, manifold3d.OpType.Add) ^ local
    left = max((local - away).decompose(), key=lambda part: part.volume()).translate((0.0, 0.0, cut.level)).transform(cut.frame)
    gone = body.made - left
    if gone.volume() > PARED * (body.room.volume() - body.made.volume()) or thick(gone, body.clearance) or body.lacks(left):
        return None
    return left


def thick(solid: manifold3d.Manifold, wide: float) -> bool:
    """Whether a ball ``wide`` across may lie in a solid: its middle would lie in all six copies of it moved by half of that.

    Told of some aslant sheets from 0.58 of that on, never missed.
    """
    moves = [tuple(float(x) for x in side * wide / 2 * axis) for axis in np.eye(3) for side in (1.0, -1.0)]
    return float(manifold3d.Manifold.batch_boolean([solid.translate(move) for move in moves], manifold3d.OpType.Intersect).volume()) > 0.0


def fallen(body: Body, core: manifold3d.Manifold, metal: manifold3d.Manifold) -> manifold3d.Manifold:
    """Of the sand pared off a core's prints what lies before the metal, within twice the clearance of it along a print: metal fills it."""
    before = [metal.translate(tuple(float(x) for x in 2 * body.clearance * one.out)) for one in body.prints]
    return swept((body.made - core) ^ manifold3d.Manifold.batch_boolean(before, manifold3d.OpType.Add))


def swept(solid: manifold3d.Manifold) -> manifold3d.Manifold:
    """A solid without the dust that nearly equal faces leave."""
    return manifold3d.Manifold.batch_boolean([part for part in solid.decompose() if part.volume() > DUST], manifold3d.OpType.Add)


def _parts(body: Body, core: manifold3d.Manifold, cut: _Cut, vent: float) -> Box:
    """Both parts of the box at a parting."""
    local = core.transform(back(cut.frame)).translate((0.0, 0.0, -cut.level))
    low, high = np.array(local.bounding_box()[:3]) - WALL, np.array(local.bounding_box()[3:]) + WALL
    opening = None
    for one in sorted(() if is_bent(body.prints) else rod_ends(body.prints) or body.prints, key=lambda p: -p.thick):
        way = cut.frame[:, :3].T @ one.normal  # a plane's, not a point's
        axis = int(np.argmax(np.abs(way)))
        if axis < 2 and abs(way[axis]) > 1.0 - 1e-9:
            opening = one
            (high if way[axis] > 0 else low)[axis] = np.sign(way[axis]) * one.reach
            break
    block = manifold3d.Manifold.cube(tuple(high - low)).translate(tuple(low)) - local
    if opening is not None and any(facing(p, opening) for p in body.prints):
        block = block - _rod(opening, cut, vent)
    lean = float(np.linalg.norm(cut.frame[:, 2]))
    for at, wide in zip(_pins(low, high), PINS):
        deep = [min(PIN_DEEP, reach - 2.0) for reach in (high[2], -low[2])]
        pin = manifold3d.Manifold.cylinder(sum(deep), wide / 2, circular_segments=24).scale((lean, 1.0, 1.0))  # round along a draw that leans
        block = block - pin.translate((*at, -deep[1]))
    parts = []
    for side in (1.0, -1.0):
        half = block.trim_by_plane((0.0, 0.0, side), 0.0)
        drags = _drags(half, local, side)
        draw = cut.frame[:, 2] / np.linalg.norm(cut.frame[:, 2]) * side
        parts.append(BoxPart(half.translate((0.0, 0.0, cut.level)).transform(cut.frame), draw, drags))
    return Box((parts[0], parts[1]), core, opening, float(core.volume() - body.made.volume()), lean > 1.0 + 1e-9)


def _rod(opening: Print, cut: _Cut, wide: float) -> manifold3d.Manifold:
    """The way of the vent rod along the core from its opening out of the far end of the box."""
    at = undone(cut.frame) @ opening.at - np.array([0.0, 0.0, cut.level])
    way = undone(cut.frame) @ opening.out
    rod = manifold3d.Manifold.cylinder(FAR, wide / 2, circular_segments=24)
    axis = int(np.argmax(np.abs(way)))
    rod = rod.rotate((0.0, -90.0 * np.sign(way[0]), 0.0) if axis == 0 else (90.0 * np.sign(way[1]), 0.0, 0.0))
    return rod.translate(tuple(at))


def _pins(low: Array, high: Array) -> tuple[Array, Array]:
    """Two corners of the parting, in the wall, as far apart as they lie: beside an opening the wall goes on to it."""
    return low[:2] + WALL / 2, high[:2] - WALL / 2


def _drags(half: manifold3d.Manifold, core: manifold3d.Manifold, side: float) -> float:
    """Most of the core [mm3] that a part cuts into when it is drawn off 1 mm, 5 mm, and as far as it reaches; parting at z = 0."""
    box_ = half.bounding_box()
    lifts = (*LIFTS, box_[5] - box_[2])
    return max(max(float((half.translate((0.0, 0.0, side * lift)) ^ core).volume()), 0.0) for lift in lifts)
