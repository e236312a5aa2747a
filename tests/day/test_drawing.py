"""Pattern and rigging together: each piece can leave the sand at its turn, and its file is a solid for every reader."""

import dataclasses
import functools
import math

import manifold3d as m3
import numpy as np
import pytest
import trimesh

import factory as f
from cored import across
from pattern_shop import aluminium, box, public_part, rod
from strickle.base import BadInput, quiet, render
from strickle.job.threemf import stl
from strickle.pattern import Mark, PatternAsk
from strickle.pattern.steps import make
from strickle.pattern.undercut import withdrawn
from strickle.rigging import RiggingAsk
from strickle.rigging.assembly import _seated
from strickle.rigging.checks import rings
from strickle.rigging.steps import rig
from strickle.stores import load, starter_kit

STORES = load(dataclasses.replace(starter_kit(), rapping=0.0, print_error=0.0, bed=np.array([0.3, 0.3, 0.3])))


def solid_of(mesh):
    return m3.Manifold(m3.Mesh64(np.ascontiguousarray(mesh.vertices * 1e3), np.ascontiguousarray(mesh.faces, dtype=np.uint64)))


def posts():
    """A drafted bar in the drag with two posts on it: two bodies in the cope."""
    bar = m3.Manifold.hull(box(150, 50, 0.01, (-75, -25, -0.01)) + box(144, 44, 0.01, (-72, -22, -14)))
    return bar + rod(40, 24, (-45, 0, -0.02), top=36) + rod(34, 24, (45, 0, -0.02), top=30)


def hub():
    """A drafted hub in both halves."""
    return rod(80, 12, (0, 0, -12), top=90) + rod(90, 12, top=80) + rod(40, 30, (0, 0, 11), top=34)


MADE = {
    "posts": (posts, (f.spot((-45, 0, 4), 15, modulus=6.0), f.spot((45, 0, 4), 13, modulus=5.0)), {"up": np.array([0, 0, 1.0]), "parting": 0.0}),
    "hub": (hub, (), {}),
    "plate": (lambda: m3.Manifold.hull(box(120, 80, 0.01) + box(118, 78, 0.01, (1, 1, 8))), (), {}),
    "ball": (lambda: m3.Manifold.sphere(25, 96), (f.spot((0, 0, 0), 24, modulus=7.0),), {}),
    "straight": (lambda: f.box(80, 60, 30) - f.box(40, 30, 20, 12), (), {"up": np.array([0, 0, 1.0]), "parting": 0.0, "draft": "added"}),
    "lap": (lambda: f.box(80, 60, 30) - f.box(76, 56, 30, 2), (), {"up": np.array([0, 0, 1.0]), "parting": 0.0}),
}


@functools.cache
def drawn(name):
    solid, spots, ask = MADE[name]
    part = f.part_of(solid(), spots, wall=8.0)
    pattern = make(part, aluminium(), STORES, PatternAsk(**ask), quiet)
    mould = f.mould_of(pattern, over=70)
    return pattern, mould, rig(part, pattern, mould, f.a356(), STORES, RiggingAsk(), quiet)


@pytest.mark.parametrize("name", MADE)
def test_each_piece_leaves_at_its_turn(name):
    """Moved along its draw with all that is drawn as one with it, it meets neither rammed sand nor a piece of its half still there."""
    pattern, mould, rigging = drawn(name)
    assert rigging.bodies == 1
    pieces = [p for p in (*pattern.pieces, *rigging.pieces) if p.touches_sand]
    solids = {p.name: solid_of(p.mesh) for p in pieces}
    assert len(solids) == len(pieces)
    x0, x1, y0, y1, z0, z1 = mould.box * 1e3
    everything = m3.Manifold.batch_boolean([solid_of(pattern.cavity), solid_of(rigging.casting), *solids.values()], m3.OpType.Add)
    sand = {
        "drag": m3.Manifold.cube((x1 - x0, y1 - y0, -z0)).translate((x0, y0, z0)) - everything,
        "cope": m3.Manifold.cube((x1 - x0, y1 - y0, z1)).translate((x0, y0, 0.0)) - everything,
    }
    for piece in pieces:
        later = [solids[o.name] for o in pieces if o.half == piece.half and o.order > piece.order]
        for step in (0.5, 2.0, 6.0):
            moved = solids[piece.name].translate(tuple(piece.draw * step))
            assert (moved ^ sand[piece.half]).volume() < 0.5, (piece.name, step)
            for other in later:
                assert (moved ^ other).volume() < 0.05, (piece.name, step)


