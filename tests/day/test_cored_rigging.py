"""Rigging beside cores: risers, vents and flow-offs keep out of the prints; and cores asked for where no hole takes one are told of."""

from __future__ import annotations

import dataclasses
import itertools
from types import SimpleNamespace

import manifold3d as m3
import numpy as np
import pytest
from planned import PARTS, _stl, codes, runner, text, through

import strickle
from strickle.base import BadInput, tell
from strickle.card import order
from strickle.card.places import places
from strickle.pattern import PatternAsk
from strickle.rigging.body import Body
from strickle.stores.kit import starter_kit
from strickle.trials.turned import wants_turning
from trapping import solid_of

UP = np.array([0.0, 1.0, 0.0])


Z = np.array([0.0, 0.0, 1.0])


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
    assert "pattern.core_out" not in codes(trail)  # a straight bore is no chamber
    assert rigging.risers
    assert not [f for f in trail.findings if f.weight == "STOP"]
    core = solid_of(pattern.cores[0].mesh)
    for riser in (p for p in rigging.pieces if p.name.startswith("riser")):
        assert (solid_of(riser.mesh) ^ core).volume() == 0.0


@pytest.mark.parametrize(("bores", "cores"), [("sand", 0), ("core", 1)])
def test_a_core_that_is_asked_for_goes_before_the_drill(bores, cores, monkeypatch):
    """A hole of 16 mm through 40: filled for the drill unasked, made by a core where that is asked for."""
    bored = m3.Manifold.cube((70, 60, 40), True) - m3.Manifold.cylinder(60, 8, 8, 36, True)
    monkeypatch.setitem(PARTS, "bored", lambda: _stl(bored))
    trail = through(runner("bored", pattern=PatternAsk(bores=bores, up=np.array([0.0, 0.0, 1.0]))), until="pattern")
    pattern = trail.results["pattern"]
    assert len(pattern.cores) == cores
    assert (pattern.holes_filled > 0) == (cores == 0)


def test_gas_of_an_upright_core_goes_up_through_the_cope_and_the_card_says_where(monkeypatch):
    bored = m3.Manifold.cube((90, 80, 50), True).translate((0, 0, 25)) - m3.Manifold.cylinder(120, 14, 14, 48, True)
    monkeypatch.setitem(PARTS, "upright", lambda: _stl(bored))
    results = through(
        runner("upright", dataclasses.replace(starter_kit(), builds_flasks=True), pattern=PatternAsk(bores="core", up=Z)), until="cavity"
    ).results
    pattern, mould, rigging = (results[stage] for stage in ("pattern", "mould", "rigging"))
    (core,) = pattern.cores
    assert core.lies == "upright"
    (vent,) = [v for v in rigging.vents if v.kind == "core"]
    assert vent.diameter == core.vent > 0.0
    assert np.linalg.norm(vent.at[:2] - core.at[:2]) < 1e-3
    assert vent.at[2] == pytest.approx(core.mesh.vertices[:, 2].max(), abs=1e-4)
    told = dict(places(pattern, mould, rigging, "metric"))["core-1-vent"]
    assert float(told.split(", ")[2].removesuffix(" deep")) == pytest.approx((mould.box[5] - vent.at[2]) * 1e3, abs=0.5)
    facts = SimpleNamespace(
        rigging=rigging, mould=mould, pattern=pattern, units="metric", pieces=(*pattern.pieces, *rigging.pieces), say=lambda v, u, s="": tell(v, u)
    )
    assert "With a rod, down to the print of its core: core-1-vent" in order._vents(facts)
    assert "must meet the hole in the cope" in order._set(facts)
    assert "along the joint" not in order._set(facts)
    shut = dataclasses.replace(rigging, vents=())
    assert "vents led out along the joint" in order._set(SimpleNamespace(**{**vars(facts), "rigging": shut}))


def test_every_body_of_a_half_has_its_place(monkeypatch):
    """Two bodies in the drag: each is told apart from the middle of all."""
    slab = m3.Manifold.cube((150, 60, 12), True).translate((0, 0, 6))
    feet = [m3.Manifold.cylinder(20, 16, 14, 48).mirror((0, 0, 1)).translate((x, 0, 0)) for x in (-50, 50)]
    monkeypatch.setitem(PARTS, "two feet", lambda: _stl(slab + feet[0] + feet[1]))
    results = through(runner("two feet", pattern=PatternAsk(up=Z, parting=0.0)), until="rigging").results
    told = dict(places(results["pattern"], results["mould"], results["rigging"], "metric"))
    at = [float(told[f"drag-pattern{n}'s middle"].split(",")[0]) for n in ("", "-2")]
    assert abs(at[0] - at[1]) == pytest.approx(100.0 * results["pattern"].print_scale[0], abs=1.0)


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


