"""Pictures of a solved filling, on made-up results: what is coloured, what the legends and pins say, and that all of it moves."""

import base64
import dataclasses
import io
import math
from itertools import combinations

import numpy as np
import pytest
from card_factory import kit, poured, results
from lxml import etree
from PIL import Image

from strickle.card import filling
from strickle.card.came import CAME, EMPTY, UNSOLVED, Filled, Pane, Scale
from strickle.card.filling import filling_files
from strickle.card.lettering import wide
from strickle.card.palette import oklab
from strickle.card.picture import camera
from strickle.card.pins import ROUND, Stand, lines, pins_of, stick
from strickle.card.section import Bodies, middle_of
from strickle.card.slices import informative
from strickle.card.svg import Sheet
from strickle.card.tell import accounted, quantities
from strickle.job.export import vti
from strickle.job.outputs import fields_of

NAMES = {"filling.png", "filling.gif", "filling-arrival.png", "filling-temperature.png", "filling-speed.png"}


@pytest.fixture(scope="module")
def made():
    found = results()
    return {**found, "pour": poured(found)}


def files_of(made, units="metric"):
    bodies = Bodies.of(made["pattern"], made["rigging"])
    plane = informative(made["part"], made["pattern"], made["rigging"], made["sound"], middle_of(made["pattern"].cavity))
    return filling_files(
        made["pour"], made["metal"], made["pattern"], made["rigging"], made["cavity"], bodies, plane, made["pour"].findings, "idler arm", units
    )


@pytest.fixture(scope="module")
def files(made):
    """Small and few, which draws them no otherwise."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(filling, "DOTS", 100.0)
        patch.setattr(filling, "FRAMES", 24)
        return files_of(made)


@pytest.fixture(scope="module")
def pane(made):
    plane = informative(made["part"], made["pattern"], made["rigging"], made["sound"], middle_of(made["pattern"].cavity))
    return Pane(made["rigging"].casting, camera(plane, 0.5, 0.5), Filled.of(made["pour"], made["cavity"], "metric"), 240, 180)


def test_a_solved_filling_gives_stills_and_a_moving_file(files):
    assert set(files) == NAMES
    for name in NAMES - {"filling.gif"}:
        picture = Image.open(io.BytesIO(files[name])).convert("RGB")
        assert picture.size[0] > 800
        assert len(picture.getcolors(1 << 24)) > 500  # more than an empty sheet


def test_the_moving_file_runs_at_the_pace_it_says_and_starts_again(files):
    film = Image.open(io.BytesIO(files["filling.gif"]))
    long = []
    for i in range(film.n_frames):
        film.seek(i)
        long.append(film.info["duration"])
    assert film.n_frames > 20
    assert film.info["loop"] == 0
    assert sum(long[:-1]) == pytest.approx(5000.0, rel=0.12)
    assert long[-1] > 1000
    film.seek(0)
    first = np.asarray(film.convert("RGB")).astype(int)
    film.seek(film.n_frames - 1)
    assert (np.abs(np.asarray(film.convert("RGB")).astype(int) - first).sum(axis=2) > 60).mean() > 0.03


def test_nothing_is_drawn_where_the_filling_was_not_solved(made):
    assert files_of({**made, "pour": results()["pour"]}) == {}


def test_metal_spreads_over_the_picture_and_never_draws_back(pane):
    before = np.zeros(pane.state.size, dtype=bool)
    for time in np.linspace(0.0, 5.0, 6):
        here = pane.arrival <= time
        assert not (before & ~here).any()
        before = here
    came = pane.state == CAME
    assert (pane.arrival[came] <= 5.0).all()
    assert 0.3 < came.mean() < 1.0  # what stands over the part was not solved
    assert pane.has(UNSOLVED)
    assert not pane.has(EMPTY)
    part = pane.moment(2.5)
    assert not np.array_equal(part, pane.moment(0.0))
    assert not np.array_equal(part, pane.moment(5.0))


def test_arrival_on_the_picture_is_that_of_the_place(pane):
    """The filling rises evenly, so a sample's time follows from its height."""
    came = pane.state == CAME
    inside = pane.sight.points - 0.5 * pane.filled.cell * pane.sight.normals
    level = 5.0 * (inside[:, 2] + 0.02) / 0.056
    well = came & (level > 0.4) & (level < 4.7)
    assert np.abs(pane.arrival[well] - level[well]).max() < 5.0 / 0.056 * pane.filled.cell
    assert np.median(np.abs(pane.arrival[well] - level[well])) < 0.03


def test_share_of_the_part_reached(made):
    filled = Filled.of(made["pour"], made["cavity"], "metric")
    shares = [filled.share(t) for t in np.linspace(0.0, 5.0, 20)]
    assert shares == sorted(shares)
    assert shares[0] == 0.0
    assert shares[-1] == pytest.approx(1.0)


def test_what_stays_empty_is_told_from_what_was_not_solved(made):
    plain = results()
    filled = Filled.of(poured(plain, empty=0.25), plain["cavity"], "metric")
    seen = Pane(plain["rigging"].casting, camera(informative(None, None, None, None, np.zeros(3)), 0.5, 0.5), filled, 240, 180)
    assert seen.has(EMPTY)
    assert seen.has(UNSOLVED)
    assert filled.share(99.0) < 0.9
    assert filled.end < 5.0


