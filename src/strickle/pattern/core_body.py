"""Bodies of cores: the sand of a place with the prints it rests in, and the room those prints need in the mould.

A print goes on past the outline of the part, so that it lies in sand; from its own height it is carried to the parting and given draft, so that the
pattern that makes its room draws. Where little of it would lie in the drag it gets a foot there. The room is larger than the core by a clearance,
outside the metal only. All millimetres, mould frame, parting z = 0.
"""

from __future__ import annotations

from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array
from strickle.pattern.draft import drafted
from strickle.pattern.places import End, Place, across, normal_of
from strickle.pattern.sections import MITRE, Section, area, clean, lofted, moved, rings
from strickle.pattern.taper import DraftRule
from strickle.pattern.undercut import fill, halves, plain, region

INSIDE = 0.05  # mm within an end that the section of its print is taken
CRUMB = 1.0  # mm3: smaller scraps of sand beside a core are left to the mould
FAR = 1e4  # mm
LIES = 0.25  # share of a print's height that must lie in the drag, or it gets a foot
BLOCKED = 0.02  # share of the print's section times its way through metal beyond which the way out is shut
LEVEL = 1e-3
SHEET = 0.02  # mm: a half thinner than this is rounding
ROUND = manifold3d.JoinType.Round
FILM = 0.012  # mm: where cracks were closed, or two skins lie in one plane, sums of solids leave thinner films, a twentieth of a grain: no sand
LACKS = 0.02  # mm3 of sand that forms metal by which a core may fall short: the tests' cores fall short by rounding, at most 4.4e-5
BALANCE = 1.2  # length of the one print of a core over its length in the metal
LAYER = 1.5e-3  # m, steps in which a print is drafted


class PrintRule(NamedTuple):
    """Sizes of prints, millimetres."""

    full: float = 75.0  # print as long as the core is thick up to here
    least: float = 12.0
    clearance: float = 0.25  # on every side
    foot: float = 8.0  # least depth of a foot in the drag
    most_reach: float = 60.0  # farther from the end to the part's outline is no way out
    cope_share: float = 0.5  # length of an upright core's print in the cope over that in the drag
    cope_lean: float = float(np.radians(8.0))  # of the sides of upright prints
    drag_lean: float = float(np.radians(3.0))
    draft: DraftRule = DraftRule(layer=LAYER)

    def length(self, thick: float) -> float:
        """Length of a print that carries a core ``thick`` through: as long as thick to ``full``, above it growing with the root."""
        return max(thick if thick <= self.full else float(np.sqrt(self.full * thick)), self.least)


class Print(NamedTuple):
    """One print of a core."""

    at: Array  # (3,) middle of its far end
    out: Array  # (3,) unit
    length: float  # that lies in sand
    thick: float
    reach: float  # of its far end along ``normal``
    bearing: float  # mm2 in plan
    slant: float = 0.0  # as that of its end
    wide: float = 0.0  # across ``out`` and the draw; 0 where it goes along the draw

    @property
    def normal(self) -> Array:
        """Of its far end (3,), 1 along ``out``; ``reach`` is told by it."""
        return normal_of(self.out, self.slant)


class Body(NamedTuple):
    """One core."""

    place: Place
    made: manifold3d.Manifold  # as it comes from its box
    room: manifold3d.Manifold  # as the mould gives it room
    prints: tuple[Print, ...]
    inside: float  # mm3 of it within the metal's outline
    bearing: float  # mm2 in plan that lies in sand
    clearance: float  # mm between it and its room
    formed: manifold3d.Manifold  # all of it that metal would be without it

    def lacks(self, core: manifold3d.Manifold) -> bool:
        """Whether a core that is to be made of it has not all of the sand that forms metal; films that sums of skins in one plane leave are none."""
        lost = self.formed - core
        if float(lost.volume()) <= LACKS:
            return False
        return sum(float(one.volume()) for one in lost.decompose() if one.volume() > 0.5 * FILM * one.surface_area()) > LACKS


class Set(NamedTuple):
    """The metal with cores set, what the sand is rammed round, the cores, and places that no core could be made for."""

    metal: manifold3d.Manifold
    drawn: manifold3d.Manifold
    bodies: tuple[Body, ...]
    failed: tuple[tuple[Place, str], ...]


