"""The two drawings: an upright section through the mould and the plan on the parting, from the solids that are cast."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from strickle.base import Array, Mesh, ends
from strickle.card.cores import cut_cores, draw_cores, name_cores
from strickle.card.frame import HEAD, METAL, ROW, Frame, pieces
from strickle.card.joint import line, opened
from strickle.card.labels import Label
from strickle.card.marks import named_shapes, own_share, point_in
from strickle.card.proof import Proof, Written
from strickle.card.slices import ABOVE, LEAST, Plane, at_parting, level, seen_from_above, solid, upright
from strickle.card.svg import Sheet, path, text_box
from strickle.mould import Mould
from strickle.pattern import Pattern
from strickle.rigging import Rigging
from strickle.sound import Sound


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing with its scale in words, the key of its numbers, dimensions without room, and the proof that nothing on it overlaps."""

    svg: bytes
    scale: str
    key: tuple[tuple[str, str], ...]
    over: tuple[str, ...]
    note: str = ""
    size: tuple[float, float] = (0.0, 0.0)
    proof: Proof | None = None

    @staticmethod
    def of(frame: Frame, note: str = "") -> Drawing:
        """The finished frame."""
        svg = frame.finish()
        size = (frame.sheet.width, frame.sheet.height)
        return Drawing(svg, _scale(frame.ratio), tuple(frame.key), tuple(frame.over), note, size, frame.proof)


@dataclass(frozen=True, slots=True)
class Bodies:
    """The solids of the mould, made once: None where the mesh is no solid."""

    casting: Any
    part: Any
    regions: tuple[tuple[str, str, Any], ...]

    @staticmethod
    def of(pattern: Pattern, rigging: Rigging | None) -> Bodies:
        """From the results."""
        part = solid(pattern.cavity)
        if rigging is None:
            return Bodies(part, part, ())
        return Bodies(solid(rigging.casting), part, tuple((r.name, r.kind, solid(r.mesh)) for r in rigging.regions))

    def region(self, name: str) -> Any:
        """The solid of a rigging region by name."""
        return next((body for known, _, body in self.regions if known == name), None)


def middle_of(mesh: Mesh) -> Array:
    """Middle of a mesh's box."""
    middle: Array = (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0)) / 2
    return middle


def _across(shape: Any, told: Any) -> str:
    """A level slice in words: 'Ø 22' where it is round, else 'long × wide'."""
    if shape.is_empty:
        return ""
    box = shape.minimum_rotated_rectangle
    corners = np.array(box.exterior.coords)[:3]
    a, b = sorted((float(np.linalg.norm(corners[1] - corners[0])), float(np.linalg.norm(corners[2] - corners[1]))), reverse=True)
    if a < 1.04 * b and abs(shape.area / (a * b) - math.pi / 4) < 0.04:
        return f"Ø {told(math.sqrt(4 * shape.area / math.pi))}"
    return f"{told(a)} × {told(b)}"


def _sprue_words(body: Any, told: Any) -> str:
    if body is None:
        return "sprue"
    low, high = body.bounding_box()[2], body.bounding_box()[5]
    top, foot = level(body, high - 0.02 * (high - low)), level(body, low + 0.02 * (high - low))
    return f"sprue {_across(top, told)} down to {_across(foot, told)}"


def words_for(name: str, kind: str, body: Any, rigging: Rigging, told: Any, brief: bool = False) -> str:
    """What a piece of rigging is called on a drawing, with its sizes from the result; ``brief`` for the plan, where heights do not show."""
    for riser in rigging.risers:
        if name == riser.name:
            return f"{name} Ø {told(riser.diameter)}" if brief else f"{name} Ø {told(riser.diameter)} at the foot"
        if kind == "neck" and name in (f"neck-{riser.name.rpartition('-')[2]}", f"{riser.name}-neck"):
            return f"neck {told(riser.neck.width)} × {told(riser.neck.height)}"
    for gate in rigging.ingates:
        if name == gate.name:
            return f"{name} {told(gate.width)} × {told(gate.height)}"
    for chill in rigging.chills:
        if name == chill.name:
            return f"chill {told(chill.across)} × {told(chill.thick)}"
    if kind == "sleeve":
        return "sleeve"
    if brief and name in ("sprue", "basin", "well"):
        return name
    if name == "sprue":
        return _sprue_words(body, told)
    if name == "basin":
        return f"basin {told(rigging.basin.length)} × {told(rigging.basin.width)}, {told(rigging.basin.depth)} deep"
    if name == "runner":
        return f"runner {told(rigging.runner.width)} × {told(rigging.runner.depth)}{'' if brief else ' deep'}"
    return name


