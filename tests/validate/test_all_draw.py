"""Every printed piece of every public part comes out of its sand or off its core, all that the room can do asked for; they are the casting."""

from __future__ import annotations

import pytest

import drawing_out
import strickle
from real_parts import PARTS
from strickle.stores.kit import starter_kit

pytestmark = pytest.mark.validate

FAST = ("bearing_cover.stl", "pulley_t30.stl", "featuretype_inch.stl", "table_attachment.stl")  # in tests/day/test_draws.py
SCULPTED = pytest.mark.xfail(
    strict=True, reason="0.7 mm3 of sand: the sheet runs along its surface, and the solid library reads such a mesh otherwise"
)


def _marked(part):
    return pytest.param(part, marks=SCULPTED) if part.file == "calibration_arm.stl" else part


@pytest.mark.parametrize("part", [_marked(p) for p in PARTS if p.file not in FAST], ids=lambda p: p.file)
def test_every_piece_draws_and_they_are_the_casting(part, parts_folder, tmp_path):
    plan = strickle.look(parts_folder / part.file, out=tmp_path / "job", kit=starter_kit(), until="part", **part.asks)
    told = drawing_out.check(plan.stages["part"])
    assert abs(told["halves"]) < 1e-5
    assert abs(told["counted"]) < 1e-5
    assert told["assembled"] < 1e-3
