"""The printed pattern: halves split at the parting, or whole on a crooked one, with holes for dowels, lifting screw and rapping bar."""

from __future__ import annotations

import math
from typing import NamedTuple

import manifold3d
import numpy as np
from scipy import ndimage

from strickle.base import Array, Mesh, Piece
from strickle.kernels import raster
from strickle.pattern import lifting
from strickle.pattern.columns import View, view
from strickle.pattern.mend import mended
from strickle.pattern.readable import solid_of, written
from strickle.pattern.result import Lift
from strickle.pattern.undercut import plain

ACROSS = 260
HAIR = 1e-5  # mm: less than a file of few places tells
DUST = 1e-3  # mm3: rounding of the library, told to nobody
CRUMB = 1.0  # mm3: smaller bodies are left out of the print
PINS = ((4.2, 3.2), (3.2, 2.2), (2.2, 1.7))  # mm, holes for 4 and 3, 3 and 2, 2 and 1.5 mm pins: unlike, so the halves meet one way only
DEPTHS = (10.0, 8.0, 6.0, 4.0, 3.0, 2.0)  # mm, dowels
HOLDS = 4.0  # mm of pilot a lifting screw needs at least
SCREW = 3.2  # mm, pilot for the lifting screw
BAR = 6.2  # mm, seat for the rapping bar
STOCK = {4.2: "5/32 in or 4 mm", 3.2: "1/8 in or 3 mm", 2.2: "5/64 in or 2 mm", 1.7: "1/16 in or 1.5 mm"}  # pins that go into these holes
EVEN = 0.4  # mm the parting face may rise over the widest hole
WALL = 1.6  # mm of print left round and over a hole
APART = 8.0  # mm between dowels, and between two lifting screws, at least
LEVEL = 0.04  # a screw farther off the middle of the wall drag than this share of the length gets a second one across from it


ORDER = {"drag": 10, "cope": 50}
"""Place in the order of drawing of each half's first body; before them come the formers that leave through the cope top, between them the
runner and what else lies in the drag."""
MOST = 20  # bodies of a half told apart in the order


class Body(NamedTuple):
    """One body of a half, print scale, millimetres."""

    name: str
    half: str  # cope | drag
    side: float  # +1 cope, -1 drag
    turn: int  # 0 for the largest of its half
    solid: manifold3d.Manifold


class Whole(NamedTuple):
    """The bodies of a pattern that is printed whole, print scale, millimetres: it lies in the drag and reaches into the cope."""

    bodies: list[Body]
    crumbs: int


class Hole(NamedTuple):
    """A blind hole in the parting face, or in the upper side of a whole pattern. Millimetres, print scale."""

    use: str  # dowel | lift | rap
    half: str  # cope | drag
    at: Array  # (2,)
    diameter: float
    depth: float
    body: str = ""
    level: float = 0.0  # of the face it opens in


class Holes(NamedTuple):
    """All holes with what could not be had."""

    holes: list[Hole]
    loose: int  # bodies of the pattern that found no room for two dowels
    bodies: int  # bodies that need dowels
    unlifted: list[str]  # pieces that have no room for a lifting screw
    offset: dict[str, float]  # mm from the lifting screw, or the middle of several, to the middle of the wall drag, by piece
    lifts: tuple[Lift, ...] = ()


class _Room(NamedTuple):
    """Print under each column of the face that holes open in, to look for places in: the parting, or a whole pattern's upper side."""

    x: Array
    y: Array
    cell: float
    depth: dict[str, Array]  # of print over the parting face, by half
    body: dict[str, Array]  # which columns a piece stands in
    face: Array  # height of that face
    even: Array  # columns where it is level enough for a hole


def parted(printed: manifold3d.Manifold) -> list[manifold3d.Manifold]:
    """Cope and drag half, cut a hair off the parting and drawn back to it.

    A flat of the part that lies on the parting itself would else stay as a sheet of no thickness and tie bodies together that are apart.
    """
    out = []
    for side in (1.0, -1.0):
        half = printed.trim_by_plane((0.0, 0.0, side), HAIR)
        if not half.is_empty():
            vertices, faces = plain(half)
            vertices[np.abs(vertices[:, 2]) < 1.01 * HAIR, 2] = 0.0
            half = solid_of(vertices, faces)
        out.append(half)
    return out


