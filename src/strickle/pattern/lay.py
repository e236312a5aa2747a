"""How the part lies in the mould: draw, parting, way up, frame and scale, and its faces seen from there."""

from __future__ import annotations

import dataclasses
from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array, BadInput, Mesh, Span, Watch, tell
from strickle.metal import Metal
from strickle.part import Part
from strickle.pattern import open_face, rules
from strickle.pattern.ask import PatternAsk
from strickle.pattern.crooked import heights
from strickle.pattern.directions import as_crooked, basis, lighter, search, solid, spare, surface
from strickle.pattern.frame import frame
from strickle.pattern.good import NONE, Good
from strickle.pattern.parting import Lie, choose
from strickle.pattern.result import Way
from strickle.pattern.undercut import LEAN
from strickle.pattern.ways import Settled, settled
from strickle.pattern.works import Joint
from strickle.stores import Stores

DRAFT = np.sin(np.radians(0.5))


class Laid(NamedTuple):
    """The part in the mould frame."""

    lie: Lie
    other: Lie | None
    turn: Array
    shift: Array
    scale: Array
    contraction: Span
    stock: float = 0.0
    ways: tuple[Way, ...] = ()


def lay(part: Part, metal: Metal, stores: Stores, ask: PatternAsk, watch: Watch, good: Good = NONE) -> Laid:
    """Draw, parting, way up, frame and scale; ``good`` faces that must come out good."""
    shape = spare(part.mesh)
    light = lighter(shape)
    if ask.up is not None and not 0 < float(np.linalg.norm(ask.up)) < np.inf:
        raise BadInput("the direction that shall point up has no length", "Give three numbers such as 0,0,1")
    if ask.open_face:
        return _lay_open(part, light, metal, stores, ask, watch)
    if ask.stock is not None:
        raise BadInput("stock on the poured face is asked for, and a two-part mould has no poured face", "Leave it out, or take --mould open-face")
    spots = np.array([spot.at for spot in part.hot_spots if spot.needs_feed]).reshape(-1, 3)
    lie, other, ways = _settled(shape, light, part.volume, spots, _limits(stores), ask, watch, good)
    used = _contraction(part, light, lie.draw, metal, stores)
    scale = np.full(3, 1.0 + used.value)
    turn, shift = frame(part.mesh.vertices, lie.draw, lie.level, scale)
    return Laid(lie, other, turn, shift, scale, used, 0.0, ways)


def _settled(
    shape: Mesh, light: Mesh, volume: float, spots: Array, limits: tuple[float, float], ask: PatternAsk, watch: Watch, good: Good
) -> Settled:  # fmt: skip
    """The way the part lies: as asked, else the best of those it can lie in."""
    crooked = ask.joint == "crooked"
    found = () if ask.up is not None else search(light, volume, watch, shape, good)
    found = as_crooked(found, volume) if crooked else found
    watch(0.42, "choosing the parting and the way up")
    if found and ask.parting is None:
        return settled(shape, found, volume, spots, limits, good, crooked)
    axis = found[0].direction if ask.up is None else ask.up / float(np.linalg.norm(ask.up))
    heights = shape.vertices @ axis
    if ask.parting is not None and not heights.min() - 1e-9 <= ask.parting <= heights.max() + 1e-9:
        span = f"{tell(float(heights.min()), 'm')} and {tell(float(heights.max()), 'm')}"
        raise BadInput("the parting asked for lies outside the part", f"Give a height between {span} along the draw")
    lies = choose(shape, axis, volume, spots, limits, ask.up is not None, ask.parting, good)
    return Settled(lies[0], next((one for one in lies if one.draw @ lies[0].draw < 0), None), ())


def _limits(stores: Stores) -> tuple[float, float]:
    """Depth over width up to which sand pockets are not slender, in the cope and in the drag."""
    return rules.constant(stores, "pocket.depth_to_width_cope").value, rules.constant(stores, "pocket.depth_to_width_drag").value


def at_level(laid: Laid, part: Part, rise: float, good: Good, stores: Stores) -> Laid:
    """The same with the flask's level ``rise`` [mm, cavity scale] higher; the other way up was looked at for another level and is let go."""
    level = laid.lie.level + rise * 1e-3 / float(laid.scale[2])
    lie = choose(spare(part.mesh), laid.lie.draw, part.volume, np.zeros((0, 3)), _limits(stores), True, level, good)[0]
    turn, shift = frame(part.mesh.vertices, lie.draw, lie.level, laid.scale)
    ways = tuple(dataclasses.replace(way, level=lie.level) if way.chosen else way for way in laid.ways)
    return laid._replace(lie=lie, other=None, turn=turn, shift=shift, ways=ways)