class _Shape(NamedTuple):
    """A core before metal is taken out of it, and its room."""

    core: manifold3d.Manifold
    room: manifold3d.Manifold
    exact: manifold3d.Manifold  # where it is the metal's own shape
    prints: tuple[Print, ...]


def turned(out: Array, slant: float = 0.0) -> Array:
    """The frame (3, 4) in which x lies across ``out``, y is up and z goes along it, as the library wants it.

    With a ``slant`` x lies along the face aslant to ``out``: what is level in z is a plane along that face, and volumes stay.
    """
    side = across(out)
    return np.column_stack([side + slant * out if slant else side, [0.0, 0.0, 1.0], out, np.zeros(3)])


def undone(frame: Array) -> Array:
    """The matrix (3, 3) that undoes a frame's; exact where that is a rotation."""
    turn = frame[:, :3]
    square = float(np.abs(turn.T @ turn - np.eye(3)).max()) < 1e-12
    return np.asarray(turn.T if square else np.linalg.inv(turn))


def back(frame: Array) -> Array:
    """The frame (3, 4) that undoes another."""
    return np.column_stack([undone(frame), np.zeros(3)])


def place_cores(
    filled: manifold3d.Manifold, whole: manifold3d.Manifold, places: tuple[Place, ...], others: tuple[Place, ...], rule: PrintRule
) -> Set:
    """Cores for ``places`` of ``whole``; ``filled`` is the part with these and ``others`` filled, with whatever draft it has.

    Places whose cores would run into each other share one.
    """
    metal = drawn = filled
    bodies: list[Body] = []
    failed: list[tuple[Place, str]] = []
    waiting = list(places)
    while waiting:
        place = waiting.pop(0)
        kept = manifold3d.Manifold.batch_boolean(
            [whole, *(p.solid for p in (*others, *waiting)), *(b.place.solid for b in bodies)], manifold3d.OpType.Add
        )
        shape = _shape(place, filled, whole, rule)
        if isinstance(shape, str):
            failed.append((place, shape))
            continue
        near = [p for p in waiting if (p.solid ^ shape.room).volume() > 0.01 * p.told.volume]
        if near:
            waiting = [united([place, *near]), *(p for p in waiting if p not in near)]
            continue
        left = metal - (shape.exact - kept)
        sand = _with((shape.room + place.solid) - left, place)
        if sand is None or any((sand ^ body.room).volume() > 1e-3 for body in bodies):
            failed.append((place, "its core would run into another one" if sand is not None else "its prints do not meet it"))
            continue
        formed, left = metal - left, _clean(left)
        body = _body(place, shape, sand, left, formed, rule)
        if body.lacks(body.made) or not all(_reaches(body.made, one) for one in body.prints):
            failed.append((place, "its prints do not hang together with all of the sand that forms it"))
            continue
        bodies.append(body)
        metal, drawn = left, drawn + _kept(shape.room, left, sand)
    return Set(metal, drawn, tuple(bodies), tuple(failed))


def _shape(place: Place, filled: manifold3d.Manifold, whole: manifold3d.Manifold, rule: PrintRule) -> _Shape | str:
    if place.upright:
        return _upright(place, rule)
    return _open(place, whole, rule) if place.is_open else _tunnel(place, filled, whole, rule)


def _body(place: Place, shape: _Shape, sand: manifold3d.Manifold, metal: manifold3d.Manifold, formed: manifold3d.Manifold, rule: PrintRule) -> Body:
    """One core with its figures."""
    made = max(_trimmed(sand ^ (shape.core + place.solid), shape, rule.draft).decompose(), key=lambda part: part.volume())
    inside = float((made ^ place.solid).volume())
    bearing = max(_plan(made) - _plan(made ^ _shadow(metal)), 0.0)
    return Body(place, made, sand, shape.prints, inside, bearing, rule.clearance, formed)


def _clean(metal: manifold3d.Manifold) -> manifold3d.Manifold:
    """Metal without scraps of draft left standing between a core and its print."""
    parts = metal.decompose()
    kept = [part for part in parts if part.volume() >= CRUMB]
    return metal if len(kept) == len(parts) else manifold3d.Manifold.batch_boolean(kept, manifold3d.OpType.Add)


