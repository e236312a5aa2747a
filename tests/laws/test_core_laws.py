"""Laws of cores, boxes and loose pieces: mould and cores leave the casting, everything comes out the way it is said to."""

from types import SimpleNamespace

import manifold3d
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import cored
from cored import across, answered
from pattern_shop import box, rod
from strickle.base import BadInput, Mesh
from strickle.pattern.ask import PatternAsk
from strickle.pattern.asked import understood
from strickle.pattern.bed import flat_end, on_the_bed
from strickle.pattern.core_body import PrintRule, _upright
from strickle.pattern.core_made import cores, pieces
from strickle.pattern.mend import shared
from strickle.pattern.undercut import caught, halves, plain
from trapping import solid_of

FREE = 5e-3  # mm3 of sand that may be cut
SKIN = 1e-4  # of a core's volume that its closed box may differ by: facets a few thousandths of a millimetre apart
BODIES = {name: getattr(cored, name) for name in ("bored", "bearing", "tee", "blind", "pulley")}


def plain_area(vertices) -> float:
    """Area of the outline of what stands on the bed, seen from over it."""
    return float(manifold3d.CrossSection.hull_points(vertices[:, :2]).area())


def pinned(core_box) -> None:
    """Round pins of 4 and 3 mm go into both parts along their draw: the holes for them are as wide both ways across it."""
    for part in core_box.parts:
        x = np.cross(part.draw, [0.0, 0.0, 1.0] if abs(part.draw[2]) < 0.9 else [1.0, 0.0, 0.0])
        x = x / np.linalg.norm(x)
        turn = np.column_stack([np.stack([x, np.cross(part.draw, x), part.draw]), np.zeros(3)])
        void = (part.solid.hull() - part.solid).transform(turn)
        low, high = void.bounding_box()[2], void.bounding_box()[5]
        cuts = [one.bounds() for level in np.linspace(low, high, 42)[1:-1] for one in void.slice(level).decompose()]
        wide = [(min(x1 - x0, y1 - y0), max(x1 - x0, y1 - y0)) for x0, y0, x1, y1 in cuts]
        for pin in (4.0, 3.0):
            assert any(pin < least and most < pin + 0.3 for least, most in wide), (pin, wide)


def one(solids) -> manifold3d.Manifold:
    return manifold3d.Manifold.batch_boolean(list(solids), manifold3d.OpType.Add)


def room(solid: manifold3d.Manifold, more: float = 40.0) -> manifold3d.Manifold:
    low, high = np.array(solid.bounding_box()[:3]) - more, np.array(solid.bounding_box()[3:]) + more
    return manifold3d.Manifold.cube(tuple(high - low)).translate(tuple(low))


def draws(solid: manifold3d.Manifold) -> None:
    """Both halves come out of the sand at 1 mm, 5 mm and their full depth."""
    for half, side in zip(halves(solid), (1.0, -1.0)):
        if not half.is_empty():
            deep = half.bounding_box()[5] - half.bounding_box()[2]
            assert max(caught(half, side, lift) for lift in (1.0, 5.0, deep)) < FREE


def thick(solid: manifold3d.Manifold) -> float:
    """Volume [mm3] without films under 12 micrometres: closed cracks and skins that lie in one plane leave such, up to 0.15 mm3 of them."""
    return sum(float(piece.volume()) for piece in solid.decompose() if 2 * piece.volume() > 12e-3 * piece.surface_area())


def holds(made, whole: manifold3d.Manifold, draft: bool) -> None:
    """What every mould with cores must keep."""
    draws(made.printed)
    sand = room(made.drawn) - made.drawn
    cope, drag = (part.volume() for part in halves(sand))
    left = room(made.drawn).volume() - cope - drag - sum(core.body.room.volume() for core in made.cores)
    assert left == pytest.approx(made.metal.volume(), rel=1e-5)
    if not draft:
        assert made.metal.volume() == pytest.approx(whole.volume(), rel=1e-5)
    for core in made.cores:
        body = core.body.made
        assert len(body.decompose()) == 1
        assert (body ^ made.metal).volume() < FREE
        assert (body ^ sand).volume() < FREE
        assert (body - core.body.room).volume() < FREE
        # and has all of the sand that forms metal, that within what draft added too
        assert thick(core.body.place.solid - body) < FREE
        assert thick(core.body.formed - body) < FREE
        gap = core.body.room.volume() - body.volume()
        assert 0 < gap < 0.15 * core.body.room.volume()
        # lowered straight down into the drag with the cope off
        drag_sand = halves(sand)[1]
        for lift in (1.0, 5.0, 30.0):
            assert (body.translate((0, 0, lift)) ^ drag_sand).volume() < FREE
        opens(core)


