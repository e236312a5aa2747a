"""The published worked examples through the public door ``strickle.reckon``, under the names that outsiders use (CONTRACT.md).

The list of them is outside/reckoned.py, each with author, title, year and place, how we know it (read, from memory, computed from the
formula given) and a tolerance.
"""

from __future__ import annotations

import math
import re

import pytest

import strickle
from outside import every
from outside.reckoned import CM, GRAVITY, INCH, KELVIN, MINUTE, POUND
from strickle.job.reckon import reckon_text

CASES = every("reckoned")


@pytest.mark.parametrize("case", CASES, ids=[f"{c.name}-{n}" for n, c in enumerate(CASES)])
def test_published_answer(case):
    assert not case.faults()


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
