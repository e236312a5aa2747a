"""Bodies of sand that must stand while the pattern is drawn, measured on exact sections of the cavity.

Each half is cut into layers (``LAYERS`` over its depth, and one boundary on every large flat, so that none straddles a floor). In a section
sand is enclosed where metal stands all round it (a hole of the section), and where a slot open at one or two sides is narrower than
twice the depth of the half: the section closed with a ball of that depth, less the section. Narrow arms of a wide body are found by
a second closing with a quarter of it. Components of neighbouring layers are one body where they lie over each other; where bodies grow
together towards their root each is one, and the common trunk that bears them all is another.

Sections are polygons, not cells, so perimeter and draft carry no error of a staircase. Draft is measured stretch by stretch of the outline that
touches the pattern: how far each lies from the section before, against that if it lies farther in. What leans more than ``STEEP`` is a floor or a
ledge, lets go at the first move and is no wall; an open side has no say; waves cancel; a fine staircase has the draft of its steps.
Bodies narrower than ``LEAST`` or of less area are not seen, nor sand that hangs below the parting in a crooked
mould. Lengths in this module are millimetres, in the records metres.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import manifold3d
import numpy as np
import shapely

from strickle.base import Array, Mesh
from strickle.mould.draw_lean import NEAR, NO_LEANS, STEEP, Outline, draft_of, leans_of

LAYERS = 24
FLATS, FLAT = 10, 8.0  # most flats with a boundary of their own, least area of one [mm2]
MOST_REACH = 40.0  # widest ball of the closing [mm]
LEAST, LEAST_AREA = 0.25, 0.4  # least width [mm] and area [mm2] of a section of sand that is followed
SHALLOW, SPLIT = 5e-4, 6  # m, thickness of a layer from which a body that keeps to it is looked at in so many thinner ones
SMOOTH = 0.03  # outline details finer than this do not bear on a closing [mm]
FILM = 1e-4  # and than this are none [mm]
ARM = 0.6  # an arm that fills more of its body than this is the body itself
BETWEEN = {"pocket": 0.0, "slot": 0.5, "arm": 0.72}
"""Share of a body's outline that must touch the pattern; a right corner has 0.56, a square bay 0.75."""
ROOT, FLARED = 0.15, 0.85  # share of the depth that is the root; a section before it of less than this of the root's area: the root opens out


class Layer(NamedTuple):
    """One component of one section, millimetres."""

    high: float  # middle of the layer over the parting
    thick: float
    area: float
    contact: float  # outline that touches the pattern
    side: float  # outline against other sand
    ceiling: float  # pattern facing the root over it
    gained: float  # of its area, what is metal in the section before it, nearer the parting
    leans: Array  # draft times length, and length, of its walls and of its sides: see `draw_lean.leans_of`
    shape: Any  # shapely polygon, or None in a sum of several


class Body(NamedTuple):
    """A body of sand, layers from its tip to its root; metres. Layers before ``own`` belong to bodies it bears."""

    half: str
    kind: str  # pocket | slot | arm
    is_through: bool  # reaches the parting
    at: Array  # middle of the root, mould frame (3,)
    own: int
    thick: Array
    area: Array
    contact: Array  # of walls, steep parts left out
    side: Array
    ceiling: Array  # faces the root; steep parts of the outline among it
    draft: Array  # tangent, mean of its walls
    lean: Array  # tangent, least of its sides
    width: float
    long: float  # length of the root over its width
    shapes: tuple[tuple[float, float, Any], ...]  # low, high [mm over the parting], polygon [mm]

    @property
    def depth(self) -> float:
        """Height from root to tip [m]."""
        return float(self.thick.sum())

    @property
    def is_fin(self) -> bool:
        """Whether it is a wall rather than a post."""
        return self.long > 2.5


class Half(NamedTuple):
    """One half's bodies and its outside."""

    name: str
    depth: float  # [m]
    length: float  # longest side in plan [m]
    draft: float  # of the outside, tangent
    bodies: tuple[Body, ...]


def halves(cavity: Mesh) -> tuple[Half, ...]:
    """Sand bodies of each half of a cavity (mould frame, metres)."""
    vertices, faces = np.asarray(cavity.vertices * 1e3, dtype=np.float64), np.asarray(cavity.faces, dtype=np.uint64)
    solid = manifold3d.Manifold(manifold3d.Mesh64(np.ascontiguousarray(vertices), np.ascontiguousarray(faces)))
    out = []
    for name, side in (("drag", -1.0), ("cope", 1.0)):
        high = vertices[:, 2] * side
        if high.max() > 0.05:
            mine = solid if side > 0 else solid.mirror((0.0, 0.0, 1.0))
            edges = _edges(high, faces.astype(np.int64), vertices)
            half = _half(name, mine, edges)
            fine = _finer(edges, half.bodies)
            out.append(half if len(fine) == len(edges) else _half(name, mine, fine))
    return tuple(out)


