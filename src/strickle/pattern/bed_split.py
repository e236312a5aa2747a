"""A printed piece larger than the printer's bed, cut by planes into parts that it holds, keyed to be glued.

The piece as moulded stays one; its parts are only how it is made. Cuts stand square to the bed's axes, where the section is deepest and
in one piece, nearest to equal parts, clear of holes for dowels and screws. A spigot on one side of each section fits a socket in the other,
inside the print, so that the sand meets no more than a line. Spigots stand on a corner and taper: no face of theirs hangs over by more than
45 degrees as they are printed. Millimetres, each piece turned as it lies on the bed.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from strickle.base import Array, Mesh, Piece, PrintPart, tell
from strickle.pattern.bed import HAIR, checked, lying, turn_for

if TYPE_CHECKING:  # loaded when a piece is really cut: the door of this room is opened by every command
    import manifold3d

SPIGOTS = (8.0, 6.0, 5.0, 4.0, 3.0, 2.5)  # mm, half the diagonal of a spigot's root; choice of this program
SLOPE = 0.5  # a spigot's corner comes in by this much of its length
LENGTH = 4.0 / 3.0  # of a spigot over half its root's diagonal: the tip keeps a third of it
SLACK = 0.2  # mm of room between spigot and socket, each side; common practice for printed fits is 0.1 to 0.3
TIP = 0.5  # mm of room past a spigot's end, for glue
WALL = 1.2  # mm of print left round and behind a socket
ROOT = 0.6  # mm a spigot reaches into its own part
MOST = 12  # parts: more are not to be glued true
PLACES = 25  # where a cut is tried along its axis
CRUMB = 1.0  # mm3: nothing smaller is printed
SMALL_HOLE = 9.0  # mm, round holes up to this across are for dowels, screws and wire and are not cut through
DUST = 1e-3  # mm3: rounding of the library
NIP = 4.0  # mm2: a section smaller than this takes no glue

STRIP = "; back a flat joint with a thin strip where no sand comes"

Box = tuple[Array, Array]  # least and greatest corner of what no cut may cross


@dataclass(slots=True)
class _Leaf:
    """A part as it comes to be, in the frame of the bed."""

    solid: manifold3d.Manifold
    keep: tuple[Box, ...]
    letter: str = ""


class _Seat(NamedTuple):
    """Where a spigot stands on the section and half its root's diagonal; a section too thin for one has a place of size 0."""

    at: tuple[float, float]
    size: float


class _Cut(NamedTuple):
    """A plane square to ``axis`` at ``level``."""

    axis: int
    level: float


@dataclass(slots=True)
class Tree:
    """The parts in order along the piece, and which are joined to which, in the order of glueing."""

    leaves: list[_Leaf] = field(default_factory=list)
    joins: list[tuple[list[list[_Leaf]], list[list[_Leaf]]]] = field(default_factory=list)
    seats: list[tuple[_Cut, _Seat]] = field(default_factory=list)


def in_parts(piece: Piece, bed: Array) -> Piece:
    """The piece with ``parts`` that a bed of that build space (3,) [m] holds; unchanged where the bed holds it, or not in twelve parts.

    Raises BadInput for a bed that holds nothing.
    """
    room = checked(bed)
    how = lying(piece, bed)
    if how.held or not len(piece.mesh.faces):
        return piece
    turn = how.turn
    solid = _solid(piece.mesh.vertices @ turn.T * 1e3, piece.mesh.faces)
    if solid is None:
        return piece
    tree = divided(solid, room)
    if tree is None:
        return piece
    for number, leaf in enumerate(tree.leaves):
        leaf.letter = chr(ord("a") + number)
    parts = tuple(_part(piece, leaf, tree, turn) for leaf in tree.leaves)
    clauses = [piece.note.rstrip(". "), f"printed in {len(parts)} parts, glued {_order(tree)}"]
    return dataclasses.replace(piece, parts=parts, note="; ".join(c for c in clauses if c) + ("." if piece.note.endswith(".") else ""))


def divided(solid: manifold3d.Manifold, room: Array) -> Tree | None:
    """A solid in the frame of the bed cut into parts; None where that takes more than ``MOST`` of them."""
    most = _spigots(room)[0] * LENGTH
    box = np.reshape(solid.bounding_box(), (2, 3))
    if math.prod(math.ceil(s / (r - most)) for s, r in zip(box[1] - box[0], room)) > 2 * MOST:
        return None
    tree = Tree()
    _divide(_Leaf(solid, _holes(solid)), room, tree)
    return tree if 1 < len(tree.leaves) <= MOST else None


