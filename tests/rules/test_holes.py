"""Round holes found, and which are drilled; plugs that leave nothing behind."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest

from pattern_shop import box, bracket, public_part, rod
from strickle.pattern.facets import facets_of, rounds
from strickle.pattern.holes import Limits, drilled, found
from strickle.pattern.plugs import filled
from strickle.pattern.undercut import plain

LIMITS = Limits()


def lying(diameter, length, at, way="y", sides=48):
    """A round bar along x or y from ``at``."""
    body = m3.Manifold.cylinder(length, diameter / 2, circular_segments=sides)
    return body.rotate((0, 90, 0) if way == "x" else (-90, 0, 0)).translate(at)


def point(diameter, at):
    """What a drill point leaves under a blind hole whose floor's middle is ``at``: 118 degrees."""
    high = diameter / 2 / np.tan(np.radians(59))
    return m3.Manifold.cylinder(high, 0.0, diameter / 2, circular_segments=64).translate((at[0], at[1], at[2] - high))


def solid(vertices, faces):
    return m3.Manifold(m3.Mesh64(np.ascontiguousarray(vertices), np.ascontiguousarray(faces.astype(np.uint64))))


def seen(body):
    mesh = facets_of(*plain(body))
    return mesh, found(mesh)


def plugged(body, choose=lambda hole: True):
    mesh, holes = seen(body)
    made = filled(mesh, holes, [i for i, hole in enumerate(holes) if choose(hole)])
    return holes, made, solid(made.vertices, made.faces)


def plate():
    return box(120, 70, 14)


