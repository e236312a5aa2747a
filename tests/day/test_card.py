# ruff: noqa: E501
"""The card: made from results, two pages, no label over another, cautions exactly where their conditions hold."""

from __future__ import annotations

import json
import re
import struct
import sys
import tempfile
import zlib
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import card_factory as factory

from strickle.base import BadInput, render, shown
from strickle.card import Card, safety
from strickle.card.frame import Frame
from strickle.card.labels import Ground, Label, clean, overlap, place
from strickle.card.palette import banded, nice_step, oklab, shade_of
from strickle.card.picture import Field
from strickle.card.png import png
from strickle.card.section import Bodies, middle_of, plan, section
from strickle.card.slices import informative, upright
from strickle.card.steps import write, written


@pytest.fixture(scope="module")
def results() -> dict:
    return factory.results()


@pytest.fixture(scope="module")
def findings(results) -> list:
    return [*results["sound"].findings, *results["metal"].findings]


def words(pdf_inputs: dict) -> str:
    return json.dumps(pdf_inputs, ensure_ascii=False)


@pytest.fixture
def caught(monkeypatch):
    """The data the template is given."""
    import strickle.card.steps as steps

    kept: dict = {}
    real = steps.compose

    def spy(data, files):
        out = real(data, files)
        kept.clear()
        kept.update(data)
        return out

    monkeypatch.setattr(steps, "compose", spy)
    return kept


@pytest.mark.parametrize(("paper", "units"), [("a4", "metric"), ("us-letter", "us")])
def test_two_pages_that_say_the_results(results, findings, caught, paper, units):
    card, files = written(verdict=factory.CASTABLE, findings=findings, kit=factory.kit(), paper=paper, units=units, **results)
    assert isinstance(card, Card)
    assert card.pages == 2
    assert set(files) == set(card.names) >= {"card.pdf", "section.svg", "plan.svg", "casting.png", "casting.svg"}
    assert files["card.pdf"].startswith(b"%PDF")
    for name in (str(Path.home()), str(Path(__file__).resolve().parents[2]), tempfile.gettempdir()):
        assert not any(name.encode() in data for data in files.values())
    text = words(caught)
    melt, sound, cavity = results["melt"], results["sound"], results["cavity"]
    for value, unit in (
        (melt.charge_mass, "kg"),
        (melt.gross_mass, "kg"),
        (cavity.hold_down_mass, "kg"),
        (sound.riser_time.high, "s"),
        (sound.knock_out_time.high, "s"),
    ):
        assert " ".join(shown(value, unit, units)) in text
    for finding in findings:
        assert render(finding.says, units) in text
    assert "{{q:" not in text
    at = text.find("mould" if units == "us" else "mold")
    assert at < 0, text[max(0, at - 60) : at + 60]


def test_same_results_same_bytes(results, findings):
    one = write(verdict=factory.CASTABLE, findings=findings, kit=factory.kit(), **results)
    assert one == write(verdict=factory.CASTABLE, findings=findings, kit=factory.kit(), **results)


def test_stopped_plan_still_gives_a_card(results, caught):
    known = {k: results[k] for k in ("metal", "part", "pattern", "mould")}
    card, files = written(verdict=factory.STOPPED, findings=[factory.stop()], kit=factory.kit(), because="the plan ended", **known)
    assert caught["stopped"]
    assert caught["steps"] == []
    assert render(factory.stop().do) in words(caught)
    assert "section.svg" in files
    assert set(card.cautions) == {"spill", "burn"}
    least, files = written(verdict=factory.STOPPED, findings=[factory.stop()], kit=factory.kit(), metal=results["metal"], part=results["part"])
    assert "section.svg" not in files
    assert least.pages <= 2
    assert files["casting.png"].startswith(b"\x89PNG")


def test_no_day_is_printed_unless_the_verdict_is_castable(results, findings, caught):
    write(verdict=factory.STOPPED, findings=findings, kit=factory.kit(), **results)
    assert caught["stopped"]
    assert caught["steps"] == []


