"""One pour on paper, likely and at both ends: hand, basin, losses and thermometer taken together."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Span
from strickle.cavity import Cavity
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.pour.ask import PourAsk
from strickle.pour.hand import Hand, Pot, Schedule, Stretch, interruption, lip_of, pots_of, rate_of, schedule, stopped
from strickle.pour.hydraulics import Head, Layers, basin_of, head_of, layers_of, layers_over, passes, topping
from strickle.rigging import Rigging
from strickle.stores import Kit

LOSSES_UNSURE = 0.10
"""Spread of the discharge coefficient: loss coefficients are good to a fifth, and it goes with their root (guess)."""
KEPT = {"yes": (1.0, 1.0, 0.5), "no": (0.5, 1.0, 0.0)}
"""Share of the basin that stands full while the part fills, likely, at best and at worst: kept full or not (common practice; a guess)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What one pour goes by; ``most`` [m3/s] is what the hand pours."""

    head: Head
    discharge: float
    most: float
    pot: Pot


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """How one pour goes: times [s] until the part is full and until all is, and what of the first an interruption makes up."""

    fill: float
    whole: float
    lost: float
    goes: Schedule


@dataclass(frozen=True, slots=True, kw_only=True)
class OnPaper:
    """The pour on paper."""

    fill: Span
    whole: Span
    lost: float
    hand: Hand


def on_paper(rigging: Rigging, cavity: Cavity, metal: Metal, melt: Melt, kit: Kit, ask: PourAsk) -> OnPaper:
    """The hand fills the basin as fast as it can, then gives what the mould takes, then what risers take with the basin full, for they do not
    fill to the top otherwise; never more than it pours.
    """
    rate, at = rate_of(ask, kit, metal), interruption(ask)
    layers, over = layers_of(cavity, rigging), layers_over(cavity)
    likely, fast, slow = (_run(case, layers, over, rigging, at) for case in _cases(rigging, metal, melt, rate, ask))
    return OnPaper(
        fill=Span(value=likely.fill, low=fast.fill, high=slow.fill),
        whole=Span(value=likely.whole, low=fast.whole, high=slow.whole),
        lost=likely.lost,
        hand=Hand(lip=lip_of(ask), kept_full=ask.kept_full == "yes", rate=rate, likely=likely.goes, slow=slow.goes, fast=fast.goes),
    )


def _cases(rigging: Rigging, metal: Metal, melt: Melt, rate: Span, ask: PourAsk) -> tuple[Case, Case, Case]:
    """Likely, fast and slow."""
    full, most, least = (head_of(rigging, share) for share in KEPT[ask.kept_full])
    likely, cold, hot = pots_of(melt, metal)
    discharge = rigging.discharge
    return (
        Case(head=full, discharge=discharge, most=rate.value, pot=likely),
        Case(head=most, discharge=min(discharge * (1.0 + LOSSES_UNSURE), 1.0), most=rate.high, pot=hot),
        Case(head=least, discharge=discharge * (1.0 - LOSSES_UNSURE), most=rate.low, pot=cold),
    )


def _run(case: Case, layers: Layers, over: Layers, rigging: Rigging, at: Stretch | None) -> Run:
    basin = basin_of(rigging) / case.most
    filling = tuple(passes(layers, rigging, case.head, case.discharge, case.most))
    after = tuple(topping(over, rigging, head_of(rigging), case.discharge, case.most))
    fill = sum(long for long, _ in filling)
    whole = basin + fill + sum(long for long, _ in after)
    lost = stopped(at, basin + fill)
    goes = schedule(((basin, case.most), *filling, *after), case.pot, at)
    return Run(fill=fill + lost, whole=whole + stopped(at, whole), lost=lost, goes=goes)
