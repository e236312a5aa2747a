"""Draft by a stack of sections, drawable by construction.

Layer by layer from the far end to the parting: the section of the upper face of a layer is what came down from the layer before, what the part
has there, and what overhangs within the layer; below it the section grows by its draft. As every section holds the one over it, and
every overhang of the part lies in a layer that covers it, part and stack together come out of the sand whatever the part is. Where corners
of upper and lower section answer each other the layer is a smooth wall, so an upright wall is drafted in one piece; where rings meet or
close the layer is a step of at most the layer height.
"""

from __future__ import annotations

from typing import NamedTuple

import manifold3d
import numpy as np
from shapely import Polygon, STRtree, linestrings, points

from strickle.base import Array
from strickle.pattern.sections import MITRE, Section, area, away, clean, enclosed, inside, joined, length, lofted, moved, rings, shadows, stands, strips, swept, tidied
from strickle.pattern.undercut import plain

FINE = 0.005  # mm, surface moved at most before the stack is built
SNAP = 2e-3  # mm, corners nearer to the height of a flat than this lie in it
HAIR = 1e-4  # mm a section is drawn in before it grows, so that walls with draft of their own stay bare
SLICE = 2e-5  # mm under the upper face of a layer that it is cut
LEAST = np.radians(0.01)  # draft of faces that get none: what rounding needs to come free
UPRIGHT = 1e-4  # faces this near to the draw (tangent) make no new section
LOOSE = 0.02  # mm that sections reach over the block before the whole is cut by it
ON_FACE = 0.03  # mm from a kept face that an edge of a section is still on it
STANDS = np.sin(np.radians(5.0))  # faces that lean more are never reached by draft and need no keeping
FLAT = 1.0  # mm2 of level face at one height that get a layer of their own
TOLD = 0.2  # mm, width of a pocket whose closing is told
ROUND = 1e-6  # mm, corners on one plane are joined
THIN = 2e-4  # mm, mean width of a strip that is left for a later layer


class DraftRule(NamedTuple):
    """How much draft, in radians and metres."""

    outside: float = float(np.radians(2.0))
    pocket: float = float(np.radians(3.0))  # walls of sand that metal surrounds
    steepest: float = float(np.radians(5.0))  # low walls, and the far end of high ones
    extra: float = 0.15e-3  # taper that a wall gets beyond its angle, at ``steepest`` from its far end
    layer: float = 0.4e-3
    datum: str = "parting"  # the far end keeps its size | "mid-plane": right size at half height
    layered: bool = False  # layer lines lie across the draw
    across: float = float(np.radians(1.0))  # added where they do

    @property
    def angles(self) -> tuple[float, float]:
        """Angle used on outside walls and in pockets [rad]."""
        more = self.across if self.layered else 0.0
        return self.outside + more, self.pocket + more


class Closed(NamedTuple):
    """A pocket that its own draft closes. Millimetres, mould frame."""

    at: Array  # (3,) where it closes
    width: float  # of the pocket at its mouth
    depth: float  # of the pocket as drawn


class Drafted(NamedTuple):
    """A half with draft. Millimetres, mould frame."""

    solid: manifold3d.Manifold
    added: float  # mm3 of metal by draft
    removed: float  # mm3 taken off over a mid-plane datum
    undercut: float  # mm3 of undercut filled
    closed: tuple[Closed, ...]
    outside: float  # rad
    pocket: float  # rad


