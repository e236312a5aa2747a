"""What is told of hot tearing, and of pegs that found nothing to measure."""

from __future__ import annotations

from strickle.base import Finding, Margin, Value, Where, tell
from strickle.metal import Metal
from strickle.sound import rules
from strickle.sound.result import Criteria, Peg


def hot_tear(criteria: Criteria, bar: Value, metal: Metal) -> tuple[Finding, ...]:
    """Told of an alloy that is long weak while little liquid is left to heal it, from the ratio ``bar`` on, with the part's worst place."""
    own, worst = criteria.hot_tear_alloy, criteria.hot_tear
    if worst is None or not own > bar.value:
        return ()
    point = (float(worst.at_part[0]), float(worst.at_part[1]), float(worst.at_part[2]))
    early, late, last = (tell(share, "1", "%") for share in (rules.RELIEVED_FROM, rules.VULNERABLE_FROM, rules.VULNERABLE_TO))
    alloy = "" if metal.family == "aluminium" else f" The ratio told from was set by aluminium alloys and is only a guide for {metal.name}."
    return (
        Finding(
            code="sound.hot_tear",
            weight="MIND",
            says=f"{metal.name} stays weak for long as its last liquid goes: a chance of hot tears where the sand or a core holds the casting back",
            because=(
                f"from {late} to {last} solid, when films between the crystals tear, it takes {tell(own, '1')} times as long as from {early} to"
                f" {late}, when liquid still heals what tears; it is told from {tell(bar.value, '1')} on. In this part the longest is"
                f" {tell(worst.value, '1')}, at the place shown. It ranks alloys and places; what holds the casting back is not computed.{alloy}"
            ),
            do="An alloy with more silicon, rounder inside corners, even walls or weaker cores may help",
            where=Where(point=point),
            margin=Margin(value=bar.value / own, low=bar.low / own, high=bar.high / own, unit="1", of="ratio it is told from over the alloy's own"),
            source="clyne",
        ),
    )


def pegs_lost(names: tuple[str, ...]) -> tuple[Finding, ...]:
    """Pegs asked for that lie outside metal and sand."""
    if not names:
        return ()
    listed = ", ".join(names)
    return (
        Finding(
            code="sound.peg_outside",
            weight="MIND",
            says=f"No cooling curve for {listed}: nothing to measure in there",
            because="the place lies outside the flask or in the air over the metal",
            do="Give it in the part's own coordinates, in the metal or the sand round it (--pegs)",
            source="computed",
        ),
    )


def pegs_in_rigging(pegs: tuple[Peg, ...]) -> tuple[Finding, ...]:
    """Pegs asked for that lie in metal of the rigging, in a chill or in a sleeve: their curves say nothing of the part."""
    astray = [peg for peg in pegs if peg.why == "asked for" and peg.material not in ("metal", "sand")]
    if not astray:
        return ()
    first = astray[0].at_part
    return (
        Finding(
            code="sound.peg_in_rigging",
            weight="MIND",
            says=f"Not in the part: {', '.join(f'{peg.name} lies in the {peg.material}' for peg in astray)}",
            because="the part ends before that place, so the curve says nothing of the part's own metal",
            do="If the part or the sand is meant, move it there, in the part's own coordinates (--pegs); else let it be",
            where=Where(point=(float(first[0]), float(first[1]), float(first[2]))),
            source="computed",
        ),
    )
