"""The open back in the trials: what the verdict says of it, and the stock that would clean it up."""

from __future__ import annotations

import dataclasses
import math

from strickle.base import Finding, Record, tell
from strickle.metal import Metal
from strickle.pattern import Pattern, PatternAsk
from strickle.rigging import RiggingAsk
from strickle.sound import Back, Sound
from strickle.trials.cure import Cure, Results, find
from strickle.trials.runner import Runner

STEP = 0.5e-3  # m, stock is given in such steps
OVER = 1.1  # of the deepest sink at the high end of its band


def back_clause(sound: Sound) -> str:
    """What of the back belongs in the verdict; nothing for a two-part mould."""
    back = sound.back
    if back is None:
        return ""
    least, most = (tell(depth, "m", "fine") for depth in (back.deepest.value, back.deepest.high))
    band = f"{least} at the deepest, {most} at the worst"
    return f" The open back sinks {band}, with {tell(back.allowance, 'm', 'fine')} of metal over the finished face."


def _margin(results: Results) -> float:
    back = find(results, "sound", Sound).back
    return back.allowance / back.deepest.value if back is not None and back.deepest.value > 0 else math.nan


def more_stock(finding: Finding, results: Results, runner: Runner) -> Cure | None:
    """More stock on the back: it must be deeper than what the thicker casting then sinks by, at the high end."""
    ask = runner.ask("pattern")
    back, metal = find(results, "sound", Sound).back, find(results, "metal", Metal)
    if back is None or not isinstance(ask, PatternAsk):
        return None
    now = find(results, "pattern", Pattern).stock
    stock = stock_wanted(back, now, metal.shrinkage)
    if stock <= now:
        return None
    rigging = runner.ask("rigging")
    asks: dict[str, Record] = {"pattern": dataclasses.replace(ask, stock=stock)}
    weighed = isinstance(rigging, RiggingAsk) and isinstance(rigging.fill, float)
    if isinstance(rigging, RiggingAsk) and weighed:  # the mass asked for was for less stock
        asks["rigging"] = dataclasses.replace(rigging, fill="level")
    return Cure(
        change=lambda after: f"{tell(stock, 'm', 'fine')} of stock on the back" + (", poured level with the rim" if weighed else ""),
        of="metal over the finished face over the back's deepest sink",
        margin=lambda r, after, k: _margin(r),
        asks=asks,
        again=lambda after: more_stock(finding, after, runner) if "sound" in after else None,
    )


def stock_wanted(back: Back, stock: float, shrinkage: float) -> float:
    """Stock [m] that outlasts the sink at its high end, itself counted: what is added sinks too, twice its share at the deepest place."""
    lacks = max(OVER * back.deepest.high - back.allowance, 0.0) / (1.0 - 2.0 * OVER * shrinkage)
    return math.ceil((stock + lacks) / STEP - 1e-9) * STEP