def _chord(box: Array, plane: Plane) -> tuple[float, float]:
    """Where the plane enters and leaves the flask, along it [m]."""
    low, high = -math.inf, math.inf
    for axis in range(2):
        if abs(plane.along[axis]) > 1e-9:
            a, b = sorted(((box[2 * axis] - plane.at[axis]) / plane.along[axis], (box[2 * axis + 1] - plane.at[axis]) / plane.along[axis]))
            low, high = max(low, a), min(high, b)
    return low, high


def _labels(frame: Frame, bodies: Bodies, plane: Plane, rigging: Rigging, part: Any) -> None:
    """A label for every piece of rigging the plane cuts."""
    for name, kind, body in bodies.regions:
        cut = upright(body, plane).difference(part)
        if cut.area > LEAST:
            frame.label(words_for(name, kind, body, rigging, frame.told), *point_in(cut))


def section(
    plane: Plane,
    pattern: Pattern,
    mould: Mould | None,
    rigging: Rigging | None,
    sound: Sound | None,
    bodies: Bodies,
    size: tuple[float, float],
    units: str,
) -> Drawing:
    """The upright section ``size`` millimetres wide and high. Raises AssertionError should two labels overlap."""
    metal, part = upright(bodies.casting, plane), upright(bodies.part, plane)
    if mould is not None:
        low, high = _chord(mould.box, plane)
        world = (low, high, float(mould.box[4]), _top(mould, bodies))
    else:
        x0, y0, x1, y1 = metal.union(part).bounds if not metal.union(part).is_empty else (-0.05, -0.05, 0.05, 0.05)
        world = (x0 - 0.01, x1 + 0.01, y0 - 0.01, y1 + 0.01)
    frame = Frame(*size, world, units, "Section A–A")
    from shapely.geometry import LineString, Polygon
    from shapely.geometry import box as rectangle

    flask = frame.on_sheet(rectangle(world[0], world[2], world[1], world[3] if mould is None else float(mould.box[5])))
    metal_on, part_on = frame.on_sheet(metal), frame.on_sheet(part)
    cores = cut_cores(pattern, lambda body: upright(body, plane))
    joint = [frame.at(float(u), float(z)) for u, z in line(pattern.sheet, plane, world[0], world[1])]
    (x0, y_zero), (x1, _) = joint[0], joint[-1]
    halves = Polygon([(x0, 0), *joint, (x1, 0)]), Polygon([(x0, frame.sheet.height), *joint, (x1, frame.sheet.height)])
    if mould is not None:
        sand = flask.difference(metal_on.buffer(0.5)).difference(part_on.buffer(0.5))
        for half, gap in zip(halves, (3.0, 1.9), strict=True):
            frame.stipple(sand.intersection(half), gap=gap)
    beyond = _beyond(bodies, plane, frame)
    frame.draw(beyond.difference(metal_on.union(part_on)), stroke="#6b6b6b", thick=0.18, dash="1.4 1")
    _metal(frame, metal_on, part_on, _feeding(frame, bodies, plane, part))
    for kinds, gap in ((("chill", "graphite"), 0.8), (("sleeve",), 1.6)):
        laid = _laid_in(bodies, plane, kinds, frame).difference(metal_on)
        frame.hatch(laid, gap=gap, thick=0.13)
        frame.draw(laid, thick=0.45)
    frame.ground.area(beyond.boundary.buffer(0.6), 0.6)
    draw_cores(frame, cores)
    if mould is not None:
        frame.draw(flask, thick=0.8)
        frame.border(flask)
    frame.sheet.shape(path([[(x0 - 3.5, y_zero), *joint, (x1 + 3.5, y_zero)]], close=False), thick=0.4, dash="5 1 1 1")
    frame.ground.wall(LineString(joint))
    _section_sizes(frame, plane, pattern, mould, rigging, world, part)
    covered = mould is not None and mould.box[5] > 0
    named = (("COPE", halves[0], world[3] - 0.004), ("DRAG", halves[1], world[2] + 0.004))
    for name, half, height in named[not covered :] if mould is not None else ():
        frame.label(name, world[1] - 0.002, height, leader=False, bold=True, size=4.2, stays=half.intersection(flask).bounds)
    frame.label("parting" if covered or mould is None else "sand's level, open", world[1] - 0.04 * (world[1] - world[0]), 0.0)
    if not part.is_empty:
        frame.label("part", *point_in(part))
        if not covered and pattern.stock > 0:
            _finished(frame, float(-pattern.stock * pattern.scale[2]), part)
    if sound is not None and "last place to freeze" in plane.through:
        spot = plane.flat(np.asarray(sound.last_to_freeze.at))[0]
        frame.label(f"last to freeze, {_band(sound.last_to_freeze.time, 's', units)}", float(spot[0]), float(spot[1]), bold=True)
    name_cores(frame, cores)
    if rigging is not None:
        _labels(frame, bodies, plane, rigging, part)
    note = "" if bodies.casting is not None and bodies.part is not None else "the mesh is not a closed solid, so no slice of it could be drawn"
    if not note and plane.along[0] < -0.2:
        note = "Seen as the arrows A on the plan look: what is left here is right there"
    return Drawing.of(frame, note)


