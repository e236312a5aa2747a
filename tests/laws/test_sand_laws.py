"""Laws of the sand's chances: more draft, less depth and more strength never hurt; the fixed set repeats; U is free of length."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

import sand_shop as shop
from strickle.mould import draw_chance as chance

OWN = shop.sand()
SIZES = st.floats(0.003, 0.05)
SLENDER = st.floats(0.3, 3.0)
DRAFT = st.floats(0.0, 0.05)


def torn(body, own=OWN) -> float:
    found = chance.use(body, 0.3, own, chance.shared(own, 512))
    return float(chance.breaks(np.maximum(found.pull, found.tilt), own.local).mean())


@settings(max_examples=60, deadline=None)
@given(wide=SIZES, slender=SLENDER, draft=DRAFT, more=st.floats(0.001, 0.03))
def test_more_draft_never_hurts(wide, slender, draft, more):
    body = shop.post(slender * wide, wide, 0.0)  # the same section: draft eases the wall, whatever it does to the root
    low, high = (torn(body._replace(draft=np.full(12, d))) for d in (draft, draft + more))
    assert high <= low + 1e-9


@settings(max_examples=60, deadline=None)
@given(wide=SIZES, slender=SLENDER, draft=st.floats(0.0, 0.02), more=st.floats(1.05, 2.0))
def test_less_depth_never_hurts(wide, slender, draft, more):
    shallow, deep = (shop.post(depth, wide, 0.0)._replace(draft=np.full(12, draft)) for depth in (slender * wide, slender * wide * more))
    assert torn(deep) >= torn(shallow) - 1e-9


@settings(max_examples=60, deadline=None)
@given(wide=SIZES, slender=SLENDER, draft=DRAFT, more=st.floats(1.02, 3.0))
def test_more_strength_never_hurts(wide, slender, draft, more):
    body = shop.post(slender * wide, wide, 0.0)._replace(draft=np.full(12, draft))
    strong = OWN._replace(median={**OWN.median, "strength": OWN.median["strength"] * more})
    assert torn(body, strong) <= torn(body) + 1e-9


@settings(max_examples=30, deadline=None)
@given(many=st.integers(1, 300), share=st.floats(0.05, 2.0))
def test_any_of_many_lies_between_one_and_the_product(many, share):
    utilisation = share * np.exp(0.5 * chance.normals()[:512, 0])
    one = chance.breaks(utilisation, 0.29)
    dependent = float(1 - ((1 - one) ** many).mean())
    assert one.mean() - 1e-12 <= dependent <= 1 - (1 - one.mean()) ** many + 1e-12


def test_the_set_is_fixed_and_even():
    first = chance.normals().copy()
    chance.normals.cache_clear()
    assert np.array_equal(first, chance.normals())
    assert np.abs(first.mean(axis=0)).max() < 2e-3
    assert np.abs(first.std(axis=0) - 1).max() < 5e-3


def test_medians_are_the_middle():
    one, many = chance.shared(OWN, 1), chance.shared(OWN)
    for name in chance.NAMES:
        assert np.isclose(np.median(getattr(many, name)), getattr(one, name)[0], rtol=5e-3), name
