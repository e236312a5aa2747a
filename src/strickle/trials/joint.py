"""A crooked joint given up where nothing can be fixed to it: gates and risers want level ground, and a flat joint has it all round."""

from __future__ import annotations

import dataclasses

from strickle.base import Finding, tell
from strickle.pattern import Pattern, PatternAsk
from strickle.rigging import Rigging, RiggingAsk
from strickle.trials.lay import Lay
from strickle.trials.runner import Runner

WANTING = ("rigging.no_ingate", "rigging.no_riser_place", "rigging.no_room")


def wants_level(runner: Runner, lay: Lay) -> bool:
    """Whether the joint is crooked by the program's own choice, and the rigging finds no place on it for what stops the plan."""
    ask, pattern, rigging = runner.ask("pattern"), lay.results.get("pattern"), lay.results.get("rigging")
    crooked = isinstance(ask, PatternAsk) and ask.joint == "best" and isinstance(pattern, Pattern) and pattern.sheet is not None
    return crooked and isinstance(rigging, Rigging) and any(f.code in WANTING for f in rigging.stops)


def levelled(runner: Runner, lay: Lay, wish: RiggingAsk, rough: bool) -> tuple[str, tuple[Finding, ...]]:
    """The plan laid again on a flat joint, if that takes its rigging; else as it was. Gives why it ends, if it does, and what is told.

    From then on the runner has the flat joint as what is asked for.
    """
    ask, before, crooked = runner.ask("pattern"), lay.results["rigging"], lay.results["pattern"]
    assert isinstance(ask, PatternAsk)
    assert isinstance(crooked, Pattern)
    assert crooked.sheet is not None
    runner.settle("pattern", dataclasses.replace(ask, joint="flat"))
    lay.results["pattern"] = flat = runner.run("pattern")
    assert isinstance(flat, Pattern)
    stop = lay.go(wish, rough)
    after = lay.results.get("rigging")
    if not stop and isinstance(after, Rigging) and len(after.stops) + len(flat.stops) < len(before.stops) + len(crooked.stops):
        return "", (_given_up(next(f for f in before.stops if f.code in WANTING), crooked.sheet.saved, flat),)
    runner.settle("pattern", ask)
    lay.results["pattern"] = runner.run("pattern")
    return lay.go(wish, rough), ()


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