@pytest.mark.parametrize("name", MADE)
def test_notes_agree_with_the_order(name):
    pattern, _, rigging = drawn(name)
    every = {p.name: p for p in (*pattern.pieces, *rigging.pieces)}
    order = {n: p.order for n, p in every.items()}
    through = [p for p in every.values() if p.half == "cope" and p.draw[2] > 0 and p.touches_sand]
    others = [p for p in every.values() if p.touches_sand and p not in through]
    assert max(p.order for p in through) < min(p.order for p in others)
    for p in rigging.pieces:
        if "fixed to" in p.note:
            on = p.note.split("fixed to ")[1].split(";")[0].split(",")[0]
            assert order[on] == p.order, p.note
        if "drawn with the runner" in p.note:
            assert order["runner"] == p.order
        if "after the drag-pattern" in p.note:
            assert order["drag-pattern"] < p.order
        for word in p.note.replace(";", " ").replace(",", " ").split():
            if "-pattern" in word:
                assert word in every, p.note
        assert p.role != "plate" or p.order < min(order[q.name] for q in through)


def test_formers_go_with_the_body_they_lean_on():
    pattern, _, rigging = drawn("posts")
    order = {p.name: p.order for p in pattern.pieces}
    assert {"cope-pattern", "cope-pattern-2", "drag-pattern"} == set(order)
    necks = sorted(p.order for p in rigging.pieces if p.name.startswith("neck"))
    assert necks == sorted((order["cope-pattern"], order["cope-pattern-2"]))


def test_a_ball_is_one_casting_without_a_stop():
    """The booleans of a ball leave bodies of no volume; they are no metal hanging apart."""
    _, _, rigging = drawn("ball")
    assert "rigging.not_one" not in {x.code for x in rigging.findings}
    assert len(solid_of(rigging.casting).decompose()) == 1


@pytest.mark.parametrize("name", ["testbed_base", "table_attachment"])
def test_the_written_file_is_watertight(name):
    part = public_part(name)
    for piece in make(part, aluminium(), STORES, PatternAsk(), quiet).pieces:
        upright = (piece.mesh.vertices - piece.mesh.vertices.min(axis=0)) * 1e3
        data = np.frombuffer(stl(piece.name, upright, piece.mesh.faces)[84:], dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("s", "<u2")])
        written = trimesh.Trimesh(data["c"].reshape(-1, 3).astype(float), np.arange(3 * len(data)).reshape(-1, 3), process=False)
        plain = trimesh.Trimesh(piece.mesh.vertices, piece.mesh.faces, process=False)
        for mesh in (written, plain):
            mesh.merge_vertices()
            assert mesh.is_watertight, piece.name
            assert mesh.is_winding_consistent
        assert len(solid_of(piece.mesh).decompose()) == 1


