"""Joints that the metal as it was poured leaves short are grown and filled anew: on a stand-in shop whose joints are a formula."""

from __future__ import annotations

from types import SimpleNamespace
from typing import get_type_hints

import pytest

from fakes import finding, record
from strickle.base import quiet
from strickle.pour import Pour, PourAsk
from strickle.pour.solution import Solution
from strickle.rigging import Rigging, RiggingAsk, Riser
from strickle.sound import NeckJudged, Sound, SoundAsk
from strickle.trials.risers import MOST_POURED, finish_poured


class Shop:
    """A riser whose neck holds ``joint(area, poured)`` times as long as what it feeds, and whose filling stops over ``stops_over``."""

    def __init__(self, joint, stops_over=100.0):
        self.joint, self.stops_over, self.fillings = joint, stops_over, 0
        self.ask, self.room, self.flask, self.risers, self.lays = RiggingAsk(), None, "middle", 1, 0
        self.results = {}

    def go(self, ask, rough):
        self.ask, self.lays = ask, self.lays + 1
        neck = record(get_type_hints(Riser)["neck"], area=1e-4)
        self.results["rigging"] = record(Rigging, risers=(record(Riser, name="riser-1", spot=0, diameter=0.03, neck=neck),))
        self.results["pour"] = record(Pour, solution=None)
        return ""

    @property
    def area(self):
        return next((w.neck for w in self.ask.risers), 1.0)

    def asks(self, stage):
        return {"pour": PourAsk(), "sound": SoundAsk()}[stage]

    def run(self, stage, ask):
        if stage == "pour":
            self.fillings += 1
            found = (finding("pour.misrun", "STOP", 0.5),) if self.area > self.stops_over else ()
            return record(Pour, solution=record(Solution), findings=found)
        holds = self.joint(self.area, self.results["pour"].solution is not None)
        judged = NeckJudged(riser="riser-1", feeds=0, fed_time=100.0, neck_time=100.0 * holds, riser_time=150.0, margin=holds)
        return record(Sound, necks=(judged,), findings=())


def poured_shop(joint, **given):
    """A shop whose mould stands filled and frozen, and the runner on it."""
    shop = Shop(joint, **given)
    runner = SimpleNamespace(ask=shop.asks, run=shop.run)
    shop.go(RiggingAsk(), False)
    shop.results["pour"] = shop.run("pour", None)
    shop.results["sound"] = shop.run("sound", None)
    return shop, runner


def test_a_neck_short_as_poured_is_grown_until_it_is_not():
    shop, runner = poured_shop(lambda area, poured: 1.11 + 0.1 * (area - 1.0) - (0.08 if poured else 0.0))
    assert finish_poured(runner, shop, "shop", quiet) == 1
    assert shop.area > 1.2
    assert shop.results["sound"].necks[0].margin >= 1.05
    assert shop.results["pour"].solution is not None


def test_nothing_is_filled_anew_where_no_joint_is_short():
    shop, runner = poured_shop(lambda area, poured: 1.08)
    assert finish_poured(runner, shop, "shop", quiet) == 0
    assert (shop.fillings, shop.lays) == (1, 1)


@pytest.mark.parametrize(
    ("joint", "given"),
    [
        (lambda area, poured: 1.0, {}),  # the rough grid says that it gains nothing
        (lambda area, poured: 1.0 if poured else 1.0 + 0.1 * area, {}),  # it gains there, and not as poured
        (lambda area, poured: 1.0 + 0.1 * (area - 1.0), {"stops_over": 1.01}),  # it gains, and the mould no longer fills
    ],
)
def test_what_stood_stands_again_where_growing_does_not_serve(joint, given):
    shop, runner = poured_shop(joint, **given)
    before = shop.results["sound"].necks[0].margin
    finish_poured(runner, shop, "shop", quiet)
    assert shop.ask.risers == ()
    assert shop.results["sound"].necks[0].margin == before
    assert shop.results["pour"].solution is not None
    assert not shop.results["pour"].findings


def test_it_is_done_so_many_times_and_no_more():
    shop, runner = poured_shop(lambda area, poured: 1.0 + 0.01 * area)
    assert finish_poured(runner, shop, "shop", quiet) == MOST_POURED
    assert shop.results["pour"].solution is not None
