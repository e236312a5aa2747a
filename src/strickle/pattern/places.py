"""Places that two straight-drawn halves cannot release, each with its sand and the ways that sand has out of the part.

A place's sand touches the part's metal and, at its open faces, the sand of the mould. An open face that is near to flat and looks sideways
is an end: a core may leave the part there. A place whose open faces look several ways at once (under a boss, round a groove) is open.
"""

from __future__ import annotations

from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array
from strickle.kernels import winding
from strickle.pattern.seams import SPECK, UPRIGHT, closed, off
from strickle.pattern.undercut import CRUMB, Filled, halves, patches, plain, region, shadow

FLAT = 0.92  # length of the mean normal of an open face that counts as flat
RIM = 1.5  # mm of metal round a hole that tells how deep it is
FAR = 1e4
LEAST = 1e-9  # mm: corners that stand out by less are rounding; walls that nearly meet leave thousands of them
BLIND = 0.02  # share of the straight way between two ends that may be metal
ALONG = 0.7  # cosine of a place to the face it leaves by under which its end is left as it is
SQUARE = 1.0 - 1e-7  # the same from which it leaves square


class End(NamedTuple):
    """One open face by which the sand of a place meets the mould's. Millimetres."""

    at: Array  # (3,) middle
    out: Array  # (3,) unit, level: the way out of the part
    area: float  # mm2
    inner: float  # least reach of the face along ``out``, or along its own normal where it is aslant, from the frame's middle
    slant: float = 0.0  # tangent of the angle, in plan, between ``out`` and the face's own normal

    @property
    def normal(self) -> Array:
        """Of the face (3,), as long as makes it 1 along ``out``: heights over it along ``out`` are told by it."""
        return normal_of(self.out, self.slant)


def across(out: Array) -> Array:
    """The level unit vector (3,) across a level one."""
    return np.array([-out[1], out[0], 0.0])


def normal_of(out: Array, slant: float) -> Array:
    """Of a face aslant to ``out``, as long as makes it 1 along that."""
    return np.asarray(out - slant * across(out)) if slant else np.asarray(out)


class Place(NamedTuple):
    """The sand of one place. Millimetres, mould frame."""

    solid: manifold3d.Manifold
    prism: manifold3d.Manifold  # what fills it, a hair into the metal
    told: Filled
    ends: tuple[End, ...]
    is_open: bool  # its open faces look several ways
    out: Array  # (3,) unit, level: mean way out; zero where there is none
    upright: bool = False  # a hole along the draw


class Found(NamedTuple):
    """All places of a part, largest first, with the part as it is when they are filled."""

    filled: manifold3d.Manifold
    places: tuple[Place, ...]
    volume: float  # mm3 filled, crumbs with them
    prisms: tuple[manifold3d.Manifold, ...] = ()  # what fills them, crumbs with it


def find(whole: manifold3d.Manifold) -> Found:
    """Places of a part in the mould frame, parting z = 0.

    Raises BadInput where its surface is too rough to draw.
    """
    over, under = halves(whole)
    prisms = shadow(over, 1.0) + shadow(under, -1.0)
    if not prisms:
        return Found(whole, (), 0.0)
    metal = winding.tree_of(*plain(whole))
    bare = manifold3d.Manifold.batch_boolean(prisms, manifold3d.OpType.Add)
    every = closed(bare, whole, metal)
    out = whole + every if every is bare else (whole + every).as_original().simplify(LEAST)
    parts = [piece.as_original().simplify(LEAST) for piece in (every - whole).decompose() if piece.volume() > CRUMB]
    every_one, sand = every.decompose(), winding.tree_of(*plain(every))
    places = [_place(piece, (metal, sand), every_one) for piece in parts]
    places.sort(key=lambda place: -place.told.volume)
    return Found(out, tuple(places), max(float(out.volume() - whole.volume()), 0.0), tuple(every_one))


def _straight(piece: manifold3d.Manifold, ends: list[End]) -> list[End]:
    """The two ends of a straight place with the ways out along it, where it leaves by faces that are not square to it."""
    along = (ends[1].at - ends[0].at) * np.array([1.0, 1.0, 0.0])
    length = float(np.linalg.norm(along))
    ways = (-along / max(length, 1e-9), along / max(length, 1e-9))
    square = [float(end.out @ way) for end, way in zip(ends, ways)]
    if min(square) < ALONG or min(square) > SQUARE:
        return ends
    turn = np.column_stack([np.cross([0.0, 0.0, 1.0], ways[1]), [0.0, 0.0, 1.0], ways[1]])
    local = piece.transform(np.column_stack([turn.T, np.zeros(3)]))
    middle = local.slice(float((ends[0].at + ends[1].at) @ ways[1]) / 2)
    even = abs(float(middle.area()) * length - float(piece.volume())) < 0.05 * float(piece.volume())
    vertices, _ = plain(piece)
    faces = [np.abs((vertices - end.at) @ end.out) < 1.0 for end in ends]
    if not even and not _seen_through(local, [(vertices @ turn)[face] for face in faces]):
        return ends
    out = []
    for end, way, face in zip(ends, ways, faces):
        slant = -float(end.out @ across(way)) / float(end.out @ way)
        out.append(End(end.at, way, end.area, float((vertices[face] @ normal_of(way, slant)).min()), slant))
    return out