def _spigots(room: Array) -> tuple[float, ...]:
    """Sizes of spigots tried: a small bed gets small ones."""
    return tuple(size for size in SPIGOTS if size <= room.min() / 8.0) or SPIGOTS[-1:]


def _solid(vertices: Array, faces: Array) -> manifold3d.Manifold | None:
    import manifold3d

    made = manifold3d.Manifold(manifold3d.Mesh64(np.ascontiguousarray(vertices), np.ascontiguousarray(faces, dtype=np.uint64)))
    return None if made.is_empty() or made.status() != manifold3d.Error.NoError else made


def _plain(solid: manifold3d.Manifold) -> tuple[Array, Array]:
    """Vertices (n, 3) and faces (m, 3)."""
    made = solid.to_mesh64()
    return np.array(made.vert_properties[:, :3]), np.array(made.tri_verts, dtype=np.int64)


def _divide(leaf: _Leaf, room: Array, tree: Tree) -> list[_Leaf]:
    """The parts a body falls into, entered into the tree."""
    vertices, _ = _plain(leaf.solid)
    if len(tree.leaves) >= MOST or turn_for(vertices, room) is not None:
        tree.leaves.append(leaf)
        return [leaf]
    groups = [[_divide(one, room, tree) for one in side] for side in _joined(leaf, _where(leaf, room), room, tree)]
    if all(groups):
        tree.joins.append((groups[0], groups[1]))
    return [one for side in groups for group in side for one in group]


def _where(leaf: _Leaf, room: Array) -> _Cut:
    """The most sensible plane: in one section, deep enough for spigots, through no hole, near to equal parts."""
    box = np.reshape(leaf.solid.bounding_box(), (2, 3))
    size = box[1] - box[0]
    turned = room if (size[0] >= size[1]) == (room[0] >= room[1]) else room[[1, 0, 2]]
    axis = int(np.argmax(size / turned))
    if size[axis] <= turned[axis] + HAIR:  # held by no turn, yet no side is too long: cannot be
        axis = int(np.argmax(size))
    usable = float(turned[axis]) - _spigots(room)[0] * LENGTH - HAIR
    count = max(2, math.ceil(float(size[axis]) / usable))
    first = count // 2
    low, high = max(float(size[axis]) - (count - first) * usable, 1.0), min(first * usable, float(size[axis]) - 1.0)
    even = float(size[axis]) * first / count
    stood = _stood(leaf.solid, axis)
    best, least = even, math.inf
    for place in np.linspace(low, high, PLACES) + 0.0137 * (1.0 if high - low > 1.0 else 0.0):
        level = float(box[0, axis] + place)
        cost = 0.7 * abs(place - even) / max(high - low, 1e-9) + _cost(stood, level, room)
        cost += 20.0 * sum(bool(lo[axis] - 1.0 < level < hi[axis] + 1.0) for lo, hi in leaf.keep)
        if cost < least:
            best, least = level, cost
    return _Cut(axis, best)


def _stood(solid: manifold3d.Manifold, axis: int) -> manifold3d.Manifold:
    """The solid with ``axis`` stood upright: a turn of the axes among themselves, exact."""
    return solid.transform(np.hstack([np.roll(np.eye(3), 2 - axis, axis=0), np.zeros((3, 1))])) if axis != 2 else solid


def _laid_back(solid: manifold3d.Manifold, axis: int) -> manifold3d.Manifold:
    return solid.transform(np.hstack([np.roll(np.eye(3), axis - 2, axis=0), np.zeros((3, 1))])) if axis != 2 else solid


def _areas(section: manifold3d.CrossSection) -> list[Any]:
    """A section's areas as polygons with their holes, slivers left out."""
    import shapely

    out = []
    for island in section.decompose():
        rings = sorted(island.to_polygons(), key=lambda ring: -abs(_area(ring)))
        made = shapely.Polygon(rings[0], rings[1:]) if len(rings) else shapely.Polygon()
        made = made if made.is_valid else made.buffer(0)
        out += [one for one in getattr(made, "geoms", [made]) if one.area > NIP / 8]
    return out


def _area(ring: Array) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


