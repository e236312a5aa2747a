"""What the pour room gives."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Outcome, Span, si, word
from strickle.pour.hand import Hand


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
    edge_radius: float = si("m", "roundness left on the lowest edges of an open-face casting; NaN in a two-part mould", default=float("nan"))
    break_time: float = si("s", "interruption reckoned with before the part is full; 0 without one", default=0.0)
    lip_temperature: Span = si("K", "at the lip as the last metal leaves it", default=Span(value=float("nan"), low=float("nan"), high=float("nan")))
    cover_depth: float = si("m", "mean depth of metal from which it covers an open face of itself; NaN in a two-part mould", default=float("nan"))
    hand: Hand | None = word("what goes over the lip, and how hot, against time", inner=True, default=None)
