"""All that is printed, laid on as few fillings of the printer's bed as is sensible.

Each body lies as its piece is printed; its outline's box is packed into the room left on a plate where it leaves the narrowest strip, the
largest first, in several orders of size of which the one with the fewest plates is taken. Millimetres on the bed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from strickle.base import Array, Piece
from strickle.pattern import laid, lying

GAP = 4.0  # mm between bodies, for a brim of a few lines round each (choice of this program)
HAIR = 1e-3  # mm

Free = tuple[float, float, float, float]  # room left on a plate: x, y, wide, deep


class Body(NamedTuple):
    """One body to print, as it lies, least corner at the origin."""

    name: str
    piece: Piece
    vertices: Array  # (n, 3)
    faces: Array  # (m, 3)
    lies: str
    volume: float  # m3
    joints: tuple[int, int, int]  # spigots, sockets, flat joints
    held: bool  # whether the bed holds it

    @property
    def size(self) -> Array:
        """Box (3,)."""
        return np.asarray(np.ptp(self.vertices, axis=0))


class Spot(NamedTuple):
    """A box placed on a plate: number, least corner, and whether it was turned a quarter."""

    number: int
    x: float
    y: float
    turned: bool


class Placed(NamedTuple):
    """A body where it lies on its plate: vertices on the bed, the bed's corner the origin."""

    body: Body
    vertices: Array


class Plate(NamedTuple):
    """One filling of the bed."""

    number: int
    placed: tuple[Placed, ...]

    @property
    def name(self) -> str:
        """Name of its file."""
        return f"plate-{self.number}"


def bodies_of(pieces: Sequence[Piece], bed: Array) -> list[Body]:
    """What is printed: each piece, or each part of one that the bed cannot hold whole. ``bed`` (3,) [m]."""
    out = []
    for piece in pieces:
        how = lying(piece, bed)
        for part in piece.parts:
            told = (part.spigots, part.sockets, part.plain_joints)
            out.append(Body(part.name, piece, laid(part.mesh, how.turn, bed), part.mesh.faces, how.says, part.volume, told, True))
        if not piece.parts:
            out.append(Body(piece.name, piece, laid(piece.mesh, how.turn, bed), piece.mesh.faces, how.says, piece.volume, (0, 0, 0), how.held))
    return out


def plates(bodies: Sequence[Body], bed: Array) -> tuple[Plate, ...]:
    """The bodies that the bed (3,) [m] holds on plates, the fullest first and in the middle of the bed."""
    held = [body for body in bodies if body.held]
    room = (float(bed[0]) * 1e3, float(bed[1]) * 1e3)
    sizes = [(float(b.size[0]), float(b.size[1])) for b in held]
    out = []
    for number, loose in enumerate(packed_best(sizes, room, GAP), start=1):
        spots = drawn_in(loose, sizes, room, GAP)
        placed = [Placed(held[s.number], _moved(held[s.number].vertices, s)) for s in sorted(spots)]
        high = np.max([p.vertices[:, :2].max(axis=0) for p in placed], axis=0)
        spare = np.array([*np.maximum((room - high) / 2, 0.0), 0.0])
        out.append(Plate(number, tuple(Placed(p.body, p.vertices + spare) for p in placed)))
    return tuple(out)


def _moved(vertices: Array, spot: Spot) -> Array:
    """Vertices with their box at a spot."""
    if spot.turned:
        vertices = vertices @ np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
        vertices = vertices - np.array([vertices[:, 0].min(), vertices[:, 1].min(), 0.0])
    moved: Array = vertices + np.array([spot.x, spot.y, 0.0])
    return moved