class _Rates:
    """How far each edge of a section goes out over a stretch of height."""

    def __init__(self, rule: DraftRule, kept: Array) -> None:
        self.angles = rule.angles
        self.steepest = max(rule.steepest, *self.angles)
        self.extra = rule.extra * 1e3
        self.layer = rule.layer * 1e3
        self.kept = kept
        self.tree = STRtree(linestrings(kept[:, :, :2])) if len(kept) else None

    def _kink(self, slope: Array) -> Array:
        """Height from the far end at which a wall passes from the steepest to its own slope (tangent)."""
        more = np.tan(self.steepest) - slope
        return np.where(more > 1e-6, self.extra / np.maximum(more, 1e-6), 0.0)

    def slopes(self, every: list[Array], level: float) -> list[Array]:
        """Tangent of the draft of each edge."""
        out = []
        for ring, shut in zip(every, enclosed(every)):
            slope = np.full(len(ring), np.tan(max(self.angles[shut], LEAST)))
            if self.tree is not None:
                along = np.roll(ring, -1, axis=0) - ring
                pairs = self.tree.query(points(ring + along / 2), predicate="dwithin", distance=ON_FACE)
                run = self.kept[pairs[1], 1] - self.kept[pairs[1], 0]
                edge = along[pairs[0]]
                turned = np.abs(edge[:, 0] * run[:, 1] - edge[:, 1] * run[:, 0])
                same = turned < 0.2 * np.hypot(*edge.T) * np.hypot(run[:, 0], run[:, 1])
                same &= self.kept[pairs[1], 0, 2] < level - SNAP
                slope[pairs[0][same]] = np.tan(LEAST)
            out.append(slope)
        return out

    def ages(self, every: list[Array], slopes: list[Array], part: list[Array], below: list[Array] | None, height: float) -> list[Array]:
        """Height from the far end that the growth of each edge speaks of; infinite where the part's own draft is enough."""
        out = []
        for ring, slope in zip(every, slopes):
            grown = np.maximum(away(ring, part) - 2 * HAIR, 0.0)
            kink = self._kink(slope)
            age = np.where(grown < kink * np.tan(self.steepest), grown / np.tan(self.steepest), np.inf)
            if below is not None:
                age = np.where(away(ring, below) > grown + 0.9 * slope * height, np.inf, age)
            age[slope <= 2 * np.tan(LEAST)] = np.inf
            out.append(age)
        return out

    def breaks(self, slopes: list[Array], ages: list[Array], height: float) -> float:
        """Height after which the first wall changes its slope, if that is within ``height``."""
        slope, age = np.concatenate(slopes), np.concatenate(ages)
        left = self._kink(slope) - age
        left = left[(left > 0.25 * self.layer) & (left < height - 0.25 * self.layer)]
        return float(left.min()) if left.size else height

    def steps(self, slopes: list[Array], ages: list[Array], height: float) -> list[Array]:
        """How far each edge goes out over ``height``."""
        out = []
        for slope, age in zip(slopes, ages):
            young = np.clip(self._kink(slope) - age, 0.0, height)
            out.append(young * np.tan(self.steepest) + (height - young) * slope)
        return out


