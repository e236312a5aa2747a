"""Scalar rules of the mould."""

from __future__ import annotations

import math

from strickle.base import BadInput, Input, Output, Relation, Source, Value, rule
from strickle.stores import Stores

GRAVITY = 9.81
FLEXURAL = 1.5  # flexural over tensile strength of rammed sand; 1.3 to 1.9, memory
LOW, HIGH = 0.1, 0.9  # shares of the shops at the ends of a chance
SEAT = 0.95  # the bar over its seat reads this much high; computed


def constant(stores: Stores, name: str, used: list[Source]) -> Value:
    """The stores' datum of that name, its source noted in ``used``. Raises BadInput where there is none."""
    value = stores.constants.get(name)
    if value is None:
        raise BadInput(f"the stores hold no {name}", "Restore the package's data files")
    source = stores.sources.get(value.source)
    if source is not None and source not in used:
        used.append(source)
    return value


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


@rule(
    name="bar_strength",
    says="Flexural strength of rammed sand from a bar slid over a table's edge until it breaks",
    inputs=(
        Input(name="overhang", unit="m", says="how far it reached over the edge when it broke", low=0.01, high=0.2),
        Input(name="height", unit="m", says="height of the bar as it stands", default=0.025, low=0.015, high=0.05),
        Input(name="density", unit="kg/m3", says="rammed density", default=1600.0, low=1400.0, high=1800.0),
    ),
    outputs=(
        Output(name="flexural", unit="Pa", says="flexural strength"),
        Output(name="tensile", unit="Pa", says="green tensile strength, by the ratio of 1.5 and 5 % off for the seat"),
    ),
    formula="3 x density x gravity x overhang^2 / height; tensile = 0.95 x that / 1.5",
    relations=(Relation(says="overhang at least the height", holds=lambda v: v["overhang"] >= v["height"]),),
    source="beam theory; 0.95: our own computed check with contact; 1.5 (1.3 to 1.9) from memory, unverified",
    example='--overhang "52 mm"',
)
def bar_strength(overhang: float, height: float = 0.025, density: float = 1600.0) -> tuple[float, float]:
    """Flexural and tensile strength [Pa] of a bar of sand that broke by its own weight at ``overhang`` [m].

    A bar of 25 mm breaks at 33, 40, 52, 65, 80 mm for 2, 3, 5, 8, 12 kPa at 1600 kg/m3.

    >>> [round(bar_strength(reach)[0] / 1e3, 1) for reach in (0.033, 0.040, 0.052, 0.065, 0.080)]
    [2.1, 3.0, 5.1, 8.0, 12.1]
    >>> round(bar_strength(0.052)[1])
    3226
    """
    flexural = 3.0 * density * GRAVITY * overhang**2 / height
    return flexural, SEAT * flexural / FLEXURAL


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


def skin_stress(pressure: float, span: float, thick: float) -> float:
    """Greatest bending stress [Pa] in a square of skin held along its edges, under an even pressure [Pa].

    Source: S. Timoshenko and S. Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed., 1959, New York, clamped square plate: moment at
    the middle of an edge 0.0513 p a^2 (from memory).

    >>> round(skin_stress(2e5, 0.004, 0.0016))
    384750
    """
    return 6.0 * 0.0513 * pressure * (span / thick) ** 2


def infill_span(line: float, share: float) -> float:
    """Distance between lines of an infill laid both ways [m], from the width of a line and the share of print in it.

    >>> round(infill_span(0.0004, 0.2), 6)
    0.004
    """
    return 2.0 * line / share