def _through(stood: manifold3d.Manifold, level: float, size: float) -> Any:
    """Area in which a spigot of that size has print under its root and round its socket all along."""
    import shapely

    long = size * LENGTH
    section = stood.slice(level - ROOT)
    for height in (level + 0.02, level + long / 2, level + long + TIP + WALL):
        section = section ^ stood.slice(height)
    return shapely.union_all(_areas(section)).buffer(-(size + SLACK * math.sqrt(2 + SLOPE**2) + WALL))


def _cost(stood: manifold3d.Manifold, level: float, room: Array) -> float:
    """How ill a level suits a joint: sections beyond one, sections without room for a spigot, thin ones."""
    islands = _areas(stood.slice(level))
    if not islands:
        return 10.0
    sizes = [s for s in _spigots(room) if s <= 4.0] or list(_spigots(room)[-1:])
    seats = _through(stood, level, sizes[0])
    smaller = _through(stood, level, SPIGOTS[-1]) if sizes[0] > SPIGOTS[-1] else seats
    bare = sum(0.0 if seats.intersects(one) else 1.0 if smaller.intersects(one) else 3.0 for one in islands)
    return 2.0 * (len(islands) - 1) + bare + sum(5.0 for one in islands if one.area < NIP)


def _seats(stood: manifold3d.Manifold, level: float, room: Array) -> list[_Seat]:
    """Spigots for every section at a level: the largest that fits at its deepest place, and a smaller one far from it."""
    import shapely

    found: list[_Seat] = []
    islands = _areas(stood.slice(level + 0.02))
    sizes = _spigots(room)
    free = {size: _through(stood, level, size) for size in sizes}
    for island in islands:
        first = next(((size, free[size].intersection(island)) for size in sizes if free[size].intersects(island)), None)
        if first is None:
            at = island.representative_point().coords[0]
            found.append(_Seat((float(at[0]), float(at[1])), 0.0))
            continue
        size, area = first
        at = _deepest(area)
        found.append(_Seat((float(at[0]), float(at[1])), size))
        second = sizes[min(sizes.index(size) + 1, len(sizes) - 1)]
        far = shapely.get_coordinates(free[second].intersection(island))
        apart = np.hypot(*(far - at).T) if len(far) else np.zeros(0)
        if len(far) and apart.max() > max(2.5 * (size + second), 12.0):
            place = far[int(np.argmax(apart))]
            found.append(_Seat((float(place[0]), float(place[1])), second))
    return found


def _deepest(area: Any) -> tuple[float, float]:
    """The place farthest from the edge; of places about as deep the middle one."""
    import shapely

    if area.area < 1e-6:
        x, y = area.representative_point().coords[0]
        return float(x), float(y)
    largest = max(getattr(area, "geoms", [area]), key=lambda g: g.area)
    circle = shapely.maximum_inscribed_circle(largest)
    deep = largest.buffer(-0.9 * circle.length)
    middle = deep.centroid if deep.geom_type == "Polygon" and deep.contains(deep.centroid) else None
    x, y = circle.coords[0] if middle is None else middle.coords[0]
    return float(x), float(y)


def spigot(seat: _Seat, level: float, slack: float = 0.0) -> manifold3d.Manifold:
    """A tapered spigot standing up from ``level``; with ``slack`` [mm] the socket that holds it with that much room on every face."""
    import manifold3d

    wide = seat.size + slack * math.sqrt(2.0 + SLOPE**2)
    long = seat.size * LENGTH + (TIP if slack else 0.0)
    under = wide + SLOPE * ROOT if slack else wide
    rings = ((-ROOT, under), (0.0, wide), (long, wide - SLOPE * long))
    corners = ((1, 0), (0, 1), (-1, 0), (0, -1))
    points = [(seat.at[0] + half * i, seat.at[1] + half * j, level + height) for height, half in rings for i, j in corners]
    return manifold3d.Manifold.hull_points(np.array(points))


