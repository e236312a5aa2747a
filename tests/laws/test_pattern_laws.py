"""Laws of the pattern: halves add up, scales do what they say, turning the part turns the answer."""

import dataclasses

import manifold3d
import numpy as np
import pytest
import trimesh

from pattern_shop import aluminium, box, bracket, mushroom, part_from, part_of, rod
from strickle.base import BadInput, Mesh, quiet, render
from strickle.metal import MetalAsk
from strickle.metal.steps import blend
from strickle.pattern import PatternAsk
from strickle.pattern.directions import lighter, search, solid
from strickle.pattern.halves import Holes, drill, pieces
from strickle.pattern.mend import mended, shared
from strickle.pattern.steps import make
from strickle.pattern.undercut import plain
from strickle.stores import load, starter_kit

STORES = load()


def with_kit(**changes):
    return load(dataclasses.replace(starter_kit(), **changes))


def planned(part, stores=STORES, **ask):
    return make(part, aluminium(), stores, PatternAsk(**{"draft": "none", "holes": "cast"} | ask), quiet)


def volume(mesh: Mesh) -> float:
    return float(trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).volume)


def split_part() -> manifold3d.Manifold:
    """A hub with flanges of two sizes: it needs two halves and undercuts nothing."""
    return rod(80, 12, (0, 0, -12), top=90) + rod(90, 12, top=80) + rod(40, 30, (0, 0, 11), top=34) + rod(34, 20, (0, 0, -31), top=40)


def test_halves_add_up_before_the_holes():
    result = planned(part_from(split_part()))
    assert [p.name for p in result.pieces] == ["cope-pattern", "drag-pattern"]
    grown = solid(result.cavity).scale(tuple(float(r) for r in result.print_scale / result.scale))
    bare, crumbs, rough, taken = pieces(grown, Holes([], 0, 0, [], {}))
    assert crumbs == 0
    assert not rough
    assert taken == 0
    assert sum(p.volume for p in bare) == pytest.approx(float(grown.volume()) * 1e-9, rel=1e-5)
    assert sum(volume(p.mesh) for p in bare) == pytest.approx(volume(result.cavity) * float((result.print_scale / result.scale).prod()), rel=1e-5)


def test_cavity_is_the_contracted_part():
    part = part_from(bracket())
    result = planned(part)
    assert result.undercut_volume == 0
    assert volume(result.cavity) == pytest.approx(part.volume * float(result.scale.prod()), rel=1e-6)
    assert result.scale == pytest.approx(1 + result.contraction.value)
    placed = result.scale * (part.mesh.vertices @ result.turn.T) + result.shift
    assert placed.min(axis=0) == pytest.approx(result.cavity.vertices.min(axis=0), abs=1e-8)
    assert placed.max(axis=0) == pytest.approx(result.cavity.vertices.max(axis=0), abs=1e-8)


def test_frame_is_a_proper_rotation_with_the_parting_at_zero():
    result = planned(part_from(split_part()))
    assert result.turn @ result.turn.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(result.turn) == pytest.approx(1)
    assert result.turn[2] == pytest.approx(result.draw)
    low, high = result.cavity.vertices.min(axis=0), result.cavity.vertices.max(axis=0)
    assert (low + high)[:2] == pytest.approx(0, abs=1e-8)
    assert high[2] == pytest.approx(result.cope_depth)
    assert -low[2] == pytest.approx(result.drag_depth)


def test_a_flat_backed_part_lies_on_the_parting_in_the_cope():
    result = planned(part_from(bracket()))
    assert [p.name for p in result.pieces] == ["cope-pattern"]
    assert result.drag_depth == pytest.approx(0, abs=1e-9)
    assert result.draw == pytest.approx([0, 0, 1])


@pytest.mark.parametrize(("above", "below"), [(15.0, 15.0), (16.3, 12.1), (13.0, 20.0)])
def test_a_rounded_ring_is_parted_at_its_equator(above, below):
    """No ladder of levels between the ends holds z = 0 here but that of the first; half a millimetre off it leaves a lip all round."""
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    ring = manifold3d.CrossSection([np.column_stack([60 + 8.5 * np.cos(turn), 9 * np.sin(turn)])]).revolve(72)
    hub = rod(40, above, top=36) + rod(40, below, top=36).mirror((0, 0, 1))
    arms = manifold3d.Manifold.hull_points(np.array([[x, y, z] for x in (-58, 58) for y, z in ((6, 0), (-6, 0), (0, 5), (0, -5))], float))
    result = planned(part_from(ring + hub + arms))
    assert result.parting_level == pytest.approx(0.0, abs=1e-6)
    assert result.undercut_volume == 0


