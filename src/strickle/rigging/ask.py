"""What the rigging room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chill(Record):
    """A square block asked for against the part, rammed up with the pattern."""

    name: str = word("what it is called")
    at: Array = si("m", "place on the part's surface, part coordinates", shape="(3,)")
    across: float = si("m", "edge of the square face that lies against the metal")
    thick: float = si("m", "from the metal into the sand")
    material: str = word("steel | graphite", default="steel")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiserWish(Record):
    """What trials asks of one riser after a solve: ``spot`` counts the part's hot spots from 0."""

    spot: int = word("hot spot number")
    drop: bool = word("leave this riser out", default=False)
    size: float = si("1", "factor on the riser's first diameter", default=1.0)
    neck: float = si("1", "factor on the neck's first area", default=1.0)
    neck_area: float | None = si("m2", "neck area forced by the person", default=None)
    sleeve: float | None = si("m", "wall of an insulating sleeve round this riser; None = as asked for all", default=None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class VentWish(Record):
    """What trials asks for after a solve of the filling: a vent that opens into the cavity."""

    at: Array = si("m", "place in the cavity's air that it is to let out, part coordinates", shape="(3,)")
    bore: float = si("m", "of the vent")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiggingAsk(Record):
    """Wishes on the rigging."""

    pour_time: float | None = si("s", "wished fill time; None = by rule", default=None)
    fill: str | float | None = word("how full to pour an open face: level | proud | a mass; None = as recommended", default=None)
    risers: tuple[RiserWish, ...] = word("changes trials asks for", default=())
    ingates: int = word("least number of ingates that trials asks for", default=1)
    gate_section: float = si("1", "factor that trials asks for on the ingates' section", default=1.0)
    breathing: tuple[VentWish, ...] = word("vents into the cavity that trials asks for", default=())
    marked: tuple[int, ...] = word("faces of the part's mesh that no ingate, riser or flow-off may touch", default=())
    chills: tuple[Chill, ...] = word(
        "chills laid against the part, as name: x, y, z, across, thick, steel or graphite, in part coordinates, several parted by semicolons;"
        " left out: none",
        default=(),
    )
    sleeve: float | None = si("m", "wall of dry insulating sleeves round all risers; None = no sleeves", default=None)
