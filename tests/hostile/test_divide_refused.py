"""Cuts and folders that cannot be: one clear line, nothing overwritten, nothing half-written."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import strickle
from strickle.base import BadInput
from strickle.cli import main
from strickle.job.demo import stl
from strickle.job.dividing import divide
from strickle.job.points import read_cuts, read_places

BOX = (
    np.array([[x, y, z] for z in (0, 20) for y in (0, 40) for x in (0, 90)], dtype=float),
    np.array([[0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4], [2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5]]),
)


@pytest.fixture(scope="module")
def job(tmp_path_factory) -> Path:
    home = tmp_path_factory.mktemp("shop")
    (home / "bar.stl").write_bytes(stl(*BOX))
    return strickle.plan(home / "bar.stl", out=home / "bar.job", unit="mm", until="metal").folder


def left(job: Path) -> set[str]:
    return {path.name for path in job.parent.iterdir()} | {path.name for path in job.iterdir() if not path.name.startswith(".")}


@pytest.mark.parametrize(
    ("asks", "says"),
    [
        ({"at": "z 50 mm"}, "misses the part"),
        ({"at": "z 20 mm"}, "misses the part"),
        ({"at": "z 19.9999 mm"}, "less than a cubic millimetre"),
        ({"at": "z 2 kg"}, "at"),
        ({"at": "z 12"}, "at"),
        ({"at": " ; "}, "0 cuts are given"),
        ({"at": ""}, "names no cut"),
        ({"at": "1 mm, 2 mm: 0,0,1"}, "is no cut"),
        ({"at": "0 mm, 0 mm, 0 mm: 0,0,0"}, "out of all reason"),
        ({"at": "z 40 m"}, "out of all reason"),
        ({"at": "; ".join(f"x {i} mm" for i in range(10, 60, 10))}, "5 cuts are given"),
        ({"at": "z nan mm"}, "at"),
        ({"at": "x 45 mm", "clear": "1 mm, 2 mm"}, "names no places"),
        ({"at": "x 45 mm", "stock": "200 mm"}, "out of all reason"),
        ({"at": "x 45 mm", "stock": "-1 mm"}, "out of all reason"),
        ({"at": "x 45 mm", "join": "glue"}, "not known"),
        ({"cuts": 9}, "9 cuts"),
    ],
)
def test_what_cannot_be_cut_is_refused_and_nothing_is_written(job: Path, asks, says: str) -> None:
    before = left(job)
    with pytest.raises(BadInput, match=says):
        divide(job, **asks)
    assert left(job) == before


def test_a_folder_that_is_there_is_never_overwritten(job: Path) -> None:
    before = left(job)
    for kind in ("file", "folder", "other job"):
        place = job.parent / "bar-casting-2.job"
        if kind == "file":
            place.write_text("mine")
        else:
            place.mkdir()
            (place / "notes.txt").write_text("mine")
            if kind == "other job":
                (place / "job.toml").write_text('[part]\nfile = "notes.txt"\n')
        held = {path: path.read_bytes() for path in job.parent.rglob("*") if path.is_file() and ".stages" not in path.parts}
        with pytest.raises(BadInput, match="there already"):
            divide(job, at="x 45 mm", until="metal")
        assert {path: path.read_bytes() for path in held} == held
        if kind == "file":
            place.unlink()
        else:
            for path in place.iterdir():
                path.unlink()
            place.rmdir()
    assert left(job) == before


def test_castings_do_not_go_into_a_jobs_own_folder_nor_through_a_link(job: Path, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="own folder"):
        divide(job, at="x 45 mm", to=job / "print", until="metal")
    (tmp_path / "real").mkdir()
    (tmp_path / "bar-casting-1.job").symlink_to(tmp_path / "real")
    with pytest.raises(BadInput):
        divide(job, at="x 45 mm", to=tmp_path, until="metal")
    assert not list((tmp_path / "real").iterdir())


def test_a_part_of_the_stop_list_is_not_cut(job: Path, capsys) -> None:
    home = job.parent
    strickle.plan(home / "bar.stl", out=home / "hook.job", unit="mm", use="lifting", until="metal")
    before = {path.name for path in home.iterdir()}
    assert main(["divide", str(home / "hook.job"), "--at", "x 45 mm", "--quiet"]) == 3
    told = capsys.readouterr().out
    assert told.startswith("CAST AS ONE")
    assert "must not be put together" in told
    assert {path.name for path in home.iterdir()} == before
    doc = json.loads((home / "hook.job" / "castings.json").read_text())
    assert doc["castings"] == []
    assert [one["code"] for one in doc["findings"]] == ["metal.weld_use"]


def test_damaged_lists_are_as_none(job: Path) -> None:
    from strickle.job.castings import read_castings

    path = job / "castings.json"
    for text in ("", "{", "[]", '{"schema": 1}', "[" * 100_000):
        path.write_text(text)
        assert read_castings(job) is None
    path.unlink()
    assert main(["resume", str(job), "--until", "metal", "--quiet"]) == 0


def test_a_folder_that_is_no_job_is_told(tmp_path: Path, capsys) -> None:
    assert main(["divide", str(tmp_path / "none.job"), "--quiet"]) == 2
    assert "holds no job" in capsys.readouterr().err


def test_text_of_cuts_and_places() -> None:
    one, other = read_cuts("z 1 in; 1 mm, 2 mm, 3 mm: 0,3,4", "at")
    assert one.at.tolist() == pytest.approx([0, 0, 0.0254])
    assert one.normal.tolist() == [0, 0, 1]
    assert other.normal.tolist() == pytest.approx([0, 0.6, 0.8])
    assert read_places("1 mm, 2 mm, 3 mm; 1 in, 0 mm, 0 mm", "clear").shape == (2, 3)
