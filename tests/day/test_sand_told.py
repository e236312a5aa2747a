"""What the mould room says of the sand, through pattern and mould as a plan runs them."""

from __future__ import annotations

import dataclasses

import manifold3d as m3
import numpy as np
import pytest

import sand_shop as shop
from pattern_shop import aluminium, box, bracket, part_from, rod
from strickle.base import quiet
from strickle.mould import Mould, MouldAsk
from strickle.mould.steps import ram
from strickle.pattern import PatternAsk
from strickle.pattern.steps import make
from strickle.stores import SandTest, load, starter_kit


def rammed(solid, kit=None, **ask) -> Mould:
    part, metal, stores = part_from(solid), aluminium(), load(starter_kit() if kit is None else kit)
    pattern = make(part, metal, stores, PatternAsk(up=np.array([0.0, 0.0, 1.0]), **{"holes": "cast", **ask}), quiet)
    return ram(part, pattern, metal, stores, MouldAsk(), quiet)


def weights(mould: Mould) -> dict[str, str]:
    return {f.code: f.weight for f in reversed(mould.findings) if f.code.startswith("mould.")}


def pocketed(deep: float, wide: float = 20.0):
    return box(100, 60, deep + 8) - rod(wide, deep + 1, (50, 30, -1))


def test_a_deep_pocket_is_told_with_place_cause_and_cure():
    mould = rammed(pocketed(40), parting=0.048)
    tears = next(f for f in mould.findings if f.code == "mould.sand_tears")
    assert tears.weight == "STOP"
    assert "no deeper than wide" in tears.because
    assert "guessed" in tears.because
    assert tears.where is not None
    assert tears.where.point == pytest.approx((0.05, 0.03, 0.0), abs=2e-3)
    assert weights(mould)["mould.draw_chance"] == "MIND"
    body = mould.bodies[0]
    assert (body.half, body.kind) == ("drag", "pocket")
    assert mould.sand_chances.pocket == pytest.approx(body.chance, abs=1e-6)
    assert mould.sand_chances.any >= mould.sand_chances.pocket
    walls = mould.face_tear > 0
    assert mould.face_tear.shape == (part_from(pocketed(40)).mesh.faces.shape[0],)
    assert 0 < walls.sum() < walls.size
    assert mould.face_tear.max() == body.chance


def test_a_shallow_pocket_and_a_block_draw_clean():
    for solid in (pocketed(6), box(100, 60, 40)):
        assert set(weights(rammed(solid))) == set()


def test_a_deep_plain_hole_and_narrow_ones_are_told_apart():
    """A bracket's hole 20 mm wide and 39 deep without draft wants a core; its bolt holes are drilled."""
    told = weights(rammed(bracket(), draft="none"))
    assert told["mould.sand_tears"] == "STOP"
    assert told.get("mould.sand_fingers") == "MIND"


def test_narrow_fingers_are_filled_and_drilled():
    mould = rammed(box(100, 60, 20) - rod(6, 40, (30, 30, -10)) - rod(6, 40, (60, 30, -10)))
    fingers = [f for f in mould.findings if f.code == "mould.sand_fingers"]
    assert len(fingers) == 1
    assert fingers[0].says.startswith("2 narrow")
    assert "drill" in fingers[0].do


def test_a_bridge_lowers_the_chance_and_missing_rapping_raises_it():
    plain, steady, stuck = (
        rammed(pocketed(24), dataclasses.replace(starter_kit(), **more), parting=0.032).sand_chances.pocket
        for more in ({}, {"lift": "bridge"}, {"rapped": False})
    )
    assert steady < plain < stuck


def test_a_wide_flask_wants_bars():
    slab = box(500, 480, 40)
    kit = starter_kit()
    bare = rammed(slab, dataclasses.replace(kit, builds_flasks=True), parting=0.0)
    assert "mould.half_sags" in weights(bare)
    barred = rammed(slab, dataclasses.replace(kit, builds_flasks=True, bars=0.15), parting=0.0)
    assert barred.sand_chances.handling < 0.5 * bare.sand_chances.handling


def spoked(size: float):
    """A wheel of five spokes, a tenth of its width deep, all under the parting, at z from 0 up as a part."""
    return shop.wheel(size, 2).translate((0, 0, size / 10))


