"""Rig the mould: risers, ingates, runner, sprue, basin and vents as solids that are checked, drawn and printed."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import manifold3d as m3
import numpy as np
import shapely

from strickle.base import Array, BadInput, Finding, Piece, Source, Watch
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Core, Pattern, in_parts
from strickle.rigging import records, report
from strickle.rigging.ask import RiggingAsk, RiserWish
from strickle.rigging.assembly import Metal3D, casting_of, formers, leant_on, metal_bodies
from strickle.rigging.body import Body, prepare
from strickle.rigging.checks import Checked, check
from strickle.rigging.formers import held, printed
from strickle.rigging.ground import closed, in_way
from strickle.rigging.inserts import Laid, Sand, check_asked, lay_in
from strickle.rigging.layout import Layout, Reasons, place_risers, place_running, spot_of
from strickle.rigging.open_face import rig_open
from strickle.rigging.result import Rigging, Vent
from strickle.rigging.risers import Spot
from strickle.rigging.sizing import Sizes, size_riser, size_running
from strickle.rigging.solids import MM, Frame
from strickle.rigging.vents import FlowOff, choose, roof_over
from strickle.stores import Stores

ENDS = 5e-4  # m from the top of a core that its vent ends in a print there
BESIDE = 6.0  # mm from a former to the vent of a core
LEAST_CLEAR = 0.012
"""m of sand between running system and part, never less (common practice)."""
SOURCES = (
    Source(key="general", says="Draft of formers 1.5 to 5 degrees, 12 mm of sand between runner and part, well, run-out, 2 mm vent wire: common "
           "practice", mark="common practice"),
)  # fmt: skip


@dataclass(slots=True, eq=False)
class Place:
    """What every step of the rigging looks at."""

    part: Part
    pattern: Pattern
    mould: Mould
    frame: Frame
    body: Body
    top: float
    room: Array
    clear: float


def rig(part: Part, pattern: Pattern, mould: Mould, metal: Metal, stores: Stores, ask: RiggingAsk, watch: Watch) -> Rigging:
    """Place and size the rigging of ``pattern.cavity`` inside ``mould`` and measure it on the solids.

    What the part does not allow is a finding; an open-face mould is only filled. Raises ValueError if the cavity is no closed solid,
    BadInput for a wish that this kind of mould does not know.
    """
    check_asked(ask)
    if mould.kind == "open-face":
        return rig_open(part, pattern, metal, stores, ask)
    if ask.fill is not None:
        raise BadInput("how full to pour is asked for, and a two-part mould is poured full", "Leave out the fill, or take --mould open-face")
    place = _place(part, pattern, mould, ask)
    watch(0.1, "placing risers")
    reasons = Reasons()
    spots = _spots(place, metal, ask)
    stands, missing = place_risers(place.body, spots, place.top, place.room, place.clear, reasons)
    watch(0.3, "looking for ingate faces and a way for the runner")
    riser_metal = sum(float(s.metal.volume()) for s in stands) * 1e-9
    sizes = _sizes(place, riser_metal, metal, stores, ask)
    layout = place_running(place.body, stands, missing, sizes, place.top, place.room, place.clear, reasons, ask.ingates)
    watch(0.7, "vents and flow-off")
    vents, flow = _vents(place, layout)
    led, shut = _core_vents(place, layout)
    watch(0.8, "joining and measuring the solids")
    bodies = metal_bodies(layout, flow, sizes, place.top)
    casting = casting_of(place.body, bodies)
    checked = check(place.body, layout, bodies, casting)
    leant = leant_on([p for p in pattern.pieces if p.role == "pattern"], place.frame)
    made, plate = formers(place.body, layout, bodies, flow, vents, place.top, stores.kit.bed * MM, leant)
    stuck = {f.name: held(f) for f in made if f.touches_sand}
    pieces = tuple(in_parts(printed(f, place.frame, stores.kit.print_error), stores.kit.bed) for f in made)
    wanted = _room_wanted(place, layout, checked)
    box = (mould.box - np.repeat(place.frame.shift, 2)) * MM
    laid = lay_in(Sand(pattern, place.frame, place.body.solid, casting, bodies, box, stores), layout, ask)
    met = in_way(pattern, place.frame, bodies)
    findings = _findings(place, layout, sizes, checked, stuck, pieces, wanted, flow, vents, plate is not None, stores)
    findings = (*findings, *(report.core_shut(core) for core in shut))
    breathing = (*_breathing(place, ask), *led)
    return _result(place, layout, sizes, checked, bodies, casting, vents, flow, pieces, wanted, (*findings, *met, *laid.findings), laid, breathing)


def _place(part: Part, pattern: Pattern, mould: Mould, ask: RiggingAsk) -> Place:
    frame, body = _ready(part, pattern, tuple(ask.marked))
    shift = np.repeat(frame.shift, 2)
    room = (mould.room_for_rigging - shift) * MM
    return Place(part, pattern, mould, frame, body, float(mould.box[5]) * MM, room, max(LEAST_CLEAR, mould.between_margin) * MM)


@functools.lru_cache(maxsize=1)
def _ready(part: Part, pattern: Pattern, marked: tuple[int, ...]) -> tuple[Frame, Body]:
    """The part made ready for placing: the same for every lay of a search, so the last one is kept with the sections it has cut."""
    corners = pattern.cavity.vertices
    frame = Frame(0.5 * (corners.min(axis=0) + corners.max(axis=0)))
    body = prepare(frame.solid(pattern.cavity), _marked(part, pattern, frame, marked))
    body.closed = closed(pattern, frame)
    body.cores = tuple(frame.inward(core.mesh.vertices) for core in pattern.cores)
    return frame, body


def _marked(part: Part, pattern: Pattern, frame: Frame, marked: tuple[int, ...]) -> Array:
    """Points (n, 3) about a millimetre apart on the marked faces, room's frame."""
    if not marked:
        return np.empty((0, 3))
    corners = part.mesh.vertices[part.mesh.faces[list(marked)]]
    corners = frame.inward((corners @ pattern.turn.T) * pattern.scale + pattern.shift)
    points = []
    for a, b, c in corners:
        n = int(np.clip(np.ceil(max(np.linalg.norm(b - a), np.linalg.norm(c - a)) / 1.2), 1, 150))
        u, v = np.meshgrid((np.arange(n) + 0.5) / n, (np.arange(n) + 0.5) / n)
        keep = u + v <= 1.0 + 0.5 / n
        points.append(a + u[keep][:, None] * (b - a) + v[keep][:, None] * (c - a))
    return np.vstack(points)


