"""Worked examples of the metal's formulas, the standards' tables and the sand laboratory, through the public door."""

from __future__ import annotations

import math

import pytest

from strickle.base import BadInput
from strickle.job.reckon import find, listing, reckon, reckon_text, rules


@pytest.mark.parametrize(
    ("entry", "percent"),
    [
        # B8: Westermann Tables for the Metal Trade, table of shrinkage; linear, +-0.1 % (read).
        ("western.aluminium", 1.25),
        ("western.bronze", 1.5),
        ("western.brass", 1.5),
        ("western.gun_metal", 1.5),
        ("western.zinc", 1.5),
        ("western.copper", 1.0),
        ("western.grey_iron", 1.0),
        ("western.tin", 1.0),
        ("western.lead", 1.0),
        ("western.malleable", 1.6),
        ("western.steel", 2.0),
        # B9: 319.0 patternmaker's shrinkage, MakeItFrom.com sheet 319.0-F; +-0.1 % (read).
        ("a319", 1.3),
    ],
)
def test_contraction_as_in_the_books(entry, percent):
    assert 100 * reckon("pattern_contraction", metal=entry).value == pytest.approx(percent, abs=0.1)


def test_shrunk_cube():
    # A14: cube of 50 mm, 4 % on freezing, 6 % as solid, no riser: 48.32 mm +-0.02 % (examination paper of 2011, read on two pages).
    answer = reckon("shrunk_length", length=0.050, solidification=0.04, solid=0.06)
    assert answer.value * 1e3 == pytest.approx(48.32, rel=2e-4)
    assert answer.values["after_solidification"][0] > answer.value


def test_permeability():
    # A15: 2000 cm3, 5 g/cm2, 1 min 25 s: 70.77 +-0.1 % (AFS definition; Rao, Manufacturing Technology; from memory, computed again).
    assert reckon("permeability_number", pressure=5 * 98.0665, time=85.0).value == pytest.approx(70.77, rel=1e-3)


SHEET = {"20": 0.3, "30": 1.81, "40": 39.55, "50": 18.18, "70": 5.56, "100": 11.88, "140": 13.90, "200": 6.53, "270": 1.92, "pan": 0.37}


def test_grain_fineness():
    # A16: a sand-testing laboratory's sheet of 2011 (read), which takes 145 on sieve 200: sum of products 5894.35, number 58.94 +-0.05.
    # The standard multiplier 140 gives 58.62 (computed).
    odd = reckon("grain_fineness", retained=SHEET, multipliers={"200": 145})
    assert odd.value == pytest.approx(58.94, abs=0.05)
    assert odd.values["product"][0] == pytest.approx(5894.35, abs=0.5)
    assert reckon("grain_fineness", retained=SHEET).value == pytest.approx(58.62, abs=0.05)
    text = ", ".join(f"{sieve}={mass}" for sieve, mass in SHEET.items())
    assert reckon_text("grain_fineness", {"retained": text}).value == reckon("grain_fineness", retained=list(SHEET.items())).value


def test_multipliers():
    # B14: AFS sand-test handbook (6, 12 and 200 from memory): all of one sieve gives its multiplier, exact.
    table = {"6": 3, "12": 5, "20": 10, "30": 20, "40": 30, "50": 40, "70": 50, "100": 70, "140": 100, "200": 140, "270": 200, "pan": 300}
    for sieve, multiplier in table.items():
        assert reckon("grain_fineness", retained={sieve: 2.0}).value == multiplier


@pytest.mark.parametrize(
    ("millimetres", "grade", "band"),
    [
        # B1: ISO 8062-3:2007, Table 2 (read; last row's grades 14 to 16 from memory), exact.
        (10, 1, 0.09),
        (10.1, 10, 2.2),
        (16, 12, 4.4),
        (25, 13, 6),
        (40, 9, 1.8),
        (63, 12, 5.6),
        (80, 11, 4.4),
        (100, 12, 6),
        (160, 13, 10),
        (250, 2, 0.24),
        (400, 11, 6.2),
        (630, 4, 0.64),
        (630, 16, 28),
    ],
)
def test_cast_tolerance(millimetres, grade, band):
    assert reckon("cast_tolerance", length=millimetres * 1e-3, grade=grade).value * 1e3 == pytest.approx(band, abs=1e-9)


def test_small_lengths_take_a_finer_grade():
    # B4: ISO/CD 8062-2, Table A.2 note 2 (draft page, read): to 10 mm three, to 16 two, to 25 one grade finer; 12 mm at 12 -> 10 -> 2.2 mm.
    answer = reckon("cast_tolerance", length=0.012, grade=12, finer_small=1)
    assert answer.value * 1e3 == pytest.approx(2.2)
    assert [reckon("cast_tolerance", length=mm * 1e-3, grade=12, finer_small=1).values["grade"][0] for mm in (8, 12, 20, 30)] == [9, 10, 11, 12]


