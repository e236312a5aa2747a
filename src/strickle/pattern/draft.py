"""Draft by a stack of sections, drawable by construction.

Layer by layer from the far end to the parting: the section of the upper face of a layer is what came down from the layer before, what the part
has there, and what overhangs within the layer; below it the section grows by its draft. As every section holds the one over it, and
every overhang of the part lies in a layer that covers it, part and stack together come out of the sand whatever the part is. Where corners
of upper and lower section answer each other the layer is a smooth wall, so an upright wall is drafted in one piece; where rings meet or
close the layer is a step of at most the layer height.
"""

from __future__ import annotations

import itertools
from typing import NamedTuple

import manifold3d
import numpy as np
from shapely import Polygon

from strickle.base import Array
from strickle.pattern.layers import FINE, SNAP, down_facing, levels_of, shadows, steady
from strickle.pattern.sections import MITRE, Section, area, aways, clean, inside, joined, length, lofted, moved, rings, stands, strips, swept, tidied
from strickle.pattern.taper import HAIR, LEAST, DraftRule, Rates, segments
from strickle.pattern.undercut import plain

SLICE = 2e-5  # mm under the upper face of a layer that it is cut
LOOSE = 0.02  # mm that sections reach over the block before the whole is cut by it
TOLD = 0.2  # mm, width of a pocket whose closing is told
MOST = 300  # layers; a higher half gets thicker ones
ROUND = 1e-6  # mm, corners on one plane are joined
THIN = 2e-4  # mm, mean width of a strip that is left for a later layer


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


class _Stack:
    """The stack of one half, built downwards; the half lies over its parting."""

    def __init__(self, body: manifold3d.Manifold, rates: Rates, block: manifold3d.Manifold | None) -> None:
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
        fresh = [(piece, rings(piece)) for piece in new.decompose()]
        fresh = [(piece, every) for piece, every in fresh if piece.area() >= THIN * sum(length(r) for r in every)]
        if below is None or not fresh:
            return [piece for piece, _ in fresh]
        every = [ring for _, own in fresh for ring in own]
        stands = iter([((far > slope * height) | (old < 2 * HAIR)).all() for far, old in zip(aways(every, below), aways(every, foot))])
        return [piece for piece, leans in [(piece, [next(stands) for _ in own]) for piece, own in fresh] if not all(leans)]

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
        for (high, _), (low, every) in itertools.pairwise(chain):
            self.solids.append(clean(every).extrude(high - low).translate((0.0, 0.0, low)))

    def _note(self, part: list[Array], foot: list[Array], fills: Section, low: float) -> None:
        """Holes of the part that draft, not an overhang, has closed at ``low``."""
        left = [ring[0] for ring in foot if area(ring) < 0]
        sizes = [area(ring) for ring in part]
        islands = [ring for ring, size in zip(part, sizes) if size > 0]
        for ring, size in zip(part, sizes):
            if size > 0 or _narrow(ring) <= TOLD or any(inside(ring, at) for at in left) or any(inside(ring, at) for at, _ in self.closed):
                continue
            void = clean([ring[::-1]]) - clean([r for r in islands if inside(ring, r[0])]) - fills
            if void.area() > 0.5 * -size and (void - clean(foot)).area() < 0.02 * void.area():
                self.closed.append((_within(void), low))


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
    rates = Rates(rule, segments(kept, side))
    body, base = steady(body.simplify(FINE), room)
    if body.is_empty():  # a film of rounding
        return Drafted(half, 0.0, 0.0, 0.0, (), outside, pocket)
    vertices, faces = plain(body)
    top = float(vertices[:, 2].max())
    rates.layer = max(rates.layer, (top - base) / MOST)
    start = (base + top) / 2 if rule.datum == "mid-plane" else top
    levels, busy = levels_of(vertices, faces, base, rates.layer, (start,) if start < top else ())
    stack = _Stack(body, rates, room)
    stack.build(levels, busy, shadows(down_facing(vertices, faces), levels, 0.5 * np.tan(LEAST)), start)
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


def _tapered(whole: manifold3d.Manifold, rates: Rates, levels: Array, start: float) -> manifold3d.Manifold:
    """A solid that draws, with what stands over ``start`` drawn in by its draft, layer by layer."""
    low_x, low_y, low_z, high_x, high_y, high_z = whole.bounding_box()
    foot = manifold3d.Manifold.cube((high_x - low_x + 2, high_y - low_y + 2, start - low_z + 1)).translate((low_x - 1, low_y - 1, low_z - 1))
    solids, room = [foot], Section()
    above = [start, *(z for z in levels if z > start + SNAP)]
    fine = np.concatenate([np.linspace(p, q, int(np.ceil((q - p) / rates.layer - 1e-6)), endpoint=False) for p, q in itertools.pairwise(above)])
    for low, high in zip(fine, [*fine[1:], high_z]):
        part = whole.slice(low + SLICE).offset(HAIR, MITRE)
        every = rings(part if low == start else part ^ room)
        if not every:
            break
        over = rings(whole.slice(high - SLICE) ^ clean(every))
        height = (high - low) / 2 if low == start else high - low
        drawn = []
        for ring, slope, far in zip(every, rates.slopes(every, float(high)), aways(every, over)):
            drawn.append(moved(ring, np.where(far < 0.9 * slope * (high - low), -slope * height, 0.0)))
        room = clean(every) - strips(every, drawn)
        solids.append(room.extrude(high - low).translate((0.0, 0.0, low)))
    return whole ^ manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)


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