class _Stack:
    """The stack of one half, built downwards; the half lies over its parting."""

    def __init__(self, body: manifold3d.Manifold, rates: _Rates, block: manifold3d.Manifold | None) -> None:
        self.body, self.rates, self.block = body, rates, block
        self.solids: list[manifold3d.Manifold] = []
        self.chain: list[tuple[float, list[Array]]] = []  # levels of one smooth wall
        self.closed: list[tuple[Array, float]] = []  # a place in plan, height
        self.undercut = 0.0

    def build(self, levels: Array, busy: Array, over: dict[int, Section], start: float) -> None:
        """Go down the levels (rising); growth above ``start`` is only what rounding needs."""
        fills = Section()
        foot: list[Array] = []
        for i in range(len(levels) - 2, -1, -1):
            high, low = float(levels[i + 1]), float(levels[i])
            part = self.body.slice(high - SLICE)
            below = rings(self.body.slice(low + SLICE)) if busy[i] else None
            more = self._fresh(part, foot, below, high - low)
            if i in over:
                fills = fills + over[i]
                more.append(over[i].offset(HAIR, MITRE))
            top = tidied(joined([*more, clean(foot)])) if more else foot
            if self.block is not None:
                room = self.block.slice(high - SLICE).offset(LOOSE, MITRE)
                fills = fills ^ room
                if (clean(top) - room).area() > 0:
                    top = rings(clean(top) ^ room)
            if not fills.is_empty():
                self.undercut += float((fills - self.body.slice((high + low) / 2)).area()) * (high - low)
            foot = self._down(top, high, low, rings(part), below, low < start - SNAP)
            self._note(rings(part) if below is None else below, foot, fills, low)
        self._close()

    def _fresh(self, part: Section, foot: list[Array], below: list[Array] | None, height: float) -> list[Section]:
        """What of the part's section the stack takes up here: pieces with a wall that has not draft enough of its own."""
        inner = part.offset(-HAIR, MITRE)
        new = inner - clean(foot) if foot else inner
        slope = np.tan(max(*self.rates.angles, LEAST))
        out = []
        for piece in new.decompose():
            every = rings(piece)
            if piece.area() < THIN * sum(length(r) for r in every):
                continue
            if below is not None and all(((away(r, below) > slope * height) | (away(r, foot) < 2 * HAIR)).all() for r in every):
                continue
            out.append(piece)
        return out

    def _down(self, top: list[Array], high: float, low: float, part: list[Array], below: list[Array] | None, grow: bool) -> list[Array]:
        """One layer or stretch of upright wall; gives the rings at its foot."""
        if not top:
            return []
        slopes = self.rates.slopes(top, high) if grow else [np.full(len(ring), np.tan(LEAST)) for ring in top]
        ages = self.rates.ages(top, slopes, part, below, high - low)
        cut = self.rates.breaks(slopes, ages, high - low)
        if cut < high - low and high - low > 1.01 * self.rates.layer:
            return self._down(self._down(top, high, high - cut, part, below, grow), high - cut, low, part, below, grow)
        foot = [moved(ring, by) for ring, by in zip(top, self.rates.steps(slopes, ages, high - low))]
        if stands(top, foot):
            if not self.chain or self.chain[-1][1] is not top:
                self._close()
                self.chain = [(high, top)]
            self.chain.append((low, foot))
            return foot
        if high - low > 1.01 * self.rates.layer:
            half = high - max(round((high - low) / (2 * self.rates.layer)), 1) * self.rates.layer
            return self._down(self._down(top, high, half, part, below, grow), half, low, part, below, grow)
        return self._step(top, foot, high, low)

    def _step(self, top: list[Array], foot: list[Array], high: float, low: float) -> list[Array]:
        """A layer with an upright wall, where rings meet or close."""
        every = tidied(swept(top, foot))
        self.solids.append(clean(every).extrude(high - low).translate((0.0, 0.0, low)))
        return every

    def _close(self) -> None:
        """The smooth wall built so far as a solid; layer by layer as steps if it does not close."""
        chain, self.chain = self.chain, []
        if not chain:
            return
        made = lofted(chain)
        if not made.is_empty() and made.volume() > 0:
            self.solids.append(made)
            return
        for (high, _), (low, every) in zip(chain, chain[1:]):
            self.solids.append(clean(every).extrude(high - low).translate((0.0, 0.0, low)))

    def _note(self, part: list[Array], foot: list[Array], fills: Section, low: float) -> None:
        """Holes of the part that draft, not an overhang, has closed at ``low``."""
        left = [ring[0] for ring in foot if area(ring) < 0]
        for ring in part:
            if area(ring) > 0 or any(inside(ring, at) for at in left) or any(inside(ring, at) for at, _ in self.closed):
                continue
            void = clean([ring[::-1]]) - clean([r for r in part if area(r) > 0 and inside(ring, r[0])]) - fills
            if void.area() > 0.5 * -area(ring) and _narrow(ring) > TOLD and (void - clean(foot)).area() < 0.02 * void.area():
                self.closed.append((_within(void), low))


