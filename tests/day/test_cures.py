"""What a cure may promise: it is left alone where it could change nothing, and its words are what is run."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from card_factory import results as made

import melt_shop
from strickle.base import Finding
from strickle.mould.flask import Need, choose
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
