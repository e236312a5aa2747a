"""A plan's pegs, its time to the touch and its own knock-out temperature; the curves and fields as a person takes them away."""

from __future__ import annotations

import base64
import csv
import dataclasses
import io
import math

import numpy as np
import pytest
from lxml import etree
from planned import planned, text

from strickle.base import BadInput, quiet, render, shown
from strickle.card.curves import curves
from strickle.card.places import level_from, places
from strickle.card.tell import _pipes
from strickle.cli.answer import _fed, _quantity
from strickle.job.contract import plain
from strickle.job.export import vti
from strickle.job.kit import stores_with
from strickle.job.outputs import field_files, fields_of
from strickle.job.points import read_points
from strickle.metal import MetalAsk
from strickle.metal.steps import blend
from strickle.sound import SoundAsk, cooling, pegging
from strickle.sound.ask import PegAt
from strickle.sound.exposure import pegs_in_rigging
from strickle.sound.findings import _gave
from strickle.sound.judge import to_mould, to_part
from strickle.sound.steps import freeze
from strickle.stores.kit import starter_kit

TAKES = ("part", "pattern", "mould", "rigging", "cavity", "metal", "melt")
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def laid():
    results = planned("boss").results
    return {name: results[name] for name in TAKES}


def solve(laid, **asks):
    return freeze(**laid, stores=stores_with(starter_kit()), ask=SoundAsk(preset="rough", **asks), watch=quiet)


@pytest.fixture(scope="module")
def sound(laid):
    return solve(laid)


@pytest.fixture(scope="module")
def results(laid, sound):
    return {**laid, "sound": sound}


def cell_of(cavity, point):
    return tuple(np.floor((point - cavity.grid.origin) / cavity.cell).astype(int))


def test_by_default_pegs_stand_late_thin_and_in_the_sand(laid, sound):
    late, thin, sand = sound.pegs
    assert [peg.name for peg in sound.pegs] == ["latest metal", "thinnest wall", "sand"]
    assert [peg.material for peg in sound.pegs] == ["metal", "metal", "sand"]
    cavity, solid = laid["cavity"], sound.time_to_solidus
    assert solid[cell_of(cavity, late.at)] > 0.9 * sound.last_to_freeze.time.value
    assert solid[cell_of(cavity, thin.at)] < solid[cell_of(cavity, late.at)]
    metal = np.argwhere(np.isfinite(solid))
    gap = np.linalg.norm(cavity.grid.origin + (metal + 0.5) * cavity.cell - sand.at, axis=1).min()
    assert gap == pytest.approx(pegging.IN_SAND + 0.5 * cavity.cell, abs=0.5 * cavity.cell)
    assert to_mould(laid["pattern"], late.at_part) == pytest.approx(late.at, abs=1e-12)


def test_a_curve_crosses_the_solidus_when_the_field_says(laid, sound):
    """Late and thin: where the peg's curve falls through the solidus, its cell is solid."""
    for row in (0, 1):
        fell = int(np.argmax(sound.peg_temperatures[row] < laid["metal"].solidus))
        t1, t0 = sound.peg_temperatures[row, fell], sound.peg_temperatures[row, fell - 1]
        when = np.interp(laid["metal"].solidus, [t1, t0], sound.peg_times[[fell, fell - 1]])
        assert when == pytest.approx(sound.time_to_solidus[cell_of(laid["cavity"], sound.pegs[row].at)], rel=0.02)


def test_own_pegs_stand_where_they_are_asked_and_a_lost_one_is_told(laid):
    pegs = read_points("boss: 20 mm, 10 mm, 12 mm; under: 0 mm, 0 mm, -8 mm; moon: 4 m, 0 mm, 0 mm", "pegs")
    told = solve(laid, pegs=pegs, knock_out=False)
    assert [(peg.name, peg.material) for peg in told.pegs] == [("boss", "metal"), ("under", "sand")]
    for peg, asked in zip(told.pegs, pegs, strict=False):
        assert np.linalg.norm(peg.at_part - asked.at) < laid["cavity"].cell
    assert told.peg_temperatures.shape == (2, told.peg_times.size)
    assert np.isfinite(told.peg_temperatures).all()
    lost = next(f for f in told.findings if f.code == "sound.peg_outside")
    assert "moon" in text(lost)
    assert math.isnan(told.touch_time.value)