def _levels(vertices: Array, faces: Array, base: float, layer: float, extra: tuple[float, ...]) -> tuple[Array, Array]:
    """Heights of the layers' faces, rising, and which layers hold walls that are not upright."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    plan = np.hypot(cross[:, 0], cross[:, 1])
    height = vertices[faces][:, :, 2]
    low, high = height.min(axis=1), height.max(axis=1)
    flat = (high - low < SNAP) & (plan < 0.05 * np.abs(cross[:, 2]))
    order = np.flatnonzero(flat)[np.argsort(low[flat])]
    groups = np.split(order, np.flatnonzero(np.diff(low[order]) > SNAP) + 1) if order.size else []
    sized = [(float(np.median(low[g])), float(np.abs(cross[g, 2]).sum()) / 2) for g in groups]
    keys = [base, float(vertices[:, 2].max())]
    for level, size in sorted((s for s in (*sized, *((e, np.inf) for e in extra)) if s[1] >= FLAT), key=lambda s: -s[1]):
        if base < level and min(abs(level - k) for k in keys) > 0.2 * layer:
            keys.append(level)
    keys.sort()
    leans = (np.abs(cross[:, 2]) > UPRIGHT * plan) & (high - low > SNAP)
    fine = np.unique(np.concatenate([np.linspace(p, q, int(np.ceil((q - p) / layer - 1e-6)) + 1) for p, q in zip(keys, keys[1:])]))
    begin = np.searchsorted(fine, low[leans] + SNAP, side="right") - 1
    end = np.searchsorted(fine, high[leans] - SNAP, side="left")
    ends = np.bincount(np.clip(begin, 0, None), minlength=len(fine) + 1) - np.bincount(np.clip(end, 0, len(fine)), minlength=len(fine) + 1)
    busy = np.cumsum(ends)[: len(fine) - 1] > 0
    keep = np.ones(len(fine), dtype=bool)
    keep[1:-1] = busy[1:] | busy[:-1] | np.isin(fine[1:-1], keys)
    first = np.flatnonzero(keep)[:-1]
    return fine[keep], busy[first]


def drafted(
    half: manifold3d.Manifold, side: float, rule: DraftRule, *, block: manifold3d.Manifold | None = None, kept: Array | None = None
) -> Drafted:
    """One half with draft added: over (``side`` +1) or under (-1) its parting, z = 0 unless a ``block`` is given.

    half: millimetres, mould frame. block: the half's own side of a crooked parting, all its sand and the half in it; nothing is added outside.
    kept: triangles (k, 3, 3) [mm] of faces that get no draft; those within 5 degrees of the draw are heeded, and what stands over them in
    the same plane is not drafted either. An edge of a section is on a kept face if its middle is.
    """
    mirror = (0.0, 0.0, 1.0)
    outside, pocket = rule.angles
    if half.is_empty():
        return Drafted(half, 0.0, 0.0, 0.0, (), outside, pocket)
    body, room = (half, block) if side > 0 else (half.mirror(mirror), block.mirror(mirror) if block is not None else None)
    rates = _Rates(rule, _segments(kept, side))
    body, base = _steady(body.simplify(FINE), room)
    vertices, faces = plain(body)
    top = float(vertices[:, 2].max())
    start = (base + top) / 2 if rule.datum == "mid-plane" else top
    levels, busy = _levels(vertices, faces, base, rates.layer, (start,) if start < top else ())
    stack = _Stack(body, rates, room)
    stack.build(levels, busy, shadows(_down_facing(vertices, faces), levels, 0.5 * np.tan(LEAST)), start)
    whole = manifold3d.Manifold.batch_boolean([body, *stack.solids], manifold3d.OpType.Add).as_original().simplify(ROUND)
    if room is not None:
        whole = whole ^ room
    before, removed = float(whole.volume()), 0.0
    if start < top:
        whole = _tapered(whole, rates, levels, start)
        removed = before - float(whole.volume())
    closed = tuple(_told(stack, at, low, side) for at, low in stack.closed)
    out = whole if side > 0 else whole.mirror(mirror)
    return Drafted(out, max(before - float(body.volume()) - stack.undercut, 0.0), removed, stack.undercut, closed, outside, pocket)


def _tapered(whole: manifold3d.Manifold, rates: _Rates, levels: Array, start: float) -> manifold3d.Manifold:
    """A solid that draws, with what stands over ``start`` drawn in by its draft, layer by layer."""
    low_x, low_y, low_z, high_x, high_y, high_z = whole.bounding_box()
    foot = manifold3d.Manifold.cube((high_x - low_x + 2, high_y - low_y + 2, start - low_z + 1)).translate((low_x - 1, low_y - 1, low_z - 1))
    solids, room = [foot], Section()
    above = [start, *(z for z in levels if z > start + SNAP)]
    fine = np.concatenate([np.linspace(p, q, int(np.ceil((q - p) / rates.layer - 1e-6)), endpoint=False) for p, q in zip(above, above[1:])])
    for low, high in zip(fine, [*fine[1:], high_z]):
        part = whole.slice(low + SLICE).offset(HAIR, MITRE)
        every = rings(part if low == start else part ^ room)
        if not every:
            break
        over = rings(whole.slice(high - SLICE) ^ clean(every))
        height = (high - low) / 2 if low == start else high - low
        drawn = []
        for ring, slope in zip(every, rates.slopes(every, float(high))):
            drawn.append(moved(ring, np.where(away(ring, over) < 0.9 * slope * (high - low), -slope * height, 0.0)))
        room = clean(every) - strips(every, drawn)
        solids.append(room.extrude(high - low).translate((0.0, 0.0, low)))
    return whole ^ manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)


def _steady(body: manifold3d.Manifold, room: manifold3d.Manifold | None) -> tuple[manifold3d.Manifold, float]:
    """The body with the corners of level faces brought to one height each, and the height the stack goes down to."""
    vertices, faces = plain(body)
    base = 0.0 if room is None else max(float(room.bounding_box()[2]), -1e6)
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    height = vertices[faces][:, :, 2]
    flat = (np.ptp(height, axis=1) < SNAP) & (np.hypot(cross[:, 0], cross[:, 1]) < 0.05 * np.abs(cross[:, 2]))
    if room is None:
        vertices[np.abs(vertices[:, 2]) < FINE + SNAP, 2] = 0.0
    level = np.sort(height[flat].ravel())
    for group in np.split(level, np.flatnonzero(np.diff(level) > SNAP / 2) + 1) if level.size else []:
        if abs(group[0]) > 0 and group[-1] - group[0] < SNAP:
            vertices[np.abs(vertices[:, 2] - np.median(group)) < SNAP, 2] = np.median(group)
    made = manifold3d.Manifold(manifold3d.Mesh64(vertices, np.ascontiguousarray(faces, dtype=np.uint64)))
    return (body, base) if made.is_empty() or made.volume() <= 0 else (made, base)


def _down_facing(vertices: Array, faces: Array) -> Array:
    """Triangles (k, 3, 3) that look down."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    return np.asarray(vertices[faces[cross[:, 2] < -1e-5 * np.linalg.norm(cross, axis=1)]])


