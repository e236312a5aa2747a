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
    check("A7", "fill_time_top", 5.75, 5e-4, GATE7, volume=1e-3, height=0.25, base_area=math.pi / 4 * 0.010**2),
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
    check("A17", "riser_size_freezing_ratio", 12.85 * CM, 2e-3, RAO, **SLAB, a=0.10, b=0.03, c=1.00),
    check("A17", "riser_size_freezing_ratio", 1.199, 2e-3, RAO, "freezing_ratio", **SLAB, a=0.10, b=0.03, c=1.00),
    check("A17", "riser_size_freezing_ratio", 0.533, 2e-3, RAO, "volume_ratio", **SLAB, a=0.10, b=0.03, c=1.00),
    check("A18", "riser_size_freezing_ratio", 13.42 * CM, 2e-3, CAINE, **SLAB, a=0.10, b=0.03, c=1.08),
    check("A19", "riser_volume_efficiency", 1.0, 1e-12, FEED, casting_volume=1.0, shrinkage=0.07, efficiency=0.14),
    check("A19", "riser_volume_efficiency", 3 / 11, 1e-12, FEED, casting_volume=1.0, shrinkage=0.03, efficiency=0.14),
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
