"""What the cavity room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CavityAsk(Record):
    """Resolution of the grid."""

    cell: float | None = si("m", "wished cell; None = a third of the least wall, at most 2 mm; 2 mm if the budget is far from that", default=None)
    most_cells: int = word("cell budget", default=3_000_000)