def opens(core) -> None:
    """The box draws off, closes on the core and on nothing else, and its parts do not overlap."""
    body, parts = core.body.made, core.box.parts
    assert (parts[0].solid ^ parts[1].solid).volume() < FREE
    for part in parts:
        assert part.solid.volume() > 1.0
        box_ = part.solid.bounding_box()
        deep = float(np.linalg.norm(np.array(box_[3:]) - np.array(box_[:3])))
        assert (part.solid ^ body).volume() < SKIN * body.volume()
        for lift in (1.0, 5.0, deep):
            assert (part.solid.translate(tuple(part.draw * lift)) ^ body).volume() < FREE
    inside = room(body, 0.0) - one(part.solid for part in parts)
    assert (body - inside).volume() < SKIN * body.volume()


@pytest.mark.parametrize("draft", [False, True], ids=["bare", "drafted"])
@pytest.mark.parametrize("name", BODIES)
def test_cope_drag_and_cores_leave_the_casting(name, draft):
    whole = BODIES[name]()
    made = answered(whole, draft=draft)
    assert len(made.cores) == 1
    assert made.filled == 0
    holds(made, whole, draft)


def test_a_bore_over_the_joint_stands_on_feet_in_the_drag():
    """Its prints are carried to the joint and on into the drag, beyond the part."""
    whole = cored.bored(22.0)
    made = answered(whole)
    holds(made, whole, draft=True)
    body = made.cores[0].body
    assert body.made.bounding_box()[2] == pytest.approx(-10.0, abs=0.1)
    assert {tuple(np.round(p.out)) for p in body.prints} == {(1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)}
    assert all(p.length == pytest.approx(p.thick) for p in body.prints)


def test_one_print_outweighs_what_it_carries():
    """With its weight even along it, a core held at one end lies still if its middle is over its print."""
    body = answered(cored.blind()).cores[0].body
    vertices, faces = plain(body.made)
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    six = np.einsum("ij,ij->i", a, np.cross(b, c))
    middle = float((six * (a + b + c)[:, 0] / 4).sum() / six.sum())
    assert len(body.prints) == 1
    assert middle > 40.0  # the block ends there


def test_a_hole_along_the_draw_is_cored_only_where_asked():
    assert not answered(cored.hub()).cores
    made = answered(cored.hub(), bores="core")
    assert len(made.cores) == 1
    body = made.cores[0].body
    assert {tuple(p.out) for p in body.prints} == {(0.0, 0.0, 1.0), (0.0, 0.0, -1.0)}
    lower, upper = body.prints
    assert upper.length < lower.length
    holds(made, cored.hub(), draft=True)


def test_places_whose_cores_would_meet_share_one():
    made = answered(cored.slotted(), "core")
    assert len(made.cores) == 1
    assert {c.way for c in made.choices} == {"core"}
    holds(made, cored.slotted(), draft=True)


