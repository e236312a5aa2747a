# ruff: noqa: E501
"""The card: made from results, on either paper, in either units, from its own font, cautions exactly where their conditions hold."""

from __future__ import annotations

import dataclasses
import hashlib
import html
import io
import json
import math
import os
import pickle
import re
import shutil
import struct
import subprocess
import sys
import tempfile
import zlib
from pathlib import Path
from types import SimpleNamespace

import manifold3d as m3
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import card_factory as factory

from strickle.base import BadInput, Mesh, render, shown
from strickle.card import Card, joint, prints, safety, steps
from strickle.card.frame import Frame
from strickle.card.lettering import plain
from strickle.card.palette import banded, nice_step, oklab, shade_of
from strickle.card.pattern_plate import plate_drawing
from strickle.card.picture import Field
from strickle.card.png import png
from strickle.card.section import Bodies, middle_of, plan, section
from strickle.card.slices import informative, upright
from strickle.card.steps import write, written
from strickle.pattern import Sheet
from strickle.pattern.result import JointHole


@pytest.fixture(scope="module")
def results() -> dict:
    return factory.results()


@pytest.fixture(scope="module")
def findings(results) -> list:
    return [*results["sound"].findings, *results["metal"].findings]


def words(pdf_inputs: dict) -> str:
    return json.dumps(pdf_inputs, ensure_ascii=False)


_SEEN: dict = {}


class _Told(pickle.Pickler):
    def reducer_override(self, one):
        return (tuple, ((one.volume(), *one.bounding_box()),)) if isinstance(one, m3.Manifold) else NotImplemented


def _key(*given) -> bytes:
    _Told(buffer := io.BytesIO()).dump(given)
    return hashlib.sha1(buffer.getvalue()).digest()


@pytest.fixture(autouse=True)
def drawn_once(monkeypatch, request):
    """What is drawn of the same solids is drawn once in this module, but where the drawing itself is under test."""
    if request.node.originalname == "test_same_results_same_bytes":
        return

    def once(real):
        def call(*given):
            key = real.__qualname__, _key(*given)
            if key not in _SEEN:
                _SEEN[key] = real(*given)
            return _SEEN[key]

        return call

    monkeypatch.setattr(steps, "pictures", once(steps.pictures))
    monkeypatch.setattr(steps, "_drawings", once(steps._drawings))
    monkeypatch.setattr(prints, "_seen", once(prints._seen))


@pytest.fixture
def caught(monkeypatch):
    """The data the template is given."""
    kept: dict = {}
    real = steps.compose

    def spy(data, files):
        kept.clear()
        kept.update(data)
        return real(data, files)

    monkeypatch.setattr(steps, "compose", spy)
    return kept


@pytest.mark.parametrize(("paper", "units"), [("a4", "metric"), ("letter", "us"), ("a4", "us"), ("letter", "metric")])
def test_three_pages_that_say_the_results(results, findings, caught, paper, units):
    """The day, the mould, what to know, on either paper."""
    card, files = written(verdict=factory.CASTABLE, findings=findings, kit=factory.kit(), paper=paper, units=units, **results)
    assert isinstance(card, Card)
    assert card.pages == 3
    assert card.paper == paper
    assert caught["day_size"] >= 8.5
    assert set(files) == set(card.names) >= {"card.pdf", "section.svg", "plan.svg", "casting.png", "casting.svg"}
    assert files["card.pdf"].startswith(b"%PDF")
    assert not outside(files["card.pdf"], paper)
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


SHEETS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}


def words_of(pdf: bytes) -> list[tuple[int, str, tuple[float, float, float, float]]]:
    """Words of a PDF with their page and box [mm], as another program reads it; without that program the test is skipped, in CI it fails."""
    if shutil.which("pdftotext") is None:
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(
            "pdftotext is not installed: make .stamps/dev as root, or install poppler-utils"
        )
    done = subprocess.run(["pdftotext", "-bbox", "-", "-"], input=pdf, capture_output=True, check=True)
    found, page = [], 0
    for line in done.stdout.decode().splitlines():
        page += "<page " in line
        if hit := re.search(r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*)</word>', line):
            found.append((page, html.unescape(hit[5]), tuple(float(hit[k]) * 25.4 / 72 for k in (1, 2, 3, 4))))
    return found


