"""Rules of the metal, the standards' tables and the sand laboratory: what tables do not say. Their figures are in outside/reckoned.py."""

from __future__ import annotations

import math

import pytest

from outside.reckoned import SHEET
from strickle.base import BadInput
from strickle.job.reckon import find, listing, reckon, reckon_text, rules


def test_the_cube_after_solidification_is_larger_than_when_cold():
    answer = reckon("shrunk_length", length=0.050, solidification=0.04, solid=0.06)
    assert answer.values["after_solidification"][0] > answer.value


def test_sieves_as_text_and_as_pairs():
    text = ", ".join(f"{sieve}={mass}" for sieve, mass in SHEET.items())
    assert reckon_text("grain_fineness", {"retained": text}).value == reckon("grain_fineness", retained=list(SHEET.items())).value


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
