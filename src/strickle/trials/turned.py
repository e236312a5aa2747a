"""Another way to draw the part where the first one stops the plan for its undercuts or leaves a core that nothing holds.

A core that stands in one way may not in another.
"""

from __future__ import annotations

import dataclasses

from strickle.base import Finding, Watch, tell
from strickle.pattern import Pattern, PatternAsk, aimed
from strickle.trials.runner import Runner

CODE = "pattern.undercut"
MOST = 3
"""Other ways that are tried, the best by the pattern room's own search first."""


def wants_turning(runner: Runner, pattern: Pattern) -> bool:
    """Whether sand that nothing releases stops the plan, or a core lies in no sand; and the way to draw it is the program's own choice."""
    ask = runner.ask("pattern")
    free = isinstance(ask, PatternAsk) and ask.up is None and ask.parting is None and not ask.open_face
    return free and (_stuck(pattern) or bool(_loose(pattern)))


def _stuck(pattern: Pattern) -> bool:
    return any(f.code == CODE for f in pattern.stops)


def _loose(pattern: Pattern) -> list[str]:
    """Names of cores that nothing holds: neither a print nor what of them leaves the part's outline lies in sand."""
    return [core.name for core in pattern.cores if core.bearing <= 0.0]


def turned(runner: Runner, first: Pattern, watch: Watch) -> tuple[Pattern, tuple[Finding, ...]]:
    """The part patterned the first of its other ways in which nothing of that stops the plan, and what is told of it; else as it was.

    From then on the runner has that way as what is asked for.
    """
    ask = runner.ask("pattern")
    assert isinstance(ask, PatternAsk)
    for way in sorted((way for way in first.ways if not way.chosen), key=lambda way: way.score)[:MOST]:
        watch(0.3, f"drawing it another way, for {'too much stays undercut' if _stuck(first) else 'a core would float'}")
        runner.settle("pattern", dataclasses.replace(ask, up=way.up, tried=True))
        other = runner.run("pattern")
        assert isinstance(other, Pattern)
        better = other.undercut_volume < first.undercut_volume if _stuck(first) else True
        if better and not _stuck(other) and not _loose(other):
            return other, (_told(first, other, aimed(way), aimed(next(one for one in first.ways if one.chosen))),)
    runner.settle("pattern", ask)
    again = runner.run("pattern")
    assert isinstance(again, Pattern)
    return again, ()


def _told(first: Pattern, other: Pattern, up: str, before: str) -> Finding:
    cores = f", with {len(other.cores)} {'core' if len(other.cores) == 1 else 'cores'}" if other.cores else ""
    return Finding(
        code="trials.turned",
        weight="NOTE",
        says=f"The part is drawn with {up} up{cores}: with {before} up "
        + ("too much of it would have to be filled" if _stuck(first) else f"nothing would hold {_loose(first)[0]}"),
        because=(
            f"{tell(first.undercut_volume, 'm3')} of sand would not come out there, {tell(other.undercut_volume, 'm3')} here;"
            " what a core answers is seen only once it is made"
        ),
        do=f"Give --up {before} if you want it the first way all the same",
        source="run by this program: both ways patterned",
    )
