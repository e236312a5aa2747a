"""Trade formulas of melting: charge, heat, fuel, pot, cooling, hydrogen."""

from __future__ import annotations

import math

from strickle.base import STEFAN_BOLTZMANN, BadInput, Input, Output, Relation, rule
from strickle.stores import Stores

_TEMPERATURE = Input(name="temperature", unit="K", says="metal temperature", low=500.0, high=1700.0)
_DENSITY = Input(name="density", unit="kg/m3", says="density of the liquid metal", low=1500.0, high=20000.0)


@rule(
    name="charge",
    says="Metal to weigh in",
    inputs=(
        Input(name="poured_mass", unit="kg", says="metal that goes into the moulds", low=0.0),
        Input(name="heel_mass", unit="kg", says="metal left in the pot and skimmed off with the dross", default=0.0, low=0.0),
        Input(name="loss", unit="1", says="share of the charge lost as dross", default=0.03, low=0.0, high=0.85),
    ),
    outputs=(Output(name="mass", unit="kg", says="metal to weigh in"),),
    formula="mass = (poured_mass + heel_mass) / (1 - loss)",
    source="common practice; loss 3 % gas, 1 % electric: Palmer, Simple Solutions That Work, issue 20, p. 60; furnaces span 0.75-6 %: "
    "Butler (ed.), Melting and Holding Furnaces for Die Casting",
    example='--poured_mass "2.4 kg" --heel_mass "0.2 kg"',
)
def charge(poured_mass: float, heel_mass: float = 0.0, loss: float = 0.03) -> float:
    """Metal to weigh in [kg].

    >>> round(charge(1.0, 0.1, 0.03), 3)
    1.134
    """
    if loss >= 1.0:
        raise BadInput(f"a loss of {loss:g} leaves no metal", "Give the loss as a share below one")
    return (poured_mass + heel_mass) / (1.0 - loss)


@rule(
    name="melt_heat",
    says="Heat to bring a metal from one temperature to another, its latent heat counted",
    inputs=(
        Input(name="mass", unit="kg", says="metal", low=0.0),
        Input(name="metal", unit="text", says="metal by its key", default="a356"),
        Input(name="from_temperature", unit="K", says="cold end", default=298.15, low=250.0, high=1700.0),
        Input(name="to_temperature", unit="K", says="hot end", default=993.15, low=250.0, high=1700.0),
    ),
    outputs=(Output(name="heat", unit="J", says="heat into the metal; a furnace needs several times as much"),),
    formula="heat = mass * (heat of the solid + latent heat by the freezing curve + heat of the liquid)",
    source="heat capacities and latent heats of the stores (COST 507 by Ansara, Dinsdale, Rand 1998; CRC Handbook)",
    needs_stores=True,
    example='--mass "3 kg" --metal a356 --to_temperature "720 degC"',
)
def melt_heat(stores: Stores, mass: float, metal: str = "a356", from_temperature: float = 298.15, to_temperature: float = 993.15) -> float:
    """Heat [J]; negative on cooling. Raises BadInput for a metal the stores do not have."""
    from strickle.melt.heat import heat_between, warmth_in

    metal = metal.replace("gray", "grey")
    if metal not in stores.metals:
        raise BadInput(f"no metal {metal!r} in the stores", f"Take one of: {', '.join(sorted(stores.metals))}")
    return mass * heat_between(warmth_in(stores.metals[metal]), from_temperature, to_temperature)


