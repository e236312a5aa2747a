"""What the freezing says to the person."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from strickle.base import Finding, Margin, Value, Where, tell
from strickle.metal import Metal
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.rigging import Rigging, Riser
from strickle.sound import rules
from strickle.sound.exposure import hot_tear, pegs_in_rigging, pegs_lost
from strickle.sound.feeding import Feeding
from strickle.sound.judge import Pool, is_near, to_mould, to_part
from strickle.sound.result import NeckJudged

# loss per face under which a late place is let be, and over which it is called in need
SINK_SMALL, SINK_LARGE = rules.SINK.low, rules.SINK.high
GRID = 0.01  # what the grid may make of a joint's ratio: 0.002 was measured between 2 and 1.5 mm, 0.03 between 3.7 and 1.9 mm


def findings_of(
    *,
    result: Mapping[str, Any],
    status: str,
    pools: tuple[Pool, ...],
    part: Part,
    pattern: Pattern,
    rigging: Rigging,
    metal: Metal,
    threshold: Value,
    origin: str,
    tear: Value,
    lost: tuple[str, ...],
    feeding: Feeding | None = None,
) -> tuple[Finding, ...]:
    """Joints, pools that stand alone, weak gradients, hot tearing, pegs that found nothing, and whether the solve itself can be trusted.

    ``origin`` says where the Niyama threshold comes from, ``tear`` is the hot-tear ratio from which places are told, ``lost`` names pegs.
    """
    found: list[Finding] = []
    if status != "done":
        found.append(
            Finding(
                code="sound.unfinished",
                weight="STOP",
                says=f"The freezing solve did not reach its end: {status}",
                because="times after that moment are not known",
                do="Run again with a coarser cell (--cell) or the rough preset; if it stays, report it",
            )
        )
    found += [_neck(neck, part, rigging, feeding) for neck in result["necks"]]
    served = _served(pools, result["necks"], part, pattern, rigging)
    found += [f for p in pools if p not in served and (f := _pool(p, part, pattern, metal, feeding)) is not None]
    if np.isfinite(result["poor_share"]) and result["poor_share"] > 0.02:
        found.append(_weak(result, threshold, origin, metal, rigging.open_pour is not None))
    found += hot_tear(result["criteria"], tear, metal) + pegs_lost(lost) + pegs_in_rigging(result["pegs"])
    if result["balance_error"] > 1e-6:
        found.append(
            Finding(
                code="sound.balance",
                weight="MIND",
                says=f"The heat balance of the solve is open by {tell(result['balance_error'], '1')}",
                because="heat lost by the metal and found in sand and air should agree to one part in a million",
                do="Take the times with doubt and report it",
            )
        )
    return tuple(found)


def _neck(neck: NeckJudged, part: Part, rigging: Rigging, feeding: Feeding | None) -> Finding:
    riser = next(r for r in rigging.risers if r.name == neck.riser)
    spot = part.hot_spots[neck.feeds]
    first = "neck" if neck.neck_time < neck.riser_time else "riser"
    margin = Margin(value=neck.margin, unit="1", of=f"{first} freezing time over that of the place it feeds")
    where = Where(point=(float(spot.at[0]), float(spot.at[1]), float(spot.at[2])), body=neck.riser)
    size = f"{neck.riser} ({tell(riser.diameter, 'm')} across, neck {tell(riser.neck.area, 'm2')})"
    times = (
        f"the fed place is solid at {tell(neck.fed_time, 's')}, the neck at {tell(neck.neck_time, 's')}, the riser at {tell(neck.riser_time, 's')}"
    )
    least, joint_least = (tell(v.value - 1.0, "1", "%") for v in (rules.LEAST_RATIO, rules.NECK_LEAST))
    bars = f"a riser is called sound where it outlasts what it feeds by {least}, a neck by {joint_least}"
    if not rules.is_short(neck.fed_time, neck.neck_time, neck.riser_time):
        ratio, joint = neck.riser_time / neck.fed_time, neck.neck_time / neck.fed_time
        close = joint < rules.NECK_RATIO.value
        return Finding(
            code="sound.neck_close" if close else "sound.fed",
            weight="MIND" if close else "NOTE",
            says=f"{size} outlasts what it feeds {tell(ratio, '1')} times, its neck {'only ' if close else ''}{tell(joint, '1')} times",
            because=f"{times}; {bars}{_gave(riser, neck.fed_time, feeding)}",
            do="Do not trim the neck in the sand" + ("; saw the first casting through this spot" if close else "; keep riser and neck as drawn"),
            where=where,
            margin=margin,
            source="campbell",
        )
    short = "neck" if neck.neck_time < rules.NECK_LEAST.value * neck.fed_time else "riser"
    ratio = (neck.neck_time if short == "neck" else neck.riser_time) / neck.fed_time
    late = (
        f"outlasts what it feeds by only {tell(ratio - 1.0, '1', '%')}"
        if ratio >= 1.0
        else f"freezes first, after {tell(ratio, '1', '%')} of the time of what it feeds"
    )
    bar = (rules.NECK_LEAST if short == "neck" else rules.LEAST_RATIO).value
    near = (
        f"; it misses the bar by {tell(bar - ratio, '1', '%')}, and a finer grid may judge that otherwise: --preset fine"
        if bar - ratio < GRID
        else ""
    )
    return Finding(
        code=f"sound.{short}_short",
        weight="STOP",
        says=f"The {short} of {size} {late}",
        because=f"{times}; {bars}{_gave(riser, neck.fed_time, feeding)}; unfed, the spot would lose {tell(spot.loss, 'm')} a face",
        do="A larger riser or neck, or a chill at the far side, may help; none that was tried here reached it" + near,
        where=where,
        margin=margin,
        source="campbell",
    )


def _gave(riser: Riser, solid: float, feeding: Feeding | None) -> str:
    """What the pools say of a riser: the better answer on how much it gave, until when and how deep it pipes; the bars on times stay.

    ``solid`` is when what it feeds is solid [s]: where it gave no longer than till some time before, the reason is told.
    """
    body = next((b for b in feeding.bodies if b.name == riser.name), None) if feeding is not None else None
    if feeding is None or body is None:
        return ""
    pipe = f"it pipes {tell(min(body.pipe_depth, riser.height), 'm')} deep of its {tell(riser.height, 'm')}" if body.pipe_depth > 0.0 else ""
    if not np.isfinite(body.fed_until):
        return "; followed pool by pool it gives the part nothing" + (f"; {pipe}" if pipe else "")
    gave = f"; followed pool by pool it gives {tell(body.given, 'm3')}, {tell(body.efficiency, '1', '%')} of itself, till {tell(body.fed_until, 's')}"
    early = body.fed_until < solid and body.pipe_depth < riser.height  # one that is empty ends for want of metal
    why = f" (what it feeds, or the way there, is then as good as stiff: past {tell(feeding.critical_solid, '1', '%')} solid no metal is passed on)"
    return gave + (why if early else "") + (f"; {pipe}" if pipe else "")


def _kept(feeding: Feeding | None) -> str:
    """What the pools say of the whole part."""
    part = next((b for b in feeding.bodies if b.name == "part"), None) if feeding is not None else None
    return f"; followed pool by pool, {tell(part.void, 'm3')} is missing in the whole part" if part is not None else ""


def _served(pools: tuple[Pool, ...], necks: tuple[NeckJudged, ...], part: Part, pattern: Pattern, rigging: Rigging) -> tuple[Pool, ...]:
    """The pools that joints were judged by already: of each joint the latest near it."""
    served = []
    for neck in necks:
        riser = next(r for r in rigging.risers if r.name == neck.riser)
        spot = part.hot_spots[neck.feeds]
        close = [p for p in pools if is_near(p, to_mould(pattern, spot.at), riser, spot)]
        if close:
            served.append(max(close, key=lambda p: p.time))
    return tuple(served)


def _pool(pool: Pool, part: Part, pattern: Pattern, metal: Metal, feeding: Feeding | None) -> Finding | None:
    """A place of the part that is cut off while still liquid: what it loses as it freezes shows as sink or hole."""
    lost = metal.shrinkage * pool.volume
    depth = metal.shrinkage * pool.volume / pool.area
    if depth < SINK_SMALL:
        return None
    at = to_part(pattern, pool.at)
    point = (float(at[0]), float(at[1]), float(at[2]))
    heavy = depth > SINK_LARGE
    return Finding(
        code="sound.cut_off",
        weight="MIND",
        says=f"A pool of {tell(pool.volume, 'm3')}, risers and ingates that still hang on it counted, is cut off at {tell(pool.closes, 's')} "
        f"and freezes alone till {tell(pool.time, 's')}",
        because=(
            f"it loses {tell(lost, 'm3')} on freezing with nothing to feed it, {tell(depth, 'm')} over its whole surface;"
            f" {'a hole or sink there is likely' if heavy else 'a small sink may show'}{_kept(feeding)}"
        ),
        do="A riser on it, a chill against it, or less metal there may help; if the place is machined away or hidden, let it be",
        where=Where(point=point),
        margin=Margin(value=SINK_LARGE / depth, unit="1", of="loss per face let pass over the loss here"),
        source="house",
    )


def _weak(result: Mapping[str, Any], threshold: Value, origin: str, metal: Metal, is_open: bool) -> Finding:
    weak = result["least_niyama"]
    share = result["poor_share"]
    point = (float(weak.at_part[0]), float(weak.at_part[1]), float(weak.at_part[2]))
    alloy = "" if metal.family == "aluminium" else f" The threshold was found for aluminium alloys and is only a guide for {metal.name}."
    return Finding(
        code="sound.weak_gradient",
        weight="MIND",
        says=f"{tell(share, '1', '%')} of the part freezes with little gradient to draw metal along: fine scattered porosity is possible there",
        because=(
            f"its Niyama value lies under {tell(threshold.value, '1')} root(K s) per mm; one part in a hundred lies under {tell(weak.value, '1')}."
            f" Such thresholds depend on the alloy and on what is called porous: published ones run from {tell(threshold.low, '1')} to"
            f" {tell(threshold.high, '1')}. Ours: {origin}.{alloy}"
        ),
        do="For a part that must be tight or polished, "
        + ("a two-part mould with a riser and a chill" if is_open else "a chill at the far end or metal taken out")
        + " may help; otherwise mind where you machine",
        where=Where(point=point),
        margin=Margin(
            value=weak.value / threshold.value,
            unit="1",
            of="Niyama value over the threshold",
            low=weak.value / threshold.high,
            high=weak.value / threshold.low,
        ),
        source="niyama",
    )
