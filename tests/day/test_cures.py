"""What a cure may promise: it is left alone where it could change nothing, and its words are what is run."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from card_factory import results as made

import melt_shop
from strickle.base import Finding, render
from strickle.mould.flask import Need, choose
from strickle.pattern import PatternAsk
from strickle.pattern.result import Way
from strickle.stores import Flask
from strickle.trials.cures import CURES

SHORT = Finding(code="sound.neck_short", weight="STOP", says="a neck is short", because="it was made for a test", do="Nothing")
NO_FLASK = Finding(code="mould.no_flask", weight="STOP", says="no flask", because="it was made for a test", do="Nothing")


@pytest.fixture(scope="module")
def results():
    return made()


def shop(largest: float):
    """A runner of which only the shop is asked; its one pot holds ``largest`` m3."""
    kit = melt_shop.kit()
    pot = dataclasses.replace(kit.crucibles[0], volume=largest)
    return SimpleNamespace(stores=dataclasses.replace(melt_shop.stores(), kit=dataclasses.replace(kit, crucibles=(pot,))))


def test_a_larger_pot_is_not_tried_for_risers_that_no_pot_holds_back(results):
    need = results["melt"].pot_needed_volume
    for code in ("sound.neck_short", "sound.riser_short"):
        assert CURES[code](SHORT, results, shop(2.1 * need)) is None
        cure = CURES[code](SHORT, results, shop(1.1 * need))
        assert cure.kit.crucibles[-1].volume == pytest.approx(1.65 * need, abs=5e-5)


def test_nor_without_a_pot_to_judge_by(results):
    runner = shop(1.0)
    runner.stores = dataclasses.replace(runner.stores, kit=dataclasses.replace(runner.stores.kit, crucibles=()))
    assert CURES["sound.neck_short"](SHORT, results, runner) is None


def test_the_flask_that_is_told_is_the_one_that_is_run(results):
    runner = shop(1e-3)
    runner.stores = dataclasses.replace(runner.stores, kit=dataclasses.replace(runner.stores.kit, builds_flasks=False))
    cure = CURES["mould.no_flask"](NO_FLASK, results, runner)
    assert cure.kit.builds_flasks
    told = cure.letter(results)
    assert not told.builds_flasks
    stood, own = results["mould"].flask, told.flasks[-1]
    assert (own.length, own.width, own.cope, own.drag) == (stood.length, stood.width, stood.cope, stood.drag)


def test_a_flask_stands_towards_the_rigging_as_far_as_its_sand_allows():
    bare = Need(low=np.array([-0.1, -0.05]), high=np.array([0.1, 0.05]), side=0.03, cope=0.1, drag=0.05)
    wish = dataclasses.replace(bare, low=np.array([-0.1, -0.15]))
    flask = Flask(name="long", length=0.26, width=0.19, cope=0.1, drag=0.05)
    plain, moved = (choose(bare, (flask,), w) for w in (None, wish))
    assert plain.box == pytest.approx([-0.13, 0.13, -0.095, 0.095, -0.05, 0.1])
    assert moved.box == pytest.approx([-0.13, 0.13, -0.11, 0.08, -0.05, 0.1])  # 30 mm of sand are left behind the part


def way(up, score: float, chosen: bool = False) -> Way:
    some = {"level": 0.0, "undercut": 1e-6, "planar": 0.0, "depth": 0.01, "even": 1.0, "square": 1.0, "own": True, "why": "made for a test"}
    return Way(up=np.array(up, float), score=score, chosen=chosen, **some)


def test_a_part_stopped_for_its_undercut_is_tried_lying_otherwise_the_best_way_first(results):
    stop = dataclasses.replace(SHORT, code="pattern.undercut")
    ways = (way([0, 0, 1], 0.1, chosen=True), way([1, 0, 0], 0.9), way([0, 1, 0], 0.5), way([0, -1, 0], 1.5))
    lying = {**results, "pattern": dataclasses.replace(results["pattern"], ways=ways, undercut_volume=1e-6)}

    def runner(**asked):
        return SimpleNamespace(ask=lambda stage: PatternAsk(**asked))

    first = CURES[stop.code](stop, lying, runner())
    assert first.asks["pattern"].up == pytest.approx([0, 1, 0])
    assert "--up 0,1,0" in render(first.change(lying))
    assert first.margin(lying, lying, None) < 1.0 == first.margin(results, results, None)
    second = first.again(lying)
    assert second.asks["pattern"].up == pytest.approx([1, 0, 0])
    assert second.again(lying) is None
    assert CURES[stop.code](stop, lying, runner(up=np.array([0.0, 0, 1]))) is None
    assert CURES[stop.code](stop, results, runner()) is None  # no other way was found


def test_bars_are_tried_for_a_cope_that_may_sag_and_has_none(results):
    stop, runner = dataclasses.replace(SHORT, code="mould.half_sags"), shop(1e-3)
    kit = runner.stores.kit
    for bars, tried in ((0.0, True), (0.3, True), (0.15, False)):
        runner.stores = dataclasses.replace(runner.stores, kit=dataclasses.replace(kit, bars=bars))
        cure = CURES[stop.code](stop, results, runner)
        assert (cure is not None) == tried
        assert cure is None or cure.kit.bars == 0.15
