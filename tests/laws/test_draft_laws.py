"""Laws of draft: more degrees never take metal off, both halves alike, a part that draws is held whole."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pattern_shop import box, rod
from strickle.base import BadInput
from strickle.pattern import rules
from strickle.pattern.draft import drafted
from strickle.pattern.taper import DraftRule, rule_of
from strickle.pattern.undercut import caught
from strickle.stores import load


@st.composite
def shapes(draw) -> manifold3d.Manifold:
    """A plate with bars, blocks and holes on it, some of them over the sand."""
    body = box(60, 50, draw(st.floats(3, 9)))
    for _ in range(draw(st.integers(1, 4))):
        x, y = draw(st.floats(8, 50)), draw(st.floats(8, 40))
        foot, high = draw(st.floats(0, 20)), draw(st.floats(2, 20))
        add = draw(st.sampled_from(["bar", "block", "hole", "cone"]))
        if add == "block":
            body += box(draw(st.floats(2, 20)), draw(st.floats(2, 20)), high, (x, y, foot))
        elif add == "cone":
            body += rod(12, high, (x, y, foot), top=draw(st.floats(1, 16)))
        else:
            bar = rod(draw(st.floats(3, 12)), high + 5, (x, y, foot))
            body = body + bar if add == "bar" else body - bar
    return body


def rule(outside: float, more: float = 1.0) -> DraftRule:
    return DraftRule(outside=float(np.radians(outside)), pocket=float(np.radians(outside + more)), extra=0.0)


@settings(max_examples=12, deadline=None)
@given(shapes(), st.floats(0.0, 4.0), st.floats(0.3, 2.0))
def test_more_degrees_never_take_metal_off(body, angle, more):
    less, most = (drafted(body, 1.0, rule(a)) for a in (angle, angle + more))
    assert most.solid.volume() >= less.solid.volume() * (1 - 1e-4)
    assert less.solid.volume() >= body.volume() * (1 - 1e-4)
    assert less.undercut == pytest.approx(most.undercut, rel=1e-3, abs=0.05)
    depth = body.bounding_box()[5]
    assert max(caught(most.solid, 1.0, lift) for lift in (1.0, 5.0, depth)) < 0.005


@settings(max_examples=6, deadline=None)
@given(shapes())
def test_a_drag_half_is_the_cope_half_turned_over(body):
    over, under = drafted(body, 1.0, DraftRule()), drafted(body.mirror((0, 0, 1)), -1.0, DraftRule())
    assert under.solid.volume() == pytest.approx(over.solid.volume(), rel=1e-6)
    assert under.solid.bounding_box()[2] == pytest.approx(-over.solid.bounding_box()[5])
    assert caught(under.solid, -1.0, 5.0) < 0.005


def test_the_rule_comes_from_the_stores_with_its_marks():
    made = rule_of(load(), layered=True)
    assert made._replace(layered=False) == DraftRule()
    assert np.degrees(made.angles) == pytest.approx((3.0, 4.0))
    marks = {name: value.mark for name, value in rules.DEFAULTS.items() if name.startswith(("draft.", "fillet."))}
    assert marks["draft.outside"] == marks["draft.pocket"] == "common practice"
    assert marks["draft.extra"] == marks["draft.steepest"] == "guess"


def test_a_walls_taper_is_that_of_the_rule():
    made = DraftRule()
    for height in (0.8, 2.5, 3.2, 20.0):
        wanted = rules.wall_taper(height * 1e-3, made.outside, made.steepest, made.extra) * 1e3
        assert -drafted(box(40, 30, height), 1.0, made).solid.bounding_box()[0] == pytest.approx(wanted, abs=2e-3)


@pytest.mark.parametrize("change", [{"datum": "top"}, {"outside": -0.1}, {"pocket": 1.0}, {"layer": 0.0}])
def test_a_rule_out_of_reason_is_refused_in_one_line(change):
    with pytest.raises(BadInput) as told:
        drafted(box(10, 10, 10), 1.0, DraftRule()._replace(**change))
    assert "\n" not in str(told.value)


def test_nothing_in_gives_nothing_out():
    made = drafted(manifold3d.Manifold(), 1.0, DraftRule())
    assert (made.added, made.undercut, made.closed) == (0.0, 0.0, ())
