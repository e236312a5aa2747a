"""Laws of detail: what more pressure, a stronger skin or a larger size can never do."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from strickle.base import Span
from strickle.pour.press import Arrival, pressures, radii, reached_share, sheet_speed

lengths = st.floats(1e-4, 2e-2)
radius = st.floats(1e-5, 1.0)
times = st.floats(1.0, 20.0)


@given(lengths, lengths, radius)
def test_a_share_is_a_share(width, height, bent):
    assert 0.0 <= float(reached_share(width, height, bent)) <= 1.0


@given(lengths, lengths, radius, times)
def test_a_sharper_surface_never_reaches_less(width, height, bent, more):
    assert float(reached_share(width, height, bent)) >= float(reached_share(width, height, bent * more)) - 1e-9


@given(lengths, lengths, radius, times)
def test_a_larger_letter_never_reaches_less(width, height, bent, more):
    assert float(reached_share(more * width, more * height, bent)) >= float(reached_share(width, height, bent)) - 1e-9


@given(lengths, lengths, radius, times)
def test_a_wider_stroke_of_the_same_height_never_reaches_less(width, height, bent, more):
    assert float(reached_share(more * width, height, bent)) >= float(reached_share(width, height, bent)) - 1e-9


@given(lengths, lengths, radius, times)
def test_only_ratios_of_lengths_count(width, height, bent, more):
    assert float(reached_share(more * width, more * height, more * bent)) == pytest.approx(
        float(reached_share(width, height, bent)), rel=1e-6, abs=1e-12
    )


@given(st.floats(0.0, 0.5), st.floats(0.0, 3.0), st.floats(0.0, 10.0), st.floats(0.01, 10.0), times)
def test_pressure_and_skin_together_change_nothing_and_pressure_never_blunts(head, speed, wait, liquid, more):
    arrival = Arrival(np.array([head]), np.full((1, 3), speed), np.array([wait]))
    pressure = pressures(arrival, np.array([liquid]), 2400.0) + 1.0
    skin = Span(value=2.0, low=1.0, high=3.0)
    bent = radii(pressure, skin)
    both = radii(more * pressure, Span(value=2.0 * more, low=1.0 * more, high=3.0 * more))
    assert both == pytest.approx(bent, rel=1e-9)
    assert (radii(more * pressure, skin) <= bent).all()
    assert (np.diff(bent[0]) < 0.0).all()
    longer = pressures(arrival, np.array([liquid * more]), 2400.0) + 1.0
    assert (longer >= pressure).all()


@given(st.floats(0.0, 0.3), st.floats(0.1, 2.0), st.floats(0.01, 1.0), st.floats(0.5, 3.0), times)
def test_more_metal_a_second_never_arrives_slower_nor_a_stronger_skin_faster(away, fall, rate, skin, more):
    at = np.array([away])
    speed = sheet_speed(at, fall, rate, 2400.0, skin)
    assert (sheet_speed(at, fall, rate * more, 2400.0, skin) >= speed).all()
    assert (sheet_speed(at, fall, rate, 2400.0, skin * more) <= speed).all()
    assert (sheet_speed(at + 0.01, fall, rate, 2400.0, skin) <= speed).all()
