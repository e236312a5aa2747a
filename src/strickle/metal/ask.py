"""What the metal room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MetalAsk(Record):
    """The alloy by name, what the part is for, and the person's own contraction if they measured it."""

    metal: str = word("metal key", default="a356")
    use: str = word("what the part is for: see metal.USES", default="general")
    contraction: float | None = si("1", "measured contraction that overrides the tables", default=None)
