"""The published worked examples through the public door ``strickle.reckon``, under the names that outsiders use (CONTRACT.md).

Each stands with author, title, year and place, how we know it (read, from memory, computed from the formula given) and a tolerance.
A14, A15, A16, the standards' tables, B8 and B9 are asked through the same door in tests/rules/test_metal_and_standards.py.
"""

from __future__ import annotations

import dataclasses
import math
import re
from typing import Any

import pytest

import strickle
from strickle.job.reckon import reckon_text

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
    tolerance: float  # relative
    source: str
    output: str = ""


def check(number: str, rule: str, answer: float, tolerance: float, source: str, output: str = "", **inputs: Any) -> Check:
    return Check(number, rule, inputs, answer, tolerance, source, output)


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
]  # fmt: skip


@pytest.mark.parametrize("one", CHECKS, ids=[f"{c.number}-{c.rule}-{n}" for n, c in enumerate(CHECKS)])
def test_published_answer(one):
    told = strickle.reckon(one.rule, **one.inputs)
    value = told.values[one.output][0] if one.output else told.value
    assert value == pytest.approx(one.answer, rel=one.tolerance), one.source
    assert told.formula
    assert told.source
    assert told.range


def test_the_mould_constant_and_the_time_belong_together():
    # A5 as the problem has it: the cube's time gives the constant, the constant the slab's time
    cube = strickle.reckon("modulus", volume=(4 * INCH) ** 3, area=6 * (4 * INCH) ** 2).value
    slab = strickle.reckon("modulus", volume=64 * INCH**3, area=168 * INCH**2).value
    constant = strickle.reckon("mould_constant", time=14.5 * MINUTE, modulus=cube, exponent=2.0).value
    assert strickle.reckon("freezing_time", mould_constant=constant, modulus=slab, exponent=2.0).value == pytest.approx(4.735 * MINUTE, rel=1e-3)


# Published answers that are wrong: ours is the right one, and the wrong one follows from the mistake named.
def test_wrong_a_latent_heat_entered_a_thousand_times_too_small():
    # thread on calorimetry (read): 0.2 kg aluminium at 700 degC in a steel mould of 3 kg at 20 degC; c 900 and 486, 10.67 kJ/mol, 26.96 g/mol
    given = {"hot_mass": 0.2, "hot_heat_capacity": 900.0, "hot_temperature": 700 + KELVIN, "cold_mass": 3.0, "cold_heat_capacity": 486.0}
    latent = 10.67e3 / 26.96e-3
    told = strickle.reckon("calorimetry", **given, cold_temperature=20 + KELVIN, hot_latent_heat=latent).value - KELVIN
    assert told == pytest.approx(143.05, abs=0.01)
    slip = strickle.reckon("calorimetry", **given, cold_temperature=20 + KELVIN, hot_latent_heat=latent / 1000).value - KELVIN
    assert slip == pytest.approx(94.77, abs=0.05)


def test_wrong_b_area_along_the_dome_for_the_area_from_above():
    # study page (read): hemispherical shell 500 mm, head 300 mm, 7200 kg/m3, said to push with 7043 N, from the dome's own area 2 pi R^2;
    # the upward thrust on the outer face is density g (pi R^2 h - 2/3 pi R^3) = 1849 N
    given = {"head": 0.300, "metal_density": 7200.0, "volume_below": 2 / 3 * math.pi * 0.25**3}
    told = strickle.reckon("metal_lift", area=math.pi * 0.25**2, **given)
    assert told.value == pytest.approx(1849.0, rel=1e-3)
    assert told.in_range
    assert abs(told.value - 7043.0) > 5000.0


def test_wrong_c_height_a_tenth_of_the_right_one():
    # examination page (read): cylinder of 10 cm and 12.56 kg taken as 2.04 cm high; the density of steel, 7850 kg/m3, is ours
    told = strickle.reckon("cylinder_height", mass=12.56, diameter=0.10, density=7850.0).value
    assert told == pytest.approx(0.204, rel=5e-3)
    assert told != pytest.approx(0.0204, rel=0.5)


def test_the_slab_on_the_command_line_in_inches():
    # A5 and A12 as typed: the door for people gives what the door for programs gives
    typed = reckon_text("freezing_time", {"mould_constant": "32.625 min/in2", "modulus": "0.38095 in", "exponent": "2"})
    assert typed.value == pytest.approx(4.735 * MINUTE, rel=1e-3)
    typed = reckon_text("metal_lift", {"area": "50.266 in2", "head": "6 in", "metal_density": "0.26 lb/in3"})
    assert typed.value == pytest.approx(78.4 * POUND * GRAVITY, rel=5e-3)


def test_riser_of_the_example_is_as_high_as_wide():
    told = strickle.reckon("riser_size_modulus", casting_modulus=0.7 * CM, casting_time=96.0, riser_time=120.0, exponent=2.0, height_to_diameter=1.0)
    assert told.values["height"][0] == pytest.approx(told.values["diameter"][0])


# CONTRACT.md: the rules and the input names that outside tests use
RULES = """fall_speed height
flow_rate height base_area
fill_time_top volume height base_area
fill_time_bottom mould_area mould_height gate_area head
sprue_base_area flow height
sprue_taper_area top_area head_above_top height
sprue_top_gauge_pressure height density
modulus volume area
mould_constant time modulus exponent
freezing_time mould_constant modulus exponent
riser_size_modulus casting_modulus casting_time riser_time exponent height_to_diameter
riser_size_shape_factor
riser_size_freezing_ratio
riser_volume_efficiency casting_volume shrinkage efficiency
core_lift volume metal_density core_density
metal_lift area head metal_density
hold_down_weight metal_lift core_lift cope_weight factor
critical_gate_speed surface_tension density
oxide_drop_height
least_slot surface_tension pressure
edge_radius surface_tension pressure
shrunk_length length solidification solid
pattern_contraction
pattern_length length contraction
charge
melt_heat mass metal from_temperature to_temperature
fuel_mass
pot_volume
pot_cooling
sand_mass
permeability_number pressure time
grain_fineness retained
cast_tolerance length grade
machining_stock length grade
arm_spacing freezing_time cooling_rate
hydrogen_solubility temperature
calorimetry"""


@pytest.mark.parametrize("line", RULES.splitlines(), ids=[line.split()[0] for line in RULES.splitlines()])
def test_the_contract_s_rules_and_inputs_exist(line):
    from strickle.job.reckon import listing

    name, *inputs = line.split()
    (rule,) = (r for r in listing() if r["rule"] == name)
    assert set(inputs) <= {i["name"] for i in rule["inputs"]}
    assert rule["source"]
    assert rule["range"]
    assert all(i["unit"] for i in rule["inputs"])


def test_no_source_names_a_machine_or_a_page_of_the_reference_set_alone():
    from strickle.job.reckon import listing

    for rule in listing():
        assert not re.search(r"\.md\b|^/|\s/\w+/", rule["source"]), rule["rule"]


def test_the_shape_factor_asked_plainly_misses_the_book_and_says_so():
    # A17 (Rao, from memory): 0.575 at a shape factor of 10. The steel founders' curve (from memory) and the chart point read (0.575 at 7.5)
    # both speak against it; the miss is named in the rule's source and kept here, not loosened away.
    told = strickle.reckon("riser_size_shape_factor", length=0.25, width=0.25, thickness=0.05)
    assert told.values["volume_ratio"][0] == pytest.approx(2.51 / 10**0.74)
    assert told.value == pytest.approx(13.18 * CM * (0.4568 / 0.575) ** (1 / 3), rel=1e-3)
    assert "0.575 at a shape factor of 10" in told.source