@rule(
    name="melt_heat_given",
    says="Heat to bring a pure metal from cold to liquid with figures of your own",
    inputs=(
        Input(name="mass", unit="kg", says="metal", low=0.0),
        Input(name="solid_heat", unit="J/(kg K)", says="heat capacity of the solid, mean", low=50.0, high=2000.0),
        Input(name="latent_heat", unit="J/kg", says="heat of fusion", low=0.0, high=1e6),
        Input(name="melting_temperature", unit="K", says="melting point", low=250.0, high=2500.0),
        Input(name="to_temperature", unit="K", says="hot end", low=250.0, high=2500.0),
        Input(name="from_temperature", unit="K", says="cold end", default=298.15, low=250.0, high=2500.0),
        Input(name="liquid_heat", unit="J/(kg K)", says="heat capacity of the liquid; 0 = as the solid's", default=0.0, low=0.0, high=2000.0),
    ),
    outputs=(Output(name="heat", unit="J", says="heat into the metal; a furnace needs several times as much"),),
    formula="heat = mass (solid_heat (melting_temperature - from_temperature) + latent_heat + liquid_heat (to_temperature - melting_temperature))",
    source="Groover, Fundamentals of Modern Manufacturing, 4th ed., Hoboken 2010, ch. 10, heating the metal",
    relations=(
        Relation(
            says="from_temperature <= melting_temperature <= to_temperature",
            holds=lambda v: v["from_temperature"] <= v["melting_temperature"] <= v["to_temperature"],
        ),
    ),
    example=(
        '--mass "17.8 kg" --solid_heat "0.88 J/g/K" --latent_heat "389.3 J/g" --melting_temperature "660 degC" '
        '--to_temperature "800 degC" --from_temperature "25 degC"'
    ),
)
def melt_heat_given(
    mass: float,
    solid_heat: float,
    latent_heat: float,
    melting_temperature: float,
    to_temperature: float,
    from_temperature: float = 298.15,
    liquid_heat: float = 0.0,
) -> float:
    """Heat [J].

    >>> round(melt_heat_given(17.813, 880.0, 389.3e3, 933.15, 1073.15) / 1e6, 2)
    19.08
    """
    liquid = (liquid_heat or solid_heat) * (to_temperature - melting_temperature)
    return mass * (solid_heat * (melting_temperature - from_temperature) + latent_heat + liquid)


@rule(
    name="fuel_mass",
    says="Fuel for an amount of heat in the metal",
    inputs=(
        Input(name="heat", unit="J", says="heat into the metal", low=0.0),
        Input(name="efficiency", unit="1", says="share of the fuel's heat that reaches the metal", default=0.08, low=0.02, high=0.8),
        Input(name="heating_value", unit="J/kg", says="lower heating value; 0 = the fuel's", default=0.0, low=0.0, high=1.3e8),
        Input(name="fuel", unit="text", says="propane, butane or methane", default="propane"),
    ),
    outputs=(Output(name="mass", unit="kg", says="fuel burnt"),),
    formula="mass = heat / (efficiency * heating_value)",
    source="heating values: CRC Handbook by way of the thermo library 0.6.1; efficiency of small furnaces 5-12 % from memory, unverified",
    example='--heat "3.6 MJ" --efficiency "8 %"',
    needs_stores=True,
)
def fuel_mass(stores: Stores, heat: float, efficiency: float = 0.08, heating_value: float = 0.0, fuel: str = "propane") -> float:
    """Fuel [kg]. Raises BadInput for a fuel the stores do not have.

    >>> from strickle.stores import load
    >>> round(fuel_mass(load(), 1.2e6, 0.10), 3)
    0.259
    """
    if not heating_value:
        known = {key.removeprefix("fuel.").removesuffix("_lhv"): v.value for key, v in stores.constants.items() if key.endswith("_lhv")}
        if fuel.strip().lower() not in known:
            raise BadInput(f"no heating value is stored for {fuel!r}", f"Stored: {', '.join(sorted(known))}; or give heating_value")
        heating_value = known[fuel.strip().lower()]
    return heat / (efficiency * heating_value)


@rule(
    name="cylinder_height",
    says="Height of a round ingot, bar or pot filling of a given mass",
    inputs=(
        Input(name="mass", unit="kg", says="metal", low=0.0),
        Input(name="diameter", unit="m", says="of the cylinder", low=1e-3, high=2.0),
        Input(name="density", unit="kg/m3", says="density of the metal", low=1500.0, high=20000.0),
    ),
    outputs=(Output(name="height", unit="m", says="of the cylinder"),),
    formula="height = 4 mass / (density pi diameter^2)",
    source="geometry",
    example='--mass "12.56 kg" --diameter "10 cm" --density "7850 kg/m3"',
)
def cylinder_height(mass: float, diameter: float, density: float) -> float:
    """Height [m].

    >>> round(cylinder_height(12.56, 0.10, 7850.0), 3)
    0.204
    """
    return mass / (density * math.pi / 4.0 * diameter**2)


