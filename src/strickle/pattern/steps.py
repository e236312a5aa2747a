"""make: how the part lies in the mould, the cavity, the printed halves."""

from __future__ import annotations

from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array, BadInput, Finding, Mesh, Source, Span, Watch, tell
from strickle.metal import Metal
from strickle.part import Part
from strickle.pattern import open_face, rules, says
from strickle.pattern.ask import PatternAsk
from strickle.pattern.directions import basis, lighter, search, solid, surface
from strickle.pattern.dividing import cut_apart as cut_apart
from strickle.pattern.dividing import cut_findings as cut_findings
from strickle.pattern.dividing import look_for_cuts as look_for_cuts
from strickle.pattern.dividing import splice_sources as splice_sources
from strickle.pattern.draft import Closed, drafted
from strickle.pattern.frame import frame
from strickle.pattern.halves import Holes, Printed, drill, pieces
from strickle.pattern.open_face import Formed
from strickle.pattern.parting import Lie, choose
from strickle.pattern.result import Pattern
from strickle.pattern.taper import rule_of
from strickle.pattern.undercut import LEAN, fill, halves, plain, withdrawn
from strickle.stores import Stores

DRAFT = np.sin(np.radians(0.5))
DRAFTS = ("added", "none")


class _Laid(NamedTuple):
    """The part in the mould frame."""

    lie: Lie
    other: Lie | None
    turn: Array
    shift: Array
    scale: Array
    contraction: Span
    stock: float = 0.0


def make(part: Part, metal: Metal, stores: Stores, ask: PatternAsk, watch: Watch) -> Pattern:
    """Choose draw, parting and way up; give cavity, printed halves and what sand cannot release.

    The cavity is the part turned, scaled by the contraction and with undercuts filled, as the printed pattern leaves it.
    Raises BadInput for a direction of no length, a parting outside the part, or a mesh that is no solid.
    """
    laid = _lay(part, metal, stores, ask, watch)
    watch(0.5, "filling what sand cannot release")
    whole = _whole(part.mesh, laid)
    formed = open_face.formed(whole, laid.stock * float(laid.scale[2]) * 1e3) if ask.open_face else _filled(whole)
    regions = formed.regions
    eased = _eased(formed.solid, stores, ask, watch)
    filled = formed.solid if eased is None else eased.solid
    sunk = np.array([0.0, 0.0, laid.stock])
    printed_scale = _print_scale(filled, laid, stores)
    printed = filled.scale(tuple(float(r) for r in printed_scale / laid.scale))
    watch(0.7, "halving the pattern")
    dragged = max(withdrawn(printed))
    holes = drill(printed)
    made = pieces(printed, holes)
    sines = _draft(part.mesh, laid)
    if eased is not None:
        sines = np.where((sines > -LEAN) & (sines < np.sin(eased.outside)), np.sin(eased.outside), sines)
    caught = _undercut_faces(part.mesh, laid, sines) if regions else ()
    measure, measured, axis = _measure(filled, printed_scale, laid, stores)
    vertices, faces = plain(filled)
    watch(0.95, "writing down the pattern")
    return Pattern(
        draw=laid.lie.draw + 0.0,
        turn=laid.turn + 0.0,
        shift=laid.shift - laid.scale * sunk + 0.0,
        scale=laid.scale,
        print_scale=printed_scale,
        parting_level=laid.lie.level + laid.stock,
        undercut_volume=formed.undercut * 1e-9,
        undercut_faces=caught,
        undrafted_area=_undrafted(part.mesh, laid)[0] if eased is None else 0.0,
        face_draft=sines,
        contraction=laid.contraction,
        measure=measure,
        measure_part=measured,
        measure_axis=axis,
        cavity=Mesh(vertices=vertices * 1e-3, faces=faces),
        cope_depth=max(float(vertices[:, 2].max()) * 1e-3, 0.0),
        drag_depth=max(-float(vertices[:, 2].min()) * 1e-3, 0.0) + 0.0,
        pieces=made.pieces,
        draft_volume=0.0 if eased is None else eased.added * 1e-9,
        stock=laid.stock,
        back_filled=formed.filled * 1e-9,
        findings=_findings(part, stores, ask, laid, formed, eased, caught, dragged, holes, made),
        sources=_sources(stores),
    )


def _filled(whole: manifold3d.Manifold) -> Formed:
    """A two-part mould's solid: undercuts filled to the parting."""
    solid, regions, volume = fill(whole)
    return Formed(solid, regions, volume, (), 0.0, 0.0)


class _Eased(NamedTuple):
    """The solid with draft on its walls. Millimetres, mm3, radians."""

    solid: manifold3d.Manifold
    added: float
    closed: tuple[Closed, ...]
    outside: float
    pocket: float


