"""Changes that may lift a STOP of the pattern or of the sand: another way to lie, bars across the cope."""

from __future__ import annotations

import dataclasses

from strickle.base import Finding, tell
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Pattern, PatternAsk, aimed
from strickle.trials.cure import Cure, Results, find
from strickle.trials.runner import Runner

BAY = 0.15
"""m between bars, where the cope is tried with them."""
STANDS = 0.6
"""Chance that the cope is handled whole which is asked for: the mould room stops a plan under it."""
MOST_LYING = 2
"""Other ways to lie that are tried."""


def laid_otherwise(finding: Finding, results: Results, runner: Runner) -> Cure | None:
    """The part drawn another way, of those that the pattern room found, the best first; None where the person said which side is up.

    What a way traps is not asked before: a core that stands in one may not in another.
    """
    asked, pattern, part = runner.ask("pattern"), find(results, "pattern", Pattern), find(results, "part", Part)
    assert isinstance(asked, PatternAsk)
    if asked.up is not None or asked.parting is not None or asked.open_face:
        return None
    others = sorted((way for way in pattern.ways if not way.chosen), key=lambda way: way.score)[:MOST_LYING]

    def lying(number: int) -> Cure | None:
        if number >= len(others):
            return None
        up = aimed(others[number])
        return Cure(
            change=lambda after: f"the part drawn with {up} up (--up {up})",
            of="the part's own volume over that with what the mould cannot release filled",
            margin=lambda r, after, k: part.volume / (part.volume + find(r, "pattern", Pattern).undercut_volume),
            asks={"pattern": dataclasses.replace(asked, up=others[number].up)},
            again=lambda after: lying(number + 1),
        )

    return lying(0)


def barred(finding: Finding, results: Results, runner: Runner) -> Cure | None:
    """Bars across the cope, or nearer together; None where they stand so already, or the flask is hardly wider than a bay."""
    kit, flask = runner.stores.kit, find(results, "mould", Mould).flask
    if 0.0 < kit.bars <= BAY or min(flask.length, flask.width) <= BAY:
        return None
    return Cure(
        change=lambda after: f"bars across the cope, {tell(BAY, 'm')} apart",
        of="chance that the cope is handled whole over what is asked for",
        margin=lambda r, after, k: (1.0 - find(r, "mould", Mould).sand_chances.handling) / STANDS,
        kit=dataclasses.replace(kit, bars=BAY),
    )
