"""What the mould room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MouldAsk(Record):
    """Kind of mould and the sand; ``wanted`` is a flask size asked for by trials after rigging lacked room."""

    kind: str = word("two-part | open-face", default="two-part")
    sand: str | None = word("sand key; None = the kit's", default=None)
    room: Array | None = si("m", "box the rigging needs: x low, x high, y low, y high, z low, z high, mould frame", shape="(6,)", default=None)
    sand_ways: str = word(
        "whether other ways to make the mould are run to compare how their sand stands: auto (in a whole plan, where it may well fail) | run | none",
        default="auto",
    )
