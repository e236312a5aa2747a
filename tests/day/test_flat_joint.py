"""A crooked joint on which nothing can be gated gives way to a flat one; where that is no better, it stays."""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path

import manifold3d as m3
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import card_factory as factory
from planned import PARTS, _stl, runner, through

import strickle
from strickle.base import Finding
from strickle.job.threemf import stl
from strickle.pattern import PatternAsk, Sheet
from strickle.rigging import RiggingAsk
from strickle.stores.kit import starter_kit
from strickle.trials.joint import levelled, wants_level

WISH = RiggingAsk()


def stop(code: str) -> Finding:
    return Finding(code=code, weight="STOP", says="No face takes an ingate", because="the joint is not level there", do="Choose another parting")


class Bench:
    """A runner whose pattern is crooked until a flat joint is asked for, and a lay whose rigging stops on the crooked one."""

    def __init__(
        self, joint: str = "best", flat_stops: tuple[Finding, ...] = (), flat_ends: str = "", edge: tuple[float, float] | None = None
    ) -> None:
        made = factory.results()
        sheet = Sheet(x=np.arange(2.0), y=np.arange(2.0), height=np.zeros((2, 2)), lowest=0.0, highest=0.0, steepest=0.0, area=0.0, saved=2e-6)
        flat = dataclasses.replace(made["pattern"], sheet=None, findings=flat_stops)
        self.patterns = {"best": dataclasses.replace(flat, sheet=sheet, findings=()), "flat": flat}
        self.asked, self.flat_ends = PatternAsk(joint=joint), flat_ends
        self.riggings = {
            "best": dataclasses.replace(made["rigging"], findings=(stop("rigging.no_ingate"),) if edge is None else ()),
            "flat": dataclasses.replace(made["rigging"], findings=()),
        }
        chances = made["mould"].sand_chances
        self.moulds = {
            name: dataclasses.replace(made["mould"], sand_chances=dataclasses.replace(chances, edge=share, any=share))
            for name, share in zip(("best", "flat"), edge or (0.0, 0.0))
        }
        self.results = {"pattern": self.patterns["best"], "mould": self.moulds["best"], "rigging": self.riggings["best"]}

    def ask(self, stage):
        return self.asked

    def settle(self, stage, ask):
        self.asked = ask

    def run(self, stage, ask=None):
        return self.patterns[self.asked.joint]

    def go(self, ask, rough):
        self.results |= {"rigging": self.riggings[self.asked.joint], "mould": self.moulds[self.asked.joint]}
        return self.flat_ends if self.asked.joint == "flat" else "rigging.no_ingate stands"


def test_the_flat_joint_is_taken_where_it_takes_the_rigging():
    bench = Bench()
    assert wants_level(bench, bench)
    ends, told = levelled(bench, bench, WISH, True)
    assert ends == ""
    assert [f.code for f in told] == ["trials.flat_joint"]
    assert bench.results["pattern"].sheet is None
    assert bench.asked.joint == "flat"
    assert not wants_level(bench, bench)


@pytest.mark.parametrize("worse", [{"flat_ends": "cavity.sand_short stands"}, {"flat_stops": (stop("pattern.undercut"),)}])
def test_it_stays_crooked_where_a_flat_joint_is_no_better(worse):
    bench = Bench(**worse)
    ends, told = levelled(bench, bench, WISH, True)
    assert ends == "rigging.no_ingate stands"
    assert told == ()
    assert bench.results["pattern"].sheet is not None
    assert bench.asked.joint == "best"


def test_a_crooked_joint_whose_sand_ends_in_feather_edges_gives_way_where_a_flat_one_stands():
    bench = Bench(edge=(0.97, 0.2))
    assert wants_level(bench, bench)
    ends, told = levelled(bench, bench, WISH, True)
    assert ends == ""
    assert [f.code for f in told] == ["trials.flat_joint"]
    assert "feather edges" in told[0].says
    assert bench.asked.joint == "flat"
    no_better = Bench(edge=(0.5, 0.4))
    assert levelled(no_better, no_better, WISH, True)[1] == ()
    assert no_better.asked.joint == "best"
    assert not wants_level(Bench(edge=(0.3, 0.0)), Bench(edge=(0.3, 0.0)))


def test_a_joint_that_was_asked_for_is_left():
    bench = Bench("crooked")
    assert not wants_level(bench, bench)


def lever() -> m3.Manifold:
    """Two bosses at different heights, 135 mm apart, on a bent web that slopes 22 degrees."""
    low = m3.Manifold.cylinder(30, 20, circular_segments=96)
    high = m3.Manifold.cylinder(26, 16, circular_segments=96).translate((130, 35, 55))
    bend = np.array([65.0, 0, 41.5])
    webs = []
    for start, end in ((np.array([0, 0, 15.0]), bend), (bend, np.array([130.0, 35, 68]))):
        way = end - start
        long = float(np.linalg.norm(way))
        turn = np.degrees([-np.arcsin(way[2] / long), np.arctan2(way[1], way[0])])
        webs.append(m3.Manifold.cube((long, 24, 8)).translate((0, -12, -4)).rotate((0, turn[0], 0)).rotate((0, 0, turn[1])).translate(tuple(start)))
    whole = low + high + webs[0] + webs[1]
    return whole - m3.Manifold.cylinder(200, 6).translate((0, 0, -50)) - m3.Manifold.cylinder(300, 5).translate((130, 35, -50))


@pytest.mark.validate
def test_a_bent_lever_gets_a_joint_that_takes_an_ingate(tmp_path):
    made = lever().to_mesh()
    (path := tmp_path / "lever.stl").write_bytes(stl("lever", np.array(made.vert_properties[:, :3], float), np.array(made.tri_verts, np.int64), ""))
    plan = strickle.look(path, out=tmp_path / "job", kit=starter_kit(), unit="mm", preset="rough", until="rigging")
    assert not [f for f in plan.findings if f.weight == "STOP" and f.code.startswith("rigging.")]
    assert plan.stages["rigging"].ingates
    assert plan.stages["pattern"].sheet is None
    assert any(f.code in ("trials.flat_joint", "pattern.kept_flat") for f in plan.findings)


def test_the_follow_board_stands_in_the_frame_of_the_flask(monkeypatch):
    """The board is wider than the part; the flask is chosen to hold it with sand round it."""
    monkeypatch.setitem(PARTS, "lever", lambda: _stl(lever()))
    asked = PatternAsk(joint="crooked", up=np.array([0.0, 0.0, 1.0]), draft="none")
    trail = through(runner("lever", pattern=asked), until="mould")
    (board,) = (piece.mesh.vertices for piece in trail.results["pattern"].pieces if piece.role == "board")
    box = trail.results["mould"].box
    assert (board[:, :2].min(axis=0) > box[[0, 2]] + 0.005).all()
    assert (board[:, :2].max(axis=0) < box[[1, 3]] - 0.005).all()
    assert board[:, 2].max() < box[5]