@pytest.mark.parametrize("axis", [(0.3, 0.5, 0.81), (-0.7, 0.2, 0.4)])
def test_turning_the_part_turns_the_draw(axis):
    part = part_from(bracket())
    turn = trimesh.transformations.rotation_matrix(1.1, axis)[:3, :3]
    moved = part_of(part.mesh.vertices @ turn.T + [0.01, -0.02, 0.005], part.mesh.faces)
    found = search(lighter(moved.mesh), moved.volume, quiet)[0].direction
    assert np.degrees(np.arccos(min(abs(found @ turn @ [0, 0, 1]), 1))) < 0.05
    a, b = planned(part), planned(moved)
    assert b.draw == pytest.approx(turn @ a.draw, abs=1e-3)
    assert (b.cope_depth, b.drag_depth) == pytest.approx((a.cope_depth, a.drag_depth), abs=1e-6)
    assert volume(b.cavity) == pytest.approx(volume(a.cavity), rel=1e-3)


def test_print_scale_pays_for_print_error_and_rapping():
    part = part_from(bracket())
    plain = planned(part, with_kit(print_error=0.0, rapping=0.0))
    assert plain.print_scale == pytest.approx(plain.scale)
    short = planned(part, with_kit(print_error=0.002, rapping=0.0))  # prints come out 0.2 % short
    assert short.print_scale == pytest.approx(plain.print_scale * 1.002)
    rapped = planned(part, with_kit(print_error=0.0, rapping=0.0003))
    size = np.ptp(rapped.cavity.vertices, axis=0)
    assert size[:2] * rapped.print_scale[:2] / rapped.scale[:2] + 0.0003 == pytest.approx(size[:2])
    assert rapped.print_scale[2] == rapped.scale[2]
    printed = rapped.pieces[0].extents
    assert rapped.measure == pytest.approx(float(printed.max()), rel=1e-9)
    assert rapped.measure_part == pytest.approx(0.12)


def test_the_shops_own_contraction_stands():
    stores = with_kit(contraction=0.0117)
    result = make(part_from(bracket()), blend(MetalAsk(), stores), stores, PatternAsk(), quiet)
    assert result.scale == pytest.approx(1.0117)
    assert result.contraction.value == 0.0117


def test_a_smaller_bed_takes_the_pattern_in_parts_and_the_smallest_stops_it():
    part = part_from(bracket())
    wide, half, least = (planned(part, with_kit(bed=np.array(bed))) for bed in ((0.22, 0.22, 0.25), (0.11, 0.05, 0.08), (0.02, 0.02, 0.03)))
    told = [{f.code: f.weight for f in made.findings if f.code in ("pattern.bed", "pattern.in_parts")} for made in (wide, half, least)]
    assert told == [{}, {"pattern.in_parts": "NOTE"}, {"pattern.bed": "STOP"}]
    assert [len(made.pieces[0].parts) for made in (wide, least)] == [0, 0]
    assert 1 < len(half.pieces[0].parts) <= 12
    assert half.pieces[0].volume == pytest.approx(wide.pieces[0].volume, rel=1e-9)


def test_undercut_findings_read_apart_and_weigh_by_volume():
    small = planned(part_from(mushroom()), up=np.array([0, 0, 1.0]), parting=0.0, undercuts="fill")
    bored = box(100, 60, 40) - rod(38, 120, (0, 0, 0)).rotate((90, 0, 0)).translate((50, 90, 20))
    large = planned(part_from(bored), up=np.array([0, 0, 1.0]), undercuts="fill")
    texts = []
    for result in (small, large):
        finding = next(f for f in result.findings if f.code == "pattern.undercut")
        texts.append(render(finding.says))
        share = result.undercut_volume / (volume(result.cavity) - result.undercut_volume)
        assert finding.weight == ("STOP" if share > 0.05 else "MIND")
        assert finding.margin.value == pytest.approx(share, rel=1e-4)
        assert finding.where.point is not None
        assert result.undercut_faces
    assert texts[0] != texts[1]


def test_holes_lie_inside_the_print_and_open_on_the_parting():
    result = planned(part_from(split_part()))
    grown = solid(result.cavity).scale(tuple(float(r) for r in result.print_scale / result.scale))
    holes = drill(grown)
    assert holes.loose == 0
    assert not holes.unlifted
    dowels = [h for h in holes.holes if h.use == "dowel"]
    assert {h.half for h in dowels} == {"cope", "drag"}
    assert len({h.diameter for h in dowels}) == 2, "unlike holes let the halves meet one way only"
    for piece in result.pieces:
        own = [h for h in holes.holes if h.half == piece.half]
        bare = next(p for p in pieces(grown, Holes([], 0, 0, [], {}))[0] if p.half == piece.half)
        bored = sum(24 / 2 * (h.diameter / 2) ** 2 * np.sin(2 * np.pi / 24) * h.depth for h in own) * 1e-9
        assert bare.volume - piece.volume == pytest.approx(bored, rel=1e-4)
        assert trimesh.Trimesh(piece.mesh.vertices, piece.mesh.faces, process=False).is_watertight
        assert piece.lift_point[2] == 0