def _kept(room: manifold3d.Manifold, metal: manifold3d.Manifold, sand: manifold3d.Manifold) -> manifold3d.Manifold:
    """The room of a core's prints without what of it lies apart from the core."""
    apart = [part for part in (room - metal).decompose() if part.volume() > CRUMB and (part ^ sand).volume() < 0.5 * part.volume()]
    return room - manifold3d.Manifold.batch_boolean(apart, manifold3d.OpType.Add) if apart else room


def united(places: list[Place]) -> Place:
    """Places that share a core as one; ends of theirs that look into it are none."""
    solid = manifold3d.Manifold.batch_boolean([p.solid for p in places], manifold3d.OpType.Add)
    prism = manifold3d.Manifold.batch_boolean([p.prism for p in places], manifold3d.OpType.Add)
    out = np.sum([p.out * p.told.volume for p in places], axis=0)
    size = float(np.linalg.norm(out))
    told = region(solid)._replace(bore=0.0)
    ends = tuple(end for p in places for end in p.ends if not _looks_into(end, solid))
    return Place(solid, prism, told, ends, any(p.is_open for p in places), out / size if size > 0 else out)


def _looks_into(end: End, solid: manifold3d.Manifold) -> bool:
    """Whether sand lies outside an end."""
    spot = manifold3d.Manifold.cube((INSIDE,) * 3, True).translate(tuple(end.at + 4 * INSIDE * end.out))
    return float((spot ^ solid).volume()) > 0.5 * INSIDE**3


def _plan(solid: manifold3d.Manifold) -> float:
    return 0.0 if solid.is_empty() else float(solid.project().area())


def _shadow(metal: manifold3d.Manifold) -> manifold3d.Manifold:
    """All that lies over or under metal."""
    low, high = metal.bounding_box()[2], metal.bounding_box()[5]
    return metal.project().extrude(high - low + 2 * FAR).translate((0.0, 0.0, low - FAR))


def _with(solid: manifold3d.Manifold, place: Place) -> manifold3d.Manifold | None:
    """The part of a solid that holds a place."""
    parts = solid.decompose()
    best = max(parts, key=lambda part: float((part ^ place.solid).volume()), default=None)
    return best if best is not None and (best ^ place.solid).volume() > 0.98 * place.solid.volume() else None


def _trimmed(made: manifold3d.Manifold, shape: _Shape, rule: DraftRule) -> manifold3d.Manifold:
    """A core with the far ends of its prints cut flat, so that its box is open there; what else of it lies beyond them stays."""
    box_ = made.bounding_box()
    more = 1.0 + float(np.tan(max(rule.outside, rule.pocket))) * max(abs(box_[2]), abs(box_[5]))
    for one in (one for one in shape.prints if one.wide > 0.0):
        frame = turned(one.out, one.slant)
        x, _, z = undone(frame) @ one.at
        beyond = manifold3d.Manifold.cube((one.wide + 2 * more, 2 * FAR, FAR)).translate((x - one.wide / 2 - more, -FAR, z)).transform(frame)
        made = made - (beyond - shape.exact)
    return made


def _reaches(made: manifold3d.Manifold, one: Print) -> bool:
    """Whether a core has a print up to its far end."""
    size = float(np.linalg.norm(one.normal))
    near = made.trim_by_plane(tuple(float(x) for x in one.normal / size), (one.reach - 2 * INSIDE) / size)
    spot = manifold3d.Manifold.cube((one.thick,) * 3, True).translate(tuple(one.at))
    return float((near ^ spot).volume()) > 0.0


def drawable(shape: manifold3d.Manifold, rule: DraftRule) -> manifold3d.Manifold:
    """A shape carried to the parting from where it hangs over, with draft on both sides of it."""
    sides = [(half, side) for half, side in zip(halves(fill(shape)[0]), (1.0, -1.0)) if not half.is_empty()]
    made = [drafted(half, side, rule).solid for half, side in sides if max(side * half.bounding_box()[2], side * half.bounding_box()[5]) > SHEET]
    return manifold3d.Manifold.batch_boolean(made, manifold3d.OpType.Add)


