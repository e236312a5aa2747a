"""A layout as solids: metal bodies, the casting they make with the part, and the formers that leave their shape in the sand."""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d as m3
import numpy as np
import shapely

from strickle.base import Array
from strickle.rigging.basin import sprue_solid
from strickle.rigging.body import Body
from strickle.rigging.formers import Former
from strickle.rigging.layout import WELL_BELOW, Layout, sprue_base_radius
from strickle.rigging.sizing import Sizes
from strickle.rigging.solids import DRAFT, Solid, chain, frustum, unite
from strickle.rigging.vents import FlowOff, vent_plate


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
        deep = needs.depth + WELL_BELOW
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
    return unite([body.solid, *(b.solid for b in bodies)])


def crumbs(casting: Solid) -> tuple[int, float]:
    """Bodies of the casting and the volume [mm3] outside its largest."""
    volumes = sorted((float(b.volume()) for b in casting.decompose()), reverse=True)
    return len(volumes), float(sum(volumes[1:]))


def formers(
    body: Body, layout: Layout, bodies: list[Metal3D], flow: FlowOff | None, vents: list[Array], top: float, bed: Array
) -> tuple[list[Former], Solid | None]:
    """The printed pieces in their order of drawing, and the vent plate's solid if there is one."""
    by = {b.name: b.solid for b in bodies}
    part = body.solid

    cope_half = part.trim_by_plane((0.0, 0.0, 1.0), 0.0)
    drag_half = part.trim_by_plane((0.0, 0.0, -1.0), 0.0)
    drag_half = unite([drag_half, *(by[n] for n in ("runner",) if n in by), *(s.drag for s in layout.stands if s.drag is not None)])
    out: list[Former] = []
    out += _running_formers(layout, by, part, cope_half, drag_half)
    out += _riser_formers(layout, by, part, cope_half, drag_half)
    if flow is not None:
        out.append(
            Former("flow-off-1", "former", "cope", by["flow-off-1"] - part, True, 2, "stands on the cope-pattern; drawn up out of the cope top",
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
            Former("vent-plate", "plate", "cope", plate, True, 0, "laid on the rammed cope round the formers; prick the vents through its holes, "
                   "then take it off", [], touches_sand=False)
        )  # fmt: skip
    return sorted(out, key=lambda f: f.order), plate


def _running_formers(layout: Layout, by: dict[str, Solid], part: Solid, cope_half: Solid, drag_half: Solid) -> list[Former]:
    if layout.route is None or layout.needs is None:
        return []
    needs, route = layout.needs, layout.route
    middle = np.asarray(route.cup.floor.centroid.coords[0])
    out = [
        Former("basin-former", "former", "cope", by["basin"], True, 1, "stands on the sprue-former; drawn up out of the cope top first",
               [middle], route.cup.width / 2),
        Former("sprue-former", "former", "cope", by["sprue"] - by["runner"], True, 2, "stands on the runner's well; drawn up out of the cope top",
               [route.sprue], layout.tip),
    ]  # fmt: skip
    lift = [np.array([*route.line[0], needs.depth + WELL_BELOW]), np.array([*route.line[-1], needs.depth])]
    out.append(
        Former("runner", "former", "drag", by["runner"], True, 4, "lies on the parting in the drag, flat face up; drawn up out of the drag "
               "with the ingates of its half, lifted at both ends", lift, needs.radius)
    )  # fmt: skip
    for n, bar in enumerate(layout.bars, start=1):
        solid = by[f"ingate-{n}"] - part - by["runner"]
        solid = max(solid.decompose(), key=lambda s: s.volume())
        if bar.side > 0:
            note = "lies on the parting over the runner, against the cope-pattern; drawn with the cope-pattern"
            out.append(Former(f"ingate-{n}", "former", "cope", solid, False, 3, note, [], beside=cope_half))
        else:
            note = "glued or pinned to the runner, against the drag-pattern; drawn with the runner"
            out.append(Former(f"ingate-{n}", "former", "drag", solid, True, 4, note, [], beside=drag_half))
    return out


def _riser_formers(layout: Layout, by: dict[str, Solid], part: Solid, cope_half: Solid, drag_half: Solid) -> list[Former]:
    out: list[Former] = []
    for n, s in enumerate(layout.stands, start=1):
        on = f"stands on neck-{n}" if s.kind == "top" else f"stands on riser-foot-{n}"
        out.append(Former(f"riser-{n}", "former", "cope", s.body - part, True, 2, f"{on}; drawn up out of the cope top", [s.at], s.top_radius))
        riser = s.body if s.drag is None else s.body + s.drag
        neck = max((s.neck - part - riser).decompose(), key=lambda m: m.volume(), default=m3.Manifold())
        if s.kind == "top":
            note = "fixed on the cope-pattern, wide end on the part; drawn with the cope-pattern after its riser is out"
            out.append(Former(f"neck-{n}", "former", "cope", neck, False, 3, note, [], beside=cope_half))
        elif s.bar is not None and s.bar.side > 0:
            note = "lies on the parting against the cope-pattern; drawn with the cope-pattern"
            out.append(Former(f"neck-{n}", "former", "cope", neck, False, 3, note, [], beside=cope_half))
        else:
            note = "lies on the parting against the drag-pattern; drawn with the riser's foot"
            out.append(Former(f"neck-{n}", "former", "drag", neck, True, 4, note, [], beside=drag_half))
        if s.drag is not None:
            note = f"under riser-{n}, flat face at the parting; drawn up out of the drag"
            out.append(Former(f"riser-foot-{n}", "former", "drag", s.drag, True, 4, note, [s.at], s.radius))
    return out
