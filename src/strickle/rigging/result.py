"""What the rigging room gives. Mould frame, metres."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Mesh, Outcome, Piece, Record, Span, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sprue(Record):
    """The downsprue: tapered, wide at the top."""

    top_area: float = si("m2", "section at the cope top")
    base_area: float = si("m2", "section at the well")
    height: float = si("m", "from the well's top to the cope top")
    at: Array = si("m", "its axis, x and y", shape="(2,)")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Basin(Record):
    """The pouring basin in the cope top (or on it)."""

    depth: float = si("m", "metal depth kept over the sprue")
    width: float = si("m", "across, at the rim")
    length: float = si("m", "along, at the rim; a round cup is as long as wide")
    volume: float = si("m3", "metal in it when full")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Runner(Record):
    """The runner on the parting."""

    width: float = si("m", "at the parting")
    depth: float = si("m", "below the parting")
    area: float = si("m2", "section")
    length: float = si("m", "along its line, run-out included")
    line: Array = si("m", "centre line in plan", shape="(n, 2)")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ingate(Record):
    """One ingate."""

    name: str = word("ingate-1, ...")
    at: Array = si("m", "middle of its contact with the part", shape="(3,)")
    area: float = si("m2", "flow section")
    width: float = si("m", "across")
    height: float = si("m", "from the parting")
    half: str = word("cope | drag")
    speed: float = si("m/s", "metal speed in it at the design flow")
    critical: float = si("m/s", "speed above which metal in it tears its skin; higher in an ingate a few millimetres high", default=0.5)
    fall: float = si("m", "how far metal falls inside the cavity below it")
    asked: float = si("m2", "contact area asked for")
    contact: float = si("m2", "contact area on the part, measured on the solids")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Neck(Record):
    """Joint between riser and part."""

    width: float = si("m", "width or diameter")
    height: float = si("m", "height, or length of a top neck")
    length: float = si("m", "from part to riser")
    modulus: float = si("m", "section area over its perimeter")
    area: float = si("m2", "section")
    asked: float = si("m2", "contact area asked for")
    contact: float = si("m2", "contact area on the part, measured on the solids")
    at: Array = si("m", "middle of the contact", shape="(3,)")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Riser(Record):
    """One riser, open to air at the cope top."""

    name: str = word("riser-1, ...")
    kind: str = word("top | side")
    spot: int = word("number of the hot spot it feeds")
    at: Array = si("m", "foot of its axis", shape="(3,)")
    diameter: float = si("m", "least, at the foot of the body")
    height: float = si("m", "from foot to cope top")
    modulus: float = si("m", "volume over cooled surface")
    volume: float = si("m3", "metal")
    neck: Neck = word("its joint with the part")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Vent(Record):
    """A vent pricked with wire, one that opens into the cavity, or a flow-off with a printed former."""

    name: str = word("vent-1, ...")
    kind: str = word("pricked | core (up from the print of a core) | open | flow-off")
    at: Array = si("m", "where it meets the cavity", shape="(3,)")
    diameter: float = si("m", "bore")
    to_metal: float = si("m", "sand left between the wire's end and the cavity (0 for a flow-off or an open vent)", default=0.0)
    asked: float = si("m2", "contact area asked for (0 for a vent)", default=0.0)
    contact: float = si("m2", "contact area on the part, measured on the solids", default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChillSet(Record):
    """A chill as it lies in the sand, cut to the metal's surface."""

    name: str = word("chill-1, ... or as it was called")
    material: str = word("steel | graphite")
    at: Array = si("m", "middle of its contact with the part", shape="(3,)")
    at_part: Array = si("m", "the same, part coordinates", shape="(3,)")
    across: float = si("m", "edge of its square face")
    thick: float = si("m", "into the sand")
    half: str = word("cope | drag")
    contact: float = si("m2", "area on the part, measured on the solids")
    mass: float = si("kg", "mass")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sleeve(Record):
    """An insulating sleeve round a riser, rammed up with it."""

    riser: str = word("riser-1, ...")
    wall: float = si("m", "wall")
    height: float = si("m", "from the riser's foot to the cope top")
    diameter: float = si("m", "outside, at the foot")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region(Record):
    """A named body of the mould beside the part, as a solid to mark cells with: metal of the rigging, or a chill or sleeve in the sand."""

    name: str = word("sprue, runner, ingate-1, riser-1, neck-1, basin, sleeve-1, chills by their names ...")
    kind: str = word("running | ingate | riser | neck | flow-off | chill | graphite | sleeve; graphite is a chill of it")
    mesh: Mesh = word("solid, may reach into the part", inner=True)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpenPour(Record):
    """How full an open-face mould is poured. Levels are those of the hot metal over the sand's level, negative under it."""

    way: str = word("level | proud | by weight")
    recommended: str = word("the way recommended")
    why: str = word("why that one")
    mass: Span = si("kg", "metal to pour in, with how well eye or scale can tell it")
    level: Span = si("m", "where to stop over the rim")
    depth: float = si("m", "mean depth of the metal")
    wall: float = si("m", "least wall of what is poured, stock on the back included, part scale")
    strokes: float = si("m", "width of what stands out on the lowest face, such as letters; nan if nothing does")
    relief: float = si("m", "how far it stands out; nan if nothing does")
    area: float = si("m2", "open surface")
    stands: float = si("m", "height at which a wide puddle stands of itself on sand")
    bears: float = si("m", "how proud the surface may stand, with its factor")
    edge: float = si("m", "roundness left along the rim: the capillary length")
    loss: float = si("1", "share of the volume lost from the pour to solid, at the middle of the metal's window")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rigging(Outcome):
    """Everything between the ladle and the part."""

    pour_time: float = si("s", "time to fill at the design flow")
    flow: float = si("m3/s", "design flow at the choke")
    head: float = si("m", "effective metal height over the ingates")
    choke_area: float = si("m2", "least section the metal must pass")
    discharge: float = si("1", "discharge coefficient from the loss coefficients")
    sprue: Sprue = word("downsprue")
    basin: Basin = word("pouring basin")
    runner: Runner = word("runner")
    ingates: tuple[Ingate, ...] = word("ingates")
    risers: tuple[Riser, ...] = word("risers; empty with the reason in the findings")
    vents: tuple[Vent, ...] = word("vents and flow-offs")
    chills: tuple[ChillSet, ...] = word("chills in the sand", default=())
    sleeves: tuple[Sleeve, ...] = word("insulating sleeves round risers", default=())
    volume: float = si("m3", "metal outside the part")
    yield_: float = si("1", "part metal over metal poured")
    least_gap: float = si("m", "least sand between part and rigging away from the contacts")
    riser_gap: float = si("m", "least sand between part and riser bodies; infinite without risers", default=float("inf"))
    casting: Mesh = word("part and rigging as one solid", inner=True)
    bodies: int = word("separate bodies of that solid; 1 is right", default=1)
    surplus_holes: int = word("holes through that solid beyond the part's own and those between ingates on one runner; 0 is right", default=0)
    regions: tuple[Region, ...] = word("rigging solids to mark cells with", inner=True)
    room_wanted: Array | None = si("m", "box the rigging would need where the flask lacked room; None where it fits", shape="(6,)", default=None)
    pieces: tuple[Piece, ...] = word("printed formers, each drawable in its order")
    open_pour: OpenPour | None = word("how full an open-face mould is poured; None in a two-part mould", default=None)