def _lay_open(part: Part, light: Mesh, metal: Metal, stores: Stores, ask: PatternAsk, watch: Watch) -> Laid:
    """The part under the level of an open face."""
    if ask.parting is not None:
        raise BadInput("an open-face mould parts at the back of the part and nowhere else", "Leave out the parting, or take a two-part mould")
    lie = open_face.lie(light, part.volume, ask, watch)
    lie = lie._replace(level=float((part.mesh.vertices @ lie.draw).max()))
    used = _contraction(part, light, lie.draw, metal, stores)
    scale = np.full(3, 1.0 + used.value)
    turn, shift = frame(part.mesh.vertices, lie.draw, lie.level, scale)
    return Laid(lie, None, turn, shift, scale, used, open_face.stock_of(part, ask))


def _contraction(part: Part, light: Mesh, draw: Array, metal: Metal, stores: Stores) -> Span:
    """The metal's contraction less what the sand holds back; the shop's own measured value as it is."""
    if metal.contraction_is_own:
        return metal.contraction
    turned = solid(Mesh(vertices=light.vertices @ basis(draw).T, faces=light.faces))
    hull = max(float(turned.hull().volume()), 1e-9)
    ends = (rules.constant(stores, f"restraint.{name}") for name in ("open", "frame"))
    held = rules.restraint(_enclosed(turned) / hull, *ends)
    return rules.contraction_used(metal.contraction, held)


def _enclosed(turned: manifold3d.Manifold) -> float:
    """Sand with metal all round it across z [mm3], by sections."""
    box = turned.bounding_box()
    step = (box[5] - box[2]) / 16
    holes = 0.0
    for i in range(16):
        for ring in turned.slice(box[2] + (i + 0.5) * step).to_polygons():
            x, y = ring[:, 0], ring[:, 1]
            holes += max(-0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1)), 0.0) * step
    return holes


def whole_of(mesh: Mesh, laid: Laid) -> manifold3d.Manifold:
    """The part as one solid at cavity scale, mould frame, millimetres; flush faces snapped to the parting."""
    vertices = laid.scale * (mesh.vertices @ laid.turn.T) + laid.shift
    vertices[np.abs(vertices[:, 2]) < 2e-6, 2] = 0.0
    whole = solid(spare(Mesh(vertices=vertices, faces=mesh.faces)))
    if whole.is_empty() or whole.volume() <= 0:
        raise BadInput("the part's mesh does not make a solid", "Mend it where it was drawn and export it again")
    shells = whole.decompose()
    return whole if len(shells) == 1 else manifold3d.Manifold.batch_boolean(shells, manifold3d.OpType.Add)


def hollows(mesh: Mesh) -> float:
    """Volume of the closed hollows of a part [m3], which ``whole_of`` fills: no sand comes into them."""
    return float(sum(max(-shell.volume(), 0.0) for shell in solid(mesh).decompose())) * 1e-9


def _side(mesh: Mesh, laid: Laid) -> tuple[Array, Array, Array]:
    """Heights over the parting of each face's lowest and highest corner (m,), and its normal along the draw (m,)."""
    heights = mesh.vertices[mesh.faces] @ laid.lie.draw - laid.lie.level
    normals, _ = surface(mesh)
    return heights.min(axis=1), heights.max(axis=1), normals @ laid.lie.draw


def drafts(mesh: Mesh, laid: Laid, joint: Joint | None = None) -> Array:
    """Sine of each face's draft (m,): positive where it draws in its own half, negative where it overhangs."""
    low, high, along = _side(mesh, laid)
    if joint is not None:
        middles = laid.scale * (mesh.vertices[mesh.faces].mean(axis=1) @ laid.turn.T) + laid.shift
        face = heights(joint.sheet, middles[:, 0] * 1e3, middles[:, 1] * 1e3) * 1e-3
        return np.where(middles[:, 2] >= face, along, -along)
    near = 3e-6
    out = np.where(low > -near, along, np.where(high < near, -along, -np.abs(along)))
    return np.asarray(np.where((low > -near) & (high < near), np.abs(along), out))


def caught_faces(mesh: Mesh, sines: Array) -> tuple[int, ...]:
    """Numbers of the faces that overhang, largest first."""
    _, areas = surface(mesh)
    bad = np.flatnonzero(sines < -LEAN)
    return tuple(int(i) for i in bad[np.argsort(-areas[bad], kind="stable")])


def undrafted(mesh: Mesh, laid: Laid, gone: Array) -> tuple[float, float, Array]:
    """Area along the draw [m2], the tallest such face's reach from the parting or its own height [m], and the faces, largest first; not ``gone``."""
    low, high, along = _side(mesh, laid)
    _, areas = surface(mesh)
    walls = np.setdiff1d(np.flatnonzero(np.abs(along) < DRAFT), gone)
    if walls.size == 0:
        return 0.0, 0.0, walls
    order = walls[np.argsort(-areas[walls], kind="stable")]
    return float(areas[walls].sum()), float((high - low)[walls].max()), order


def on_part(laid: Laid, at: Array) -> Array:
    """A place of the mould before stock is laid on, as a place on the part [m]."""
    return np.asarray(laid.turn.T @ ((at - laid.shift) / laid.scale))
