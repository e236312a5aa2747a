"""Laws of freezing on random small moulds: twice the size, a mirror, more superheat. Heat is accounted for in all of them."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import strickle

SAND, METAL = 2, 1
SHAPE = (10, 9, 11)
ALUMINIUM = strickle.MetalData.plain(
    solidus=830.0, liquidus=888.0, latent_heat=389e3, solid_heat=1080.0, liquid_heat=1080.0, solid_conductivity=150.0, liquid_conductivity=80.0,
    density=2450.0,
)  # fmt: skip
QUARTZ = strickle.MediumData(conductivity=0.6, density=1550.0, heat_capacity=1100.0)


def mould(seed: int) -> np.ndarray:
    """A few blocks of metal in sand two cells thick at the least."""
    rng = np.random.default_rng(seed)
    tags = np.full(SHAPE, SAND, np.uint8)
    for _ in range(int(rng.integers(1, 4))):
        low = np.array([rng.integers(2, n - 4) for n in SHAPE])
        high = np.minimum(low + rng.integers(1, 5, 3), np.array(SHAPE) - 2)
        tags[tuple(slice(a, b) for a, b in zip(low, high, strict=True))] = METAL
    return tags


def freeze(tags, cell=3e-3, pour=960.0, contact=800.0, **more):
    out = strickle.freeze(
        strickle.Grid(tags=tags, cell=cell, origin=np.zeros(3)), {METAL: ALUMINIUM, SAND: QUARTZ}, start={METAL: pour, SAND: 295.0},
        contact={(METAL, SAND): contact}, **more,
    )  # fmt: skip
    assert out.balance < 1e-9
    return out


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 2**20), st.floats(900.0, 1020.0))
def test_twice_the_size_takes_four_times_as_long(seed, pour):
    """Closed mould, perfect contact, the same number of cells: times as length squared, within 1 %; a small closed mould may never freeze at all."""
    tags = mould(seed)
    small, large = (freeze(tags, cell, pour, None, longest=t) for cell, t in ((3e-3, 400.0), (6e-3, 1600.0)))
    assert (small.status == "done") == (large.status == "done")
    assume(small.status == "done")
    there = tags == METAL
    for name in ("time_to_liquidus", "time_to_coherency", "time_to_solidus"):
        one, two = getattr(small, name)[there], getattr(large, name)[there]
        late = one > 0.02 * np.nanmax(one)  # the first steps' ends fall apart by their own length
        assert np.abs(two[late] / one[late] / 4.0 - 1.0).max(initial=0.0) < 0.01, name


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 2**20), st.integers(0, 2))
def test_a_mirrored_mould_freezes_as_its_mirror(seed, axis):
    tags = mould(seed)
    one, two = freeze(tags, longest=600.0), freeze(np.ascontiguousarray(np.flip(tags, axis)), longest=600.0)
    assert one.status == two.status
    np.testing.assert_allclose(np.flip(two.time_to_solidus, axis), one.time_to_solidus, rtol=1e-9)


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 2**20), st.floats(890.0, 980.0), st.floats(5.0, 80.0))
def test_more_superheat_never_freezes_a_cell_earlier(seed, pour, more):
    """Within what the steps themselves are off by: half a hundredth (the shop preset's steps against a tenth of them, tests/twins)."""
    tags = mould(seed)
    cold, hot = (freeze(tags, pour=t, longest=900.0, until=strickle.below(830.0)) for t in (pour, pour + more))
    assume(cold.status == "done")
    there = tags == METAL
    later = np.where(np.isnan(hot.time_to_solidus), np.inf, hot.time_to_solidus)[there]
    assert (later >= 0.995 * cold.time_to_solidus[there]).all()
