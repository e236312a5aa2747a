# ruff: noqa: E501
"""No label over anything: the proof of every drawing, on made parts, real parts and a crowd, and that the proof finds what is planted."""

from __future__ import annotations

import dataclasses
import itertools
import json
import sys
from pathlib import Path

import pytest
from shapely.geometry import Point

sys.path.insert(0, str(Path(__file__).parent))
import card_factory as factory
from planned import PARTS, planned, through

from strickle.card.labels import Ground, Label, place_all
from strickle.card.lettering import folder, reach, wide
from strickle.card.marks import named_shapes, own_share, point_in
from strickle.card.proof import Proof, Written, overlap
from strickle.card.section import Bodies, middle_of, plan, section
from strickle.card.slices import LEAST, at_parting, informative
from strickle.card.steps import SIZES
from strickle.job.demo import demo

NAMED = {"testbed_base": "mm", "sensor_base_plate": "mm", "table_attachment": "mm", "pulley_t30": "mm", "featuretype_inch": "in"}


def drawings(results: dict, sizes, units: str, bodies: Bodies | None = None):
    """Section and plan of a plan as far as it went."""
    pattern, mould, rigging = results["pattern"], results.get("mould"), results.get("rigging")
    bodies = bodies or Bodies.of(pattern, rigging)
    plane = informative(results["part"], pattern, rigging, results.get("sound"), middle_of(pattern.cavity))
    return section(plane, pattern, mould, rigging, results.get("sound"), bodies, sizes[0], units), plan(
        plane, pattern, mould, rigging, bodies, sizes[1], units
    )


def check(results: dict, every: int = 3) -> None:
    """The proof at every so many sizes of drawing, the smallest with them."""
    bodies = Bodies.of(results["pattern"], results.get("rigging"))
    for paper, units in itertools.product(("a4", "letter"), ("metric", "us")):
        for sizes in SIZES[paper][::-every]:
            both = drawings(results, sizes, units, bodies)
            for drawing in both:
                assert drawing.proof.faults() == []
                drawn = [w for w in drawing.proof.labels if not w.words.isdigit()]
                numbers = [w.words for w in drawing.proof.labels if w.words.isdigit()]
                assert numbers == [number for number, _ in drawing.key if number]
                said = [w.words for w in drawn] + [words for _, words in drawing.key]
            assert sum("ingate" in words for words in said) == len(results["rigging"].ingates)  # the plan's own, none dropped
            assert sum("riser-" in words for words in said) >= len(results["rigging"].risers)


def test_the_made_part_at_every_size():
    check(factory.results())


@pytest.mark.parametrize("name", [pytest.param(name, marks=pytest.mark.validate) if name == "demo" else name for name in PARTS])
def test_made_parts(name):
    check(planned(name, until="rigging").results)


def rigged(data: bytes, name: str, unit: str) -> dict:
    """A part planned to its rigging."""
    from strickle.base import quiet
    from strickle.job.kit import stores_with
    from strickle.job.runner import Runner
    from strickle.part import PartAsk
    from strickle.stores.kit import starter_kit

    made = Runner(stores_with(starter_kit()), {"part": PartAsk(data=data, name=f"{name}.stl", unit=unit)}, watch=quiet, memory={})
    return through(made, until="rigging").results


@pytest.mark.parametrize(("name", "every"), [pytest.param(name, 1, marks=pytest.mark.validate) for name in NAMED])
def test_the_named_parts(name, every, parts_folder):
    check(rigged((parts_folder / f"{name}.stl").read_bytes(), name, NAMED[name]), every=every)


@pytest.mark.validate
@pytest.mark.parametrize("name", ["handwheel", "plate"])
def test_the_other_demo_parts(name):
    check(rigged(demo(name).stl(), name, "mm"), every=1)


