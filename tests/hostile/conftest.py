"""Fixtures of the hostile tests: an empty place to work in, with a shop of its own."""

from __future__ import annotations

from pathlib import Path

import pytest

from fakes import cards, fakes, stl
from strickle.job import stages


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in, with no kit of anyone's."""
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.chdir(here)
    return here


@pytest.fixture
def quick(place: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Stand-in stages and cards, and ``cube.stl``; gives the list of stages that were run."""
    (place / "cube.stl").write_bytes(stl())
    log: list[str] = []
    monkeypatch.setattr(stages, "STAGES", fakes(log))
    monkeypatch.setattr("strickle.job.planning.card_files", cards)
    return log
