"""Ram the mould: margins, flask, sand, and whether it stands the draw."""

from __future__ import annotations

import numpy as np

from strickle.base import Array, BadInput, Finding, Margin, Mesh, Piece, Source, Value, Watch, tell
from strickle.metal import Metal
from strickle.mould import draw_cake, draw_says, open_face
from strickle.mould.ask import MouldAsk
from strickle.mould.draw_chance import sand_of
from strickle.mould.draw_sheet import Sheet
from strickle.mould.flask import Fitted, Need, choose, nearest
from strickle.mould.printing import printing
from strickle.mould.result import Mould, SandChances
from strickle.mould.rules import constant, side_margin
from strickle.mould.sand import stand
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.stores import Flask, Kit, SandRecord, Stores

WELL_DEEP = 0.022  # runner and well below the parting [m], before they are sized
BAND = 0.045  # side band promised to ingate, runner and sprue [m], before they are laid; grows with the part
LEAST_COPE = 0.065  # a sprue shorter than this gives no head to speak of [m] (common practice)
ROUND_BOARD = 0.008  # m of sand between a follow board and the frame it stands in (choice of this program)
KINDS = ("two-part", "open-face")


def ram(part: Part, pattern: Pattern, metal: Metal, stores: Stores, ask: MouldAsk, watch: Watch) -> Mould:
    """Choose the flask round part and rigging, and judge the enclosed sand; an open-face mould is the drag frame alone.

    Raises BadInput for an unknown sand or kind of mould.
    """
    if ask.kind not in KINDS:
        raise BadInput(f"mould {ask.kind!r} is not known", f"Take one of {', '.join(KINDS)}")
    is_open = ask.kind == "open-face"
    key = ask.sand or stores.kit.sand
    sand = stores.sands.get(key)
    if sand is None:
        raise BadInput(f"sand {key!r} is not in the stores", f"Known: {', '.join(stores.sands)}")
    used: list[Source] = []
    need, between, deep = _need(part, pattern, metal, stores, ask, used)
    flasks = open_face.drags(stores.kit) if is_open else stores.kit.flasks
    fitted = choose(need, flasks)
    if not fitted.at_hand and ask.room is None and not is_open:
        # the promise to the rigging is a guess: a flask that holds the part may do, and rigging says what it lacks
        bare = _need(part, pattern, metal, stores, ask, used, promise=False)[0]
        tight = choose(bare, flasks, need)
        need, fitted = (bare, tight) if tight.at_hand else (need, fitted)
    watch(0.3, "looking for sand that may not stand the draw")
    density = _sand(sand, "density")
    known = sand_of(sand, stores, used, rough=pattern.layered, lifted=pattern.sheet is not None)
    box = fitted.box
    cake = None if is_open else draw_cake.measured(pattern.outer, box, stores.kit.bars)
    middles, normals = _faces(part, pattern)
    stood = stand(pattern.outer, cake, known, middles, _sheet(pattern), normals)
    side = need.side
    tilt = open_face.slope(pattern) if is_open else 0.0
    room = np.array([box[0] + side, box[1] - side, box[2] + side, box[3] - side, box[4] + deep / 2, box[5]])
    return Mould(
        kind=ask.kind,
        flask=fitted.flask,
        box=box,
        side_margin=side,
        deep_margin=deep,
        between_margin=between,
        room_for_rigging=room,
        sand=key,
        sand_name=sand.name,
        sand_conductivity=_sand(sand, "k").value,
        sand_density=density.value,
        sand_heat=_sand(sand, "heat_capacity").value,
        contact=constant(stores, "contact.metal_sand", used).value,
        bodies=stood.bodies,
        sand_chances=SandChances(**stood.chances._asdict()),
        sand_governs=stood.governs,
        sand_strength_enough=stood.enough,
        face_tear=stood.face_tear,
        sand_low=SandChances(**stood.low._asdict()),
        sand_high=SandChances(**stood.high._asdict()),
        sand_stands=stood.draws,
        sand_shops=stood.shops,
        leaning=stood.leaning,
        ledges=stood.ledges,
        tilt=tilt,
        printing=printing(sand, stores, used),
        findings=(
            *_flask_findings(fitted, need, stores.kit, flasks),
            *(open_face.told(fitted.flask, tilt, pattern, fitted.at_hand) if is_open else ()),
            *draw_says.told(stood, known, pattern, stores.kit),
        ),
        sources=tuple(used),
    )


