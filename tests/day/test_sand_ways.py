"""Ways to make the mould, run through pattern and mould and laid side by side."""

from __future__ import annotations

import dataclasses
import json

import manifold3d as m3
import numpy as np
import pytest

import sand_shop as shop
from pattern_shop import aluminium, box, part_from, rod
from strickle.base import quiet
from strickle.job import look
from strickle.job.threemf import stl
from strickle.metal import MetalAsk
from strickle.mould import MouldAsk
from strickle.mould.steps import ram
from strickle.pattern import PatternAsk
from strickle.pattern.steps import make
from strickle.pattern.ways import aimed
from strickle.stores import SandTest, load, starter_kit
from strickle.trials.sand_ways import compare, halved, run_ways, told, wants_ways, ways

UP = np.array([0.0, 0.0, 1.0])
KINDS = ("pocket", "edge", "hanging", "handling", "any")


class Bench:
    """A runner of pattern and mould alone, for a part made in code."""

    def __init__(self, solid: m3.Manifold, kit=None, *, wish=None, **asked) -> None:
        self.stores = load(starter_kit() if kit is None else kit)
        self.asks = {"pattern": PatternAsk(**{"up": UP, **asked}), "mould": MouldAsk() if wish is None else wish, "metal": MetalAsk()}
        self.results = {"part": part_from(solid), "metal": aluminium()}
        self.runs: list[str] = []
        for stage in ("pattern", "mould"):
            self.results[stage] = self.once(stage, self.results, self.asks[stage], self.stores, quiet)

    def ask(self, stage):
        return self.asks[stage]

    def once(self, stage, results, ask, stores, watch):
        self.runs.append(stage)
        if stage == "pattern":
            return make(results["part"], results["metal"], stores, ask, watch)
        return ram(results["part"], results["pattern"], results["metal"], stores, ask, watch)

    def keep(self, stage, parts, make):
        return make()

    def rows(self):
        return {row.name: row for row in run_ways(self, self.results, None, quiet)}


@pytest.fixture(scope="module")
def grid() -> Bench:
    """A plate of 200 mm with 9 pockets 12 wide and 30 deep, drawn without draft."""
    return Bench(shop.grid(200, 3, 12, 30, 0).translate((0, 0, 15)), draft="none", parting=-0.015)


@pytest.fixture(scope="module")
def rows(grid) -> dict:
    return grid.rows()


def test_half_size_keeps_the_pockets_and_lowers_span_mass_and_handling(rows):
    here, half = rows["as is"], rows["half size"]
    assert abs(half.chances.pocket - here.chances.pocket) <= 0.03
    assert half.metal == pytest.approx(here.metal / 8, rel=1e-3)
    assert half.print_volume == pytest.approx(here.print_volume / 8, rel=0.05)  # holes for screws and pins keep their size
    assert half.flask.length < here.flask.length
    assert half.chances.handling < 0.5 * here.chances.handling


def test_draft_strength_a_straight_lift_and_bars_each_lower_what_they_should(rows):
    here = rows["as is"]
    assert rows["more draft"].chances.pocket < here.chances.pocket - 0.05
    assert rows["more draft"].metal > here.metal
    assert rows["stronger sand"].chances.pocket < here.chances.pocket - 0.02
    assert rows["straight lift"].chances.pocket < here.chances.pocket
    assert rows["bars"].chances.handling < 0.2 * here.chances.handling
    assert rows["bars"].chances.pocket == pytest.approx(here.chances.pocket)


def test_cut_in_pieces_the_flask_is_smaller_and_fewer_pockets_hang_on_one_draw(rows):
    here, cut = rows["as is"], rows["cut in pieces"]
    assert cut.castings == 2
    assert cut.flask.length * cut.flask.width < 0.8 * here.flask.length * here.flask.width
    assert cut.chances.pocket < here.chances.pocket
    assert cut.metal == pytest.approx(here.metal, rel=0.1)  # stock and bevel at the splice


def test_every_row_has_its_spread_and_its_cost(grid, rows):
    for row in rows.values():
        for kind in KINDS:
            low, likely, high = (getattr(some, kind) for some in (row.low, row.chances, row.high))
            assert 0.0 <= low <= likely <= high <= 1.0, (row.name, kind)
        assert row.chances.any >= max(getattr(row.chances, kind) for kind in KINDS[:-1]) - 1e-12
        assert row.pieces >= 1
        assert row.metal > 0
        assert row.print_volume > 0
    mould = grid.results["mould"]
    assert [getattr(rows["as is"].chances, kind) for kind in KINDS] == [getattr(mould.sand_chances, kind) for kind in KINDS]


def test_the_best_way_is_told_with_before_and_after(grid, rows, monkeypatch):
    monkeypatch.setattr("strickle.trials.sand_ways.run_ways", lambda *_: tuple(rows.values()))
    results = dict(grid.results)
    said = compare(grid, results, None, quiet)
    assert [f.code for f in said] == ["mould.sand_ways"]
    mould = results["mould"]
    assert said[0] in mould.findings
    best = min((row for row in mould.sand_ways[1:] if row.name != "half size"), key=lambda row: row.chances.any)
    assert best.says in said[0].says
    assert said[0].margin.value == pytest.approx(1 - best.chances.any)
    assert mould.sand_ways[0].name == "as is"
    assert not wants_ways(grid, results, True)  # they are run once


