"""Laws of cores that widen, bend or narrow on their way: one core, prints at its ends, and lengths and widths that are its own."""

import manifold3d
import numpy as np
import pytest
from test_core_laws import holds

import cored
from cored import answered
from pattern_shop import box, rod
from strickle.pattern import core_body, core_box, core_way
from strickle.pattern.core_body import PrintRule
from strickle.pattern.core_made import cores
from strickle.pattern.places import find


def records(made):
    return cores(made, "silicate", cored.STORES, cored.VENT)


def sand(long: float) -> float:
    """Volume [mm3] of a bore 26 through ``long`` with a chamber 38 by 26, as its 64 corners make it."""
    return 64 / 2 * np.sin(2 * np.pi / 64) * (13.0**2 * (long - 26) + 19.0**2 * 26)


FULL = pytest.mark.validate


@pytest.mark.parametrize(
    ("z", "at", "turn"),
    [(0, 0, 0), pytest.param(25, 0, 0, marks=FULL), pytest.param(0, 27, 0, marks=FULL), (25, 27, 0), (0, 0, 12), pytest.param(0, 18, 20, marks=FULL)],
)
def test_a_bore_with_a_chamber_is_one_core(z, at, turn):
    """In the joint or over it, in the middle or at an end, square or aslant: asked for nothing, it gets one core held at both ends."""
    whole = cored.chambered(z, at, turn)
    made = answered(whole, draft=False)
    assert [c.way for c in made.choices if c.place.told.volume > 1.0] == ["core"]
    holds(made, whole, draft=False)
    long = 80.0 / np.cos(np.radians(turn))
    (one,) = records(made)
    assert (one.prints, one.rammed, one.lies) == (2, "end", "across")
    assert one.metal_volume * 1e9 == pytest.approx(sand(long), rel=1e-5)
    assert one.span * 1e3 == pytest.approx(long, rel=1e-6)
    assert one.width * 1e3 == pytest.approx(26.0, rel=1e-3)
    assert one.print_length * 1e3 == pytest.approx(26.0, rel=1e-3)
    (first, last) = one.vent_way
    way = (last - first) / np.linalg.norm(last - first)
    assert abs(way @ [np.cos(np.radians(turn)), np.sin(np.radians(turn)), 0.0]) == pytest.approx(1.0, abs=1e-9)


def test_a_chamber_with_a_door_of_its_own_is_held_there_too():
    made = answered(cored.side_door(), draft=False)
    (core,) = made.cores
    assert {tuple(np.round(p.out)) for p in core.body.prints} == {(1.0, 0.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 1.0, 0.0)}
    holds(made, cored.side_door(), draft=False)


@pytest.mark.parametrize("draft", [False, True], ids=["bare", "drafted"])
def test_flanks_that_no_core_makes_do_not_cost_the_bore_its_core(draft, monkeypatch):
    """One core for bore and flanks has no box that opens: the bore is tried again without them, and they stay filled and told.

    Its box opens on the drafted part only with sheets pared off its prints: they lie against the casting and are metal of it, none is as thick
    as the clearance, and none is sand that forms a wall.
    """
    tried, pared = [], core_box._pared
    monkeypatch.setattr(core_box, "_pared", lambda body, cut: tried.append((body, cut)) or pared(body, cut))
    made = answered(cored.round_house(), draft=draft)
    assert [c.way for c in made.choices] == ["core", "fill"]
    assert "share" in made.choices[1].why
    (core,) = made.cores
    assert len(core.body.prints) == 2
    assert (core.body.made ^ made.metal).volume() < 5e-3
    assert max(part.drags for part in core.box.parts) < 5e-3
    filled = cored.round_house() + made.choices[1].place.solid
    holds(made, filled, draft)
    assert (core.faced.volume() > 0) == draft
    if not draft:
        return
    assert len(made.metal.decompose()) == len(core.body.room.decompose()) == 1
    for one in core.body.prints:  # before the metal there is the core at once, but for the clearance round its print
        before = made.metal.translate(tuple(0.1 * one.out)) - made.metal
        assert (before ^ (core.body.room - core.body.made)).volume() < 3.0
    body, cut = next((body, cut) for body, cut in tried[::-1] if pared(body, cut) is not None)
    assert pared(body._replace(formed=body.made), cut) is None
    recess = box(3, 10.4, 7, (9, 47, 16.5))
    assert pared(body._replace(made=body.made - recess), cut) is None


