"""The job: what is run, what is recalled, what is written."""

from __future__ import annotations

import dataclasses
import io
import json
import math
import re
import zipfile
from pathlib import Path

import numpy as np
import pytest

import strickle
from fakes import cards as fake_cards
from fakes import fakes, finding, record, results, stl
from lawful import lawful
from strickle.base import BadInput, Cancelled, Mesh, Outcome, Piece, quiet
from strickle.job import stages
from strickle.job.cache import StageCache
from strickle.job.kit import read_kit, stores_with
from strickle.job.progress import Progress
from strickle.job.recipe import CHOICES, Recipe, asked, read_recipe, write_recipe
from strickle.job.runner import Runner
from strickle.metal import MetalAsk
from strickle.part import PartAsk
from strickle.pattern import Mark, on_the_bed
from strickle.rigging import Chill, RiggingAsk

ALL = list(stages.ORDER)
ASKS = {"part": PartAsk(data=b"x", name="x.stl")}


@pytest.fixture
def part(tmp_path: Path) -> Path:
    path = tmp_path / "cube.stl"
    path.write_bytes(stl())
    return path


@pytest.fixture
def log(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    calls: list[str] = []
    monkeypatch.setattr(stages, "STAGES", fakes(calls))
    return calls


@pytest.fixture(autouse=True)
def own_kit(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("strickle.job.planning.card_files", fake_cards)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


def test_plan_writes_a_lawful_folder(part: Path, tmp_path: Path, log: list[str]) -> None:
    folder = tmp_path / "job"
    plan = strickle.plan(part, out=folder, unit="mm")
    assert log == ALL
    doc = results(folder)
    lawful(doc)
    assert doc == json.loads(plan.to_json())
    assert plan.verdict.code == doc["verdict"]["code"] == "castable"
    assert plan.exit_code == 0
    assert sorted(p.name for p in folder.iterdir()) == [".stages", "cards", "cube.stl", "fields", "job.toml", "print", "results.json"]
    assert (folder / "cube.stl").read_bytes() == part.read_bytes()
    assert doc["stages"]["rigging"]["yield"] == {"value": 1.5, "unit": "1"}
    assert doc["stages"]["pattern"]["draw"] == [1.0, 1.0, 1.0]
    assert doc["stages"]["part"]["extents"] == [{"value": 1.0, "unit": "m"}] * 3
    assert doc["stages"]["melt"]["loss"] == {"value": 2.0, "unit": "1", "low": 1.0, "high": 3.0}
    assert doc["stages"]["pattern"]["pieces"][0]["file"] == "print/cope-pattern.3mf"
    assert "time_to_solidus" not in doc["stages"]["sound"]
    assert doc["stages"]["metal"]["key"] == "word"
    assert re.fullmatch(r"[0-9a-f]{64}", doc["stages"]["part"]["key"])


def test_same_plan_again_runs_nothing_and_writes_the_same(part: Path, tmp_path: Path, log: list[str]) -> None:
    first = strickle.plan(part, out=tmp_path / "job", unit="mm")
    before = {p: p.read_bytes() for p in (tmp_path / "job").rglob("*") if p.is_file()}
    log.clear()
    second = strickle.plan(part, out=tmp_path / "job", unit="mm")
    assert log == []
    assert first.to_json() == second.to_json()
    assert {p: p.read_bytes() for p in (tmp_path / "job").rglob("*") if p.is_file()} == before


def test_a_changed_ask_makes_only_later_stages_stale(part: Path, tmp_path: Path, log: list[str]) -> None:
    strickle.plan(part, out=tmp_path / "job", unit="mm")
    log.clear()
    strickle.plan(part, out=tmp_path / "job", unit="mm", cell=0.003)
    assert log == ALL[ALL.index("cavity") :]


def test_a_changed_kit_entry_makes_only_its_readers_stale(part: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[str] = []
    monkeypatch.setattr(stages, "STAGES", fakes(calls, reads={"melt": "heel"}))
    kit = read_kit()
    strickle.plan(part, out=tmp_path / "job", unit="mm", kit=kit)
    calls.clear()
    strickle.plan(part, out=tmp_path / "job", unit="mm", kit=dataclasses.replace(kit, sand_mass=1.0))
    assert calls == []
    strickle.plan(part, out=tmp_path / "job", unit="mm", kit=dataclasses.replace(kit, heel=0.2))
    assert calls == ["melt", "pour", "sound"]


def test_results_round_trip_bit_for_bit(part: Path, tmp_path: Path, log: list[str]) -> None:
    plan = strickle.plan(part, out=tmp_path / "job", unit="mm")
    again = strickle.load(tmp_path / "job")
    assert again.to_json() == plan.to_json()
    assert list(again.stages) == ALL
    for stage, result in plan.stages.items():
        same(result, again.stages[stage])
    assert again.verdict == plan.verdict


def same(a: object, b: object) -> None:
    if dataclasses.is_dataclass(a):
        assert type(a) is type(b)
        for item in dataclasses.fields(a):
            same(getattr(a, item.name), getattr(b, item.name))
    elif isinstance(a, np.ndarray):
        assert isinstance(b, np.ndarray)
        assert a.dtype == b.dtype
        assert a.tobytes() == b.tobytes()
        assert not b.flags.writeable
    elif isinstance(a, tuple | list):
        for x, y in zip(a, b, strict=True):  # type: ignore[call-overload]
            same(x, y)
    elif isinstance(a, float) and a != a:
        assert b != b
    else:
        assert a == b


def test_runner_recalls_by_key_and_drops_what_follows() -> None:
    calls: list[str] = []
    runner = Runner(stores_with(read_kit()), ASKS, watch=quiet, table=fakes(calls))
    first = runner.run("mould")
    assert calls == ALL[: ALL.index("mould") + 1]
    runner.run("rigging")
    runner.run("metal", MetalAsk(metal="other"))
    assert list(runner.results) == ["metal"]
    assert runner.run("mould").key != first.key
    calls.clear()
    runner.run("metal", MetalAsk())
    assert runner.run("mould").key == first.key
    assert calls == []


def test_variant_shares_memory_and_leaves_the_first_alone() -> None:
    calls: list[str] = []
    runner = Runner(stores_with(read_kit()), ASKS, watch=quiet, table=fakes(calls))
    runner.run("rigging")
    calls.clear()
    other = runner.variant(asks={"rigging": RiggingAsk(pour_time=9.0)})
    changed = other.run("rigging")
    assert calls == ["rigging"]
    assert runner.results["rigging"].key != changed.key
    assert other.ask("mould") is not None


def test_a_stop_that_ends_the_plan_leaves_later_stages_not_run(part: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stop = finding("mould.no_flask", "STOP", 0.004)
    monkeypatch.setattr(stages, "STAGES", fakes(findings={"mould": (stop,), "part": (finding("part.thin", "MIND", 0.002),)}))
    plan = strickle.plan(part, out=tmp_path / "job", unit="mm", units="us")
    doc = results(tmp_path / "job")
    lawful(doc)
    assert plan.exit_code == 3
    assert doc["stages"]["sound"]["status"] == "not run"
    assert doc["stages"]["sound"]["because"] == "as it stands, the wall is 0.157 in thick"
    assert [f["weight"] for f in doc["findings"]] == ["STOP", "MIND"]
    assert doc["findings"][0]["says"] == "The wall is 0.157 in thick"
    assert doc["findings"][0]["where"] == {"point": [0.01, 0.02, None], "faces": [3, 4], "body": ""}
    assert strickle.load(tmp_path / "job").to_json() == plan.to_json()


def test_look_stops_before_the_solve(part: Path, tmp_path: Path, log: list[str]) -> None:
    strickle.look(part, out=tmp_path / "job", unit="mm")
    assert log == ALL[:-1]
    assert results(tmp_path / "job")["stages"]["sound"] == {"status": "not run", "because": "asked to stop after pour"}


def test_a_later_run_without_cards_puts_those_of_the_plan_before_aside(part: Path, tmp_path: Path, log: list[str]) -> None:
    folder = tmp_path / "job"
    strickle.plan(part, out=folder, unit="mm")
    old = {name: sorted(p.name for p in (folder / name).iterdir()) for name in ("cards", "print")}
    told = (folder / "results.json").read_bytes()
    assert old["cards"]
    looked = strickle.look(part, out=folder, unit="mm")
    assert looked.set_aside
    assert not (folder / "cards").exists()
    assert {name: sorted(p.name for p in (folder / "earlier" / name).iterdir()) for name in ("cards", "print")} == old
    assert (folder / "earlier" / "results.json").read_bytes() == told
    again = strickle.look(part, out=folder, unit="mm")
    assert not again.set_aside
    assert (folder / "earlier" / "cards").exists()
    assert not strickle.plan(part, out=folder, unit="mm").set_aside


def test_every_quantity_of_the_recipe_has_a_range_that_holds_its_default() -> None:
    for choice in (c for c in CHOICES if c.unit is not None and not c.is_vector):
        assert (choice.low, choice.high) != (-1e6, 1e6), choice.name
        default = Recipe(file="a.stl").value(choice.name)
        assert default is None or choice.low <= default <= choice.high
        for beyond in (choice.low - 1.0, choice.high + 1.0):
            with pytest.raises(BadInput, match="out of all reason"):
                asked(**{choice.name: beyond})


def test_the_sand_asked_for_reaches_the_part_and_the_mould() -> None:
    asks = Recipe(file="a.stl", asked=asked(sand="green")).asks(b"x")
    assert asks["part"].sand == asks["mould"].sand == "green"
    assert Recipe(file="a.stl").asks(b"x")["part"].sand is None


def test_angles_of_draft_with_no_draft_are_refused() -> None:
    with pytest.raises(BadInput, match="draft_pockets is asked for, and no draft is to be added"):
        Recipe(file="a.stl", asked=asked(draft="none", draft_pockets="2 deg")).asks(b"x")
    assert Recipe(file="a.stl", asked=asked(draft_pockets="2 deg")).asks(b"x")["pattern"].draft_pockets == pytest.approx(math.radians(2.0))


def test_comments_of_a_fresh_recipe_hold_no_code(tmp_path: Path) -> None:
    write_recipe(tmp_path / "job.toml", Recipe(file="a.stl"))
    text = (tmp_path / "job.toml").read_text()
    assert not re.search(r"\bNone\b|\bUSES\b|min\(", text)
    assert "(general | lifting" in text


def test_pictures_are_those_on_the_cards(part: Path, tmp_path: Path, log: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = {"card.pdf": b"1", "casting.png": b"2", "casting-cut.png": b"3", "casting.svg": b"4", "filling.png": b"5", "filling.gif": b"6"}
    monkeypatch.setattr("strickle.job.planning.card_files", lambda trail, kit, units, paper: drawn)
    plan = strickle.plan(part, out=tmp_path / "job", unit="mm")
    assert plan.document["stages"]["sound"]["pictures"] == ["cards/casting-cut.png", "cards/casting.png"]
    assert all((tmp_path / "job" / name).is_file() for name in plan.document["stages"]["sound"]["pictures"])
    assert plan.document["stages"]["pour"]["pictures"] == ["cards/filling.gif", "cards/filling.png"]


@pytest.mark.parametrize(("name", "role", "way"), [("cope-pattern", "pattern", -1.0), ("drag-pattern", "pattern", 1.0), ("riser-1", "former", 1.0)])
def test_pieces_are_printed_on_their_parting_face_or_their_widest_end(name: str, role: str, way: float) -> None:
    low, high = (10.0, 20.0) if way < 0 else (20.0, 10.0)  # the end that lies at the parting is the narrow one
    turn = np.radians(np.arange(0, 360, 30))
    ring = np.column_stack([np.cos(turn), 2 * np.sin(turn)])
    heights = (0.0, 30.0) if way < 0 else (-30.0, 0.0)
    points = np.vstack([np.column_stack([ring * r, np.full(12, z)]) for r, z in zip((low, high), heights, strict=True)]) * 1e-3
    trimesh = pytest.importorskip("trimesh")
    hull = trimesh.convex.convex_hull(points)
    mesh = Mesh(vertices=np.asarray(hull.vertices), faces=np.asarray(hull.faces))
    if role == "former":
        way, mesh = 1.0, Mesh(vertices=mesh.vertices * [1.0, 1.0, -1.0], faces=mesh.faces[:, ::-1])
    piece = record(Piece, name=name, role=role, mesh=mesh, draw=np.array([0.0, 0.0, way]))
    vertices, _ = on_the_bed(piece)
    made = trimesh.Trimesh(vertices, mesh.faces, process=False)
    assert made.volume == pytest.approx(hull.volume * 1e9)  # turned, never mirrored
    assert vertices.min(axis=0) == pytest.approx(np.zeros(3), abs=1e-9)
    flat = np.ptp(vertices[np.abs(vertices[:, 2]) < 1e-6], axis=0)
    assert flat == pytest.approx(np.array([40.0, 80.0, 0.0] if role == "former" else [20.0, 40.0, 0.0]), abs=1e-6)


def test_a_piece_without_a_flat_end_along_z_is_laid_on_its_side() -> None:
    mesh = Mesh(
        vertices=np.array([[0, -1, 0], [0, 0, 1], [0, 1, 0], [0, 0, -1], [3, -1, 0], [3, 0, 1], [3, 1, 0], [3, 0, -1]], dtype=float) * 1e-2,
        faces=np.array(
            [
                [0, 1, 2],
                [0, 2, 3],
                [4, 6, 5],
                [4, 7, 6],
                *(t for i in range(4) for t in ((i, i + 4, (i + 1) % 4 + 4), (i, (i + 1) % 4 + 4, (i + 1) % 4))),
            ]
        ),
    )
    vertices, lies = on_the_bed(record(Piece, name="bar", role="former", mesh=mesh))
    assert lies == "on its side"
    assert np.ptp(vertices, axis=0) == pytest.approx(np.array([20.0, 20.0, 30.0]))


def test_cancel_keeps_what_is_finished(part: Path, tmp_path: Path, log: list[str]) -> None:
    def watch(share: float, says: str) -> None:
        if says.startswith("rigging"):
            raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        strickle.plan(part, out=tmp_path / "job", unit="mm", watch=watch)
    assert not (tmp_path / "job" / ".lock").exists()
    assert not (tmp_path / "job" / "results.json").exists()
    log.clear()
    strickle.plan(part, out=tmp_path / "job", unit="mm")
    assert log == ALL[ALL.index("rigging") :]


def test_printed_files_stand_on_the_bed_in_millimetres(part: Path, tmp_path: Path, log: list[str]) -> None:
    trimesh = pytest.importorskip("trimesh")
    strickle.plan(part, out=tmp_path / "job", unit="mm")
    names = sorted(p.name for p in (tmp_path / "job" / "print").iterdir())
    assert names == sorted(["plate-1.3mf", *(f"{n}.{e}" for n in ("cope-pattern", "drag-pattern", "runner") for e in ("3mf", "stl"))])
    for ending in ("3mf", "stl"):
        mesh = trimesh.load(tmp_path / "job" / "print" / f"drag-pattern.{ending}", force="mesh")
        assert mesh.bounds == pytest.approx(np.array([[0, 0, 0], [50, 50, 50]]), abs=1e-4)
        assert mesh.is_watertight
        assert mesh.volume == pytest.approx(125e3)
    with zipfile.ZipFile(tmp_path / "job" / "print" / "drag-pattern.3mf") as box:
        text = box.read("3D/3dmodel.model").decode()
    assert 'unit="millimeter"' in text
    assert 'name="drag-pattern"' in text


def test_fields_carry_origin_and_cell(part: Path, tmp_path: Path, log: list[str]) -> None:
    strickle.plan(part, out=tmp_path / "job", unit="mm")
    with np.load(io.BytesIO((tmp_path / "job" / "fields" / "sound.npz").read_bytes())) as box:
        assert {"time_to_solidus", "niyama", "origin", "cell"} <= set(box.files)
        assert box["origin"].shape == (3,)


def test_recipe_keeps_comments_and_text(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    write_recipe(path, Recipe(file="a b.stl", asked=asked(metal="a356", cell=0.002, up=(0, 0, 1))))
    text = path.read_text().replace('metal = "a356"', 'metal = "a356"  # what the scrap is')
    path.write_text(text + "\n# my own note\n")
    old = read_recipe(path)
    write_recipe(path, dataclasses.replace(old, units="us", asked={**old.asked, "pour": "1350 degF", "metal": "a319"}))
    new = read_recipe(path)
    assert new.asked == {**old.asked, "pour": "1350 degF", "metal": "a319"}
    assert new.units == "us"
    assert "# what the scrap is" in path.read_text()
    assert "# my own note" in path.read_text()
    asks = new.asks(b"x")
    assert asks["melt"].pour == pytest.approx(1005.372, abs=1e-3)
    assert asks["cavity"].cell == 0.002
    assert asks["pattern"].up.tolist() == [0.0, 0.0, 1.0]


@pytest.mark.parametrize("choice", CHOICES, ids=lambda c: c.name)
def test_every_choice_reads_back_what_it_writes(choice: object) -> None:
    from strickle.job.recipe import Choice

    assert isinstance(choice, Choice)
    if choice.points:
        points = {"boss": (0.1, -0.2, 1 / 3), "sand 2": (0.0, 1e-3, 2.0)}
        assert [(peg.name, tuple(peg.at)) for peg in choice.read(choice.write(points))] == list(points.items())
        assert choice.write(choice.read(choice.write(points))) == choice.write(points)
        return
    if choice.chills:
        chills = (
            Chill(name="far end", at=np.array([0.1, -0.2, 1 / 3]), across=0.03, thick=0.1 / 7),
            Chill(name="two", at=np.zeros(3), across=0.02, thick=0.01, material="graphite"),
        )
        back = choice.read(choice.write(chills))
        assert [(c.name, tuple(c.at), c.across, c.thick, c.material) for c in back] == [
            (c.name, tuple(c.at), c.across, c.thick, c.material) for c in chills
        ]
        return
    if choice.marks:
        marks = (
            Mark(name="seat", at=np.array([0.1, -0.2, 1 / 3]), kind="machined", amount=0.02 / 7),
            Mark(name="face 2", at=np.zeros(3), kind="good"),
        )
        back = choice.read(choice.write(marks))
        assert [(m.name, tuple(m.at), m.kind, m.amount) for m in back] == [(m.name, tuple(m.at), m.kind, m.amount) for m in marks]
        return
    odd = choice.low + (choice.high - choice.low) / 7
    value = (0.1, -0.2, 1 / 3) if choice.is_vector else choice.among[0] if choice.among else odd if choice.unit else "two words"
    back = choice.read(choice.write(value))
    assert np.array_equal(back, value) if choice.is_vector else back == value


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("[cavity]\ncell = 2", "no unit"),
        ('[cavity]\ncell = "2"', "no unit"),
        ('[cavity]\ncell = "2 kg"', "is no length"),
        ('[cavity]\nsize = "2 mm"', "cavity.size is not known"),
        ('[mould]\nkind = "box"', "'box' is not known"),
        ("[cavity", "cannot be read"),
        ("schema = 99", "another version"),
        ('[pattern]\nup = "0,0,0"', "no direction"),
        ('[sound]\npegs = "boss: 1, 2, 3"', "no unit"),
        ('[sound]\npegs = "boss: 1 mm, 2 mm"', "no named point"),
        ('[sound]\npegs = "=1+1: 1 mm, 2 mm, 3 mm"', "no named point"),
        ('[sound]\npegs = "a: 1 mm, 2 mm, 3 mm; a: 1 mm, 2 mm, 3 mm"', "two points"),
        ('[sound]\npegs = "a: 1 mm, 2 mm, 30 m"', "out of all reason"),
        ('[sound]\npegs = " ; "', "0 points"),
        ('[sound]\nknock_out_temperature = "3000 degC"', "out of all reason"),
        ('[cavity]\ncell = "5 m"', "cavity.cell: '5 m' is out of all reason. It should lie between 0.2 mm and 20 mm"),
        ('[rigging]\npour_time = "0 s"', "out of all reason"),
        ('[pattern]\ndraft_outside = "3"', "'3' is an angle without its unit. Give it with that, such as \"2 deg\""),
        ('[pattern]\ndraft_pockets = "5 %"', "'5 %' is an angle without its unit"),
        ('[pattern]\ndraft_pockets = "20 deg"', "'20 deg' is out of all reason. Give it with its unit, between 0 deg and 15 deg"),
        ('[melt]\ncarry = "-1 s"', "out of all reason"),
        ('[melt]\npour = "-300 degC"', "below absolute zero"),
        ("[metal]\ncontraction = 1.3", "between 0 % and 3 %"),
    ],
)
def test_recipe_is_strict(tmp_path: Path, line: str, says: str) -> None:
    path = tmp_path / "job.toml"
    head = "" if line.startswith("schema") else "schema = 1\n"
    path.write_text(f'{head}{line}\n[part]\nfile = "a.stl"\n')
    with pytest.raises(BadInput, match=re.escape(says)) as trouble:
        read_recipe(path)
    assert "\n" not in str(trouble.value)


def test_progress_adds_the_time_left_on_long_steps() -> None:
    said: list[tuple[float, str]] = []
    now = iter([0.0, 0.0, 5.0, 10.0])
    watch = Progress(lambda share, says: said.append((share, says)), clock=lambda: next(now))
    watch(0.0, "sound: begins")
    watch(0.5, "sound: half")
    assert said[-1][1].startswith("sound: half, about ")
    watch(0.1, "trying a change")
    assert said[-1] == (said[-2][0], "trying a change")


def test_a_damaged_stage_counts_as_absent(tmp_path: Path) -> None:
    calls: list[str] = []
    stores = stores_with(read_kit())
    Runner(stores, ASKS, cache=StageCache(tmp_path), watch=quiet, table=fakes(calls)).run("pattern")
    for path in tmp_path.glob("part-*.json"):
        text = path.read_text()
        path.write_text(text.replace("1.5", "1.6"))
    for path in tmp_path.glob("metal-*.npz"):
        path.write_bytes(path.read_bytes()[:-40])
    calls.clear()
    Runner(stores, ASKS, cache=StageCache(tmp_path), watch=quiet, table=fakes(calls)).run("pattern")
    assert calls == ["metal", "part"]


def test_outcomes_of_fakes_are_what_stages_declare() -> None:
    for stage in stages.STAGES:
        assert isinstance(record(stage.gives), Outcome)
