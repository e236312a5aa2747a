"""The charge, the pot that serves it, heat and fuel, and how hot to take it from the furnace."""

from __future__ import annotations

import dataclasses
import math

from strickle.base import Source, Span, Watch
from strickle.cavity import Cavity
from strickle.melt import rules
from strickle.melt.ask import MeltAsk
from strickle.melt.choose import NO_POT, cooling_of, furnace_of, loss_of, pot_of, pour_of, share_of
from strickle.melt.heat import heat_between, warmth_of
from strickle.melt.judge import findings_of
from strickle.melt.result import Melt
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import Part
from strickle.rigging import Rigging
from strickle.stores import Stores

WITH_THERMOMETER, WITHOUT_THERMOMETER = 10.0, 40.0
"""K. How well the metal's temperature is known with a sheathed thermocouple, and by eye and time alone (common practice)."""


def charge(part: Part, mould: Mould, rigging: Rigging, cavity: Cavity, metal: Metal, stores: Stores, ask: MeltAsk, watch: Watch) -> Melt:
    """Metal, pot, heat, fuel and temperatures for one mould.

    The heel is the kit's share of the charge. Heat counts the whole charge from the kit's ambient temperature. The pot cools while it is
    carried, so it is lifted hotter than it is poured. Raises BadInput for a pot or furnace that the kit does not have.
    """
    watch(0.0, "weighing the charge")
    kit = stores.kit
    furnace = furnace_of(kit, ask.furnace)
    loss = loss_of(furnace, stores)
    poured = cavity.metal_mass + _basin_outside(rigging) * metal.density_liquidus
    mass = float(rules.charge(poured, 0.0, loss.value + kit.heel))
    wall = part.least_wall if rigging.open_pour is None else rigging.open_pour.wall
    pour = pour_of(wall, metal, stores, ask)
    density = metal.density_liquidus + metal.density_slope * (pour.taken - metal.liquidus)
    needed = float(rules.pot_volume(mass, density, stores.constants["pot.usable_share"].value))
    chosen = pot_of(kit, ask.crucible, needed)
    rate = cooling_of(chosen.pot, mass, pour.taken, metal, stores)
    lift = pour.taken + rate.value * ask.carry
    band = WITH_THERMOMETER if kit.thermometer else WITHOUT_THERMOMETER
    heat = mass * heat_between(warmth_of(metal), kit.ambient, lift)
    middle = 0.5 * (furnace.efficiency_low + furnace.efficiency_high)
    energy = Span(value=heat / middle, low=heat / furnace.efficiency_high, high=heat / furnace.efficiency_low)
    gas = furnace.kind == "gas"
    melt = Melt(
        charge_mass=mass,
        poured_mass=poured,
        heel_mass=kit.heel * mass,
        loss=loss,
        pot=chosen.pot.name if chosen.serves else NO_POT,
        pot_needed_volume=needed,
        furnace=furnace.name,
        fuel="propane" if gas else "electricity",
        heat=heat,
        energy=energy,
        fuel_mass=_over(energy, stores.constants["fuel.propane_lhv"].value if gas else math.inf),
        melt_time=_over(energy, furnace.power),
        lift_temperature=Span(value=lift, low=lift - band, high=lift + band),
        pour_temperature=Span(
            value=pour.taken,
            low=pour.taken - band - (rate.high - rate.value) * ask.carry,
            high=pour.taken + band + (rate.value - rate.low) * ask.carry,
        ),
        cooling_rate=rate.value,
        pot_share=share_of(chosen.pot, mass, metal),
        gross_mass=chosen.pot.mass + mass + kit.tongs_mass,
        tray_mass=mass,
        sources=_sources(stores, gas),
    )
    most = float(rules.charge(poured, 0.0, loss.high + kit.heel))
    watch(1.0, "charge weighed")
    return dataclasses.replace(melt, findings=findings_of(melt, most, chosen, pour, furnace, part, mould, metal, stores))


def _basin_outside(rigging: Rigging) -> float:
    """Basin metal [m3] that the cavity has not weighed: that of a basin which is no body of the mould."""
    return 0.0 if any(region.name == "basin" for region in rigging.regions) else rigging.basin.volume


def _over(span: Span, by: float) -> Span:
    return Span(value=span.value / by, low=span.low / by, high=span.high / by)


def _sources(stores: Stores, gas: bool) -> tuple[Source, ...]:
    """Citations of the constants used, as the stores have them."""
    names = ["melt.loss_gas" if gas else "melt.loss_electric", "pot.usable_share", "pot.emissivity", "superheat@0.010"]
    names += ["fuel.propane_lhv"] if gas else []
    keys = dict.fromkeys(stores.constants[name].source for name in names if name in stores.constants)
    return tuple(stores.sources[key] for key in keys if key in stores.sources)