def _spots(place: Place, metal: Metal, ask: RiggingAsk) -> list[Spot]:
    wishes = {w.spot: w for w in ask.risers}
    out = []
    for number, spot in enumerate(place.part.hot_spots):
        wish: RiserWish | None = wishes.get(number)
        if not spot.needs_feed or (wish is not None and wish.drop):
            continue
        size = size_riser(spot, place.part, metal, wish)
        at = place.frame.inward(place.pattern.scale * (place.pattern.turn @ spot.at) + place.pattern.shift)
        out.append(spot_of(number, at, spot.radius, size.diameter, size.height, size.neck_area, spot.why))
    return out


def _sizes(place: Place, riser_metal: float, metal: Metal, stores: Stores, ask: RiggingAsk) -> Sizes:
    """Sizes with the basin sunk into the cope: the sprue ends at its floor, so the basin's depth is found first."""
    volume = float(place.body.solid.volume()) * 1e-9 + riser_metal
    above = max(place.pattern.cope_depth, 0.0)
    top = place.top / MM
    depth = 0.03
    # a wall under the least that sand moulds fill is told by the part room; hurrying the pour for it would only tear the metal
    least = stores.constants.get(f"section.min_{metal.family}_sand")
    wall = max(place.part.least_wall, least.value if least is not None else 0.0)
    thin = stores.constants.get("fill.critical_speed_thin") if metal.family == "aluminium" else None
    bears = thin.value if thin is not None else 0.0
    for _ in range(3):
        sizes = size_running(volume, wall, max(top - depth, 0.3 * top), above, metal, stores.kit, ask, mould=place.mould, thin_speed=bears)
        if abs(sizes.basin_depth - depth) < 1e-5:
            break
        depth = min(sizes.basin_depth, 0.6 * top)
    return sizes


def _vents(place: Place, layout: Layout) -> tuple[list[Array], FlowOff | None]:
    closed = shapely.Polygon()
    if layout.route is not None:
        closed = layout.route.cup.rim
    closed = shapely.unary_union([closed, *(s.high for s in layout.stands), place.body.cores_over(float(place.body.high[2]))])
    gates = np.array([b.joint for b in layout.bars]).reshape(-1, 3)
    return choose(place.body, layout.stands, gates, place.top, place.room, closed)


def _core_vents(place: Place, layout: Layout) -> tuple[tuple[Vent, ...], list[Core]]:
    """Ways up through the cope for the gas of upright cores whose own vent ends at a print there, and the cores over which a former stands."""
    formers = shapely.unary_union([*(s.high for s in layout.stands), *([layout.route.cup.rim] if layout.route is not None else [])])
    out, shut = [], []
    for core in place.pattern.cores:
        if core.lies != "upright" or not len(core.vent_way):
            continue
        end = core.vent_way[int(np.argmax(core.vent_way[:, 2]))]
        if end[2] < float(core.mesh.vertices[:, 2].max()) - ENDS:
            continue  # it has no print in the cope
        if formers.distance(shapely.Point(*place.frame.inward(end)[:2])) < core.vent / 2 * MM + BESIDE:
            shut.append(core)
        else:
            out.append(Vent(name=f"{core.name}-vent", kind="core", at=end, diameter=core.vent))
    return tuple(out), shut


