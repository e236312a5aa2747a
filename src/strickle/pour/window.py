"""Between which temperatures a mould can be poured: records for the pour's result, filled in by the trials."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PourTried(Record):
    """The filling of the mould that stands, solved on the rough grid at one temperature of the metal as it enters."""

    temperature: float = si("K", "of the metal as it enters the mould")
    fills: bool = word("whether the part is full and no STOP of a misrun, cold shut or break stands")
    doubt: tuple[str, ...] = word("codes of such findings that stand, of any weight but NOTE")
    empty_volume: float = si("m3", "of the part left empty")
    coldest: float = si("K", "temperature on arrival that one part in a hundred of the part is under")
    stiffest: float = si("1", "fraction solid of the metal there")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PourWindow(Record):
    """Lowest and highest temperature at the mould to pour this very mould at, by solves of its filling on the rough grid."""

    floor: float = si("K", "lowest temperature tried that fills; NaN where none up to the top does")
    fails: float = si("K", "highest tried that does not; NaN where the lowest fills")
    sure: float = si("K", "lowest tried that fills with no doubt of misrun or cold shut; NaN where none up to the top does")
    top: float = si("K", "highest that is wise")
    aim: float = si("K", "to pour at: what was planned, kept within the window; NaN where there is none")
    planned: float = si("K", "what was planned")
    tolerance: float = si("K", "to which floor and sure are found")
    tried: tuple[PourTried, ...] = word("every temperature tried, lowest first")