def _finer(edges: Array, bodies: Sequence[Body]) -> Array:
    """The boundaries with more of them in layers to which a body keeps: one section tells neither its height nor its draft."""
    lone = [shape for body in bodies if len(body.thick) == 1 and body.thick[0] > SHALLOW for shape in body.shapes]
    middles = {round((low + high) / 2, 6) for low, high, _ in lone}
    parts = [
        np.linspace(low, high, SPLIT + 1)[:-1] if round(float(low + high) / 2, 6) in middles else np.array([low])
        for low, high in itertools.pairwise(edges)
    ]
    return np.append(np.concatenate(parts), edges[-1])


def _edges(high: Array, faces: Array, vertices: Array) -> Array:
    """Boundaries of the layers [mm over the parting], ascending."""
    top = float(high.max())
    corners = high[faces]
    flat = (np.ptp(corners, axis=1) < 1e-3) & (corners[:, 0] > 0.1) & (corners[:, 0] < top - 0.1)
    a, b, c = (vertices[faces[flat, i], :2] for i in range(3))
    areas = 0.5 * np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    levels, which = np.unique(np.round(corners[flat, 0], 1), return_inverse=True)
    sums = np.bincount(which, weights=areas, minlength=len(levels)) if len(levels) else np.zeros(0)
    best = [levels[i] for i in np.argsort(-sums, kind="stable")[:FLATS] if sums[i] > FLAT]
    marks = np.array(sorted([0.0, *best, top]))
    parts = [np.linspace(lo, hi, max(2, int(np.ceil((hi - lo) / top * LAYERS))) + 1)[:-1] for lo, hi in itertools.pairwise(marks)]
    return np.append(np.concatenate(parts), top)


@dataclass
class _Chain:
    """A body in the making, tip first; layers before ``own`` belong to bodies it bears."""

    kind: str
    layers: list[Layer]
    own: int = 0


def _half(name: str, solid: manifold3d.Manifold, edges: Array) -> Half:
    """Follow every component from the parting to its root."""
    top = float(edges[-1])
    reach = min(top, MOST_REACH)
    live: dict[str, list[_Chain]] = {"pocket": [], "slot": [], "arm": []}
    done: list[_Chain] = []
    outer: list[tuple[float, float]] = []
    before: Outline | None = None
    for low, high in itertools.pairwise(edges):
        now = Outline(solid.slice(float(low + high) / 2), float(low + high) / 2)
        freed = None if before is None else before.section - now.section
        for kind, layers in _sections(now, reach, float(high - low)).items():
            live[kind] = _follow(kind, live[kind], _leaning(_grown(layers, freed), now, before), done)
        section, before = now.section, now
        whole = [shapely.Polygon(ring) for ring in map(np.asarray, section.to_polygons()) if _turns(ring) > 0]
        outer.append((sum(p.area for p in whole), sum(p.length for p in whole)))
    for chains in live.values():
        done += chains
    box = solid.bounding_box()
    length = max(box[3] - box[0], box[4] - box[1]) * 1e-3
    bodies = tuple(b for chain in done if (b := _body(name, chain)) is not None)
    areas, around = (np.array([pair[i] for pair in reversed(outer)]) for i in (0, 1))
    return Half(name, top * 1e-3, length, _outer(areas, around, np.diff(edges)[::-1]), bodies)


def _turns(ring: Array) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return 0.5 * float(x[:-1] @ y[1:] - y[:-1] @ x[1:] + x[-1] * y[0] - y[-1] * x[0])


def _polygons(section: manifold3d.CrossSection, least: float = LEAST) -> list[Any]:
    """Components of a section, those narrower than ``least`` [mm] and of less area than ``LEAST_AREA`` left out; every one with 0."""
    out = []
    for piece in section.decompose():
        rings = [np.asarray(ring) for ring in piece.to_polygons()]
        if not rings:
            continue
        if len(rings) > 1:
            rings.sort(key=lambda ring: -abs(_turns(ring)))
        shape = shapely.Polygon(rings[0], rings[1:])
        if least == 0.0 or (shape.area > LEAST_AREA and 2.0 * shape.area / shape.length > least / 2.0):
            out.append(shape)
    return out