@pytest.mark.parametrize(
    ("millimetres", "letter", "stock"),
    # B6: ISO 8062:1994, Table 2 (from memory), exact.
    [(40, "A", 0.1), (63, "F", 0.5), (80, "G", 1.4), (160, "H", 3), (250, "K", 8), (400, "J", 7), (630, "E", 2.2), (630, "K", 12)],
)
def test_machining_stock(millimetres, letter, stock):
    assert reckon("machining_stock", length=millimetres * 1e-3, grade=letter).value * 1e3 == pytest.approx(stock, abs=1e-9)


def test_raw_size_of_the_example():
    # B7: ISO 8062:1994 cl. 9 (from memory): 80 mm outside, both sides machined, 1.4 a side, band 4.4 -> 85.0 mm, exact.
    stock = reckon("machining_stock", length=0.080, grade="G").value
    band = reckon("cast_tolerance", length=0.080, grade=11).value
    assert (0.080 + 2 * stock + band / 2) * 1e3 == pytest.approx(85.0)


@pytest.mark.parametrize(
    ("given", "microns"),
    [
        # F3: Ronto & Roosz, Int. J. Cast Metals Res. 13, 2001, 337-342 (abstract read, values computed), exact to the last figure printed.
        ({"freezing_time": 60, "copper": 0.035, "silicon": 0.06}, 41.56),
        ({"freezing_time": 200, "copper": 0.035, "silicon": 0.06}, 53.39),
        ({"cooling_rate": 0.5, "copper": 0.035, "silicon": 0.06}, 62.22),
        ({"cooling_rate": 0.1, "copper": 3.5, "silicon": 6}, 93.34),
        # F4: Spear & Gardner, AFS Trans. 71, 1963 (from memory).
        ({"cooling_rate": 0.5}, 49.1),
        ({"cooling_rate": 0.1}, 81.8),
    ],
)
def test_arm_spacing(given, microns):
    places = len(str(microns).split(".")[1])
    assert round(reckon("arm_spacing", **given).value * 1e6, places) == microns


def test_out_of_range_is_answered_and_said():
    assert not reckon("arm_spacing", cooling_rate=500.0).in_range
    assert reckon("arm_spacing", cooling_rate=0.5).in_range


@pytest.mark.parametrize(
    ("rule", "given", "word"),
    [
        ("grain_finenes", {}, "grain_fineness"),
        ("shrunk_length", {"length": 0.05, "solidification": 0.04}, "solid"),
        ("shrunk_length", {"length": 0.05, "solidification": 0.04, "solids": 0.06}, "solid"),
        ("shrunk_length", {"length": "50 mm", "solidification": 0.04, "solid": 0.06}, "number"),
        ("shrunk_length", {"length": math.nan, "solidification": 0.04, "solid": 0.06}, "finite"),
        ("shrunk_length", {"length": 0.05, "solidification": 4.0, "solid": 6.0}, "share"),
        ("cast_tolerance", {"length": 0.08, "grade": 2.5}, "grade"),
        ("cast_tolerance", {"length": 0.008, "grade": 14}, "standard"),
        ("cast_tolerance", {"length": 0.7, "grade": 11}, "630"),
        ("machining_stock", {"length": 0.08, "grade": "I"}, "grade"),
        ("grain_fineness", {"retained": {"21": 1.0}}, "sieve"),
        ("grain_fineness", {"retained": {}}, "masses"),
        ("grain_fineness", {"retained": "coarse"}, "pairs"),
        ("permeability_number", {"pressure": 0.0, "time": 85.0}, "answer"),
        ("pattern_contraction", {"metal": "a318"}, "a319"),
        ("arm_spacing", {}, "freezing"),
    ],
)
def test_wrong_input_is_one_clear_line(rule, given, word):
    with pytest.raises(BadInput, match=word) as caught:
        reckon(rule, **given)
    assert "\n" not in str(caught.value)


def test_text_inputs_carry_units():
    assert reckon_text("shrunk_length", {"length": "50 mm", "solidification": "4 %", "solid": "6 %"}).value == pytest.approx(0.04832, rel=2e-4)
    with pytest.raises(BadInput, match="unit"):
        reckon_text("shrunk_length", {"length": "50", "solidification": "4 %", "solid": "6 %"})


def test_every_rule_describes_itself():
    assert len({r.name for r in rules()}) == len(rules())
    for entry in listing():
        assert all(entry[word] for word in ("says", "source", "formula", "range", "outputs")), entry["rule"]
        assert all(item["says"] and item["unit"] for item in entry["inputs"]), entry["rule"]
        assert find(entry["rule"]).function.__doc__