@rule(
    name="pot_volume",
    says="Inside volume of a pot, to the brim, that serves a charge",
    inputs=(
        Input(name="mass", unit="kg", says="charge", low=0.0),
        _DENSITY,
        Input(name="usable_share", unit="1", says="share of the pot that may be filled", default=0.8, low=0.5, high=0.9),
    ),
    outputs=(Output(name="volume", unit="m3", says="inside volume to the brim"),),
    formula="volume = mass / (density * usable_share)",
    source="usable share 0.80 to 0.85: from memory, unverified",
    example='--mass "3 kg" --density "2365 kg/m3"',
)
def pot_volume(mass: float, density: float, usable_share: float = 0.8) -> float:
    """Volume [m3].

    >>> round(pot_volume(1.0, 2365.0) * 1e3, 3)
    0.529
    """
    return mass / (density * usable_share)


@rule(
    name="pot_cooling",
    says="How fast a pot cools once it is out of the furnace, no lid, pot and metal as one lump",
    inputs=(
        Input(name="volume", unit="m3", says="inside volume to the brim", low=1e-5, high=0.05),
        Input(name="opening", unit="m", says="inside diameter at the top", low=0.02, high=0.5),
        Input(name="pot_mass", unit="kg", says="empty pot", low=0.1, high=100.0),
        Input(name="metal_mass", unit="kg", says="metal in it", low=0.0, high=300.0),
        _TEMPERATURE,
        Input(name="metal_heat", unit="J/(kg K)", says="heat capacity of the liquid", default=1160.0, low=100.0, high=2000.0),
        Input(name="pot_heat", unit="J/(kg K)", says="heat capacity of the pot", default=1000.0, low=300.0, high=1600.0),
        Input(name="ambient", unit="K", says="surroundings", default=293.15, low=250.0, high=330.0),
        Input(name="emissivity", unit="1", says="outside of the pot", default=0.8, low=0.5, high=1.0),
        Input(name="film", unit="W/(m2 K)", says="to moving air", default=15.0, low=5.0, high=40.0),
        Input(name="top_emissivity", unit="1", says="metal surface with its oxide", default=0.3, low=0.05, high=0.9),
        Input(name="wall_density", unit="kg/m3", says="pot material", default=2000.0, low=1400.0, high=8000.0),
        Input(name="wall_conductivity", unit="W/(m K)", says="pot material", default=15.0, low=1.0, high=120.0),
    ),
    outputs=(Output(name="rate", unit="K/s", says="cooling rate at that temperature"),),
    formula="rate = (outside area * (radiation + film at the wall's outside) + top area * (radiation + film)) / (metal and pot heat capacity)",
    source="Stefan and Boltzmann's law, Fourier's law in the wall; emissivity 0.8, film 15 W/(m2 K) and wall 15 W/(m K) are guesses",
    example='--volume "1.9 l" --opening "120 mm" --pot_mass "3.2 kg" --metal_mass "3.8 kg" --temperature "750 degC"',
)
def pot_cooling(
    volume: float,
    opening: float,
    pot_mass: float,
    metal_mass: float,
    temperature: float,
    metal_heat: float = 1160.0,
    pot_heat: float = 1000.0,
    ambient: float = 293.15,
    emissivity: float = 0.8,
    film: float = 15.0,
    top_emissivity: float = 0.3,
    wall_density: float = 2000.0,
    wall_conductivity: float = 15.0,
) -> float:
    """Cooling rate [K/s] at ``temperature``. The wall's thickness follows from the pot's mass.

    >>> round(pot_cooling(1.9e-3, 0.12, 3.2, 3.8, 1023.15), 2)
    0.78
    """
    top = math.pi / 4.0 * opening**2
    depth = volume / top
    wall = pot_mass / (wall_density * (math.pi * opening * depth + top))
    wide = opening + 2.0 * wall
    outside = math.pi * wide * (depth + wall) + math.pi / 4.0 * wide**2

    def flux(face: float, shine: float) -> float:
        return shine * STEFAN_BOLTZMANN * (face**4 - ambient**4) + film * (face - ambient)

    cool, hot = ambient, temperature  # the wall's outside lies between them, where what it gives off comes through the wall
    for _ in range(60):
        face = 0.5 * (cool + hot)
        if flux(face, emissivity) * wall > wall_conductivity * (temperature - face):
            hot = face
        else:
            cool = face
    loss = outside * flux(face, emissivity) + top * flux(temperature, top_emissivity)
    return loss / (metal_mass * metal_heat + pot_mass * pot_heat)


