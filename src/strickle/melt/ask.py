"""What the melt room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeltAsk(Record):
    """Pour temperature wished, and which pot and furnace."""

    pour: float | None = si("K", "metal temperature as it enters the mould; None = by rule", default=None)
    carry: float = si("s", "from lifting the pot to the first metal in the basin", default=20.0)
    crucible: str | None = word("pot by name; None = the smallest that serves", default=None)
    furnace: str | None = word("furnace by name; None = the kit's first", default=None)
