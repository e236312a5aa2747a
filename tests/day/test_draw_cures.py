"""Changes that lift a STOP of the draw or of a core: a straight lift, more draft, another core sand."""

from __future__ import annotations

import dataclasses
import math
from types import SimpleNamespace

import manifold3d as m3
import numpy as np
import pytest
from planned import PARTS, _stl, box, runner, through

from strickle.base import render
from strickle.cavity import cores
from strickle.cavity.rules import core_stress
from strickle.metal import MetalAsk
from strickle.pattern import PatternAsk
from strickle.stores.kit import starter_kit
from strickle.trials.moulding import drawn_better, stronger_core

UP = np.array([0.0, 0.0, 1.0])


def grid() -> m3.Manifold:
    """A slab [mm] with a row of six pockets 20 wide and 23 deep: none of them stops a plan, all six together do."""
    slab = box(162, 60, 31)
    for number in range(6):
        slab -= m3.Manifold.cylinder(24, 10, 10, 48).translate((-65 + 26 * number, 0, -1))
    return slab


def stops(results) -> list[str]:
    return [f.code for one in results.values() for f in one.findings if f.weight == "STOP"]


def test_pockets_that_do_not_stop_a_plan_one_by_one_stop_it_together(monkeypatch):
    monkeypatch.setitem(PARTS, "grid", lambda: _stl(grid()))
    asked = PatternAsk(joint="flat", undercuts="fill", holes="cast", up=UP, parting=0.031)
    trail = through(runner("grid", dataclasses.replace(starter_kit(), lift="hand"), pattern=asked), until="mould")
    mould = trail.results["mould"]
    assert max(body.chance for body in mould.bodies) < 0.4 < mould.sand_chances.pocket
    told = next(f for f in mould.findings if f.code == "mould.draw_chance")
    assert told.weight == "STOP"
    shop = runner("grid", dataclasses.replace(starter_kit(), lift="hand"), pattern=asked)
    first = drawn_better(told, trail.results, shop)
    assert first is not None
    assert first.kit is not None
    assert first.again is not None
    assert first.kit.lift == "bridge"
    second = first.again(trail.results)
    assert second is not None
    assert second.asks is not None
    other = shop.variant(asks=second.asks)
    after = {stage: other.run(stage) for stage in ("metal", "part", "pattern", "mould")}
    assert second.margin(after, after, shop.stores.kit) > 1.1 * second.margin(trail.results, after, shop.stores.kit)
    assert "mould.draw_chance" not in stops(after)
    assert "4 degrees outside and 5 in pockets" in render(second.change(after))


def test_more_draft_is_laid_on_what_was_asked_for():
    free = SimpleNamespace(
        stores=SimpleNamespace(kit=SimpleNamespace(lift="bridge")), ask=lambda _: PatternAsk(draft_outside=0.05, draft_pockets=0.07)
    )
    cure = drawn_better(SimpleNamespace(), {}, free)
    assert cure is not None
    assert cure.asks is not None
    ask = cure.asks["pattern"]
    assert (ask.draft_outside, ask.draft_pockets) == pytest.approx((0.05 + math.radians(2.0), 0.07 + math.radians(2.0)))


def test_a_core_that_rather_breaks_than_not_stops_the_plan_and_a_stronger_sand_lifts_it(monkeypatch):
    """Bronze lifts a long slim core: by hand, buoyancy over its span bends it as a beam on two supports."""
    bored = m3.Manifold.cube((260, 60, 60), True) - m3.Manifold.cylinder(400, 6, 6, 48, True).rotate((0, 90, 0))
    monkeypatch.setitem(PARTS, "bored long", lambda: _stl(bored))
    made = runner("bored long", pattern=PatternAsk(undercuts="core", holes="cast", up=UP), metal=MetalAsk(metal="silicon_bronze"))
    results = {stage: made.run(stage) for stage in ("metal", "part", "pattern")}
    core = results["pattern"].cores[0]
    lift = cores.lifts(results["pattern"], results["metal"])[0]
    length, wide = 0.260, 0.012
    by_hand = 8.0 * lift * length / (8.0 * math.pi * wide**3 / 8.0) / 2.0  # F L / 8 over pi d3 / 32
    assert core_stress(lift, core.span, core.width, core.prints) == pytest.approx(by_hand, rel=0.1)
    told = cores._breaks(core, lift)
    assert told is not None
    assert told.margin is not None
    assert told.weight == "STOP"
    assert told.margin.value == pytest.approx(core.tensile / by_hand, rel=0.1)
    cure = stronger_core(told, results, made)
    assert cure is not None
    assert cure.asks is not None
    stronger = made.variant(asks=cure.asks).run("pattern")
    after = cores._breaks(stronger.cores[0], cores.lifts(stronger, results["metal"])[0])
    assert after is None or after.weight == "MIND"
    assert stronger_core(told, {**results, "pattern": stronger}, made.variant(asks=cure.asks)) is None
