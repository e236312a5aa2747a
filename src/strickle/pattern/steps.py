"""make: how the part lies in the mould, the cavity, the printed halves."""

from __future__ import annotations

import dataclasses
from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array, Finding, Mesh, Piece, Source, Watch
from strickle.metal import Metal
from strickle.part import Part
from strickle.pattern import core_made, core_says, dressed, lifting, open_face, rules, says
from strickle.pattern.as_built import drafts_built, standing
from strickle.pattern.ask import PatternAsk
from strickle.pattern.asked import understood
from strickle.pattern.bed_split import in_parts
from strickle.pattern.centres import Centred
from strickle.pattern.core import Core, Loose
from strickle.pattern.crooked import outline
from strickle.pattern.dividing import cut_apart as cut_apart
from strickle.pattern.dividing import cut_findings as cut_findings
from strickle.pattern.dividing import look_for_cuts as look_for_cuts
from strickle.pattern.dividing import marks_of as marks_of
from strickle.pattern.dividing import splice_sources as splice_sources
from strickle.pattern.faces import Raw, raw
from strickle.pattern.field import STAND
from strickle.pattern.halves import Holes, Printed, drill, pieces
from strickle.pattern.lay import Laid, at_level, caught_faces, drafts, hollows, lay, on_part, undrafted, whole_of
from strickle.pattern.loose import DRAGS
from strickle.pattern.readable import written
from strickle.pattern.result import JointHole, Pattern
from strickle.pattern.seat import Seated, board_of, seated, sheet_of
from strickle.pattern.undercut import withdrawn
from strickle.pattern.ways import listed
from strickle.pattern.works import Joint, Worked, joint_of, worked
from strickle.stores import Stores


def make(part: Part, metal: Metal, stores: Stores, ask: PatternAsk, watch: Watch) -> Pattern:
    """Choose draw, parting and way up; give cavity, printed halves and what sand cannot release.

    The cavity is the part turned, scaled by the contraction and with undercuts filled, as the printed pattern leaves it.
    Raises BadInput for a word that is not known, a direction of no length, a parting outside the part, or a mesh that is no solid.
    """
    understood(ask)
    watch(0.0, "looking for round holes and marked faces")
    own = raw(part, metal.family, stores, ask)
    whole = dressed.cast(part, own)
    good = dressed.marked_good(own, part)
    laid = lay(whole, metal, stores, ask, watch, good)
    watch(0.46, "looking whether a crooked joint is worth its work")
    solid = whole_of(whole.mesh, laid)
    joint, flat = joint_of(solid, ask), (laid, solid)
    if joint is not None and (rise := outline(joint.sheet)):
        laid = at_level(laid, whole, rise, good, stores)
        solid = whole_of(whole.mesh, laid)
        joint = joint_of(solid, ask)
    watch(0.5, "filling what sand cannot release")
    radius = _corner(part, laid, stores)
    built = _built(solid, joint, own, laid, radius, stores, ask, watch)
    tried = built.seat if ask.joint == "best" else None
    if given_up := tried is not None and tried.dragged > DRAGS:
        laid, solid = flat
        built = _built(solid, None, own, laid, radius, stores, dataclasses.replace(ask, joint="flat"), watch)
    made, centres, over, seat = built.made, built.centres, built.over, built.seat
    formed, joint, eased = made.formed, made.joint, made.eased
    printed_scale, printed = over * laid.scale, made.printed.scale(tuple(float(r) for r in over))
    uncut = None if seat is None else seat.whole
    holes = drill(printed, uncut, rules.constant(stores, "draw.drag").high * 1e-6)
    halved = pieces(printed, holes, uncut)
    halved = halved._replace(pieces=tuple(in_parts(piece, stores.kit.bed) for piece in halved.pieces))
    board = () if joint is None else (in_parts(board_of(made.solid, joint, over), stores.kit.bed),)
    sines = drafts(part.mesh, laid, joint)
    vertices, faces = written(made.solid)
    if eased is not None and not eased.is_bare:
        kept, least = dressed.upright(own, laid), min(eased.outside, eased.pocket)
        sines = drafts_built(part.mesh, laid, dressed.shift(laid), sines, (vertices * 1e-3, faces), joint, kept, least)
    sines[own.gone] = 1.0
    caught = caught_faces(part.mesh, sines) if formed.regions else ()
    set_in, off, boxed = _answers(made, stores, ask, over)
    boxed = tuple(in_parts(piece, stores.kit.bed) for piece in boxed)
    dragged = max(withdrawn(printed)) if seat is None else seat.dragged
    measure, measured, axis = _measure(made.printed, printed_scale, laid, stores)
    watch(0.95, "writing down the pattern")
    return Pattern(
        draw=laid.lie.draw + 0.0,
        turn=laid.turn + 0.0,
        shift=dressed.shift(laid) + 0.0,
        scale=laid.scale,
        print_scale=printed_scale,
        parting_level=laid.lie.level + laid.stock,
        undercut_volume=formed.undercut * 1e-9 + hollows(whole.mesh) * float(laid.scale.prod()),
        undercut_faces=caught,
        undrafted_area=standing(part.mesh, sines),
        face_draft=sines,
        contraction=laid.contraction,
        measure=measure,
        measure_part=measured,
        measure_axis=axis,
        cavity=Mesh(vertices=vertices * 1e-3, faces=faces),
        cope_depth=max(float(vertices[:, 2].max()) * 1e-3, 0.0),
        drag_depth=max(-float(vertices[:, 2].min()) * 1e-3, 0.0) + 0.0,
        pieces=(*halved.pieces, *board, *boxed),
        layered=ask.draft == "unfilled",
        draft_volume=0.0 if eased is None else eased.added * 1e-9,
        fillet_radius=radius,
        fillet_volume=made.rounded * 1e-9,
        stock=laid.stock,
        back_filled=formed.filled * 1e-9,
        fittings_volume=halved.cut * 1e-9,
        holes=tuple(JointHole(use=h.use, half=h.half, at=h.at * 1e-3, width=h.diameter * 1e-3, depth=h.depth * 1e-3) for h in holes.holes),
        lifts=holes.lifts,
        sheet=None if joint is None else sheet_of(joint),
        drawn=_drawn(made),
        cores=set_in,
        loose=off,
        ways=laid.ways,
        findings=(
            *_findings(part, stores, ask, laid, made, caught, dragged, holes, halved, (*board, *boxed), own.gone),
            *((says.kept_flat(tried.dragged * 1e-9),) if tried is not None and given_up else ()),
            *_told(made, set_in, off, laid, stores, ask),
            *dressed.findings(own, part, metal, ask, centres.marked),
        ),
        sources=_sources(stores),
        **dressed.written(own, laid, part, centres),
    )


