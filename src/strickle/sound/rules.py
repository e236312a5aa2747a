"""Scalar rules of freezing."""

from __future__ import annotations

import math

from strickle.base import Value

TARGET_RATIO = Value(value=1.2, low=1.2, high=1.2, unit="1", source="campbell", mark="memory", note="riser or neck time over that of what it feeds")
NECK_RATIO = Value(
    value=1.1,
    low=1.1,
    high=1.2,
    unit="1",
    source="house",
    mark="guess",
    note="aimed at for the neck, which lies between what it feeds and the riser; over the least so that the fine solve keeps it",
)
LEAST_RATIO = Value(value=1.1, low=1.1, high=1.1, unit="1", source="house", mark="guess", note="a riser is never called sound under this")
NECK_LEAST = Value(
    value=1.05,
    low=1.03,
    high=1.1,
    unit="1",
    source="house",
    mark="guess",
    note=(
        "a neck is never called sound under this: between two hot bodies in a metal that conducts well its ratio is near 1 whatever its size;"
        " from 3.7 to 1.9 mm cells it moved by 0.03, from 2 to 1.5 mm by 0.002"
    ),
)
SINK = Value(
    value=0.4e-3,
    low=0.2e-3,
    high=0.4e-3,
    unit="m",
    source="house",
    mark="guess",
    note="loss per face under which a late place may go unfed; under the low end it is let be; to be learned from the log",
)
COVER_THICK = Value(value=0.02, low=0.015, high=0.03, unit="m", source="house", mark="guess", note="dry insulating cover on an open face")
COVER_CONDUCTIVITY = Value(
    value=0.2, low=0.1, high=0.3, unit="W/(m K)", source="general", mark="memory", note="loose expanded mineral or burnt husk, hot"
)
COVER_FILM = Value(value=10.0, low=5.0, high=15.0, unit="W/(m2 K)", source="house", mark="guess", note="outside of that cover to still air")


def freezing_spread(conductivity: float, low: float, high: float) -> tuple[float, float]:
    """Factors on a computed freezing time for sand of ``low``..``high`` conductivity instead of ``conductivity``.

    Against sand the freezing time goes as one over the sand's effusivity squared, so as one over its conductivity
    (Flemings, Solidification Processing, 1974, ch. 1; checks C04).

    >>> freezing_spread(0.6, 0.45, 0.8)
    (0.7499999999999999, 1.3333333333333333)
    """
    return conductivity / high, conductivity / low


def niyama(gradient: float, cooling_rate: float) -> float:
    """Niyama value in root(K s) per millimetre from gradient [K/m] and cooling rate [K/s].

    Source: Niyama, Uchida, Morikawa, Saito, AFS Int. Cast Metals J. 7(3), 1982, 52-63.

    >>> round(niyama(1000.0, 1.0), 3)
    1.0
    """
    return gradient / math.sqrt(cooling_rate) / 1000.0


def is_short(fed: float, neck: float, riser: float) -> bool:
    """Whether a joint whose fed place, neck and riser are solid at these times [s] is too short-lived to be called sound.

    >>> is_short(100.0, 106.0, 121.0), is_short(100.0, 104.0, 121.0), is_short(100.0, 106.0, 109.0)
    (False, True, True)
    """
    return neck < NECK_LEAST.value * fed or riser < LEAST_RATIO.value * fed
