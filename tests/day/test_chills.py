"""Chills and sleeves: asked for as text, laid in the sand against the metal, frozen, and told on the card with the care they need."""

from __future__ import annotations

import dataclasses

import card_factory
import manifold3d as m3
import numpy as np
import pytest
from planned import PARTS, _stl, box, runner, text

import factory as f
from strickle.base import BadInput, render
from strickle.card import safety
from strickle.card.order import Facts, day
from strickle.card.places import places
from strickle.cavity import CHILL, GRAPHITE, SAND, SLEEVE, CavityAsk
from strickle.job.recipe import BY_NAME
from strickle.rigging import Chill, ChillSet, RiggingAsk, Sleeve
from strickle.sound import SoundAsk

PARTS["long plate"] = lambda: _stl(box(200, 60, 12) + m3.Manifold.cylinder(16, 14, 14, 64).translate((-70, 0, 10)))
FAR = Chill(name="far", at=np.array([0.1, 0.0, 0.006]), across=0.03, thick=0.02)


def frozen(ask: RiggingAsk):
    """The long plate laid once and frozen roughly, without the riser loop."""
    made = runner("long plate", rigging=ask, cavity=CavityAsk(most_cells=300_000), sound=SoundAsk(preset="rough", knock_out=False))
    return made.run("sound"), made.results


def test_of_two_plates_the_one_with_riser_and_chill_has_the_smaller_area_at_risk():
    plain, _ = frozen(RiggingAsk())
    chilled, results = frozen(RiggingAsk(chills=(FAR,)))
    assert len(results["rigging"].risers) == 1
    assert plain.poor_share > 0.02
    assert chilled.poor_share < 0.3 * plain.poor_share
    assert chilled.least_niyama.value > plain.least_niyama.value
    assert chilled.last_to_freeze.time.value < plain.last_to_freeze.time.value
    assert chilled.balance_error < 1e-9
    tags = results["cavity"].grid.tags
    held = np.count_nonzero(tags == CHILL) * results["cavity"].cell ** 3 * 7850.0
    assert held == pytest.approx(results["rigging"].chills[0].mass, rel=0.25)  # a few cells across


def test_a_sleeve_keeps_its_riser_liquid_longer():
    plain, _ = frozen(RiggingAsk())
    sleeved, results = frozen(RiggingAsk(sleeve=0.012))
    (one,) = results["rigging"].sleeves
    assert one.riser == "riser-1"
    assert one.diameter == pytest.approx(results["rigging"].risers[0].diameter + 0.024)
    assert (results["cavity"].grid.tags == SLEEVE).any()
    assert sleeved.necks[0].riser_time > 1.2 * plain.necks[0].riser_time


def laid(*chills: Chill, **more):
    return f.rigged(f.box(80, 60, 20), wall=20, ask=RiggingAsk(chills=chills, **more))[0]


def top(**changes) -> Chill:
    return dataclasses.replace(Chill(name="top", at=np.array([0.022, 0.012, 0.02]), across=0.02, thick=0.01), **changes)


def test_a_chill_is_cut_to_the_surface_and_weighed():
    rig = laid(top())
    (chill,) = rig.chills
    assert chill.contact == pytest.approx(4e-4, rel=0.02)
    assert chill.mass == pytest.approx(0.02 * 0.02 * 0.01 * 7850.0, rel=0.02)
    assert chill.half == "cope"
    (region,) = (r for r in rig.regions if r.kind == "chill")
    assert region.mesh.vertices[:, 2].min() == pytest.approx(0.02, abs=1e-6)
    (care,) = (x for x in rig.findings if x.code == "rigging.chill_dry")
    assert "clean, rust-free, coated, warm and dry" in text(care)
    assert care.weight == "MIND"
    assert "will" not in text(care).split()


def test_graphite_has_a_tag_of_its_own():
    rig = laid(top(material="graphite"))
    assert [r.kind for r in rig.regions if r.name == "top"] == ["graphite"]
    assert GRAPHITE not in (CHILL, SAND, SLEEVE)
    assert rig.chills[0].mass < laid(top()).chills[0].mass


def test_a_round_surface_is_followed():
    ball = m3.Manifold.sphere(25.0, 96).translate((0, 0, 25))
    rig = f.rigged(ball, parting=25.0, wall=20, ask=RiggingAsk(chills=(top(at=np.array([0.0, 0.0, 0.05]), across=0.015),)))[0]
    assert rig.chills[0].contact == pytest.approx(0.015**2, rel=0.1)


def test_a_second_chill_on_the_same_place_is_lost_and_stops_the_plan():
    rig = laid(top(), top(name="again"))
    (lost,) = (x for x in rig.findings if x.code == "rigging.chill_lost")
    assert lost.weight == "STOP"
    assert "again" in text(lost)


def test_a_sleeve_without_a_riser_is_told():
    rig = laid(sleeve=0.012)
    assert not rig.risers
    (told,) = (x for x in rig.findings if x.code == "rigging.sleeve_unused")
    assert told.weight == "MIND"


