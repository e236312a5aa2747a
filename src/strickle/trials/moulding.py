"""Changes that may lift a STOP of the pattern, of a core or of the sand: another way to lie, a straight lift, more draft, bars, other core sand."""

from __future__ import annotations

import dataclasses
import math

from strickle.base import Finding, tell
from strickle.cavity import Cavity
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Pattern, PatternAsk, aimed
from strickle.pattern.rules import constant
from strickle.trials.cure import Cure, Results, find
from strickle.trials.runner import Runner

BAY = 0.15
"""m between bars, where the cope is tried with them."""
STANDS = 0.6
"""Chance that the cope is handled whole, or all of the sand stands, which is asked for: the mould room stops a plan under it."""
MOST_LYING = 2
"""Other ways to lie that are tried."""
MORE = math.radians(2.0)
"""Draft laid on the rule's, where more of it is tried."""
MOST_DRAFT = math.radians(10.0)
"""And the most that is tried."""
STRONGER = "resin"
"""Core sand that is tried where another breaks."""


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


def drawn_better(finding: Finding, results: Results, runner: Runner) -> Cure | None:
    """What the person can do without another part: lift the pattern straight, then give its walls more draft. None where all of it is done."""
    asked, kit = runner.ask("pattern"), runner.stores.kit
    assert isinstance(asked, PatternAsk)
    outside, pockets = _steeper(asked, runner)

    def stands(r: Results, after: Results, k: object) -> float:
        return (1.0 - find(r, "mould", Mould).sand_chances.any) / STANDS

    of = "chance that all of the sand stands over what is asked for"
    angles = [tell(math.degrees(angle), "1") for angle in (outside, pockets)]
    drafted = Cure(
        change=lambda after: f"draft of {angles[0]} degrees outside and {angles[1]} in pockets (--draft-outside, --draft-pockets)",
        of=of,
        margin=stands,
        asks={
            "pattern": dataclasses.replace(
                asked, draft="added" if asked.draft == "none" else asked.draft, draft_outside=outside, draft_pockets=pockets
            )
        },
    )
    more = drafted if (outside, pockets) != (asked.draft_outside, asked.draft_pockets) else None
    if kit.lift != "hand":
        return more
    return Cure(
        change=lambda after: "the pattern lifted straight, with a bridge or guide pins (lift in the kit)",
        of=of,
        margin=stands,
        kit=dataclasses.replace(kit, lift="bridge"),
        again=lambda after: more,
    )


def _steeper(asked: PatternAsk, runner: Runner) -> tuple[float, float]:
    """Draft [rad] outside and in pockets: the rule's where there is none, else more than the rule's or than was asked for."""
    names, own = ("outside", "pocket"), (asked.draft_outside, asked.draft_pockets)
    if asked.draft == "none":
        own = (None, None)
    more = 0.0 if asked.draft == "none" else MORE
    first, second = (
        min((constant(runner.stores, f"draft.{name}").value if angle is None else angle) + more, max(angle or 0.0, MOST_DRAFT))
        for name, angle in zip(names, own)
    )
    return first, second


def stronger_core(finding: Finding, results: Results, runner: Runner) -> Cure | None:
    """Another core sand, where the one asked for breaks."""
    asked = runner.ask("pattern")
    assert isinstance(asked, PatternAsk)
    cores = find(results, "pattern", Pattern).cores
    if not cores or constant(runner.stores, f"core.{STRONGER}.tensile").value <= cores[0].tensile:
        return None
    return Cure(
        change=lambda after: f"cores of {find(after, 'pattern', Pattern).cores[0].medium_name} (--core-sand {STRONGER})",
        of="strength of the weakest core over the stress in it, told up to 2",
        margin=lambda r, after, k: min(
            (f.margin.value for f in find(r, "cavity", Cavity).findings if f.code == "cavity.core_breaks" and f.margin is not None), default=2.0
        ),
        asks={"pattern": dataclasses.replace(asked, core_sand=STRONGER)},
    )
