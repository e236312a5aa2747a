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


TIME_ERROR = Value(
    value=0.03, low=0.01, high=0.03, unit="1", source="house", mark="measured",
    note=(
        "of a freezing time, measured here with 2 mm cells, walls of three cells or more: 1 % against converged values on plate, bar"
        " and ball, up to 2.7 % on a plate of 32 mm by 6 and 8 mm against 0.5 mm cells"
    ),
)  # fmt: skip
SUPERHEAT_ERROR = Value(
    value=0.065, low=0.01, high=0.065, unit="1", source="house", mark="measured",
    note="of the time till the superheat is gone, measured so too: 4 %, and 6.4 % where a wall of that small plate cuts its cells in half",
)  # fmt: skip
THIN_TIME_ERROR = Value(
    value=0.035, low=0.02, high=0.035, unit="1", source="house", mark="measured",
    note="of a freezing time in a wall of one or two cells: up to 3.2 % on that plate, 2 and 4 mm thick",
)  # fmt: skip
THIN_SUPERHEAT_ERROR = Value(
    value=0.12, low=0.02, high=0.12, unit="1", source="house", mark="measured",
    note="of the time till the superheat is gone there: up to 11 % on that plate, 12 % on plates without end",
)  # fmt: skip
FEW_CELLS = 3.0
"""Cells in a wall from which those figures hold."""


SHARP = 3.0
"""Kelvin of freezing range under which the mush is thinner than a cell, so that a gap that opens with it is met late or early."""
SHARP_TIME_ERROR = Value(
    value=0.06, low=0.01, high=0.06, unit="1", source="house", mark="measured",
    note="of a freezing time in a metal that freezes within half a kelvin: 2.5 % in 12 mm, 4.2 % in 8 mm, with 2 against 0.25 mm cells",
)  # fmt: skip
SHARP_THIN_TIME_ERROR = Value(
    value=0.1, low=0.02, high=0.1, unit="1", source="house", mark="measured",
    note="the same in a wall of one or two cells: 9.6 % in 4 mm with 2 mm cells",
)  # fmt: skip


def grid_error(wall: float, cell: float, freezing_range: float) -> tuple[float, float]:
    """Shares by which freezing time and loss of superheat may be off for the grid, in a wall [m] of so many cells [m] of a metal that freezes
    over a range [K].

    >>> grid_error(6e-3, 2e-3, 58.0), grid_error(4e-3, 2e-3, 58.0), grid_error(6e-3, 2e-3, 0.5)
    ((0.03, 0.065), (0.035, 0.12), (0.06, 0.065))
    """
    sharp = freezing_range < SHARP
    if wall >= 0.99 * FEW_CELLS * cell:
        return (SHARP_TIME_ERROR if sharp else TIME_ERROR).value, SUPERHEAT_ERROR.value
    return (SHARP_THIN_TIME_ERROR if sharp else THIN_TIME_ERROR).value, THIN_SUPERHEAT_ERROR.value


def with_error(spread: tuple[float, float], error: float) -> tuple[float, float]:
    """Factors on a time, ``error`` (a share) added to both ends.

    >>> with_error((0.8, 1.5), 0.1)
    (0.7200000000000001, 1.6500000000000001)
    """
    return spread[0] * (1.0 - error), spread[1] * (1.0 + error)


def niyama(gradient: float, cooling_rate: float) -> float:
    """Niyama value in root(K s) per millimetre from gradient [K/m] and cooling rate [K/s].

    Source: Niyama, Uchida, Morikawa, Saito, AFS Int. Cast Metals J. 7(3), 1982, 52-63.

    >>> round(niyama(1000.0, 1.0), 3)
    1.0
    """
    return gradient / math.sqrt(cooling_rate) / 1000.0


def dimensionless_niyama(
    gradient: float, cooling_rate: float, arm_spacing: float, pressure_drop: float, viscosity: float, shrinkage: float, freezing_range: float
) -> float:
    """Niyama value made dimensionless [1]: Ny* = G l sqrt(dP) / (sqrt(mu beta dT) sqrt(rate)).

    G ``gradient`` [K/m] and ``cooling_rate`` [K/s] near the end of freezing, l ``arm_spacing`` [m], dP ``pressure_drop`` [Pa] from where
    the metal is fed to where pores form, mu ``viscosity`` [Pa s], beta ``shrinkage`` [1], solid's volume as the unit, dT
    ``freezing_range`` [K].  Low means that the liquid is drawn through the last mush at a pressure where pores form.  NaN without a
    pressure to draw with.

    Source: Carlson, Beckermann, Metall. Mater. Trans. A 40, 2009, 163-175 (abstract seen, form from memory; check F6).

    >>> round(dimensionless_niyama(1000.0, 0.5, 49.1e-6, 101325.0, 1.15e-3, 0.06, 58.0), 1)
    349.4
    """
    if pressure_drop <= 0:
        return math.nan
    return gradient * arm_spacing * math.sqrt(pressure_drop / (viscosity * shrinkage * freezing_range * cooling_rate))


RELIEVED_FROM, VULNERABLE_FROM, VULNERABLE_TO = 0.40, 0.90, 0.99
"""Fractions solid between which liquid still heals what the crystals tear, and between which films are too thin to and too weak to hold."""


def hot_tear_ratio(relieved_from: float, vulnerable_from: float, vulnerable_to: float) -> float:
    """Time in the vulnerable range over time in the relieved range [1], from the times [s] at 0.40, 0.90 and 0.99 solid.

    Source: Clyne, Davies, Brit. Foundryman 74, 1981, 65-73 (from memory, unverified).

    >>> round(hot_tear_ratio(10.0, 60.0, 72.0), 3)
    0.24
    """
    relieved = vulnerable_from - relieved_from
    return (vulnerable_to - vulnerable_from) / relieved if relieved > 0 else math.nan


def is_short(fed: float, neck: float, riser: float) -> bool:
    """Whether a joint whose fed place, neck and riser are solid at these times [s] is too short-lived to be called sound.

    >>> is_short(100.0, 106.0, 121.0), is_short(100.0, 104.0, 121.0), is_short(100.0, 106.0, 109.0)
    (False, True, True)
    """
    return neck < NECK_LEAST.value * fed or riser < LEAST_RATIO.value * fed