def outside(pdf: bytes, paper: str) -> list[str]:
    """Words that lie over the margins of their page."""
    wide, high = SHEETS[paper]
    return [word for _, word, (x0, y0, x1, y1) in words_of(pdf) if x0 < 11.5 or y0 < 6.0 or x1 > wide - 11.5 or y1 > high - 4.0]


def test_a_peg_in_the_sand_is_placed_and_one_in_the_metal_is_not(results, findings, caught):
    write(verdict=factory.CASTABLE, findings=findings, kit=factory.kit(), **results)
    (place,) = [row for row in caught["places"] if row[0].startswith("peg ")]
    assert place == ["peg sand", "140, 120, 24 up"]
    assert caught["level_from"] == "Pegs: up or down from the parting."


def test_paper_goes_with_the_units_unless_asked(results):
    known = {"verdict": factory.STOPPED, "findings": [], "kit": factory.kit(), "metal": results["metal"], "part": results["part"]}
    assert written(**known)[0].paper == "a4"
    assert written(units="us", **known)[0].paper == "letter"
    assert written(units="us", paper="a4", **known)[0].paper == "a4"


def test_what_is_read_at_the_bench_is_large_enough(results, findings):
    """Letters by the height of the boxes their font gives them, against the title's known size."""
    pdf = write(verdict=factory.CASTABLE, findings=findings, kit=factory.kit(), **results)["card.pdf"]
    first = [(word, box[3] - box[1]) for page, word, box in words_of(pdf) if page == 1]
    title = next(height for word, height in first if word == "idler-arm") / 20.0
    footer = {"strickle", "shop", "card", "·", "idler-arm", "page", "of", "1", "3"}
    small = {word for word, height in first if height < 8.4 * title} - footer
    assert not small - {"HOLD"}, small


@pytest.mark.parametrize(("units", "paper"), [("metric", "a4"), ("us", "letter")])
def test_the_printed_drawing_names_the_tolerance_grade(results, findings, units, paper):
    """In the heading of the section, on its page and within the margins."""
    own = {**results, "pattern": dataclasses.replace(results["pattern"], tolerance_grade=12.0)}
    pdf = write(verdict=factory.CASTABLE, findings=findings, kit=factory.kit(), units=units, paper=paper, **own)["card.pdf"]
    words = words_of(pdf)
    (at,) = [i for i, (_, word, _) in enumerate(words) if word == "DCTG"]
    assert [word for _, word, _ in words[at - 2 : at + 2]] == ["ISO", "8062-3", "DCTG", "12"]
    assert any(page == words[at][0] and word == "A–A" for page, word, _ in words)
    assert not outside(pdf, paper)


def test_us_card_names_no_metric_unit(results, findings, caught):
    pdf = write(verdict=factory.CASTABLE, findings=findings, kit=factory.kit(), units="us", **results)["card.pdf"]
    text = " ".join(word for _, word, _ in words_of(pdf))
    assert "inches" in text
    assert "°F" in text
    told = re.sub(r"\(2 mm\)", "", text[: text.index("Sources used")])  # a drill or wire is told in both
    assert not re.findall(r"\b(?:mm|cm³|kg|°C|m/s|mm²)\b|°C", told)


def test_only_the_packaged_font_is_used(results, findings):
    files = write(verdict=factory.CASTABLE, findings=findings, kit=factory.kit(), **results)
    fonts = set(re.findall(rb"/BaseFont\s*/([\w+-]+)", files["card.pdf"]))
    assert {re.sub(rb"^[A-Z]{6}\+", b"", font) for font in fonts} == {b"AtkinsonHyperlegibleNext-Regular", b"AtkinsonHyperlegibleNext-Bold"}
    assert len(re.findall(rb"/FontFile[23]?\b", files["card.pdf"])) == len(fonts)  # each embedded
    for name in ("section.svg", "plan.svg", "casting.svg"):
        assert set(re.findall(rb'font-family="([^"]*)"', files[name])) == {b"Atkinson Hyperlegible Next, sans-serif"}, name


NAMES = [
    '#read("x") #include "/etc/passwd" $x^2$ *bold* _it_ @ref <lab> \\ `raw`',
    "// no comment /* nor */ = head - item + 1. [#] ~ -- --- 'q' \"q\"",
    "Ärmel für Drehbank № 7 – żółty čep ĳ Ωß" + "x" * 22,
    "шкив 轮 \u202eevil\u202c \x07bell\nline",
]