def test_draft_asked_for_is_in_cavity_and_prints_and_is_told():
    """A straight block gains the frustum of its angle, to be machined or let be; nothing stands undrafted; a narrow hole closes and is told."""
    part = f.part_of(f.box(60, 40, 25) - f.box(2, 30, 22, 5), (), wall=8.0)
    ask = {"up": np.array([0, 0, 1.0]), "parting": 0.0}
    bare, eased = (make(part, aluminium(), STORES, PatternAsk(**ask, draft=draft), quiet) for draft in ("none", "added"))
    codes = {f.code: f.weight for f in eased.findings}
    assert {f.code for f in bare.findings} & {"pattern.no_draft", "pattern.draft"} == {"pattern.no_draft"}
    assert codes["pattern.draft"] == "NOTE"
    assert codes["pattern.pocket_closes"] == "MIND"
    assert "pattern.no_draft" not in codes
    assert bare.draft_volume == 0.0
    assert bare.undrafted_area > 0.0
    assert eased.undrafted_area == 0.0
    low, high = eased.cavity.vertices.min(axis=0), eased.cavity.vertices.max(axis=0)
    assert high[2] == pytest.approx(bare.cavity.vertices[:, 2].max(), abs=1e-7)
    grown = np.ptp(eased.cavity.vertices, axis=0)[:2] - np.ptp(bare.cavity.vertices, axis=0)[:2]
    tall = float(high[2] - max(low[2], 0.0))
    assert grown == pytest.approx(2.0 * (tall * np.tan(np.radians(2.0)) + 0.15e-3), rel=0.03)
    inside = solid_of(eased.cavity).volume() - solid_of(bare.cavity).volume()
    assert eased.draft_volume == pytest.approx(1e-9 * inside, rel=1e-6)
    assert sum(p.volume for p in eased.pieces) > sum(p.volume for p in bare.pieces)


def test_a_draft_that_is_not_known_is_refused():
    with pytest.raises(BadInput, match="Give one of added, unfilled, none"):
        make(f.part_of(f.box(60, 40, 25), (), wall=8.0), aluminium(), STORES, PatternAsk(draft="some"), quiet)


def test_layer_lines_that_are_not_filled_take_a_degree_more():
    """A block drawn from its middle: draft of 3 degrees in place of 2 adds half as much again, but for what low ends of walls take more."""
    part = f.part_of(f.box(60, 40, 25), (), wall=8.0)
    ask = {"up": np.array([0, 0, 1.0]), "parting": 0.0}
    filled, unfilled = (make(part, aluminium(), STORES, PatternAsk(**ask, draft=word), quiet) for word in ("added", "unfilled"))
    assert 1.3 < unfilled.draft_volume / filled.draft_volume < 1.6


@pytest.mark.parametrize("degrees", [1.0, 4.0, 8.0])
def test_angles_of_draft_that_are_asked_for_are_made(degrees):
    """A block with a pocket, all in the cope: its walls a little over their far end, where low walls take more, lean as asked."""
    part = f.part_of(f.box(100, 80, 40) - f.box(40, 30, 30).translate((0, 0, 20)), (), wall=8.0)
    lean = math.radians(degrees)
    ask = PatternAsk(up=np.array([0, 0, 1.0]), parting=0.0, draft_outside=lean, draft_pockets=0.75 * lean)
    cavity = solid_of(make(part, aluminium(), STORES, ask, quiet).cavity)
    low, high = (cavity.slice(z) for z in (32.0, 24.0))
    outside = [float(np.diff(np.array(s.bounds()).reshape(2, 2)[:, 0])[0]) for s in (low, high)]
    assert (outside[1] - outside[0]) / 2 / 8.0 == pytest.approx(math.tan(lean), rel=0.03)
    holes = [min((ring for ring in s.to_polygons() if len(s.to_polygons()) > 1), key=lambda ring: np.ptp(ring[:, 0])) for s in (low, high)]
    wide = [float(np.ptp(ring[:, 0])) for ring in holes]
    assert (wide[1] - wide[0]) / -2 / 8.0 == pytest.approx(math.tan(0.75 * lean), rel=0.03)