def test_many_findings_and_pieces_run_over_to_a_third_page(results, caught):
    import dataclasses

    many = [dataclasses.replace(results["sound"].findings[0], says=f"Finding {i} of many") for i in range(10)]
    more = tuple(dataclasses.replace(results["rigging"].pieces[0], name=f"former-{i}") for i in range(22))
    rigging = dataclasses.replace(results["rigging"], pieces=(*results["rigging"].pieces, *more))
    card, _ = written(verdict=factory.CASTABLE, findings=many, kit=factory.kit(), **{**results, "rigging": rigging})
    assert card.pages == 3
    assert 3 <= caught["findings_first"] + caught["findings_under"] < len(many)
    assert caught["pieces_second"] < len(caught["pieces"])


def test_paper_and_units_are_checked(results):
    with pytest.raises(BadInput):
        write(verdict=factory.CASTABLE, findings=[], kit=factory.kit(), paper="a9", **results)
    with pytest.raises(BadInput):
        write(verdict=factory.CASTABLE, findings=[], kit=factory.kit(), units="cubits", **results)


# ------------------------------------------------------------------ cautions


def sentences() -> list[str]:
    texts = [c.text for c in safety.all_cautions()] + [safety.DEFERS]
    template = Path(safety.__file__).with_name("card.typ").read_text(encoding="utf-8")
    order = Path(safety.__file__).with_name("order.py").read_text(encoding="utf-8")
    tell = Path(safety.__file__).with_name("tell.py").read_text(encoding="utf-8")
    return [s for text in (*texts, template, order, tell) for s in re.split(r"(?<=[.;])\s", text)]


def test_one_sentence_names_water_and_it_is_for_a_burn():
    named = [s for s in sentences() if re.search(r"\b(water|hose|quench\w*|wet down|extinguish with)\b", s, re.IGNORECASE)]
    assert named == ["Burned skin: cool running water for 20 minutes, well away from the metal, then a doctor."]


def test_printed_card_names_water_once(results, findings, caught):
    write(verdict=factory.CASTABLE, findings=findings, kit=factory.kit(), **results)
    assert words(caught).lower().count("water") == 1


def test_cautions_say_chance_and_never_will():
    assert not [c.key for c in safety.all_cautions() if re.search(r"\bwill\b", c.text)]


def test_every_caution_has_a_known_step_and_source():
    _, book = safety._book()
    for c in safety.all_cautions():
        assert c.step in safety.STEPS
        assert c.source in book or c.source in ("common practice", "from memory, unverified")
        assert c.hold == (c.step in safety.HOLDS and c.hold)
    for step in safety.HOLDS:
        assert any(c.hold and c.step == step and not c.when for c in safety.all_cautions()), step


@pytest.mark.parametrize(
    ("metal", "kit", "sand", "furnace", "there", "absent"),
    [
        ("aluminium", {}, "oil-bonded", "gas", {"gas-outdoors", "oil-outdoors", "magnesium", "burn"}, {"electric-lift", "zinc-fume", "no-thermometer"}),
        ("copper", {"thermometer": False}, "oil-bonded", "gas", {"dark-glasses", "zinc-fume", "lead-fume", "no-thermometer"}, {"magnesium", "white-flame"}),
        ("zinc", {"place": "indoors"}, "clay-bonded", "electric", {"indoors-electric", "electric-lift", "zinc-fume"}, {"gas-outdoors", "oil-rags", "weather", "galvanised"}),
    ],
)  # fmt: skip
def test_cautions_hold_exactly_when_their_conditions_do(results, metal, kit, sand, furnace, there, absent):
    import dataclasses

    held = safety.conditions(dataclasses.replace(results["metal"], family=metal), factory.kit(**kit), sand=sand, furnace=furnace, rigging=None)
    keys = {c.key for c in safety.chosen(held)}
    assert there <= keys
    assert not absent & keys


def test_hold_points_stand_at_their_steps(results, findings, caught):
    write(verdict=factory.CASTABLE, findings=findings, kit=factory.kit(), **results)
    titles = [s["title"] for s in caught["steps"] if s["hold"]]
    assert titles == ["Close the mould", "Dress", "Charge", "Before lifting", "Knock out"]
    assert [s["title"] for s in caught["steps"]].index("Weights on, pour") == [s["title"] for s in caught["steps"]].index("Before lifting") + 1


