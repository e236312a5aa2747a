"""What the pattern room gives. From here on everything lives in the mould frame: z up, parting plane z = 0, metres."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Mesh, Outcome, Piece, Record, Span, si, tell, word
from strickle.pattern.core import Core, Loose


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrilledHole(Record):
    """A round hole of the part that is filled in the pattern and drilled in the casting."""

    at: Array = si("m", "middle of its mouth, part coordinates", shape="(3,)")
    axis: Array = si("1", "direction from the mouth into the hole, part coordinates", shape="(3,)")
    diameter: float = si("m", "diameter")
    depth: float = si("m", "length of its round wall")
    through: bool = word("true where it is open at both ends")
    centre: bool = word("whether the pattern carries a centre mark for the drill")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StockedFace(Record):
    """A marked face with machining stock on it."""

    name: str = word("the mark's name")
    shape: str = word("flat | bore | boss")
    at: Array = si("m", "the marked point, part coordinates", shape="(3,)")
    axis: Array = si("1", "out of a flat, or along a bore or boss, part coordinates", shape="(3,)")
    stock: float = si("m", "stock on the face, of a bore or boss on its radius; part scale")
    area: float = si("m2", "area of the face")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JointHole(Record):
    """A blind hole in a half's joint face."""

    use: str = word("dowel | lift | rap")
    half: str = word("cope | drag")
    at: Array = si("m", "its middle, mould frame, print scale", shape="(2,)")
    width: float = si("m", "across")
    depth: float = si("m", "below the joint face")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lift(Record):
    """How one printed piece is lifted out of the sand."""

    piece: str = word("its name")
    at: Array = si("m", "where the pull is: the middle of its screws on the parting, print scale, mould frame", shape="(3,)")
    screws: int = word("lifting screws")
    apart: float = si("m", "distance of the screws along the bar; 0 for one screw")
    force: float = si("N", "what its walls may hold it with once rapped, at the high end")
    bars: int = word("bars of wood across the screws; 0 where one screw or two by hand do")
    bar_length: float = si("m", "length of a bar")
    bar_width: float = si("m", "its width")
    bar_height: float = si("m", "its height, on edge")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet(Record):
    """A crooked joint of cope and drag: heights over the flask's own joint, level at zero outside the grid; mould frame, cavity scale."""

    x: Array = si("m", "places of the nodes along x", shape="(nx,)")
    y: Array = si("m", "places of the nodes along y", shape="(ny,)")
    height: Array = si("m", "height of the joint at each node", shape="(nx, ny)")
    lowest: float = si("m", "lowest place of the sand's face")
    highest: float = si("m", "highest place of it")
    steepest: float = si("1", "slope of its steepest place, rise over run")
    area: float = si("m2", "face of the sand that is not level")
    saved: float = si("m3", "sand released that no flat joint releases; cavity scale")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Way(Record):
    """One way the part can lie. None of a part's ways is beaten: any other is worse in one of undercut, planar, depth, even, faces_up, own, score.

    Evenness speaks only for the part's own directions: any direction between them has halves more alike.
    """

    up: Array = si("1", "direction of the part that points up in the mould", shape="(3,)")
    level: float = si("m", "height of the parting along it, part coordinates")
    undercut: float = si("m3", "sand that no parting releases, holes to drill left out where they were looked at")
    planar: float = si("m3", "sand that a flat parting traps beyond that")
    depth: float = si("m", "depth of the deeper half")
    even: float = si("1", "the lesser half's depth over the deeper one's, 0 where all lies in one half")
    faces_up: float = si("1", "how far faces marked good look up: 0 all down, a quarter upright, 1 all up", default=0.0)
    square: float = si("1", "share of the surface that is flat across it or upright along it")
    own: bool = word("whether it is a direction of the part: normal of a flat, axis of the file or of symmetry, square to the walls")
    score: float = si("1", "what it costs in the search, all weighed together; the least is taken unless a trial says otherwise")
    chosen: bool = word("whether the pattern is made this way")
    why: str = word("why it is taken or is not")