@pytest.mark.parametrize("up", [1, -1], ids=["cope", "drag"])
@pytest.mark.parametrize("name", ["recess", "boss"])
def test_a_loose_piece_follows_its_half_out(name, up):
    """First the half, then the piece sideways into the hollow, then through the joint: no sand is cut on the way."""
    whole = getattr(cored, name)()
    whole = whole if up > 0 else whole.mirror((0, 0, 1))
    made = answered(whole)
    assert [c.way for c in made.choices] == ["loose"]
    piece = made.loose[0]
    draws(made.printed)
    sand = room(made.drawn) - made.drawn
    assert (piece.solid ^ made.printed).volume() < FREE
    assert (piece.solid ^ sand).volume() < FREE
    ways = [piece.away * piece.travel * share for share in (0.1, 0.3, 0.6, 1.0)]
    ways += [ways[-1] - np.array([0, 0, up * lift]) for lift in (1.0, 5.0, 20.0, 39.9)]
    own = halves(sand)[0 if up > 0 else 1]
    assert max((piece.solid.translate(tuple(way)) ^ own).volume() for way in ways) < FREE
    # drawn straight it would tear the sand: that is why it is loose
    assert (piece.solid.translate((0, 0, -5.0 * up)) ^ own).volume() > 10.0
    assert made.metal.volume() == pytest.approx(made.drawn.volume(), rel=1e-9)


def test_bare_loose_pieces_leave_the_part_as_drawn():
    for body in (cored.recess(), cored.boss(), cored.slotted()):
        made = answered(body, "loose", draft=False)
        assert made.loose
        assert made.metal.volume() == pytest.approx(body.volume(), rel=1e-5)


def test_the_person_goes_before_the_rules():
    assert [c.way for c in answered(cored.recess(), "core").choices] == ["core"]
    filled = answered(cored.recess(), "fill")
    assert [c.way for c in filled.choices] == ["fill"]
    assert filled.filled == pytest.approx(20 * 4 * 12, rel=1e-3)
    assert [c.way for c in answered(cored.bored(), "loose").choices] == ["fill"]  # it reaches over the joint
    small = box(60, 40, 40, (-30, -20, -20)) - across(10, 100)
    assert [c.way for c in answered(small).choices] == ["drill"]
    assert [c.way for c in answered(small, "core").choices] == ["core"]
    two = cored.bored() - box(8, 6, 12, (-4, 16, -16))
    assert next(c.way for c in answered(two, "fill", "core").choices) == "fill"


@pytest.mark.parametrize(
    ("wish", "told"),
    [
        ({"undercuts": "core, glue"}, "the answer 'glue' to an undercut is not known"),
        ({"bores": "drill"}, "bores 'drill' is not known"),
        ({"core_sand": "clay"}, "core sand 'clay' is not known"),
        ({"joint": "wavy"}, "joint 'wavy' is not known"),
        ({"draft": "some"}, "draft 'some' is not known"),
        ({"open_face": True, "joint": "crooked"}, "an open-face mould has no joint"),
    ],
)
def test_a_word_that_is_not_known_is_refused_before_any_work(wish, told):
    with pytest.raises(BadInput, match=told):
        understood(PatternAsk(**wish))


def test_a_core_shut_in_by_metal_is_filled_and_told():
    """A hollow with no way out wide enough for a print."""
    whole = box(60, 40, 40, (-30, -20, -20)) - box(30, 20, 20, (-15, -10, -10))
    made = answered(whole)
    assert not made.cores
    assert [c.way for c in made.choices] == ["fill"]
    assert "no way out" in made.choices[0].why
    assert made.metal.volume() > whole.volume()


@settings(max_examples=6, deadline=None)
@given(
    diameter=st.floats(16.0, 28.0), high=st.floats(-8.0, 8.0), turn=st.floats(-35.0, 35.0), long=st.floats(40.0, 90.0),
    clearance=st.floats(0.1, 0.5),
)  # fmt: skip
def test_any_bore_across_is_cored(diameter, high, turn, long, clearance):
    """Off the joint, aslant in plan, in any length: the mould closes, the core comes out of its box, whose parts lie flat as they are printed."""
    aslant = np.radians(abs(turn))
    assume(long / 2 * np.tan(aslant) + diameter / 2 / np.cos(aslant) < 34.0)  # out by the ends, not by a corner
    whole = box(long, 70, 50, (-long / 2, -35, -25)) - across(diameter, 400, (0, 0, high), turn)
    made = answered(whole, "core", draft=False, prints=PrintRule(clearance=clearance))
    assert len(made.cores) == 1, made.choices
    holds(made, whole, draft=False)
    pinned(made.cores[0].box)
    for piece in pieces(made, cores(made, "silicate", cored.STORES, cored.VENT), np.ones(3), 0.0):
        vertices, _ = on_the_bed(piece)
        assert 1e6 * flat_end(Mesh(vertices=vertices * 1e-3, faces=piece.mesh.faces), 2, -1) > 0.5 * plain_area(vertices)


