"""A job's folder that was damaged, comes from another version, or is held by another run."""

from __future__ import annotations

import contextlib
import json
import multiprocessing
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from bench_job import as_nobody, refused, tree, without_seconds

import strickle
from fakes import script, stl
from strickle.base import BadInput, Busy
from strickle.cli import main
from strickle.job.lock import locked

GARBAGE = {
    "empty": lambda data: b"",
    "half": lambda data: data[: len(data) // 2],
    "zeros": lambda data: bytes(len(data)),
    "list": lambda data: b"[1, 2]",
    "deep": lambda data: b"[" * 100_000,
    "deep object": lambda data: b'{"a":' * 50_000 + b"1" + b"}" * 50_000,
    "huge number": lambda data: b'{"schema": 1' + b"0" * 5000 + b"}",
    "nan": lambda data: b'{"schema": NaN, "findings": [NaN], "verdict": Infinity}',
    "not utf-8": lambda data: b"\xff\xfe" + data,
    "null": lambda data: b"null",
    "swapped": lambda data: data.replace(b"1", b"-1e999").replace(b'"', b"'", 40),
}
FILES = [
    "results.json",
    "job.toml",
    "kit.toml",
    "cube.stl",
    ".stages/latest.json",
    ".stages/metal.json",
    ".stages/part.npz",
    "cards/card.pdf",
    "print/runner.3mf",
]


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job planned with stand-ins and a kit of its own."""
    import strickle.job.planning
    from fakes import cards, fakes
    from strickle.job import stages
    from strickle.stores.kit import starter_kit

    folder = tmp_path_factory.mktemp("planned") / "cube.job"
    (folder.parent / "cube.stl").write_bytes(stl())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stages, "STAGES", fakes())
        patch.setattr("strickle.job.planning.card_files", cards)
        strickle.plan(folder.parent / "cube.stl", out=folder, unit="mm", kit=starter_kit())
    return folder


@pytest.fixture
def job(quick, place, planned) -> Path:
    """A copy of it to damage."""
    shutil.copytree(planned, place / "cube.job")
    return place / "cube.job"


def _file(job: Path, name: str) -> Path:
    folder, _, rest = name.rpartition("/")
    stem, _, ending = rest.partition(".")
    return next(iter(sorted((job / folder).glob(f"{stem}-*.{ending}"))), job / name) if folder == ".stages" else job / name


def _tried(job: Path, whole: object, capsys) -> None:
    """Every door either says one line or gives the whole answer; after that the folder is whole or as it was."""
    for arguments in (
        ["export", "cube.job", "--what", "csv", "--to", "out"], ["export", "cube.job", "--what", "vti", "--to", "out"],
        ["export", "cube.job", "--what", "3mf", "--to", "out"], ["resume", "cube.job", "--quiet"],
        ["look", "cube.stl", "--unit", "mm", "--quiet"], ["plan", "cube.stl", "--unit", "mm", "--quiet"],
    ):  # fmt: skip
        before = tree(job)
        code = main(arguments)
        told = capsys.readouterr().err
        assert code in (0, 2), (arguments, told)
        assert "mistake" not in told
        if code == 2:
            assert len(told.splitlines()) == 1, told
            if arguments[0] != "export":
                assert {k: v for k, v in before.items() if not k.startswith(".stages")} == {
                    k: v for k, v in tree(job).items() if not k.startswith(".stages")
                }
        elif arguments[0] != "export":
            doc = json.loads((job / "results.json").read_text())
            assert doc["until"] == "pour" if arguments[0] == "look" else whole in (None, without_seconds(json.dumps(doc)))
    with contextlib.suppress(BadInput):
        plan = strickle.load(job)
        assert plan.exit_code == 0
        assert all(plan.stages[stage].key for stage in plan.stages)


@pytest.mark.parametrize("name", FILES)
def test_a_damaged_file_is_mended_or_told_in_one_line(job, planned, capsys, name):
    (job.parent / "cube.stl").write_bytes(stl())
    whole = None if name == "cube.stl" else without_seconds((job / "results.json").read_bytes())  # stand-in stages take any part
    path = _file(job, name)
    good = path.read_bytes()
    for damage in GARBAGE.values():
        path.write_bytes(damage(good))
        _tried(job, whole, capsys)
        shutil.rmtree(job)
        shutil.copytree(planned, job)


@pytest.mark.parametrize("name", [*FILES, ".stages", "cards", "print", "fields", ".lock"])
def test_a_file_that_became_a_folder_or_a_folder_that_became_a_file(job, capsys, name):
    whole = without_seconds((job / "results.json").read_bytes())
    path = _file(job, name)
    if path.is_dir():
        shutil.rmtree(path)
        path.write_bytes(b"something else")
    else:
        path.unlink(missing_ok=True)
        path.mkdir()
        (path / "inside").write_bytes(b"something else")
    _tried(job, whole, capsys)


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_is_gone(job, capsys, name):
    whole = without_seconds((job / "results.json").read_bytes())
    _file(job, name).unlink()
    _tried(job, whole, capsys)


@pytest.mark.skipif(os.name != "posix", reason="rights of files as on POSIX")
@pytest.mark.parametrize("name", [*FILES, ".stages", "cards", "print", "."])
def test_a_file_that_may_not_be_read(quick, planned, capsys, name):
    with tempfile.TemporaryDirectory() as folder:
        here = Path(folder)
        here.chmod(0o755)
        job = here / "cube.job"
        shutil.copytree(planned, job)
        (here / "cube.stl").write_bytes(stl())
        for path in (job, *job.rglob("*")):
            path.chmod(0o777)
        _file(job, name).chmod(0)
        with as_nobody():
            for arguments in (
                ["export", str(job), "--what", "csv", "--to", str(job / "o")],
                ["look", str(here / "cube.stl"), "--out", str(job), "--quiet"],
            ):
                code = main(arguments)
                told = capsys.readouterr().err
                assert "mistake" not in told
                assert code == 0 or (code == 2 and len(told.splitlines()) == 1), told
        if _file(job, name).exists():
            _file(job, name).chmod(0o755)


@pytest.mark.parametrize(("form", "age"), [(0, "an earlier"), (2, "a later"), (10**30, "a later")])
def test_results_of_another_schema(job, capsys, form, age):
    doc = json.loads((job / "results.json").read_text())
    doc["schema"] = form
    (job / "results.json").write_text(json.dumps(doc))
    line = refused(capsys, "export", "cube.job", "--what", "csv", "--to", "out")
    assert age in line
    assert "resume" in line or "anew" in line
    with pytest.raises(BadInput, match="schema"):
        strickle.load(job)
    assert main(["resume", "cube.job", "--quiet"]) == 0
    assert strickle.load(job).document["schema"] == 1


@pytest.mark.parametrize(
    "text",
    ["schema = 2", "schema = []", 'schema = "1"', "schema = nan", "schema = 1" + "0" * 5000, "new_thing = 1", "[rigging]\nfilter = 'x'", "part = 3",
     "[part]\nfile = 3", "[part]\nunit = nan", "[cavity]\ncell = inf", "[cavity]\ncell = 1979-05-27", "[cavity]\ncell = [[1]]",
     "[melt]\npour = '1e999 degC'", "x = " + "[" * 5000, "[a" + ".a" * 5000 + "]", "[[part]]", "a.b.c = 1", "units = ['us']", "paper = {}", "\x00"],
)  # fmt: skip
def test_a_recipe_of_another_version_or_with_odd_values(job, capsys, text):
    recipe = job / "job.toml"
    old = recipe.read_text().replace("schema = 1\n", "", 1) if text.startswith("schema") else recipe.read_text()
    if text.startswith("[") and text.split("\n")[0] in old:
        head, value = text.split("\n")
        new = old.replace(head, text, 1).replace('file = "cube.stl"', "" if "file" in value else 'file = "cube.stl"', 1)
    else:
        new = f"{text}\n{old}" if not text.startswith("[") else f"{old}\n{text}\n"
    recipe.write_text(new)
    before = tree(job)
    line = refused(capsys, "resume", "cube.job", "--quiet")
    assert len(line) < 2100
    assert tree(job) == before


@pytest.mark.parametrize(
    "text",
    ["unknown = 1", "heel = nan", "heel = inf", "heel = -1", 'bed = "1 m"', 'bed = ["1 m"]', 'sand_mass = "1e308 kg"', "sand_mass = 3", "units = 3",
     'ventilated = "yes"', "crucible = 3", "crucible = [3]", "[[crucible]]\nwater = 1",
     '[[crucible]]\nwater = "1 l"\nholds2 = 1',
     "heel = " + "9" * 5000,
     "x = " + "{a=" * 3000, '"\\u001b[2J" = 1', '"a\\nb" = 1', "name = '''a\nb'''", "flask = []", "[[flask]]\n[[flask.x]]", "ambient = '9e99 degC'",
     "k" * 100_000 + " = 1", "contraction = '5 m'", "# " + "x" * 300_000],
)  # fmt: skip
def test_a_kit_with_odd_values(quick, place, capsys, text):
    (place / "odd.toml").write_text(text)
    line = refused(capsys, "plan", "cube.stl", "--unit", "mm", "--kit", "odd.toml", "--quiet")
    assert len(line) < 2100
    refused(capsys, "kit", "--file", "odd.toml", "--json")
    assert not (place / "cube.job").exists()


def test_a_kit_that_is_refused_does_not_take_the_place_of_the_jobs_own(job, capsys, monkeypatch):
    from strickle.stores.kit import starter_kit, write_kit

    (job.parent / "new.toml").write_text(write_kit(starter_kit()).replace("60 kg", "50 kg"))
    before = tree(job)

    def refuse(*_: object, **__: object) -> None:
        raise BadInput("no such alloy", "Give another")

    monkeypatch.setattr("strickle.job.planning._run", refuse)
    refused(capsys, "plan", "cube.stl", "--kit", "new.toml", "--quiet")
    assert tree(job) == before
    refused(capsys, "resume", "cube.job", "--units", "us", "--quiet")
    assert tree(job) == before


# two runs


@pytest.mark.parametrize(
    "held",
    ["x", "[]", "3", "{}", '{"pid": 1e400, "started": 1}', '{"pid": NaN, "started": 1}', '{"pid": 1' + "0" * 30 + ', "started": 1}',
     '{"pid": -5, "started": 1}', '{"pid": 0, "started": 1}', '{"pid": 1, "started": NaN}', '{"pid": "1", "started": null}', "[" * 100_000],
)  # fmt: skip
def test_a_lock_that_says_nothing_is_taken_over(quick, place, held):
    folder = place / "cube.job"
    folder.mkdir()
    (folder / ".lock").write_text(held)
    assert main(["plan", "cube.stl", "--unit", "mm", "--quiet"]) == 0
    assert not (folder / ".lock").exists()


def test_a_lock_that_is_a_link_to_nothing_is_taken_over(quick, place):
    (place / "cube.job").mkdir()
    (place / "cube.job" / ".lock").symlink_to("nothing")
    assert main(["plan", "cube.stl", "--unit", "mm", "--quiet"]) == 0


def _hold(folder: str, gate: object, count: object, most: object) -> None:
    gate.wait()
    for _ in range(40):
        try:
            with locked(Path(folder)):
                with count.get_lock():
                    count.value += 1
                    most.value = max(most.value, count.value)
                with count.get_lock():
                    count.value -= 1
            (Path(folder) / ".lock").write_text('{"pid": 4194303, "started": 1.0}')  # as if killed, for the next to take over
        except Busy:
            pass


def test_a_dead_lock_is_taken_over_by_one_only(tmp_path):
    context = multiprocessing.get_context("fork")
    gate, count, most = context.Barrier(4), context.Value("i", 0), context.Value("i", 0)
    runs = [context.Process(target=_hold, args=(str(tmp_path), gate, count, most)) for _ in range(4)]
    for run in runs:
        run.start()
    for run in runs:
        run.join(60)
    assert [run.exitcode for run in runs] == [0] * 4
    assert most.value == 1


def test_two_runs_at_one_time_make_one_plan(place):
    (place / "cube.stl").write_bytes(stl())
    program = script(place / "cube.job", place / "cube.stl", "none", place / "note.txt").replace("time.sleep(600)", "pass")
    program = program.replace("    if stage == ", "    time.sleep(0.15)\n    if stage == ")
    program = program.split("import strickle\n")[0] + (
        "from strickle.cli import main\nsys.exit(main(['plan', 'cube.stl', '--out', 'cube.job', '--unit', 'mm', '--quiet']))"
    )
    runs = [subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(2)]
    told = [run.communicate(timeout=60)[1] for run in runs]
    assert sorted(run.returncode for run in runs) == [0, 2]
    line = next(err for run, err in zip(runs, told) if run.returncode == 2)
    assert len(line.splitlines()) == 1
    assert "is being written by another run (process " in line
    assert len((place / "note.txt").read_text().split()) == 9
    assert strickle.load(place / "cube.job").exit_code == 0
