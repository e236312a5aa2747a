"""Every worked example in the rules, the words and the sizes is run as it stands."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

import strickle

HOME = Path(strickle.__file__).parent
HELD = sorted(
    ".".join(("strickle", *path.relative_to(HOME).with_suffix("").parts))
    for path in HOME.glob("*/*.py")
    if path.parent.name != "kernels" and ">>>" in path.read_text(encoding="utf-8")
)


def test_the_rooms_with_formulas_have_examples() -> None:
    assert {f"strickle.{room}.rules" for room in ("part", "pattern", "mould", "rigging", "cavity", "melt", "pour", "sound")} <= set(HELD)


@pytest.mark.parametrize("name", HELD)
def test_examples(name: str) -> None:
    done = doctest.testmod(importlib.import_module(name))
    assert done.attempted > 0
    assert done.failed == 0