@rule(
    name="hydrogen_solubility",
    says="Hydrogen that liquid aluminium can hold",
    inputs=(
        Input(name="temperature", unit="K", says="metal temperature", low=933.0, high=1123.0),
        Input(name="pressure", unit="Pa", says="hydrogen over the metal", default=101325.0, low=0.0, high=2e5),
    ),
    outputs=(Output(name="solubility", unit="1", says="cubic centimetres at 0 degrees and one atmosphere in 100 g of metal"),),
    formula="log10 solubility = 2.72 - 2700 / temperature, times sqrt(pressure / 101325)",
    source="Talbot & Anyalebechi, Solubility of hydrogen in liquid aluminium, Mater. Sci. Technol. 4, London 1988, 1-4",
    example='--temperature "720 degC"',
)
def hydrogen_solubility(temperature: float, pressure: float = 101325.0) -> float:
    """Cubic centimetres at standard conditions in 100 g.

    >>> [round(hydrogen_solubility(t + 273.15), 2) for t in (660, 720, 800)]
    [0.67, 1.0, 1.6]
    """
    return float(10.0 ** (2.72 - 2700.0 / temperature) * math.sqrt(pressure / 101325.0))


@rule(
    name="calorimetry",
    says="Common temperature of two bodies put together without loss",
    inputs=(
        Input(name="hot_mass", unit="kg", says="hot body", low=0.0),
        Input(name="hot_heat_capacity", unit="J/(kg K)", says="of the hot body", low=1.0),
        Input(name="hot_temperature", unit="K", says="of the hot body", low=0.0),
        Input(name="cold_mass", unit="kg", says="cold body", low=0.0),
        Input(name="cold_heat_capacity", unit="J/(kg K)", says="of the cold body", low=1.0),
        Input(name="cold_temperature", unit="K", says="of the cold body", low=0.0),
        Input(name="hot_latent_heat", unit="J/kg", says="given up by the hot body if it freezes right through", default=0.0, low=0.0),
        Input(name="cold_latent_heat", unit="J/kg", says="taken up by the cold body if it melts right through", default=0.0, low=0.0),
    ),
    outputs=(Output(name="temperature", unit="K", says="of both"),),
    formula="temperature = sum(mass * (heat capacity * temperature + latent heat given up)) / sum(mass * heat capacity)",
    source="conservation of heat",
    relations=(Relation(says="hot_temperature >= cold_temperature", holds=lambda v: v["hot_temperature"] >= v["cold_temperature"]),),
    example=(
        '--hot_mass "0.2 kg" --hot_heat_capacity "900 J/kg/K" --hot_temperature "700 degC" --hot_latent_heat "395.8 kJ/kg" '
        '--cold_mass "3 kg" --cold_heat_capacity "486 J/kg/K" --cold_temperature "20 degC"'
    ),
)
def calorimetry(
    hot_mass: float,
    hot_heat_capacity: float,
    hot_temperature: float,
    cold_mass: float,
    cold_heat_capacity: float,
    cold_temperature: float,
    hot_latent_heat: float = 0.0,
    cold_latent_heat: float = 0.0,
) -> float:
    """Common temperature [K].

    >>> round(calorimetry(0.2, 900.0, 973.15, 3.0, 486.0, 293.15, 10670.0 / 0.02696) - 273.15, 2)
    143.05
    """
    hot, cold = hot_mass * hot_heat_capacity, cold_mass * cold_heat_capacity
    heat = hot * hot_temperature + cold * cold_temperature + hot_mass * hot_latent_heat - cold_mass * cold_latent_heat
    return heat / (hot + cold)
