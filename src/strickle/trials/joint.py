"""A crooked joint given up where nothing can be fixed to it, or where its sand ends in feather edges: a flat joint has level ground all round."""

from __future__ import annotations

import dataclasses

from strickle.base import Finding, tell
from strickle.mould import Mould
from strickle.pattern import Pattern, PatternAsk
from strickle.rigging import Rigging, RiggingAsk
from strickle.trials.lay import Lay
from strickle.trials.runner import Runner

WANTING = ("rigging.no_ingate", "rigging.no_riser_place", "rigging.no_room")
EDGES, BETTER = 0.4, 0.2
"""Chance that an edge of the sand breaks from which a flat joint is tried, and by how much less must fail with it."""


def wants_level(runner: Runner, lay: Lay) -> bool:
    """Whether the joint is crooked by the program's own choice, and the rigging finds no place on it or its sand's edges likely break."""
    ask, pattern, rigging = runner.ask("pattern"), lay.results.get("pattern"), lay.results.get("rigging")
    crooked = isinstance(ask, PatternAsk) and ask.joint == "best" and isinstance(pattern, Pattern) and pattern.sheet is not None
    return crooked and isinstance(rigging, Rigging) and (_feathers(lay) >= EDGES or any(f.code in WANTING for f in rigging.stops))


def _feathers(lay: Lay) -> float:
    """Chance that an edge of the sand breaks."""
    mould = lay.results.get("mould")
    return mould.sand_chances.edge if isinstance(mould, Mould) else 0.0


def levelled(runner: Runner, lay: Lay, wish: RiggingAsk, rough: bool) -> tuple[str, tuple[Finding, ...]]:
    """The plan laid again on a flat joint, if that takes its rigging; else as it was. Gives why it ends, if it does, and what is told.

    From then on the runner has the flat joint as what is asked for.
    """
    ask, before, crooked, rammed = runner.ask("pattern"), lay.results["rigging"], lay.results["pattern"], lay.results["mould"]
    assert isinstance(ask, PatternAsk)
    assert isinstance(rammed, Mould)
    assert isinstance(crooked, Pattern)
    assert crooked.sheet is not None
    runner.settle("pattern", dataclasses.replace(ask, joint="flat"))
    lay.results["pattern"] = flat = runner.run("pattern")
    assert isinstance(flat, Pattern)
    stop = lay.go(wish, rough)
    after, mould = lay.results.get("rigging"), lay.results.get("mould")
    if not stop and isinstance(after, Rigging) and isinstance(mould, Mould):
        now, then = len(after.stops) + len(flat.stops), len(before.stops) + len(crooked.stops)
        wanting = next((f for f in before.stops if f.code in WANTING), None)
        if wanting is not None and now < then:
            return "", (_given_up(wanting, crooked.sheet.saved, flat),)
        if wanting is None and now <= then and mould.sand_chances.any < rammed.sand_chances.any - BETTER:
            return "", (_feathered(rammed, mould, crooked.sheet.saved, flat),)
    runner.settle("pattern", ask)
    lay.results["pattern"] = runner.run("pattern")
    return lay.go(wish, rough), ()


def _feathered(before: Mould, after: Mould, saved: float, flat: Pattern) -> Finding:
    return Finding(
        code="trials.flat_joint",
        weight="NOTE",
        says="A crooked joint was tried and given up, and the part is parted flat: its sand would end in feather edges",
        because=(
            f"The chance that the sand fails is {tell(before.sand_chances.any, '1', '%')} on the crooked joint,"
            f" {tell(after.sand_chances.any, '1', '%')} on the flat one; the crooked one would release {tell(saved, 'm3')} more,"
            f" the flat one fills {tell(flat.undercut_volume, 'm3')} of undercut, to be machined off or drilled"
        ),
        do="Ask for the crooked one with --joint crooked; or draw the part so that the joint meets it more squarely",
        source="run by this program: both joints rammed and rigged",
    )


def _given_up(stop: Finding, saved: float, flat: Pattern) -> Finding:
    return Finding(
        code="trials.flat_joint",
        weight="NOTE",
        says=f"A crooked joint was tried and given up, and the part is parted flat: on it, {stop.says[:1].lower()}{stop.says[1:]}",
        because=(
            f"The crooked joint would release {tell(saved, 'm3')} more, but gates and risers want level ground beside the part;"
            f" the flat one fills {tell(flat.undercut_volume, 'm3')} of undercut, to be machined off or drilled"
        ),
        do="Ask for it with --joint crooked if you gate by hand; or give the part a level edge to gate on",
        source="run by this program: both joints rigged",
    )