@pytest.mark.parametrize(("units", "unit"), [("metric", "°C"), ("us", "°F")])
def test_scales_are_in_the_jobs_units_and_hot_is_light(made, units, unit):
    filled = Filled.of(made["pour"], made["cavity"], units)
    scale = filled.scales["warmth"]
    assert scale.unit == unit
    hot = (985.0 - 273.15) * (1.8 if units == "us" else 1.0) + (32.0 if units == "us" else 0.0)
    assert scale.low < hot <= scale.low + scale.span + 1e-6
    values = np.linspace(scale.low, scale.low + scale.span, 40)
    assert (np.diff(oklab(scale.colours(values))[:, 0]) > -1e-9).all()
    early = filled.scales["arrival"]
    assert (np.diff(oklab(early.colours(np.linspace(0.0, early.span, 40)))[:, 0]) < 1e-9).all()
    assert filled.scales["speed"].unit == ("ft/s" if units == "us" else "m/s")


def test_ends_of_a_scale_say_what_lies_beyond():
    scale = Scale.of(np.concatenate([np.linspace(650.0, 700.0, 1000), [500.0]]), "°C", flip=True)
    assert scale.ends()[0].startswith("≤ ")
    assert not scale.ends()[-1].endswith("+")
    fast = Scale.of(np.concatenate([np.linspace(0.0, 1.0, 1000), [9.0]]), "m/s", least=0.0)
    assert fast.ends()[0] == "0"
    assert fast.ends()[-1].endswith("+")
    one = Scale.of(np.full(5, 3.0), "s", least=0.0)
    assert one.bands >= 1
    assert one.band(np.array([3.0, 99.0])).max() < one.bands


def test_pins_say_what_was_found_in_the_jobs_units(made):
    pins = pins_of(made["pour"], made["pattern"], made["pour"].findings, "us")
    assert pins[0].weight == "MIND"
    assert pins[0].says == "Two fronts meet here at 1142 °F: there is a chance that they do not knit"
    assert [p.kind for p in pins] == ["fronts meet", "air shut in", "filled late", "filled late"]
    assert all("{{" not in p.says for p in pins)
    metric = pins_of(made["pour"], made["pattern"], (), "metric")
    assert {p.weight for p in metric} == {""}
    assert any(p.says == "Fronts meet at 617 °C and 632 °C, 2 s in" for p in metric)


def test_pins_do_not_lie_on_each_other_and_hidden_ones_are_told(made, pane):
    pins = list(enumerate(pins_of(made["pour"], made["pattern"], (), "metric"), start=1))
    deep = dataclasses.replace(pins[0][1], at=np.array([-0.02, 0.0, -0.012]))  # under the boss, in the sand
    pins.append((9, deep))
    sheet = Sheet(98.0, 74.0, "pins")
    hidden = stick(sheet, [Stand(pane, 0.0, 0.0, 98.0, 74.0)], pins)
    assert 9 in hidden
    assert hidden < {number for number, _ in pins}
    rounds = [line.split(chr(34)) for line in sheet.lines if f'r="{ROUND:g}"' in line]
    at = [(float(r[1]), float(r[3])) for r in rounds]
    assert len(at) == len(pins)
    assert all(math.dist(a, b) > 1.6 * ROUND for a, b in combinations(at, 2))
    assert all(0.0 < x < 98.0 and 0.0 < y < 74.0 for x, y in at)


def test_a_place_that_was_cut_away_has_no_pin(pane):
    stand = Stand(pane, 0.0, 0.0, 10.0, 10.0, cut=(np.zeros(3), np.array([0.0, -1.0, 0.0])))
    assert stand.lost(np.array([0.0, -0.05, 0.0]))
    assert not stand.lost(np.array([0.0, 0.05, 0.0]))


def test_what_the_pins_say_stays_in_its_column_and_says_what_is_hidden(made):
    pins = list(enumerate(pins_of(made["pour"], made["pattern"], made["pour"].findings, "metric"), start=1))
    look = type("Look", (), {"say": staticmethod(str)})
    rows = filling._told(pins, {1}, look)
    assert [len(row) for row in rows] == [2, 2]
    assert " ".join(rows[0][0][2]).endswith("(behind metal)")
    room = 0.5 * (filling.WIDE - 2 * filling.EDGE) - 2 * ROUND - 2.2
    assert all(wide(line, filling.SMALL) < room for row in rows for _, _, text in row for line in text)


def test_long_words_are_broken_and_end_in_dots():
    told = lines("metal " * 60, 2.7, 50.0)
    assert len(told) == 3
    assert told[-1].endswith("...")
    assert lines("short", 2.7, 50.0) == ["short"]


def test_the_card_says_how_well_the_heat_adds_up(made):
    rows = dict(quantities(*(made[k] for k in ("metal", "part", "pattern", "mould", "rigging", "cavity", "melt", "pour", "sound")), kit(), "metric"))
    assert rows["Heat in the solved filling"] == "accounted for within 0.2%"
    assert accounted(0.0, "metric") == "to better than 0.0001%"
    assert accounted(math.nan, "metric") == "not known how well"


def test_the_fillings_fields_open_in_other_viewers(made):
    """The .vti read by its own published form: the three fields on the filling's own cells, x fastest, what never filled as no number."""
    arrays = fields_of({"cavity": made["cavity"], "pour": made["pour"]})["pour"]
    image = etree.fromstring(vti(arrays)).find("ImageData")
    assert [float(v) for v in image.get("Origin").split()] == made["pour"].filling_origin.tolist()
    assert [float(v) for v in image.get("Spacing").split()] == [made["pour"].solution.cell] * 3
    nx, ny, nz = made["pour"].arrival.shape
    found = {data.get("Name"): base64.b64decode(data.text) for data in image.iter("DataArray") if data.get("type") == "Float32"}
    assert set(found) == {"arrival", "arrival_temperature", "arrival_speed"}
    for name, raw in found.items():
        assert int.from_bytes(raw[:8], "little") == len(raw) - 8
        np.testing.assert_array_equal(np.frombuffer(raw[8:], "<f4").reshape(nz, ny, nx).transpose(2, 1, 0), getattr(made["pour"], name))