def packed_best(sizes: Sequence[tuple[float, float]], room: tuple[float, float], gap: float) -> list[list[Spot]]:
    """Boxes (wide, deep) on plates, at least ``gap`` apart, the fewest plates of several orders tried, and of those the emptiest last one.

    Every box must fit the room by itself, as it is or turned a quarter; raises ValueError for one that does not.
    """
    orders: tuple[Callable[[tuple[float, float]], float], ...] = (lambda s: s[0] * s[1], max, lambda s: s[0] + s[1], min)
    tried = [packed([*sorted(range(len(sizes)), key=lambda i, key=key: -key(sizes[i]))], sizes, room, gap) for key in orders]  # type: ignore[misc]
    return min(tried, key=lambda out: (len(out), sum(sizes[s.number][0] * sizes[s.number][1] for s in out[-1]) if out else 0.0))


def drawn_in(spots: Sequence[Spot], sizes: Sequence[tuple[float, float]], room: tuple[float, float], gap: float) -> list[Spot]:
    """The boxes of one plate in as small a room of the bed's shape as they go into: the middle of a bed prints best."""
    own = [s.number for s in spots]
    for share in np.linspace(0.3, 1.0, 29)[:-1]:
        less = (room[0] * float(share), room[1] * float(share))
        if all(min(sizes[i]) <= min(less) and max(sizes[i]) <= max(less) for i in own):
            tried = packed_best([sizes[i] for i in own], less, gap)
            if len(tried) == 1:
                return [s._replace(number=own[s.number]) for s in tried[0]]
    return list(spots)


def packed(order: Sequence[int], sizes: Sequence[tuple[float, float]], room: tuple[float, float], gap: float) -> list[list[Spot]]:
    """The boxes in that order, each on the first plate with room, there where the shorter strip beside it is narrowest."""
    whole: Free = (0.0, 0.0, room[0] + gap, room[1] + gap)
    out: list[list[Spot]] = []
    free: list[list[Free]] = []
    for number in order:
        wide, deep = sizes[number][0] + gap, sizes[number][1] + gap
        found = next(((k, best) for k, left in enumerate(free) if (best := _best(left, wide, deep)) is not None), None)
        if found is None:
            best = _best([whole], wide, deep)
            if best is None:
                raise ValueError(f"a box of {wide - gap:.1f} x {deep - gap:.1f} does not fit a bed of {room[0]:.1f} x {room[1]:.1f}")
            out.append([])
            free.append([whole])
            found = (len(out) - 1, best)
        k, (x, y, turned) = found
        out[k].append(Spot(number, x, y, turned))
        free[k] = _left(free[k], (x, y, deep if turned else wide, wide if turned else deep))
    return out


def _best(free: Sequence[Free], wide: float, deep: float) -> tuple[float, float, bool] | None:
    """Where a box goes: corner and whether it is turned; None where nothing holds it."""
    least: tuple[float, float] | None = None
    spot: tuple[float, float, bool] | None = None
    for x, y, w, d in free:
        for turned in (False, True):
            a, b = (deep, wide) if turned else (wide, deep)
            if a <= w + HAIR and b <= d + HAIR:
                cost = (min(w - a, d - b), max(w - a, d - b))
                if least is None or cost < least:
                    least, spot = cost, (x, y, turned)
    return spot


def _left(free: Sequence[Free], taken: Free) -> list[Free]:
    """The largest boxes still free once ``taken`` is: each cut round it, those inside another left out."""
    x, y, w, d = taken
    out: list[Free] = []
    for fx, fy, fw, fd in free:
        if x >= fx + fw or x + w <= fx or y >= fy + fd or y + d <= fy:
            out.append((fx, fy, fw, fd))
            continue
        cut = ((fx, fy, x - fx, fd), (x + w, fy, fx + fw - x - w, fd), (fx, fy, fw, y - fy), (fx, y + d, fw, fy + fd - y - d))
        out += [one for one in cut if one[2] > HAIR and one[3] > HAIR]
    return [a for i, a in enumerate(out) if not any(_inside(a, b) and (i > j or not _inside(b, a)) for j, b in enumerate(out) if i != j)]


def _inside(a: Free, b: Free) -> bool:
    return a[0] >= b[0] and a[1] >= b[1] and a[0] + a[2] <= b[0] + b[2] and a[1] + a[3] <= b[1] + b[3]