def test_a_big_mould_in_weak_sand_is_flagged_where_a_small_one_of_its_family_draws_clean():
    """Three bars that broke at 64 to 66 mm: 5 kPa green tensile strength, weak sand. Through pattern and mould, in flasks built to size."""
    weak = SandTest(date="2026-05-02", overhangs=np.array([0.064, 0.065, 0.066]))
    kit = dataclasses.replace(starter_kit(), builds_flasks=True, flasks=(), sand_test=weak)
    small, large = (rammed(spoked(size), kit, parting=size * 1e-4) for size in (100, 400))
    assert small.sand_chances.any < 0.1
    assert set(weights(small)) <= {"mould.flask_built"}
    assert large.sand_chances.any > 0.4
    assert weights(large)["mould.half_sags"] == "STOP"
    strong = dataclasses.replace(kit, sand_test=dataclasses.replace(weak, overhangs=np.array([0.098, 0.1, 0.102])))
    assert rammed(spoked(400), strong, parting=0.04).sand_chances.handling < large.sand_chances.handling - 0.2


@pytest.mark.parametrize(
    ("own", "gauge", "says"),
    [("oil-bonded", None, "the strength is yours"), ("oil-bonded", 1.0, "strength and drag are yours"), ("green", None, "")],
)
def test_only_what_was_measured_in_this_sand_is_called_the_persons_own(own, gauge, says):
    test = SandTest(date="2026-05-02", overhangs=np.array([0.064, 0.065, 0.066]), gauge=gauge)
    kit = dataclasses.replace(starter_kit(), sand=own, sand_test=test)
    stores, part, metal = load(kit), part_from(pocketed(40)), aluminium()
    pattern = make(part, metal, stores, PatternAsk(up=np.array([0.0, 0.0, 1.0]), holes="cast", parting=0.048), quiet)
    found = ram(part, pattern, metal, stores, MouldAsk(sand="oil-bonded"), quiet).findings
    tears, whole = (next(f for f in found if f.code == f"mould.{code}") for code in ("sand_tears", "draw_chance"))
    if says:
        assert says in tears.because
        assert "Measure" not in whole.do
    else:
        assert "drag, strength and the hand's tilt are guessed" in tears.because
        assert "Measure this sand" in whole.do
        assert "of another sand" in whole.do


def test_of_many_letters_the_first_are_told_one_by_one_and_the_rest_counted():
    slots = [box(1.2, 8, 3.5, (4 + 6 * i, 4 + 14 * j, 16.5)) for i in range(25) for j in range(2)]
    mould = rammed(box(156, 32, 20) - m3.Manifold.batch_boolean(slots, m3.OpType.Add), parting=0.0, draft="none")
    told = [f for f in mould.findings if f.code == "mould.sand_relief"]
    doubtful = [b for b in mould.bodies if b.chance >= 0.1]
    assert len(doubtful) == 50
    assert len(told) == 41
    assert told[-1].says.startswith("10 more low places")


def test_a_core_lowers_the_pocket_chance():
    """A bore along the draw, 16 wide through 44: left to the sand, and made by a core that is set in."""
    bored = box(100, 60, 44) - rod(16, 60, (50, 30, -8))
    sand, cored = (rammed(bored, parting=0.0, bores=bores).sand_chances.pocket for bores in ("sand", "core"))
    assert sand > 0.2
    assert cored < sand - 0.15


def test_the_combined_chance_is_told_on_three_levels():
    told = next(f for f in rammed(pocketed(40), parting=0.048).findings if f.code == "mould.draw_chance")
    assert told.chance is not None
    assert told.chance.low <= told.chance.likely <= told.chance.high
    assert told.margin is not None
    assert told.margin.low <= told.margin.value <= told.margin.high


def test_the_makers_plate_draws_clean_and_steep_letters_are_told_one_by_one(monkeypatch):
    from strickle.job import demo_plate

    clean = rammed(demo_plate.plate(), parting=0.0)
    assert len(clean.bodies) > 8  # the hollows of A, D, R, 0 and others are seen
    assert max(body.chance for body in clean.bodies) < 0.1
    assert "mould.sand_relief" not in weights(clean)
    monkeypatch.setattr(demo_plate, "RELIEF", 3.0)
    monkeypatch.setattr(demo_plate, "LEAN", np.radians(1.0))
    steep = rammed(demo_plate.plate(), parting=0.0, draft="none")
    told = [f for f in steep.findings if f.code == "mould.sand_relief"]
    doubtful = [body for body in steep.bodies if body.chance >= 0.1]
    assert len(told) == len(doubtful) >= 4
    places = np.array([f.where.point for f in told])
    assert len(np.unique(np.round(places, 4), axis=0)) == len(told)
    assert all("drill" not in f.do for f in told)