def _seen_through(local: manifold3d.Manifold, faces: list[Array]) -> bool:
    """Whether its smaller, last end sees the other straight along z through a piece, which may be wider between; corners of its ends (n, 3)."""
    low, high = float(faces[0][:, 2].max()), float(faces[1][:, 2].min())
    if high <= low:
        return False
    sight = manifold3d.CrossSection.hull_points(faces[1][:, :2]).extrude(high - low).translate((0.0, 0.0, low))
    return float((sight - local).volume()) < BLIND * float(sight.volume())


def _meet(one: manifold3d.Manifold, other: manifold3d.Manifold) -> bool:
    a, b = one.bounding_box(), other.bounding_box()
    return all(a[i] <= b[i + 3] and b[i] <= a[i + 3] for i in range(3))


def upright(whole: manifold3d.Manifold, least: float, deep: float) -> tuple[Place, ...]:
    """Holes through a part along the draw, at least ``least`` mm across and deeper than ``deep`` times that, largest first.

    A hole counts where the metal round it reaches from the cope, or the parting, to the drag or the parting.
    """
    found = []
    for ring in whole.project().to_polygons():
        hole = manifold3d.CrossSection([ring[::-1]])
        if hole.area() < 0.25 * np.pi * least**2:
            continue
        round_it = (hole.offset(RIM, manifold3d.JoinType.Miter) - hole).extrude(2 * FAR).translate((0.0, 0.0, -FAR)) ^ whole
        if round_it.is_empty():
            continue
        low, high = round_it.bounding_box()[2], round_it.bounding_box()[5]
        column = hole.offset(RIM, manifold3d.JoinType.Miter).extrude(high - low).translate((0.0, 0.0, low))
        sand = max((column - whole).decompose(), key=lambda part: part.volume())
        wide = _widths(ring)
        if low > 1e-3 or high < -1e-3 or min(wide) < least or high - low <= deep * min(wide):
            continue
        middle = np.append((ring.min(axis=0) + ring.max(axis=0)) / 2, (low + high) / 2)
        told = Filled(float(sand.volume()), middle, np.array([*wide, high - low]), "both", 0.0)
        ends = tuple(End(middle, np.array([0.0, 0.0, way]), float(hole.area()), way * level) for way, level in ((-1.0, low), (1.0, high)))
        found.append(Place(sand, sand, told, ends, False, np.zeros(3), True))
    return tuple(sorted(found, key=lambda place: -place.told.volume))


def _widths(ring: Array) -> tuple[float, float]:
    x, y = np.ptp(ring, axis=0)
    return float(x), float(y)


def _place(piece: manifold3d.Manifold, shut: tuple[winding.Tree, winding.Tree], prisms: list[manifold3d.Manifold]) -> Place:
    """The sand of one place with its open faces: those that look neither at metal nor at sand of a place, which are told by ``shut``."""
    vertices, faces = plain(piece)
    cross, areas, middles, outside = off(vertices, faces)
    own = np.logical_and(*(winding.at(tree, outside) < 0.5 for tree in shut))
    side = own & (np.abs(cross[:, 2]) < UPRIGHT * areas)
    ends, is_open, mean = [], False, np.zeros(3)
    for group in patches(faces, np.flatnonzero(side)) if side.any() else []:
        area = float(areas[group].sum())
        if area < SPECK:
            continue
        pull = cross[group].sum(axis=0) * np.array([1.0, 1.0, 0.0])
        mean += pull
        if float(np.linalg.norm(pull)) < FLAT * area:
            is_open = True
            continue
        middle = np.average(middles[group], axis=0, weights=areas[group])
        way = pull / np.linalg.norm(pull)
        ends.append(End(middle, way, area, float((vertices[faces[group]] @ way).min())))
    ends.sort(key=lambda end: -end.area)
    is_open = is_open or float(areas[own & ~side].sum()) > 0.05 * float(areas.sum())
    length = float(np.linalg.norm(mean))
    out = mean / length if length > 0.05 * max(float(areas[side].sum()), 1e-9) else np.zeros(3)
    told = region(piece)
    if len(ends) == 2 and not is_open:
        ends = _straight(piece, ends)
    near = [one for one in prisms if _meet(one, piece)]
    prism = near[0] if len(near) == 1 else max(near or prisms, key=lambda one: float((one ^ piece).volume()))
    return Place(piece, prism, told, tuple(ends), is_open, out)