def _finished(frame: Frame, level: float, part: Any) -> None:
    """The face an open-face casting is machined down to, ``level`` [m] under the sand's."""
    left, _, right, _ = part.bounds
    (x0, y), (x1, _) = frame.at(left, level), frame.at(right, level)
    frame.sheet.rule(x0 - 1.5, y, x1 + 1.5, y, thick=0.35, dash="1.6 0.8")
    frame.label(f"machined down to here, {frame.told(-level)}", right, level)


def _feeding(frame: Frame, bodies: Bodies, plane: Plane, part: Any) -> Any:
    """What the plane cuts of risers and their necks, on the sheet."""
    from shapely.ops import unary_union

    cuts = [upright(body, plane).difference(part) for _, kind, body in bodies.regions if kind in ("riser", "neck")]
    return frame.on_sheet(unary_union(cuts))


def _laid_in(bodies: Bodies, plane: Plane, kinds: tuple[str, ...], frame: Frame) -> Any:
    """What the plane cuts of chills or sleeves, on the sheet."""
    from shapely.ops import unary_union

    return frame.on_sheet(unary_union([upright(body, plane) for _, kind, body in bodies.regions if kind in kinds]))


def _metal(frame: Frame, metal: Any, part: Any, feeding: Any) -> None:
    """Metal so that the print tells it apart without colour: the part closely hatched, risers widely and the other way, the rest plain."""
    frame.draw(metal, fill=METAL, thick=0.45)
    frame.hatch(feeding.intersection(metal), gap=3.4, thick=0.13, back=True)
    frame.draw(feeding.intersection(metal), thick=0.3)
    frame.draw(part, fill="#ffffff", thick=0.0)
    frame.hatch(part)
    frame.draw(part, thick=0.5)
    frame.ground.area(metal.union(part), 2.2)
    frame.border(metal)
    frame.border(part)


def _top(mould: Mould, bodies: Bodies) -> float:
    """Upper end of the drawing: the cope top, or some air over an open face and what stands proud of it."""
    if mould.box[5] > 0:
        return float(mould.box[5])
    return 0.012 + (max(float(bodies.casting.bounding_box()[5]), 0.0) if bodies.casting is not None else 0.0)


def _beyond(bodies: Bodies, plane: Plane, frame: Frame) -> Any:
    """Outline of the metal behind the plane, on the sheet."""
    from shapely.geometry import Polygon

    if bodies.casting is None:
        return Polygon()
    away = -plane.toward
    kept = bodies.casting.trim_by_plane(tuple(away), float(away[:2] @ plane.at[:2]))
    rows = np.array([plane.along, [0.0, 0.0, 1.0], plane.toward])
    turned = kept.transform(np.column_stack([rows, -rows @ np.array([plane.at[0], plane.at[1], 0.0])]))
    return frame.on_sheet(seen_from_above(turned)) if not turned.is_empty() else Polygon()