def bodies(printed: manifold3d.Manifold) -> tuple[list[Body], int]:
    """The bodies both halves fall into, the largest of each half first, and the number of crumbs left out."""
    out: list[Body] = []
    crumbs = 0
    for half, side, solid in zip(("cope", "drag"), (1.0, -1.0), parted(printed)):
        parts = solid.decompose()
        kept = sorted((p for p in parts if p.volume() >= CRUMB), key=lambda p: -p.volume())
        crumbs += sum(DUST < p.volume() < CRUMB for p in parts)
        out += [Body(f"{half}-pattern" + (f"-{i + 1}" if i else ""), half, side, i, p) for i, p in enumerate(kept)]
    return out, crumbs


def _room(printed: manifold3d.Manifold, every: list[Body], is_whole: bool) -> _Room:
    vertices, faces = plain(printed)
    seen: View = view(vertices, faces, ACROSS)
    x, y = (seen.origin[i] + (np.arange(seen.low.shape[i]) + 0.5) * seen.cell for i in range(2))
    face, even = np.zeros(seen.low.shape), np.ones(seen.low.shape, dtype=bool)
    if is_whole:
        face = np.nan_to_num(np.asarray(seen.high), nan=0.0, posinf=0.0, neginf=0.0)
        near = 2 * math.ceil(BAR / 2 / seen.cell) + 1
        even = ndimage.maximum_filter(face, near) - ndimage.minimum_filter(face, near) < EVEN
    cope = np.where(np.isfinite(seen.high), np.maximum(seen.high - face, 0.0), 0.0)
    drag = np.where(np.isfinite(seen.low), np.maximum(face - seen.low, 0.0), 0.0)
    depth = {"cope": cope, "drag": drag}
    shape = (len(x), len(y))
    stands: dict[str, Array] = {}
    for body in every:
        start, _, _, _ = raster.columns(*plain(body.solid), seen.origin, seen.cell, *shape)
        stands[body.name] = (np.diff(start) > 0).reshape(shape) & (depth[body.half] > 0.2)
    return _Room(x, y, seen.cell, depth, stands, face, even)


def _owner(room: _Room, hole: Hole, every: list[Body]) -> Hole:
    """The hole with the piece it lies in."""
    i, j = (int(np.argmin(np.abs(axis - at))) for axis, at in zip((room.x, room.y), hole.at))
    name = next((b.name for b in every if b.half == hole.half and room.body[b.name][i, j]), "")
    return hole._replace(body=name, level=float(room.face[i, j]))


def _places(room: _Room, mask: Array, diameter: float, taken: list[Hole], half: str) -> Array:
    """Column indices (k, 2) where a hole fits inside ``mask``, clear of the edge and of other holes of the same half."""
    free = ndimage.distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1] * room.cell - room.cell >= diameter / 2 + WALL
    free &= room.even
    places = np.argwhere(free)
    for hole in taken:
        if hole.half == half and len(places):
            far = np.hypot(room.x[places[:, 0]] - hole.at[0], room.y[places[:, 1]] - hole.at[1])
            places = places[far >= (diameter + hole.diameter) / 2 + WALL]
    return places


def _points(room: _Room, places: Array) -> Array:
    return np.stack([room.x[places[:, 0]], room.y[places[:, 1]]], axis=1)


def _dowels(room: _Room, island: Array) -> list[Hole]:
    """Two unlike dowel holes far apart on one island of the parting face, the deepest and widest that fit; none if none fit."""
    cope, drag = room.depth["cope"], room.depth["drag"]
    for wide, narrow in PINS:
        for depth in DEPTHS:
            mask = island & (cope > depth + WALL) & (drag > depth + WALL)
            places = _places(room, mask, wide, [], "cope")
            if not len(places):
                continue
            points = _points(room, places)
            first = points[int(np.argmax(np.hypot(*(points - points.mean(axis=0)).T)))]
            others = _points(room, _places(room, mask, narrow, [], "cope"))
            apart = np.hypot(*(others - first).T)
            if apart.max() >= APART:
                pair = ((first, wide), (others[int(np.argmax(apart))], narrow))
                return [Hole("dowel", half, at, diameter, depth) for at, diameter in pair for half in ("cope", "drag")]
    return []


def _nearest(room: _Room, mask: Array, target: Array, diameter: float, taken: list[Hole], half: str, clear: float = 0.0) -> Hole | None:
    """The deepest blind hole nearest to ``target`` in a half; ``clear`` keeps it that far from the lifting screw."""
    for depth in (d for d in DEPTHS if d >= HOLDS):
        places = _places(room, mask & (room.depth[half] > depth + WALL), diameter, taken, half)
        points = _points(room, places)
        for hole in taken:
            if hole.use == "lift" and hole.half == half and len(points):
                points = points[np.hypot(*(points - hole.at).T) >= clear]
        if len(points):
            return Hole("", half, points[int(np.argmin(np.hypot(*(points - target).T)))], diameter, depth)
    return None