class _Built(NamedTuple):
    """The solid that sand is rammed round, its centre marks, print scale over cavity scale, and the pieces where the joint is crooked."""

    made: Worked
    centres: Centred
    over: Array
    seat: Seated | None


def _corner(part: Part, laid: Laid, stores: Stores) -> float:
    """Radius of inner corners by the rule, cavity scale [m]."""
    share, most = (rules.constant(stores, f"fillet.{name}").value for name in ("share", "most"))
    return rules.fillet_radius(part.least_wall * float(laid.scale.min()), share, most)


def _built(
    solid: manifold3d.Manifold, joint: Joint | None, own: Raw, laid: Laid, radius: float, stores: Stores, ask: PatternAsk, watch: Watch
) -> _Built:
    stock = laid.stock * float(laid.scale[2]) * 1e3
    made = worked(solid, joint, stock, stores, ask, watch, dressed.upright(own, laid), radius * 1e3)
    centres = dressed.with_centres(made.drawn, own, laid, made.joint)
    made = made.less(centres.cut)
    over = _print_scale(made.drawn, laid, stores) / laid.scale
    watch(0.7, "halving the pattern")
    return _Built(made, centres, over, None if made.joint is None else seated(made.solid, made.joint, over))


def _drawn(made: Worked) -> Mesh | None:
    """What the sand is rammed round, where cores make it another than the cavity."""
    if made.answered is None or not made.answered.cores:
        return None
    vertices, faces = written(made.drawn)
    return Mesh(vertices=vertices * 1e-3, faces=faces)


def _answers(made: Worked, stores: Stores, ask: PatternAsk, over: Array) -> tuple[tuple[Core, ...], tuple[Loose, ...], tuple[Piece, ...]]:
    """Records of cores and loose pieces, and what is printed for them."""
    if made.answered is None:
        return (), (), ()
    share = rules.constant(stores, "core.vent_share").value
    set_in, off = core_made.cores(made.answered, ask.core_sand, stores, share), core_made.loose(made.answered)
    return set_in, off, core_made.pieces(made.answered, set_in, over, stores.kit.print_error)


def _told(made: Worked, set_in: tuple[Core, ...], off: tuple[Loose, ...], laid: Laid, stores: Stores, ask: PatternAsk) -> tuple[Finding, ...]:
    """Findings on cores and loose pieces."""
    told: tuple[Finding, ...] = ()
    if ask.bores == "core" and not (made.answered is not None and any(choice.place.upright for choice in made.answered.choices)):
        told = (core_says.no_bore(rules.constant(stores, "core.bore_least"), rules.constant(stores, "core.bore_deep")),)
    if made.answered is None:
        return told
    limits = (rules.constant(stores, "core.slender"), rules.constant(stores, "core.slender_one"))
    return (*told, *core_says.told(made.answered, set_in, off, limits, lambda at: on_part(laid, at)))


