"""Which published rule for the arm spacing holds for a metal, as factor and power of the rule that ``reckon`` gives."""

from __future__ import annotations

import math

from strickle.metal.result import ArmLaw
from strickle.metal.rules import arm_spacing
from strickle.stores import MetalRecord, Stores

SPREAD = 0.25  # physical scatter of such rules either way, common practice
LIKE_A356 = ("a356",)


def arm_law(record: MetalRecord, stores: Stores) -> ArmLaw | None:
    """The rule for this metal: aluminium with silicon and copper, or A356; None for any other."""
    if record.key in LIKE_A356:
        factor = arm_spacing(cooling_rate=1.0)
        power = math.log(arm_spacing(cooling_rate=math.e) / factor)
        return ArmLaw(by="cooling rate", factor=factor, power=power, spread=SPREAD, source=stores.sources["spear"].says)
    copper, silicon = (record.values.get(name) for name in ("copper", "silicon"))
    if record.family != "aluminium" or copper is None or silicon is None:
        return None
    factor = arm_spacing(1.0, copper=copper.value, silicon=silicon.value)
    power = math.log(arm_spacing(math.e, copper=copper.value, silicon=silicon.value) / factor)
    return ArmLaw(by="freezing time", factor=factor, power=power, spread=SPREAD, source=stores.sources["ronto"].says)
