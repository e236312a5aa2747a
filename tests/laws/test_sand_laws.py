"""Laws of the sand's chances: more draft, less depth and more strength never hurt; the fixed set repeats; U is free of length."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

import sand_shop as shop
from strickle.mould import draw_chance as chance
from strickle.mould.draw_cake import plain
from strickle.mould.several import ends

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


@settings(max_examples=60, deadline=None)
@given(reach=st.floats(0.002, 0.2), thick=st.floats(0.003, 0.1), more=st.floats(1.01, 2.0))
def test_a_shelf_that_reaches_farther_or_is_thinner_never_holds_better(reach, thick, more):
    given_ = chance.shared(OWN, 256)

    def falls(far, high, strength=1.0) -> float:
        return float(chance.breaks(chance.law.ledge(far, high, OWN.density, given_.jerk, 1.5 * strength * given_.strength), OWN.local).mean())

    assert falls(reach * more, thick) >= falls(reach, thick) >= falls(reach, thick * more)
    assert falls(reach, thick, more) <= falls(reach, thick)


@settings(max_examples=12, deadline=None)
@given(wide=st.floats(8, 25), slender=st.floats(0.4, 2.5), draft=st.floats(0.3, 2.5), more=st.floats(0.3, 2.0))
def test_on_drawn_solids_more_draft_and_less_depth_never_hurt(wide, slender, draft, more):
    """Measured on the mesh: the pocket keeps the width at its tip, so that draft widens its root as a pattern's does."""
    deep = slender * wide

    def pocket(high, lean) -> float:
        return shop.stood(shop.plate(2.5 * wide + 40, high, [(0.0, 0.0)], wide, lean)).chances.pocket

    here = pocket(deep, draft)
    assert pocket(deep, draft + more) <= here + 1e-3
    assert pocket(0.8 * deep, draft) <= here + 1e-3


@settings(max_examples=40, deadline=None)
@given(short=st.floats(0.1, 0.6), thick=st.floats(0.05, 0.2), share=st.floats(0.1, 0.7), more=st.floats(1.05, 2.0))
def test_a_wider_or_weaker_cope_never_stands_better(short, thick, share, more):
    given_ = chance.shared(OWN, 256)

    def falls(cake, own=OWN, shared=given_) -> float:
        return float(np.maximum(*chance.handled(cake, own, shared)).mean())

    here = falls(plain(short, short, thick, share * thick, 0.8 * short))
    assert falls(plain(short * more, short * more, thick, share * thick, 0.8 * short * more)) >= here
    assert falls(plain(short, short, thick, share * thick, 0.8 * short), shared=given_._replace(strength=given_.strength * more)) <= here + 1e-12
    assert falls(plain(short, short, thick, share * thick, 0.8 * short, bars=short / 3)) <= here + 1e-12


@settings(max_examples=30, deadline=None)
@given(wide=SIZES, slender=SLENDER, draft=DRAFT, many=st.integers(1, 40))
def test_low_and_high_hold_the_likely_chance(wide, slender, draft, many):
    body = shop.post(slender * wide, wide, 0.0)._replace(draft=np.full(12, draft))
    groups = [chance.Group(body, many, tuple(range(many)), 0.3)]
    rows = chance.table(chance.standing((), groups, None, OWN, chance.crossed(OWN), {}))
    low, high = (chance.Chances(*five.tolist()) for five in ends(rows.reshape(4, chance.SHOPS, chance.DRAWS)))
    likely = chance.chances((), groups, None, OWN, chance.shared(OWN), {})
    assert 0.0 <= low.pocket <= high.pocket <= 1.0
    assert low.any >= low.pocket - 1e-12
    # a rare failure, or a rare success, may lie wholly in one tenth of the shops: the mean then stands outside the other nine
    assert low.pocket <= likely.pocket + 0.02 or likely.pocket > 0.9
    assert high.pocket >= likely.pocket - 0.02 or likely.pocket < 0.1