def _eased(whole: manifold3d.Manifold, stores: Stores, ask: PatternAsk, watch: Watch) -> _Eased | None:
    """Both halves drafted outward to the parting and put together again; None where draft is not asked for."""
    if ask.draft not in DRAFTS:
        raise BadInput(f"draft {ask.draft!r} is not known", f"Give one of {', '.join(DRAFTS)}")
    if ask.draft == "none":
        return None
    rule, made = rule_of(stores), []
    for half, side in zip(halves(whole), (1.0, -1.0)):
        watch(0.55 if side > 0 else 0.6, "giving the walls draft")
        if not half.is_empty():
            made.append(drafted(half, side, rule))
    solid = manifold3d.Manifold.batch_boolean([one.solid for one in made], manifold3d.OpType.Add)
    closed = tuple(place for one in made for place in one.closed)
    return _Eased(solid, max(float(solid.volume() - whole.volume()), 0.0), closed, made[0].outside, made[0].pocket)


def _lay(part: Part, metal: Metal, stores: Stores, ask: PatternAsk, watch: Watch) -> _Laid:
    """Draw, parting, way up, frame and scale."""
    light = lighter(part.mesh)
    if ask.up is not None and not 0 < float(np.linalg.norm(ask.up)) < np.inf:
        raise BadInput("the direction that shall point up has no length", "Give three numbers such as 0,0,1")
    if ask.open_face:
        return _lay_open(part, light, metal, stores, ask, watch)
    if ask.stock is not None:
        raise BadInput("stock on the poured face is asked for, and a two-part mould has no poured face", "Leave it out, or take --mould open-face")
    if ask.up is None:
        axis = search(light, part.volume, watch)[0].direction
    else:
        axis = ask.up / float(np.linalg.norm(ask.up))
    heights = part.mesh.vertices @ axis
    if ask.parting is not None and not heights.min() - 1e-9 <= ask.parting <= heights.max() + 1e-9:
        span = f"{tell(float(heights.min()), 'm')} and {tell(float(heights.max()), 'm')}"
        raise BadInput("the parting asked for lies outside the part", f"Give a height between {span} along the draw")
    spots = np.array([spot.at for spot in part.hot_spots if spot.needs_feed]).reshape(-1, 3)
    limits = tuple(rules.constant(stores, f"pocket.depth_to_width_{half}").value for half in ("cope", "drag"))
    watch(0.42, "choosing the parting and the way up")
    found = choose(part.mesh, axis, part.volume, spots, (limits[0], limits[1]), ask.up is not None, ask.parting)
    lie = found[0]
    other = next((f for f in found if f.draw @ lie.draw < 0), None)
    used = _contraction(part, light, lie.draw, metal, stores)
    scale = np.full(3, 1.0 + used.value)
    turn, shift = frame(part.mesh.vertices, lie.draw, lie.level, scale)
    return _Laid(lie, other, turn, shift, scale, used)


def _lay_open(part: Part, light: Mesh, metal: Metal, stores: Stores, ask: PatternAsk, watch: Watch) -> _Laid:
    """The part under the level of an open face."""
    if ask.parting is not None:
        raise BadInput("an open-face mould parts at the back of the part and nowhere else", "Leave out the parting, or take a two-part mould")
    lie = open_face.lie(light, part.volume, ask, watch)
    lie = lie._replace(level=float((part.mesh.vertices @ lie.draw).max()))
    used = _contraction(part, light, lie.draw, metal, stores)
    scale = np.full(3, 1.0 + used.value)
    turn, shift = frame(part.mesh.vertices, lie.draw, lie.level, scale)
    return _Laid(lie, None, turn, shift, scale, used, open_face.stock_of(part, ask))


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


def _whole(mesh: Mesh, laid: _Laid) -> manifold3d.Manifold:
    """The part as one solid at cavity scale, mould frame, millimetres; flush faces snapped to the parting."""
    vertices = laid.scale * (mesh.vertices @ laid.turn.T) + laid.shift
    vertices[np.abs(vertices[:, 2]) < 2e-6, 2] = 0.0
    whole = solid(Mesh(vertices=vertices, faces=mesh.faces))
    if whole.is_empty() or whole.volume() <= 0:
        raise BadInput("the part's mesh does not make a solid", "Mend it where it was drawn and export it again")
    shells = whole.decompose()
    return whole if len(shells) == 1 else manifold3d.Manifold.batch_boolean(shells, manifold3d.OpType.Add)


def _print_scale(filled: manifold3d.Manifold, laid: _Laid, stores: Stores) -> Array:
    """What the file is scaled by along x, y, z so that the print, rapped, leaves the cavity."""
    kit = stores.kit
    low_x, low_y, _, high_x, high_y, _ = filled.bounding_box()
    most = rules.constant(stores, "pattern.most_rapping").value
    rapped = [rules.rapping_factor((high - low) * 1e-3, kit.rapping, most) for low, high in ((low_x, high_x), (low_y, high_y))]
    return np.asarray(laid.scale * (1.0 + kit.print_error) * np.array([*rapped, 1.0]))


