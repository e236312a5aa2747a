"""Metal lying in an open impression: limits that are known, and trends that hold for any size and angle."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from strickle.base import GRAVITY
from strickle.pour.puddle import cover_depth, drop_depth, hold_depth, spread_speed
from strickle.rigging.open_face import drop_height, stands_height

CAPILLARY = 0.5 * drop_height(1.05, 2385.0)
SIZES = st.floats(2e-3, 0.2)
ANGLES = st.floats(110.0, 178.0)


def test_c12_the_drop_height():
    # checks C12 (X): Al, 2385 kg/m3, 1.05 N/m: 13.39818 mm; formula 1e-6
    assert drop_height(1.05, 2385.0) == pytest.approx(13.39818e-3, rel=1e-6)
    assert drop_depth(10.0, stands_height(1.05, 2385.0, 180.0), CAPILLARY) == pytest.approx(13.39818e-3, rel=1e-6)


def test_a_small_drop_is_a_ball_cut_by_the_floor():
    for angle in (120.0, 150.0, 179.0):
        c = math.cos(math.radians(angle))
        ball = (2.0 - 3.0 * c + c**3) / 3.0  # volume over pi r^3
        stands = 2.0 * CAPILLARY * math.sin(math.radians(angle) / 2.0)
        assert drop_depth(1e-4, stands, CAPILLARY) == pytest.approx(ball * 0.5e-4, rel=2e-3)


def test_a_wide_drop_lacks_its_rounded_rim():
    # a rim's section lacks 1.0 to 1.1 capillary lengths squared of a square edge (a ridge solved by itself): over the plan that times 4 / width
    for wide in (0.1, 0.15, 0.25):
        lacks = (2.0 * CAPILLARY - drop_depth(wide, 2.0 * CAPILLARY, CAPILLARY)) * wide / (4.0 * CAPILLARY**2)
        assert 0.65 < lacks < 0.75


@settings(max_examples=25, deadline=None)
@given(SIZES, st.floats(1.05, 3.0), ANGLES)
def test_a_wider_impression_is_never_covered_earlier(wide, times, angle):
    stands = 2.0 * CAPILLARY * math.sin(math.radians(angle) / 2.0)
    one, other = drop_depth(wide, stands, CAPILLARY), drop_depth(wide * times, stands, CAPILLARY)
    assert one <= other * (1.0 + 1e-4) <= stands * (1.0 + 2e-4)


def test_a_long_impression_takes_a_wide_puddle_s_depth_and_a_round_one_less():
    stands = stands_height(1.05, 2385.0, 150.0)
    assert cover_depth(0.06 * 0.02, 0.06, stands, CAPILLARY) == stands
    assert cover_depth(0.03**2, 0.03, stands, CAPILLARY) < 0.75 * stands
    assert cover_depth(math.pi / 4.0 * 0.03**2, 0.03, stands, CAPILLARY) < 0.75 * stands


def _trough(width: float, angle: float) -> float:
    """Mean depth at which metal in a long trough neither draws together nor spreads along it, all in capillary lengths: pressure over the section
    against the pull of its surface and walls, the top solved between the walls."""
    lean, pull = math.radians(angle) - 0.5 * math.pi, -math.cos(math.radians(angle))

    def top(curvature):
        ends = lambda _, y: y[2] - lean  # noqa: E731
        ends.terminal = True
        slopes = lambda _, y: (math.cos(y[2]), math.sin(y[2]), curvature + y[1], 1.0)  # noqa: E731
        return solve_ivp(slopes, (0.0, 60.0), (0.0, 0.0, 0.0, 0.0), events=ends, rtol=1e-8, atol=1e-10, max_step=0.1)

    curvature = math.exp(brentq(lambda power: 2.0 * top(math.exp(power)).y[0][-1] - width, -18.0, 4.0))
    x, z, _, arc = top(curvature).y

    def push(wall):
        high = z[-1] + wall
        pressed = np.trapezoid(curvature * (high - z) + 0.5 * (high**2 - z**2), x)
        return 2.0 * pressed - 2.0 * arc[-1] - pull * (width + 2.0 * wall)

    wall = brentq(push, 0.0, 6.0)
    return wall + 2.0 * float(np.trapezoid(z[-1] - z, x)) / width


@pytest.mark.parametrize("angle", [130.0, 150.0, 160.0])
def test_walls_at_the_sides_do_not_spread_metal_along_a_trough(angle):
    stands = 2.0 * math.sin(math.radians(angle) / 2.0)
    for width in (0.3, 1.0, 3.0, 8.0):
        assert 0.95 * stands < _trough(width, angle) < stands


def test_a_front_is_held_where_it_stands_and_driven_faster_the_shallower():
    stands = 0.012
    speeds = [spread_speed(depth, stands) for depth in (0.002, 0.004, 0.008, 0.012, 0.02)]
    assert speeds == sorted(speeds, reverse=True)
    assert speeds[-2:] == [0.0, 0.0]
    depth = 0.004
    assert spread_speed(depth, stands) ** 2 * depth + GRAVITY * depth**2 / 2 == pytest.approx(GRAVITY * stands**2 / 2)
    assert hold_depth(2.0 * CAPILLARY, CAPILLARY) == pytest.approx(math.sqrt(2.0) * CAPILLARY)
    assert hold_depth(stands_height(1.05, 2385.0, 150.0), CAPILLARY) == pytest.approx(CAPILLARY)