def test_the_draft_that_is_told_of_each_face_is_that_of_the_wall_that_stands_there():
    """Outside walls by 2.5 degrees, a pocket's by 4, a marked one by none: read off the cavity, not off the rule."""
    part = f.part_of(f.box(80, 60, 40) - f.box(40, 30, 20, 21), (), wall=8.0)
    middle = part.mesh.vertices[part.mesh.faces].mean(axis=1)
    side = np.array([part.mesh.vertices[:, 0].max(), 0.0, 0.02])
    ask = {"up": np.array([0, 0, 1.0]), "parting": 0.0, "draft_outside": math.radians(2.5), "draft_pockets": math.radians(4.0)}
    made = make(part, aluminium(), STORES, PatternAsk(**ask, marks=(Mark(name="side", at=side, kind="no-draft"),)), quiet)
    lean = np.degrees(np.arcsin(made.face_draft))
    normals = np.cross(*(np.diff(part.mesh.vertices[part.mesh.faces], axis=1)[:, i] for i in (0, 1)))
    wall = np.abs(normals[:, 2]) < 1e-12
    marked, pocket = wall & (np.abs(middle[:, 0] - side[0]) < 1e-9), wall & (np.abs(middle[:, 0]) < 0.021) & (np.abs(middle[:, 1]) < 0.016)
    assert marked.sum() == 2
    assert pocket.sum() == 8
    assert lean[marked] == pytest.approx(0.01, abs=2e-3)
    assert np.sort(lean[pocket]) == pytest.approx([4.0] * 4 + [5.0] * 4, abs=0.05)  # 5 within 8.6 mm of its far end, the rule's steepest
    assert lean[wall & ~marked & ~pocket] == pytest.approx(2.5, abs=0.1)
    assert made.undrafted_area == pytest.approx(60e-3 * 40e-3, rel=1e-6)


def test_no_draft_asked_for_as_an_angle_is_told_like_no_draft():
    part = f.part_of(f.box(60, 40, 25), (), wall=8.0)
    ask = {"up": np.array([0, 0, 1.0]), "parting": 0.0}
    made = make(part, aluminium(), STORES, PatternAsk(**ask, draft_outside=0.0, draft_pockets=0.0), quiet)
    assert "pattern.no_draft" in {f.code for f in made.findings}
    assert made.undrafted_area == pytest.approx(make(part, aluminium(), STORES, PatternAsk(**ask, draft="none"), quiet).undrafted_area)
    steep = make(part, aluminium(), STORES, PatternAsk(**ask, draft_outside=math.radians(12.0)), quiet)
    told = {f.code: render(f.because) for f in steep.findings}["pattern.draft"]
    assert "12 degrees outside" in told
    assert "low walls up to 12 degrees" in told


def test_draft_from_the_middle_adds_little_and_draws_all_the_same():
    """A straight block: from the far end its draft is all added; from the middle, what is taken off stands against it."""
    part = f.part_of(f.box(60, 40, 25), (), wall=8.0)
    ask = {"up": np.array([0, 0, 1.0]), "parting": 0.0}
    far, middle = (make(part, aluminium(), STORES, PatternAsk(**ask, draft_from=word), quiet) for word in ("far", "middle"))
    assert abs(middle.draft_volume) < 0.15 * far.draft_volume
    for made in (far, middle):
        cavity = solid_of(made.cavity)
        assert max(withdrawn(cavity)) < 0.005
        assert cavity.volume() * 1e-9 == pytest.approx(part.volume * float(made.scale.prod()) + made.draft_volume, rel=1e-5)
    assert np.ptp(middle.cavity.vertices[:, 0]) < np.ptp(far.cavity.vertices[:, 0])
    with pytest.raises(BadInput, match="draft from 'top' is not known"):
        make(part, aluminium(), STORES, PatternAsk(**ask, draft_from="top"), quiet)


