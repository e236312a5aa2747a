"""Scalar rules of the mould."""

from __future__ import annotations

import math

from strickle.base import Input, Output, Relation, rule


@rule(
    name="sand_mass",
    says="Sand rammed into a flask",
    inputs=(
        Input(name="length", unit="m", says="inside length", low=0.0, high=2.0),
        Input(name="width", unit="m", says="inside width", low=0.0, high=2.0),
        Input(name="height", unit="m", says="cope and drag together", low=0.0, high=1.0),
        Input(name="metal_volume", unit="m3", says="metal in the mould", default=0.0, low=0.0),
        Input(name="density", unit="kg/m3", says="rammed density", default=1600.0, low=1400.0, high=1800.0),
    ),
    outputs=(Output(name="mass", unit="kg", says="rammed sand"),),
    formula="(length x width x height - metal volume) x rammed density",
    relations=(Relation(says="metal_volume within the flask", holds=lambda v: v["metal_volume"] <= v["length"] * v["width"] * v["height"]),),
    source="common practice; rammed density 1550 to 1680 kg/m3 from memory, unverified",
    example='--length "12 in" --width "9 in" --height "6 in"',
)
def sand_mass(length: float, width: float, height: float, metal_volume: float = 0.0, density: float = 1600.0) -> float:
    """Sand [kg] in a flask of the given inside sizes [m].

    >>> round(sand_mass(0.3048, 0.2286, 0.1524), 1)
    17.0
    """
    return (length * width * height - metal_volume) * density


def pull_share(pull: float, section: float, strength: float) -> float:
    """Pull on a section of sand [N] over what its green strength [Pa] holds on ``section`` [m2]; infinite for no section.

    >>> pull_share(8.0, 0.001, 8000.0)
    1.0
    """
    return pull / (section * strength) if section > 0.0 else math.inf


def side_margin(mass: float, heavy: float, light_margin: float, heavy_margin: float) -> float:
    """Sand between metal and flask wall [m]: rising from the light to the heavy margin as the metal [kg] nears ``heavy``.

    >>> side_margin(1.5, 3.0, 0.025, 0.045)
    0.035
    """
    return light_margin + (heavy_margin - light_margin) * min(1.0, mass / heavy)


def rounded_up(value: float, step: float = 0.005) -> float:
    """``value`` up to the next ``step`` [m].

    >>> round(rounded_up(0.2312), 3)
    0.235
    """
    return math.ceil(value / step - 1e-9) * step