def wall_drag(body: manifold3d.Manifold) -> Array:
    """Middle in plan (2,) of the walls that rub on the sand: faces within 10 degrees of the draw, by area; else of the volume in plan."""
    middles, area, wall = _walls(body)
    weight = np.where(wall, area, 0.0) if wall.any() else area
    return np.asarray(np.average(middles[:, :2], axis=0, weights=weight))


def wall_area(body: manifold3d.Manifold) -> float:
    """Surface [mm2] of the walls that rub on the sand."""
    _, area, wall = _walls(body)
    return float(area[wall].sum())


def _walls(body: manifold3d.Manifold) -> tuple[Array, Array, Array]:
    """Middles (m, 3) and areas (m,) of a body's faces, and which stand within 10 degrees of the draw."""
    vertices, faces = plain(body)
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    area = np.linalg.norm(cross, axis=1) / 2
    return (a + b + c) / 3, area, np.abs(cross[:, 2]) < np.sin(np.radians(10.0)) * 2 * area


def drill(printed: manifold3d.Manifold, whole: Whole | None = None, drag: float = 0.0) -> Holes:
    """Where the holes go, of both halves or of a ``whole`` pattern; ``drag`` [N/mm2] on walls along the draw says how hard a piece is lifted."""
    every = bodies(printed)[0] if whole is None else whole.bodies
    room = _room(printed, every, whole is not None)
    holes: list[Hole] = []
    loose = count = 0
    split = {half: [b for b in every if b.half == half] for half in ("cope", "drag")}
    if split["cope"] and split["drag"]:
        for body in split[max(split, key=lambda half: len(split[half]))]:
            if room.body[body.name].sum() * room.cell**2 < 4.0:
                continue
            found = _dowels(room, room.body[body.name])
            count += 1
            loose += not found
            holes += [_owner(room, hole, every) for hole in found]
    unlifted: list[str] = []
    offset: dict[str, float] = {}
    lifts: list[Lift] = []
    for body in every:
        own, off = _grips(room, body, holes)
        screws = [hole for hole in own if hole.use == "lift"]
        if screws:
            level = sum(hole.level for hole in screws) / len(screws)
            lifts.append(lifting.lift(body.name, [hole.at for hole in screws], drag * wall_area(body.solid), level))
        holes += own
        if off is None:
            unlifted.append(body.name)
        else:
            offset[body.name] = off
    return Holes(holes, loose, count, unlifted, offset, tuple(lifts))


def _grips(room: _Room, body: Body, taken: list[Hole]) -> tuple[list[Hole], float | None]:
    """Lifting and rapping holes of one body, and how far off the middle of its wall drag it is lifted [mm]; None if it cannot be."""
    half, island = body.half, room.body[body.name]
    where = np.argwhere(island)
    if not len(where):
        return [], None
    target = wall_drag(body.solid)
    lift = _nearest(room, island, target, SCREW, taken, half)
    if lift is None:
        return [], None
    points = _points(room, where)
    out = _apart(room, body, taken, target, points) or [_owned(room, lift, "lift", body)]
    at = np.mean([hole.at for hole in out], axis=0)
    if len(out) == 1 and np.hypot(*(at - target)) > LEVEL * np.ptp(points, axis=0).max():
        twin = _nearest(room, island, 2 * target - at, SCREW, [*taken, *out], half, clear=APART)
        if twin is not None and np.hypot(*((at + twin.at) / 2 - target)) < 0.5 * np.hypot(*(at - target)):
            out.append(_owned(room, twin, "lift", body))
            at = (at + twin.at) / 2
    rap = _nearest(room, island, points.mean(axis=0), BAR, [*taken, *out], half, clear=12.0)
    if rap is not None:
        out.append(_owned(room, rap, "rap", body))
    return out, float(np.hypot(*(at - target)))


def _apart(room: _Room, body: Body, taken: list[Hole], target: Array, points: Array) -> list[Hole]:
    """Lifting screws of a long body, even about the middle of its wall drag; none where the print has no room for such."""
    plan = lifting.sides(points)
    for places in lifting.places(plan, target):
        found: list[Hole] = []
        for place in places:
            hole = _nearest(room, room.body[body.name], place, SCREW, [*taken, *found], body.half, clear=plan.long / 4)
            if hole is not None:
                found.append(_owned(room, hole, "lift", body))
        off = np.hypot(*(np.mean([hole.at for hole in found], axis=0) - target)) if found else np.inf
        if len(found) == len(places) and off <= lifting.OFF * plan.long:
            return found
    return []