def _closed(section: manifold3d.CrossSection, reach: float) -> manifold3d.CrossSection:
    segments = 24
    kind = manifold3d.JoinType.Round
    return section.offset(reach, kind, 2.0, segments).offset(-reach, kind, 2.0, segments)


def _opened(section: manifold3d.CrossSection, reach: float) -> manifold3d.CrossSection:
    """A section without what is narrower than twice ``reach``.

    Outlines that enclose nothing, which a difference leaves behind, are dropped first: beside them the offset may lose all there is.
    """
    miter = manifold3d.JoinType.Miter
    return section.simplify(FILM).offset(-reach, miter).offset(reach, miter)


def _sections(now: Outline, reach: float, thick: float) -> dict[str, list[Layer]]:
    """Components of enclosed sand in one section by kind."""
    metal, rings, high = now.section, now.rings, now.high
    if not rings:
        return {"pocket": [], "slot": [], "arm": []}
    filled = manifold3d.CrossSection([ring for ring in rings if _turns(ring) > 0], manifold3d.FillRule.NonZero)
    clean = LEAST / 2.0
    pockets = _polygons(filled - metal) if len(rings) > 1 else []
    slots = _polygons(_opened(_closed(filled.simplify(SMOOTH), reach) - filled, clean))
    arms = _arms(_opened(_closed(metal.simplify(SMOOTH), reach / 4.0) - metal, clean), pockets + slots)
    return {
        "pocket": [Layer(high, thick, p.area, p.length, 0.0, 0.0, 0.0, NO_LEANS, p) for p in pockets],
        "slot": [_open(p, now.edge, high, thick) for p in slots],
        "arm": [_open(p, now.edge, high, thick) for p in arms],
    }


def _arms(section: manifold3d.CrossSection, whole: list[Any]) -> list[Any]:
    """Narrow parts of wider bodies; those that are nearly the whole body are left out."""
    arms = _polygons(section)
    if not arms or not whole:
        return []
    tree = shapely.STRtree(whole)
    points = [p.representative_point() for p in arms]
    at, holder = tree.query(points, predicate="within")
    return [arms[i] for i, j in zip(at, holder, strict=True) if arms[i].area < ARM * whole[j].area]


def _open(shape: Any, edge: Any, high: float, thick: float) -> Layer:
    """A component with part of its outline against other sand."""
    touch = whole = 0.0
    for ring in (shape.exterior, *shape.interiors):
        corners = np.asarray(ring.coords)
        long = np.linalg.norm(np.diff(corners, axis=0), axis=1)
        middles = shapely.points((corners[1:] + corners[:-1]) / 2.0)
        whole += float(long.sum())
        touch += float(long[shapely.dwithin(middles, edge, NEAR)].sum())
    return Layer(high, thick, shape.area, touch, whole - touch, 0.0, 0.0, NO_LEANS, shape)


def _grown(layers: list[Layer], freed: manifold3d.CrossSection | None) -> list[Layer]:
    """Components of one section with what each gained; ``freed`` is metal of the section before that is none here."""
    if freed is None or not layers:
        return layers
    rings = [np.asarray(ring.coords)[:-1] for layer in layers for ring in (layer.shape.exterior, *layer.shape.interiors)]
    pieces = _polygons(manifold3d.CrossSection(rings, manifold3d.FillRule.EvenOdd) ^ freed, 0.0)
    if not pieces:
        return layers
    tree = shapely.STRtree([layer.shape for layer in layers])
    at, holder = tree.query([piece.representative_point() for piece in pieces], predicate="intersects")
    gained = np.bincount(holder, weights=[pieces[i].area for i in at], minlength=len(layers))
    return [layer._replace(gained=float(more)) for layer, more in zip(layers, gained, strict=True)]


def _leaning(layers: list[Layer], now: Outline, before: Outline | None) -> list[Layer]:
    """Components of one section with the draft of their outlines since the section before it."""
    found = leans_of([layer.shape for layer in layers], np.array([layer.side > 0.0 for layer in layers]), now, before)
    return [layer._replace(leans=leans) for layer, leans in zip(layers, found, strict=True)]


