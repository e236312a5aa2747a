"""A layout as solids: metal bodies, the casting they make with the part, and the formers that leave their shape in the sand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d as m3
import numpy as np
import shapely

from strickle.base import Array, Piece
from strickle.rigging.basin import sprue_solid
from strickle.rigging.body import Body
from strickle.rigging.formers import Former
from strickle.rigging.layout import Layout, sprue_base_radius
from strickle.rigging.sizing import Sizes
from strickle.rigging.solids import CRUMB, DRAFT, Frame, Solid, chain, frustum, plainer, raw, unite, whole
from strickle.rigging.vents import FlowOff, vent_plate

PLATE, BASIN, THROUGH, LAST = 0, 1, 2, 9
"""Order of drawing before the cope is lifted: vent plate, basin, sprue and then, one by one, risers and flow-off."""
DRAG, RUNNER, COPE = 10, 30, 50
"""Order after it: the drag's pattern (as the pattern room counts it), runner and riser feet, the cope's pattern."""
EVEN = 0.01
"""mm over the joint that a pattern of the drag must stand to be more than its half."""
FOOT = 0.02
"""mm over its lowest place that a neck is looked at from below."""
FAR = 50.0
"""mm within which a former's pattern piece is looked for."""


@dataclass(slots=True, eq=False)
class Metal3D:
    """One metal body of the rigging, untrimmed: it may reach into the part. ``joins`` the part by a declared contact."""

    name: str
    kind: str
    solid: Solid
    joins: bool
    contact: float = 0.0


def metal_bodies(layout: Layout, flow: FlowOff | None, sizes: Sizes, top: float) -> list[Metal3D]:
    """Every metal body outside the part."""
    out: list[Metal3D] = []
    for n, s in enumerate(layout.stands, start=1):
        out.append(Metal3D(f"riser-{n}", "riser", s.body if s.drag is None else s.body + s.drag, False))
        out.append(Metal3D(f"neck-{n}", "neck", s.neck, True, s.contact))
    if layout.route is not None and layout.needs is not None:
        needs, route = layout.needs, layout.route
        deep = needs.depth + needs.below
        well = frustum(float(route.sprue[0]), float(route.sprue[1]), -deep, 0.0, needs.well - deep * np.tan(DRAFT), needs.well)
        out.append(Metal3D("runner", "running", chain(route.line, needs.radius, needs.depth) + well, False))
        base = sprue_base_radius(sizes)
        out.append(Metal3D("sprue", "running", sprue_solid(route.sprue, base, layout.tip, 0.0, top - needs.cup_depth), False))
        out.append(Metal3D("basin", "running", route.cup.solid(top), False))
        for n, (bar, back) in enumerate(zip(layout.bars, route.backs), start=1):
            reach = back + (0.6 * needs.radius if bar.side > 0 else 0.0)
            out.append(Metal3D(f"ingate-{n}", "ingate", bar.solid(reach), True, bar.contact))
    if flow is not None:
        out.append(Metal3D("flow-off-1", "flow-off", flow.solid, True, flow.contact))
    return out


def casting_of(body: Body, bodies: list[Metal3D]) -> Solid:
    """Part and rigging as one: the rigging reaches past the part's skin and is never trimmed first."""
    return whole(unite([body.solid, *(b.solid for b in bodies)]))


def crumbs(casting: Solid) -> tuple[int, float]:
    """Bodies of the casting and the volume [mm3] outside its largest; what is under ``CRUMB`` does not count."""
    volumes = sorted((v for v in (float(b.volume()) for b in casting.decompose()) if abs(v) >= CRUMB), reverse=True)
    return len(volumes), float(sum(volumes[1:]))


@dataclass(frozen=True, slots=True)
class Leant:
    """A pattern piece that formers lean on."""

    name: str
    half: str
    order: int
    solid: Solid


def leant_on(pieces: Sequence[Piece], frame: Frame) -> list[Leant]:
    """The pattern's pieces as solids of the room's frame."""
    return [Leant(p.name, p.half, p.order, raw(frame.inward(p.mesh.vertices), p.mesh.faces)) for p in pieces]


