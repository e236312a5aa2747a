"""What the sound room gives."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

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
class Extreme(Record):
    """Where a criterion is at its worst in the part; the value is what one part in a hundred of its metal passes."""

    at: Array = si("m", "mould frame", shape="(3,)")
    at_part: Array = si("m", "part coordinates", shape="(3,)")
    value: float = si("1", "the criterion's value")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Criteria(Record):
    """What the freezing's times say of the part's metal: they rank places, and are no share of pores and no chance of a crack."""

    freezing_time_least: float = si("s", "local freezing time, superheat gone to solid: one twentieth of the metal takes less")
    freezing_time_median: float = si("s", "half the metal takes less")
    freezing_time_most: float = si("s", "one twentieth takes more")
    arm_spacing_finest: float = si("m", "arm spacing: one twentieth of the metal is finer; good to a quarter either way")
    arm_spacing_median: float = si("m", "half the metal is finer")
    arm_spacing_coarsest: float = si("m", "one twentieth is coarser")
    arm_spacing_why: str = word("where it comes from, or why there is none")
    least_dimensionless: Extreme | None = word("least dimensionless Niyama value; none without arm spacing")
    pressure_drop: float = si("Pa", "air and the full head at the lowest metal less the pressure at which pores form")
    hot_tear: Extreme | None = word("longest vulnerable over relieved time")
    hot_tear_alloy: float = si("1", "the same for the alloy itself, where heat is drawn from it evenly: alloys are told apart by it")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Peg(Record):
    """A named point whose temperature was followed through the freezing."""

    name: str = word("name")
    material: str = word("metal | sand | chill | sleeve; of metal of the rigging: metal of, and the body's name")
    at: Array = si("m", "where it is read, mould frame: beside a wall up to half a cell from the point asked", shape="(3,)")
    at_part: Array = si("m", "the same, part coordinates", shape="(3,)")
    why: str = word("asked for, or what it was chosen for")
    highest: float = si("K", "highest temperature seen")
    highest_time: float = si("s", "when that was")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corner(Record):
    """One freezing on the rough grid with something that is not known at an end of its range."""

    name: str = word("what it is called")
    changed: str = word("what was changed, from what to what")
    least_margin: float = si("1", "least neck or riser time over that of what it feeds, carried to the plan's own grid; NaN without risers")
    last_time: float = si("s", "until the part's last place is solid")
    riser_time: float = si("s", "until the last riser, or without risers the last metal, is solid")
    knock_out_time: float = si("s", "until all metal is below the knock-out temperature, on merged cells; NaN where it was not followed")
    touch_time: float = si("s", "until it may be touched if left shut, on merged cells; NaN where it was not followed")
    void_volume: float = si("m3", "missing in the part; NaN where it was not found")
    stood: tuple[str, ...] = word("codes of the findings of some weight that stood on the rough grid")
    stops: tuple[str, ...] = word("codes of the STOPs it raises: a joint's carried to the plan's own grid, others as they stood", default=())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Swing(Record):
    """What the corners make of one finding."""

    code: str = word("code of the finding")
    body: str = word("its body; empty where it has none")
    stands: int = word("runs in which the trouble stands, the base among them")
    raised: tuple[str, ...] = word("corners that raise it")
    lifted: tuple[str, ...] = word("corners that lift it")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corners(Record):
    """The plan that stands, frozen again on the rough grid at the ends of what is not known."""

    cell: float = si("m", "edge of the rough grid")
    cells: int = word("cells of it")
    ran: int = word("freezings run, the base among them")
    wanted: int = word("freezings that would be run without a budget")
    work: float = si("1", "what they took of the work that corners and cures may take together, in updates of cells", default=0.0)
    base: Corner = word("as planned, on that grid")
    runs: tuple[Corner, ...] = word("the corners that were run")
    left_out: tuple[str, ...] = word("corners that were not run, and why")
    swings: tuple[Swing, ...] = word("findings whose chance was judged by them")
    worst: str = word("what of the unknown moves the joints, or without risers the last time, most", default="")


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
    touch_time: Span = si(
        "s", "until all metal, and the sand next to it, is below what a hand bears, if it is left in the mould",
        default=Span(value=math.nan, low=math.nan, high=math.nan),
    )  # fmt: skip
    touch_temperature: float = si("K", "that temperature", default=math.nan)
    balance_error: float = si("1", "heat lost by the metal against heat found elsewhere")
    pictures: tuple[str, ...] = word("pictures drawn from it", default=())
    time_to_solidus: Array = si("s", "each cell of the cavity grid, NaN outside metal", shape="(nx, ny, nz)")
    time_to_coherency: Array = si("s", "each cell, NaN outside metal", shape="(nx, ny, nz)")
    time_lose_superheat: Array = si("s", "each cell, NaN outside metal", shape="(nx, ny, nz)")
    niyama: Array = si("1", "each cell, root(K s) per millimetre, NaN outside metal", shape="(nx, ny, nz)")
    freezing_time: Array | None = si("s", "local freezing time: superheat gone to solid", shape="(nx, ny, nz)", default=None)
    arm_spacing: Array | None = si("m", "arm spacing; none without a rule for the metal", shape="(nx, ny, nz)", default=None)
    dimensionless_niyama: Array | None = si("1", "Niyama value made dimensionless; none without arm spacing", shape="(nx, ny, nz)", default=None)
    hot_tear: Array | None = si("1", "vulnerable over relieved time", shape="(nx, ny, nz)", default=None)
    criteria: Criteria | None = word("what those fields say of the part", default=None)
    pegs: tuple[Peg, ...] = word("points whose cooling curves were kept: pegs.csv", default=())
    peg_times: Array = si("s", "moments of the curves", shape="(k,)", default_factory=lambda: np.zeros(0))
    peg_temperatures: Array = si("K", "each peg at those moments", shape="(n, k)", default_factory=lambda: np.zeros((0, 0)))
    work: float = si("1", "updates of cells that its solves took: what budgets of further solves are counted in", default=0.0)
    time_error: float = si("1", "share by which a freezing time may be off for the grid: in every band", default=math.nan)
    superheat_error: float = si("1", "share by which the time till the superheat is gone may be off for it", default=math.nan)
    begins: str = word("even: a full mould as hot as it is poured; filled: what the solved filling left", default="even")
    begin_metal: float = si("K", "mean temperature of the part's metal as it begins", default=math.nan)
    begin_sand: float = si("J", "heat in the sand by then", default=0.0)
    corners: Corners | None = word("the plan frozen again at the ends of what is not known; None where that was not run", default=None)
    back: Back | None = word("the back of an open-face casting; None in a two-part mould", default=None)
    feeding: Feeding | None = word("pools, voids, and what each body gave; None where the solve did not end", default=None)
