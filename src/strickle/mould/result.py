"""What the mould room gives."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Outcome, Record, si, word


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
    """A body of sand enclosed by the pattern (cod, finger) that must hold while the pattern is drawn."""

    at: Array = si("m", "middle of its root, mould frame", shape="(3,)")
    half: str = word("cope | drag")
    depth: float = si("m", "height of the body above its root")
    width: float = si("m", "least width at the root")
    neck_area: float = si("m2", "area of the weakest section")
    use: float = si("1", "pull on the weakest section over its green strength")


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
    bodies: tuple[SandBody, ...] = word("enclosed sand bodies, worst first")
    tilt: float = si("1", "rise over length an open-face mould may stand out of level; 0 where it does not matter", default=0.0)