@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_plain_text_whatever_it_holds(results, findings, caught, name):
    import dataclasses

    part = dataclasses.replace(results["part"], file=name + ".stl")
    metal = dataclasses.replace(results["metal"], name=name)
    card, files = written(verdict=factory.CASTABLE, findings=findings, kit=factory.kit(), **{**results, "part": part, "metal": metal})
    assert card.pages == 3
    assert caught["title"] == plain(name)
    pdf = files["card.pdf"]
    read = "".join(word for page, word, _ in words_of(pdf) if page == 1)
    assert plain(name).replace(" ", "")[:30] in read
    assert not outside(pdf, "a4")
    assert b".notdef" not in pdf


def test_letters_the_font_lacks_are_told():
    assert plain("шкив") == "????"
    assert plain("ﬁt Ǆ ①") == "fit DZ 1"
    assert plain("a\u202eb\x00c\td") == "ab c d"


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


def test_what_is_too_much_for_a_page_runs_over_in_full(results, caught):
    import dataclasses

    many = [dataclasses.replace(results["sound"].findings[0], says=f"Finding {i} of many") for i in range(24)]
    more = tuple(dataclasses.replace(results["rigging"].pieces[0], name=f"former-{i}") for i in range(50))
    rigging = dataclasses.replace(results["rigging"], pieces=(*results["rigging"].pieces, *more))
    card, files = written(verdict=factory.CASTABLE, findings=many, kit=factory.kit(), **{**results, "rigging": rigging})
    assert card.pages >= 4
    assert caught["pieces_second"] < len(caught["pieces"])
    assert len(caught["findings"]) == len(many)
    assert not outside(files["card.pdf"], "a4")
    read = " ".join(word for _, word, _ in words_of(files["card.pdf"]))
    assert not read or all(f"Finding {i} of many" in read and f"former-{i}" in read for i in range(24))


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
        # a step that the day only has where something is laid in needs its caution only then
        assert any(c.hold and c.step == step and c.when in ((), (step,), ("cores",)) for c in safety.all_cautions()), step


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
    assert step_called(caught, "Weights on, pour")["time"] == "7.1–9.7 s"
    assert "part itself is full after 5.2–7 s" in told
    assert ["Pour for", "7.1–9.7", "s"] in caught["numbers"]
    assert ["Part fills in", "5.2–7 s"] in caught["quantities"]


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
    assert ["Knock out after", "not", "computed"] in caught["main"]
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


def grey(colours: np.ndarray) -> np.ndarray:
    """What a black-and-white printer makes of sRGB colours: luminance, Rec. 709 weights on linear light, back through the curve."""
    linear = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4) @ np.array([0.2126, 0.7152, 0.0722])
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def test_printed_grey_later_is_darker_and_bands_stay_apart():
    assert (np.diff(grey(shade_of(np.linspace(0.0, 1.0, 128)))) < 0).all()
    for count in (3, 5, 8):
        bands = grey(banded(np.arange(count) + 0.5, 1.0, float(count)))
        assert (np.diff(bands) < -0.05).all()  # a step the eye tells apart side by side


def picture_of_a_wall(marks: bool) -> np.ndarray:
    """A wall looked at straight on: light grey with a band change across its middle, its left half marked."""
    from strickle.kernels import sight

    square = np.array([[-1.0, 0, -1], [1, 0, -1], [1, 0, 1], [-1, 0, 1]])
    faces = np.array([[0, 1, 2], [0, 2, 3]])

    def paint(points, normals):
        band = (points[:, 2] > 0.0).astype(np.int64)
        return np.full((len(points), 3), 0.8), band, (points[:, 0] < 0.0) & marks

    return sight.still(square, faces, sight.view(0.0, 0.0), 200, 200, paint_points=paint)


def test_bands_are_parted_by_a_line_and_marks_are_hatched():
    bare, hatched = picture_of_a_wall(False)[..., 0].astype(int), picture_of_a_wall(True)[..., 0].astype(int)
    flat = bare[60, 100]
    assert bare[96:104, 60:140].min() < 0.6 * flat  # the line between bands, all along
    assert (bare[96:104, 20:180].min(axis=0) < 0.8 * flat).all()
    assert (bare[20:90, 20:180] == flat).all()
    left, right = hatched[20:90, 20:90], hatched[20:90, 110:180]
    assert (right == flat).all()
    dark = (left < 0.5 * flat).mean()
    assert 0.1 < dark < 0.5