def step_called(caught, title: str) -> dict:
    return next(s for s in caught["steps"] if s["title"] == title)


def test_the_hand_pours_longer_than_the_part_fills(results, caught):
    write(verdict=factory.CASTABLE, findings=[], kit=factory.kit(), **results)
    told = step_called(caught, "Weights on, pour")["text"]
    assert "7.1–9.7 s" in told
    assert "part itself is full after 5.2–7 s" in told
    assert ["Pour for", "7.1–9.7", "s"] in caught["numbers"]
    assert ["Mould fills in", "5.2–7 s"] in caught["quantities"]


def test_vents_are_pricked_before_opening_as_deep_as_they_go(results, caught):
    write(verdict=factory.CASTABLE, findings=[], kit=factory.kit(), **results)
    titles = [s["title"] for s in caught["steps"]]
    cope = step_called(caught, "Ram the cope")
    # cope top at 100 mm, roof at 9 mm, 6 mm of sand kept
    assert "85 mm vent-1, vent-2" in cope["text"]
    assert any("crumbs" in c for c in cope["cautions"])
    assert titles.index("Ram the cope") < titles.index("Draw")
    assert "rick" not in step_called(caught, "Draw")["text"]
    assert ["vent-1", "168, 156, 85 deep"] in caught["places"]


def test_pieces_leave_up_first_then_drag_then_cope(results, caught):
    write(verdict=factory.CASTABLE, findings=[], kit=factory.kit(), **down(results))
    lines = step_called(caught, "Draw")["text"].split("\n")
    assert lines == [
        "Before opening, up through the cope top: 1. riser-1, riser-2; 2. sprue-former.",
        "Cope off, turned over. Rap, then draw.",
        "From the drag: 3. runner; 4. drag-board-dowels.",
        "From the cope: 5. cope-pattern; 6. neck-1, neck-2; 7. ingate-1, ingate-2.",
    ]
    ranks = [int(row[0]) for row in caught["pieces"]]
    assert ranks == sorted(ranks)
    assert {row[1]: row[0] for row in caught["pieces"]}["runner"] == "3"


def down(results: dict) -> dict:
    """The formers fixed to the pattern in the cope drawn down with it."""
    import dataclasses

    turned = np.array([0.0, 0.0, -1.0])
    rigging, pattern = results["rigging"], results["pattern"]
    pieces = tuple(dataclasses.replace(p, draw=turned) if p.name.startswith(("neck", "ingate")) else p for p in rigging.pieces)
    halves = tuple(dataclasses.replace(p, draw=turned, order=3) if p.half == "cope" else p for p in pattern.pieces)
    return {**results, "rigging": dataclasses.replace(rigging, pieces=pieces), "pattern": dataclasses.replace(pattern, pieces=halves)}


@pytest.mark.parametrize("risers", [True, False])
def test_no_weights_no_word_of_them(results, caught, risers):
    import dataclasses

    light = {**results, "cavity": dataclasses.replace(results["cavity"], hold_down_mass=0.0)}
    if not risers:
        light["rigging"] = dataclasses.replace(results["rigging"], risers=())
    write(verdict=factory.CASTABLE, findings=[], kit=factory.kit(), **light)
    assert "pin or clamp" in step_called(caught, "Pour")["text"]
    assert "Weights off" not in caught["blanks"]
    assert ("last riser" if risers else "last metal") in step_called(caught, "Leave it")["text"]
    write(verdict=factory.CASTABLE, findings=[], kit=factory.kit(), **results)
    assert "Weights off" in caught["blanks"]


def test_without_knock_out_no_day_is_printed(results, caught):
    import dataclasses

    from strickle.base import Span

    unknown = Span(value=float("nan"), low=float("nan"), high=float("nan"))
    rough = {**results, "sound": dataclasses.replace(results["sound"], knock_out_time=unknown)}
    card, _ = written(verdict=factory.CASTABLE, findings=[], kit=factory.kit(), **rough)
    assert caught["rough"]
    assert not caught["stopped"]
    assert caught["steps"] == []
    assert set(card.cautions) == {"spill", "burn"}
    assert ["Knock out after", "not", "computed"] in caught["numbers"]
    assert "not known" not in words(caught)