def _breathing(place: Place, ask: RiggingAsk) -> tuple[Vent, ...]:
    """Vents that open into the cavity's roof over the places asked for. Raises BadInput where other metal lies over one."""
    out = []
    for number, wish in enumerate(ask.breathing, start=1):
        at = place.frame.inward(place.pattern.scale * (place.pattern.turn @ wish.at) + place.pattern.shift)
        roof = roof_over(place.body, at)
        if roof is None:
            raise BadInput("a vent is asked for where none comes up to the air", "Ask for it in the cavity, where only sand lies over its roof")
        out.append(Vent(name=f"open-vent-{number}", kind="open", at=place.frame.outward(roof), diameter=wish.bore))
    return tuple(out)


def _room_wanted(place: Place, layout: Layout, checked: Checked) -> Array | None:
    """The box metal needs if the flask is too small for it: metres, mould frame, cope top last; None where it fits."""
    low, high, room = checked.low, checked.high, place.room
    tops = [place.top]
    tops += [s.foot + s.spot.height for s in layout.stands if place.top - s.foot < report.LOW_RISER * s.spot.height]
    low_cope = [spot for spot in layout.missing if layout.reasons.risers[spot.number][0]["cope too low above it"]]
    tops += [float(place.body.high[2]) + 0.7 * spot.diameter + spot.height for spot in low_cope]
    out = [room[0] - low[0], high[0] - room[1], room[2] - low[1], high[1] - room[3], room[4] - low[2], max(tops) - place.top]
    if max(out) < 0.05:
        return None
    # a little over, so that the next try need not land on the line
    box = np.array([low[0] - 2.0, high[0] + 2.0, low[1] - 2.0, high[1] + 2.0, low[2], max(tops)])
    return np.asarray(box / MM + np.repeat(place.frame.shift, 2))


def _findings(
    place: Place,
    layout: Layout,
    sizes: Sizes,
    checked: Checked,
    stuck: dict[str, float],
    pieces: tuple[Piece, ...],
    wanted: Array | None,
    flow: FlowOff | None,
    vents: list[Array],
    has_plate: bool,
    stores: Stores,
) -> tuple[Finding, ...]:
    back = report.Back(place.pattern, place.frame)
    out: list[Finding] = [*sizes.findings]
    out += report.about_risers(layout, place.part, place.top, back)
    out += report.about_ingates(layout, sizes, back)
    out += report.about_solids(layout, checked, stuck, place.clear, back)
    if wanted is not None:
        out.append(report.no_room(place.mould, wanted, back))
    out += report.about_printing(pieces, stores.kit.bed, bool(vents) and not has_plate)
    return tuple(out)


def _result(
    place: Place,
    layout: Layout,
    sizes: Sizes,
    checked: Checked,
    bodies: list[Metal3D],
    casting: m3.Manifold,
    vents: list[Array],
    flow: FlowOff | None,
    pieces: tuple[Piece, ...],
    wanted: Array | None,
    findings: tuple[Finding, ...],
    laid: Laid,
    breathing: tuple[Vent, ...],
) -> Rigging:
    inside = float(place.body.solid.volume())
    whole = float(casting.volume())
    return Rigging(
        pour_time=sizes.pour_time,
        flow=sizes.flow,
        head=sizes.head,
        choke_area=sizes.choke_area,
        discharge=sizes.discharge,
        sprue=records.sprue(layout, sizes, place.frame, place.top),
        basin=records.basin(layout, bodies, sizes),
        runner=records.runner(layout, place.frame),
        ingates=records.ingates(layout, sizes, place.frame),
        risers=records.risers(layout, place.frame, place.top),
        vents=(*records.vents(vents, flow, place.frame), *breathing),
        chills=laid.chills,
        sleeves=laid.sleeves,
        volume=(whole - inside) * 1e-9,
        yield_=inside / whole,
        least_gap=min(checked.gap, 1e3) * 1e-3,
        riser_gap=checked.riser_gap * 1e-3,
        casting=place.frame.mesh(casting),
        bodies=checked.bodies,
        surplus_holes=checked.surplus,
        regions=(*records.regions(bodies, place.frame), *laid.regions),
        room_wanted=wanted,
        pieces=pieces,
        findings=findings,
        sources=(*sizes.sources, *SOURCES),
    )