def test_marked_faces_are_hatched_without_a_field():
    from strickle.kernels import sight

    square = np.array([[-1.0, 0, -1], [1, 0, -1], [1, 0, 1], [-1, 0, 1]])
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    picture = sight.still(square, faces, sight.view(0.0, 0.0), 100, 100, colours=np.full((2, 3), 0.8), marked_faces=np.array([1, 0]))
    below, above = picture[70, 60:90, 0].astype(int), picture[30, 10:40, 0].astype(int)
    assert np.ptp(below) > 80
    assert np.ptp(above) == 0


def test_a_late_scale_still_tells_places_apart():
    values = np.linspace(31.0, 56.0, 6 * 5 * 4).reshape(6, 5, 4)
    field = Field.of(values, np.zeros(3), 0.01)
    assert field.low == 30.0
    assert field.bands >= 4
    early, late = grey(field.colours(np.array([31.0, 55.0])))
    assert early - late > 0.5
    assert Field.of(values - 30.0, np.zeros(3), 0.01).low == 0.0


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

    from strickle.kernels import sight

    mesh = factory.mesh(m3.Manifold.cube((0.1, 0.1, 0.1), True))
    turn = sight.view(0.0, 0.0)  # straight on: a square
    picture = sight.still(mesh.vertices, mesh.faces, turn, 120, 100, colours=np.tile([0.5, 0.5, 0.5], (12, 1)), margin=0.1)
    assert picture.shape == (100, 120, 4)
    assert picture.dtype == np.uint8
    assert abs((picture[..., 3] == 255).sum() - 80 * 80) < 80 * 5
    nearer = sight.view(0.6, 0.5) @ sight.view(0.6, 0.5).T
    assert np.allclose(nearer, np.eye(3))


def test_nearer_triangle_hides_the_farther():
    from strickle.kernels import sight

    square = np.array([[-1.0, 0, -1], [1, 0, -1], [1, 0, 1], [-1, 0, 1]])
    vertices = np.vstack([square + np.array([0, 1, 0]), square * 0.5 - np.array([0, 1, 0])])
    faces = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]])
    colours = np.array([[1.0, 0, 0]] * 2 + [[0, 0, 1.0]] * 2)
    picture = sight.still(vertices, faces, sight.view(0.0, 0.0), 80, 80, colours=colours)
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


# ------------------------------------------------------------------ paper through the job


def test_paper_is_kept_in_the_recipe(tmp_path):
    from strickle.job.recipe import Recipe, read_recipe, write_recipe

    path = tmp_path / "job.toml"
    write_recipe(path, Recipe(file="a.stl", paper="letter"))
    assert read_recipe(path).paper == "letter"
    write_recipe(path, Recipe(file="a.stl", paper="a4"))
    assert read_recipe(path).paper == "a4"
    write_recipe(path, Recipe(file="a.stl"))
    assert read_recipe(path).paper is None
    path.write_text('schema = 1\npaper = "a9"\n[part]\nfile = "a.stl"\n')
    with pytest.raises(BadInput, match="paper"):
        read_recipe(path)


def test_the_job_hands_the_paper_to_the_card(tmp_path, monkeypatch):
    import fakes
    from strickle.job import stages
    from strickle.job.demo import bracket_stl
    from strickle.job.planning import plan, resume

    seen = []
    monkeypatch.setattr(stages, "STAGES", fakes.fakes())
    monkeypatch.setattr("strickle.job.planning.card_files", lambda trail, kit, units, paper: seen.append(paper) or {"card.pdf": paper.encode()})
    part = tmp_path / "bracket.stl"
    part.write_bytes(bracket_stl())
    made = plan(part, out=tmp_path / "job", unit="mm", paper="letter")
    resume(made.folder)
    resume(made.folder, paper="a4")
    assert seen[0] == "letter"
    assert seen[-1] == "a4"
    assert (made.folder / "cards" / "card.pdf").read_bytes() == b"a4"
    with pytest.raises(BadInput, match="paper"):
        resume(made.folder, paper="a9")


# The print sheet


def sheet(results, units="metric", paper="a4", bed=(0.22, 0.22, 0.25), stopped=False):
    """The print sheet of the factory's pieces for a bed, and those pieces."""
    import dataclasses

    from strickle.card.prints import print_files
    from strickle.mould.printing import printing
    from strickle.pattern import in_parts
    from strickle.stores.load import load

    kit, stores = factory.kit(bed=np.array(bed)), load()
    told = printing(stores.sands["oil-bonded"], dataclasses.replace(stores, kit=kit), [])
    pieces = [in_parts(p, kit.bed) for p in (*results["pattern"].pieces, *results["rigging"].pieces)]
    mould = dataclasses.replace(results["mould"], printing=told)
    return print_files(pieces, mould, kit, title="idler-arm", units=units, paper=paper, stopped=stopped), pieces


