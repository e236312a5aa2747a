"""Every rule at its example, at ten times beyond its range, at nothing and below nothing: it answers and says so, or refuses in one line."""

from __future__ import annotations

import math
import shlex

import pytest

from strickle.base import BadInput, Input, Rule
from strickle.cli.rules import pairs
from strickle.job.reckon import Reckoning, reckon, reckon_text, rules

RULES = rules()
NAMES = [one.name for one in RULES]
# rules that look up a table and have no answer beyond it
TABLES = {"cast_tolerance", "machining_stock"}


def example(rule: Rule) -> Reckoning:
    return reckon_text(rule.name, pairs(shlex.split(rule.example)))


def numeric(rule: Rule) -> list[Input]:
    return [item for item in rule.inputs if item.unit not in ("text", "pairs")]


def asked(rule: Rule, given: dict[str, object], **other: float) -> Reckoning | None:
    """The answer with ``other`` inputs, or None where the formula cannot take them; anything but one clear line fails."""
    try:
        told = reckon(rule.name, **{**given, **other})
    except BadInput as trouble:
        text = str(trouble)
        assert "\n" not in text
        assert len(text) < 400
        return None
    assert not math.isnan(told.value)
    assert all(isinstance(value, float) for value, _ in told.values.values())
    assert told.in_range == (not told.outside)
    return told


@pytest.mark.parametrize("rule", RULES, ids=NAMES)
def test_example_lies_in_the_range(rule: Rule) -> None:
    told = example(rule)
    assert told.in_range, told.outside
    assert math.isfinite(told.value)


@pytest.mark.parametrize("rule", RULES, ids=NAMES)
def test_ten_times_beyond_is_answered_and_said(rule: Rule) -> None:
    given = dict(example(rule).inputs)
    for item in numeric(rule):
        if item.default == given[item.name] == 0.0:  # not given: another input stands for it
            continue
        if item.high:
            told = asked(rule, given, **{item.name: 10.0 * item.high})
            if told is None:  # a share of ten leaves nothing: only a formula that cannot take it may refuse
                assert rule.name in TABLES or item.unit == "1", item.name
            else:
                assert item.name in told.outside, item.name
        if item.low:
            told = asked(rule, given, **{item.name: 0.1 * item.low})
            if told is None:
                assert rule.name in TABLES, item.name
            else:
                assert item.name in told.outside, item.name


@pytest.mark.parametrize("rule", RULES, ids=NAMES)
def test_nothing_and_less_than_nothing(rule: Rule) -> None:
    given = dict(example(rule).inputs)
    for item in numeric(rule):
        for value in (0.0, -1.0, -1e6, 1e300, 5e-324):
            told = asked(rule, given, **{item.name: value})
            if told is not None and item.low is not None and value < item.low:
                assert item.name in told.outside, (item.name, value)


@pytest.mark.parametrize("rule", RULES, ids=NAMES)
def test_all_inputs_at_once(rule: Rule) -> None:
    given = dict(example(rule).inputs)
    for value in (0.0, -1.0, 1e12):
        asked(rule, given, **{item.name: value for item in numeric(rule)})


@pytest.mark.parametrize(
    ("rule", "given", "why"),
    [
        ("fill_time_bottom", {"mould_area": 0.1, "mould_height": 0.2, "gate_area": 1e-4, "head": 0.1}, "mould_height <= head"),
        ("riser_volume_efficiency", {"casting_volume": 1.0, "shrinkage": 0.09, "efficiency": 0.05}, "shrinkage < efficiency"),
        ("riser_size_modulus", {"casting_modulus": 0.01, "casting_time": 60.0, "riser_time": 30.0}, "riser_time >= casting_time"),
        ("riser_size_shape_factor", {"length": 1.0, "width": 1.0, "thickness": 0.01}, "2 <= shape factor <= 20"),
        ("riser_size_shape_factor", {"length": 0.1, "width": 0.2, "thickness": 0.05}, "length >= width >= thickness"),
        ("metal_lift", {"area": 0.1, "head": 0.1, "metal_density": 2400.0, "volume_below": 0.02}, "volume_below <= area x head"),
        ("shrunk_length", {"length": 0.05, "solidification": -0.02, "solid": 0.03}, "solidification"),
    ],
)
def test_a_relation_that_does_not_hold_is_named(rule: str, given: dict[str, float], why: str) -> None:
    told = reckon(rule, **given)
    assert not told.in_range
    assert why in told.outside
    assert told.to_json()["in_range"] is False


@pytest.mark.parametrize("rule", RULES, ids=NAMES)
def test_every_rule_says_where_it_comes_from_and_where_it_holds(rule: Rule) -> None:
    assert len(rule.source) > 5
    assert rule.range
    assert rule.formula
    assert rule.says
    assert rule.example.startswith("--")
    for item in numeric(rule):
        if item.default is not None:
            assert rule.in_range({item.name: item.default}), item.name