def test_banner_says_once_why_the_plan_ended(results, caught):
    from strickle.base import Verdict

    stop = factory.stop()
    known = {k: results[k] for k in ("metal", "part")}
    clause = stop.says[:1].lower() + stop.says[1:]
    write(verdict=factory.STOPPED, findings=[stop], kit=factory.kit(), because=f"as it stands, {clause}", **known)
    assert caught["because"] == f"The plan ended early: {render(clause)}."
    said = Verdict(code="not_this_way", says=f"Not by this way: {clause}, and 1 more.")
    write(verdict=said, findings=[stop], kit=factory.kit(), because=f"as it stands, {clause}", **known)
    assert caught["because"] == ""


def test_a_margin_in_kelvin_is_a_difference(results, caught):
    import dataclasses

    from strickle.base import Margin

    margin = Margin(value=12.0, low=-3.0, high=20.0, unit="K", of="room over the pouring range")
    one = dataclasses.replace(results["sound"].findings[0], margin=margin)
    write(verdict=factory.CASTABLE, findings=[one], kit=factory.kit(), **results)
    assert caught["findings"][0]["margin"] == "room over the pouring range: 12 °C (from -3 to 20 °C)"


def test_shared_notes_are_said_once():
    from strickle.card.tell import notes

    rows = [
        ["1", name, "", "", "", note] for name, note in (("a", "stands; is tall."), ("b", "is tall; stands"), ("c", "on d; drawn with it"), ("d", ""))
    ]
    assert notes(rows) == [["a, b", "stands; is tall"], ["c", "on d; drawn with it"]]


# ------------------------------------------------------------------ drawings


@pytest.mark.parametrize("size", [((186.0, 79.0), (112.0, 80.0)), ((150.0, 60.0), (90.0, 60.0))])
def test_labels_and_figures_never_overlap(results, size, monkeypatch):
    from strickle.card import frame

    seen = []
    real = frame.place

    def spy(labels, ground, hard):
        placed, left = real(labels, ground, hard)
        seen.append((placed, tuple(hard), ground))
        return placed, left

    monkeypatch.setattr(frame, "place", spy)
    r = results
    bodies = Bodies.of(r["pattern"], r["rigging"])
    plane = informative(r["part"], r["pattern"], r["rigging"], r["sound"], middle_of(r["pattern"].cavity))
    section(plane, r["pattern"], r["mould"], r["rigging"], r["sound"], bodies, size[0], "us")
    plan(plane, r["pattern"], r["mould"], r["rigging"], bodies, size[1], "us")
    assert len(seen) == 2
    for placed, hard, ground in seen:
        assert len(placed) > 5
        assert clean(placed, hard, (0, 0, ground.width, ground.height))


def test_labels_that_find_no_room_are_handed_back():
    ground = Ground(60.0, 12.0)
    labels = [Label(f"a long label number {i}", (30.0, 6.0)) for i in range(6)]
    placed, left = place(labels, ground, [])
    assert left
    assert len(placed) + len(left) == len(labels)
    assert not any(overlap(a.box, b.box) for i, a in enumerate(placed) for b in placed[i + 1 :])


def test_section_is_a_slice_of_the_solids(results):
    r = results
    bodies = Bodies.of(r["pattern"], r["rigging"])
    plane = informative(r["part"], r["pattern"], r["rigging"], r["sound"], middle_of(r["pattern"].cavity))
    assert "sprue" in plane.through
    assert "riser-1" in plane.through
    metal, part = upright(bodies.casting, plane), upright(bodies.part, plane)
    assert part.difference(metal.buffer(1e-6)).area < 1e-9
    # twin: area under the slice by counting points inside the mesh
    import trimesh

    rng = np.random.default_rng(3)
    x0, y0, x1, y1 = metal.bounds
    uv = np.column_stack([rng.uniform(x0, x1, 4000), rng.uniform(y0, y1, 4000)])
    mesh = r["rigging"].casting
    points = plane.at + uv[:, :1] * plane.along + uv[:, 1:] * np.array([0.0, 0.0, 1.0])
    share = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).contains(points).mean()
    assert abs(share * (x1 - x0) * (y1 - y0) - metal.area) < 0.04 * (x1 - x0) * (y1 - y0)


