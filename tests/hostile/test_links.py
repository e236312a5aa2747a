"""Links out of a job's folder: nothing outside is written, read or removed through them."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from bench_job import refused, tree

import strickle
from fakes import stl
from strickle.cli import main

KEPT = ["job.toml", "results.json", "kit.toml", ".stages", "cards", "print", "fields"]


@pytest.fixture
def outside(tmp_path: Path) -> Path:
    """A folder of someone else's."""
    folder = tmp_path / "outside"
    folder.mkdir()
    for name in ("letter.txt", "metal-0.json", "metal-0.npz", "card.pdf", "job.toml", "results.json", "kit.toml"):
        (folder / name).write_bytes(b"dear " + name.encode())
    return folder


@pytest.mark.parametrize("name", KEPT)
@pytest.mark.parametrize("command", ["plan", "resume"])
def test_a_link_in_the_folder_is_not_followed_for_writing(quick, place, outside, capsys, name, command):
    strickle.plan("cube.stl", unit="mm")
    job = place / "cube.job"
    there = job / name
    target = outside / name if there.is_file() or name == "kit.toml" else outside
    if there.is_dir():
        there.rename(place / "aside")
    else:
        there.unlink(missing_ok=True)
    there.symlink_to(target)
    before = tree(outside)
    line = refused(capsys, command, "cube.stl" if command == "plan" else "cube.job", "--quiet")
    assert name in line
    assert "link" in line
    assert tree(outside) == before
    assert there.is_symlink()


@pytest.mark.parametrize("name", [".new-print", ".old-print", ".new-cards", ".old-fields"])
def test_a_link_where_a_killed_run_left_something_is_taken_away_and_not_what_it_points_to(quick, place, outside, name):
    strickle.plan("cube.stl", unit="mm")
    (place / "cube.job" / name).symlink_to(outside)
    before = tree(outside)
    strickle.plan("cube.stl", unit="mm")
    assert tree(outside) == before
    assert not (place / "cube.job" / name).is_symlink()


def test_the_job_folder_itself_may_not_be_a_link(quick, place, outside, capsys):
    (place / "cube.job").symlink_to(outside)
    before = tree(outside)
    assert "cube.job is a link to another place" in refused(capsys, "plan", "cube.stl", "--quiet")
    (place / "cube.job").unlink()
    (place / "cube.job").symlink_to(place / "nowhere")
    assert "cube.job" in refused(capsys, "plan", "cube.stl", "--quiet")
    assert not (place / "nowhere").exists()
    assert tree(outside) == before


def test_links_among_the_files_of_a_folder_are_replaced_and_not_followed(quick, place, outside):
    strickle.plan("cube.stl", unit="mm")
    job = place / "cube.job"
    before = tree(outside)
    for path in [*(job / "print").iterdir(), *(job / "cards").iterdir(), *(job / ".stages").iterdir()]:
        path.unlink()
        path.symlink_to(outside / "letter.txt")
    plan = strickle.plan("cube.stl", unit="mm")
    assert tree(outside) == before
    assert not [p for p in job.rglob("*") if p.is_symlink()]
    assert plan.exit_code == 0


def test_a_part_or_a_kit_that_is_a_link_out_of_a_mailed_folder_is_not_read(quick, place, tmp_path, capsys):
    strickle.plan("cube.stl", unit="mm")
    secret = tmp_path / "secret.stl"
    secret.write_bytes(stl(70.0))
    copy = place / "cube.job" / "cube.stl"
    copy.unlink()
    copy.symlink_to(secret)
    assert "link" in refused(capsys, "resume", "cube.job", "--quiet")
    copy.unlink()
    copy.write_bytes(stl())
    text = (place / "cube.job" / "job.toml").read_text()
    (place / "cube.job" / "job.toml").write_text('kit = "mine.toml"\n' + text)
    (place / "cube.job" / "mine.toml").symlink_to(secret)
    assert "link" in refused(capsys, "resume", "cube.job", "--quiet")


