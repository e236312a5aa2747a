"""A full disk: one line, the old results whole, nothing half-written, and the run can be taken up again."""

from __future__ import annotations

import contextlib
import errno
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench_job import refused, tree, without_seconds

import fakes
import strickle
from fakes import stl
from strickle.cli import main
from strickle.job import stages

LEFT = (".part-", ".new-", ".old-", ".lock")


def leftovers(folder: Path) -> list[str]:
    return [str(p) for p in folder.rglob("*") if p.name.startswith(LEFT)]


@pytest.fixture
def writes(monkeypatch: pytest.MonkeyPatch) -> dict[str, int]:
    """Counts files written by the job; from the count at ``full`` on, the disk is full."""
    state = {"done": 0, "full": 1 << 30}
    real = os.fsync

    def fsync(handle: int) -> None:
        state["done"] += 1
        if state["done"] > state["full"]:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    return state


def test_a_disk_that_fills_at_any_write_of_a_first_plan(quick, place, writes, capsys):
    assert main(["plan", "cube.stl", "--unit", "mm", "--quiet", "--out", "whole.job"]) == 0
    whole, most = without_seconds((place / "whole.job" / "results.json").read_bytes()), writes["done"]
    assert most > 20
    for count in (*range(4), *range(4, most, 3), most - 1):
        writes["done"], writes["full"] = 0, count
        line = refused(capsys, "plan", "cube.stl", "--unit", "mm", "--quiet")
        assert "the disk is full" in line
        assert "cube.job" in line
        job = place / "cube.job"
        assert not leftovers(place)
        assert not (job / "results.json").exists()
        assert job.exists() == (count >= 2), count  # the part's copy and the recipe: from there on it can be taken up
        writes["full"] = 1 << 30
        quick.clear()
        if job.exists():
            assert main(["resume", "cube.job", "--quiet"]) == 0
            assert len(quick) <= len(stages.ORDER)
        else:
            assert main(["plan", "cube.stl", "--unit", "mm", "--quiet"]) == 0
        assert without_seconds((job / "results.json").read_bytes()) == whole
        for path in sorted(job.rglob("*"), reverse=True):
            path.rmdir() if path.is_dir() else path.unlink()
        job.rmdir()


def test_finished_stages_outlive_a_full_disk(quick, place, writes, capsys):
    writes["full"] = 12  # two files at the start and two for each stage
    refused(capsys, "plan", "cube.stl", "--unit", "mm", "--quiet")
    writes["full"] = 1 << 30
    quick.clear()
    assert main(["resume", "cube.job", "--quiet"]) == 0
    assert quick == list(stages.ORDER)[5:]


def test_a_disk_that_fills_while_a_plan_is_made_anew_keeps_the_old_one(quick, place, writes, capsys):
    strickle.plan("cube.stl", unit="mm")
    job = place / "cube.job"
    kept = {name: data for name, data in tree(job).items() if not name.startswith(".stages")}
    writes["done"] = 0
    strickle.plan("cube.stl", unit="mm", metal="a319", out="other.job")
    most = writes["done"] - 1
    for count in range(1, most):
        writes["done"], writes["full"] = 0, count
        if main(["plan", "cube.stl", "--metal", "a319", "--quiet"]) == 0:  # the stages are all kept by now, so that fewer files are written
            assert count > 9
            break
        assert "the disk is full" in capsys.readouterr().err
        writes["full"] = 1 << 30
        now = {name: data for name, data in tree(job).items() if not name.startswith(".stages")}
        changed = {name for name in kept if kept[name] != now.get(name)}
        assert not changed, count
        assert set(now) == set(kept)
        assert not leftovers(place)
    writes["full"] = 1 << 30
    assert main(["plan", "cube.stl", "--metal", "a319", "--quiet"]) == 0


def _program(limit: int, command: str) -> str:
    here = Path(fakes.__file__).resolve().parent
    return f"""
import resource, sys
sys.path.insert(0, {os.fspath(here)!r})
import fakes
from strickle.job import stages
stages.STAGES = fakes.fakes()
import strickle.job.planning
strickle.job.planning.card_files = fakes.cards
from strickle.cli import main
resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))
sys.exit(main({command}))
"""


@pytest.mark.parametrize("limit", [0, 100, 1000, 3000])
def test_a_real_limit_on_the_size_of_files(place, limit):
    (place / "cube.stl").write_bytes(stl())
    run = [sys.executable, "-c", _program(limit, "['plan', 'cube.stl', '--unit', 'mm', '--quiet']")]
    done = subprocess.run(run, capture_output=True, text=True, timeout=60)
    assert done.returncode == 2, done.stderr
    assert done.stderr.startswith("strickle: the disk is full: ")
    assert len(done.stderr.splitlines()) == 1
    assert not leftovers(place)
    if limit < 1000:
        assert not (place / "cube.job").exists()


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 64 kB; skipped where none can be mounted."""
    disk = tmp_path / "disk"
    disk.mkdir()
    try:
        made = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)], capture_output=True, timeout=20)
    except OSError:
        pytest.skip("no mount here")
    if made.returncode:
        pytest.skip("no small disk can be mounted here")
    try:
        yield disk
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=False, timeout=20)


def test_a_small_disk_that_is_really_full(quick, small_disk, capsys):
    job = small_disk / "cube.job"
    ballast = small_disk / "ballast"
    line = refused(capsys, "plan", "cube.stl", "--unit", "mm", "--quiet", "--out", str(job))
    assert "the disk is full" in line
    assert not leftovers(small_disk)
    for path in (job / ".stages").glob("*"):
        path.unlink()
    with contextlib.suppress(OSError), open(ballast, "wb", buffering=0) as out:
        while out.write(b"x" * 4096):
            pass
    assert "the disk is full" in refused(capsys, "plan", "cube.stl", "--unit", "mm", "--quiet", "--out", str(small_disk / "b.job"))
    assert not (small_disk / "b.job").exists()
    assert (job / "job.toml").exists()