def formers(
    body: Body, layout: Layout, bodies: list[Metal3D], flow: FlowOff | None, vents: list[Array], top: float, bed: Array, pattern: list[Leant]
) -> tuple[list[Former], Solid | None]:
    """The printed pieces in their order of drawing, and the vent plate's solid if there is one.

    The plate comes before everything: vents are pricked with all formers in. What leaves through the cope top follows (``BASIN``,
    ``THROUGH``) and then, the cope lifted, drag and cope give up their own: the pattern first, since a former's end may reach under the
    pattern's wider part, and what is fixed to a piece together with it.
    """
    by = {b.name: b.solid for b in bodies}
    part = body.solid

    cope_half = part.trim_by_plane((0.0, 0.0, 1.0), 0.0)
    drag_half = part.trim_by_plane((0.0, 0.0, -1.0), 0.0)
    drag_half = unite([drag_half, *(by[n] for n in ("runner",) if n in by), *(s.drag for s in layout.stands if s.drag is not None)])
    out: list[Former] = []
    out += _running_formers(layout, by, part, cope_half, drag_half, pattern)
    out += _riser_formers(layout, by, part, cope_half, drag_half, pattern)
    if flow is not None:
        on = _leant(by["flow-off-1"], "cope", pattern)
        out.append(
            Former("flow-off-1", "former", "cope", by["flow-off-1"] - part, True, LAST, f"stands on {on.name}; drawn up out of the cope top",
                   [flow.at[:2]], flow.top_radius)
        )  # fmt: skip
    outlines = []
    if layout.route is not None:
        outlines.append(layout.route.cup.rim)
    outlines += [s.high for s in layout.stands]
    if flow is not None:
        outlines.append(shapely.Point(*flow.at[:2]).buffer(flow.top_radius))
    plate = vent_plate(vents, outlines, bed, top)
    if plate is not None:
        out.append(
            Former("vent-plate", "plate", "cope", plate, True, PLATE, "laid on the rammed cope before anything is drawn, round the formers; prick "
                   "the vents through its holes, then take it off", [], touches_sand=False)
        )  # fmt: skip
    for former in out:
        former.solid = plainer(whole(former.solid))
    return sorted(out, key=lambda f: f.order), plate


def _on(leant: Leant) -> str:
    """How a former of the cope is held to a piece of the pattern: not at all to a whole one, which stays in the drag."""
    return f"fixed to {leant.name}" if leant.half == "cope" else f"set on {leant.name} and not fixed to it"


def _comes(leant: Leant) -> str:
    """How it is drawn."""
    return "drawn with it" if leant.half == "cope" else "stays in the cope and is drawn down out of it"


def _leant(solid: Solid, half: str, pattern: list[Leant]) -> Leant:
    """The pattern piece of ``half`` that ``solid`` lies against; of a whole pattern, the piece that reaches into that half."""
    own = [p for p in pattern if p.half == half] or [p for p in pattern if p.solid.bounding_box()[5] > EVEN]
    if not own:
        return Leant(f"{half}-pattern", half, COPE if half == "cope" else DRAG, m3.Manifold())
    return own[0] if len(own) == 1 else min(own, key=lambda p: float(p.solid.min_gap(solid, FAR)))


def _seated(neck: Solid, part: Solid) -> Solid:
    """A neck that is drawn down, let down to the floor of a hole in the part that it half covers: sand under its end would come along."""
    low, floor = float(neck.bounding_box()[2]), float(part.bounding_box()[2])
    foot = neck.slice(low + FOOT)
    if foot.is_empty() or low <= floor:
        return neck
    below = foot.extrude(low + FOOT - floor).translate((0.0, 0.0, floor)) - part
    hangs = [piece for piece in below.decompose() if piece.bounding_box()[5] > low and piece.bounding_box()[2] < low - FOOT]
    return unite([neck, *hangs]) if hangs else neck