def test_a_bore_whose_ends_both_look_one_way_is_one_whole_core():
    """The far end of the nearer print, carried on, would cut the farther leg."""
    whole = cored.u_bore()
    made = answered(whole, draft=False)
    holds(made, whole, draft=False)
    (core,), (one,) = made.cores, records(made)
    assert [tuple(np.round(p.out)) for p in core.body.prints] == [(1.0, 0.0, 0.0)] * 2
    assert one.metal_volume * 1e9 == pytest.approx(box(180, 104, 44, (-80, -22, -22)).volume() - outside_u() - whole.volume(), rel=1e-5)
    assert (one.prints, one.rammed) == (2, "halves")
    assert one.width * 1e3 == pytest.approx(20.0, rel=1e-3)


def outside_u() -> float:
    """Volume [mm3] between the legs of the block and beside them."""
    return 180 * 104 * 44 - (80 * 44 + 40 * 104 + 180 * 44 - 2 * 40 * 44) * 44.0


def test_a_core_that_has_not_all_its_sand_is_filled_and_told(monkeypatch):
    """As where a hole of 4 mm is lost in it."""
    hole = across_y(4.0)
    monkeypatch.setattr(core_body, "_trimmed", lambda made, *_: made - hole)
    made = answered(cored.bored(), draft=False)
    assert not made.cores
    assert "hang together" in made.choices[0].why


def across_y(diameter: float) -> manifold3d.Manifold:
    return cored.across(diameter, 100, turn=90)


@pytest.mark.parametrize("share", [0.5, 0.99, 1.01])
def test_a_ball_lies_in_a_sheet_from_its_own_width_on(share):
    sheet = box(20, 0.25 / share, 30)
    assert core_box.thick(sheet, 0.25) == (share < 1)


def test_a_chamber_in_a_hole_along_the_draw_is_one_upright_core():
    made = answered(cored.upright_chamber(), draft=False)
    assert [c.way for c in made.choices] == ["core"]
    assert made.filled == 0
    holds(made, cored.upright_chamber(), draft=False)
    (one,) = records(made)
    assert (one.prints, one.lies) == (2, "upright")
    assert one.span * 1e3 == pytest.approx(60.0)
    assert one.buoyant_volume * 1e9 == pytest.approx(np.pi / 4 * (38**2 - 26**2) * 24, rel=0.01)
    assert answered(cored.upright_chamber(), "fill").filled == pytest.approx((rod(38, 24) - rod(26, 24)).volume(), rel=1e-4)
    assert records(answered(cored.hub(), bores="core"))[0].buoyant_volume == 0.0


def test_a_raised_slanting_bore_with_a_chamber_stays_filled_and_told():
    """Its box would have to draw along its ends and square to its chamber's shoulders at once."""
    made = answered(cored.chambered(25.0, 0.0, 12.0), draft=False)
    assert not made.cores
    assert "no flat parting" in made.choices[0].why
    assert made.filled == pytest.approx(sand(80.0 / np.cos(np.radians(12.0))), rel=1e-5)


@pytest.mark.parametrize(
    ("angle", "inner", "bend", "legs"),
    [
        pytest.param(45.0, 17.0, 41.0, 21.0, marks=FULL),
        (90.0, 24.0, 50.0, 30.0),
        pytest.param(120.0, 28.0, 60.0, 40.0, marks=FULL),
    ],
)
def test_a_bent_tube_gets_a_core_held_at_both_its_ends(angle, inner, bend, legs):
    whole = cored.tube(angle, inner, inner + 12, bend, legs)
    (place,) = find(whole).places
    assert not place.is_open
    made = answered(whole, draft=False)
    holds(made, whole, draft=False)
    (core,), (one,) = made.cores, records(made)
    wide, long = core.body.prints[0].thick, np.radians(angle) * bend + 2 * legs
    assert wide == pytest.approx(inner, rel=5e-3)
    outs = [p.out for p in core.body.prints]
    assert len(outs) == 2
    assert outs[0] @ outs[1] == pytest.approx(-np.cos(np.radians(angle)), abs=1e-6)
    assert all(p.length == pytest.approx(max(wide, 12.0)) for p in core.body.prints)
    assert all(abs(part.draw[2]) == 1.0 for part in core.box.parts)  # the box parts in the plane of the bend
    assert one.span * 1e3 == pytest.approx(long, rel=0.01)
    assert one.width * 1e3 == pytest.approx(inner, rel=0.01)
    assert one.slenderness == pytest.approx(long / inner, rel=0.02)
    assert (one.vent, one.rammed) == (0.0, "halves")  # no straight rod goes round a bend