@pytest.mark.parametrize("section", ["10.5", "24", "60 x 12", "5 x 40"])
def test_a_print_in_a_hole_along_the_draw_has_the_stated_room_on_every_side_and_leans_as_told(section):
    """Sizes of the print and of its room, met by rays in the section half way and at the far end; a slot's long side leans no more than its ends."""
    wide, *long = (float(word) for word in section.split(" x "))
    hole = manifold3d.Manifold.cylinder(30, wide / 2, circular_segments=96) if not long else box(wide, long[0], 30, (-wide / 2, -long[0] / 2, 0))
    rule = PrintRule()
    shape = _upright(SimpleNamespace(solid=hole), rule)
    lower, upper = shape.prints
    for one, foot, lean in ((lower, 0.0, rule.drag_lean), (upper, 30.0, rule.cope_lean)):
        way = float(one.out[2])
        for share in (0.5, 0.98):
            at = foot + way * share * one.length
            core, room = (np.array(body.slice(at).bounds()) for body in (shape.core, shape.room))
            assert np.abs(np.abs(room - core) - rule.clearance).max() < 0.02
            in_by = (np.array(hole.slice(15.0).bounds()) - core) * [-1, -1, 1, 1]
            assert np.ptp(in_by) < 0.02
            told = share * one.length * np.tan(lean)
            assert 0.0 < in_by.mean() < 1.05 * told + 0.02
            if min([wide, *long]) > 10:
                assert in_by.mean() > 0.9 * told


def lobed():
    """A hub with a bore along the draw and two chambers of three lobes in it, one turned against the other: no box in two parts opens."""

    def chamber(z, turn):
        lobes = [box(27, 8, 12, (0, -4, z)).rotate((0, 0, turn + 120 * k)) for k in range(3)]
        return manifold3d.Manifold.batch_boolean([rod(34, 12, (0, 0, z)), *lobes], manifold3d.OpType.Add)

    return rod(64, 80, (0, 0, -15)) - rod(26, 100, (0, 0, -30)) - chamber(3, 10) - chamber(35, 70)


def test_a_hole_whose_chambers_no_box_makes_is_left_to_the_sand():
    """Filled for a core that fails, the hole would stay filled with them."""
    whole = lobed()
    made = answered(whole, "best", draft=False)
    assert not made.cores
    assert not any(choice.place.upright for choice in made.choices)
    chambers = sum(choice.place.told.volume for choice in made.choices)
    assert made.filled == pytest.approx(chambers)
    assert made.metal.volume() == pytest.approx(whole.volume() + chambers, rel=1e-3)
    assert (made.metal ^ rod(20, 100, (0, 0, -30))).volume() < 1e-3


@pytest.mark.parametrize("name", ["bored", "tee"])
def test_printed_boxes_have_no_edge_of_more_than_two_faces(name):
    """As a slicer reads them, that joins corners a hundred-thousandth of a millimetre apart; the box still opens off its core."""
    made = answered(BODIES[name]())
    records = cores(made, "silicate", cored.STORES, cored.VENT)
    printed = [piece for piece in pieces(made, records, np.ones(3), 0.0) if piece.role == "core box"]
    assert len(printed) == 2 * len(made.cores)
    for piece in printed:
        assert not len(shared(piece.mesh.vertices * 1e3, piece.mesh.faces))
        solid = solid_of(piece.mesh)
        assert solid.volume() * 1e-9 == pytest.approx(piece.volume, rel=1e-6)
        core = solid_of(next(one.mesh for one in records if piece.name in one.box))
        for lift in (1.0, 5.0, 60.0):
            assert (solid.translate(tuple(piece.draw * lift)) ^ core).volume() < FREE
