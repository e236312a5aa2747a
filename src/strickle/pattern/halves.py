"""The printed halves: split at the parting, with holes for dowels, lifting screw and rapping bar, all opening on the parting face."""

from __future__ import annotations

from typing import NamedTuple

import manifold3d
import numpy as np
from scipy import ndimage

from strickle.base import Array, Mesh, Piece
from strickle.pattern.columns import View, view
from strickle.pattern.undercut import halves, plain

ACROSS = 260
CRUMB = 1.0  # mm3: smaller bodies are left out of the print
PINS = ((4.2, 3.2), (3.2, 2.2), (2.2, 1.7))  # mm, holes for 4 and 3, 3 and 2, 2 and 1.5 mm pins: unlike, so the halves meet one way only
DEPTHS = (10.0, 8.0, 6.0, 4.0, 3.0, 2.0)  # mm, dowels
HOLDS = 4.0  # mm of pilot a lifting screw needs at least
SCREW = 3.2  # mm, pilot for the lifting screw
BAR = 6.2  # mm, seat for the rapping bar
WALL = 1.6  # mm of print left round and over a hole
APART = 8.0  # mm between dowels, and between two lifting screws, at least
LEVEL = 0.04  # a screw farther off the middle of the wall drag than this share of the length gets a second one across from it


class Hole(NamedTuple):
    """A blind hole in the parting face. Millimetres, print scale."""

    use: str  # dowel | lift | rap
    half: str  # cope | drag
    at: Array  # (2,)
    diameter: float
    depth: float


class Holes(NamedTuple):
    """All holes with what could not be had."""

    holes: list[Hole]
    loose: int  # bodies of the pattern that found no room for two dowels
    bodies: int  # bodies that need dowels
    unlifted: list[str]  # halves whose largest body has no room for a lifting screw
    offset: dict[str, float]  # mm from the lifting screw, or the middle of two, to the middle of the wall drag, by half


class _Room(NamedTuple):
    """Print under each column of the parting face, to look for places in."""

    x: Array
    y: Array
    cell: float
    depth: dict[str, Array]  # of print over the parting face, by half


def _room(printed: manifold3d.Manifold) -> _Room:
    vertices, faces = plain(printed)
    seen: View = view(vertices, faces, ACROSS)
    x, y = (seen.origin[i] + (np.arange(seen.low.shape[i]) + 0.5) * seen.cell for i in range(2))
    cope = np.where(np.isfinite(seen.high), np.maximum(seen.high, 0.0), 0.0)
    drag = np.where(np.isfinite(seen.low), np.maximum(-seen.low, 0.0), 0.0)
    return _Room(x, y, seen.cell, {"cope": cope, "drag": drag})


def _places(room: _Room, mask: Array, diameter: float, taken: list[Hole], half: str) -> Array:
    """Column indices (k, 2) where a hole fits inside ``mask``, clear of the edge and of other holes of the same half."""
    free = ndimage.distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1] * room.cell - room.cell >= diameter / 2 + WALL
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
    vertices, faces = plain(body)
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    area = np.linalg.norm(cross, axis=1)
    wall = np.abs(cross[:, 2]) < np.sin(np.radians(10.0)) * area
    weight = np.where(wall, area, 0.0) if wall.any() else area
    return np.asarray(np.average((a + b + c)[:, :2] / 3, axis=0, weights=weight))


