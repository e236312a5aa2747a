"""What the sound room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PegAt(Record):
    """A point asked for, whose temperature is followed."""

    name: str = word("what it is called")
    at: Array = si("m", "part coordinates", shape="(3,)")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SoundAsk(Record):
    """How finely to step."""

    preset: str = word("rough | shop | fine", default="shop")
    knock_out: bool = word("run on until it may be knocked out", default=True)
    knock_out_temperature: float | None = si("K", "all metal below it before the mould is opened; None = by the metal", default=None)
    cover: str | None = word("dry insulating cover laid on an open face after the pour: none | dry; None = none", default=None)
    corners: str = word("whether the plan that stands is frozen again at the ends of what is not known: run | none", default="run")
    merged: bool = word("follow all cooling on merged cells: for trials", default=False)
    pegs: tuple[PegAt, ...] = word(
        "points whose cooling is followed, as name: x, y, z in part coordinates, several parted by semicolons; left out:"
        " latest metal, thinnest wall, sand beside it",
        default=(),
    )