def _faces(part: Part, pattern: Pattern) -> tuple[Array, Array]:
    """Middles [m] and unit normals of the part's faces in the mould frame, (m, 3) each."""
    corners = (pattern.scale * (part.mesh.vertices @ pattern.turn.T) + pattern.shift)[part.mesh.faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return corners.mean(axis=1), cross / np.maximum(np.linalg.norm(cross, axis=1), 1e-30)[:, None]


def _sheet(pattern: Pattern) -> Sheet | None:
    """The joint where it is crooked."""
    return None if pattern.sheet is None else Sheet(pattern.sheet.x, pattern.sheet.y, pattern.sheet.height)


def _sand(sand: SandRecord, name: str) -> Value:
    value = sand.values.get(name)
    if value is None:
        raise BadInput(f"sand {sand.key} has no {name}", "Choose another sand, or give the value in the stores")
    return value


def _need(
    part: Part, pattern: Pattern, metal: Metal, stores: Stores, ask: MouldAsk, used: list[Source], *, promise: bool = True
) -> tuple[Need, float, float]:
    """What the flask must hold, the sand between part and rigging, and the sand over and under; ``promise`` adds room for rigging not yet laid."""
    mass = part.volume * metal.density_liquidus
    heavy = constant(stores, "margin.heavy_mass", used).value
    side = side_margin(mass, heavy, constant(stores, "margin.side", used).value, constant(stores, "margin.side_heavy", used).value)
    over, under = constant(stores, "margin.over", used).value, constant(stores, "margin.under", used).value
    between = constant(stores, "margin.between", used).value
    if ask.kind == "open-face":
        return open_face.need(pattern, side, under), between, under
    low, high = pattern.outer.vertices[:, :2].min(axis=0), pattern.outer.vertices[:, :2].max(axis=0)
    up, down = (max(float(end), 0.0) for end in (pattern.outer.vertices[:, 2].max(), -pattern.outer.vertices[:, 2].min()))
    if ask.room is not None:
        low = np.minimum(low, ask.room[[0, 2]])
        high = np.maximum(high, ask.room[[1, 3]])
        cope, drag = max(float(ask.room[5]), up + over), max(-float(ask.room[4]), down) + under
    else:
        low = low - np.array([0.0, _band(part) if promise else 0.0])
        cope, drag = up + over, max(down, WELL_DEEP if promise else 0.0) + under
    for board in (piece.mesh.vertices for piece in pattern.pieces if piece.role == "board"):  # it stands in the frame with sand round it
        low = np.minimum(low, board[:, :2].min(axis=0) + side - ROUND_BOARD)
        high = np.maximum(high, board[:, :2].max(axis=0) - side + ROUND_BOARD)
        cope = max(cope, float(board[:, 2].max()) + ROUND_BOARD)
    return Need(low=low, high=high, side=side, cope=max(cope, LEAST_COPE), drag=drag), between, min(over, under)


def _band(part: Part) -> float:
    """Side band promised to ingates, runner and sprue [m]: wider for a larger part, whose runner is wider."""
    return BAND * float(np.clip((part.volume / 100e-6) ** 0.25, 0.8, 1.8))


def _flask_findings(fitted: Fitted, need: Need, kit: Kit, flasks: tuple[Flask, ...]) -> tuple[Finding, ...]:
    if fitted.at_hand:
        return ()
    flask = fitted.flask
    name, share = nearest(need, flasks)
    near = f"; the nearest, {name}, reaches {tell(share, '1', '%')} of it in its tightest direction" if name else "; the kit holds none"
    cope = f"cope {tell(flask.cope, 'm')}, " if flask.cope > 0 else ""
    size = f"{tell(flask.length, 'm')} by {tell(flask.width, 'm')} inside, {cope}drag {tell(flask.drag, 'm')}"
    margin = Margin(value=share, unit="1", of="nearest flask over the flask needed, tightest direction")
    because = (
        f"metal spans {tell(float(need.high[0] - need.low[0]), 'm')} by {tell(float(need.high[1] - need.low[1]), 'm')} and wants"
        f" {tell(need.side, 'm')} of sand all round{near}"
    )
    if kit.builds_flasks:
        return (
            Finding(
                code="mould.flask_built",
                weight="NOTE",
                says=f"Build a flask of {size}",
                because=because,
                do="Knock it up from boards with pins that fit one way only, before the day",
                margin=margin,
            ),
        )
    return (
        Finding(
            code="mould.no_flask",
            weight="STOP",
            says=f"No flask of the kit is large enough: {size} is needed",
            because=because,
            do="Build or borrow one of that size, or say in the kit that you build flasks (builds_flasks = true)",
            margin=margin,
        ),
    )


def gauges() -> tuple[Piece, ...]:
    """The bar box and the pocket gauge with which the person measures their own sand, and pins for a flask without, as printed pieces."""
    from strickle.mould.gauges import bar_box, flask_pins, pocket_gauge

    halves = {"bar": "both", "pocket": "drag", "flask-pin": "drag", "flask-socket": "cope"}
    out = []
    for gauge in (*bar_box(), pocket_gauge(), *flask_pins()):
        made = gauge.solid.to_mesh64()
        vertices = np.array(made.vert_properties[:, :3], dtype=float) * 1e-3
        draw = np.array(gauge.draw)
        out.append(
            Piece(
                name=gauge.name,
                role="gauge",
                half=next(half for name, half in halves.items() if gauge.name.startswith(name)),
                mesh=Mesh(vertices=vertices, faces=np.array(made.tri_verts, dtype=np.int64)),
                draw=draw / np.linalg.norm(draw),
                order=1,
                touches_sand=not gauge.name.startswith("flask"),
                volume=float(gauge.solid.volume()) * 1e-9,
                extents=np.ptp(vertices, axis=0),
                note=gauge.note,
            )
        )
    return tuple(out)