def inside(cavity, kind):
    """Name of the first rigging body of a kind, and the middle of a cell well inside it."""
    body = next(b for b in cavity.names if b.kind == kind)
    cells = np.argwhere(cavity.bodies == body.number)
    return body.name, cavity.grid.origin + (cells[((cells - cells.mean(axis=0)) ** 2).sum(axis=1).argmin()] + 0.5) * cavity.cell


def test_a_peg_in_metal_of_the_rigging_is_told_by_its_body(laid):
    name, at = inside(laid["cavity"], "ingate")
    pegs = (PegAt(name="edge", at=to_part(laid["pattern"], at)), *read_points("boss: 20 mm, 10 mm, 12 mm", "pegs"))
    told = solve(laid, pegs=pegs, knock_out=False)
    assert [peg.material for peg in told.pegs] == [f"metal of {name}", "metal"]
    astray = next(f for f in told.findings if f.code == "sound.peg_in_rigging")
    assert astray.weight == "MIND"
    assert f"edge lies in the metal of {name}" in text(astray)
    assert "boss" not in text(astray)
    assert not any(f.code == "sound.peg_in_rigging" for f in solve(laid, knock_out=False).findings)
    dashed = etree.fromstring(curves(told, laid["metal"], "metric"))
    assert any(f"in the metal of {name}" in (e.text or "") for e in dashed.iter(f"{SVG}text"))


def test_a_peg_asked_for_in_a_chill_or_a_sleeve_is_told_and_one_in_the_sand_is_not(sound):
    peg = dataclasses.replace(sound.pegs[0], why="asked for")
    (told,) = pegs_in_rigging(tuple(dataclasses.replace(peg, name=m, material=m) for m in ("metal", "sand", "chill", "sleeve")))
    assert "Not in the part: chill lies in the chill, sleeve lies in the sleeve" in text(told)
    assert pegs_in_rigging((dataclasses.replace(peg, material="metal of riser-1", why="late"),)) == ()


def test_a_riser_is_told_with_its_pipe_and_why_it_ends(laid, sound):
    (riser,) = laid["rigging"].risers[:1]
    body = next(b for b in sound.feeding.bodies if b.name == riser.name)
    said = render(_gave(riser, sound.last_to_freeze.time.value, sound.feeding), "metric")
    depth, high = (" ".join(shown(v, "m", "metric")) for v in (body.pipe_depth, riser.height))
    assert f"it pipes {depth} deep of its {high}" in said
    assert body.fed_until < sound.last_to_freeze.time.value
    assert "past 70% solid no metal is passed on" in said
    assert " mm" not in render(_gave(riser, 1e9, sound.feeding), "us")
    assert "passed on" not in render(_gave(riser, 0.5 * body.fed_until, sound.feeding), "metric")
    assert _gave(riser, 1e9, None) == ""


def test_the_terminal_and_the_card_tell_each_riser_s_pipe(results, sound):
    riser = results["rigging"].risers[0]
    body = next(b for b in sound.feeding.bodies if b.name == riser.name)
    for units in ("metric", "us"):
        deep, (high, unit) = shown(body.pipe_depth, "m", units)[0], shown(riser.height, "m", units)
        (row,) = _pipes(sound, results["rigging"], units)
        assert row[0] == "Riser-1 pipes"
        assert row[1].startswith(f"{deep} of {high} {unit}, feeds till ")
        doc = {"feeding": plain(sound.feeding, units), "heights": {r.name: plain(r, units)["height"] for r in results["rigging"].risers}}
        (said,) = _fed(doc, lambda q, style="", units=units: _quantity(q, units, style))
        assert said.startswith("riser-1 feeds till ")
        assert said.endswith(f" and pipes {deep} of its {high} {unit} deep")
    assert not list(_fed({"feeding": None, "heights": {}}, None))
    assert _pipes(dataclasses.replace(sound, feeding=None), results["rigging"], "metric") == []


