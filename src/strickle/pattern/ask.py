"""What the pattern room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Record, si


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PatternAsk(Record):
    """Wishes on the draw."""

    up: Array | None = si("1", "direction of the part that shall point up in the mould", shape="(3,)", default=None)
    parting: float | None = si("m", "height of the parting along the draw, part coordinates; None = best", default=None)