def _tunnel(place: Place, filled: manifold3d.Manifold, whole: manifold3d.Manifold, rule: PrintRule) -> _Shape | str:
    """A core that leaves the part by flat ends, or why it cannot."""
    cores, rooms, exact, prints = [], [], [place.solid], []
    found = [one for end in place.ends if (one := _end(end, place, filled, whole, rule, 0.0)) is not None]
    if len(found) == 1:
        # a core held at one end only lies still by the weight of its print
        end = place.ends[next(i for i, e in enumerate(place.ends) if np.allclose(e.out, found[0][3].out))]
        deep = end.inner - float((plain(place.solid)[0] @ end.normal).min())
        found = [one for one in [_end(end, place, filled, whole, rule, BALANCE * deep)] if one is not None]
    for one in found:
        cores.append(one[0])
        rooms.append(one[1])
        exact.append(one[2])
        prints.append(one[3])
    if not cores:
        return "no way out of the part is wide and free enough for a print"
    core, room = (drawable(manifold3d.Manifold.batch_boolean(each, manifold3d.OpType.Add), rule.draft) for each in (cores, rooms))
    return _Shape(core, room, manifold3d.Manifold.batch_boolean(exact, manifold3d.OpType.Add), tuple(prints))


def section_at(place: Place, end: End, frame: Array) -> Section | None:
    """The section of a place just within an end, in the end's frame."""
    local = place.solid.transform(back(frame))
    middle = undone(frame) @ end.at
    for piece in local.slice(end.inner - INSIDE).decompose():
        low_x, low_y, high_x, high_y = piece.bounds()
        if low_x - 0.1 <= middle[0] <= high_x + 0.1 and low_y - 0.1 <= middle[1] <= high_y + 0.1:
            return piece.simplify(1e-4)
    return None


_Ended = tuple[manifold3d.Manifold, manifold3d.Manifold, manifold3d.Manifold, Print]


def _end(end: End, place: Place, filled: manifold3d.Manifold, whole: manifold3d.Manifold, rule: PrintRule, least: float) -> _Ended | None:
    """The print at one end, ``least`` long: core's and room's shape, the core's way through the wall, and its figures; None where that is shut."""
    frame = turned(end.out, end.slant)
    section = section_at(place, end, frame)
    if section is None or section.is_empty():  # a film
        return None
    low_x, low_y, high_x, high_y = section.bounds()
    thick = min(high_x - low_x, high_y - low_y)
    start, length = end.inner - INSIDE, max(rule.length(thick), least)
    foot = max(0.5 * thick, rule.foot) if -low_y < LIES * (high_y - low_y) else 0.0
    clear = 2 * rule.clearance + 1.0
    tall = max(high_y, 0.0) - min(low_y, -foot) + 2 * clear
    corridor = manifold3d.Manifold.cube((high_x - low_x + 2 * clear, tall, FAR)).translate((low_x - clear, min(low_y, -foot) - clear, start))
    met = filled.transform(back(frame)) ^ corridor
    reach = start if met.is_empty() else float(met.bounding_box()[5])
    if reach - end.inner > rule.most_reach:
        return None
    far = reach + length
    through = section.extrude(far - start).translate((0.0, 0.0, start)).transform(frame)
    if float((through ^ whole).volume()) > BLOCKED * section.area() * length + 1.0:
        return None
    wide = section.offset(rule.clearance, MITRE)
    room = [wide.extrude(far + rule.clearance - start).translate((0.0, 0.0, start))]
    core = [through]
    if foot > 0.0:
        for out, grown, more in ((core, section, 0.0), (room, wide, rule.clearance)):
            x0, _, x1, _ = grown.bounds()
            block = manifold3d.Manifold.cube((x1 - x0, foot + more + 1.0, length - 1.0 + 2 * more))
            block = block.translate((x0, -foot - more, reach + 1.0 - more))
            out.append(block.transform(frame) if out is core else block)
    rooms = manifold3d.Manifold.batch_boolean(room, manifold3d.OpType.Add).transform(frame)
    middle = frame[:, :3] @ np.array([(low_x + high_x) / 2, (low_y + high_y) / 2, far])
    one = Print(middle, end.out, length, thick, far, length * (high_x - low_x), end.slant, high_x - low_x)
    return manifold3d.Manifold.batch_boolean(core, manifold3d.OpType.Add), rooms, through, one