def test_round_corners_asked_for_are_in_cavity_and_prints_and_are_told():
    """An upright plate on a slab: two feet of a third of its wall, as quarter rounds; nothing is rounded unasked, with draft or without."""
    part = f.part_of(f.box(60, 60, 10) + f.box(9, 60, 30, 9), (), wall=9.0)
    for draft in ("none", "added"):
        ask = {"up": np.array([0, 0, 1.0]), "parting": 0.0, "draft": draft}
        plain, round_ = (make(part, aluminium(), STORES, PatternAsk(**ask, fillets=word), quiet) for word in ("none", "added"))
        assert plain.fillet_volume == 0.0
        assert round_.fillet_radius == pytest.approx(3e-3, rel=0.02)  # a third of the wall, and the most
        radius = round_.fillet_radius * 1e3
        length = 60.0 * float(round_.scale[1])
        assert round_.fillet_volume * 1e9 == pytest.approx(2 * length * (1 - np.pi / 4) * radius**2, rel=0.1)
        cavity = solid_of(round_.cavity)
        counted = part.volume * float(round_.scale.prod()) + round_.draft_volume + round_.fillet_volume
        assert cavity.volume() * 1e-9 == pytest.approx(counted, rel=1e-6)
        assert max(withdrawn(cavity)) < 0.005
        assert {x.code for x in round_.findings} - {x.code for x in plain.findings} == {"pattern.fillets"}
    with pytest.raises(BadInput, match="fillets 'some' is not known"):
        make(part, aluminium(), STORES, PatternAsk(fillets="some"), quiet)


def test_much_metal_for_draft_is_minded_with_what_helps():
    """A box of 4 mm walls, 70 high: 2 degrees thicken each wall by 2.4 mm at the joint."""
    part = f.part_of(f.box(80, 60, 70) - f.box(72, 52, 70, 4), (), wall=4.0)
    made = make(part, aluminium(), STORES, PatternAsk(up=np.array([0, 0, 1.0])), quiet)
    told = {x.code: x for x in made.findings}["pattern.draft"]
    assert told.weight == "MIND"
    assert told.margin.value == pytest.approx(made.draft_volume / (part.volume * float(made.scale.prod())))
    assert "--draft-from middle" in told.do


def test_a_hole_to_drill_is_told_as_wide_as_it_is_on_the_part():
    """Not as in the cavity, which is larger by what the metal contracts: the drill goes into the cold casting."""
    part = f.part_of(box(60, 40, 40, (-30, -20, -20)) - across(8, 100), ())
    made = make(part, aluminium(), STORES, PatternAsk(up=np.array([0, 0, 1.0]), parting=0.0, draft="none", undercuts="fill", holes="cast"), quiet)
    assert made.scale[0] > 1.01
    told = next(one for one in made.findings if one.code == "pattern.undercut")
    assert "a round hole of 8 mm" in render(told.because, "metric")
    assert "largest 8 mm" in render(told.do, "metric")


def test_a_neck_over_half_a_hole_is_let_down_to_its_floor():
    part = box(40, 40, 10, (-20, -20, 0)) - rod(3, 6.5, (5, 0, 4))
    neck = rod(10, 12, (0, 0, 8)) - part
    seated = _seated(neck, part)
    sand = [box(40, 40, 30, (-20, -20, 0)) - part - one for one in (neck, seated)]
    taken = [float((one.translate((0, 0, -1.0)) ^ room).volume()) for one, room in zip((neck, seated), sand)]
    assert taken[0] > 1.0
    assert taken[1] < 1e-6
    assert seated.bounding_box()[2] == pytest.approx(4.0)
    assert (seated ^ part).volume() < 1e-9
    plain = rod(10, 12, (-8, 0, 8)) - part
    assert _seated(plain, part).volume() == pytest.approx(plain.volume(), rel=1e-12)


def test_dust_and_bubbles_are_no_rings():
    ring = rod(40, 10) - rod(20, 30, (0, 0, -5))
    assert rings(ring) == 1
    speck, bubble = box(1e-3, 1e-3, 1e-3, (50, 0, 0)), box(0.5, 0.5, 0.5, (14, 0, 4))
    assert rings(m3.Manifold.compose([ring - bubble, speck])) == 1
