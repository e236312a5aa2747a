"""Laws of the ways a part can lie: none is beaten, they turn and grow with the part, and marked faces are heard."""

import manifold3d
import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pattern_shop import aluminium, box, bracket, part_from, part_of, rod
from strickle.base import quiet
from strickle.pattern import PatternAsk
from strickle.pattern.directions import Scored, lighter, principal, search, snapped, solid, spare, square, squared, surface
from strickle.pattern.good import NONE, good
from strickle.pattern.parting import choose
from strickle.pattern.steps import make
from strickle.pattern.ways import front, settled, spread
from strickle.stores import load

LIMITS = (0.75, 1.25)
NOWHERE = np.zeros((0, 3))


def turned_by(axis, angle) -> np.ndarray:
    x, y, z = np.asarray(axis, float) / np.linalg.norm(axis)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross


def ways_of(part, wanted=NONE):
    found = search(lighter(part.mesh), part.volume, quiet, part.mesh, wanted)
    return settled(part.mesh, found, part.volume, NOWHERE, LIMITS, wanted)


def costs_of(ways):
    return np.array([[w.undercut, w.planar, w.depth, -w.even * w.own, w.faces_up, not w.own, w.score] for w in ways], float)


def yoke(bored: bool = True) -> manifold3d.Manifold:
    """A fork with a bore, or a square window, across its arms and a foot to one side: every way to draw it costs something."""
    body = box(90, 60, 12) + box(14, 60, 50, (0, 0, 11)) + box(14, 40, 50, (60, 10, 11)) + box(20, 30, 10, (20, -25, 0))
    if bored:
        return body - manifold3d.Manifold.cylinder(200, 9, 9, 12).rotate((0, 90, 0)).translate((-20, 30, 40))
    return body - box(200, 18, 18, (-20, 21, 31))


@settings(max_examples=60, deadline=None)
@given(arrays(float, st.tuples(st.integers(1, 30), st.integers(1, 6)), elements=st.integers(0, 6).map(float)))
def test_no_row_of_the_front_is_beaten_and_every_other_one_is(costs):
    kept = front(costs)
    assert kept.any()
    for i, row in enumerate(costs):
        beaten = any((other <= row).all() and (other < row).any() for other in costs)
        assert kept[i] != beaten
    assert (spread(costs, np.ones(costs.shape[1])) == kept).all()


@settings(max_examples=40, deadline=None)
@given(arrays(float, st.tuples(st.integers(1, 20), st.just(4)), elements=st.floats(0, 10)), st.floats(0.1, 3.0))
def test_nothing_of_the_spread_is_beaten_by_a_hair_or_by_more(costs, step):
    kept = costs[spread(costs, np.full(4, step))]
    assert len(kept)
    assert front(kept).all()


@pytest.mark.parametrize("body", [yoke(), bracket()])
def test_no_way_is_beaten_and_the_first_is_the_one_taken(body):
    laid = ways_of(part_from(body))
    assert front(costs_of(laid.ways)).all()
    assert [w.chosen for w in laid.ways] == [True] + [False] * (len(laid.ways) - 1)
    assert laid.ways[0].score == min(w.score for w in laid.ways)
    assert laid.ways[0].up == pytest.approx(laid.lie.draw)
    assert laid.ways[0].level == laid.lie.level
    assert all(w.why for w in laid.ways)


def test_a_yoke_can_lie_in_more_than_one_way():
    laid = ways_of(part_from(yoke(bored=False)))
    assert len(laid.ways) > 1
    assert len({tuple(np.round(w.up, 6)) for w in laid.ways}) == len(laid.ways)


@settings(max_examples=4, deadline=None, derandomize=True, phases=[Phase.generate])
@given(st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda a: np.linalg.norm(a) > 0.1), st.floats(0.1, 3.0))
def test_turning_the_part_turns_its_ways(axis, angle):
    part, turn = part_from(yoke(bored=False)), turned_by(axis, angle)
    moved = part_of(part.mesh.vertices @ turn.T + [0.02, -0.01, 0.03], part.mesh.faces)
    a, b = ways_of(part), ways_of(moved)
    assert np.degrees(np.arccos(min(float(b.lie.draw @ turn @ a.lie.draw), 1.0))) < 0.01
    expected = sorted((turn @ w.up for w in a.ways if w.own), key=lambda d: float(d @ b.lie.draw))
    there = sorted((w.up for w in b.ways if w.own), key=lambda d: float(d @ b.lie.draw))
    assert len(there) == len(expected)
    assert np.abs(np.array(there) - np.array(expected)).max() < 1e-3


@pytest.mark.parametrize("factor", [0.1, 0.5, 3.0])
def test_size_changes_no_direction(factor):
    """The search alone: which level serves depends on size, by the speed of falling metal and what a grain of sand is."""
    part = part_from(yoke(bored=False))
    grown = part_of(part.mesh.vertices * factor, part.mesh.faces)
    a = search(lighter(part.mesh), part.volume, quiet, part.mesh)
    b = search(lighter(grown.mesh), grown.volume, quiet, grown.mesh)
    assert a[0].direction == pytest.approx(b[0].direction, abs=1e-9)
    assert a[0].score == pytest.approx(b[0].score, abs=2e-3)
    assert b[0].gap == pytest.approx(a[0].gap * factor**3, abs=1e-3 * grown.volume)


def scored(direction, score, own, square=0.0) -> Scored:
    d = np.asarray(direction, float)
    return Scored(d / np.linalg.norm(d), score, 0.0, 0.0, 0.0, own, square)


