"""A full plan of every file of ../shared/parts, from its mesh to the card or to the STOP that ends it; every printed piece of it draws."""

from __future__ import annotations

import importlib.util
import json
import os
from pathlib import Path

import pytest

import drawing_out
import strickle
from lawful import lawful
from real_parts import FIVE, PARTS, STEP, read_as_known

pytestmark = pytest.mark.validate

FILLED = ("idler_riser_inch.stl", "pulleys_tensioner.3mf")  # their filling is solved, too, on the rough grid
ELSEWHERE = (*FIVE, "irb_base_broken_m.stl")  # the five are read closely in test_parts.py, the metre-sized base in tests/day/test_all_parts.py
OTHERS = [p for p in PARTS if p.file not in ELSEWHERE]
HAS_STEP = importlib.util.find_spec("OCP") is not None


@pytest.mark.parametrize("part", [*OTHERS, *STEP], ids=lambda p: p.file)
def test_a_full_plan_of_every_part(part, parts_folder, tmp_path):
    if part in STEP and not HAS_STEP:
        stamp = Path(__file__).resolve().parents[2] / ".stamps" / "step"
        if os.environ.get("CI") == "true" and stamp.is_file() and stamp.read_text().strip() == "installed":
            pytest.fail("the extra that reads STEP was installed and is not found")
        pytest.skip("the extra that reads STEP is not installed here")
    # the shop grid, corners and a solved filling would take minutes more each: for the five and the demos in test_parts.py and tests/day
    poured = {} if part.file in FILLED else {"filling": "none"}
    asks = {"preset": "rough", "corners": "none", **poured, **part.asks}
    plan = strickle.plan(parts_folder / part.file, out=tmp_path / "job", kit=drawing_out.true_kit(), sand_ways="none", **asks)
    data = json.loads((plan.folder / "results.json").read_text())
    lawful(data)
    read_as_known(part, plan, data)
    stops = {f["code"] for f in data["findings"] if f["weight"] == "STOP"}
    assert part.stops <= stops
    assert plan.exit_code == (3 if data["verdict"]["code"] != "castable" else 0)
    for stage, got in data["stages"].items():
        assert got["status"] in ("done", "not run"), stage
        assert got["status"] == "done" or got["because"], stage
    cavity = data["stages"]["cavity"]
    if cavity["status"] == "done":
        assert cavity["cells"] <= 3_000_000
    sound = data["stages"]["sound"]
    if sound["status"] == "done":
        assert abs(sound["balance_error"]["value"]) < 1e-6
        assert (plan.folder / "cards" / "card.pdf").is_file()
        assert (data["stages"]["pour"]["solution"] is not None) == (part.file in FILLED)
    else:
        assert stops  # what ended it is told
    drawing_out.judge(drawing_out.of_plan(plan))