@pytest.mark.parametrize(
    ("chill", "says"),
    [
        (top(at=np.array([0.5, 0.0, 0.02])), "from the part"),
        (top(at=np.array([np.nan, 0.0, 0.02])), "no place"),
        (top(across=0.0), "not as wide"),
        (top(thick=-0.01), "not as thick"),
        (top(thick=np.nan), "not as thick"),
        (top(material="copper"), "'copper'"),
    ],
)
def test_a_chill_that_cannot_be_meant_is_one_clear_line(chill, says):
    with pytest.raises(BadInput) as caught:
        laid(chill)
    assert says in render(caught.value.says)
    assert "\n" not in str(caught.value)


def test_two_of_one_name_and_an_odd_sleeve_are_refused():
    with pytest.raises(BadInput, match="same name"):
        laid(top(), top())
    with pytest.raises(BadInput, match="sleeve"):
        laid(sleeve=0.0)


@pytest.mark.parametrize(
    "line",
    [
        "", ";", "far", "far: 1 mm, 2 mm", "far: 1, 2, 3, 4, 5", "far: 1 mm, 2 mm, 3 mm, 0 mm, 5 mm", "far: 1 mm, 2 mm, 3 mm, 20 mm, -5 mm, steel",
        "far: 1 mm, 2 mm, 3 mm, 20 mm, 10 mm, butter", "far: 1 km, 2 mm, 3 mm, 20 mm, 10 mm", "far: nan mm, 2 mm, 3 mm, 20 mm, 10 mm",
        "far: 1 mm, 2 mm, 3 mm, nan mm, 10 mm", "a: 1 mm, 2 mm, 3 mm, 20 mm, 10 mm; a: 1 mm, 2 mm, 3 mm, 20 mm, 10 mm",
        "; ".join(f"c{i}: 1 mm, 2 mm, 3 mm, 20 mm, 10 mm" for i in range(13)), "../x: 1 mm, 2 mm, 3 mm, 20 mm, 10 mm", 7, None, True,
    ],
)  # fmt: skip
def test_a_line_of_chills_that_is_none_is_refused_in_one_line(line):
    with pytest.raises(BadInput) as caught:
        BY_NAME["chills"].read(line)
    assert "rigging.chills" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("wall", ["0 mm", "-3 mm", "2 m", "thick", "12"])
def test_a_wall_of_a_sleeve_that_is_none_is_refused(wall):
    with pytest.raises(BadInput):
        BY_NAME["sleeve"].read(wall)


# The card


@pytest.fixture(scope="module")
def results():
    return card_factory.results()


def with_inserts(results):
    rigging = results["rigging"]
    chill = ChillSet(
        name="far",
        material="steel",
        at=np.array([0.09, 0.0, 0.03]),
        at_part=np.zeros(3),
        across=0.03,
        thick=0.02,
        half="cope",
        contact=9e-4,
        mass=0.14,
    )
    return dataclasses.replace(rigging, chills=(chill,), sleeves=(Sleeve(riser="riser-1", wall=0.012, height=0.06, diameter=0.064),))


def steps(results, rigging):
    held = safety.conditions(results["metal"], card_factory.kit(), sand="oil-bonded", furnace="gas", rigging=rigging)
    pieces = (*results["pattern"].pieces, *rigging.pieces)
    own = {name: results[name] for name in ("metal", "pattern", "mould", "cavity", "melt", "pour", "sound")}
    return day(Facts(**own, rigging=rigging, kit=card_factory.kit(), pieces=pieces, units="metric"), safety.chosen(held))


def test_the_card_holds_the_day_until_chills_and_sleeves_are_dry(results):
    told = steps(results, with_inserts(results))
    keys = [s.key for s in told]
    step = told[keys.index("inserts")]
    assert keys.index("inserts") < keys.index("drag")
    assert step.hold
    (caution,) = step.cautions
    assert caution.hold
    assert "clean, rust-free, coated, warm and dry" in caution.text
    assert "far, steel" in step.text
    assert "riser-1" in step.text
    cope = told[keys.index("cope")].text
    assert "far tight against the pattern" in cope
    assert "sleeves over riser-1" in cope
    assert "Nail or tie it so that it cannot drop when the cope is lifted and turned; tug it." in cope
    (drops,) = (c for c in told[keys.index("cope")].cautions if c.key == "chill-drops")
    assert "drops into metal has a chance" in drops.text
    assert "chill far" in dict(places(results["pattern"], results["mould"], with_inserts(results), "metric"))


def test_a_chill_in_the_drag_needs_no_nails(results):
    rigging = with_inserts(results)
    told = steps(results, dataclasses.replace(rigging, chills=(dataclasses.replace(rigging.chills[0], half="drag"),)))
    assert not [s for s in told if "Nail" in s.text or any(c.key == "chill-drops" for c in s.cautions)]


def test_without_them_the_card_is_silent(results):
    told = steps(results, results["rigging"])
    assert "inserts" not in [s.key for s in told]
    assert not [s for s in told if "chill" in s.text or "sleeve" in s.text]
