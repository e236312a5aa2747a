"""How a hand pours: what goes over the lip and how hot it is there, against time."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from strickle.base import Array, Record, Span, Value, si, word
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.pour.ask import PourAsk
from strickle.stores import Kit

ALUMINIUM = 2380.0
"""kg/m3 of the melt the kit's pouring rates are stated for; another metal is poured at the same volume rate."""
LIP = Value(value=0.05, low=0.03, high=0.10, unit="m", source="house", mark="guess", note="lip of the pot over the basin's rim or the sand's level")
HELD = Value(value=1.0, low=0.8, high=1.25, unit="1", source="house", mark="guess", note="on a rate asked for: how well a hand holds it")
LEAST_HOLDS = 0.02
"""Least share of the full pot's heat capacity reckoned with: a pot scraped empty has no temperature to speak of."""
FINE = 64
"""Pieces that a schedule is cut into at the least, so that temperature runs straight between its times."""

Stretch = tuple[float, float]
"""Duration [s] and flow [m3/s] over it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Schedule(Record):
    """Metal over the lip. The flow stays level from each time to the next and is none before the first and after the last; temperature
    runs straight between the times and stays level beyond them.
    """

    time: Array = si("s", "counted from the first metal over the lip, rising", shape="(m,)")
    flow: Array = si("m3/s", "over the lip from that time to the next, one fewer than times", shape="(n,)")
    temperature: Array = si("K", "of the metal at the lip at that time", shape="(m,)")

    @property
    def lasts(self) -> float:
        """From first to last metal over the lip [s], interruptions included."""
        return float(self.time[-1])

    def flow_at(self, time: float) -> float:
        """Flow [m3/s] at ``time`` [s]."""
        if not 0.0 <= time < self.lasts:
            return 0.0
        return float(self.flow[int(np.searchsorted(self.time, time, side="right")) - 1])

    def poured_by(self, time: float) -> float:
        """Metal [m3] over the lip by ``time`` [s]."""
        return float(np.interp(time, self.time, np.concatenate(([0.0], np.cumsum(self.flow * np.diff(self.time))))))

    def temperature_at(self, time: float) -> float:
        """Temperature [K] at the lip at ``time`` [s]."""
        return float(np.interp(time, self.time, self.temperature))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hand(Record):
    """One pour as it may go: likely, and at the ends of what is not known of hand, basin, losses and thermometer."""

    lip: Span = si("m", "height of the lip over the basin's rim or the sand of an open face")
    kept_full: bool = word("whether the basin is kept full; false in an open face")
    rate: Span = si("m3/s", "most that the hand pours")
    likely: Schedule = word("as it most likely goes")
    slow: Schedule = word("at the slowest, and the coldest that the metal may be")
    fast: Schedule = word("at the quickest, and the hottest that the metal may be")

    @property
    def last(self) -> Span:
        """Temperature [K] of the last metal at the lip."""
        return Span(value=float(self.likely.temperature[-1]), low=float(self.slow.temperature[-1]), high=float(self.fast.temperature[-1]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pot(Record):
    """The pot as it cools over the pour."""

    begin: float = si("K", "first metal at the lip")
    rate: float = si("1", "fall of the full pot's temperature, kelvin per second")
    share: float = si("1", "the empty pot's part of the heat capacity of pot and metal")
    holds: float = si("m3", "metal in it before the pour")


def lip_of(ask: PourAsk) -> Span:
    """Height of the lip [m]."""
    return _span(LIP) if ask.lip is None else Span(value=ask.lip, low=ask.lip, high=ask.lip)


def rate_of(ask: PourAsk, kit: Kit, metal: Metal) -> Span:
    """Most that the hand pours [m3/s].

    A rate asked for is held as well as a hand holds one; a basin kept full is given what it takes, up to the kit's fastest; else it is the
    geometric mean of the kit's rates, which are its ends.
    """
    slow, fast = kit.pour_rate_low / ALUMINIUM, kit.pour_rate_high / ALUMINIUM
    if ask.rate is not None:
        asked = ask.rate / metal.density_liquidus
        return Span(value=asked, low=asked * HELD.low, high=asked * HELD.high)
    if ask.kept_full == "yes":
        return Span(value=fast, low=fast, high=fast)
    return Span(value=math.sqrt(slow * fast), low=slow, high=fast)


def pots_of(melt: Melt, metal: Metal) -> tuple[Pot, Pot, Pot]:
    """The pot as the likely pour begins, the coldest and the hottest."""
    poured = melt.pour_temperature
    density = metal.density_liquidus + metal.density_slope * (poured.value - metal.liquidus)

    def at(begin: float) -> Pot:
        return Pot(begin=begin, rate=melt.cooling_rate, share=melt.pot_share, holds=melt.charge_mass / density)

    return at(poured.value), at(poured.low), at(poured.high)


def interruption(ask: PourAsk) -> Stretch | None:
    """When [s] and how long [s] the pour is interrupted, or None."""
    if ask.break_at is None or ask.break_for is None or ask.break_for <= 0.0:
        return None
    return ask.break_at, ask.break_for


def stopped(at: Stretch | None, end: float) -> float:
    """Time [s] that an interruption adds to what would be over at ``end`` [s]: all of it if it comes before.

    What the basin holds runs on meanwhile and must be poured again after, so a hand that gives just what the mould takes loses the whole.
    """
    return at[1] if at is not None and at[0] < end else 0.0


def schedule(stretches: Iterable[Stretch], pot: Pot, at: Stretch | None = None) -> Schedule:
    """The schedule of ``stretches`` that follow each other, interrupted as ``at`` says; it ends before one that never ends."""
    real: list[Stretch] = []
    for one in stretches:
        if not math.isfinite(one[0]):
            break
        if one[0] > 0.0:
            real.append(one)
    time, flow = _cut(_broken(real, at) if at is not None else real)
    return Schedule(time=time, flow=flow, temperature=_temperature(time, flow, pot))


def _broken(stretches: Sequence[Stretch], at: Stretch) -> list[Stretch]:
    """The stretches with one of no flow put in."""
    out: list[Stretch] = []
    clock, (when, lasts) = 0.0, at
    for long, flow in stretches:
        if clock <= when < clock + long:
            out += [(when - clock, flow), (lasts, 0.0), (long - (when - clock), flow)]
        else:
            out.append((long, flow))
        clock += long
    return [one for one in out if one[0] > 0.0]


def _cut(stretches: Sequence[Stretch]) -> tuple[Array, Array]:
    """Times and flows of the stretches cut fine."""
    most = sum(long for long, _ in stretches) / FINE
    time, flow = [0.0], []
    for long, rate in stretches:
        pieces = max(math.ceil(long / most), 1)
        time += (time[-1] + long * np.arange(1, pieces + 1) / pieces).tolist()
        flow += [rate] * pieces
    return np.array(time), np.array(flow)


def _temperature(time: Array, flow: Array, pot: Pot) -> Array:
    """Temperature at the lip: the pot's loss of heat stays that of its first moment, a little too much, over a capacity that leaves with the metal.

    Source: the rule pot_cooling, with what is left in the pot.
    """
    long = np.diff(time)
    left = 1.0 - np.concatenate(([0.0], np.cumsum(flow * long))) / pot.holds
    holds = np.maximum(pot.share + (1.0 - pot.share) * left, LEAST_HOLDS)
    first, last = holds[:-1], holds[1:]
    gone = first - last
    level = gone < 1e-9 * first
    slower = np.where(level, 1.0 / first, np.log(first / last) / np.where(level, 1.0, gone))  # mean of one over the capacity
    return np.asarray(pot.begin - np.concatenate(([0.0], np.cumsum(pot.rate * long * slower))))


def _span(value: Value) -> Span:
    return Span(value=value.value, low=value.low, high=value.high)
