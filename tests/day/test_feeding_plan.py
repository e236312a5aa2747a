"""Feeding in planned castings: risers that give, places that are left without, and what the findings say of it."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from planned import planned, text, wished

from strickle.cavity import PART, RISER
from strickle.rigging import RiserWish
from strickle.sound import rules
from strickle.sound.feeding import PoolEnded
from strickle.sound.void_findings import void_findings
from strickle.sound.voids import Closed, Reach


def sound_of(trail):
    return trail.results["sound"]


@pytest.mark.parametrize("part", ["demo", "boss"])
def test_of_a_sound_plan_the_voids_lie_in_risers_and_running(part):
    trail = planned(part)
    feeding, cavity = sound_of(trail).feeding, trail.results["cavity"]
    assert feeding.void_balance < 1e-6
    assert feeding.void_volume == pytest.approx(feeding.lost_volume, rel=1e-6)
    void = np.nan_to_num(feeding.open_void + feeding.closed_void)
    assert np.nansum(feeding.cell_metal) == pytest.approx(cavity.mesh_volume, rel=1e-9)
    void = np.nan_to_num(void * feeding.cell_metal)
    assert void.sum() == pytest.approx(feeding.void_volume, rel=1e-6)
    own = next(b for b in feeding.bodies if b.name == "part")
    assert own.void < 0.01 * own.own_loss
    assert own.given == pytest.approx(-sum(b.given for b in feeding.bodies if b.name != "part"), rel=1e-6)
    risers = [b for b in feeding.bodies if b.name.startswith("riser")]
    assert len(risers) == len(trail.results["rigging"].risers)
    for riser in risers:
        assert riser.given > 0.0
        assert riser.efficiency == pytest.approx(riser.given / riser.volume)
        assert 0.0 < riser.pipe_depth < 0.6 * trail.results["rigging"].risers[0].height
        assert riser.fed_until <= riser.joined_until
    assert void[cavity.grid.tags == RISER].sum() > 0.8 * (void.sum() - void[(cavity.grid.tags != RISER) & (cavity.grid.tags != PART)].sum())
    assert not {f.code for f in trail.findings} & {"sound.cavity", "sound.pipe_reaches", "sound.void_balance"}


def test_left_without_risers_the_demo_keeps_closed_voids_where_they_were():
    _, sounds = wished("demo", RiserWish(spot=0, drop=True), RiserWish(spot=1, drop=True))
    sound = sounds[-1]
    found = [f for f in sound.findings if f.code == "sound.cavity"]
    assert found
    largest = sound.feeding.pools[0]
    own = next(b for b in sound.feeding.bodies if b.name == "part")
    assert sum(p.part_void for p in sound.feeding.pools) == pytest.approx(own.void, rel=0.02)  # crumbs of pools are left out
    assert largest.part_void > 0.2 * own.own_loss
    # the largest lies by the place that freezes last in the part
    assert np.linalg.norm(largest.at - sound.last_to_freeze.at) < 0.02
    assert found[0].where.point is not None
    for f in found:
        assert f.weight == ("STOP" if f.margin.value < 1.0 else "MIND")


def made(face, under=3e-3):
    pool = PoolEnded(
        at=np.zeros(3), parted=0.0, cut_off=10.0, held=1e-5, ended=20.0, open_void=0.0, closed_void=5e-7, part_void=5e-7, is_open=False
    )  # fmt: skip
    return Closed(pool=pool, face=face, size=0.01, under=under)


def test_weights_follow_what_is_let_be():
    trail = planned("boss")
    feeding, metal, pattern = sound_of(trail).feeding, trail.results["metal"], trail.results["pattern"]
    low, high = rules.SINK.low, rules.SINK.high
    weights = [void_findings(feeding, (made(v),), (), metal, pattern)[0].weight for v in (1.2 * low, 0.9 * high, 1.1 * high)]
    assert weights == ["MIND", "MIND", "STOP"]
    thin, deep = (text(void_findings(feeding, (made(high, under),), (), metal, pattern)[0]) for under in (2e-3, 20e-3))
    assert "dip" in thin
    assert "dip" not in deep
    reach = [Reach(body="riser-1", into=into, depth=d, volume=1e-6, at=np.zeros(3)) for into, d in (("neck", 5e-3), ("part", 0.3e-3), ("part", 1e-3))]
    told = [void_findings(feeding, (), (r,), metal, pattern)[0] for r in reach]
    assert [f.weight for f in told] == ["MIND", "MIND", "STOP"]
    assert {f.code for f in told} == {"sound.pipe_reaches"}
    assert told[0].where.body == "riser-1"
    off = dataclasses.replace(feeding, void_balance=1e-3)
    assert [f.code for f in void_findings(off, (), (), metal, pattern)] == ["sound.void_balance"]
    assert [f.code for f in void_findings(dataclasses.replace(feeding, void_balance=math.nan), (), (), metal, pattern)] == ["sound.void_balance"]