def _print_scale(filled: manifold3d.Manifold, laid: Laid, stores: Stores) -> Array:
    """What the file is scaled by along x, y, z so that the print, rapped, leaves the cavity."""
    kit = stores.kit
    low_x, low_y, _, high_x, high_y, _ = filled.bounding_box()
    most = rules.constant(stores, "pattern.most_rapping").value
    rapped = [rules.rapping_factor((high - low) * 1e-3, kit.rapping, most) for low, high in ((low_x, high_x), (low_y, high_y))]
    return np.asarray(laid.scale * (1.0 + kit.print_error) * np.array([*rapped, 1.0]))


def _measure(filled: manifold3d.Manifold, printed: Array, laid: Laid, stores: Stores) -> tuple[float, float, str]:
    """The longest side as it must come off the printer, the same on the part, and which it is."""
    box = filled.bounding_box()
    extents = np.array([box[i + 3] - box[i] for i in range(3)]) * 1e-3
    if laid.lie.cope > 2e-5 and laid.lie.drag > 2e-5:
        extents[2] = 0.0  # the height is shared by two halves and cannot be measured on one
    i = int(np.argmax(extents))
    part = float(extents[i] / laid.scale[i])
    name = ("length along the longer side", "width across the longer side", "height along the draw")[i]
    return part * float(printed[i]) / (1.0 + stores.kit.print_error), part, name


def _findings(
    part: Part,
    stores: Stores,
    ask: PatternAsk,
    laid: Laid,
    made: Worked,
    caught: tuple[int, ...],
    dragged: float,
    holes: Holes,
    halved: Printed,
    board: tuple[Piece, ...],
    gone: Array,
) -> tuple[Finding, ...]:
    formed, eased = made.formed, made.eased
    size, whole = float(laid.scale[2]), part.volume * float(laid.scale.prod())
    middle = on_part(laid, np.zeros(3))
    asked = ask.up is not None and not ask.tried
    if ask.open_face:
        out = [open_face.lies(laid.lie, size, laid.stock, middle, asked), open_face.stock_told(laid.stock, ask.stock is not None, part)]
        out += [open_face.back_filled(formed, whole, on_part(laid, formed.back[0].at * 1e-3))] if formed.back else []
    else:
        out = [says.lies(laid.lie, laid.other, size, (float(middle[0]), float(middle[1]), float(middle[2])), asked)]
    out += listed(laid.ways)
    if formed.regions:
        point = on_part(laid, formed.regions[0].at * 1e-3)
        share, least, drills = (rules.constant(stores, f"pattern.{name}").value for name in ("fill_share", "fill_least", "drill_width"))
        parted = "flat" if made.joint is None else "crooked"
        # sizes as on the part: that is what is drilled or milled in the cold casting
        told = tuple(r._replace(bore=r.bore / float(laid.scale[:2].mean()), size=r.size / laid.scale) for r in formed.regions)
        out.append(says.undercut(told, formed.undercut * 1e-9, whole, point, caught, (share, least, drills), parted))
    if made.joint is not None:
        sheet, fall = sheet_of(made.joint), float(np.abs(made.joint.sheet.h).max()) * 1e-3
        stand = float(np.tan(np.radians(STAND)))
        out.append(says.crooked(sheet.saved, made.joint.saving.crooked * 1e-9, whole, fall, sheet.steepest, stand))
    if dragged > 0.5:
        out.append(says.dragged(dragged * 1e-9, part.volume))
    area, tallest, faces = undrafted(part.mesh, laid, gone)
    if eased is not None:
        if abs(eased.added) * 1e-9 > 1e-6 * whole:  # less is rounding
            out.append(says.draft_added(eased.added * 1e-9, whole, (eased.outside, eased.pocket, eased.low), ask.draft_from == "middle"))
        out += [says.closed(one.width * 1e-3, one.depth * 1e-3, on_part(laid, one.at * 1e-3), len(eased.closed)) for one in eased.closed[:1]]
    if (eased is None or eased.is_bare) and area > 0.01 * part.area:
        out.append(says.no_draft(area, part.area, tallest, faces, float(np.tan(np.radians(1.0)))))
    if ask.fillets != "none":
        out.append(says.rounded(made.rounded * 1e-9, whole, _corner(part, laid, stores)))
    out += [f for f in (says.bed(piece, stores.kit.bed) for piece in (*halved.pieces, *board)) if f is not None]
    out += lifting.told(holes.lifts)
    out += says.fittings(holes, {p.name: float(p.extents[:2].max()) for p in halved.pieces}, made.joint is not None)
    if halved.rough:
        out.append(says.rough(halved.rough))
    if halved.crumbs:
        out.append(says.crumbs(halved.crumbs))
    return tuple(out)


def _sources(stores: Stores) -> tuple[Source, ...]:
    """Citations of the data used."""
    names = ("restraint.open", "restraint.frame", "pocket.depth_to_width_cope", "pocket.depth_to_width_drag")
    keys = {rules.constant(stores, name).source for name in names}
    own = [stores.sources[key] for key in sorted(keys) if key in stores.sources]
    return (*own, rules.PRACTICE, rules.MEMORY, rules.HOUSE)
