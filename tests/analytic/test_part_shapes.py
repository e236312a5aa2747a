"""The part room on bodies whose answers are known.

C15 (torus, frustum, cylinder: mensuration; inscribed circle of a T of two walls of 10 mm) is in outside/shapes.py.
"""

from __future__ import annotations

import dataclasses

import manifold3d
import numpy as np
import pytest

from outside import every
from outside.shapes import examined, tee, triangles
from strickle.base import quiet
from strickle.part import PartAsk
from strickle.part.hotspots import largest_ball, plate_modulus, setting
from strickle.part.steps import examine
from strickle.part.walls import walls

Solid = manifold3d.Manifold


def _box(x, y, z):
    return Solid.cube((x, y, z), True)


def _rod(length, diameter, shift=0.0):
    return Solid.cylinder(length, diameter / 2, diameter / 2, 64, True).rotate((0.0, 90.0, 0.0)).translate((shift, 0.0, 0.0))


@pytest.fixture
def look(as_stl, bench_metal, bench_stores):
    def examined(solid, cells=8000, unit="mm"):
        return examine(PartAsk(data=as_stl(solid), name="shape.stl", unit=unit, cells=cells), bench_metal, bench_stores, quiet)

    return examined


@pytest.mark.parametrize("case", every("shapes"), ids=lambda c: f"{c.name}-{c.rows.__name__}")
def test_closed_figures(case):
    assert not case.faults()


@pytest.mark.parametrize("fillet", [0.0, 5.0])
def test_the_ball_lies_in_the_middle_of_the_tee_and_the_wall_is_told(fillet):
    part = examined(fillet)
    assert abs(part.hot_spots[0].at[0]) < 3e-3
    assert part.median_wall == pytest.approx(0.010, rel=0.02)


def test_the_climb_finds_the_tee_s_ball_exactly():
    vertices, faces = triangles(tee())
    at, radius = largest_ball(vertices * 1e-3, faces, np.array([0.001, -0.002, 0.0]), 5e-3)
    assert 2e3 * radius == pytest.approx(12.5, rel=0.01)
    assert at[1] == pytest.approx((6.25 - 5.0) * 1e-3, abs=2e-4)


@pytest.mark.parametrize("thick", [4.0, 8.0, 20.0])
def test_walls_and_modulus_of_a_plate(look, thick):
    part = look(_box(120.0, 80.0, thick))
    assert part.median_wall == pytest.approx(thick * 1e-3, rel=1e-3)
    assert part.least_wall == pytest.approx(thick * 1e-3, rel=1e-3)
    assert part.hot_spots[0].radius == pytest.approx(thick * 0.5e-3, rel=0.01)
    # its edges cool it, so it freezes sooner than an endless plate and about as its volume over surface says (C07: compact bodies sooner)
    assert 0.85 * part.modulus < part.hot_spots[0].modulus < 1.03 * thick * 0.5e-3
    assert part.volume == pytest.approx(120e-3 * 80e-3 * thick * 1e-3, rel=1e-6)


def test_walls_do_not_hear_of_small_facets():
    tube = Solid.cylinder(60.0, 30.0, 30.0, 180, True) - Solid.cylinder(70.0, 26.0, 26.0, 180, True)
    wall = walls(*triangles(tube))
    assert wall.median == pytest.approx(4.0, rel=0.03)
    assert wall.least == pytest.approx(4.0, rel=0.05)
    plate = _box(100.0, 60.0, 10.0) + _box(20.0, 2.0, 30.0)  # a thin fin on both faces: its share decides
    wall = walls(*triangles(plate))
    assert wall.median == pytest.approx(10.0, rel=0.02)
    assert wall.least == pytest.approx(2.0, rel=0.02)
    assert abs(wall.least_at[1]) <= 1.0 + 1e-6
    assert abs(wall.least_at[2]) >= 5.0


def test_a_dumb_bell_gets_two(look):
    part = look(_rod(100.0, 12.0) + _rod(40.0, 40.0, -60.0) + _rod(40.0, 40.0, 60.0))
    fed = [spot for spot in part.hot_spots if spot.needs_feed]
    assert len(fed) == 2
    assert sorted(round(float(spot.at[0]), 2) for spot in fed) == [-0.06, 0.06]
    for spot in fed:
        assert spot.radius == pytest.approx(0.02, rel=0.03)
    assert not any(finding.code == "part.hot_spot_doubtful" for finding in part.findings)