@pytest.mark.parametrize("name", ["../../etc/passwd", "/etc/passwd", "..", ".", "", "a/b.stl", "a\\\\b.stl", "a\\nb.stl", "a\\u202eb.stl"])
def test_a_recipe_names_files_of_its_own_folder_only(quick, place, capsys, name):
    strickle.plan("cube.stl", unit="mm")
    recipe = place / "cube.job" / "job.toml"
    text = recipe.read_text()
    recipe.write_text(text.replace('file = "cube.stl"', f'file = "{name}"'))
    assert "part.file" in refused(capsys, "resume", "cube.job", "--quiet")
    recipe.write_text(f'kit = "{name}"\n{text}')
    assert "kit" in refused(capsys, "resume", "cube.job", "--quiet")


def test_export_reads_nothing_through_links(quick, place, outside, capsys):
    strickle.plan("cube.stl", unit="mm")
    job = place / "cube.job"
    (job / "print" / "letter.stl").symlink_to(outside / "letter.txt")
    assert "link" in refused(capsys, "export", "cube.job", "--what", "stl", "--to", "out")
    (job / "print").rename(place / "aside")
    (job / "print").symlink_to(place / "aside")
    assert "print" in refused(capsys, "export", "cube.job", "--what", "stl", "--to", "out")
    assert not (place / "out").exists()
    (job / "results.json").unlink()
    (job / "results.json").symlink_to(outside / "letter.txt")
    assert "link" in refused(capsys, "export", "cube.job", "--what", "json", "--to", "out")


def test_export_does_not_write_through_links(quick, place, outside, capsys):
    strickle.plan("cube.stl", unit="mm")
    (place / "out").mkdir()
    (place / "out" / "results.csv").symlink_to(outside / "letter.txt")
    before = tree(outside)
    assert main(["export", "cube.job", "--what", "csv", "--to", "out"]) == 0
    assert tree(outside) == before


def test_a_forged_list_of_the_latest_reaches_no_file_outside(quick, place, outside):
    strickle.plan("cube.stl", unit="mm")
    latest = place / "cube.job" / ".stages" / "latest.json"
    doc = json.loads(latest.read_text())
    doc["stages"] = {"../../../outside/metal": "0", **doc["stages"]}
    doc["cards"] = {"../../../outside/letter.txt": "0"}
    latest.write_text(json.dumps(doc))
    before = tree(outside)
    plan = strickle.load("cube.job")
    assert all(name in plan.stages for name in ("metal", "part"))
    assert "../../../outside/metal" not in plan.stages
    strickle.plan("cube.stl", unit="mm")
    assert tree(outside) == before


def test_a_record_that_names_a_program_of_ours_starts_none(quick, place):
    import hashlib

    strickle.plan("cube.stl", unit="mm")
    for path in (place / "cube.job" / ".stages").glob("metal-*.json"):
        manifest = json.loads(path.read_text())
        manifest["record"] = json.dumps({"@": "strickle.__main__:main"})
        manifest["check"] = hashlib.sha256(manifest["record"].encode()).hexdigest()
        path.write_text(json.dumps(manifest))
    quick.clear()
    strickle.plan("cube.stl", unit="mm")
    assert quick == ["metal"]


def test_what_a_person_kept_in_the_folder_outlives_a_refused_plan(quick, place, monkeypatch, capsys):
    """Hidden files make no folder a job's, and a refused plan takes away only what it has put there."""
    mine = place / "mine"
    mine.mkdir()
    (mine / ".git").mkdir()
    (mine / ".git" / "config").write_text("years of work")
    (mine / ".part-of-me").write_text("mine")
    (mine / "cube.stl").write_bytes(stl())
    before = tree(mine)

    def refuse(*_: object, **__: object) -> None:
        raise strickle.BadInput("no such alloy", "Give another")

    monkeypatch.setattr("strickle.job.planning._run", refuse)
    assert "no such alloy" in refused(capsys, "plan", "mine/cube.stl", "--out", "mine", "--quiet")
    assert tree(mine) == before
    assert os.listdir(place / "mine") != []
