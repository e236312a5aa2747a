"""How to print what is rammed: the layer against the sand's grain, the skin against the pressure of ramming.

The pressure that stays in the sand is what is known; that of a single blow is not, so the skin is given many times the strength it needs
and the rammer is kept off the print.
"""

from __future__ import annotations

from strickle.base import Source
from strickle.mould.result import Printing
from strickle.mould.rules import constant, infill_span, skin_stress
from strickle.stores import SandRecord, Stores


def printing(sand: SandRecord, stores: Stores, used: list[Source]) -> Printing:
    """Advice for all pieces, from the kit's layer, the sand's fineness and the stores."""
    number = sand.values.get("grain_fineness")
    grain = None if number is None else constant(stores, "sand.grain_times_fineness", used).value / number.value
    pressure = constant(stores, "draw.wall_pressure", used).high / constant(stores, "draw.side_pressure_ratio", used).low
    wall, infill = constant(stores, "print.wall", used).value, constant(stores, "print.infill", used).value
    span = infill_span(constant(stores, "print.line", used).value, infill)
    return Printing(
        layer=stores.kit.layer,
        roughness=constant(stores, "print.scallop_over_layer", used).value * stores.kit.layer,
        grain=grain,
        wall=wall,
        infill=infill,
        span=span,
        pressure=pressure,
        stress=skin_stress(pressure, span, wall),
        strength=constant(stores, "print.strength", used).low,
        density=constant(stores, "print.density", used).value,
        softens=constant(stores, "print.pla_soft", used).value,
    )
