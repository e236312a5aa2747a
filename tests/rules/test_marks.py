"""Marked faces: which face is meant, the stock on it, the centre marks of what is drilled, and what is told."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest

from pattern_shop import box, bracket, part_from, rod
from strickle.base import BadInput
from strickle.job.points import read_marks, write_marks
from strickle.pattern import Mark, PatternAsk
from strickle.pattern.centres import centred
from strickle.pattern.directions import solid
from strickle.pattern.faces import raw
from strickle.pattern.faces_says import told, toleranced
from strickle.pattern.facets import facets_of
from strickle.pattern.holes import found
from strickle.pattern.marks import distances
from strickle.pattern.stock import amount, grade_of, tolerance
from strickle.pattern.undercut import plain
from strickle.stores import load

STORES = load()


def marks(*given):
    """Marks from (name, place [mm], kind, stock [mm] or None)."""
    return tuple(Mark(name=n, at=np.array(at) * 1e-3, kind=kind, amount=None if by is None else by * 1e-3) for n, at, kind, by in given)


def made(body, *given, **ask):
    part = body if not isinstance(body, m3.Manifold) else part_from(body)
    own = raw(part, "aluminium", STORES, PatternAsk(marks=marks(*given), **ask))
    whole = solid(own.mesh)
    assert whole.status() == m3.Error.NoError
    assert len(whole.decompose()) == 1
    assert whole.volume() - part.volume * 1e9 == pytest.approx(own.filled + own.stock, rel=1e-6, abs=1e-3)
    return own, whole


def pocket():
    return box(60, 40, 20) - box(40, 20, 10, (10, 10, 10))


@pytest.mark.parametrize(
    ("at", "says"),
    [
        ((100, 20, 10), "lies .* from the part"),
        ((30, 20, 18.0), "lies .* from the part"),
        ((60, 20, 20), "lies on the edge between faces"),
    ],
)
def test_a_mark_off_the_part_or_on_an_edge_is_refused(at, says):
    with pytest.raises(BadInput, match=f"'seat' {says}"):
        made(box(60, 40, 20), ("seat", at, "good", None))


def test_a_mark_on_a_curved_surface_is_refused():
    ball = m3.Manifold.sphere(30, 64)
    vertices, faces = plain(ball)
    spot = vertices[faces[7]].mean(axis=0)
    with pytest.raises(BadInput, match="no flat or round face"):
        made(ball, ("seat", spot, "good", None))


@pytest.mark.parametrize(("kind", "other"), [("machined", "machined"), ("good", "machined"), ("no-draft", "no-draft")])
def test_two_marks_on_one_face_are_refused(kind, other):
    with pytest.raises(BadInput, match="one face"):
        made(box(60, 40, 20), ("a", (10, 10, 20), kind, None), ("b", (50, 10, 20), other, None))


def test_words_that_are_not_known_are_refused():
    with pytest.raises(BadInput, match="'polished'"):
        made(box(60, 40, 20), ("a", (10, 10, 20), "polished", None))
    with pytest.raises(BadInput, match="stock that cannot be"):
        made(box(60, 40, 20), ("a", (10, 10, 20), "good", 2.0))
    with pytest.raises(BadInput, match="holes 'bored'"):
        made(box(60, 40, 20), holes="bored")


def test_the_kinds_of_faces():
    body = box(80, 60, 20) + rod(30, 20, (20, 30, 19)) - rod(24, 40, (60, 30, -5))
    own, _ = made(body, ("flat", (5, 5, 20), "good", None), ("boss", (35, 30, 30), "good", None), ("bore", (72, 30, 10), "no-draft", None))
    assert [one.shape for one in own.marked] == ["flat", "boss", "bore"]
    assert own.marked[0].normal == pytest.approx([0, 0, 1])
    assert own.marked[0].area == pytest.approx(80 * 60 - 32 * np.sin(2 * np.pi / 64) * (15**2 + 12**2))
    assert len(own.kept) == len(own.marked[2].faces)
    assert np.hypot(*(own.kept[:, :, :2] - [60, 30]).reshape(-1, 2).T) == pytest.approx(12)


def test_stock_by_the_standard():
    """Checks B1, B4, B6 and B7 of the outside tables: the middle rows for light metal in clay-bonded sand moulded by hand."""
    light = grade_of("aluminium")
    assert (light.grade, grade_of("copper").grade, grade_of("iron").grade, grade_of("zinc").own_row) == (12, 14, 14, False)
    assert [tolerance(length, light) * 1e3 for length in (0.008, 0.012, 0.02, 0.03, 0.08)] == pytest.approx([1.5, 2.2, 3.2, 5, 6])
    # both sides of F 80: R = F + 2 RMA + CT / 2 with RMA 1.4 and CT 6
    assert 80 + 2e3 * amount(0.08, 0.08, True, light).total == pytest.approx(80 + 2 * 1.4 + 6 / 2)
    assert 80 + 1e3 * amount(0.08, 0.08, False, light).total == pytest.approx(80 + 1.4 + 6 / 2)
    assert amount(0.08, 0.08, False, light, 2e-3).total == 2e-3


def test_stock_on_flats_is_mitred_where_they_meet():
    given = [("top", (30, 20, 20), 2), ("side", (60, 20, 10), 3), ("foot", (30, 20, 0), 1), ("front", (30, 0, 10), 1)]
    own, whole = made(box(60, 40, 20), *((name, at, "machined", by) for name, at, by in given))
    assert whole.volume() == pytest.approx(63 * 41 * 23)
    assert own.stock == pytest.approx(63 * 41 * 23 - 60 * 40 * 20)


@pytest.mark.parametrize(("stock", "drilled"), [(0.5, 0), (3.0, 1)])
def test_stock_deepens_a_hole_and_so_may_leave_it_to_the_drill(stock, drilled):
    """A hole of 12 mm through 17: 1.42 diameters deep as drawn, 1.67 with 3 mm of stock on the face that it opens in."""
    plate = box(80, 60, 17) - rod(12, 40, (40, 30, -5))
    own, _ = made(plate, ("top", (5, 5, 17), "machined", stock))
    assert len(own.drilled) == drilled
    side, _ = made(plate, ("side", (80, 30, 8), "machined", 5.0))
    assert len(side.drilled) == 0


def test_stock_in_a_pocket_reaches_its_walls():
    _, whole = made(pocket(), ("floor", (30, 20, 10), "machined", 2), ("wall", (10, 20, 15), "machined", 2))
    assert whole.volume() == pytest.approx(60 * 40 * 20 - 38 * 20 * 8)
    assert whole.genus() == 0


def test_opposite_machined_faces_share_the_tolerance():
    block = box(60, 40, 20)
    one, _ = made(block, ("top", (30, 20, 20), "machined", None))
    both, _ = made(block, ("top", (30, 20, 20), "machined", None), ("foot", (30, 20, 0), "machined", None))
    assert one.stocked[0][1].total == pytest.approx(0.7e-3 + 3.2e-3 / 2)
    assert both.stocked[0][1].total == pytest.approx(0.7e-3 + 3.2e-3 / 4)


def test_a_bore_is_smaller_through_the_stock_of_its_mouths():
    body = box(60, 60, 30) - rod(28, 60, (30, 30, -10))
    own, whole = made(
        body, ("bore", (44, 30, 15), "machined", 2), ("top", (10, 10, 30), "machined", 3), ("foot", (10, 10, 0), "machined", 1), holes="cast"
    )
    assert whole.volume() == pytest.approx(60 * 60 * 34 - 48 * np.sin(2 * np.pi / 96) * 12**2 * 34)
    assert whole.genus() == 1
    assert not own.drilled


def test_a_machined_ledge_in_a_bore():
    body = box(60, 60, 30) - rod(26, 20, (30, 30, 15)) - rod(14, 60, (30, 30, -10))
    ring = 48 * np.sin(2 * np.pi / 96)
    _, whole = made(body, ("seat", (43, 30, 20), "machined", 1))
    assert whole.genus() == 1
    small = 32 * np.sin(2 * np.pi / 64) * 49 * 15
    assert whole.volume() == pytest.approx(60 * 60 * 30 - small - ring * 144 * 15, rel=1e-6)
    _, whole = made(body, ("seat", (43, 30, 20), "machined", 1), ("ledge", (41, 30, 15), "machined", 1))
    assert whole.genus() == 0  # the stock of the ledge closes the narrow bore until it is machined
    assert whole.volume() == pytest.approx(60 * 60 * 30 - small - ring * 144 * 14, rel=1e-6)


def test_a_boss_is_larger_to_the_end_of_its_stock():
    body = box(60, 60, 10) + rod(30, 30, (30, 30, 9))
    _, whole = made(body, ("boss", (45, 30, 25), "machined", 2), ("end", (30, 30, 39), "machined", 2))
    assert whole.volume() - 60 * 60 * 10 == pytest.approx(48 * np.sin(2 * np.pi / 96) * 17**2 * 31)


def test_a_machined_bore_that_a_drill_makes_is_filled():
    own, whole = made(bracket(), ("bolt", (109.5, 12, 5), "machined", 1), holes="drilled")
    assert [one.name for one in own.spared] == ["bolt"]
    assert len(own.drilled) == 3
    assert own.stock == 0
    own, whole = made(bracket(), ("bolt", (109.5, 12, 5), "machined", 1), holes="cast")
    assert own.drilled == ()
    assert whole.genus() == 3


def test_too_much_stock_is_refused():
    with pytest.raises(BadInput, match="out of all reason"):
        made(box(60, 40, 20), ("top", (30, 20, 20), "machined", 25))


def test_the_part_stays_as_it_is_where_nothing_is_to_do():
    part = part_from(pocket())
    assert raw(part, "aluminium", STORES, PatternAsk()).mesh is part.mesh


def test_centre_marks_only_where_they_draw():
    """On the face of its own half that looks away from the parting; not across the draw, at the parting, or on a slant."""
    body = box(100, 40, 14, (0, 0, -4)) - rod(6, 40, (20, 20, -5)) - rod(2, 40, (40, 20, -5)) - rod(8, 10, (60, 20, 3))
    body = body - m3.Manifold.cylinder(60, 3, circular_segments=32).rotate((0, 90, 0)).translate((70, 20, 5))
    holes = found(facets_of(*plain(body)))
    own, _ = made(body, holes="drilled")
    filled = solid(own.mesh)
    out = centred(filled, holes)
    has = {(round(2 * h.radius), abs(round(h.axis[2]))): yes for h, yes in zip(holes, out.marked)}
    assert has == {(8, 1): True, (6, 0): False, (6, 1): True, (2, 1): False}
    assert out.volume == pytest.approx(2 * np.pi / 3 * 2**2 * 1.2, rel=0.02)
    left = filled - out.cut
    assert (left ^ box(100, 40, 4, (0, 0, -4))).volume() + (left ^ box(100, 40, 10)).volume() == pytest.approx(left.volume())
    level = centred(filled.translate((0, 0, -10)), [h._replace(at=h.at - [0, 0, 10]) for h in holes])
    assert level.marked[[round(2 * h.radius) for h in holes].index(8)] is False  # its mouth lies on the parting


def test_what_is_told():
    own, _ = made(bracket(), ("seat", (35, 45, 20), "machined", None), ("top", (110, 30, 10), "machined", 2), holes="drilled")
    out = told(own, [True, False, False][: len(own.drilled)], "drilled")
    assert [f.code for f in out] == ["pattern.holes_drilled", "pattern.machining", "pattern.machining"]
    assert out[0].says.startswith("3 round holes are filled")
    assert "drill 1 at the centre mark" in out[0].do
    assert "mark out and drill 2 at (" in out[0].do
    assert "'top' carries" in out[1].says
    assert "drilled and machined from the solid" in out[2].says
    cast, _ = made(bracket(), holes="cast")
    assert [f.code for f in told(cast, [], "cast")] == ["pattern.holes_cast"]
    wide, _ = made(box(80, 80, 90) - rod(40, 120, (40, 40, -10)))
    assert [f.code for f in told(wide, [], "drilled")] == ["pattern.holes_deep"]
    assert "DCTG 12" in toleranced(grade_of("aluminium"), 0.12, 7e-3, "aluminium").says
    assert "zinc" in toleranced(grade_of("zinc"), 0.12, 7e-3, "zinc").because


def test_distances_from_triangles():
    tri = np.array([[[0, 0, 0], [2, 0, 0], [0, 2, 0]]], dtype=float)
    for point, away in (((0.5, 0.5, 3), 3), ((-1, 1, 0), 1), ((3, -1, 0), np.sqrt(2)), ((2, 2, 1), np.sqrt(3))):
        assert distances(np.array(point, dtype=float), tri)[0] == pytest.approx(away)


GOOD = "seat: 10 mm, 20 mm, 5 mm, machined, 3 mm; face: 0 mm, 1 in, 8 mm, good; rib 2: 1 mm, 2 mm, 3 mm, no-draft"


def test_marks_as_text():
    found_ = read_marks(GOOD, "pattern.marks")
    assert [(m.name, m.kind, m.amount) for m in found_] == [("seat", "machined", 0.003), ("face", "good", None), ("rib 2", "no-draft", None)]
    assert found_[1].at == pytest.approx([0, 0.0254, 0.008])
    assert write_marks(read_marks(write_marks(found_), "")) == write_marks(found_)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "marks no face"),
        ("a: 1 mm, 2 mm, machined", "is no mark"),
        ("a: 1 mm, 2 mm, 3 mm, shiny", "'shiny' is not known"),
        ("a: 1 mm, 2 mm, 3 mm, good, 2 mm", "not machined"),
        ("a: 1 mm, 2 mm, 3 mm, good; a: 1 mm, 2 mm, 4 mm, good", "two marks"),
        ("a: 1, 2, 3, good", "no unit"),
        ("a: 1 mm, 2 mm, 3 mm, machined, 3 m", "out of all reason"),
        (";".join(f"m{i}: 1 mm, 2 mm, 3 mm, good" for i in range(13)), "13 faces"),
    ],
)
def test_marks_that_cannot_be_read(text, says):
    with pytest.raises(BadInput, match=says):
        read_marks(text, "pattern.marks")
