"""What the rigging room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiserWish(Record):
    """What trials asks of one riser after a solve: ``spot`` counts the part's hot spots from 0."""

    spot: int = word("hot spot number")
    drop: bool = word("leave this riser out", default=False)
    size: float = si("1", "factor on the riser's first diameter", default=1.0)
    neck: float = si("1", "factor on the neck's first area", default=1.0)
    neck_area: float | None = si("m2", "neck area forced by the person", default=None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiggingAsk(Record):
    """Wishes on the rigging."""

    pour_time: float | None = si("s", "wished fill time; None = by rule", default=None)
    fill: str | float | None = word("how full to pour an open face: level | proud | a mass; None = as recommended", default=None)
    risers: tuple[RiserWish, ...] = word("changes trials asks for", default=())
    marked: tuple[int, ...] = word("faces of the part's mesh that no ingate, riser or flow-off may touch", default=())
