"""What the solved filling says of the pour: records for the pour's result."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GateSolved(Record):
    """One ingate in the solved filling."""

    name: str = word("ingate-1, ...")
    highest: float = si("m/s", "mean speed over its section that lasted a twentieth of a second in all")
    local: float = si("m/s", "highest speed anywhere in it that lasted as long")
    critical: float = si("m/s", "speed above which metal in it tears its skin")
    over: float = si("s", "how long its mean speed was above that")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LastPlace(Record):
    """Where the part fills last."""

    at: Array = si("m", "mould frame", shape="(3,)")
    at_part: Array = si("m", "part coordinates", shape="(3,)")
    time: float = si("s", "metal fills it")
    temperature: float = si("K", "of the metal then")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pocket(Record):
    """Air of the part that metal shut in."""

    at: Array = si("m", "its middle when shut in, mould frame", shape="(3,)")
    at_part: Array = si("m", "the same, part coordinates", shape="(3,)")
    time: float = si("s", "when it was first seen shut in")
    volume: float = si("m3", "its air then")
    left: float = si("m3", "of it, what the sand does not let out while the metal is liquid")
    through_sand: float = si("1", "what the sand lets out under the metal's head while that is liquid, over what has to go")
    through_vents: float = si("1", "what vents into it let out as the metal comes, over what has to go", default=0.0)
    vent: float = si("m", "bore of a vent at that place that would let it out as the metal comes")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seam(Record):
    """Where two fronts of metal meet in the part."""

    at: Array = si("m", "its middle, mould frame", shape="(3,)")
    at_part: Array = si("m", "the same, part coordinates", shape="(3,)")
    time: float = si("s", "they meet, mean over it")
    area: float = si("m2", "over which they meet")
    colder: float = si("K", "metal of the colder front as they meet, mean of its coldest quarter")
    warmer: float = si("K", "of the other, at the same places")
    solid: float = si("1", "fraction solid of the colder one")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Empty(Record):
    """Where the part stays empty."""

    at: Array = si("m", "middle of the largest such place, mould frame", shape="(3,)")
    at_part: Array = si("m", "the same, part coordinates", shape="(3,)")
    volume: float = si("m3", "of that place")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solution(Record):
    """The filling solved with its free surface and heat. Times count from the first metal in the sprue."""

    cell: float = si("m", "edge of its own cells")
    cells: int = word("cells that metal may fill")
    across_wall: float = si("1", "cells across the part's thinnest wall; under 3 that wall is judged by the law of channels")
    flow_from: str = word("mould: what the mould takes under the basin; law: the law of losses, where the choke is too narrow for the cells")
    status: str = word("filled | stands | done, where the time asked ended first")
    fill_time: float = si("s", "until the part is full, but for one in five hundred of its volume; NaN where it never is")
    ratio: float = si("1", "that over the likely fill time of the hydraulics")
    gates: tuple[GateSolved, ...] = word("ingates")
    last: tuple[LastPlace, ...] = word("last places of the part to fill, latest first")
    seams: tuple[Seam, ...] = word("where fronts meet, coldest first")
    pockets: tuple[Pocket, ...] = word("air shut in, largest first")
    empty_volume: float = si("m3", "of the part left empty at the end")
    empty: Empty | None = word("the largest empty place; None where the part is full")
    coldest: float = si("K", "temperature on arrival that one part in a hundred of the part is under")
    stiffest: float = si("1", "fraction solid of the metal there")
    solid: float = si("1", "mean fraction solid of the part's metal at the end")
    wall_speed: float = si("m/s", "speed of arriving metal at the part's walls that one part in a hundred passes")
    wall_speed_at: Array = si("m", "where it is highest, part coordinates", shape="(3,)")
    sprue_empty: float = si("1", "share of sprue and runner that is empty at the end")
    risen: float = si("m3", "metal in risers, their necks and flow-offs at the end")
    metal_balance: float = si("1", "metal not accounted for, over what came in")
    heat_balance: float = si("1", "heat not accounted for, over what came in")
    metal_loss: float = si("J", "heat lost by the metal to the mould")
    steps: int = word("steps taken")