def test_a_direction_of_the_part_stands_for_those_beside_it():
    lean = np.tan(np.radians(4.0))
    near, far = (lean, 0, 1), (np.tan(np.radians(8.0)), 0, 1)
    straight, facet = scored((0, 0, 1), 0.3, True, 0.8), scored((0, lean / 2, 1), 0.28, True, 0.1)
    kept = snapped([scored(near, 0.27, False), straight, facet, scored(far, 0.29, False)])
    assert [k.score for k in kept] == [0.29, 0.3]
    much = snapped([scored(near, 0.2, False), straight])
    assert [k.score for k in much] == [0.2, 0.3], "what is far better is no slip of the net"


@pytest.mark.parametrize("turn", [np.eye(3), turned_by((0.3, 0.5, 0.8), 1.1)])
def test_the_axis_of_a_fluted_post_is_found_exactly_by_its_walls(turn):
    """No flat across the draw at all: a domed post; only its flutes say where the axis is."""
    ring = [((20 + (2 if i % 2 else 0)) * np.cos(i * np.pi / 9), (20 + (2 if i % 2 else 0)) * np.sin(i * np.pi / 9)) for i in range(18)]
    post = manifold3d.CrossSection([ring]).extrude(60) ^ manifold3d.Manifold.sphere(45, 48).translate((0, 0, 25))
    made = part_from(post)
    part = part_of(made.mesh.vertices @ turn.T, made.mesh.faces)
    normals, areas = surface(part.mesh)
    leaning = turn @ np.array([0.01, 0.012, 1.0])
    axis = squared(leaning, normals, areas)
    assert np.degrees(np.arccos(min(abs(float(axis @ turn[:, 2])), 1.0))) < 1e-4
    assert square(axis, normals, areas) > 0.4
    axes, symmetric = principal(part.mesh)
    assert symmetric.any()
    assert max(abs(axes[symmetric] @ turn[:, 2])) == pytest.approx(1.0, abs=1e-9)


def test_the_same_shape_in_more_triangles_lies_the_same():
    part = part_from(bracket())
    fine = solid(part.mesh).refine(16).to_mesh64()
    many = part_of(np.array(fine.vert_properties[:, :3]) * 1e-3, np.array(fine.tri_verts, np.int64))
    assert len(many.mesh.faces) > 100_000
    few = spare(many.mesh)
    assert len(few.faces) < 2 * len(part.mesh.faces)
    assert float(solid(few).volume()) == pytest.approx(float(solid(part.mesh).volume()), rel=1e-9)
    a, b = ways_of(part), ways_of(part_of(few.vertices, few.faces))
    assert b.lie.draw == pytest.approx(a.lie.draw)
    assert b.lie.level == pytest.approx(a.lie.level, abs=1e-9)


def plate() -> manifold3d.Manifold:
    """A plate flat on both sides, a step round one of them."""
    return box(100, 60, 10) + box(80, 40, 6, (10, 10, 10))


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_face_marked_good_is_cast_down(side):
    part = part_from(plate())
    normals, areas = surface(part.mesh)
    heights = part.mesh.vertices[part.mesh.faces][:, :, 2].mean(axis=1)
    wanted = np.flatnonzero((normals[:, 2] * side > 0.99) & (np.abs(heights - (0.016 if side > 0 else 0.0)) < 1e-6))
    marked = good(part.mesh.vertices[part.mesh.faces[wanted]])
    assert marked.areas.sum() == pytest.approx(areas[wanted].sum())
    assert marked.up(np.array([0, 0, side])) == 1.0
    assert marked.up(np.array([0, 0, -side])) == 0.0
    assert marked.up(np.array([1.0, 0, 0])) == 0.25
    laid = ways_of(part, marked)
    assert laid.lie.draw == pytest.approx([0, 0, -side])
    assert laid.ways[0].faces_up == 0.0


def test_the_parting_line_keeps_off_a_wall_marked_good():
    """A block that parts anywhere: with one wall marked, at an end of it."""
    part = part_from(box(80, 50, 40))
    normals, _ = surface(part.mesh)
    wall = good(part.mesh.vertices[part.mesh.faces[normals[:, 0] > 0.99]])
    up = np.array([0, 0, 1.0])
    assert wall.seam(up, 0.02) == pytest.approx(0.05)
    assert wall.seam(up, 0.0) == 0.0
    middle = choose(part.mesh, up, part.volume, NOWHERE, LIMITS, True, 0.02, wall)[0]
    assert middle.seam == pytest.approx(0.05)
    assert choose(part.mesh, up, part.volume, NOWHERE, LIMITS, True, None, wall)[0].seam == 0.0


def test_what_is_even_about_a_level_is_parted_there_into_halves_alike():
    barrel = rod(80, 9, top=70) + rod(80, 9, top=70).mirror((0, 0, 1)) + rod(30, 14, top=28) + rod(30, 14, top=28).mirror((0, 0, 1))
    part = part_from(barrel.translate((0, 0, 7.3)))
    laid = ways_of(part)
    assert abs(laid.lie.draw[2]) == pytest.approx(1.0)
    assert laid.lie.level == pytest.approx(7.3e-3 * laid.lie.draw[2], abs=1e-9)
    assert laid.ways[0].even == pytest.approx(1.0)


def test_the_ways_are_told_and_can_be_overruled():
    part, stores = part_from(yoke(bored=False)), load()
    result = make(part, aluminium(), stores, PatternAsk(draft="none"), quiet)
    told = next(f for f in result.findings if f.code == "pattern.ways")
    assert "--up" in told.do
    other = result.ways[1].up
    asked = make(part, aluminium(), stores, PatternAsk(draft="none", up=other), quiet)
    assert asked.draw == pytest.approx(other)
    assert asked.ways == ()
    assert asked.parting_level == pytest.approx(result.ways[1].level)