def test_pegs_in_the_sand_are_places_in_the_flask(results, sound):
    told = dict(places(results["pattern"], results["mould"], results["rigging"], "metric", sound))
    (sand,) = (peg for peg in sound.pegs if peg.material == "sand")
    assert [what for what in told if what.startswith("peg ")] == ["peg sand"]
    x, y, level = told["peg sand"].split(", ")
    assert (float(x), float(y)) == pytest.approx(
        (1e3 * (sand.at[0] - results["mould"].box[0]), 1e3 * (sand.at[1] - results["mould"].box[2])), abs=0.51
    )
    assert level == f"{abs(1e3 * sand.at[2]):.0f} {'up' if sand.at[2] > 0 else 'down'}"
    assert level_from(list(told.items()), results["mould"]) == "Pegs: up or down from the parting."


def test_the_touch_comes_long_after_the_knock_out(sound):
    assert sound.riser_time.value < sound.knock_out_time.value < sound.touch_time.low
    assert sound.touch_temperature == pytest.approx(45 + 273.15)
    assert sound.touch_time.low < sound.touch_time.value < sound.touch_time.high


@pytest.mark.validate
def test_the_touch_hangs_little_on_its_grid(laid, sound, monkeypatch):
    """Followed on up to eight times as many cells it lies within what is added to its band for the grid."""
    monkeypatch.setattr(cooling, "TOUCH_FEW", 8 * cooling.TOUCH_FEW)
    finer = solve(laid)
    assert finer.touch_time.value == pytest.approx(sound.touch_time.value, rel=0.1)
    assert finer.touch_time.value != sound.touch_time.value


def test_in_air_as_warm_as_a_hand_bears_no_touch_is_told(laid):
    warm = stores_with(dataclasses.replace(starter_kit(), ambient=317.0))
    told = freeze(**laid, stores=warm, ask=SoundAsk(preset="rough"), watch=quiet)
    assert math.isnan(told.touch_time.value)
    assert math.isfinite(told.knock_out_time.value)


def test_an_own_knock_out_temperature_overrides_the_metal_s(laid, sound):
    cooler = solve(laid, knock_out_temperature=500.0)
    assert cooler.knock_out_temperature == 500.0
    assert cooler.knock_out_time.value > sound.knock_out_time.value
    assert cooler.touch_time.value == pytest.approx(sound.touch_time.value, rel=1e-6)
    with pytest.raises(BadInput, match="not solid"):
        solve(laid, knock_out_temperature=900.0)


