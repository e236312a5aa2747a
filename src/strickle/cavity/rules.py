"""Forces on the closed mould."""

from __future__ import annotations

import math

from strickle.base import Input, Output, Relation, rule

GRAVITY = 9.81


@rule(
    name="metal_lift",
    says="Upward force of the liquid metal on a cope face, flat or domed",
    inputs=(
        Input(name="area", unit="m2", says="area of the face seen from above (not along its slope)", low=0.0),
        Input(name="head", unit="m", says="height of the metal's top over the face; for a curved face over its rim", low=0.0),
        Input(name="metal_density", unit="kg/m3", says="density of the liquid metal", low=500.0, high=20000.0),
        Input(name="volume_below", unit="m3", says="metal between the rim's level and a face that domes up; 0 = flat", default=0.0, low=0.0),
    ),
    outputs=(Output(name="force", unit="N", says="upward force"),),
    formula="density x g x (head x area - volume_below)",
    relations=(Relation(says="volume_below <= area x head", holds=lambda v: v["volume_below"] <= v["area"] * v["head"]),),
    source="hydrostatics; flat face as in Shop Practice vol. 1, Moulding work (public-domain text)",
    example='--area "300 cm2" --head "100 mm" --metal_density "2380 kg/m3"',
)
def metal_lift(area: float, head: float, metal_density: float, volume_below: float = 0.0) -> float:
    """Metallostatic force [N] on ``area`` [m2] under ``head`` [m] of metal, less the weight of metal that stands above the rim's level.

    >>> round(metal_lift(0.2 * 0.15, 0.1, 2380.0), 1)
    70.0
    """
    return metal_density * GRAVITY * (head * area - volume_below)


@rule(
    name="core_lift",
    says="Net upward force on a core wholly under metal",
    inputs=(
        Input(name="volume", unit="m3", says="volume of the core in the metal", low=0.0),
        Input(name="metal_density", unit="kg/m3", says="density of the liquid metal", low=500.0, high=20000.0),
        Input(name="core_density", unit="kg/m3", says="density of the core", low=500.0, high=8000.0),
    ),
    outputs=(Output(name="force", unit="N", says="upward force; the core's own weight taken off"),),
    formula="volume x g x (metal density - core density)",
    source="Archimedes' principle; worked example in Rao, Manufacturing Technology: Foundry, Forming and Welding, New Delhi 1998",
    example='--volume "785.4 cm3" --metal_density "2600 kg/m3" --core_density "1600 kg/m3"',
)
def core_lift(volume: float, metal_density: float, core_density: float) -> float:
    """Buoyancy less weight [N] of a core of ``volume`` [m3].

    >>> import math
    >>> round(core_lift(math.pi / 4 * 0.1**3, 2600.0, 1600.0), 1)
    7.7
    """
    return volume * GRAVITY * (metal_density - core_density)


def core_stress(force: float, span: float, width: float, prints: int) -> float:
    """Greatest bending stress [Pa] in a round core of ``width`` [m] that ``force`` [N] lifts evenly over ``span`` [m].

    Held at both ends it is a beam on two supports, moment force x span/8; at one a bracket, force x span/2 (common practice).

    >>> round(core_stress(2.0, 0.1, 0.02, 2)), round(core_stress(2.0, 0.1, 0.02, 1))
    (31831, 127324)
    """
    moment = force * span / (8.0 if prints > 1 else 2.0)
    return 32.0 * moment / (math.pi * width**3)


@rule(
    name="hold_down_weight",
    says="Weight to lay on the cope",
    inputs=(
        Input(name="metal_lift", unit="N", says="lift of the metal", low=0.0),
        Input(name="core_lift", unit="N", says="lift of the cores", default=0.0, low=0.0),
        Input(name="cope_weight", unit="N", says="weight of the cope's own sand", default=0.0, low=0.0),
        Input(name="factor", unit="1", says="factor on the lift; 1 = none", default=1.5, low=1.0, high=3.0),
    ),
    outputs=(Output(name="force", unit="N", says="weight to lay on; 0 where the sand alone holds"),),
    formula="factor x (metal lift + core lift) - cope weight, not under 0",
    source="Rao, Manufacturing Technology: Foundry, Forming and Welding, New Delhi 1998; factor 1.5 from memory, unverified",
    example='--metal_lift "16 lbf" --core_lift "2 lbf" --cope_weight "18 lb"',
)
def hold_down_weight(metal_lift: float, core_lift: float = 0.0, cope_weight: float = 0.0, factor: float = 1.5) -> float:
    """Weight [N] that keeps the cope down.

    >>> round(hold_down_weight(3469.5, 857.2, 1650.0, 1.0), 1)
    2676.7
    """
    return max(0.0, factor * (metal_lift + core_lift) - cope_weight)


def pressure_lift(top: float, height: float, density: float, area: float) -> float:
    """Lift [N] on a face at ``height`` under metal whose free top stands at ``top`` [m].

    >>> pressure_lift(0.1, 0.1, 2400.0, 1.0)
    0.0
    """
    return density * GRAVITY * max(0.0, top - height) * area
