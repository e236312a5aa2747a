"""Whether metal covers an open face: judged for the impression as it is, with how full to pour and what a brisk pour adds."""

from __future__ import annotations

import dataclasses
import math

import manifold3d as m3
import numpy as np
import pytest

import factory
from melt_shop import a356, cavity, kit, mould, stores
from strickle.base import quiet, render
from strickle.melt import MeltAsk
from strickle.melt.steps import charge
from strickle.pour import PourAsk
from strickle.pour.covers import cover_of
from strickle.pour.steps import fill
from strickle.rigging import RiggingAsk
from strickle.rigging.open_face import rig_open


def poured(x=60.0, y=60.0, deep=6.0, metal=None, **ask):
    """A box-shaped impression of ``x`` by ``y`` by ``deep`` [mm], poured level."""
    metal, here = metal or a356(), stores()
    body = m3.Manifold.cube((x, y, deep), center=False).translate((-x / 2, -y / 2, -deep))
    part = factory.part_of(body, wall=deep)
    pattern = dataclasses.replace(factory.pattern_of(part), cope_depth=0.0, drag_depth=deep * 1e-3)
    rigging = rig_open(part, pattern, metal, here, RiggingAsk(fill="level"))
    sand, closed = mould(kind="open-face"), cavity(rigging.open_pour.mass.value)
    melt = charge(part, sand, rigging, closed, metal, here, MeltAsk(), quiet)
    return rigging, fill(part, pattern, sand, rigging, closed, metal, melt, here, PourAsk(filling="none", **ask), quiet)


def told(pour):
    return next((f for f in pour.findings if f.code == "pour.covers"), None)


def test_a_shallow_face_is_told_from_which_depth_it_covers_and_how_full_to_pour():
    rigging, pour = poured(deep=6.0)
    pool, finding = rigging.open_pour, told(pour)
    assert pool.depth == pytest.approx(6e-3, rel=1e-6)
    assert pool.depth < pour.cover_depth < pool.stands
    assert finding.margin.value == pytest.approx(pool.depth / pour.cover_depth)
    cover = cover_of(rigging, pool)
    assert cover.over_rim == pytest.approx(pour.cover_depth - pool.depth)  # poured level: the rim is at the impression's own depth
    assert cover.mass == pytest.approx(pool.mass.value * pour.cover_depth / pool.depth)
    assert cover.over_rim > pool.bears  # more than the rim bears: it takes stock or a thicker part
    assert "stock" in finding.do
    _, deep = poured(deep=9.5)
    assert "over the rim" in render(told(deep).do)
    assert "Pour 85" in render(told(deep).do)


def test_a_compact_impression_covers_earlier_than_a_long_one():
    (_, small), (_, large), (_, long) = poured(25.0, 25.0), poured(60.0, 60.0), poured(120.0, 25.0)
    assert small.cover_depth < large.cover_depth < long.cover_depth
    assert told(poured(25.0, 25.0, 9.0)[1]) is None
    assert told(poured(120.0, 25.0, 9.0)[1]) is not None
    assert told(poured(120.0, 25.0, 13.0)[1]) is None


def test_a_brisk_pour_may_help_and_a_slow_one_is_told_what_it_takes():
    rigging, slow = poured(60.0, 60.0, 6.0, rate=0.05)
    brisk = poured(60.0, 60.0, 6.0, rate=3.0)[1]
    assert "hardly" in told(slow).because
    assert "may help" in told(brisk).because
    cover = cover_of(rigging, rigging.open_pour)
    assert cover.flow == pytest.approx(cover.speed * rigging.open_pour.depth * 0.06, rel=1e-6)


def test_metal_that_draws_back_from_walls_is_told_so():
    assert "draws back" not in told(poured(deep=8.0)[1]).says
    assert "draws back" in told(poured(deep=4.0)[1]).says


def test_an_open_face_follows_the_hand():
    rigging, one = poured(rate=0.1)
    volume = rigging.flow * rigging.pour_time
    assert one.fill_time.value == pytest.approx(volume * a356().density_liquidus / 0.1)
    assert one.hand.likely.poured_by(99.0) == pytest.approx(volume)
    broken = poured(rate=0.1, break_at=0.1, break_for=2.0)[1]
    assert broken.fill_time.value == pytest.approx(one.fill_time.value + 2.0)
    assert broken.rate == pytest.approx(one.rate)
    assert any(f.code == "pour.break" for f in broken.findings)
    plain = poured()[1]
    assert plain.fill_time.low == pytest.approx(volume * 2380.0 / kit().pour_rate_high)
    assert plain.fill_time.high == pytest.approx(volume * 2380.0 / kit().pour_rate_low)
    assert poured(lip=0.2)[1].fall_speed == pytest.approx(math.sqrt(2 * 9.80665 * (0.2 + float(np.ptp(rigging.casting.vertices[:, 2])))), rel=1e-3)
