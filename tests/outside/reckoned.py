"""Published worked examples and tables through ``strickle.reckon``, under the names that outsiders use (CONTRACT.md).

Each stands with author, title, year and place, how we know it (read, from memory, computed from the formula given) and a tolerance.
"""

from __future__ import annotations

import collections
import dataclasses
import math
from typing import Any

import strickle
from outside import Row, case

CM, CM2, CM3, MM2, INCH, POUND, MINUTE = 1e-2, 1e-4, 1e-6, 1e-6, 0.0254, 0.45359237, 60.0
GRAVITY = 9.81  # as the books take it
GROOVER = "Groover, Fundamentals of Modern Manufacturing, 4th ed., 2010, ch. 10"
RAO = "Rao, Manufacturing Technology: Foundry, Forming and Welding, 1998 (year from memory), ch. on risering (data from memory, answers computed)"


@dataclasses.dataclass(frozen=True)
class Check:
    """One published answer."""

    number: str
    rule: str
    inputs: dict[str, Any]
    answer: float  # SI
    tolerance: float  # relative, or in the unit of the answer
    source: str
    output: str = ""
    absolute: bool = False

    def row(self, name: str) -> Row:
        """Asked, and beside theirs."""
        told = strickle.reckon(self.rule, **self.inputs)
        assert told.formula
        assert told.source
        assert told.range
        value, unit = told.values[self.output] if self.output else (told.value, told.unit)
        return Row(name, self.answer, value, self.tolerance, unit, relative=not self.absolute)


def check(number: str, rule: str, answer: float, tolerance: float, source: str, output: str = "", *, absolute: bool = False, **inputs: Any) -> Check:
    return Check(number, rule, inputs, answer, tolerance, source, output, absolute)


SPRUE = f"{GROOVER}, example on pouring calculations (problem read, answer from memory)"
PLATE = f"{GROOVER}, example on riser design (read in full)"
SHAPES = f"{GROOVER}, problem on three shapes (read)"
CUBE = "problem of the kind in DeGarmo, Materials and Processes in Manufacturing, question-and-answer page (read)"
GATE7 = "Graduate Aptitude Test in Engineering 2007, study page (flow read, time computed)"
GHOSH = "Ghosh & Mallik, Manufacturing Science, 1986, ch. 2 example (from memory, computed again)"
CORE = "Graduate Aptitude Test in Engineering, sand core in aluminium, examination page (read)"
PIPE = "Rao, Manufacturing Technology: Foundry, Forming and Welding, 1998 (year from memory), iron pipe (read)"
SHOP = "Shop Practice vol. 1, Moulding work, public-domain text (read; the lift computed)"
CAINE = "constants of Caine, Trans. AFS 1949, in Rao's table (from memory, answer computed)"
FEED = "Campbell, Complete Casting Handbook, 2011, feeding rule on volume (from memory)"
TORRICELLI = "Bernoulli and Torricelli, computed at 30 digits (reference set, C11)"

PIPE_METAL, PIPE_SAND = 0.0771e6 / GRAVITY, 0.0165e6 / GRAVITY  # kg/m3 from N/cm3
IRON = 0.26 * POUND / INCH**3
KELVIN = 273.15
SPRUE_DOWN = "Kalpakjian & Schmid, Manufacturing Engineering and Technology, 4th ed., 2001, sprue example (from memory, computed again)"
BODIES = "Kalpakjian & Schmid, as above, solidification times for various shapes (from memory, computed again)"
DISK = f"{GROOVER}, problem on heating the metal (answer from memory)"
STUDY = "the same disk with other figures, study page (read)"
SURFACE = "surface tension against weight, computed at 30 digits (reference set, C12)"
CHANNEL = "Bélanger's jump and linear waves, computed at 30 digits (reference set, C12)"
NIST = "NIST-JANAF, Shomate equation for aluminium as in the WebBook (coefficients read in the chemicals package, values computed)"
BTU_POUND = 2326.0  # J/kg
DISK_GIVEN = {"mass": 17.813, "melting_temperature": 660 + KELVIN, "from_temperature": 25 + KELVIN, "to_temperature": 800 + KELVIN}
PURE = {"mass": 1.0, "metal": "al_pure", "from_temperature": 25 + KELVIN}
FLOW, TOP = 0.01 / 60, math.pi / 4 * 0.020**2  # m3/s, m2
ALUMINIUM = {"surface_tension": 1.05, "density": 2385.0}
SLAB = {"casting_volume": 3125 * CM3, "casting_area": 1750 * CM2}