def test_the_neck_of_a_core_is_its_width_straight_or_bent():
    bent = answered(cored.tube(90, 24, 40, 50, 30, neck=6), draft=False)
    assert records(bent)[0].width * 1e3 == pytest.approx(18.0, rel=0.02)
    whole = box(80, 60, 50, (-40, -30, -25)) - cored.across(18, 200) - cored.across(30, 50, (-40, 0, 0)) - cored.across(30, 50, (40, 0, 0))
    straight = records(answered(whole, "core", draft=False))[0]
    assert straight.width * 1e3 == pytest.approx(18.0, rel=5e-3)
    assert straight.span * 1e3 == pytest.approx(80.0)
    assert straight.print_length * 1e3 == pytest.approx(30.0, rel=5e-3)


PILLAR = manifold3d.Manifold.cylinder(60, 8, 8, 64, True)
STRAIGHT = cored.across(26, 200)
NECKED = {
    "low in a bend": (cored.low_duct, 8.0),
    "two legs": (lambda: cored.block_with(STRAIGHT - PILLAR), 5.0),
    "short": (lambda: cored.block_with(STRAIGHT - (box(1.5, 60, 50, (10.8, -30, -25)) - cored.across(10, 200))), 10.0),
    "blind": (lambda: cored.block_with(cored.across(26, 20, (40, 0, 0)), cored.across(10, 30, (15, 0, 0)), cored.across(26, 30, (-10, 0, 0))), 10.0),
    "blind stem": (lambda: cored.block_with(cored.across(26, 40, (40, 0, 0)), cored.across(12, 40)), 12.0),
    "round tip": (lambda: cored.block_with(cored.across(26, 60, (40, 0, 0)), manifold3d.Manifold.sphere(13, 64).translate((10, 0, 0))), 26.0),
    "drill's tip": (
        lambda: cored.block_with(
            cored.across(26, 60, (40, 0, 0)), manifold3d.Manifold.cylinder(7.8, 13, 0.01, 64).rotate((0, -90, 0)).translate((10, 0, 0))
        ),
        26.0,
    ),
}


@pytest.mark.parametrize("name", [pytest.param(n, marks=FULL) if n in ("low in a bend", "round tip", "blind stem") else n for n in NECKED])
def test_a_neck_is_found_wherever_it_lies_and_a_tip_is_none(name):
    """By the body alone; to a cell of the search, where sections do not tell it."""
    whole, width = NECKED[name][0](), NECKED[name][1]
    places = tuple(place for place in find(whole).places if place.told.volume > 100)
    (body,) = core_body.place_cores(find(whole).filled, whole, places, (), PrintRule()).bodies
    assert core_way.width(body) == pytest.approx(width, abs=0.6 if width < 26.0 and name != "short" else 0.02)


def test_a_groove_round_a_wheel_and_a_branch_stay_what_they_were():
    groove = records(answered(cored.pulley()))[0]
    assert (groove.lies, groove.prints, groove.span) == ("round", 0, 0.0)
    branch = records(answered(cored.tee()))[0]
    assert (branch.lies, branch.prints, branch.rammed) == ("across", 3, "end")
    assert branch.span * 1e3 == pytest.approx(80.0)
    assert branch.width * 1e3 == pytest.approx(18.0, rel=5e-3)


def test_cracks_between_prisms_are_closed_and_a_thin_wall_of_metal_is_not():
    whole = cored.chambered(turn=20.0, long=60.0)
    one = find(whole).places[0]
    assert len(one.ends) == 2
    assert one.solid.volume() == pytest.approx(sand(60.0 / np.cos(np.radians(20.0))), rel=1e-4)
    wall = manifold3d.Manifold.cube((0.2, 60, 50), True).rotate((0, 0, 20.0))
    two = [place for place in find(whole + (wall ^ box(60, 60, 50, (-30, -30, -25)))).places if place.told.volume > 100]
    assert len(two) == 2
    assert all(len(place.ends) == 1 for place in two)
