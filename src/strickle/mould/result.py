"""What the mould room gives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strickle.base import Array, Outcome, Record, si, word


def _no_faces() -> Array:
    return np.zeros(0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlaskChosen(Record):
    """The flask taken, inside sizes."""

    name: str = word("name in the kit, or 'to be built'")
    length: float = si("m", "inside, mould x")
    width: float = si("m", "inside, mould y")
    cope: float = si("m", "height above the parting")
    drag: float = si("m", "height below the parting")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SandBody(Record):
    """A body of sand between walls of the pattern (cod, finger, tongue) that must hold while the pattern is drawn."""

    at: Array = si("m", "middle of its root, mould frame", shape="(3,)")
    half: str = word("cope | drag")
    depth: float = si("m", "height of the body above its root")
    width: float = si("m", "least width at the root or at a neck")
    neck_area: float = si("m2", "area of the weakest section")
    use: float = si("1", "pull on the weakest section over its green strength, medians")
    kind: str = word("pocket: metal all round | slot: open at a side | arm: narrow part of a wider one", default="pocket")
    chance: float = si("1", "chance that this one tears, by the model and its guessed spreads", default=0.0)
    tilt: float = si("1", "use with a pattern that leans while it is drawn, medians", default=0.0)
    hang: float = si("1", "use by its own weight, hanging or jerked, medians", default=0.0)
    governs: str = word("what tears it first: pull-off | tilt | hanging", default="pull-off")
    through: bool = word("whether it reaches the parting: the sand of a hole, where metal ends under it the sand of a hollow", default=True)
    strength_enough: float | None = si(
        "Pa",
        "green tensile strength at which its chance is 10 %; none below that, where no strength helps, past the twelve worst kinds",
        default=None,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SandChances(Record):
    """Chances that the sand of one mould fails, by kind; ``any`` of them takes in that they share one sand and one hand."""

    pocket: float = si("1", "a body tears as the pattern is drawn", default=0.0)
    edge: float = si("1", "an edge breaks or a rim is pushed out", default=0.0)
    hanging: float = si("1", "a body falls by its own weight", default=0.0)
    handling: float = si("1", "the cope sags or drops out when lifted", default=0.0)
    any: float = si("1", "any of these", default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Leaning(Record):
    """What a draw that leans by a given slope does to the sand between the pattern's walls."""

    lean: float = si("1", "slope at which the pattern leans as it rises: rise over length")
    pocket: float = si("1", "chance that a body of sand tears then")
    worst: float = si("1", "chance of the one that tears first")
    at: Array = si("m", "middle of its root, mould frame", shape="(3,)")
    half: str = word("cope | drag")
    push: float = si("m", "how far its tip is pushed aside at the most; 0 where rapping and draft leave room")
    lift: float = si("m", "lift of the pattern at which that is; 0 where it is not pushed")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SandLedge(Record):
    """A shelf of sand that hangs beside or over metal of its own half, as a loose piece leaves it."""

    at: Array = si("m", "middle of its root, mould frame", shape="(3,)")
    half: str = word("cope | drag")
    reach: float = si("m", "how far it hangs out of the sand that holds it")
    thick: float = si("m", "its thickness there")
    use: float = si("1", "bending by its own weight, jerked, over what it holds, medians")
    chance: float = si("1", "chance that it breaks, by the model and its guessed spreads")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SandWay(Record):
    """One way to make the mould, run through pattern and mould for comparison, with the chances of its sand and what it costs."""

    name: str = word(
        "as is | half size | X,Y,Z up | more draft | follow board | flat joint | cored | stronger sand | straight lift | bars | cut in pieces:"
        " its name in tables"
    )
    says: str = word("what is changed, in plain words")
    chances: SandChances = word("chances that the sand does not stand")
    low: SandChances = word("the same, which one shop in ten stays under")
    high: SandChances = word("the same, which one shop in ten goes over")
    flask: FlaskChosen = word("flask it takes")
    metal: float = si("kg", "mass of the part as cast, with draft and what is filled")
    pieces: int = word("printed pieces of the pattern")
    print_volume: float = si("m3", "volume of these pieces")
    castings: int = word("castings it takes", default=1)
    stops: tuple[str, ...] = word("codes of the STOP findings of pattern and mould this way, beside those of the sand", default=())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Printing(Record):
    """How to print what is rammed in this sand: layer against grain, skin against ramming."""

    layer: float = si("m", "print layer of the kit: the step on a sloping face")
    roughness: float = si("m", "mean roughness of an upright wall by its layers")
    grain: float | None = si("m", "middle grain size of the sand; none where the stores hold no fineness of it", default=None)
    wall: float = si("m", "skin of solid print all round, top and bottom too")
    infill: float = si("1", "share of print inside the skin")
    span: float = si("m", "how far the skin spans between lines of the infill")
    pressure: float = si("Pa", "pressure on a level face that hand ramming leaves, the high end")
    stress: float = si("Pa", "bending stress in the skin under that pressure, spanning between lines of the infill")
    strength: float = si("Pa", "strength of the print, the low end")
    density: float = si("kg/m3", "density of solid print")
    softens: float = si("K", "temperature at which the print begins to soften")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mould(Outcome):
    """Flask, margins and the sand. The flask's inside spans box x, y and -drag..cope in z."""

    kind: str = word("two-part | open-face")
    flask: FlaskChosen = word("the flask")
    box: Array = si("m", "flask inside in the mould frame: x low, x high, y low, y high, z low, z high", shape="(6,)")
    side_margin: float = si("m", "least sand between metal and flask wall")
    deep_margin: float = si("m", "least sand over and under the metal")
    between_margin: float = si("m", "least sand between rigging and part where they shall not meet")
    room_for_rigging: Array = si("m", "box inside which rigging may stand: x low, x high, y low, y high, z low, z high", shape="(6,)")
    sand: str = word("sand key")
    sand_name: str = word("sand in words")
    sand_conductivity: float = si("W/(m K)", "rammed")
    sand_density: float = si("kg/m3", "rammed")
    sand_heat: float = si("J/(kg K)", "heat capacity, mean")
    contact: float = si("W/(m2 K)", "metal to sand conductance used")
    bodies: tuple[SandBody, ...] = word("sand bodies between walls of the pattern, worst first")
    tilt: float = si("1", "rise over length an open-face mould may stand out of level; 0 where it does not matter", default=0.0)
    sand_chances: SandChances = word("chances that the sand does not stand", default_factory=SandChances)
    sand_governs: str = word("what would help most: sand | design | technique | nothing needed", default="nothing needed")
    sand_strength_enough: float | None = si("Pa", "green tensile strength at which any failure has 10 %; none where no strength helps", default=None)
    face_tear: Array = si("1", "chance of the sand body that each face of the part bounds; 0 elsewhere", shape="(m,)", default_factory=_no_faces)
    sand_low: SandChances = word("chances that one shop in ten stays under: sand, print and flask better than reckoned", default_factory=SandChances)
    sand_high: SandChances = word("chances that one shop in ten goes over: sand, print and flask worse than reckoned", default_factory=SandChances)
    sand_stands: Array = si("1", "chance that all pockets, edges, hanging sand, and the mould as it is handled stand, for each of the draws reckoned",
        shape="(4, n)", default_factory=lambda: np.ones((4, 1)))  # fmt: skip
    sand_shops: Array = si("1", "the same of shops whose sand, print and flask are one each, and their draws", shape="(4, k, d)",
        default_factory=lambda: np.ones((4, 1, 1)))  # fmt: skip
    leaning: tuple[Leaning, ...] = word("what a draw that leans by 0, 1, 2 and 3 degrees does", default=())
    ledges: tuple[SandLedge, ...] = word("shelves of hanging sand, the farthest reaching first", default=())
    sand_ways: tuple[SandWay, ...] = word("other ways to make the mould beside this one, run for comparison; empty where none was", default=())
    printing: Printing | None = word("how to print the pieces for this sand", default=None)
