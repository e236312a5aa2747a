"""Runs killed at any moment, again and again: ``resume`` gives what an unkilled run gives, byte for byte but for the seconds."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from bench_job import tree, without_seconds
from mutate import solids, written

from fakes import script, stl

ENDS = (".part-", ".new-", ".old-", ".lock")
BRIEF = ("--filling", "none", "--corners", "none", "--sand-ways", "none")  # every stage is run and kept all the same, each in less time


def killed(command: list[str], delay: float, place: Path, begun: Path | None = None) -> bool:
    """Start a run and kill it after ``delay`` [s], counted from when ``begun`` is there. Returns whether it had not ended by then."""
    run = subprocess.Popen(command, cwd=place, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    try:
        last = time.monotonic() + 60.0
        while begun is not None and not begun.exists() and run.poll() is None and time.monotonic() < last:
            time.sleep(0.01)
        run.wait(delay)
    except subprocess.TimeoutExpired:
        run.send_signal(signal.SIGKILL)
    told = run.communicate(timeout=60)[1].decode()
    assert "Traceback" not in told
    assert run.returncode in (-signal.SIGKILL, 0, 3), told
    return run.returncode == -signal.SIGKILL


def same(killed: Path, whole: Path) -> None:
    """Both folders hold the same bytes, but for the seconds in results.json and what finished stages say of themselves."""
    one, other = tree(killed), tree(whole)
    assert without_seconds(one.pop("results.json")) == without_seconds(other.pop("results.json"))
    assert set(one) == set(other)
    for name, data in one.items():
        if not (name.startswith(".stages") and name.endswith(".json")):  # these keep the seconds too
            assert data == other[name], name
    assert not [p for p in killed.rglob("*") if p.name.startswith(ENDS)]


def _stand_in(folder: Path, part: Path, note: Path) -> list[str]:
    program = (
        script(folder, part, "none", note).replace("time.sleep(600)", "pass").replace("    if stage ==", "    time.sleep(0.03)\n    if stage ==")
    )
    return [sys.executable, "-c", program]


@pytest.mark.parametrize("seed", [1, 2])
def test_stand_in_runs_killed_at_random(tmp_path, seed):
    part = tmp_path / "cube.stl"
    part.write_bytes(stl())
    note = tmp_path / "note.txt"
    whole, job = tmp_path / "whole.job", tmp_path / "killed.job"
    assert not killed(_stand_in(whole, part, tmp_path / "other.txt"), 60.0, tmp_path)
    rng = np.random.default_rng(seed)
    kills = 0
    for _ in range(6):
        note.unlink(missing_ok=True)
        kills += killed(_stand_in(job, part, note), float(rng.uniform(0.0, 0.35)), tmp_path, begun=job / ".lock")
    assert kills >= 3
    assert not killed(_stand_in(job, part, note), 60.0, tmp_path)
    same(job, whole)


@pytest.mark.validate
def test_real_runs_killed_at_random(tmp_path):
    (tmp_path / "box.stl").write_bytes(written("stl", *solids()["stepped"]))
    plan = [sys.executable, "-m", "strickle", "plan", "box.stl", "--unit", "mm", "--preset", "rough", *BRIEF, "--quiet", "--out"]
    begun = time.monotonic()
    assert not killed([*plan, "whole.job"], 300.0, tmp_path)
    took = time.monotonic() - begun
    rng = np.random.default_rng(11)
    kills = 0
    for _ in range(7):
        kills += killed([*plan, "killed.job"], float(rng.uniform(0.02, 0.9)) * took, tmp_path)
    assert kills >= 2
    assert not killed([sys.executable, "-m", "strickle", "resume", "killed.job", "--quiet"], 300.0, tmp_path)
    same(tmp_path / "killed.job", tmp_path / "whole.job")


@pytest.mark.validate
def test_real_runs_killed_while_the_folder_is_written(tmp_path):
    """With all stages kept, what is left of a run is the writing of the folder; killed over and over in it."""
    (tmp_path / "box.stl").write_bytes(written("stl", *solids()["stepped"]))
    plan = [sys.executable, "-m", "strickle", "plan", "box.stl", "--unit", "mm", "--preset", "rough", *BRIEF, "--quiet", "--out"]
    assert not killed([*plan, "whole.job"], 300.0, tmp_path)
    assert not killed([*plan, "killed.job"], 300.0, tmp_path)
    again = [sys.executable, "-m", "strickle", "resume", "killed.job", "--quiet"]
    begun = time.monotonic()
    assert not killed(again, 300.0, tmp_path)
    took = time.monotonic() - begun
    rng = np.random.default_rng(12)
    for _ in range(8):
        killed(again, float(rng.uniform(0.5, 1.0)) * took, tmp_path)
        for folder in ("print", "fields", "cards"):
            assert (tmp_path / "killed.job" / folder).exists() or not (tmp_path / "killed.job" / "results.json").exists()
    assert not killed(again, 300.0, tmp_path)
    same(tmp_path / "killed.job", tmp_path / "whole.job")