@pytest.mark.parametrize(("units", "paper", "bed"), [("metric", "a4", (0.22, 0.22, 0.25)), ("us", "letter", (0.1, 0.1, 0.12))])
def test_the_print_sheet_lists_every_print_within_its_page(results, units, paper, bed):
    files, pieces = sheet(results, units, paper, bed)
    assert not outside(files["prints.pdf"], paper)
    text = " ".join(word for _, word, _ in words_of(files["prints.pdf"]))
    names = [name for piece in pieces for name in ([part.name for part in piece.parts] or [piece.name])]
    assert (len(names) > len(pieces)) == (bed[0] < 0.2)
    assert all(name in text for name in names)
    assert f"{len(pieces)} pieces in {len(names)} prints" in text
    assert "{{q:" not in text
    assert "Count all pieces out" in text
    assert "Dust mask" in text
    assert sum(name.startswith("plate-") for name in files) == len({int(n) for n in re.findall(r"plate-(\d+)\.3mf", text)})
    assert ("glued a to b" in text) == (bed[0] < 0.2)
    assert ("mould" if units == "us" else "mold") not in text


def test_the_drawing_of_a_pattern_plate_is_full_size_with_its_holes_from_the_flask(results):
    """Outlines and hole middles in millimetres of the flask's inside; pins before screws; none where no flat board parts the mould."""
    pattern, rigging, mould = (results[name] for name in ("pattern", "rigging", "mould"))
    holes = [("dowel", half, at, 4.2e-3) for at in ((-0.03, 0.01), (0.04, -0.02)) for half in ("cope", "drag")] + [("lift", "cope", (0.0, 0.0), 3e-3)]
    told = dataclasses.replace(
        pattern, holes=tuple(JointHole(use=use, half=half, at=np.array(at), width=width, depth=8e-3) for use, half, at, width in holes)
    )
    svg = plate_drawing(told, rigging, mould, "bracket", "metric").decode()
    box = mould.box * 1e3
    frame = [float(v) for v in re.findall(r"[\d.]+", re.search(r'<path d="(M[^"]*)"', svg).group(1))]
    assert max(frame[0::2]) - min(frame[0::2]) == pytest.approx(box[1] - box[0], abs=0.01)
    assert max(frame[1::2]) - min(frame[1::2]) == pytest.approx(box[3] - box[2], abs=0.01)
    rings = [(float(x), float(y), float(r)) for x, y, r in re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="([\d.]+)" fill="#ffffff"', svg)]
    assert len(rings) == 2  # one through hole for each pin
    assert math.dist(rings[0][:2], rings[1][:2]) == pytest.approx(math.hypot(70.0, 30.0), abs=0.01)
    assert {r for *_, r in rings} == {2.1}
    low = min(frame[0::2])
    assert sorted(x - low for x, *_ in rings) == pytest.approx([-30.0 - box[0], 40.0 - box[0]], abs=0.01)
    for word in ("a pin", "runner", "cope-pattern", "Pattern plate: bracket"):
        assert word in svg
    assert "a screw" not in svg
    assert "a screw" in plate_drawing(dataclasses.replace(told, holes=told.holes[-1:]), rigging, mould, "bracket", "us").decode()
    crooked = Sheet(x=np.zeros(2), y=np.zeros(2), height=np.zeros((2, 2)), lowest=0.0, highest=0.0, steepest=0.0, area=0.0, saved=0.0)
    assert plate_drawing(dataclasses.replace(told, sheet=crooked), rigging, mould, "bracket", "metric") is None


def test_the_print_sheet_of_a_plan_that_does_not_stand_says_so_first(results):
    text = " ".join(word for _, word, _ in words_of(sheet(results, stopped=True)[0]["prints.pdf"]))
    assert text.index("does not stand") < text.index("Parts list")


def test_supports_are_told_for_a_pattern_in_one_piece_alone(results):
    from strickle.pattern import is_whole

    first = next(piece for piece in results["pattern"].pieces if piece.role == "pattern")
    z = first.mesh.vertices[:, 2]

    def told(level):
        """The sheet with that piece alone as the pattern, so many metres under the joint."""
        moved = dataclasses.replace(first, mesh=Mesh(vertices=first.mesh.vertices - [0, 0, level], faces=first.mesh.faces))
        others = (piece for piece in results["pattern"].pieces if piece.role != "pattern")
        shown = {**results, "pattern": dataclasses.replace(results["pattern"], pieces=(moved, *others))}
        return is_whole(moved), "print supports there" in " ".join(word for _, word, _ in words_of(sheet(shown)[0]["prints.pdf"]))

    assert told(z.min()) == (False, False)
    assert told((z.min() + z.max()) / 2) == (True, True)


def test_the_mass_of_a_print_is_its_skin_and_its_infill(results):
    from strickle.card.packing import bodies_of
    from strickle.card.prints import printed_mass
    from strickle.mould import Printing

    told = Printing(
        layer=2e-4, roughness=2e-5, grain=1e-4, wall=1e-3, infill=0.2, span=4e-3, pressure=1e5, stress=1e5, strength=1e7, density=1000.0, softens=330.0
    )  # fmt: skip
    cube = next(p for p in results["pattern"].pieces if p.name == "drag-board-dowels")  # 10 mm a side: 1 cm3, 6 cm2
    (body,) = bodies_of([cube], np.array([0.22, 0.22, 0.25]))
    assert printed_mass(body, told) == pytest.approx(1000.0 * (0.6e-6 + 0.2 * 0.4e-6))


def test_a_piece_the_bed_cannot_hold_is_on_no_plate_and_said_so(results):
    files, _ = sheet(results, bed=(0.021, 0.021, 0.021))
    assert "does not fit the bed" in " ".join(word for _, word, _ in words_of(files["prints.pdf"]))


def test_a_crooked_joint_is_drawn_as_it_runs(results):
    """A joint that rises by 8 mm along the section: its line is drawn with that rise at the drawing's scale, and reads exactly between its nodes."""
    x, y = np.linspace(-0.2, 0.2, 41), np.linspace(-0.2, 0.2, 41)
    height = np.clip(0.2 * x, 0.0, 8e-3)[:, None] * np.ones(41)
    told = Sheet(x=x, y=y, height=height, lowest=0.0, highest=8e-3, steepest=0.2, area=0.01, saved=1e-6)
    assert joint.heights(told, np.array([[0.0175, 0.03], [0.5, 0.0], [-0.1, 0.0]])) == pytest.approx([0.0035, 0.0, 0.0], abs=1e-9)
    part, flat, mould, rigging, sound = (results[name] for name in ("part", "pattern", "mould", "rigging", "sound"))
    bodies, spans = Bodies.of(flat, rigging), []
    plane = informative(part, flat, rigging, sound, middle_of(flat.cavity))
    for pattern in (flat, dataclasses.replace(flat, sheet=told)):
        drawn = section(plane, pattern, mould, rigging, sound, bodies, (180.0, 100.0), "metric")
        (data,) = re.findall(rb'<path d="M([^"Z]*)"[^>]*stroke-dasharray="5 1 1 1"', drawn.svg)
        spans.append(np.ptp([float(point.split()[1]) for point in data.decode().split(" L")]))
    assert spans[0] == 0.0
    assert np.ptp(joint.line(told, plane, -0.15, 0.15)[:, 1]) > 3e-3
    assert spans[1] > 1.0


def test_cores_are_drawn_and_named_on_section_and_plan(results):
    part, pattern, mould, rigging, sound = (results[name] for name in ("part", "pattern", "mould", "rigging", "sound"))
    plane = informative(part, pattern, rigging, sound, middle_of(pattern.cavity))
    body = m3.Manifold.sphere(0.012, 32).translate(tuple(float(v) for v in plane.at)).to_mesh64()
    mesh = Mesh(vertices=np.asarray(body.vert_properties, float), faces=np.asarray(body.tri_verts, dtype=np.int64))
    cored = dataclasses.replace(pattern, cores=(SimpleNamespace(name="core-7", mesh=mesh),))
    bodies = Bodies.of(pattern, rigging)
    for draw in (
        lambda told: section(plane, told, mould, rigging, sound, bodies, (180.0, 100.0), "metric"),
        lambda told: plan(plane, told, mould, rigging, bodies, (180.0, 140.0), "metric"),
    ):
        assert "core-7" not in str(draw(pattern).proof)
        with_core = draw(cored)
        assert "core-7" in str(with_core.proof) or "core-7" in str(with_core.key)
