"""What the tests of a hostile job share: a part, stand-in stages, and the one line that a refusal is."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from strickle.cli import main


def refused(capsys: pytest.CaptureFixture[str], *arguments: str, code: int = 2) -> str:
    """Run a command that must be refused. Returns its one line."""
    capsys.readouterr()
    assert main(list(arguments)) == code
    told = capsys.readouterr()
    assert told.out == ""
    assert "Traceback" not in told.err
    lines = told.err.splitlines()
    assert len(lines) == 1, told.err
    assert lines[0].startswith("strickle: ")
    assert "mistake in strickle" not in lines[0]
    assert lines[0].isprintable()
    return lines[0]


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, hidden ones too, but for lock files."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file() and p.name != ".lock"}


def without_seconds(text: str | bytes) -> object:
    """results.json without what differs from run to run."""
    doc = json.loads(text)
    for stage in doc["stages"].values():
        stage.pop("seconds", None)
    return doc


@contextmanager
def as_nobody() -> Iterator[None]:
    """Without the rights of root, so that a read-only folder is read-only."""
    if os.geteuid() != 0:
        yield
        return
    os.setegid(65534)
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)
        os.setegid(0)
