"""F3, F4 as fields of a freezing, and F6: the dimensionless Niyama value's signs and units.

F3's and F4's formulas are worked out here from a cell's own times; F6's porosity curves have not been seen by us, so only its form is held.
"""

from __future__ import annotations

import numpy as np

from outside import Row, case
from outside.columns import COLD, MEDIUM, METAL, SAND, balanced
from outside.metals import metal
from outside.reckoned import RONTO, SPEAR
from strickle import Grid, freeze
from strickle.sound import criteria, rules

CARLSON = "Carlson & Beckermann, Metall. Mater. Trans. A 40, 2009, 163-175 (abstract read, form from memory)"


def local_times(key: str) -> np.ndarray:
    """Local freezing times [s] of an eighth of a plate of a stored metal in sand, 720 degC or so."""
    own = metal(key)
    tags = np.full((22, 22, 20), MEDIUM, np.uint8)
    tags[:8, :8, :4] = METAL
    grid = Grid(tags=tags, cell=0.0025, origin=np.zeros(3))
    start = {METAL: own.liquidus + 100.0, MEDIUM: COLD}
    told = balanced(freeze(grid, {METAL: own, MEDIUM: SAND}, start=start, contact={(METAL, MEDIUM): 1000.0}))
    return np.asarray(told.time_to_solidus - told.time_to_liquidus)


def spread(name: str, theirs: np.ndarray, ours: np.ndarray) -> list[Row]:
    """Least and greatest spacing of a field [um], to the accuracy of the field's numbers."""
    return [
        Row(f"{name}, {word}", 1e6 * pick(theirs), 1e6 * pick(ours), 1e-5, "um", relative=True)
        for word, pick in (("finest", np.nanmin), ("coarsest", np.nanmax))
    ]


@case("F3", RONTO)
def spacing_field_by_time() -> list[Row]:
    local = local_times("a319")
    return spread("A319 plate (3.5 Cu, 6 Si)", 34.9e-6 * 3.5**-0.333 * 6.0**-0.145 * local**0.208, criteria.arms(local, metal("a319")))


@case("F4", SPEAR)
def spacing_field_by_rate() -> list[Row]:
    local, own = local_times("a356"), metal("a356")
    return spread("A356 plate", 39.4e-6 * ((own.liquidus - own.solidus) / local) ** -0.317, criteria.arms(local, own))


POWERS = {
    "gradient": 1.0, "arm_spacing": 1.0, "pressure_drop": 0.5, "viscosity": -0.5, "shrinkage": -0.5, "freezing_range": -0.5, "cooling_rate": -0.5,
}  # fmt: skip
UNITS = {  # each measured in a unit a thousand times smaller
    "metre": {"gradient": 1e-3, "arm_spacing": 1e3},
    "kelvin": {"gradient": 1e3, "cooling_rate": 1e3, "freezing_range": 1e3},
    "second": {"cooling_rate": 1e-3, "viscosity": 1e3},
    "pascal": {"pressure_drop": 1e3, "viscosity": 1e3},
}


@case("F6", CARLSON)
def dimensionless() -> list[Row]:
    """Ny* = G l sqrt(dP) / (sqrt(mu beta dT) sqrt(rate)): more pressure or gradient is good, the rest bad, and no unit is left."""
    base = dict(zip(POWERS, (800.0, 50e-6, 1e5, 1.2e-3, 0.06, 58.0, 0.4), strict=True))
    one = rules.dimensionless_niyama(**base)
    by_hand = 800.0 * 50e-6 * 1e5**0.5 / ((1.2e-3 * 0.06 * 58.0) ** 0.5 * 0.4**0.5)
    rows = [Row("value", by_hand, one, 1e-9, "1", relative=True)]
    for name, power in POWERS.items():
        four = rules.dimensionless_niyama(**base | {name: 4.0 * base[name]})
        rows.append(Row(f"{name.replace('_', ' ')} times 4", 4.0**power, four / one, 1e-9, "1", relative=True))
    for unit, change in UNITS.items():
        other = rules.dimensionless_niyama(**base | {k: v * base[k] for k, v in change.items()})
        rows.append(Row(f"{unit} a thousand times smaller", 1.0, other / one, 1e-9, "1", relative=True))
    return rows