def _open(place: Place, whole: manifold3d.Manifold, rule: PrintRule) -> _Shape | str:
    """A core that lies round a place open on several sides: its plan, grown on all sides, as high as the place and carried to the parting."""
    _, _, low, _, _, high = place.solid.bounding_box()
    low, high = min(low, 0.0), max(high, 0.0)
    length = max(rule.least, 0.5 * (high - low))
    plan = place.solid.project().simplify(0.01)
    if len(plan.decompose()) > 1:  # places that share a core
        plan = plan.hull()
    taken = whole.project()
    lies = -low >= LIES * (high - low)
    foot = 0.0 if lies else max(rule.foot, 0.25 * (high - low))
    shapes = []
    for more in (0.0, rule.clearance):
        grown = plan.offset(length + more, ROUND, 2.0, 64)
        made = [grown.extrude(high - low + (more if high > LEVEL and low < -LEVEL else 0.0)).translate((0.0, 0.0, low))]
        band = grown - taken.offset(3.0 - more, MITRE)
        if foot > 0.0 and not band.is_empty():
            made.append(band.extrude(foot + more + 1.0).translate((0.0, 0.0, -foot - more)))
        shapes.append(manifold3d.Manifold.batch_boolean(made, manifold3d.OpType.Add))
    core, room = (drawable(shape, rule.draft) for shape in shapes)
    bearing = float((plan.offset(length, ROUND, 2.0, 64) - taken).area())
    if bearing < 0.2 * float(plan.area()):
        return "metal lies all round it, so that no print has sand to rest in"
    return _Shape(core, room, core, ())


def _upright(place: Place, rule: PrintRule) -> _Shape:
    """A core that stands in a hole along the draw: a print in the drag, a shorter and steeper one in the cope."""
    _, _, low, _, _, high = place.solid.bounding_box()
    prints, shapes = [], ([place.solid], [place.solid])
    for level, way, share, lean in ((low, -1.0, 1.0, rule.drag_lean), (high, 1.0, rule.cope_share, rule.cope_lean)):
        section = place.solid.slice(level - way * INSIDE).simplify(1e-4)
        x0, y0, x1, y1 = section.bounds()
        thick = min(x1 - x0, y1 - y0)
        length = max(share * rule.length(thick), rule.least)
        for out, more in zip(shapes, (0.0, rule.clearance)):
            body = _tapered(section.offset(more, MITRE), length + more + INSIDE, (length + more) * float(np.tan(lean)))
            body = body if way > 0 else body.mirror((0.0, 0.0, 1.0))
            out.append(body.translate((0.0, 0.0, level - way * INSIDE)))
        at = np.array([(x0 + x1) / 2, (y0 + y1) / 2, level + way * length])
        prints.append(Print(at, np.array([0.0, 0.0, way]), length, thick, way * level + length, 0.0))
    core, room = (manifold3d.Manifold.batch_boolean(each, manifold3d.OpType.Add) for each in shapes)
    return _Shape(core, room, place.solid, tuple(prints))


def upright_body(place: Place, rule: PrintRule) -> Body:
    """The core of an upright place by itself, as it is before anything else is known of the mould."""
    shape = _upright(place, rule)
    return Body(place, shape.core, shape.room, shape.prints, place.told.volume, 0.0, rule.clearance, place.solid)


def _tapered(section: Section, high: float, inward: float) -> manifold3d.Manifold:
    """A section carried ``high`` up from z = 0, all its walls leaning in by ``inward`` [mm] at the top, less where it is too narrow."""
    base = rings(section)
    while True:
        top = [moved(ring, np.full(len(ring), -inward)) for ring in base]
        if abs(float(clean(top).area()) - sum(area(ring) for ring in top)) < 1e-6 and all(area(a) * area(b) > 0 for a, b in zip(top, base)):
            body = lofted([(high, top), (0.0, base)])
            if not body.is_empty():
                return body
        if inward < LEVEL:
            return section.extrude(high)
        inward *= 0.5  # a slot narrower than its walls would lean