EXACT = 1e-12
CUBE_LEFT = "examination paper of 2011 (read on two pages)"
PERMEABILITY = "AFS definition; Rao, Manufacturing Technology (from memory, computed again)"
SAND_SHEET = "a sand-testing laboratory's sheet of 2011 (read)"
SHEET = {"20": 0.3, "30": 1.81, "40": 39.55, "50": 18.18, "70": 5.56, "100": 11.88, "140": 13.90, "200": 6.53, "270": 1.92, "pan": 0.37}
TOLERANCES = "ISO 8062-3:2007, Table 2 (read; last row's grades 14 to 16 from memory)"
BANDS = (
    (10, 1, 0.09), (10.1, 10, 2.2), (16, 12, 4.4), (25, 13, 6), (40, 9, 1.8), (63, 12, 5.6), (80, 11, 4.4), (100, 12, 6), (160, 13, 10),
    (250, 2, 0.24), (400, 11, 6.2), (630, 4, 0.64), (630, 16, 28),
)  # fmt: skip
DRAFT = "ISO/CD 8062-2, Table A.2 note 2 (draft page, read): to 10 mm three, to 16 two, to 25 one grade finer"
FINER = ((8, 9), (12, 10), (20, 11), (30, 12))
STOCK = "ISO 8062:1994, Table 2 (from memory)"
STOCKS = ((40, "A", 0.1), (63, "F", 0.5), (80, "G", 1.4), (160, "H", 3), (250, "K", 8), (400, "J", 7), (630, "E", 2.2), (630, "K", 12))
WESTERMANN = "Westermann Tables for the Metal Trade, table of shrinkage; linear (read)"
CONTRACTIONS = {
    "aluminium": 1.25, "bronze": 1.5, "brass": 1.5, "gun_metal": 1.5, "zinc": 1.5, "copper": 1.0, "grey_iron": 1.0, "tin": 1.0, "lead": 1.0,
    "malleable": 1.6, "steel": 2.0,
}  # fmt: skip
SHEET_319 = "319.0 patternmaker's shrinkage, data sheet of an alloy page (read)"
MULTIPLIER = "AFS sand-test handbook (6, 12 and 200 from memory)"
MULTIPLIERS = {"6": 3, "12": 5, "20": 10, "30": 20, "40": 30, "50": 40, "70": 50, "100": 70, "140": 100, "200": 140, "270": 200, "pan": 300}
RONTO = "Ronto & Roosz, Int. J. Cast Metals Res. 13, 2001, 337-342 (abstract read, values computed)"
ARMS = (("freezing_time", 60.0, 41.56), ("freezing_time", 200.0, 53.39), ("cooling_rate", 0.5, 62.22), ("cooling_rate", 0.1, 93.34))
SPEAR = "Spear & Gardner, AFS Trans. 71, 1963 (fitted form, from memory)"

