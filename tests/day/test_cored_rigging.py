"""Rigging beside cores: risers, vents and flow-offs keep out of the prints; and cores asked for where no hole takes one are told of."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
from planned import PARTS, _stl, codes, runner, text, through

import strickle
from strickle.base import BadInput
from strickle.pattern import PatternAsk
from strickle.rigging.body import Body
from trapping import solid_of

UP = np.array([0.0, 1.0, 0.0])


def pillow(long: float) -> m3.Manifold:
    """A bearing block [mm]: foot, round housing and a bore 34 across that runs ``long`` along y."""
    foot = m3.Manifold.cube((110, long, 14), True).translate((0, 0, 7))
    housing = m3.Manifold.cylinder(long, 28, 28, 64, True).rotate((90, 0, 0)).translate((0, 0, 40)) + m3.Manifold.cube(
        (56, long, 40), True
    ).translate((0, 0, 20))
    return foot + housing - m3.Manifold.cylinder(2 * long, 17, 17, 64, True).rotate((90, 0, 0)).translate((0, 0, 40))


@pytest.mark.parametrize(("long", "cores"), [(70.0, 1), (30.0, 0)])
def test_risers_stand_clear_of_a_core_and_a_bore_too_short_for_one_is_told(long, cores, monkeypatch):
    monkeypatch.setitem(PARTS, f"pillow {long}", lambda: _stl(pillow(long)))
    trail = through(runner(f"pillow {long}", pattern=PatternAsk(bores="core", up=UP)), until="rigging")
    pattern, rigging = trail.results["pattern"], trail.results["rigging"]
    assert len(pattern.cores) == cores
    assert ("pattern.no_bore" in codes(trail)) == (cores == 0)
    if not cores:
        assert "10 mm" in text(next(f for f in trail.findings if f.code == "pattern.no_bore"))
        return
    assert rigging.risers
    assert not [f for f in trail.findings if f.weight == "STOP"]
    core = solid_of(pattern.cores[0].mesh)
    for riser in (p for p in rigging.pieces if p.name.startswith("riser")):
        assert (solid_of(riser.mesh) ^ core).volume() == 0.0


def test_what_stands_of_a_core_over_a_level_is_closed_ground():
    print_of = np.array([[x, y, z] for x in (0.0, 10.0) for y in (0.0, 20.0) for z in (0.0, 30.0)])
    body = object.__new__(Body)
    body.cores = (print_of, print_of + np.array([100.0, 0.0, -50.0]))
    assert body.cores_over(20.0).area == pytest.approx(200.0)
    assert body.cores_over(-40.0).area == pytest.approx(400.0)
    assert body.cores_over(40.0).is_empty


def test_a_direction_may_be_given_as_text_and_a_wrong_one_is_told_in_one_line(tmp_path):
    (tmp_path / "a.stl").write_bytes(PARTS["thin plate"]())
    for wrong in ("up", object(), (1, 2), "0,0,0"):
        with pytest.raises(BadInput, match="up"):
            strickle.look(tmp_path / "a.stl", out=tmp_path / "a.job", up=wrong)
    assert strickle.look(tmp_path / "a.stl", out=tmp_path / "a.job", up="0,0,-1").exit_code in (0, 3)
