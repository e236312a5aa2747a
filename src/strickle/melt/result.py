"""What the melt room gives."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Outcome, Span, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Melt(Outcome):
    """Metal, pot, heat and fuel."""

    charge_mass: float = si("kg", "metal to weigh in")
    poured_mass: float = si("kg", "metal that goes into the mould")
    heel_mass: float = si("kg", "metal left in the pot and skimmed")
    loss: Span = si("1", "share of the charge lost as dross")
    pot: str = word("pot taken, or 'none in the kit serves'")
    pot_needed_volume: float = si("m3", "inside volume to the brim that serves")
    furnace: str = word("furnace taken")
    fuel: str = word("propane | electricity")
    heat: float = si("J", "to bring the charge from cold to the lifting temperature")
    energy: Span = si("J", "that the furnace must be given")
    fuel_mass: Span = si("kg", "propane; zero for electricity")
    melt_time: Span = si("s", "from cold metal to lifting temperature at the furnace's power")
    lift_temperature: Span = si("K", "to take it from the furnace at")
    pour_temperature: Span = si("K", "as it enters the mould")
    cooling_rate: float = si("1", "fall of the pot's temperature after lifting, kelvin per second")
    pot_share: float = si("1", "the empty pot's part of the heat capacity of pot and metal as lifted")
    gross_mass: float = si("kg", "pot, metal and tongs as lifted")
    tray_mass: float = si("kg", "metal the dry tray and hot ingot moulds must be able to take: the whole pot")
