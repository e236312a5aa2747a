"""Bad input and bad luck: one clear line, the right exit code, nothing half-written; a killed run goes on where it was."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
from bench_job import as_nobody

import strickle
from fakes import cards as fake_cards
from fakes import fakes, results, script, stl
from strickle.base import Busy
from strickle.cli import main
from strickle.job import stages
from strickle.job.lock import locked


@pytest.fixture(autouse=True)
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("strickle.job.planning.card_files", fake_cards)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.chdir(tmp_path)


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


def refused(capsys: pytest.CaptureFixture[str], *arguments: str, code: int = 2) -> str:
    assert main(list(arguments)) == code
    told = capsys.readouterr()
    assert told.out == ""
    lines = [line for line in told.err.splitlines() if line.startswith("strickle: ")]
    assert len(lines) == 1, told.err
    assert "Traceback" not in told.err
    return lines[0]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["plan", "none.stl"], "none.stl is not there"),
        (["plan", "."], "is a folder"),
        (["plan", "cube.stl", "--cell", "2"], "has no unit"),
        (["plan", "cube.stl", "--pour", "hot"], "is not a number"),
        (["plan", "cube.stl", "--pour", "5000 degC"], "melt.pour: '5000 degC' is out of all reason"),
        (["plan", "cube.stl", "--carry", "-5 s"], "melt.carry: '-5 s' is out of all reason"),
        (["plan", "cube.stl", "--cell", "5 m"], "cavity.cell: '5 m' is out of all reason"),
        (["plan", "cube.stl", "--pour-time", "0 s"], "rigging.pour_time: '0 s' is out of all reason"),
        (["reckon", "fall_speed", "--height", "-1 m"], "fall_speed has no answer: height out of what the formula can take"),
        (["plan", "cube.stl", "--up", "up"], "is not a direction"),
        (["plan", "cube.stl", "--nonsense"], "--nonsense"),
        (["plan", "cube.stl", "--preset", "best"], "best"),
        (["plan", "cube.stl", "--kit", "none.toml"], "cannot be read"),
        (["resume", "none.job"], "holds no job"),
        (["export", "none.job", "--what", "stl", "--to", "out"], "no finished job"),
        (["nonsense"], "nonsense"),
    ],
)
def test_wrong_options(part: Path, log: list[str], capsys: pytest.CaptureFixture[str], arguments: list[str], says: str) -> None:
    before = sorted(part.parent.iterdir())
    assert says in refused(capsys, *arguments)
    assert sorted(part.parent.iterdir()) == before
    assert log == []


def test_empty_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "empty.stl").write_bytes(b"")
    assert "is empty" in refused(capsys, "plan", "empty.stl", "--quiet")
    assert not (tmp_path / "empty.job").exists()


BROKEN = {
    "cut.stl": stl()[:300],
    "words.stl": b"this is a shopping list\n" * 40,
    "solid.stl": b"solid nothing\nendsolid nothing\n",
    "noise.stl": bytes(range(256)) * 20,
    "noise.3mf": bytes(range(256)) * 20,
    "part.xyz": stl(),
}


@pytest.mark.parametrize("name", sorted(BROKEN))
def test_broken_files_leave_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    (tmp_path / name).write_bytes(BROKEN[name])
    line = refused(capsys, "plan", name, "--unit", "mm", "--quiet")
    assert name in line
    assert sorted(p.name for p in tmp_path.iterdir()) == [name]


def test_no_unit_and_no_terminal_is_a_missing_choice(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "odd.stl").write_bytes(stl(10.0))
    assert "--unit" in refused(capsys, "plan", "odd.stl", "--quiet")
    assert not (tmp_path / "odd.job").exists()


def test_another_part_is_refused(part: Path, log: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "cube.stl", "--quiet"]) == 0
    capsys.readouterr()
    before = {p: p.read_bytes() for p in Path("cube.job").rglob("*") if p.is_file()}
    part.write_bytes(stl(61.0))
    assert "job of another part" in refused(capsys, "plan", "cube.stl", "--quiet")
    assert {p: p.read_bytes() for p in Path("cube.job").rglob("*") if p.is_file()} == before


def test_a_folder_of_something_else_is_refused(part: Path, log: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    Path("mine").mkdir()
    Path("mine/letter.txt").write_text("dear")
    assert "holds no job" in refused(capsys, "plan", "cube.stl", "--out", "mine", "--quiet")
    assert "is a file" in refused(capsys, "plan", "cube.stl", "--out", "mine/letter.txt", "--quiet")
    assert [p.name for p in Path("mine").iterdir()] == ["letter.txt"]


def test_read_only_folder(part: Path, log: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        place.chmod(0o755)
        (place / "shut").mkdir(mode=0o555)
        (place / "cube.stl").write_bytes(stl())
        with as_nobody():
            line = refused(capsys, "plan", str(place / "cube.stl"), "--out", str(place / "shut" / "a.job"), "--quiet")
            assert "cannot be written" in line
            line = refused(capsys, "plan", str(place / "cube.stl"), "--out", str(place / "shut"), "--quiet")
            assert "cannot be written" in line
        assert list((place / "shut").iterdir()) == []
        (place / "shut").chmod(0o755)


def test_a_held_folder_is_refused_and_a_dead_holder_is_not(part: Path, log: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    folder = Path("cube.job")
    with locked(folder):
        line = refused(capsys, "plan", "cube.stl", "--quiet")
        assert f"process {os.getpid()}" in line
        with pytest.raises(Busy), locked(folder):
            pass
    for dead in (b"", b'{"pid": 4194303, "started": 1.0}', json.dumps({"pid": os.getpid(), "started": 1.0}).encode()):
        folder.mkdir(exist_ok=True)
        (folder / ".lock").write_bytes(dead)
        assert main(["plan", "cube.stl", "--quiet"]) == 0
        assert not (folder / ".lock").exists()


def test_a_changed_recipe_that_cannot_be_used_is_put_back(part: Path, log: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    strickle.plan(part, out="job", unit="mm")
    before = Path("job/job.toml").read_bytes()

    def refuse(stage: str, watch: object) -> None:
        raise strickle.BadInput("no such alloy", "Give another")

    monkeypatch.setattr(stages, "STAGES", fakes(before=refuse))
    with pytest.raises(strickle.BadInput):
        strickle.plan(part, out="job", unit="mm", metal="unobtainium")
    assert Path("job/job.toml").read_bytes() == before
    assert Path("job/results.json").exists()


def test_corrupted_cache_is_run_again(part: Path, log: list[str]) -> None:
    first = strickle.plan(part, out="job", unit="mm").to_json()
    for number, path in enumerate(sorted(Path("job/.stages").iterdir())):
        data = path.read_bytes()
        path.write_bytes([b"", data[: len(data) // 2], b"{}", bytes(len(data)), b"[1, 2]"][number % 5])
    log.clear()
    again = strickle.plan(part, out="job", unit="mm")
    assert log == list(stages.ORDER)
    assert _without_seconds(again.to_json()) == _without_seconds(first)


def _without_seconds(text: str) -> object:
    doc = json.loads(text)
    for stage in doc["stages"].values():
        stage.pop("seconds", None)
    return doc


def test_a_stored_result_never_builds_a_foreign_object(part: Path, log: list[str]) -> None:
    strickle.plan(part, out="job", unit="mm")
    for path in Path("job/.stages").glob("metal-*.json"):
        manifest = json.loads(path.read_text())
        import hashlib

        manifest["record"] = json.dumps({"@": "subprocess:Popen", "args": "true"})
        manifest["check"] = hashlib.sha256(manifest["record"].encode()).hexdigest()
        path.write_text(json.dumps(manifest))
    log.clear()
    strickle.plan(part, out="job", unit="mm")
    assert log == ["metal"]


@pytest.mark.parametrize("stall", ["part", "cavity", "sound"])
def test_kill_and_resume(part: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stall: str) -> None:
    note = tmp_path / "note.txt"
    folder = tmp_path / "killed.job"
    run = subprocess.Popen([sys.executable, "-c", script(folder, part, stall, note)], stderr=subprocess.DEVNULL)
    try:
        for _ in range(400):
            if note.exists() and stall in note.read_text().split():
                break
            time.sleep(0.05)
        else:
            pytest.fail("the run never came to the stage it should stall in")
    finally:
        os.kill(run.pid, signal.SIGKILL)
        run.wait()
    assert not (folder / "results.json").exists()
    assert (folder / ".lock").exists()
    assert not [p for p in folder.rglob("*.npz") if not p.with_suffix(".json").exists()]
    calls: list[str] = []
    monkeypatch.setattr(stages, "STAGES", fakes(calls))
    plan = strickle.plan(part, out=folder, unit="mm")
    assert calls == list(stages.ORDER)[stages.ORDER.index(stall) :]
    assert plan.exit_code == 0
    assert results(folder)["verdict"]["code"] == "castable"


def test_ctrl_c_leaves_a_resumable_job(part: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    note = tmp_path / "note.txt"
    program = script(tmp_path / "c.job", part, "none", note).replace(
        "    if stage == 'none':\n        time.sleep(600)",
        "    for _ in range(600 if stage == 'rigging' else 1):\n        time.sleep(0.02)\n        watch(0.1, 'works')",
    )
    program = program.split("import strickle\n")[0] + (
        f"from strickle.cli import main\nsys.exit(main(['plan', {os.fspath(part)!r}, '--out', 'c.job', '--unit', 'mm', '--quiet']))"
    )
    run = subprocess.Popen([sys.executable, "-c", program], stderr=subprocess.PIPE, text=True)
    for _ in range(400):
        if note.exists() and "rigging" in note.read_text().split():
            break
        time.sleep(0.05)
    run.send_signal(signal.SIGINT)
    _, told = run.communicate(timeout=20)
    assert run.returncode == 130
    assert "strickle resume c.job" in told
    assert "Traceback" not in told
    calls: list[str] = []
    monkeypatch.setattr(stages, "STAGES", fakes(calls))
    assert main(["resume", "c.job", "--quiet"]) == 0
    assert calls[0] == "rigging"


def test_an_export_never_takes_the_place_of_a_job_s_own_files(part: Path, log: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    strickle.plan(part, out="a.job", unit="mm")
    strickle.plan(part, out="b.job", unit="mm")
    before = {p: p.read_bytes() for p in Path(".").rglob("*") if p.is_file()}
    for to in ("a.job", "a.job/print", "b.job", "b.job/.stages/deep"):
        assert "own folder" in refused(capsys, "export", "a.job", "--what", "json", "--to", to)
    assert {p: p.read_bytes() for p in Path(".").rglob("*") if p.is_file()} == before


def test_no_temperature_lies_below_absolute_zero(capsys: pytest.CaptureFixture[str]) -> None:
    assert "below absolute zero" in refused(capsys, "reckon", "hydrogen_solubility", "--temperature", "-300 degC")
