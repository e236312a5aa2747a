"""Rules of the pattern room: doctests and worked cases."""

import doctest

import numpy as np
import pytest

from pattern_shop import box, part_from
from strickle.base import Span, Value
from strickle.pattern import rules, says
from strickle.pattern.parting import choose


def test_doctests():
    result = doctest.testmod(rules)
    assert result.attempted > 5
    assert result.failed == 0


def value(low, high):
    return Value(value=(low + high) / 2, low=low, high=high, unit="1", source="x", mark="memory")


def test_contraction_of_a_free_block_is_untouched():
    held = rules.restraint(0.0, value(0.05, 0.15), value(0.2, 0.4))
    used = rules.contraction_used(Span(value=0.013, low=0.010, high=0.018), held)
    assert (used.low, used.value, used.high) == (0.010, 0.013, 0.018)


def test_restraint_widens_the_band():
    held = rules.restraint(0.4, value(0.05, 0.15), value(0.2, 0.4))
    used = rules.contraction_used(Span(value=0.013, low=0.010, high=0.018), held)
    assert used.value == pytest.approx(0.013 * 0.8)
    assert used.low == pytest.approx(0.010 * 0.75)
    assert used.high == pytest.approx(0.018 * 0.85)


def test_rapping_takes_no_more_than_half_a_per_cent():
    assert rules.rapping_factor(0.2, 0.0002, 0.005) == pytest.approx(0.999)
    assert rules.rapping_factor(0.005, 0.0002, 0.005) == 0.995


def test_every_cost_of_a_lie_has_words_for_what_speaks_against_the_other_way_up():
    part = part_from(box(60, 40, 20))
    for lie in choose(part.mesh, np.array([0.0, 0.0, 1.0]), part.volume, np.zeros((0, 3)), (0.75, 1.25), False, None):
        assert set(lie.costs) == set(says.AGAINST)
