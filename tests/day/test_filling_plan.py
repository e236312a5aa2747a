"""The demo bracket's filling inside a plan: solved once the plan stands, its fields in the job's folder and on their own cells."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from planned import AS_DRAWN, runner, through

import strickle
from strickle.base import Cancelled, quiet
from strickle.job.demo import bracket, stl
from strickle.job.export import vti
from strickle.job.outputs import fields_of
from strickle.pour import PourAsk, keep
from strickle.trials import steps


@pytest.fixture(scope="module")
def trail():
    return through(runner("demo", pour=PourAsk(filling="run")), until="pour")


def test_the_bracket_fills_as_the_hydraulics_say(trail):
    pour = trail.results["pour"]
    s = pour.solution
    assert s.status == "filled"
    assert s.ratio == pytest.approx(1.0, abs=0.15)
    assert s.empty_volume == 0.0
    assert abs(s.metal_balance) < 1e-6
    assert abs(s.heat_balance) < 5e-3
    assert s.coldest > trail.results["metal"].liquidus
    assert s.gates[0].highest == pytest.approx(pour.gate_speed, rel=0.4)
    assert not [f for f in trail.findings if f.stage == "pour" and f.weight == "STOP"]
    assert any(f.code == "pour.thin_by_law" for f in trail.findings) == (s.across_wall < 3.0)


def test_its_fields_lie_on_their_own_cells(trail):
    pour = trail.results["pour"]
    fields = fields_of(trail.results)["pour"]
    assert set(fields) == {"arrival", "arrival_temperature", "arrival_speed", "origin", "cell"}
    assert float(fields["cell"]) == pour.solution.cell != trail.results["cavity"].cell
    came = np.isfinite(fields["arrival"])
    assert came.sum() > 0.9 * pour.solution.cells
    assert fields["arrival"][came].min() >= 0.0
    assert b'Name="arrival"' in vti(fields)
    # metal comes to the last place when it says
    at = np.floor((pour.solution.last[0].at - fields["origin"]) / float(fields["cell"])).astype(int)
    assert fields["arrival"][tuple(at)] == pytest.approx(pour.solution.last[0].time, rel=1e-5)


def test_a_look_and_a_search_do_not_solve_it(trail):
    heard = runner("demo", pour=PourAsk(filling="run"))
    looked = steps.plan_through(heard, until="pour", preset="rough", watch=quiet, fills=False)
    assert looked.results["pour"].solution is None
    told = dataclasses.asdict(heard.ask("pour"))
    assert told["filling"] == "run"


def test_a_filling_called_off_is_taken_up_by_the_next_run_of_the_job(tmp_path, monkeypatch, trail):
    """The job's folder keeps what a long filling has so far, and nothing of it once it is done."""
    monkeypatch.setattr(keep, "EVERY", 0.0)
    part, shares = tmp_path / "bracket.stl", []
    part.write_bytes(stl(*bracket()))
    asked = {"out": tmp_path / "job", "unit": "mm", "preset": "rough", "until": "pour"}
    asked |= {name: getattr(AS_DRAWN, name) for name in ("draft", "joint", "undercuts", "holes")}

    def stop(share, says):
        if "filling: " in says:
            shares.append(float(says.split("poured, ")[1].split("%")[0]))
            if shares[-1] > 40.0:
                raise Cancelled("called off by the test")

    with pytest.raises(Cancelled):
        strickle.plan(part, **asked, watch=stop)
    left = list((tmp_path / "job" / ".stages").glob("*unfinished"))
    assert len(left) == 1
    assert left[0].stat().st_size < 50e6
    first, shares[:] = max(shares), []

    def heard(share, says):
        if "filling: " in says:
            shares.append(float(says.split("poured, ")[1].split("%")[0]))

    plan = strickle.plan(part, **asked, watch=heard)
    assert shares[0] > first - 5.0
    assert not list((tmp_path / "job").rglob("*unfinished"))
    assert plan.stages["pour"].solution.fill_time == trail.results["pour"].solution.fill_time