def _follow(kind: str, chains: list[_Chain], layers: list[Layer], done: list[_Chain]) -> list[_Chain]:
    """Carry the live chains one layer on towards the root; those that end or grow together are ``done``."""
    borne: list[list[_Chain]] = [[] for _ in layers]
    taken: dict[int, int] = {}
    if chains and layers:
        tree = shapely.STRtree([layer.shape for layer in layers])
        at, holder = tree.query([chain.layers[-1].shape.representative_point() for chain in chains], predicate="intersects")
        taken = dict(zip(at.tolist(), holder.tolist(), strict=True))
    for i, chain in enumerate(chains):
        if i in taken:
            borne[taken[i]].append(chain)
        else:
            done.append(chain)
    out = []
    for layer, mine in zip(layers, borne, strict=True):
        bare = layer.area if not mine else max(0.0, layer.gained - STEEP * layer.contact * layer.thick)
        grown = layer._replace(ceiling=0.0 if layer.high - layer.thick / 2 < 1e-6 else bare)
        if len(mine) == 1:
            mine[0].layers.append(grown)
            out.append(mine[0])
            continue
        done += mine
        summed = _summed(mine)
        out.append(_Chain(kind, [*summed, grown], len(summed)))
    return out


def _summed(chains: list[_Chain]) -> list[Layer]:
    """Layers of several bodies added level by level, tip first."""
    levels: dict[float, Layer] = {}
    for layer in (layer for chain in chains for layer in chain.layers):
        old = levels.get(layer.high)
        if old is None:
            levels[layer.high] = layer._replace(shape=None)
        else:
            add = {name: getattr(old, name) + getattr(layer, name) for name in ("area", "contact", "side", "ceiling", "gained", "leans")}
            levels[layer.high] = old._replace(**add)
    return [levels[high] for high in sorted(levels)]


def _outer(area: Array, around: Array, thick: Array) -> float:
    """Tangent of the draft of a half's outside, tip to root: the middle one of the growths of its section over its outline."""
    growth = np.diff(area) / np.maximum((thick[1:] + thick[:-1]) / 2.0 * (around[1:] + around[:-1]) / 2.0, 1e-12)
    return max(float(np.median(growth)), 0.0) if len(growth) else 0.0


def width(shape: Any) -> float:
    """Diameter of the largest circle in a polygon, within 1 %."""
    size = 2.0 * shape.area / shape.length
    return 2.0 * float(shapely.length(shapely.maximum_inscribed_circle(shape, tolerance=0.01 * size)))


def _body(half: str, made: _Chain) -> Body | None:
    """The record of one chain; None for a film or a mere corner."""
    kind, chain, own = made.kind, made.layers, made.own
    root = chain[-1]
    thick = np.array([layer.thick for layer in chain])
    if thick.sum() < 0.3 or root.shape is None:
        return None
    area, contact, side, ceiling = (np.array([getattr(layer, name) for layer in chain]) for name in ("area", "contact", "side", "ceiling"))
    leans = np.array([layer.leans for layer in chain])
    if contact.sum() < BETWEEN[kind] * (contact.sum() + side.sum()):
        return None  # a mere corner, no body
    across = width(root.shape)
    if kind == "arm" and thick.sum() < 0.5 * across:
        return None
    middle = root.shape.representative_point()
    away = (root.high + root.thick / 2) * (1.0 if half == "cope" else -1.0)
    # a necked root is judged with the neck's own width
    least = int(own + np.argmin(area[own:]))
    if area[least] < 0.9 * root.area and chain[least].shape is not None and least > own + 1 and thick[: least + 1].sum() > 0.5 * thick.sum():
        across = width(chain[least].shape)
    # and one that opens out at its very root (a chamfer, a rounded rim) with the width above that
    before = int(np.searchsorted(np.cumsum(thick), (1.0 - ROOT) * thick.sum()))
    if own <= before < len(chain) and area[before] < FLARED * root.area and (flared := chain[before].shape) is not None:
        across = min(across, width(flared))
    draft, lean = draft_of(leans, thick)
    measured = leans[:, 1, 1] > 0.0
    steep = np.where(measured, np.clip(contact - leans[:, 0, 1], 0.0, contact), 0.0)
    return Body(
        half=half,
        kind=kind,
        is_through=chain[0].high - chain[0].thick / 2 < 1e-6,
        at=np.array([middle.x, middle.y, away]) * 1e-3,
        own=own,
        thick=thick * 1e-3,
        area=area * 1e-6,
        contact=(contact - steep) * 1e-3,
        side=side * 1e-3,
        ceiling=(ceiling + steep * thick) * 1e-6,
        draft=draft,
        lean=lean,
        width=across * 1e-3,
        long=float(root.area / max(across, 1e-9) ** 2),
        shapes=tuple((layer.high - layer.thick / 2, layer.high + layer.thick / 2, layer.shape) for layer in chain[own:]),
    )
