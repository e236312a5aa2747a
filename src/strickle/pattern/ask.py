"""What the pattern room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PatternAsk(Record):
    """Wishes on the draw; ``open_face`` follows from the kind of mould."""

    up: Array | None = si("1", "direction of the part that shall point up in the mould", shape="(3,)", default=None)
    parting: float | None = si("m", "height of the parting along the draw, part coordinates; None = best", default=None)
    open_face: bool = word("the whole part lies under the parting and its back is poured open", default=False)
    draft: str = word("whether walls along the draw are given draft: added or none", default="none")
    stock: float | None = si("m", "stock to machine off the poured back of an open-face casting; None = by the size of the part", default=None)