def test_each_body_of_a_half_is_a_piece_of_its_own():
    """A bar in the drag carries three posts in the cope, the middle one the largest."""
    posts = [rod(d, 20, (x, 0, -0.01), top=d - 4) for x, d in ((-60, 30), (0, 44), (60, 34))]
    result = planned(part_from(box(180, 50, 12, (-90, -25, -12)) + posts[0] + posts[1] + posts[2]), up=np.array([0, 0, 1.0]), parting=0.0)
    names = [p.name for p in result.pieces]
    assert names == ["cope-pattern", "cope-pattern-2", "cope-pattern-3", "drag-pattern"]
    volumes = [p.volume for p in result.pieces[:3]]
    assert volumes == sorted(volumes, reverse=True)
    assert len({p.order for p in result.pieces}) == 4
    for piece in result.pieces:
        made = solid(piece.mesh)
        assert len(made.decompose()) == 1
        assert piece.lift_point is not None
        assert piece.mesh.vertices[:, 0].min() < piece.lift_point[0] < piece.mesh.vertices[:, 0].max()
        assert ("one of 3 bodies" in piece.note) == (piece.half == "cope")
    assert all(a.order > result.pieces[3].order for a in result.pieces[:3])


def test_holes_to_drill_do_not_stand_a_bracket_on_end():
    """Lying on its side all four holes lie across the draw; a person drills them and keeps the cope low."""
    holes = [rod(10, 40, (50, y, -10)) for y in (10, 40)]
    holes += [rod(10, 40).rotate((0, 90, 0)).translate((-10, y, 70)) for y in (12, 38)]
    gusset = manifold3d.Manifold.batch_hull([box(4, 6, 0.01, (7, 22, 40)), box(4, 6, 0.01, (7, 22, 7)), box(0.01, 6, 4, (45, 22, 7))])
    bracket = box(70, 50, 8) + box(8, 50, 91) + gusset - holes[0] - holes[1] - holes[2] - holes[3]
    result = planned(part_from(bracket))
    assert abs(result.draw[1]) == pytest.approx(1)
    finding = next(f for f in result.findings if f.code == "pattern.undercut")
    assert finding.weight == "MIND"
    assert "drill 4 round holes" in finding.do
    assert finding.margin.value < 0.01
    assert result.undercut_volume > 0.035 * 1e-9 * bracket.volume()


def test_walls_that_touch_in_a_line_are_made_one_solid():
    """Two blocks that share an upright edge: apart for the library, one for whoever reads the file."""
    touching = box(20, 20, 10) + box(20, 20, 10, (20, 20, 0)) + box(40, 40, 4, (0, 0, 10))
    assert len(shared(*plain(touching)))
    made, done = mended(touching, 1.0)
    assert done
    assert not len(shared(*plain(made)))
    assert made.volume() == pytest.approx(touching.volume(), abs=0.1)
    assert len(made.decompose()) == 1


def test_the_score_of_a_lie_is_not_told():
    assert all(f.margin is None for f in planned(part_from(bracket())).findings if f.code == "pattern.lies")


def test_up_is_obeyed_and_nonsense_refused():
    part = part_from(bracket())
    down = planned(part, up=np.array([0, 0, -3.0]))
    assert down.draw == pytest.approx([0, 0, -1])
    with pytest.raises(BadInput, match="no length"):
        planned(part, up=np.zeros(3))
    with pytest.raises(BadInput, match="outside the part"):
        planned(part, up=np.array([0, 0, 1.0]), parting=0.5)


def test_draft_sines_and_undrafted_area():
    cone = rod(60, 30, top=60 - 2 * 30 * np.tan(np.radians(3)))
    result = planned(part_from(cone))
    assert result.undrafted_area == 0
    assert result.face_draft.min() == pytest.approx(np.sin(np.radians(3)), rel=2e-2)
    part = part_from(rod(60, 30))
    straight = planned(part)
    assert straight.undrafted_area == pytest.approx(64 * 2 * 30 * np.sin(np.pi / 64) * 30e-6, rel=1e-3)
    assert "pattern.no_draft" in {f.code for f in straight.findings}


def test_the_same_question_gives_the_same_answer():
    part = part_from(split_part())
    a, b = planned(part), planned(part)
    assert np.array_equal(a.cavity.vertices, b.cavity.vertices)
    assert all(np.array_equal(p.mesh.vertices, q.mesh.vertices) for p, q in zip(a.pieces, b.pieces))
    assert a.findings == b.findings