def _running_formers(layout: Layout, by: dict[str, Solid], part: Solid, cope_half: Solid, drag_half: Solid, pattern: list[Leant]) -> list[Former]:
    if layout.route is None or layout.needs is None:
        return []
    needs, route = layout.needs, layout.route
    middle = np.asarray(route.cup.floor.centroid.coords[0])
    glued = any(bar.side < 0 for bar in layout.bars)
    first = "after the drag-pattern" if any(p.half == "drag" for p in pattern) else "when the cope is off"
    out = [
        Former("basin-former", "former", "cope", by["basin"], True, BASIN, "stands on the sprue-former; drawn up out of the cope top first",
               [middle], route.cup.width / 2),
        Former("sprue-former", "former", "cope", by["sprue"] - by["runner"], True, THROUGH, "stands on the runner's well; drawn up out of the "
               "cope top after the basin-former", [route.sprue], layout.tip),
    ]  # fmt: skip
    lift = [np.array([*route.line[0], needs.depth + needs.below]), np.array([*route.line[-1], needs.depth])]
    out.append(
        Former("runner", "former", "drag", by["runner"], True, RUNNER, f"lies on the parting in the drag, flat face up; drawn up out of the drag "
               f"{first}{', its ingates with it' if glued else ''}, lifted at both ends", lift, needs.radius)
    )  # fmt: skip
    for n, bar in enumerate(layout.bars, start=1):
        solid = by[f"ingate-{n}"] - part - by["runner"]
        solid = max(solid.decompose(), key=lambda s: s.volume())
        if bar.side < 0:
            on = _leant(solid, "cope" if bar.lap else "drag", pattern)
            note = f"glued or pinned to the runner, {'under' if bar.lap else 'against'} {on.name}; drawn with the runner"
            out.append(Former(f"ingate-{n}", "former", "drag", solid, True, RUNNER, note, [], beside=drag_half))
        elif bar.lap:
            note = "lies on the parting over the runner and the drag-pattern; stays in the cope and is drawn down out of it"
            out.append(Former(f"ingate-{n}", "former", "cope", solid, False, COPE, note, [], beside=cope_half))
        else:
            on = _leant(solid, "cope", pattern)
            note = f"lies on the parting over the runner, {_on(on)}; {_comes(on)}"
            out.append(Former(f"ingate-{n}", "former", "cope", solid, False, max(on.order, COPE), note, [], beside=cope_half))
    return out


def _riser_formers(layout: Layout, by: dict[str, Solid], part: Solid, cope_half: Solid, drag_half: Solid, pattern: list[Leant]) -> list[Former]:
    out: list[Former] = []
    for n, s in enumerate(layout.stands, start=1):
        on = f"stands on neck-{n}" if s.kind == "top" else f"stands on riser-foot-{n}"
        out.append(
            Former(
                f"riser-{n}",
                "former",
                "cope",
                s.body - part,
                True,
                min(THROUGH + n, LAST - 1),
                f"{on}; drawn up out of the cope top",
                [s.at],
                s.top_radius,
            )
        )
        riser = s.body if s.drag is None else s.body + s.drag
        neck = max((s.neck - part - riser).decompose(), key=lambda m: m.volume(), default=m3.Manifold())
        if s.kind == "top" or (s.bar is not None and s.bar.side > 0):
            leant = _leant(neck, "cope", pattern)
            neck = _seated(neck, part)
            how = "wide end on the part" if s.kind == "top" else "flat face on the parting"
            note = f"{_on(leant)}, {how}; {_comes(leant)}"
            out.append(Former(f"neck-{n}", "former", "cope", neck, False, max(leant.order, COPE), note, [], beside=cope_half))
        else:
            leant = _leant(neck, "drag", pattern)
            note = f"fixed to riser-foot-{n}, against {leant.name}, flat face on the parting; drawn with the foot"
            out.append(Former(f"neck-{n}", "former", "drag", neck, True, RUNNER + n, note, [], beside=drag_half))
        if s.drag is not None:
            after = "after the drag-pattern" if any(p.half == "drag" for p in pattern) else "when the cope is off"
            note = f"under riser-{n}, flat face on the parting; drawn up out of the drag {after}"
            out.append(Former(f"riser-foot-{n}", "former", "drag", s.drag, True, RUNNER + n, note, [s.at], s.radius))
    return out