def drill(printed: manifold3d.Manifold) -> Holes:
    """Where the holes of both halves go."""
    room = _room(printed)
    labels = {half: ndimage.label(room.depth[half] > 0.2) for half in ("cope", "drag")}
    holes: list[Hole] = []
    loose = bodies = 0
    if labels["cope"][1] and labels["drag"][1]:
        many = max(labels, key=lambda half: labels[half][1])
        label, count = labels[many]
        for i in range(1, count + 1):
            if (label == i).sum() * room.cell**2 < 4.0:
                continue
            found = _dowels(room, label == i)
            bodies += 1
            loose += not found
            holes += found
    unlifted: list[str] = []
    offset: dict[str, float] = {}
    for half, solid in zip(("cope", "drag"), halves(printed)):
        label, count = labels[half]
        sizes = np.bincount(label.ravel())[1:]
        for i in np.argsort(-sizes, kind="stable"):
            if sizes[i] * room.cell**2 < 60.0 and i != int(np.argmax(sizes)):
                continue
            island = label == i + 1
            target = wall_drag(solid) if count == 1 else _points(room, np.argwhere(island)).mean(axis=0)
            main = i == int(np.argmax(sizes))
            lift = _nearest(room, island, target, SCREW, holes, half)
            if lift is None:
                unlifted += [half] if main else []
                continue
            holes.append(lift._replace(use="lift"))
            if not main:
                continue
            at = lift.at
            if np.hypot(*(at - target)) > LEVEL * np.ptp(_points(room, np.argwhere(island)), axis=0).max():
                twin = _nearest(room, island, 2 * target - at, SCREW, holes, half, clear=APART)
                if twin is not None and np.hypot(*((at + twin.at) / 2 - target)) < 0.5 * np.hypot(*(at - target)):
                    holes.append(twin._replace(use="lift"))
                    at = (at + twin.at) / 2
            offset[half] = float(np.hypot(*(at - target)))
            rap = _nearest(room, island, _points(room, np.argwhere(island)).mean(axis=0), BAR, holes, half, clear=12.0)
            if rap is not None:
                holes.append(rap._replace(use="rap"))
    return Holes(holes, loose, bodies, unlifted, offset)


def sound(body: manifold3d.Manifold) -> tuple[manifold3d.Manifold, int]:
    """The solid without its crumbs, and how many there were."""
    parts = body.decompose()
    kept = [p for p in parts if p.volume() >= CRUMB]
    return manifold3d.Manifold.compose(kept) if kept else manifold3d.Manifold(), len(parts) - len(kept)


def pieces(printed: manifold3d.Manifold, holes: Holes) -> tuple[tuple[Piece, ...], int]:
    """The pattern pieces in metres and the number of crumbs left out. ``printed`` is in millimetres at print scale."""
    out: list[Piece] = []
    crumbs = 0
    for half, side, body in zip(("cope", "drag"), (1.0, -1.0), halves(printed)):
        clean, lost = sound(body)
        crumbs += lost
        if clean.is_empty():
            continue
        own = [h for h in holes.holes if h.half == half]
        for hole in own:
            tool = manifold3d.Manifold.cylinder(hole.depth + 1.0, hole.diameter / 2, circular_segments=24)
            tool = tool.translate((*hole.at, -1.0)) if side > 0 else tool.translate((*hole.at, -hole.depth))
            clean = clean - tool
        vertices, faces = plain(clean)
        first = {hole.use: np.append(hole.at, 0.0) * 1e-3 for hole in reversed(own)}
        lift = first.get("lift")
        out.append(
            Piece(
                name=f"{half}-pattern",
                role="pattern",
                half=half,
                mesh=Mesh(vertices=vertices * 1e-3, faces=faces),
                draw=np.array([0.0, 0.0, -side]),
                order=10,
                volume=float(clean.volume()) * 1e-9,
                extents=np.ptp(vertices, axis=0) * 1e-3,
                lift_point=lift,
                rap_point=first.get("rap", lift),
                note=_note(half, own, len(clean.decompose())),
            )
        )
    return tuple(out), crumbs


def _note(half: str, own: list[Hole], bodies: int) -> str:
    """What the moulder should know of a half, in words without numbers that could differ from the solid."""
    uses = {hole.use for hole in own}
    words = [f"Drawn out of the {half} through its parting face"]
    if "dowel" in uses:
        words.append("two unlike dowel holes let the halves meet one way only")
    screws = sum(hole.use == "lift" for hole in own)
    if screws == 1 or bodies > 1:
        words.append("the narrow hole near the middle of the wall drag takes the lifting screw")
    elif screws:
        words.append("the narrow holes on both sides of the middle of the wall drag take two lifting screws, drawn together")
    if "rap" in uses:
        words.append("the wide hole takes the rapping bar")
    elif "lift" in uses:
        words.append("rap on the lifting screw")
    if bodies > 1:
        words.append(f"it is {bodies} separate bodies, each drawn by itself")
    return "; ".join(words) + "."