def test_figures_are_the_same_lengths_in_both_units():
    """Every dimension on the US drawing is the metric one over 25.4, to the digits printed."""
    results = factory.results()
    metric, us = (drawings(results, SIZES["a4"][0], units) for units in ("metric", "us"))
    for one, other in zip(metric, us, strict=True):
        a = sorted(float(f.words) for f in one.proof.figures if f.words != "A")
        b = sorted(float(f.words) for f in other.proof.figures if f.words != "A")
        assert len(a) == len(b) > 3
        assert b == pytest.approx([v / 25.4 for v in a], rel=6e-3)


@pytest.mark.parametrize("name", ["dumb-bell", "boss", "thin plate"])
def test_a_leader_on_the_plan_ends_on_its_own_body(name):
    """Inside its own outline, and outside every other that leaves it room: runner and sprue are not the same dot."""
    results = planned(name, until="rigging").results
    bodies = Bodies.of(results["pattern"], results["rigging"])
    shapes = named_shapes(bodies.regions, at_parting(bodies.casting), at_parting(bodies.part))
    assert len(shapes) > 3
    seen = [one if one.area > LEAST else whole for whole, one, _ in shapes]
    for number, shape in enumerate(seen):
        others = [one for k, one in enumerate(seen) if k != number]
        share = own_share(shape, others)
        spot = Point(*point_in(share))
        assert shape.contains(spot)
        if share is not shape:
            assert not any(other.contains(spot) for other in others)


# ------------------------------------------------------------------ the placer


