"""The open back: nothing lost is lost from sight, alike columns sink alike, and what closes on top keeps its loss under it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from strickle.base import Grid
from strickle.kernels.sink import settle
from strickle.sound.freezing import MediumData, MetalData, adiabatic, fixed, freeze

LOSS, EARLY = 0.06, 0.01


def top_layer(metal):
    out = np.zeros_like(metal)
    for i, j in np.argwhere(metal.any(axis=2)):
        out[i, j, np.flatnonzero(metal[i, j])[-1]] = True
    return out


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.tuples(*[st.integers(1, 7)] * 3), st.floats(0.4, 1.0))
def test_what_is_lost_is_sunk_or_hollow(seed, shape, share):
    random = np.random.default_rng(seed)
    metal = random.random(shape) < share
    metal[0, 0, 0] = True
    times = np.where(metal, random.random(shape), np.nan)
    sunk, hollow = settle(times, metal, top_layer(metal), LOSS, EARLY)
    assert (sunk.sum() + hollow.sum()) == pytest.approx((LOSS + EARLY) * metal.sum(), rel=1e-9)
    assert sunk.min() >= -1e-12
    assert hollow.min() >= 0.0
    assert not sunk[~top_layer(metal)].any()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_it_does_not_matter_from_which_side_one_looks(seed):
    random = np.random.default_rng(seed)
    metal = np.ones((5, 4, 6), dtype=bool)
    times = random.integers(0, 9, metal.shape).astype(float)
    sunk, hollow = settle(times, metal, top_layer(metal), LOSS, EARLY)
    for turn in (lambda a: a[::-1], lambda a: a[:, ::-1], lambda a: a.transpose(1, 0, 2)):
        other, inside = settle(turn(times), turn(metal), turn(top_layer(metal)), LOSS, EARLY)
        assert other == pytest.approx(turn(sunk), abs=1e-12)
        assert inside.sum() == pytest.approx(hollow.sum(), abs=1e-12)


def test_a_slab_that_freezes_from_below_sinks_evenly():
    metal = np.ones((6, 5, 8), dtype=bool)
    times = np.broadcast_to(np.arange(8.0), metal.shape)
    sunk, hollow = settle(times, metal, top_layer(metal), LOSS, 0.0)
    assert sunk[:, :, -1] == pytest.approx(np.full((6, 5), LOSS * 8), rel=1e-12)
    assert hollow.sum() == 0.0


def test_a_slab_whose_top_closes_first_keeps_its_loss_under_it():
    metal = np.ones((4, 4, 8), dtype=bool)
    times = np.broadcast_to(np.arange(8.0)[::-1], metal.shape)
    sunk, hollow = settle(times, metal, top_layer(metal), LOSS, EARLY)
    # the liquid's own contraction and the top layer's loss, spread while that layer closes
    assert sunk[:, :, -1] == pytest.approx(np.full((4, 4), EARLY * 8 + LOSS), rel=1e-9)
    assert hollow[:, :, 0].sum() == pytest.approx(LOSS * 7 * 16, rel=1e-9)


def test_a_thick_place_draws_the_back_down_over_itself():
    metal = np.ones((9, 1, 6), dtype=bool)
    times = np.broadcast_to(10.0 - np.abs(np.arange(9) - 4.0)[:, None, None], metal.shape)
    sunk, _ = settle(times, metal, top_layer(metal), LOSS, 0.0)
    deep = sunk[:, 0, -1]
    assert np.all(np.diff(deep[:5]) > 0)
    assert deep == pytest.approx(deep[::-1], rel=1e-12)
    # each ring that closes lowers all that was open with it: the sum over n open of 2/n, a logarithm in the limit
    assert deep[4] == pytest.approx(LOSS * 6 * (2 / 9 + 2 / 7 + 2 / 5 + 2 / 3 + 1), rel=1e-12)


def test_a_solved_slab_cooled_from_below_sinks_by_its_loss_of_thickness():
    """A wide slab on a cold floor, sides and top adiabatic: the solved times give an even sink of loss times thickness."""
    metal = MetalData.plain(
        solidus=830.0, liquidus=880.0, latent_heat=4e5, solid_heat=1000.0, liquid_heat=1100.0, solid_conductivity=150.0,
        liquid_conductivity=80.0, density=2500.0,
    )  # fmt: skip
    tags = np.full((3, 3, 16), 1, np.uint8)
    tags[:, :, :4] = 10
    sand = MediumData(conductivity=0.6, density=1600.0, heat_capacity=1080.0)
    faces = dict.fromkeys(("x-", "x+", "y-", "y+", "z+"), adiabatic) | {"z-": fixed(293.15)}
    out = freeze(Grid(tags=tags, cell=2e-3, origin=np.zeros(3)), {1: metal, 10: sand}, start={1: 950.0, 10: 293.15}, faces=faces, preset="rough")
    solid = tags == 1
    sunk, hollow = settle(out.time_to_coherency, solid, top_layer(solid), LOSS, 0.0)
    assert hollow.sum() == pytest.approx(0.0, abs=1e-12)
    assert sunk[:, :, -1] * 2e-3 == pytest.approx(np.full((3, 3), LOSS * 24e-3), rel=1e-6)