CHECKS = [
    check("A1", "fall_speed", 198.1 * CM, 1e-3, SPRUE, height=20 * CM),
    check("A1", "flow_rate", 495 * CM3, 1e-3, SPRUE, height=20 * CM, base_area=2.5 * CM2),
    check("A1", "fill_time_top", 3.2, 2e-2, SPRUE, volume=1560 * CM3, height=20 * CM, base_area=2.5 * CM2),
    check("A2", "modulus", 187.5 / 267.5 * CM, 5e-3, PLATE, volume=187.5 * CM3, area=267.5 * CM2),
    check("A2", "mould_constant", 3.26 * MINUTE / CM**2, 5e-3, PLATE, time=1.6 * MINUTE, modulus=187.5 / 267.5 * CM, exponent=2.0),
    check(
        "A2", "riser_size_modulus", 4.702 * CM, 5e-3, PLATE,
        casting_modulus=187.5 / 267.5 * CM, casting_time=1.6 * MINUTE, riser_time=2.0 * MINUTE, exponent=2.0, height_to_diameter=1.0,
    ),
    check("A3", "modulus", 1.667 * CM, 1e-3, SHAPES, volume=math.pi / 6 * 10**3 * CM3, area=math.pi * 10**2 * CM2),
    check("A3", "modulus", 1.667 * CM, 1e-3, SHAPES, volume=math.pi / 4 * 10**3 * CM3, area=1.5 * math.pi * 10**2 * CM2),
    check("A3", "modulus", 1.667 * CM, 1e-3, SHAPES, volume=1000 * CM3, area=600 * CM2),
    check("A3", "freezing_time", 9.72 * MINUTE, 1e-3, SHAPES, mould_constant=3.5 * MINUTE / CM**2, modulus=10 / 6 * CM, exponent=2.0),
    check(
        "A5", "freezing_time", 4.735 * MINUTE, 1e-3, CUBE,
        mould_constant=14.5 * MINUTE / (4 * INCH / 6) ** 2, modulus=64 / 168 * INCH, exponent=2.0,
    ),
    check("A6", "sprue_base_area", 540 * MM2, 2e-3, f"{GROOVER}, problem on the downsprue (read)", flow=1e-3, height=0.175),
    check("A7", "flow_rate", 173_942e-9, 1e-4, GATE7, height=0.25, base_area=math.pi / 4 * 0.010**2),
    # printed as 5.75; to 0.01 % the cube over the flow computed for the same task is 5.749
    check("A7", "fill_time_top", 1e-3 / 173_944e-9, 1e-4, GATE7, volume=1e-3, height=0.25, base_area=math.pi / 4 * 0.010**2),
    check("A8", "fill_time_top", 21.86, 5e-4, GHOSH, volume=18_750 * CM3, height=0.15, base_area=5 * CM2),
    check("A8", "fill_time_bottom", 43.71, 5e-4, GHOSH, mould_area=1250 * CM2, mould_height=0.15, gate_area=5 * CM2, head=0.15),
    check("A10", "core_lift", 7.7, 5e-3, CORE, volume=math.pi / 4 * 0.1**3, metal_density=2600.0, core_density=1600.0),
    check("A11", "core_lift", 856.7, 1e-3, PIPE, volume=14137.2 * CM3, metal_density=PIPE_METAL, core_density=PIPE_SAND),
    check("A11", "metal_lift", 3469.5, 1e-3, PIPE, area=0.125 * 1.80, head=0.20, metal_density=PIPE_METAL),
    check("A11", "hold_down_weight", 2676.7, 1e-3, PIPE, metal_lift=3469.5, core_lift=856.7, cope_weight=1650.0, factor=1.0),
    check("A12", "metal_lift", 78.4 * POUND * GRAVITY, 5e-3, SHOP, area=50.266 * INCH**2, head=6 * INCH, metal_density=IRON),
    check("A12", "metal_lift", 1.56 * POUND * GRAVITY, 5e-3, SHOP, area=INCH**2, head=6 * INCH, metal_density=IRON),
    check(
        "A17", "riser_size_modulus", 12.86 * CM, 2e-3, RAO,
        casting_modulus=3125 / 1750 * CM, casting_time=1.0, riser_time=1.2**2, exponent=2.0, height_to_diameter=1.0,
    ),
    check(
        "A17", "riser_size_shape_factor", 13.18 * CM, 2e-3, RAO,
        length=0.25, width=0.25, thickness=0.05, casting_volume=3125 * CM3, volume_ratio=0.575,
    ),
    # the one chart point that could be read. A17 has the same ratio at a shape factor of 10, from memory; asked plainly the rule gives 0.457
    # there and misses A17 by 8 % in diameter (the next test), so above the ratio is given
    check(
        "A17", "riser_size_shape_factor", 0.575, 2e-2, "lecture notes on the design of risers, after Rao's figure (read; author not named)",
        "volume_ratio", length=0.25, width=0.125, thickness=0.05,
    ),
    check("A17", "riser_size_freezing_ratio", 12.85 * CM, 2e-3, RAO, **SLAB, a=0.10, b=0.03, c=1.00),
    check("A17", "riser_size_freezing_ratio", 1.199, 2e-3, RAO, "freezing_ratio", **SLAB, a=0.10, b=0.03, c=1.00),
    check("A17", "riser_size_freezing_ratio", 0.533, 2e-3, RAO, "volume_ratio", **SLAB, a=0.10, b=0.03, c=1.00),
    check("A18", "riser_size_freezing_ratio", 13.42 * CM, 2e-3, CAINE, **SLAB, a=0.10, b=0.03, c=1.08),
    check("A18", "riser_size_freezing_ratio", 13.42 * CM, 2e-3, CAINE, **SLAB, metal="aluminium"),
    check("A18", "riser_size_freezing_ratio", 12.85 * CM, 2e-3, CAINE, **SLAB, metal="steel"),
    check("A19", "riser_volume_efficiency", 1.0, 1e-12, FEED, casting_volume=1.0, shrinkage=0.07, efficiency=0.14),
    check("A19", "riser_volume_efficiency", 3 / 11, 1e-12, FEED, casting_volume=1.0, shrinkage=0.03, efficiency=0.14),
    check("A4", "freezing_time", 0.04276, 1e-2, BODIES, mould_constant=1.0, modulus=1 / (36 * math.pi) ** (1 / 3), exponent=2.0),
    check("A4", "freezing_time", 0.02778, 1e-2, BODIES, mould_constant=1.0, modulus=1 / 6, exponent=2.0),
    check("A4", "freezing_time", 0.03263, 1e-2, BODIES, mould_constant=1.0, modulus=1 / (54 * math.pi) ** (1 / 3), exponent=2.0),
    check("A9", "reynolds_number", 0.53, 1e-2, SPRUE_DOWN, "speed", flow=FLOW, diameter=0.020, density=2700.0, viscosity=0.004),
    check("A9", "reynolds_number", 2.05, 1e-2, SPRUE_DOWN, "speed", flow=FLOW, diameter=0.01017, density=2700.0, viscosity=0.004),
    # the book divides with 10 mm but keeps the speed of 10.17 mm; at its true diameter 2 % more, within its 3 %
    check("A9", "reynolds_number", 13_800, 3e-2, SPRUE_DOWN, "number", flow=FLOW, diameter=0.01017, density=2700.0, viscosity=0.004),
    check("A9", "reynolds_number", 14_081, 1e-3, SPRUE_DOWN, "number", flow=FLOW, diameter=0.01017, density=2700.0, viscosity=0.004),
    check(
        "A9", "sprue_taper_area", math.pi / 4 * 0.01017**2, 1e-2, SPRUE_DOWN,
        top_area=TOP, head_above_top=(FLOW / TOP) ** 2 / (2 * GRAVITY), height=0.200,
    ),
    check(
        "A13", "melt_heat_given", 19.08e6, 1e-3, DISK,
        solid_heat=880.0, latent_heat=389.3e3, **DISK_GIVEN,
    ),
    check(
        "A13", "melt_heat_given", 1.95e7, 1e-3, STUDY,
        solid_heat=900.0, latent_heat=398e3, **DISK_GIVEN,
    ),
    check("A13", "melt_heat", 21.87e6, 5e-3, NIST, mass=17.81, metal="al_pure", from_temperature=25 + KELVIN, to_temperature=800 + KELVIN),
    check("C12", "oxide_drop_height", 13.39818e-3, 1e-6, SURFACE, **ALUMINIUM),
    check("C12", "critical_gate_speed", 0.5127108, 1e-6, SURFACE, **ALUMINIUM),
    check("C12", "entry_head", 44.87784e-3, 1e-6, SURFACE, **ALUMINIUM, width=2e-3),
    check("C12", "least_slot", 2e-3, 1e-6, SURFACE, surface_tension=1.05, pressure=2385.0 * GRAVITY * 44.87784e-3),
    *(
        check("C14", "melt_heat", kilojoules * 1e3, 5e-3, NIST, **PURE, to_temperature=celsius + KELVIN)
        for celsius, kilojoules in ((659.8, 666.4856), (660.4, 666.4856 + 396.9437), (700, 1110.12), (720, 1133.66), (750, 1168.96), (800, 1227.80))
    ),
    check(
        "C14", "melt_heat", 396.9437e3, 5e-3, f"{NIST}: fusion",
        **{**PURE, "from_temperature": 659.8 + KELVIN}, to_temperature=660.3 + KELVIN,
    ),
    check(
        "C14b", "melt_heat", 500 * BTU_POUND, 1e-2, "foundry rule of thumb, 500 Btu/lb to 1370 degF (read; author not named)",
        **PURE, to_temperature=(1370 - 32) / 1.8 + KELVIN,
    ),
    # the second rule names no temperature; 750 degC is ours
    check(
        "C14b", "melt_heat", 505 * BTU_POUND, 1e-2, "1.01 million Btu a ton, theoretical (read; author not named)",
        **PURE, to_temperature=750 + KELVIN,
    ),
    *(
        check("C12", "hydraulic_jump", answer, 1e-6, CHANNEL, output, depth=1.0, speed=froude * math.sqrt(GRAVITY))
        for froude, output, answer in (
            (2, "depth_behind", 2.372281), (3, "depth_behind", 3.772002), (2, "loss", 0.2723349), (3, "loss", 1.411720),
        )
    ),
    check("C12", "slosh_period", 0.5285240, 1e-6, CHANNEL, length=0.2, depth=0.1),
    check("C11", "sprue_taper_area", 1 / 2.236068, 1e-3, TORRICELLI, top_area=1.0, head_above_top=0.04, height=0.16),
    check("C11", "sprue_top_gauge_pressure", -3743.5, 1e-3, TORRICELLI, height=0.16, density=2385.0),
    # from 0.02 % up as printed
    check("A14", "shrunk_length", 48.32e-3, 2e-4, CUBE_LEFT, length=0.050, solidification=0.04, solid=0.06),
    check("A15", "permeability_number", 70.77, 1e-3, PERMEABILITY, pressure=5 * 98.0665, time=85.0),
    # the sheet takes 145 on sieve 200; the standard multiplier 140 gives 58.62 (computed)
    check("A16", "grain_fineness", 58.94, 0.05, SAND_SHEET, absolute=True, retained=SHEET, multipliers={"200": 145}),
    check("A16", "grain_fineness", 5894.35, 0.5, SAND_SHEET, "product", absolute=True, retained=SHEET, multipliers={"200": 145}),
    check("A16", "grain_fineness", 58.62, 0.05, f"{SAND_SHEET}, standard multiplier (computed)", absolute=True, retained=SHEET),
    *(check("B1", "cast_tolerance", band * 1e-3, EXACT, TOLERANCES, length=mm * 1e-3, grade=grade) for mm, grade, band in BANDS),
    check("B4", "cast_tolerance", 2.2e-3, EXACT, DRAFT, length=0.012, grade=12, finer_small=1),
    *(check("B4", "cast_tolerance", g, EXACT, DRAFT, "grade", length=mm * 1e-3, grade=12, finer_small=1) for mm, g in FINER),
    *(check("B6", "machining_stock", stock * 1e-3, EXACT, STOCK, length=mm * 1e-3, grade=letter) for mm, letter, stock in STOCKS),
    *(check("B8", "pattern_contraction", pc / 100, 1e-3, WESTERMANN, absolute=True, metal=f"western.{key}") for key, pc in CONTRACTIONS.items()),
    check("B9", "pattern_contraction", 0.013, 1e-3, SHEET_319, absolute=True, metal="a319"),
    *(check("B14", "grain_fineness", number, EXACT, MULTIPLIER, retained={sieve: 2.0}) for sieve, number in MULTIPLIERS.items()),
    # to the last figure printed
    *(check("F3", "arm_spacing", um * 1e-6, 0.005e-6, RONTO, absolute=True, copper=0.035, silicon=0.06, **{by: of}) for by, of, um in ARMS),
    check("F4", "arm_spacing", 49.1e-6, 0.05e-6, SPEAR, absolute=True, cooling_rate=0.5),
    check("F4", "arm_spacing", 81.8e-6, 0.05e-6, SPEAR, absolute=True, cooling_rate=0.1),
]  # fmt: skip


def register(checks: list[Check]) -> None:
    """Every check as a case of its own; those of one number and rule are told apart by what they answer, then by their place."""
    met: collections.Counter[str] = collections.Counter()
    for one in checks:
        name = f"{one.rule}, {one.output}" if one.output else one.rule
        met[f"{one.number} {name}"] += 1
        again = met[f"{one.number} {name}"]
        label = name if again == 1 else f"{name} ({again})"
        case(one.number, one.source)(lambda one=one, label=label: [one.row(label)])


register(CHECKS)


@case("B7", "ISO 8062:1994, cl. 9 (from memory)")
def raw_size() -> list[Row]:
    """80 mm outside, both sides machined, 1.4 a side, band 4.4."""
    stock = strickle.reckon("machining_stock", length=0.080, grade="G").value
    band = strickle.reckon("cast_tolerance", length=0.080, grade=11).value
    return [Row("raw size of 80 mm", 85.0e-3, 0.080 + 2 * stock + band / 2, EXACT, "m", relative=True)]
