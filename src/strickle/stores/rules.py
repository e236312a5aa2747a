"""Tables of standards and the sand laboratory's two numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping

from strickle.base import BadInput, Input, Output, rule

# ISO 8062-3:2007, Table 2: total tolerance in mm by grade 1..16; nan where the standard gives none.
_NAN = math.nan
_STEPS = (10, 16, 25, 40, 63, 100, 160, 250, 400, 630)
_TOLERANCE = (
    (0.09, 0.13, 0.18, 0.26, 0.36, 0.52, 0.74, 1, 1.5, 2, 2.8, 4.2, _NAN, _NAN, _NAN, _NAN),
    (0.1, 0.14, 0.2, 0.28, 0.38, 0.54, 0.78, 1.1, 1.6, 2.2, 3, 4.4, _NAN, _NAN, _NAN, _NAN),
    (0.11, 0.15, 0.22, 0.3, 0.42, 0.58, 0.82, 1.2, 1.7, 2.4, 3.2, 4.6, 6, 8, 10, 12),
    (0.12, 0.17, 0.24, 0.32, 0.46, 0.64, 0.9, 1.3, 1.8, 2.6, 3.6, 5, 7, 9, 11, 14),
    (0.13, 0.18, 0.26, 0.36, 0.5, 0.7, 1, 1.4, 2, 2.8, 4, 5.6, 8, 10, 12, 16),
    (0.14, 0.2, 0.28, 0.4, 0.56, 0.78, 1.1, 1.6, 2.2, 3.2, 4.4, 6, 9, 11, 14, 18),
    (0.15, 0.22, 0.3, 0.44, 0.62, 0.88, 1.2, 1.8, 2.5, 3.6, 5, 7, 10, 12, 16, 20),
    (_NAN, 0.24, 0.34, 0.5, 0.7, 1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 14, 18, 22),
    (_NAN, _NAN, 0.4, 0.56, 0.78, 1.1, 1.6, 2.2, 3.2, 4.4, 6.2, 9, 12, 16, 20, 25),
    (_NAN, _NAN, _NAN, 0.64, 0.9, 1.2, 1.8, 2.6, 3.6, 5, 7, 10, 14, 18, 22, 28),
)
# ISO 8062:1994, Table 2: required machining allowance in mm a side by letter, from memory.
_LETTERS = "ABCDEFGHJK"
_STOCK_STEPS = (40, 63, 100, 160, 250, 400, 630)
_STOCK = (
    (0.1, 0.1, 0.2, 0.3, 0.4, 0.5, 0.5, 0.7, 1, 1.4),
    (0.1, 0.2, 0.3, 0.3, 0.4, 0.5, 0.7, 1, 1.4, 2),
    (0.2, 0.3, 0.4, 0.5, 0.7, 1, 1.4, 2, 2.8, 4),
    (0.3, 0.4, 0.5, 0.8, 1.1, 1.5, 2.2, 3, 4, 6),
    (0.3, 0.5, 0.7, 1, 1.4, 2, 2.8, 4, 5.5, 8),
    (0.4, 0.7, 0.9, 1.3, 1.8, 2.5, 3.5, 5, 7, 10),
    (0.5, 0.8, 1.1, 1.5, 2.2, 3, 4, 6, 9, 12),
)
# AFS sand-test handbook: multiplier of what stays on each sieve.
MULTIPLIERS: Mapping[str, float] = {
    "6": 3,
    "12": 5,
    "20": 10,
    "30": 20,
    "40": 30,
    "50": 40,
    "70": 50,
    "100": 70,
    "140": 100,
    "200": 140,
    "270": 200,
    "pan": 300,
}
_CENTIMETRE, _GRAM_FORCE, _MINUTE = 1e-2, 98.0665, 60.0


def _row(length: float, steps: tuple[int, ...]) -> int:
    """The row whose range "over ... up to and including ..." holds ``length`` [m]."""
    if not 0 < length <= steps[-1] * 1e-3 * (1 + 1e-9):
        raise BadInput(f"the table runs from 0 to {steps[-1]} mm", "Take the standard's own page for longer pieces")
    return next(i for i, step in enumerate(steps) if length <= step * 1e-3 * (1 + 1e-9))


@rule(
    name="cast_tolerance",
    says="Total linear tolerance of a casting (the whole band, half to each side)",
    inputs=(
        Input(name="length", unit="m", says="nominal length as cast", low=0.0, high=0.63),
        Input(name="grade", unit="1", says="tolerance grade, 1 to 16; sand moulded by hand in light metal 11 to 13", low=1.0, high=16.0),
        Input(
            name="finer_small",
            unit="1",
            says="1 = single castings moulded by hand: small lengths take a finer grade (to 10 mm three, to 16 two, to 25 one)",
            default=0.0,
            low=0.0,
            high=1.0,
        ),
    ),
    outputs=(Output(name="tolerance", unit="m", says="whole band"), Output(name="grade", unit="1", says="grade used")),
    formula="table by nominal length and grade",
    source="ISO 8062-3:2007, Table 2 (400 to 630 mm, grades 14 to 16 from memory, unverified); finer grades: ISO/CD 8062-2, Table A.2 note 2",
    example='--length "80 mm" --grade 12',
)
def cast_tolerance(length: float, grade: float, finer_small: float = 0.0) -> tuple[float, float]:
    """Tolerance band [m] and the grade it stands for. Raises BadInput where the standard gives none.

    >>> round(cast_tolerance(0.080, 12)[0] * 1e3, 3), round(cast_tolerance(0.012, 12, 1)[0] * 1e3, 3)
    (6.0, 2.2)
    """
    if grade != int(grade) or not 1 <= grade <= 16:
        raise BadInput(f"tolerance grade {grade:g} does not exist", "Grades are whole numbers from 1 to 16")
    row = _row(length, _STEPS)
    used = int(grade) - (max(3 - row, 0) if finer_small else 0)
    value = _TOLERANCE[row][used - 1] if used >= 1 else _NAN
    if math.isnan(value):
        raise BadInput(f"the standard gives no tolerance of grade {used} at this length", "Take a grade the table holds")
    return value * 1e-3, float(used)


@rule(
    name="machining_stock",
    says="Stock to leave for machining on each machined side",
    inputs=(
        Input(name="length", unit="m", says="largest size of the finished casting", low=0.0, high=0.63),
        Input(name="grade", unit="text", says="letter A to K without I; sand moulded by hand in light metal F to H"),
    ),
    outputs=(Output(name="stock", unit="m", says="for each machined side"),),
    formula="table by largest size and letter",
    source="ISO 8062:1994, Table 2 (from memory, unverified)",
    example='--length "80 mm" --grade G',
)
def machining_stock(length: float, grade: str) -> float:
    """Stock [m] a side.

    >>> round(machining_stock(0.080, "G") * 1e3, 3)
    1.4
    """
    letter = str(grade).strip().upper()
    if len(letter) != 1 or letter not in _LETTERS:
        raise BadInput(f"machining grade {grade!r} does not exist", "Letters run from A to K without I")
    return _STOCK[_row(length, _STOCK_STEPS)][_LETTERS.index(letter)] * 1e-3


@rule(
    name="grain_fineness",
    says="AFS grain fineness number from a sieve analysis",
    inputs=(
        Input(name="retained", unit="pairs", says="mass left on each sieve, as 20=0.3, 30=1.8, ..., pan=0.4; any one unit of mass"),
        Input(name="multipliers", unit="pairs", says="multipliers that differ from the standard ones, as 200=145", default=""),
    ),
    outputs=(
        Output(name="number", unit="1", says="grain fineness number"),
        Output(name="product", unit="1", says="sum of mass and multiplier, masses taken as shares of a hundred"),
        Output(name="grain", unit="m", says="grain size that goes with it, 14.9 mm over the number (from memory, unverified)"),
    ),
    formula="sum(mass * multiplier) / sum(mass)",
    source="AFS sand-test handbook (multipliers 6, 12 and 200 from memory, unverified); worked on a sand laboratory's sheet of 2011",
    example='--retained "50=18.2, 70=5.6, 100=11.9, 140=13.9, pan=0.4"',
)
def grain_fineness(retained: Mapping[str, float], multipliers: Mapping[str, float] | None = None) -> tuple[float, float, float]:
    """Number, sum of products for a hundred of sand, and grain size [m].

    >>> round(grain_fineness({"70": 50.0, "100": 50.0})[0], 1)
    60.0
    """
    table = {**MULTIPLIERS, **(multipliers or {})}
    unknown = [sieve for sieve in retained if sieve not in table]
    total = sum(retained.values())
    if unknown or total <= 0 or min(retained.values()) < 0:
        raise BadInput(
            f"sieve {unknown[0]} is not one of the set" if unknown else "the masses must add to more than nothing",
            f"Sieves: {', '.join(table)}",
        )
    number = sum(mass * table[sieve] for sieve, mass in retained.items()) / total
    return number, 100.0 * number, 14.9e-3 / number


@rule(
    name="permeability_number",
    says="AFS permeability number of a rammed specimen",
    inputs=(
        Input(name="pressure", unit="Pa", says="air pressure over the specimen", low=10.0, high=5000.0),
        Input(name="time", unit="s", says="for the air to pass", low=0.5, high=3600.0),
        Input(name="volume", unit="m3", says="air passed", default=2e-3, low=1e-4, high=1e-2),
        Input(name="height", unit="m", says="of the specimen", default=0.0508, low=0.01, high=0.2),
        Input(name="diameter", unit="m", says="of the specimen", default=0.0508, low=0.01, high=0.2),
    ),
    outputs=(Output(name="number", unit="1", says="permeability number"),),
    formula="volume height / (pressure area time) in cm3, cm, g/cm2, cm2, min; 501.28 / (p t) for the standard specimen",
    source="AFS permeability definition (specimen and volume read, formula from memory, unverified)",
    example='--pressure "5 g/cm2" --time "85 s"',
)
def permeability_number(pressure: float, time: float, volume: float = 2e-3, height: float = 0.0508, diameter: float = 0.0508) -> float:
    """Permeability number.

    >>> round(permeability_number(5 * 98.0665, 85.0), 2)
    70.77
    """
    area = math.pi / 4 * (diameter / _CENTIMETRE) ** 2
    return volume / _CENTIMETRE**3 * (height / _CENTIMETRE) / (pressure / _GRAM_FORCE * area * time / _MINUTE)