def test_a_small_end_on_a_thick_bar_is_fed_by_the_large_end(look):
    part = look(_rod(120.0, 22.0) + _rod(40.0, 40.0, -60.0) + _rod(28.0, 28.0, 60.0))
    fed = [spot for spot in part.hot_spots if spot.needs_feed]
    assert len(fed) == 1
    assert fed[0].at[0] < -0.04


def test_a_plate_with_a_boss_gets_one_at_the_boss(look):
    plate = _box(120.0, 80.0, 8.0) + Solid.cylinder(24.0, 15.0, 15.0, 64, True).translate((30.0, 15.0, 8.0))
    part = look(plate)
    (fed,) = (spot for spot in part.hot_spots if spot.needs_feed)
    assert np.hypot(fed.at[0] - 0.030, fed.at[1] - 0.015) < 5e-3
    assert fed is part.hot_spots[0]


def test_a_thin_plate_gets_none_and_a_middling_one_is_doubtful(look):
    thin = look(_box(120.0, 80.0, 4.0))
    assert not any(spot.needs_feed for spot in thin.hot_spots)
    assert not any(finding.code == "part.hot_spot_doubtful" for finding in thin.findings)
    middling = look(_box(120.0, 80.0, 8.0))
    (doubt,) = (finding for finding in middling.findings if finding.code == "part.hot_spot_doubtful")
    assert doubt.where.point is not None
    assert doubt.margin.unit == "1"
    assert 0.5 < doubt.margin.value < 2.0
    assert not middling.hot_spots[0].needs_feed
    thick = look(_box(120.0, 80.0, 20.0))
    assert thick.hot_spots[0].needs_feed


def test_plate_modulus_gives_back_the_plates(bench_metal, bench_stores):
    own = setting(bench_metal, bench_stores)
    modulus = plate_modulus(own)
    # between the plates it runs with time as theory says: the root of time where the sand rules
    assert modulus(4.0 * 300.0) / modulus(300.0) == pytest.approx(2.0, rel=0.06)
    # and the sand-ruled constant of the closed solution bounds it: contact and depth of the metal only slow it
    assert modulus(300.0) < np.sqrt(300.0 / own.constant) * 1.1


def test_findings_say_where_and_change_with_the_part(look):
    def finding(solid, code):
        return next((f for f in look(solid).findings if f.code == code), None)

    two, one = finding(_box(80.0, 60.0, 2.0), "part.thin_wall"), finding(_box(80.0, 60.0, 1.2), "part.thin_wall")
    assert two.weight == "MIND"
    assert two.says != one.says
    assert two.where.point is not None
    assert 0.0 < one.margin.value < two.margin.value < 1.0
    assert finding(_box(80.0, 60.0, 6.0), "part.thin_wall") is None
    hollow = finding(_box(40.0, 40.0, 40.0) - _box(10.0, 10.0, 10.0), "part.closed_hollow")
    assert hollow.weight == "STOP"
    assert np.allclose(hollow.where.point, 0.0, atol=1e-6)


def test_the_unit_is_told_when_it_is_assumed(look):
    (told,) = (finding for finding in look(_box(80.0, 60.0, 6.0), unit=None).findings if finding.code == "part.unit_assumed")
    assert "taken as millimetre" in told.says
    assert "metre it would be" in told.because
    assert "part.unit_assumed" not in {finding.code for finding in look(_box(80.0, 60.0, 6.0)).findings}


def test_small_whole_numbers_are_taken_as_inches_and_it_is_said_why(look):
    part = look(_box(2.0, 2.0, 1.0), unit=None, cells=2000)
    assert part.unit == "in"
    assert part.extents == pytest.approx(np.array([0.0508, 0.0508, 0.0254]))
    (told,) = (finding for finding in part.findings if finding.code == "part.unit_assumed")
    assert told.weight == "MIND"
    assert "taken as inch" in told.says
    assert "too small and read in metre it would be" in told.because
    assert "too large: only inch is left" in told.because


def test_the_bare_freeze_runs_in_the_sand_asked_for(bench_metal, bench_stores):
    from strickle.base import BadInput

    own = bench_stores.sands["oil-bonded"]
    k = dataclasses.replace(own.values["k"], value=1.2, low=1.2, high=1.2)
    dry = dataclasses.replace(own, key="dry", values={**own.values, "k": k})
    both = dataclasses.replace(bench_stores, sands={**bench_stores.sands, "dry": dry})
    assert setting(bench_metal, both, "dry").constant == pytest.approx(0.5 * setting(bench_metal, both).constant)
    with pytest.raises(BadInput, match="sand 'wet' is not in the stores"):
        setting(bench_metal, both, "wet")
