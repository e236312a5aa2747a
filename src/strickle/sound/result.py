"""What the sound room gives."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Outcome, Record, Span, si, word
from strickle.sound.feeding import Feeding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Late(Record):
    """A last place to freeze in the part."""

    at: Array = si("m", "mould frame", shape="(3,)")
    at_part: Array = si("m", "part coordinates", shape="(3,)")
    time: Span = si("s", "when it is solid, as a band")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NeckJudged(Record):
    """A joint that is meant to feed: riser through neck to the part's late place."""

    riser: str = word("riser-1, ...")
    feeds: int = word("hot spot number")
    fed_time: float = si("s", "when the fed place is solid")
    neck_time: float = si("s", "when the neck closes: the earliest section on the way")
    riser_time: float = si("s", "when the riser is solid")
    margin: float = si("1", "least of neck and riser time over the fed time")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weak(Record):
    """Where the Niyama value is least in the part."""

    at: Array = si("m", "mould frame", shape="(3,)")
    at_part: Array = si("m", "part coordinates", shape="(3,)")
    value: float = si("1", "gradient over root of cooling rate, in root(K s) per millimetre")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Back(Record):
    """The open back of an open-face casting: where what the metal loses shows."""

    lost_volume: float = si("m3", "lost by the metal from the pour till it is solid")
    sunk_volume: float = si("m3", "of that, drawn down from the open surface")
    hollow_volume: float = si("m3", "of that, left under a surface that had closed")
    deepest: Span = si("m", "deepest sink; low: shared out evenly, high: most shrinkage and the skin drawn in on all of the hollow")
    mean: float = si("m", "mean sink")
    allowance: float = si("m", "hot metal over the finished face as poured: stock, and what stands proud of the rim")
    under: float = si("m", "metal under the deepest place as poured")
    covered: bool = word("whether a dry cover lies on it from the pour on")
    closes: float = si("s", "when the last of the surface stops flowing")
    at: Array = si("m", "deepest place, mould frame", shape="(3,)")
    at_part: Array = si("m", "the same, part coordinates", shape="(3,)")
    hollow_at: Array = si("m", "largest hollow, mould frame; the deepest place where there is none", shape="(3,)")
    hollow_at_part: Array = si("m", "the same, part coordinates", shape="(3,)")
    depth: Array = si("m", "sink of each column of the grid, NaN off the metal", shape="(nx, ny)")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sound(Outcome):
    """Does it freeze soundly."""

    last_to_freeze: Late = word("the part's last place")
    others: tuple[Late, ...] = word("further late places of the part that stand alone")
    time_to_liquidus: float = si("s", "until the part's last superheat is gone")
    necks: tuple[NeckJudged, ...] = word("joints meant to feed, worst first")
    least_niyama: Weak = word("weakest feeding gradient")
    poor_share: float = si("1", "share of the part's metal under the Niyama threshold")
    riser_time: Span = si("s", "until the last riser, or without risers the last metal, is solid: weights stay till its high end")
    knock_out_time: Span = si("s", "until every metal cell is below the knock-out temperature")
    knock_out_temperature: float = si("K", "that temperature")
    balance_error: float = si("1", "heat lost by the metal against heat found elsewhere")
    pictures: tuple[str, ...] = word("pictures drawn from it", default=())
    time_to_solidus: Array = si("s", "each cell of the cavity grid, NaN outside metal", shape="(nx, ny, nz)")
    time_to_coherency: Array = si("s", "each cell, NaN outside metal", shape="(nx, ny, nz)")
    time_lose_superheat: Array = si("s", "each cell, NaN outside metal", shape="(nx, ny, nz)")
    niyama: Array = si("1", "each cell, root(K s) per millimetre, NaN outside metal", shape="(nx, ny, nz)")
    back: Back | None = word("the back of an open-face casting; None in a two-part mould", default=None)
    feeding: Feeding | None = word("pools, voids, and what each body gave; None where the solve did not end", default=None)