def _measure(filled: manifold3d.Manifold, printed: Array, laid: _Laid, stores: Stores) -> tuple[float, float, str]:
    """The longest side as it must come off the printer, the same on the part, and which it is."""
    box = filled.bounding_box()
    extents = np.array([box[i + 3] - box[i] for i in range(3)]) * 1e-3
    if laid.lie.cope > 2e-5 and laid.lie.drag > 2e-5:
        extents[2] = 0.0  # the height is shared by two halves and cannot be measured on one
    i = int(np.argmax(extents))
    part = float(extents[i] / laid.scale[i])
    name = ("length along the longer side", "width across the longer side", "height along the draw")[i]
    return part * float(printed[i]) / (1.0 + stores.kit.print_error), part, name


def _side(mesh: Mesh, laid: _Laid) -> tuple[Array, Array, Array]:
    """Heights over the parting of each face's lowest and highest corner (m,), and its normal along the draw (m,)."""
    heights = mesh.vertices[mesh.faces] @ laid.lie.draw - laid.lie.level
    normals, _ = surface(mesh)
    return heights.min(axis=1), heights.max(axis=1), normals @ laid.lie.draw


def _draft(mesh: Mesh, laid: _Laid) -> Array:
    """Sine of each face's draft (m,): positive where it draws in its own half, negative where it overhangs."""
    low, high, along = _side(mesh, laid)
    near = 3e-6
    out = np.where(low > -near, along, np.where(high < near, -along, -np.abs(along)))
    return np.asarray(np.where((low > -near) & (high < near), np.abs(along), out))


def _undercut_faces(mesh: Mesh, laid: _Laid, sines: Array) -> tuple[int, ...]:
    """Numbers of the faces that overhang, largest first."""
    _, areas = surface(mesh)
    bad = np.flatnonzero(sines < -LEAN)
    return tuple(int(i) for i in bad[np.argsort(-areas[bad], kind="stable")])


def _undrafted(mesh: Mesh, laid: _Laid) -> tuple[float, float, Array]:
    """Area along the draw [m2], the tallest such face's reach from the parting or its own height [m], and the faces, largest first."""
    low, high, along = _side(mesh, laid)
    _, areas = surface(mesh)
    walls = np.flatnonzero(np.abs(along) < DRAFT)
    if walls.size == 0:
        return 0.0, 0.0, walls
    order = walls[np.argsort(-areas[walls], kind="stable")]
    return float(areas[walls].sum()), float((high - low)[walls].max()), order


def _findings(
    part: Part, stores: Stores, ask: PatternAsk, laid: _Laid, formed: Formed, eased: _Eased | None, caught: tuple[int, ...], dragged: float,
    holes: Holes, made: Printed,
) -> tuple[Finding, ...]:  # fmt: skip
    size, whole = float(laid.scale[2]), part.volume * float(laid.scale.prod())
    middle = _on_part(laid, np.zeros(3))
    if ask.open_face:
        out = [open_face.lies(laid.lie, size, laid.stock, middle, ask.up is not None), open_face.stock_told(laid.stock, ask.stock is not None, part)]
        out += [open_face.back_filled(formed, whole, _on_part(laid, formed.back[0].at * 1e-3))] if formed.back else []
    else:
        out = [says.lies(laid.lie, laid.other, size, (float(middle[0]), float(middle[1]), float(middle[2])), ask.up is not None)]
    if formed.regions:
        point = _on_part(laid, formed.regions[0].at * 1e-3)
        limits = (rules.constant(stores, f"pattern.{name}").value for name in ("fill_share", "fill_least", "drill_width"))
        out.append(says.undercut(formed.regions, formed.undercut * 1e-9, whole, point, caught, *limits))
    if dragged > 0.5:
        out.append(says.dragged(dragged * 1e-9, part.volume))
    area, tallest, faces = _undrafted(part.mesh, laid)
    if eased is not None:
        out.append(says.draft_added(eased.added * 1e-9, whole, eased.outside, eased.pocket))
        out += [says.closed(one.width * 1e-3, one.depth * 1e-3, _on_part(laid, one.at * 1e-3), len(eased.closed)) for one in eased.closed[:1]]
    elif area > 0.01 * part.area:
        out.append(says.no_draft(area, part.area, tallest, faces, float(np.tan(np.radians(1.0)))))
    out += [f for f in (says.bed(piece, stores.kit.bed) for piece in made.pieces) if f is not None]
    out += says.fittings(holes, {p.name: float(p.extents[:2].max()) for p in made.pieces})
    if made.rough:
        out.append(says.rough(made.rough))
    if made.crumbs:
        out.append(says.crumbs(made.crumbs))
    return tuple(out)


def _on_part(laid: _Laid, at: Array) -> Array:
    """A place of the mould before stock is laid on, as a place on the part [m]."""
    return np.asarray(laid.turn.T @ ((at - laid.shift) / laid.scale))


def _sources(stores: Stores) -> tuple[Source, ...]:
    """Citations of the data used."""
    names = ("restraint.open", "restraint.frame", "pocket.depth_to_width_cope", "pocket.depth_to_width_drag")
    keys = {rules.constant(stores, name).source for name in names}
    own = [stores.sources[key] for key in sorted(keys) if key in stores.sources]
    return (*own, rules.PRACTICE, rules.MEMORY, rules.HOUSE)