KINDS = {
    "through": (lambda: rod(9, 40, (20, 20, -5)), [(9.0, 14.0, True)]),
    "blind": (lambda: rod(5, 9, (40, 20, 7)), [(5.0, 7.0, False)]),
    "drill point": (lambda: rod(6, 30, (40, 20, 8)) + point(6, (40, 20, 8.0)), [(6.0, 6.0, False)]),
    "ball end": (lambda: rod(8, 30, (40, 20, 6)) + m3.Manifold.sphere(4, 64).translate((40, 20, 6)), [(8.0, 8.0, False)]),
    "across": (lambda: lying(6, 90, (50, -10, 7)), [(6.0, 70.0, True)]),
    "across, blind": (lambda: lying(6, 60, (50, -10, 7)), [(6.0, 50.0, False)]),
    "countersunk": (lambda: rod(5, 40, (40, 20, -5)) + rod(5, 3, (40, 20, 11.01), top=11), [(5.0, 11.01, True)]),
    "counterbored": (lambda: rod(6, 40, (40, 20, -5)) + rod(12, 9, (40, 20, 8.5)), [(12.0, 5.5, False), (6.0, 8.5, True)]),
    "stepped, blind": (lambda: rod(12, 20, (40, 20, 8)) + rod(6, 20, (40, 20, 4)), [(12.0, 6.0, False), (6.0, 4.0, False)]),
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_of_hole_is_found_with_its_size(kind):
    tool, sizes = KINDS[kind]
    _, holes = seen(plate() - tool())
    assert [(round(2 * h.radius, 6), h.through) for h in holes] == [(d, through) for d, _, through in sizes]
    assert [h.depth for h in holes] == pytest.approx([depth for _, depth, _ in sizes], abs=0.02)


@pytest.mark.parametrize("kind", KINDS)
def test_a_filled_hole_is_level_and_leaves_no_sliver(kind):
    """All holes of a body filled give the plate again, but for cone or recess that is no hole."""
    tool, _ = KINDS[kind]
    body = plate() - tool()
    _, made, whole = plugged(body)
    assert whole.status() == m3.Error.NoError
    assert whole.genus() == 0
    assert made.volume == pytest.approx(whole.volume() - body.volume(), rel=1e-9)
    left = plate() - rod(5, 3, (40, 20, 11.01), top=11) if kind == "countersunk" else plate()
    assert whole.volume() == pytest.approx(left.volume(), rel=1e-9)
    assert (whole - plate()).volume() == 0
    assert len(whole.decompose()) == 1


def test_a_hole_through_a_round_bar_is_filled_along_its_surface():
    bar = m3.Manifold.cylinder(60, 15, circular_segments=96)
    body = bar - lying(6, 60, (0, -30, 30), sides=32)
    _, _, whole = plugged(body)
    assert (whole - bar).volume() == pytest.approx(0.0, abs=1e-6)
    assert (bar - whole).volume() == pytest.approx(0.0, abs=1e-6)


def test_a_hole_into_a_bore_is_filled_along_the_bore():
    tube = m3.Manifold.cylinder(60, 30, circular_segments=96) - m3.Manifold.cylinder(80, 20, circular_segments=96).translate((0, 0, -10))
    holes, _, whole = plugged(tube - lying(6, 60, (0, -50, 30), sides=32), lambda hole: hole.radius < 10)
    assert whole.genus() == 1
    assert (whole - tube).volume() + (tube - whole).volume() < 0.02
    assert sum(h.radius < 10 for h in holes) == 1


def test_holes_that_meet_are_filled_together():
    cube = box(40, 40, 40)
    for tool in (lying(6, 60, (20, -10, 20)), lying(6, 30, (20, -10, 20))):
        _, made, whole = plugged(cube - rod(8, 60, (20, 20, -5)) - tool)
        assert whole.volume() == pytest.approx(cube.volume(), rel=1e-9)
        assert made.filled


def test_a_passage_that_bends_between_two_round_mouths_is_no_hole_to_drill():
    """A U of 20 mm: no drill makes its middle, so that its two mouths are not filled; two holes that cross each other are."""
    legs = [lying(20, 60, (0, y, 20), "x", 64) for y in (25, 75)]
    passage = legs[0] + legs[1] + lying(20, 50, (60, 25, 20), "y", 64) + m3.Manifold.sphere(10, 64).translate((60, 25, 20))
    passage += m3.Manifold.sphere(10, 64).translate((60, 75, 20))
    bent = box(100, 100, 40) - passage.translate((-1, 0, 0))
    _, made, whole = plugged(bent)
    assert made.filled == ()
    assert whole.volume() == pytest.approx(bent.volume())
    crossed = box(60, 60, 30) - lying(10, 80, (-10, 30, 15), "x") - lying(10, 80, (30, -10, 15), "y")
    _, made, whole = plugged(crossed)
    assert len(made.filled) >= 2
    assert whole.volume() == pytest.approx(60 * 60 * 30, rel=1e-6)


def test_what_a_plug_would_shut_in_is_filled_and_a_room_stays_open():
    block = box(60, 60, 40)
    stepped = block - rod(20, 20, (20, 20, 25)) - rod(9, 20, (20, 20, 15)) - rod(5, 15, (20, 20, 5))
    _, made, whole = plugged(stepped, lambda hole: hole.radius == pytest.approx(4.5))
    assert len(made.filled) == 2
    assert len(whole.decompose()) == 1
    hollow = block - box(40, 40, 20, (10, 10, 10)) - rod(6, 20, (30, 30, 25))
    _, made, whole = plugged(hollow)
    assert made.filled == ()
    assert whole.volume() == pytest.approx(hollow.volume())


@pytest.mark.parametrize(
    "tool",
    [
        lambda: rod(8, 30, (20, 20, -5)) + rod(8, 30, (40, 20, -5)) + box(20, 8, 30, (20, 16, -5)),
        lambda: m3.Manifold.cylinder(30, 4, circular_segments=6).translate((30, 20, -5)),
        lambda: box(20, 20, 30, (20, 20, -5)),
        lambda: rod(20, 30, (40, 30, 5)) - rod(12, 30, (40, 30, 4)),
        lambda: rod(20, 20, (40, 0, -3)),
    ],
    ids=["slot", "hexagon", "square", "ring groove", "half"],
)
def test_what_is_no_round_hole_is_none(tool):
    assert seen(plate() - tool())[1] == ()


def test_bosses_are_round_and_no_holes():
    mesh, holes = seen(bracket())
    assert sorted(round(2 * h.radius) for h in holes) == [9, 9, 20]
    assert rounds(facets_of(*plain(box(60, 60, 10) + rod(30, 30, (30, 30, 9)))), hollow=False)[0].radius == pytest.approx(15)
    assert all(w.radius != pytest.approx(15) for w in rounds(mesh))


def test_the_rule_of_what_is_drilled():
    """Under 10 mm, or deeper than one and a half diameters and no wider than 30."""
    assert [drilled(d, h, LIMITS) for d, h in ((9.9, 1), (10.1, 15), (10.1, 16), (30, 46), (31, 90))] == [True, False, True, True, False]


def test_a_hole_known_from_exact_faces_keeps_them():
    """Eight coarse facets measure the same to a hair, the exact radius is told."""
    body = box(40, 40, 20) - m3.Manifold.cylinder(30, 5, circular_segments=24).translate((20, 20, -5))
    mesh = facets_of(*plain(body))
    (hole,) = found(mesh, [(np.array([20.0, 20, 20]), np.array([0.0, 0, -1]), 5.0, 20.0)])
    assert hole.exact
    assert hole.radius == 5.0
    assert len(found(mesh)) == 1
    assert not found(mesh)[0].exact


REAL = {
    "testbed_base": {2.5: 8},
    "sensor_base_plate": {2.5: 2, 3.1: 3, 5.3: 2, 5.7: 3},
    "pulley_t30": {3.1: 2},
    "bearing_cover": {3.2: 4, 15.0: 1},
    "table_attachment": {},
    "featuretype_inch": {6.756: 8, 9.892: 1, 11.113: 8},
}


@pytest.mark.parametrize("name", REAL)
def test_the_holes_of_real_parts(name):
    part = public_part(name)
    mesh = facets_of(part.mesh.vertices * 1e3, part.mesh.faces)
    holes = found(mesh)
    sizes, count = np.unique(np.round([2 * h.radius for h in holes], 2), return_counts=True)
    assert sum(count) == sum(REAL[name].values())
    for size, many in REAL[name].items():
        assert count[np.abs(sizes - size) < 0.011].sum() == many
    made = filled(mesh, holes, range(len(holes)))
    whole = solid(made.vertices, made.faces)
    assert whole.status() == m3.Error.NoError
    assert len(made.filled) == len(holes)
    assert whole.volume() - part.volume * 1e9 == pytest.approx(made.volume, rel=1e-6, abs=1e-6)
    assert made.volume == pytest.approx(sum(np.pi * h.radius**2 * h.depth for h in holes), rel=0.03)