def _joined(leaf: _Leaf, cut: _Cut, room: Array, tree: Tree) -> list[list[_Leaf]]:
    """The bodies under and over a cut with spigots and sockets, the largest first."""
    stood = _stood(leaf.solid, cut.axis)
    seats = _seats(stood, cut.level, room)
    tree.seats += [(cut, seat) for seat in seats]
    upper, lower = stood.split_by_plane((0.0, 0.0, 1.0), cut.level)
    keep = list(leaf.keep)
    for seat in (s for s in seats if s.size):
        lower, upper = lower + spigot(seat, cut.level), upper - spigot(seat, cut.level, SLACK)
        reach = seat.size + SLACK * 2 + WALL
        low = np.array([seat.at[0] - reach, seat.at[1] - reach, cut.level - ROOT])
        high = np.array([seat.at[0] + reach, seat.at[1] + reach, cut.level + seat.size * LENGTH + TIP + WALL])
        keep.append((np.roll(low, cut.axis - 2), np.roll(high, cut.axis - 2)))
    out = []
    for side in (lower, upper):
        bodies = sorted((b for b in side.decompose() if b.volume() >= CRUMB), key=lambda b: -b.volume())
        back = [_laid_back(body, cut.axis) for body in bodies]
        out.append([_Leaf(body, _near(body, keep)) for body in back])
    return out


def _fittings(leaf: _Leaf, tree: Tree) -> tuple[int, int, int]:
    """Spigots, sockets and flat joints of a part: a spigot is all in its part, a socket's print stands round it."""
    spigots = sockets = flat = 0
    for cut, seat in tree.seats:
        body = _stood(leaf.solid, cut.axis)
        if not seat.size:
            flat += bool((body ^ spigot(_Seat(seat.at, 0.3), cut.level)).volume() > DUST)
        elif (body ^ (own := spigot(seat, cut.level))).volume() > 0.5 * own.volume():
            spigots += 1
        else:
            sockets += bool((body ^ spigot(seat, cut.level, 2.0 * SLACK)).volume() > 10.0 * DUST)
    return spigots, sockets, flat


def _near(solid: manifold3d.Manifold, keep: Sequence[Box]) -> tuple[Box, ...]:
    """Those boxes that a body reaches into."""
    box = np.reshape(solid.bounding_box(), (2, 3))
    return tuple((lo, hi) for lo, hi in keep if (lo <= box[1]).all() and (hi >= box[0]).all())


def _holes(solid: manifold3d.Manifold) -> tuple[Box, ...]:
    """Small round holes in the lower and the upper face, as boxes over the whole height: seats of dowels, screws, rapping bar and wire."""
    box = np.reshape(solid.bounding_box(), (2, 3))
    out: list[Box] = []
    for level in (box[0, 2] + 0.3, box[1, 2] - 0.3):
        for ring in solid.slice(float(level)).to_polygons():
            size = np.ptp(ring, axis=0)
            if len(ring) >= 8 and _area(ring) < -0.7 * size[0] * size[1] and size.max() <= SMALL_HOLE:
                low, high = ring.min(axis=0) - WALL, ring.max(axis=0) + WALL
                out.append((np.array([*low, box[0, 2]]), np.array([*high, box[1, 2]])))
    return tuple(out)


def _part(piece: Piece, leaf: _Leaf, tree: Tree, turn: Array) -> PrintPart:
    """The part in the mould frame, metres."""
    spigots, sockets, flat = _fittings(leaf, tree)
    vertices, faces = _plain(leaf.solid)
    back = vertices @ turn * 1e-3
    return PrintPart(
        name=f"{piece.name}-{leaf.letter}",
        mesh=Mesh(vertices=back, faces=faces),
        volume=float(leaf.solid.volume()) * 1e-9,
        extents=np.ptp(back, axis=0),
        spigots=spigots,
        sockets=sockets,
        plain_joints=flat,
    )


def _order(tree: Tree) -> str:
    """Which parts are joined to which, in the order of glueing.

    Each side of a joint is named by its letters: "a to b, then ab to c".
    """
    told = []
    for lower, upper in tree.joins:
        names = [" and ".join("".join(sorted(leaf.letter for leaf in group)) for group in side) for side in (lower, upper)]
        told.append(" to ".join(names))
    return ", then ".join(told)


def keyed(piece: Piece) -> str:
    """The joints of a piece in words."""
    spigots = sum(part.spigots for part in piece.parts)
    if not spigots:
        return "the joints are flat, the print being too thin for spigots"
    room = f"{tell(SLACK * 1e-3, 'm', 'fine')} of room a side in the {'socket' if spigots == 1 else 'sockets'}"
    flat = any(p.plain_joints for p in piece.parts)
    ending = "and flat joints where the print is too thin for one" if flat else "join them"
    return f"{spigots} tapered {'spigot' if spigots == 1 else 'spigots'}, {room}, {ending}"