def _owned(room: _Room, hole: Hole, use: str, body: Body) -> Hole:
    """The hole with its use, its piece and the height it opens at."""
    i, j = (int(np.argmin(np.abs(axis - at))) for axis, at in zip((room.x, room.y), hole.at))
    return hole._replace(use=use, body=body.name, level=float(room.face[i, j]))


class Printed(NamedTuple):
    """The pieces with what was lost or left on the way."""

    pieces: tuple[Piece, ...]
    crumbs: int  # left out
    rough: list[str]  # pieces with edges that not every reader of the file takes alike
    cut: float = 0.0  # mm3 of holes for dowels, screws and the rapping bar


def pieces(printed: manifold3d.Manifold, holes: Holes, whole: Whole | None = None) -> Printed:
    """The pattern's pieces in metres, one for each body. ``printed`` is in millimetres at print scale; ``whole`` where it is not halved."""
    out: list[Piece] = []
    rough: list[str] = []
    taken = 0.0
    every, crumbs = bodies(printed) if whole is None else (whole.bodies, whole.crumbs)
    for body in every:
        clean = body.solid
        own = [h for h in holes.holes if h.body == body.name]
        for hole in own:
            tool = manifold3d.Manifold.cylinder(hole.depth + 1.0, hole.diameter / 2, circular_segments=24)
            clean = clean - tool.translate((*hole.at, hole.level - (1.0 if body.side > 0 else hole.depth)))
        taken += float(body.solid.volume() - clean.volume())
        clean, even = mended(clean, body.side if whole is None else 0.0)
        if not even:
            rough.append(body.name)
        vertices, faces = written(clean)
        screws = [np.append(hole.at, hole.level) for hole in own if hole.use == "lift"]
        lift = np.mean(screws, axis=0) * 1e-3 if screws else None
        rap = next((np.append(hole.at, hole.level) * 1e-3 for hole in own if hole.use == "rap"), lift)
        out.append(
            Piece(
                name=body.name,
                role="pattern",
                half=body.half,
                mesh=Mesh(vertices=vertices * 1e-3, faces=faces),
                draw=np.array([0.0, 0.0, -body.side]),
                order=ORDER[body.half] + min(body.turn, MOST - 1),
                volume=float(clean.volume()) * 1e-9,
                extents=np.ptp(vertices, axis=0) * 1e-3,
                lift_point=lift,
                rap_point=rap,
                note=_note(
                    body,
                    own,
                    sum(b.half == body.half for b in every),
                    next((one for one in holes.lifts if one.piece == body.name), None),
                    whole is not None,
                ),
            )
        )
    return Printed(tuple(out), crumbs, rough, taken)


def _note(body: Body, own: list[Hole], count: int, lift: Lift | None = None, is_whole: bool = False) -> str:
    """What the moulder should know of a piece; sizes are those of the holes as cut."""
    uses = {hole.use for hole in own}
    pins = sorted({hole.diameter for hole in own if hole.use == "dowel"}, reverse=True)
    if is_whole:
        words = ["The pattern in one piece: laid in the follow board, it stays in the drag when the cope is lifted off, then is drawn straight up"]
        words += [f"one of {count} bodies, each drawn by itself"] if count > 1 else []
        words += ["its holes open upward: stop them with wax before the cope is rammed"] if own else []
    else:
        words = [f"Drawn out of the {body.half} through its parting face"]
        words += [f"one of {count} bodies of this half, each drawn by itself"] if count > 1 else []
    if "dowel" in uses:
        words.append(f"two unlike dowel holes, for pins of {' and '.join(STOCK[d] for d in pins)}, let the halves meet one way only")
    screws = sum(hole.use == "lift" for hole in own)
    if screws == 1:
        words.append("the narrow hole near the balance of its rubbing walls takes the lifting screw, No. 8 or 4 mm")
    elif lift is not None and lift.bars:
        words.append(f"the {screws} narrow holes about the balance of its rubbing walls take lifting screws, No. 8 or 4 mm; {lifting.said(lift)}")
    elif screws:
        words.append("the narrow holes on both sides of the balance of its rubbing walls take two lifting screws, No. 8 or 4 mm, drawn together")
    if "rap" in uses:
        words.append("the wide hole takes the rapping bar, 15/64 in or 6 mm")
    elif "lift" in uses:
        words.append("rap on the lifting screw")
    else:
        words.append("lifted with a strip of wood glued across it")
    return "; ".join(words) + "."
