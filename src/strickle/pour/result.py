"""What the pour room gives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strickle.base import Array, Outcome, Record, Span, si, word
from strickle.pour.hand import Hand
from strickle.pour.solution import Solution
from strickle.pour.window import PourWindow


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Relief(Record):
    """Which letters, ribs and edges come sharp, rounded or lost. Spans run from the strongest skin and slowest arrival to the weakest and fastest."""

    reached: Span = si("1", "share of the section of what stands out finely that metal fills, mean over its area; NaN where nothing does")
    sharp: float = si("1", "share of its area that likely comes sharp")
    rounded: float = si("1", "share that likely comes rounded")
    lost: float = si("1", "share that is likely lost")
    area: float = si("m2", "tops of what stands out finely; cavity scale")
    width: float = si("m", "its width, half of the area is narrower; NaN where nothing stands out")
    height: float = si("m", "how far it stands out, half of the area less; NaN where nothing does")
    pressure: Span = si("Pa", "pressure that works there while the metal is liquid, middle place; without fine relief, at the lowest edges")
    head: float = si("m", "metal standing over that place in the end")
    speed: Span = si("m/s", "speed of the metal as it arrives there")
    liquid: float = si("s", "how long metal of that width stays liquid; NaN where nothing stands out")
    wait: float = si("s", "from the metal's arrival there until the whole head stands over it")
    skin: Span = si("N/m", "effective surface tension of the metal with its oxide skin")
    entry_width: Span = si("m", "narrowest slot that metal enters under that pressure")
    edge_radius: Span = si("m", "roundness left on edges under that pressure")
    head_saves: Span = si(
        "m", "metal over it with which the relief would come out, by the same law; infinite where no sensible head does, NaN where it does already"
    )
    size_saves: Span = si("1", "times as large as which it would come out, by the same law; infinite, NaN likewise")
    at: Array = si("m", "places on the tops of what stands out finely, mould frame", shape="(n, 3)")
    at_part: Array = si("m", "the same, part coordinates", shape="(n, 3)")
    widths: Array = si("m", "width at each place", shape="(n,)")
    heights: Array = si("m", "height at each place", shape="(n,)")
    pressures: Array = si("Pa", "pressure at each place: low, likely, high", shape="(n, 3)")
    shares: Array = si("1", "share reached at each place: low, likely, high", shape="(n, 3)")
    edge_at: Array = si("m", "places along convex edges, mould frame", shape="(k, 3)")
    edge_at_part: Array = si("m", "the same, part coordinates", shape="(k, 3)")
    edge_drawn: Array = si("m", "radius drawn there; 0 for a sharp edge", shape="(k,)")
    edge_radii: Array = si("m", "radius that comes out there: high, likely, low", shape="(k, 3)")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Handed(Record):
    """What the solved filling hands to the freezing as the part is full, on the filling's own cells."""

    origin: Array = si("m", "corner of its cells, mould frame", shape="(3,)")
    cell: float = si("m", "their edge")
    temperature: Array = si("K", "of the metal; NaN where there is none", shape="(nx, ny, nz)")
    sand_heat: Array = si("J", "what each cell has given to the wall beside it", shape="(nx, ny, nz)")
    stood: Array = si("s", "since metal came there; NaN where none did", shape="(nx, ny, nz)")
    empty: Array = si("1", "1 where the part stayed empty, else 0", shape="(nx, ny, nz)")
    poured_at: float = si("K", "temperature of the pour it was solved for")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pour(Outcome):
    """Does it fill: hydraulics with losses, and how long the thinnest metal stays fluid."""

    fill_time: Span = si("s", "mould fills in: from first metal in the sprue until the part is full; risers go on filling")
    pour_time: Span = si("s", "hand pours for: from first metal in the basin until every riser and the basin stand full")
    rate: float = si("kg/s", "what the hand must pour to keep the basin full, at first; less as the metal rises in the mould")
    gate_speed: float = si("m/s", "highest speed in an ingate")
    critical_speed: float = si("m/s", "speed above which the surface is torn and folded in")
    fall: float = si("m", "deepest fall inside the cavity")
    fall_speed: float = si("m/s", "speed after that fall")
    least_pressure: float = si("Pa", "lowest gauge pressure in the sprue")
    aspirates: bool = word("true where the sprue can drink air")
    fluid_time: Span = si("s", "how long the thinnest section stays fluid")
    fluid_margin: Span = si("1", "fluid time of the thinnest section over the fill time")
    edge_radius: float = si(
        "m", "roundness likely left on edges, at the middle one or that of fine relief; the band stands in relief", default=float("nan")
    )
    break_time: float = si("s", "interruption reckoned with before the part is full; 0 without one", default=0.0)
    lip_temperature: Span = si("K", "at the lip as the last metal leaves it", default=Span(value=float("nan"), low=float("nan"), high=float("nan")))
    cover_depth: float = si("m", "mean depth of metal from which it covers an open face of itself; NaN in a two-part mould", default=float("nan"))
    hand: Hand | None = word("what goes over the lip, and how hot, against time", inner=True, default=None)
    relief: Relief | None = word("which letters, ribs and edges come sharp, rounded or lost; None where there is no surface to look at", default=None)
    solution: Solution | None = word("the filling solved with its free surface and heat; None where it was not, and a finding says why", default=None)
    window: PourWindow | None = word("lowest and highest temperature to pour at; None where they were not looked for", default=None)
    arrival: Array | None = si("s", "metal comes, on the filling's own cells; NaN where none came", shape="(nx, ny, nz)", default=None)
    arrival_temperature: Array | None = si("K", "of the metal as it comes", shape="(nx, ny, nz)", default=None)
    arrival_speed: Array | None = si("m/s", "of the metal as it comes", shape="(nx, ny, nz)", default=None)
    handed: Handed | None = word("temperatures, heat in the sand and empty places that the freezing begins with; None where it was not solved",
        inner=True, default=None)  # fmt: skip
    filling_origin: Array = si("m", "corner of the filling's cells, mould frame", shape="(3,)", default_factory=lambda: np.full(3, np.nan))
    pictures: tuple[str, ...] = word("pictures drawn from the solved filling", default=())