def test_the_table_of_curves_reads_back(results, sound):
    assert "pegs.csv" not in field_files({"cavity": results["cavity"]})
    for units, back in (("metric", lambda t: t + 273.15), ("us", lambda t: (t - 32) / 1.8 + 273.15)):
        rows = list(csv.reader(io.StringIO(field_files(results, units)["pegs.csv"].decode())))
        empty = rows.index([])
        per = 1e-3 if units == "metric" else 0.0254
        for row, peg in zip(rows[1:empty], sound.pegs, strict=True):
            assert row[:2] == [peg.name, peg.material]
            assert np.array(row[2:5], dtype=float) * per == pytest.approx(peg.at_part, rel=1e-4, abs=1e-6)
            assert "{{" not in row[5]
        numbers = np.array(rows[empty + 2 :], dtype=float)
        assert numbers[:, 0] == pytest.approx(sound.peg_times, rel=1e-5)
        assert back(numbers[:, 1:].T) == pytest.approx(sound.peg_temperatures, abs=0.01)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_plot_names_every_curve_and_needs_no_colour(results, sound, units):
    root = etree.fromstring(curves(sound, results["metal"], units))
    said = [e.text for e in root.iter(f"{SVG}text")]
    assert all(peg.name in said for peg in sound.pegs)
    assert [said.count(letter) for letter in "ABC"] == [3, 3, 3]
    assert any(("°F" if units == "us" else "°C") in line for line in said)
    width, height = (float(v) for v in root.get("viewBox").split()[2:])
    dashes = set()
    for line in root.iter(f"{SVG}path"):
        points = np.array(line.get("d").replace("M", "").replace("L", "").replace("Z", "").split(), dtype=float).reshape(-1, 2)
        assert (points >= -0.01).all()
        assert (points <= [width + 0.01, height + 0.01]).all()
        if len(points) > 10:
            dashes.add(line.get("stroke-dasharray"))
    assert len(dashes) == len(sound.pegs)


def test_fields_go_to_other_viewers_in_their_place_and_order(results):
    """The .vti read by its own published form against the arrays: extent, origin, spacing, x fastest."""
    for stage, arrays in fields_of({name: results[name] for name in ("cavity", "sound")}).items():
        image = etree.fromstring(vti(arrays)).find("ImageData")
        shape = next(a.shape for name, a in arrays.items() if name not in ("origin", "cell"))
        extent = [int(v) for v in image.get("WholeExtent").split()]
        assert extent == [0, shape[0], 0, shape[1], 0, shape[2]]
        assert image.find("Piece").get("Extent") == image.get("WholeExtent")
        assert [float(v) for v in image.get("Origin").split()] == arrays["origin"].tolist()
        assert [float(v) for v in image.get("Spacing").split()] == [float(arrays["cell"])] * 3
        found = {}
        for data in image.iter("DataArray"):
            raw = base64.b64decode(data.text)
            kind = {"Float64": "<f8", "Float32": "<f4", "UInt8": "u1", "Int32": "<i4", "UInt16": "<u2", "Int16": "<i2", "Int64": "<i8"}[
                data.get("type")
            ]
            assert int.from_bytes(raw[:8], "little") == len(raw) - 8
            nx, ny, nz = shape
            found[data.get("Name")] = np.frombuffer(raw[8:], kind).reshape(nz, ny, nx).transpose(2, 1, 0)
        assert set(found) == set(arrays) - {"origin", "cell"}
        for name, field in found.items():
            np.testing.assert_array_equal(field, arrays[name])
        if stage == "sound":
            assert {"time_to_solidus", "niyama", "freezing_time", "arm_spacing", "dimensionless_niyama", "hot_tear"} <= set(found)


def test_the_criteria_are_told_of_the_part(sound):
    told = sound.criteria
    assert told.freezing_time_least < told.freezing_time_median < told.freezing_time_most
    assert 20e-6 < told.arm_spacing_finest < told.arm_spacing_median < told.arm_spacing_coarsest < 200e-6
    assert told.least_dimensionless.value > 0
    assert told.hot_tear.value > 0
    assert 101325 < told.pressure_drop < 105000
    assert not any(f.code == "sound.hot_tear" for f in sound.findings)


def test_scrap_extrusion_is_told_as_prone_to_hot_tears(laid):
    metal = blend(MetalAsk(metal="6063"), stores_with(starter_kit()))
    told = solve({**laid, "metal": metal}, knock_out=False)
    tear = next(f for f in told.findings if f.code == "sound.hot_tear")
    assert tear.weight == "MIND"
    assert tear.margin.value < 1.0
    assert told.arm_spacing is None
    assert told.criteria.least_dimensionless is None
    assert "arm_spacing" not in fields_of({"cavity": laid["cavity"], "sound": told})["sound"]
