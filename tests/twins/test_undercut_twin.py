"""Undercuts two ways: columns of the raster against the exact filling, and the withdrawal of the filled solid."""

import manifold3d
import numpy as np
import pytest

from pattern_shop import box, mushroom, rod
from strickle.base import BadInput
from strickle.pattern.columns import view
from strickle.pattern.undercut import caught, fill, halves, plain, withdrawn

SHAPES = {
    "mushroom": mushroom(),
    "cross bore": box(60, 40, 30, (0, 0, -12)) - rod(10, 80, (0, 0, 0)).rotate((90, 0, 0)).translate((30, 60, 2)),
    "leaning wall": box(60, 40, 10) + box(60, 8, 30, (0, 0, 9)).warp(lambda p: (p[0], p[1] + 0.5 * max(p[2] - 9.0, 0.0), p[2])),
    "ball off the parting": manifold3d.Manifold.sphere(15, 64).translate((0, 0, 6)),
}  # fmt: skip


@pytest.mark.parametrize("name", SHAPES)
def test_columns_agree_with_the_exact_filling(name):
    body = SHAPES[name]
    filled, regions, volume = fill(body)
    vertices, faces = plain(body)
    seen = view(vertices, faces, 400)
    assert seen.leaks == 0
    trapped = float(seen.trapped(np.array([0.0]))[0])
    assert volume > 50
    assert volume == pytest.approx(trapped, rel=0.02)
    assert sum(r.volume for r in regions) == pytest.approx(volume, rel=2e-3, abs=0.5)
    assert filled.genus() >= 0
    again = view(*plain(filled), 400)
    assert float(again.trapped(np.array([0.0]))[0]) < 1e-3 * volume


@pytest.mark.parametrize("name", SHAPES)
def test_the_filled_solid_comes_out(name):
    body = SHAPES[name]
    before = max(withdrawn(body))
    after = max(withdrawn(fill(body)[0]))
    assert before > 20
    assert after < 0.5


def test_a_ring_under_a_cap_is_its_known_volume():
    _, regions, volume = fill(mushroom())
    # the ring between stem and cap, from the plate to the cap, of 64-sided bars
    side = 64 / 2 * np.sin(2 * np.pi / 64)
    assert volume == pytest.approx(side * (16**2 - 10**2) * (29 - 8), rel=1e-3)
    assert len(regions) == 1
    assert regions[0].half == "cope"
    assert regions[0].bore == 0


def test_a_cross_bore_is_told_as_a_hole_to_drill():
    _, regions, _ = fill(SHAPES["cross bore"])
    assert len(regions) == 1
    assert regions[0].bore == pytest.approx(10, rel=0.03)
    assert regions[0].half == "both"


def test_nothing_is_filled_where_nothing_is_undercut():
    body = box(60, 40, 10) + rod(20, 20, (30, 20, 9), top=16)
    filled, regions, volume = fill(body)
    assert (regions, volume) == ((), 0.0)
    assert filled.volume() == body.volume()
    over, _ = halves(filled)
    assert caught(over, 1.0, 5.0) < 1e-6


def test_a_surface_of_very_many_overhangs_is_refused_in_one_line():
    def field(many):
        cubes = [manifold3d.Manifold.cube((1.0, 1.0, 1.0)).translate((2.0 * i, 2.0 * j, 2.0)) for i in range(many) for j in range(many)]
        return manifold3d.Manifold.compose([manifold3d.Manifold.cube((2.0 * many, 2.0 * many, 1.0)), *cubes])

    assert len(fill(field(6))[1]) == 36
    with pytest.raises(BadInput, match="more than 400 patches of it hang over the sand"):
        fill(field(21))