def _segments(kept: Array | None, side: float) -> Array:
    """Kept faces as seen along the draw (k, 2, 3): ends of each in plan, with the height of its foot."""
    if kept is None or len(kept) == 0:
        return np.zeros((0, 2, 3))
    tri = np.array(kept, dtype=float)
    cross = np.cross(tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0])
    tri = tri[np.abs(cross[:, 2]) < STANDS * np.linalg.norm(cross, axis=1)]
    tri[:, :, 2] *= side
    sides = np.roll(tri, -1, axis=1) - tri
    longest = np.argmax(np.hypot(sides[:, :, 0], sides[:, :, 1]), axis=1)
    i = np.arange(len(tri))
    ends = np.stack([tri[i, longest], tri[i, (longest + 1) % 3]], axis=1)
    ends[:, :, 2] = tri[:, :, 2].min(axis=1)[:, None]
    return np.asarray(ends)


def _told(stack: _Stack, at: Array, low: float, side: float) -> Closed:
    """Width at the mouth and depth of a pocket that closes."""
    step = stack.rates.layer
    top, base = float(stack.body.bounding_box()[5]), float(stack.body.bounding_box()[2])
    mouth, ring, level = low, None, low + SLICE
    while level < top:
        found = [r for r in rings(stack.body.slice(level)) if area(r) < 0 and inside(r, at)]
        if not found:
            break
        mouth, ring = level, min(found, key=lambda r: -area(r))
        level += step
    floor = low
    while floor > base and not _metal(stack.body, at, floor):
        floor -= step
    return Closed(np.append(at, side * low), _narrow(ring), min(mouth + step / 2, top) - max(floor, base))


def _metal(body: manifold3d.Manifold, at: Array, level: float) -> bool:
    """Whether there is metal at a place in plan and a height."""
    return sum(inside(ring, at) * (1 if area(ring) > 0 else -1) for ring in rings(body.slice(level))) > 0


def _within(section: Section) -> Array:
    """A place (2,) well inside the largest piece of a section."""
    largest = max(section.decompose(), key=lambda piece: piece.area())
    outer, *holes = sorted(rings(largest), key=area, reverse=True)
    at = Polygon(outer, holes).representative_point()
    return np.array([at.x, at.y])


def _narrow(ring: Array | None) -> float:
    """Width across a ring where it is narrowest."""
    if ring is None:
        return 0.0
    turn = np.linspace(0.0, np.pi, 36, endpoint=False)
    return float(np.ptp(ring @ np.stack([np.cos(turn), np.sin(turn)]), axis=0).min())