def test_dimension_figures_follow_units():
    frame = Frame(100.0, 60.0, (0.0, 0.1, 0.0, 0.05), "us", "x")
    assert frame.told(0.0254) == "1"
    assert Frame(100.0, 60.0, (0.0, 0.1, 0.0, 0.05), "metric", "x").told(0.0254) == "25.4"


# ------------------------------------------------------------------ pictures


def test_palette_darkens_evenly():
    light = oklab(shade_of(np.linspace(0.0, 1.0, 64)))[:, 0]
    assert (np.diff(light) < 0).all()
    assert np.diff(light).std() < 0.25 * -np.diff(light).mean()
    assert nice_step(260.0) == 50.0
    bands = oklab(banded(np.array([5.0, 15.0, 25.0]), 10.0, 30.0))[:, 0]
    assert (np.diff(bands) < -0.1).all()


def test_field_is_sampled_trilinearly_and_falls_back_to_the_nearest():
    shape, cell = (12, 10, 8), 0.01
    at = np.stack(np.meshgrid(*[(np.arange(n) + 0.5) * cell for n in shape], indexing="ij"), axis=-1)
    plane = 3.0 + 40.0 * at[..., 0] - 25.0 * at[..., 1] + 10.0 * at[..., 2]
    values = plane.copy()
    values[at[..., 0] > 0.06] = np.nan
    field = Field.of(values, np.zeros(3), cell)
    points = np.array([[0.021, 0.034, 0.041], [0.05, 0.05, 0.03]])
    want = 3.0 + 40.0 * points[:, 0] - 25.0 * points[:, 1] + 10.0 * points[:, 2]
    assert np.allclose(field.at(points), want)
    far = field.at(np.array([[0.5, 0.05, 0.03]]))
    assert np.isfinite(far).all()
    assert Field.of(np.full(shape, np.nan), np.zeros(3), cell) is None


def test_still_covers_a_cube_as_it_should():
    import manifold3d as m3

    from strickle.kernels import shade

    mesh = factory.mesh(m3.Manifold.cube((0.1, 0.1, 0.1), True))
    turn = shade.view(0.0, 0.0)  # straight on: a square
    picture = shade.still(mesh.vertices, mesh.faces, turn, 120, 100, colours=np.tile([0.5, 0.5, 0.5], (12, 1)), margin=0.1)
    assert picture.shape == (100, 120, 4)
    assert picture.dtype == np.uint8
    assert abs((picture[..., 3] == 255).sum() - 80 * 80) < 80 * 5
    nearer = shade.view(0.6, 0.5) @ shade.view(0.6, 0.5).T
    assert np.allclose(nearer, np.eye(3))


def test_nearer_triangle_hides_the_farther():
    from strickle.kernels import shade

    square = np.array([[-1.0, 0, -1], [1, 0, -1], [1, 0, 1], [-1, 0, 1]])
    vertices = np.vstack([square + np.array([0, 1, 0]), square * 0.5 - np.array([0, 1, 0])])
    faces = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]])
    colours = np.array([[1.0, 0, 0]] * 2 + [[0, 0, 1.0]] * 2)
    picture = shade.still(vertices, faces, shade.view(0.0, 0.0), 80, 80, colours=colours)
    assert picture[40, 40, 2] > picture[40, 40, 0]
    assert picture[6, 40, 0] > picture[6, 40, 2]


def test_png_reads_back():
    rng = np.random.default_rng(1)
    picture = rng.integers(0, 255, (7, 5, 4), dtype=np.uint8)
    data = png(picture)
    assert struct.unpack(">II", data[16:24]) == (5, 7)
    start = data.index(b"IDAT")
    size = struct.unpack(">I", data[start - 4 : start])[0]
    rows = np.frombuffer(zlib.decompress(data[start + 4 : start + 4 + size]), dtype=np.uint8).reshape(7, 21)
    assert (rows[:, 0] == 2).all()
    assert (np.cumsum(rows[:, 1:], axis=0, dtype=np.uint8).reshape(7, 5, 4) == picture).all()
    with pytest.raises(ValueError, match="uint8"):
        png(picture.astype(float))