def _section_sizes(
    frame: Frame, plane: Plane, pattern: Pattern, mould: Mould | None, rigging: Rigging | None, world: tuple[float, float, float, float], part: Any
) -> None:
    """Dimensions of the section."""
    left, top = frame.at(world[0], world[3])
    right, low = frame.at(world[1], world[2])
    heights = pattern.cavity.vertices[:, 2]
    lowest, highest = float(heights.min()), float(heights.max())
    if mould is not None:
        if max(abs(plane.along[0]), abs(plane.along[1])) > 0.9999:
            frame.across(world[0], world[1], top, -1, world[1] - world[0], "flask inside")
        if mould.box[5] > 0:
            frame.upward(0.0, world[3], left, -1, world[3], "cope")
        frame.upward(world[2], 0.0, left, -1, -world[2], "drag")
    if highest > 5e-4:
        frame.upward(0.0, highest, right, 1, highest, "part above the parting")
    if lowest < -5e-4:
        frame.upward(lowest, 0.0, right, 1, -lowest, "part below the parting")
    if mould is not None and highest > 0:
        frame.upward(highest, world[3], right, 1, world[3] - highest, "sand over the part")
    aims = [(r.at, r.name) for r in rigging.risers if r.name in plane.through] if rigging is not None else []
    if aims:
        far = float(plane.flat(aims[0][0])[0][0])
        if abs(far) > 5e-3:
            frame.across(min(0.0, far), max(0.0, far), low, 1, abs(far), "sprue to riser")
            return
    if not part.is_empty:
        u0, _, u1, _ = part.bounds
        frame.across(u0, u1, low, 1, u1 - u0, "part in this section")


def _band(span: Any, unit: str, units: str) -> str:
    """Low to high with one unit."""
    (low, a), (high, b) = ends(span.low, span.high, unit, units)
    return f"{low} to {high} {b}" if a == b else f"{low} {a} to {high} {b}"


def _scale(ratio: float) -> str:
    return f"1:{ratio:g}" if ratio >= 1 else f"{1 / ratio:g}:1"


def plan(
    plane: Plane, pattern: Pattern, mould: Mould | None, rigging: Rigging | None, bodies: Bodies, size: tuple[float, float], units: str
) -> Drawing:
    """The plan on the parting, seen from above: what is open in the parting, risers and sprue above it dashed."""
    part = opened(bodies.part, pattern.sheet)
    metal = at_parting(bodies.casting) if pattern.sheet is None else at_parting(bodies.casting).union(part)
    outline, whole = seen_from_above(bodies.part), seen_from_above(bodies.casting)
    if mould is not None:
        world = (float(mould.box[0]), float(mould.box[1]), float(mould.box[2]), float(mould.box[3]))
    else:
        x0, y0, x1, y1 = whole.bounds if not whole.is_empty else (-0.05, -0.05, 0.05, 0.05)
        world = (x0 - 0.01, x1 + 0.01, y0 - 0.01, y1 + 0.01)
    frame = Frame(*size, world, units, "Plan on the parting", snug=True, foot=HEAD + ROW)
    from shapely.geometry import Polygon
    from shapely.geometry import box as rectangle

    flask = frame.on_sheet(rectangle(world[0], world[2], world[1], world[3]))
    metal_on, part_on = frame.on_sheet(metal), frame.on_sheet(part)
    if mould is not None:
        frame.stipple(flask.difference(metal_on.buffer(0.5)).difference(part_on.buffer(0.5)), gap=3.2)
    _metal(frame, metal_on, part_on, Polygon())
    cores = cut_cores(pattern, seen_from_above)
    draw_cores(frame, cores)
    frame.draw(frame.on_sheet(outline), thick=0.22, dash="1.6 0.9")
    for piece in pieces(frame.on_sheet(outline)):
        frame.ground.wall(piece.exterior)
    if mould is not None:
        frame.draw(flask, thick=0.8)
        frame.border(flask)
    name_cores(frame, cores)
    if rigging is not None:
        _plan_rigging(frame, bodies, rigging, metal, part)
    _plan_sizes(frame, mould, rigging, world, outline)
    _cut_line(frame, plane, world)
    return Drawing.of(frame)


