"""Which furnace, which pot, how hot: choices from the kit, the ask and the thinnest wall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strickle.base import BadInput, Record, Span, si, tell, word
from strickle.melt import rules
from strickle.melt.ask import MeltAsk
from strickle.metal import Metal
from strickle.stores import Crucible, Furnace, Kit, Stores

NO_POT = "none in the kit serves"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PotChosen(Record):
    """The pot to reckon with; where none serves, one of the right size scaled from the kit's largest."""

    pot: Crucible = word("the pot")
    serves: bool = word("whether it is in the kit and large enough")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PourChosen(Record):
    """Metal temperature as it enters the mould."""

    wall: float = si("m", "thinnest wall it was chosen for")
    taken: float = si("K", "used from here on")
    ruled: float = si("K", "by the rule of walls")
    superheat: float = si("K", "over the liquidus by that rule")
    asked: bool = word("whether the person set it")


def furnace_of(kit: Kit, name: str | None) -> Furnace:
    """The furnace by name, or the kit's first. Raises BadInput where there is none such."""
    if not kit.furnaces:
        raise BadInput("the kit names no furnace", "Add one to the kit with its kind and power")
    for furnace in kit.furnaces:
        if name is None or furnace.name == name:
            return furnace
    raise BadInput(f"the kit has no furnace {name!r}", f"Take one of: {', '.join(f.name for f in kit.furnaces)}")


def pot_of(kit: Kit, name: str | None, needed: float) -> PotChosen:
    """The pot by name, else the smallest that holds ``needed`` [m3] to the brim. Raises BadInput for a name the kit does not have."""
    if name is not None:
        for pot in kit.crucibles:
            if pot.name == name:
                return PotChosen(pot=pot, serves=pot.volume >= needed)
        raise BadInput(f"the kit has no pot {name!r}", f"Take one of: {', '.join(p.name for p in kit.crucibles) or 'none yet'}")
    for pot in sorted(kit.crucibles, key=lambda p: p.volume):
        if pot.volume >= needed:
            return PotChosen(pot=pot, serves=True)
    like = max(kit.crucibles, key=lambda p: p.volume, default=Crucible(name="", volume=1e-3, opening=0.11, mass=1.5))
    grow = needed / like.volume
    pot = Crucible(
        name=NO_POT,
        volume=needed,
        opening=like.opening * grow ** (1.0 / 3.0),
        mass=like.mass * grow ** (2.0 / 3.0),
        heat_capacity=like.heat_capacity,
    )
    return PotChosen(pot=pot, serves=False)


def loss_of(furnace: Furnace, stores: Stores) -> Span:
    """Share of the charge lost as dross, by furnace kind."""
    datum = stores.constants["melt.loss_gas" if furnace.kind == "gas" else "melt.loss_electric"]
    return Span(value=datum.value, low=datum.low, high=datum.high)


def superheat_for(wall: float, stores: Stores) -> float:
    """Superheat [K] over the liquidus that walls of ``wall`` [m] want: the stores' points, straight between and level beyond."""
    points = sorted((float(name.partition("@")[2]), datum.value) for name, datum in stores.constants.items() if name.startswith("superheat@"))
    return float(np.interp(wall, [w for w, _ in points], [k for _, k in points]))


def pour_of(wall: float, metal: Metal, stores: Stores, ask: MeltAsk) -> PourChosen:
    """Pour temperature: as asked, else by the thinnest wall, kept inside what is wise for the metal."""
    superheat = superheat_for(wall, stores)
    ruled = metal.liquidus + superheat
    low, high = metal.aim
    taken = ask.pour if ask.pour is not None else min(max(ruled, low), high)
    if not metal.solidus < taken < metal.liquidus + 600.0:
        told, ends = tell(taken, "K"), f"{tell(metal.pour_low, 'K')} to {tell(metal.pour_high, 'K')}"
        raise BadInput(f"a pour temperature of {told} is out of all reason for {metal.name}", f"It is poured at {ends}")
    return PourChosen(wall=wall, taken=taken, ruled=ruled, superheat=superheat, asked=ask.pour is not None)


def cooling_of(pot: Crucible, mass: float, temperature: float, metal: Metal, stores: Stores) -> Span:
    """Cooling rate [K/s, as 1] of the full pot out of the furnace, with the spread of its guessed skin."""
    shine, film = stores.constants["pot.emissivity"], stores.constants["pot.film"]

    def rate(emissivity: float, moving: float) -> float:
        return float(
            rules.pot_cooling(
                volume=pot.volume,
                opening=pot.opening,
                pot_mass=pot.mass,
                metal_mass=mass,
                temperature=temperature,
                metal_heat=metal.liquid_heat,
                pot_heat=pot.heat_capacity,
                ambient=stores.kit.ambient,
                emissivity=emissivity,
                film=moving,
                top_emissivity=metal.emissivity,
                wall_density=stores.constants["pot.wall_density"].value,
            )
        )

    return Span(value=rate(shine.value, film.value), low=rate(shine.low, film.low), high=rate(shine.high, film.high))


def share_of(pot: Crucible, mass: float, metal: Metal) -> float:
    """The empty pot's part of the heat capacity of pot and ``mass`` [kg] of metal."""
    own = pot.mass * pot.heat_capacity
    return own / (own + mass * metal.liquid_heat)