def elbow() -> m3.Manifold:
    """A flanged pipe elbow [mm], its middle lines in z = 0, with a boss on top that makes its halves unlike."""
    arc = np.radians(np.linspace(0.0, 90.0, 25))
    middle = np.column_stack([60.0 * np.cos(arc), 60.0 * np.sin(arc), 0.0 * arc])

    def tube(radius: float, beyond: float) -> m3.Manifold:
        balls = [m3.Manifold.sphere(radius, 48).translate(tuple(p)) for p in middle]
        bend = m3.Manifold.batch_boolean([m3.Manifold.batch_hull(pair) for pair in itertools.pairwise(balls)], m3.OpType.Add)
        down = m3.Manifold.cylinder(beyond, radius, radius, 48).rotate((90, 0, 0)).translate((60.0, 0.0, 0.0))
        left = m3.Manifold.cylinder(beyond, radius, radius, 48).rotate((0, -90, 0)).translate((0.0, 60.0, 0.0))
        return bend + down + left

    flanges = m3.Manifold.cylinder(8, 30, 30, 64).rotate((90, 0, 0)).translate((60, -22, 0)) + m3.Manifold.cylinder(8, 30, 30, 64).rotate(
        (0, -90, 0)
    ).translate((-22, 60, 0))
    boss = m3.Manifold.cylinder(24, 9, 8, 48).translate((42.4, 42.4, 0))
    return tube(18.0, 30.0) + flanges + boss - tube(12.0, 60.0)


def test_a_pipe_elbow_is_parted_through_its_middle_and_cored(monkeypatch):
    """Off its middle the flanges would leave a lip all round, and no box of its core would open."""
    monkeypatch.setitem(PARTS, "elbow", lambda: _stl(elbow()))
    trail = through(runner("elbow", pattern=PatternAsk()), until="mould")
    pattern = trail.results["pattern"]
    assert abs(pattern.parting_level) < 1e-5
    assert len(pattern.cores) == 1
    assert pattern.undercut_volume < 1e-7
    assert not [f for f in trail.findings if f.weight == "STOP" and f.code.startswith("pattern")]


def flanged() -> m3.Manifold:
    """A pipe elbow [mm] of 40 in 54, its middle lines in z = 0, with flanges of 95 by 12 at both ends."""

    def pipe(radius: float, more: float) -> m3.Manifold:
        bend = m3.CrossSection.circle(radius, 36).translate((60.0, 0.0)).revolve(72, 90.0)
        down = m3.Manifold.cylinder(30.0 + more, radius, radius, 36).rotate((90, 0, 0)).translate((60.0, 0.0, 0.0))
        left = m3.Manifold.cylinder(30.0 + more, radius, radius, 36).rotate((0, -90, 0)).translate((0.0, 60.0, 0.0))
        return bend + down + left

    plates = m3.Manifold.cylinder(12.0, 47.5, 47.5, 48).rotate((90, 0, 0)).translate((60.0, -18.0, 0.0))
    plates += m3.Manifold.cylinder(12.0, 47.5, 47.5, 48).rotate((0, -90, 0)).translate((-18.0, 60.0, 0.0))
    return pipe(27.0, 0.0) + plates - pipe(20.0, 20.0)


@pytest.mark.validate
def test_an_elbow_with_flanges_is_drawn_the_way_that_its_core_goes(monkeypatch):
    """The search sees the sand of the bore, not the core that answers it: drawn its way, more than half of the part would be filled."""
    monkeypatch.setitem(PARTS, "flanged", lambda: _stl(flanged()))
    trail = through(runner("flanged", pattern=PatternAsk()), until="pattern")
    pattern = trail.results["pattern"]
    assert "trials.turned" in codes(trail)
    assert abs(pattern.draw[2]) > 0.999
    assert len(pattern.cores) == 1
    assert not pattern.stops
    assert "that side was asked" not in text(next(f for f in trail.findings if f.code == "pattern.lies"))


def test_a_core_that_nothing_holds_asks_for_another_way():
    """Unless the person said which side is up."""
    free, fixed = (SimpleNamespace(ask=lambda _, ask=ask: ask) for ask in (PatternAsk(), PatternAsk(up=np.array([0.0, 0.0, 1.0]))))
    afloat, held = (SimpleNamespace(stops=(), cores=(SimpleNamespace(name="core-1", bearing=area),)) for area in (0.0, 1e-4))
    assert wants_turning(free, afloat)
    assert not wants_turning(free, held)
    assert not wants_turning(fixed, afloat)


def jacket() -> m3.Manifold:
    """A block [mm] with a closed chamber round a bore, open by two ports that stand off its sides."""

    def across(wide: float, long: float, x: float, y: float) -> m3.Manifold:
        return m3.Manifold.cylinder(long, wide / 2, wide / 2, 36, True).rotate((0, 90, 0)).translate((x, y, 0))

    block = m3.Manifold.cube((130, 90, 76), True) - m3.Manifold.cube((112, 72, 58), True)
    block += across(44, 20, -72, 12) + across(44, 20, 72, -12)
    block -= across(26, 40, -72, 12) + across(26, 40, 72, -12)
    return block + m3.Manifold.cylinder(76, 23, 23, 36, True) - m3.Manifold.cylinder(100, 15, 15, 36, True)


@pytest.mark.validate
def test_a_chamber_is_drawn_the_way_that_its_core_is_held(monkeypatch):
    """Drawn along a port, it would be filled, or its core lie in metal on all sides and float."""
    monkeypatch.setitem(PARTS, "jacket", lambda: _stl(jacket()))
    trail = through(runner("jacket", pattern=PatternAsk()), until="pattern")
    pattern = trail.results["pattern"]
    assert "trials.turned" in codes(trail)
    assert "pattern.core_out" in codes(trail)
    assert pattern.cores
    assert all(core.bearing > 0.0 for core in pattern.cores)
    assert not pattern.stops