def _plan_rigging(frame: Frame, bodies: Bodies, rigging: Rigging, metal: Any, part: Any) -> None:
    """Outlines above the parting dashed, labels, vents."""
    from shapely.geometry import LineString

    shapes, drawn = named_shapes(bodies.regions, metal, part), []
    for seen, open_here, _ in shapes:
        if open_here.area < 0.5 * seen.area:
            on_sheet = frame.on_sheet(seen)
            frame.draw(on_sheet, thick=0.3, dash="1.6 0.9")
            frame.ground.area(on_sheet.boundary.buffer(0.5), 3.0)
    for number, (seen, open_here, (name, kind, body)) in enumerate(shapes):
        if name == "neck" or kind == "neck":
            continue
        drawn = [one if one.area > LEAST else whole for k, (whole, one, what) in enumerate(shapes) if k != number and what[1] != "neck"]
        spot = point_in(own_share(open_here if open_here.area > LEAST else seen, drawn))
        frame.label(words_for(name, kind, body, rigging, frame.told, brief=True), *spot)
    for vent in rigging.vents:
        x, y = frame.at(float(vent.at[0]), float(vent.at[1]))
        frame.sheet.rule(x - 1.2, y - 1.2, x + 1.2, y + 1.2, thick=0.35)
        frame.sheet.rule(x - 1.2, y + 1.2, x + 1.2, y - 1.2, thick=0.35)
        frame.ground.wall(LineString([(x - 1.2, y - 1.2), (x + 1.2, y + 1.2)]))
    if rigging.vents:
        vent = rigging.vents[0]
        frame.label("vents marked ×" if len(rigging.vents) > 1 else "vent", float(vent.at[0]), float(vent.at[1]))


def _cut_line(frame: Frame, plane: Plane, world: tuple[float, float, float, float]) -> None:
    """Where the section is taken, with arrows the way the reader looks."""
    low, high = _chord(np.array(world), plane)
    back = -plane.toward
    bx, by = float(back[0]), -float(back[1])
    for u, sign in ((low, -1.0), (high, 1.0)):
        for out in (
            1.6,
            0.0,
            -6.0,
            -9.0,
            -12.0,
            -15.0,
            -19.0,
            -24.0,
            -30.0,
            -38.0,
        ):  # beyond the flask where no dimension is in the way, else inside it
            ends = [frame.at(*(plane.at[:2] + plane.along[:2] * (u + sign * k * 1e-3 * frame.ratio))) for k in (out - 7.6, out, out + 3.4)]
            (x, y), mark = ends[1], ends[2]
            letter = text_box(*mark, "A", 3.6, bold=True)
            xs, ys = (x - 0.7 * abs(by), x + 0.7 * abs(by), x + 4.2 * bx), (y - 0.7 * abs(bx), y + 0.7 * abs(bx), y + 4.2 * by)
            arrow = (min(xs), min(ys), max(xs), max(ys))
            if frame.clear(letter) and frame.clear(arrow):
                break
        else:
            continue
        frame.sheet.rule(*ends[0], x, y, thick=0.45, dash="3.2 0.8 0.8 0.8")
        frame.sheet.rule(x, y, x + 2.6 * bx, y + 2.6 * by, thick=0.3)
        tip = [(x + 4.2 * bx, y + 4.2 * by), (x + 2.6 * bx - 0.7 * by, y + 2.6 * by + 0.7 * bx), (x + 2.6 * bx + 0.7 * by, y + 2.6 * by - 0.7 * bx)]
        frame.sheet.shape(path([tip]), fill="#14181c", thick=0.0)
        frame.sheet.text(*mark, "A", 3.6, bold=True, anchor="middle")
        frame.figures.append(Written("A", letter, 3.6, bold=True))
        frame.rows.append(arrow)


def _plan_sizes(frame: Frame, mould: Mould | None, rigging: Rigging | None, world: tuple[float, float, float, float], outline: Any) -> None:
    """Dimensions of the plan."""
    left, top = frame.at(world[0], world[3])
    right, low = frame.at(world[1], world[2])
    if mould is not None:
        frame.across(world[0], world[1], top, -1, world[1] - world[0], "flask inside")
        frame.upward(world[2], world[3], left, -1, world[3] - world[2], "flask inside")
    if not outline.is_empty:  # the shorter stand nearer
        x0, y0, x1, y1 = outline.bounds
        frame.across(x0, x1, low, 1, x1 - x0, "part")
        frame.upward(y0, y1, right, 1, y1 - y0, "part")
    if mould is not None and rigging is not None and np.isfinite(rigging.sprue.at).all():
        x, y = (float(v) for v in rigging.sprue.at)
        frame.across(world[0], x, low, 1, x - world[0], "sprue from the flask's left")
        frame.upward(world[2], y, right, 1, y - world[2], "sprue from the flask's near side")


__all__ = ["ABOVE", "Bodies", "Drawing", "Label", "Sheet", "middle_of", "plan", "section"]