def test_run_only_where_the_sand_is_in_doubt_or_where_asked(grid):
    assert wants_ways(grid, grid.results, True)
    block = Bench(box(100, 60, 40))
    assert not wants_ways(block, block.results, True)
    asked = Bench(box(100, 60, 40), wish=MouldAsk(sand_ways="run"))
    assert wants_ways(asked, asked.results, True)
    grid.asks["mould"] = MouldAsk(sand_ways="none")
    assert not wants_ways(grid, grid.results, True)
    grid.asks["mould"] = MouldAsk()


def test_measured_sand_is_made_stronger_too():
    test = SandTest(date="2026-05-02", overhangs=np.array([0.060, 0.062, 0.064]))
    bench = Bench(box(100, 60, 40) - rod(14, 60, (50, 30, -10)), dataclasses.replace(starter_kit(), sand_test=test), draft="none", parting=0.0)
    rows = bench.rows()
    assert rows["stronger sand"].chances.pocket < rows["as is"].chances.pocket
    assert bench.stores.kit.sand_test is test


def test_a_halved_part_is_the_part_at_half_size():
    part = part_from(box(100, 60, 40), spots=((0.05, 0.03, 0.02),))
    half = halved(part)
    assert half.extents == pytest.approx(part.extents / 2)
    assert half.volume == pytest.approx(part.volume / 8)
    assert half.hot_spots[0].at == pytest.approx(part.hot_spots[0].at / 2)
    assert np.ptp(half.mesh.vertices, axis=0) == pytest.approx(half.extents)


def test_a_look_leaves_the_ways_in_results_and_answer_and_takes_them_up_again(tmp_path, monkeypatch):
    from strickle.cli.answer import answer
    from strickle.job.planning import resume

    part = part_from(box(60, 50, 34) - rod(12, 60, (20, 25, -10)) - rod(12, 60, (40, 25, -10)))
    only(monkeypatch, "half size", "stronger sand", "straight lift")
    path = tmp_path / "block.stl"
    path.write_bytes(stl("block", part.mesh.vertices * 1e3, part.mesh.faces, ""))
    plan = look(path, out=tmp_path / "job", unit="mm", sand_ways="run", until="mould", kit=starter_kit())
    doc = json.loads((tmp_path / "job" / "results.json").read_text())
    names = [row["name"] for row in doc["stages"]["mould"]["sand_ways"]]
    assert names[:2] == ["as is", "half size"]
    assert len(names) >= 4
    text = answer(plan)
    assert "low-likely-high" in text
    for name in names:
        assert f"\n{name} " in text
    assert max(map(len, text.splitlines())) <= 92

    def gone(*_args, **_kind):
        raise AssertionError("what was kept is run again")

    monkeypatch.setattr("strickle.trials.sand_ways.run_ways", gone)
    again = resume(tmp_path / "job", until="mould")
    assert again.document["stages"]["mould"]["sand_ways"] == doc["stages"]["mould"]["sand_ways"]


def only(monkeypatch, *names: str) -> None:
    """Of the ways only those named are run."""
    monkeypatch.setattr("strickle.trials.sand_ways.ways", lambda *given: (way for way in ways(*given) if way.name in names))


def test_where_draft_is_given_already_more_of_it_is_tried(monkeypatch):
    only(monkeypatch, "more draft", "follow board")
    rows = Bench(box(100, 60, 34) - rod(16, 60, (50, 30, -10)), parting=0.0, holes="cast").rows()
    assert list(rows) == ["as is", "more draft"]  # no crooked joint helps a block
    assert rows["more draft"].chances.pocket < rows["as is"].chances.pocket - 0.02
    assert rows["more draft"].metal > rows["as is"].metal


def test_a_bent_part_is_compared_with_a_flat_joint(monkeypatch):
    only(monkeypatch, "flat joint")
    bent = Bench(wavy(), draft="none", joint="best")
    assert bent.results["pattern"].sheet is not None
    here, flat = bent.rows().values()
    assert flat.metal > 1.01 * here.metal  # what a flat joint traps is filled
    assert flat.print_volume < here.print_volume  # no board
    assert "pattern.undercut" in flat.stops
    assert here.stops == ()
    assert told((here, flat))[0].says.startswith("No single change")  # what stops the plan is not praised


def wavy() -> m3.Manifold:
    """A strip 8 thick that rises and falls by 24 mm."""
    x = np.linspace(-60, 60, 61)
    y = 12 * np.sin(x / 20)
    outline = np.concatenate([np.column_stack([x, y - 4]), np.column_stack([x, y + 4])[::-1]])
    return m3.CrossSection([outline]).extrude(50).rotate((90, 0, 0)).translate((0, 25, 20))


@pytest.mark.validate
def test_other_ways_to_lie_are_rated_by_what_the_mould_says_of_them():
    """Each of the two best other ways has a row with the figures of a plan asked to lie that way; none where the person gave the side up."""
    free = Bench(shop.grid(120, 2, 14, 40, 0) + box(120, 20, 60, (-60, 60, 0)), up=None, draft="none")
    others = [way for way in free.results["pattern"].ways if not way.chosen][:2]
    assert others
    rows = free.rows()
    for way in others:
        row = rows[f"{aimed(way)} up"]
        own = Bench(shop.grid(120, 2, 14, 40, 0) + box(120, 20, 60, (-60, 60, 0)), up=way.up, draft="none").results["mould"]
        assert [dataclasses.astuple(one) for one in (row.chances, row.flask)] == [dataclasses.astuple(one) for one in (own.sand_chances, own.flask)]
    told = Bench(shop.grid(120, 2, 14, 40, 0) + box(120, 20, 60, (-60, 60, 0)), up=UP, draft="none").rows()
    assert not [name for name in told if name.endswith(" up")]
