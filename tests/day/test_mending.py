"""Broken meshes: closed, drawn anew or refused, always told, and never counted twice. Volumes against the whole solid's own."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest

from meshes import as_stl, knot, torus, triangles
from strickle.base import BadInput, quiet
from strickle.job.demo import demo
from strickle.part import PartAsk, formats, health, lighten, mend
from strickle.part.health import bodies
from strickle.part.measure import volume_of
from strickle.part.patch import MOST_WORK, Work, patched
from strickle.part.raw import NOWHERE, Raw
from strickle.part.steps import examine

Solid = manifold3d.Manifold
BLOCK = (
    Solid.cube((60.0, 40.0, 25.0), True) - Solid.cylinder(40.0, 8.0, 8.0, 64, True) + Solid.cylinder(30.0, 5.0, 5.0, 48).translate((20.0, 0.0, 0.0))
)
PLATE = Solid.cube((100.0, 60.0, 4.0), True) - Solid.cylinder(9.0, 6.0, 6.0, 64, True).translate((20.0, 0.0, 0.0))


def found(vertices, faces, name="part.stl"):
    return bodies(formats.read(as_stl(vertices, faces), name), name)


def shape(name):
    if name == "bracket":
        (body,) = bodies(formats.read(demo("bracket").stl(), "a.stl"), "a.stl")
        return body.vertices, body.faces
    return triangles({"block": BLOCK, "plate": PLATE, "ball": Solid.sphere(20.0, 96)}[name])


@pytest.fixture
def look(bench_metal, bench_stores):
    def examined(vertices, faces, name="part.stl"):
        return examine(PartAsk(data=as_stl(vertices, faces), name=name, unit="mm", cells=3000), bench_metal, bench_stores, quiet)

    return examined


@pytest.mark.parametrize("name", ["bracket", "block", "plate", "ball"])
@pytest.mark.parametrize("share", [0.002, 0.01, 0.02, 0.05])
def test_holes_are_closed_as_the_solid_was(name, share):
    vertices, faces = shape(name)
    rng = np.random.default_rng(int(1000 * share))
    gone = rng.random(len(faces)) < share
    gone[rng.integers(len(faces))] = True
    (body,) = found(vertices, faces[~gone])
    assert body.volume == pytest.approx(volume_of(vertices, faces), rel=1e-3)
    assert body.deep.patches > 0
    assert 0.0 < body.deep.patched < 0.25
    assert body.deep.cell == 0.0


def test_a_sharp_edge_comes_back_and_a_face_with_a_bore_keeps_it():
    vertices, faces = triangles(Solid.cube((30.0, 20.0, 10.0)))
    corners = vertices[faces]
    top = (corners[:, :, 2] == 10.0).all(axis=1)
    end = (corners[:, :, 0] == 30.0).all(axis=1)
    over_the_edge = np.flatnonzero(top)[:1].tolist() + np.flatnonzero(end)[:1].tolist()
    (body,) = found(vertices, np.delete(faces, over_the_edge, axis=0))
    assert body.volume == pytest.approx(6000.0, rel=1e-6)
    vertices, faces = triangles(PLATE)
    ring = np.abs(vertices[faces][:, :, 2] - 2.0).max(axis=1) < 1e-9
    assert ring.sum() > 60
    small = triangles(Solid.cube((100.0, 60.0, 40.0), True) - Solid.cylinder(90.0, 6.0, 6.0, 64, True))
    lid = np.abs(small[0][small[1]][:, :, 2] - 20.0).max(axis=1) < 1e-9
    (body,) = found(small[0], small[1][~lid])  # all of one face with its bore: an outer loop and an inner one
    assert body.volume == pytest.approx(volume_of(*small), rel=1e-6)
    assert len(found(small[0], small[1][~lid])[0].voids) == 0


@pytest.mark.parametrize("name", ["bracket", "block"])
def test_flipped_inverted_and_doubled_triangles_change_nothing(name):
    vertices, faces = shape(name)
    whole = volume_of(vertices, faces)
    rng = np.random.default_rng(3)
    some = rng.random(len(faces)) < 0.1
    flipped = faces.copy()
    flipped[some] = flipped[some][:, ::-1]
    for broken in (flipped, faces[:, ::-1], np.vstack([faces, faces])):
        (body,) = found(vertices, broken)
        assert body.volume == pytest.approx(whole, rel=1e-6)
        assert body.mended
        assert body.deep == type(body.deep)()
    (body,) = found(vertices, flipped[rng.random(len(faces)) > 0.01])
    assert body.volume == pytest.approx(whole, rel=1e-3)


def loosened(vertices, faces, share, seed=4):
    """Every triangle with corners of its own, each moved by about ``share`` of the size: nothing meets."""
    rng = np.random.default_rng(seed)
    corners = vertices[faces].reshape(-1, 3)
    size = np.linalg.norm(np.ptp(vertices, axis=0))
    return corners + rng.normal(0.0, share * size, corners.shape), np.arange(len(corners)).reshape(-1, 3)


@pytest.mark.parametrize(("name", "turned"), [("bracket", False), ("block", True), ("ball", False), ("plate", False)])
def test_triangles_that_do_not_meet_are_drawn_anew(name, turned):
    vertices, faces = shape(name)
    points, apart = loosened(vertices, faces, 1e-4)
    (body,) = found(points, apart[:, ::-1] if turned else apart)
    assert body.volume == pytest.approx(volume_of(vertices, faces), rel=3e-3)
    assert body.deep.cell > 0.0
    assert 0.97 < body.deep.low <= 1.0 <= body.deep.high < 1.03
    assert np.ptp(body.vertices, axis=0) == pytest.approx(np.ptp(vertices, axis=0), abs=2.0 * body.deep.cell)


def test_a_body_that_runs_through_itself_is_drawn_anew_and_counted_once(look):
    vertices, faces = knot()
    part = look(vertices, faces)
    (told,) = (f for f in part.findings if f.code == "part.mesh_rebuilt")
    assert told.weight == "MIND"
    assert told.margin.low <= 1.0 <= told.margin.high
    assert part.mended_volume_change < -0.02
    assert not any(f.code == "part.self_overlap" for f in part.findings)
    # the two halves of the path as bodies of their own, united by the library: the crossing counted once
    ring = 16
    ends = (15, 45)
    whole = sum((piece(vertices, ring, first) for first in ends), Solid())
    assert 1e9 * part.volume == pytest.approx(whole.volume(), rel=0.01)
    assert 1e9 * part.volume < 0.98 * abs(volume_of(vertices, faces))


def piece(vertices, ring, first):
    """Half of the knot, closed by its two ends."""
    rings = np.arange(first, first + 31) % 60
    points = vertices.reshape(60, ring, 3)[rings].reshape(-1, 3)
    number = np.arange(31 * ring).reshape(31, ring)
    a, b = number[:-1], number[1:]
    c, d = np.roll(a, -1, axis=1), np.roll(b, -1, axis=1)
    sides = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([b, d, c], -1).reshape(-1, 3)])
    fan = np.column_stack([np.zeros(ring - 2, int), np.arange(1, ring - 1), np.arange(2, ring)])
    mesh = np.concatenate([sides, fan, number[-1][fan[:, ::-1]]])
    solid = Solid(manifold3d.Mesh64(points, mesh.astype(np.uint64)))
    assert solid.status() == manifold3d.Error.NoError
    return solid if solid.volume() > 0.0 else Solid(manifold3d.Mesh64(points, mesh[:, ::-1].astype(np.uint64)))


def test_overlapping_shells_are_never_counted_twice():
    one, other = Solid.cube((30.0, 20.0, 10.0)), Solid.cube((30.0, 20.0, 10.0)).translate((15.0, 3.0, 2.0))
    (v1, f1), (v2, f2) = triangles(one), triangles(other)
    both = np.vstack([v1, v2]), np.vstack([f1, f2 + len(v1)])
    whole = (one + other).volume()
    assert found(*both)[0].volume == pytest.approx(whole, rel=1e-5)
    gone = np.delete(both[1], [3, 15], axis=0)  # each with a hole
    (body,) = found(both[0], gone)
    assert body.volume == pytest.approx(whole, rel=1e-5)
    assert body.deep.patches == 2
    mixed = np.vstack([v1, loosened(v2, f2, 1e-4)[0]]), np.vstack([f1, np.arange(36).reshape(-1, 3) + len(v1)])
    (body,) = found(*mixed)  # one whole, one in pieces
    assert body.volume == pytest.approx(whole, rel=5e-3)
    assert body.deep.cell > 0.0


def test_one_broken_body_leaves_the_others_as_they_are():
    (v1, f1), (v2, f2) = triangles(BLOCK), triangles(Solid.sphere(20.0, 48).translate((100.0, 0.0, 0.0)))
    whole, holed = found(np.vstack([v1, v2]), np.vstack([f1, np.delete(f2, [5, 50], axis=0) + len(v1)]))
    assert whole.volume == pytest.approx(volume_of(v1, f1), rel=1e-6)
    assert whole.deep.patches == 0
    assert holed.deep.patches == 2
    assert holed.volume == pytest.approx(volume_of(v2, f2), rel=1e-3)


def test_fins_and_loose_triangles_are_dropped_and_told():
    vertices, faces = triangles(BLOCK)
    fin = np.array([[faces[0, 0], faces[0, 1], len(vertices)]])
    (body,) = found(np.vstack([vertices, [[0.0, 0.0, 60.0]]]), np.vstack([faces, fin]))
    assert body.volume == pytest.approx(volume_of(vertices, faces), rel=1e-6)
    assert "1 loose triangles" in " ".join(body.mended)


def test_a_soup_is_refused_in_one_line():
    rng = np.random.default_rng(7)
    for many in (1, 40, 400):
        with pytest.raises(BadInput, match="is not closed") as caught:
            found(rng.uniform(0.0, 50.0, (3 * many, 3)), np.arange(3 * many).reshape(-1, 3))
        assert "\n" not in str(caught.value)
    vertices, faces = triangles(BLOCK)
    points, apart = loosened(vertices, faces, 1e-4)
    apart[::2] = apart[::2, ::-1]  # half of what does not meet stands the wrong way
    with pytest.raises(BadInput, match="is not closed"):
        found(points, apart)
    with pytest.raises(BadInput, match="is not closed"):
        found(vertices, faces[: len(faces) // 4])


def test_what_was_done_is_told_with_a_margin_and_what_to_do(look):
    vertices, faces = triangles(PLATE)
    part = look(vertices, np.delete(faces, [10, 11], axis=0))
    (told,) = (f for f in part.findings if f.code == "part.mesh_filled")
    assert told.weight == "MIND"
    assert 0.0 < told.margin.value < 0.25


def test_what_was_drawn_anew_is_told_with_what_to_do(look):
    points, apart = loosened(*triangles(BLOCK), 1e-4)
    part = look(points, apart)
    (told,) = (f for f in part.findings if f.code == "part.mesh_rebuilt")
    assert told.do
    assert part.watertight
    assert part.mended_volume_change != 0.0


def test_a_heavy_mesh_is_made_lighter_and_told(look, monkeypatch):
    monkeypatch.setattr(lighten, "HEAVY", 20_000)
    monkeypatch.setattr(lighten, "WANTED", 15_000)
    vertices, faces = torus(150)
    part = look(vertices, faces)
    (told,) = (f for f in part.findings if f.code == "part.simplified")
    assert told.weight == "MIND"
    assert "45000 triangles" in told.says
    assert part.triangles < 20_000
    assert part.volume == pytest.approx(1e-9 * volume_of(vertices, faces), rel=2e-3)
    assert told.margin.value - 1.0 == pytest.approx(part.mended_volume_change, abs=1e-5)
    monkeypatch.setattr(lighten, "MOST_BROKEN", 40_000)
    with pytest.raises(BadInput, match="more than the 40000 that are mended"):
        found(vertices, faces[:-1])
    monkeypatch.setattr(lighten, "MOST_BROKEN", 50_000)
    (body,) = found(vertices, faces[:-1])
    assert body.deep.patches == 1
    assert body.deep.light.triangles == 45_000
    assert len(body.faces) < 20_000
    monkeypatch.setattr(lighten, "STEPS", (1e-9,))
    with pytest.raises(BadInput, match="more than the 20000 that are worked with"):
        found(vertices, faces)


def test_many_shells_that_run_into_one_another_are_compared_no_more_than_needed(monkeypatch):
    balls = [Solid.sphere(10.0, 24).translate((0.05 * i, 0.03 * i, 0.0)) for i in range(60)]
    meshes = [triangles(ball) for ball in balls]
    offsets = np.cumsum([0] + [len(v) for v, _ in meshes[:-1]])
    vertices, faces = np.vstack([v for v, _ in meshes]), np.vstack([f + o for (_, f), o in zip(meshes, offsets, strict=True)])
    monkeypatch.setattr(health, "MOST_PAIRS", 59)  # of 1770 pairs
    (body,) = found(vertices, faces)
    assert body.volume == pytest.approx(Solid.batch_boolean(balls, manifold3d.OpType.Add).volume(), rel=1e-4)
    monkeypatch.setattr(health, "MOST_PAIRS", 20)
    with pytest.raises(BadInput, match="more than 20 pairs"):
        found(vertices, faces)


def test_a_hollow_counts_only_where_no_other_shell_fills_it():
    def stack(*meshes):
        at = np.cumsum([0] + [len(vertices) for vertices, _ in meshes])
        return np.vstack([vertices for vertices, _ in meshes]), np.vstack([faces + n for (_, faces), n in zip(meshes, at)])

    def cube(side, low):
        return triangles(Solid.cube((side,) * 3).translate((low,) * 3))

    def inside_out(mesh):
        return mesh[0], mesh[1][:, ::-1]

    filled = found(*stack(cube(60.0, 0.0), inside_out(cube(10.0, 25.0)), cube(30.0, 15.0)))
    assert len(filled) == 1
    assert filled[0].voids == ()
    assert filled[0].volume == pytest.approx(60.0**3, rel=1e-6)
    (half,) = found(*stack(cube(60.0, 0.0), inside_out(cube(20.0, 20.0)), triangles(Solid.cube((30.0, 50.0, 50.0)).translate((1.0, 5.0, 5.0)))))
    assert len(half.voids) == 1
    assert half.voids[0] == pytest.approx([35.5, 30.0, 30.0])
    assert half.volume == pytest.approx(60.0**3 - 9.0 * 20.0 * 20.0, rel=1e-6)
    cup = triangles(Solid.cube((40.0, 40.0, 40.0)) - Solid.cube((20.0, 20.0, 31.0)).translate((10.0, 10.0, 10.0)))
    lid = triangles(Solid.cube((40.0, 40.0, 10.0)).translate((0.0, 0.0, 35.0)))
    (shut,) = found(*stack(cup, lid))
    assert len(shut.voids) == 1
    assert shut.voids[0] == pytest.approx([20.0, 20.0, 22.5])


def test_mending_has_one_allowance_for_a_whole_file():
    vertices, faces = triangles(Solid.sphere(20.0, 96))
    open_ball = faces[np.abs(vertices[faces][:, :, 2]).max(axis=1) < 19.0]
    work = Work()
    assert patched(vertices, open_ball, work) is not None
    assert 0 < work.weighed < MOST_WORK
    assert patched(vertices, open_ball, Work(weighed=MOST_WORK - work.weighed - 1)) is None
    raw = Raw("ball", vertices, faces[:-400], "", NOWHERE)
    with pytest.raises(BadInput, match="too many broken objects"):
        mend.sound(raw, "balls.3mf", Work(weighed=0, drawn=0))


def _prism(*outline):
    """A closed prism 20 mm high over an outline that may cross itself."""
    n = len(outline)
    vertices = np.array([(x, y, z) for z in (0.0, 20.0) for x, y in outline])
    ends = [(0, i + 1, i) for i in range(1, n - 1)] + [(n, n + i, n + i + 1) for i in range(1, n - 1)]
    sides = [t for i in range(n) for t in ((i, (i + 1) % n, n + (i + 1) % n), (i, n + (i + 1) % n, n + i))]
    return vertices, np.array(ends + sides)


@pytest.mark.parametrize("wide", [(60.0, 40.0), (80.0, 50.0), (33.0, 71.0)])
def test_a_twisted_solid_is_refused_and_never_loses_its_other_half(look, wide):
    x, y = wide
    with pytest.raises(BadInput):
        look(*_prism((0.0, 0.0), (x, y), (x, 0.0), (0.0, y)))


def test_an_inverted_shell_that_runs_into_metal_is_asked_about():
    plate, bore = triangles(Solid.cube((100.0, 60.0, 12.0))), triangles(Solid.cylinder(12.0, 8.0, 8.0, 48).translate((50.0, 30.0, 0.0)))
    proud = triangles(Solid.cylinder(14.0, 8.0, 8.0, 48).translate((50.0, 30.0, -1.0)))
    for cut in (bore, proud):
        both = np.vstack([plate[0], cut[0]]), np.vstack([plate[1], cut[1][:, ::-1] + len(plate[0])])
        with pytest.raises(BadInput, match="may be meant as a hole or as metal"):
            found(*both)
        (body,) = found(both[0], np.vstack([plate[1], cut[1] + len(plate[0])]))
        assert body.volume == pytest.approx(72_000.0 + (volume_of(*cut) / 7.0 if cut is proud else 0.0), rel=1e-5)


def test_a_shell_in_another_that_faces_the_same_way_is_said_to_be_taken_as_metal():
    outer, inner = triangles(Solid.cube((40.0, 40.0, 40.0))), triangles(Solid.cube((20.0, 20.0, 20.0)).translate((10.0, 10.0, 10.0)))
    (body,) = found(np.vstack([outer[0], inner[0]]), np.vstack([outer[1], inner[1] + len(outer[0])]))
    assert body.volume == pytest.approx(64_000.0, rel=1e-6)
    assert "taken as metal, not as hollows" in body.mended[0]
    assert "run into" not in body.mended[0]