def aimed(way: Way) -> str:
    """A direction as --up takes it."""
    return ",".join(tell(float(round(x, 4)) + 0.0, "1", "fine") for x in way.up)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pattern(Outcome):
    """How the part lies in the mould, the cavity it leaves, and the printed halves."""

    draw: Array = si("1", "direction of the cope's draw, part coordinates", shape="(3,)")
    turn: Array = si("1", "rotation from part to mould coordinates", shape="(3, 3)")
    shift: Array = si("m", "mould = scale * (turn @ part) + shift", shape="(3,)")
    scale: Array = si("1", "cavity over part along mould x, y, z (contraction)", shape="(3,)")
    print_scale: Array = si(
        "1", "printed pattern over part along mould x, y, z (contraction, print error; rapping taken off across the draw)", shape="(3,)"
    )
    parting_level: float = si("m", "height of the parting along the draw, part coordinates")
    undercut_volume: float = si("m3", "sand that the mould cannot release, and closed hollows, filled in the pattern; cavity scale")
    undercut_faces: tuple[int, ...] = word("faces of the part that hold it", inner=True)
    undrafted_area: float = si("m2", "surface standing within half a degree of the draw")
    face_draft: Array = si("1", "sine of each face's draft, positive when it draws in its own half; 1 where it is filled over", shape="(m,)")
    contraction: Span = si("1", "contraction used, after restraint, with its spread")
    measure: float = si("m", "one long dimension of the printed pattern to measure")
    measure_part: float = si("m", "the same dimension on the part as drawn")
    measure_axis: str = word("which dimension that is, in words")
    cavity: Mesh = word("the cavity the pattern leaves: part turned, scaled, undercuts filled as the print is; mould frame", inner=True)
    cope_depth: float = si("m", "how far the part reaches above the parting")
    drag_depth: float = si("m", "how far the part reaches below the parting")
    pieces: tuple[Piece, ...] = word("printed pieces of the pattern")
    layered: bool = word("layer lines of the print lie open across the draw: they are neither filled nor sanded", default=False)
    draft_volume: float = si("m3", "metal that draft adds to the casting; cavity scale", default=0.0)
    fillet_radius: float = si("m", "radius of inner corners by the rule: a share of the least wall, and no more than its limit", default=0.0)
    fillet_volume: float = si("m3", "metal that rounding inner corners adds to the casting; cavity scale", default=0.0)
    stock: float = si("m", "stock on the poured back of an open-face casting, part scale; 0 in a two-part mould", default=0.0)
    back_filled: float = si("m3", "hollows of the back that an open-face mould cannot form, filled with metal; cavity scale", default=0.0)
    holes_filled: float = si("m3", "round holes filled in the pattern to be drilled, less the centre marks; cavity scale", default=0.0)
    drilled: tuple[DrilledHole, ...] = word("round holes to drill in the casting", default=())
    stock_volume: float = si("m3", "machining stock on marked faces; cavity scale", default=0.0)
    stocked: tuple[StockedFace, ...] = word("marked faces with machining stock", default=())
    tolerance_grade: float = si("1", "ISO 8062-3 tolerance grade of the raw casting", default=0.0)
    tolerance: float = si("m", "whole tolerance band of the part's longest size in that grade", default=0.0)
    fittings_volume: float = si("m3", "holes for dowels, screws and the rapping bar, cut out of the printed halves; print scale", default=0.0)
    holes: tuple[JointHole, ...] = word("holes in the halves' joint faces, or in the upper side of a pattern in one piece", default=())
    lifts: tuple[Lift, ...] = word("how each piece with a lifting screw is lifted", default=())
    sheet: Sheet | None = word("the crooked joint; None where it is flat", default=None)
    drawn: Mesh | None = word(
        "what the sand is rammed round, where that is not the cavity: it has room for cores and their prints; mould frame", inner=True, default=None
    )
    cores: tuple[Core, ...] = word("cores, in the order they are set", default=())
    loose: tuple[Loose, ...] = word("loose pieces", default=())
    ways: tuple[Way, ...] = word("ways the part can lie that none beats in everything, the one taken first; none where it was asked for", default=())

    @property
    def outer(self) -> Mesh:
        """What the sand is rammed round."""
        return self.cavity if self.drawn is None else self.drawn