def crowd(count: int, width: float, height: float, words: str = "a long label number {}"):
    ground = Ground(width, height)
    labels = [Label(words.format(i), (width / 2 + 0.8 * (i % 3), height / 2 + 0.8 * (i // 3))) for i in range(count)]
    return labels, place_all(labels, ground, [])


def proof_of(placed, width: float, height: float, key=()) -> Proof:
    return Proof(tuple(p.written() for p in placed), (), (), (), None, (0.0, 0.0, width, height), tuple(key))


def test_labels_without_room_get_a_number_and_a_line_in_the_key():
    labels, (placed, key) = crowd(9, 70.0, 34.0)
    assert key
    assert proof_of(placed, 70.0, 34.0).faults() == []
    plain = [p.label.words for p in placed if not p.label.key]
    numbers = [(p.label.words, p.label.key) for p in placed if p.label.key]
    assert sorted(plain + [words for _, words in key]) == sorted(label.words for label in labels)  # none dropped, none twice
    assert numbers == [(n, words) for n, words in key if n]
    assert [n for n, _ in key if n] == [str(i + 1) for i in range(len(numbers))]


def test_where_not_even_a_number_fits_the_words_still_stand_in_the_key():
    labels, (placed, key) = crowd(12, 14.0, 9.0)
    assert len(placed) < len(labels)
    assert {words for _, words in key} == {label.words for label in labels}
    assert proof_of(placed, 14.0, 9.0).faults() == []


def test_a_label_that_names_a_region_stays_in_it():
    ground, stays = Ground(80.0, 60.0), (10.0, 10.0, 70.0, 30.0)
    placed, key = place_all([Label("COPE", (69.0, 12.0), leader=False, bold=True, size=4.2, stays=stays)], ground, [])
    assert not key
    assert proof_of(placed, 80.0, 60.0).faults() == []


def test_no_label_on_an_outline():
    from shapely.geometry import LineString

    ground = Ground(80.0, 60.0)
    wall = LineString([(x, y) for x in range(5, 80, 10) for y in (0, 60)])
    ground.wall(wall)
    placed, key = place_all([Label("wider than ten millimetres", (40.0, 30.0)), Label("ab", (20.0, 20.0))], ground, [])
    assert ("1", "wider than ten millimetres") in key
    assert dataclasses.replace(proof_of(placed, 80.0, 60.0), lines=wall).faults() == []


# ------------------------------------------------------------------ the proof is no formality


def test_planted_overlaps_are_found():
    (whole, _), sizes = drawings(factory.results(), SIZES["a4"][0], "metric"), SIZES["a4"][0]
    proof = whole.proof
    assert proof.faults() == []
    one, other = [w for w in proof.labels if w.leader][:2]

    def with_box(box, leader=None):
        moved = dataclasses.replace(one, box=box, leader=leader)
        return dataclasses.replace(proof, labels=(moved, *(w for w in proof.labels if w is not one))).faults()

    w, h = one.box[2] - one.box[0], one.box[3] - one.box[1]
    assert any("over " in f for f in with_box((other.box[0], other.box[1], other.box[0] + w, other.box[1] + h)))
    figure = proof.figures[0].box
    assert any("over " in f for f in with_box((figure[0], figure[1], figure[0] + w, figure[1] + h)))
    assert any("leaves the sheet" in f for f in with_box((-5.0, 2.0, w - 5.0, 2.0 + h)))
    assert any("wider" in f for f in with_box((one.box[0], one.box[1], one.box[0] + 0.4 * w, one.box[3])))
    assert any("leader of" in f for f in with_box(one.box, (*one.leader[:2], (other.box[0] + other.box[2]) / 2, (other.box[1] + other.box[3]) / 2)))
    x, y = proof.lines.geoms[0].coords[0] if hasattr(proof.lines, "geoms") else proof.lines.coords[0]
    assert any("outline" in f for f in with_box((x - w / 2, y - h / 2, x + w / 2, y + h / 2)))
    row = proof.measures[0]
    assert any("dimension" in f for f in with_box((row[0], row[1], row[0] + w, row[1] + h)))
    assert sizes


def test_crossing_leaders_are_found():
    a = Written("a", (0.0, 0.0, 4.0, 4.0), 3.0, leader=(30.0, 30.0, 4.0, 4.0))
    b = Written("b", (30.0, 0.0, 34.0, 4.0), 3.0, leader=(4.0, 30.0, 30.0, 4.0))
    proof = Proof((a, b), (), (), (), None, (0.0, 0.0, 40.0, 40.0))
    assert proof.faults() == ["leader of 'a' crosses that of 'b'"]


def test_our_width_of_a_line_is_never_less_than_what_is_set():
    """Twin: fontTools' advances and kerning against the typesetter's own measure of the same words."""
    import typst

    results = factory.results()
    texts = {
        (w.words, w.size, w.bold)
        for units in ("metric", "us")
        for d in drawings(results, SIZES["a4"][0], units)
        for w in (*d.proof.labels, *d.proof.figures)
    }
    texts |= {("AVATAR To. LT Ty VA WA", 3.0, False), ("r-1 Ø 47.7 at the foot, fj ffi", 3.2, True), ("Ω ½ ³ – × ≤", 4.0, False)}
    asked = sorted(texts)
    source = (
        '#set text(font: "Atkinson Hyperlegible Next", fallback: false)\n#let d = json("d.json")\n'
        '#context [#metadata(d.map(t => measure(text(size: t.at(1) * 1mm, weight: if t.at(2) { "bold" } else { "regular" }, t.at(0))).width / 1mm)) <w>]'
    )
    raw = typst.query(
        {"main.typ": source.encode(), "d.json": json.dumps(asked).encode()},
        "<w>",
        field="value",
        one=True,
        font_paths=[folder()],
        ignore_system_fonts=True,
    )
    for (words, size, bold), set_wide in zip(asked, json.loads(raw), strict=True):
        ours = wide(words, size, bold)
        assert set_wide <= ours * 1.001 + 1e-3, words
        assert ours <= set_wide * 1.08 + 0.1, words
        below, above = reach(words, size, bold)
        assert 0.3 * size < above < 1.1 * size
        assert -0.05 * size < below < 0.4 * size


def test_overlap_needs_area():
    assert overlap((0, 0, 2, 2), (1, 1, 3, 3))
    assert not overlap((0, 0, 2, 2), (2, 0, 4, 2))
