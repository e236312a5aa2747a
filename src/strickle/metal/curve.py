"""Freezing curves: published ones made clean, missing ones derived by a stated rule."""

from __future__ import annotations

import numpy as np

from strickle.base import Array

_POINTS = 41


def clean(temperature: Array, solid: Array, end_share: float, least_step: float) -> tuple[Array, Array]:
    """A published curve with clean ends: fraction 0 at its top, 1 at its foot.

    The first and last ``end_share`` of solid are left out (a trace of early needles or of last liquid feeds nothing and moves
    no front) and the rest is stretched to 0..1. A last step narrower than ``least_step`` [K], such as an isothermal eutectic,
    is spread downward to it. Temperatures (n,) fall [K]; fractions (n,) do not fall.
    """
    rising = solid + 1e-12 * np.arange(len(solid))
    top, foot = (float(np.interp(share, rising, temperature)) for share in (end_share, 1.0 - end_share))
    inside = (temperature < top) & (temperature > foot)
    kept = np.concatenate(([top], temperature[inside], [foot]))
    share = np.concatenate(([0.0], (solid[inside] - end_share) / (1.0 - 2.0 * end_share), [1.0]))
    if kept[-2] - kept[-1] < least_step:
        kept[-1] = kept[-2] - least_step
    return kept, share


def partition(melting: float, liquidus: float, solidus: float) -> float:
    """Partition coefficient that makes the lever rule start at ``liquidus`` and end at ``solidus`` [K].

    Straight liquidus and solidus lines that meet at the base metal's ``melting`` point [K]; 1 where that point is no higher.
    """
    return 1.0 - (liquidus - solidus) / (melting - solidus) if melting > liquidus else 1.0


def derived(melting: float, liquidus: float, solidus: float, pure_range: float) -> tuple[Array, Array]:
    """A curve from ``liquidus`` and ``solidus`` alone [K].

    A pure metal gets ``pure_range`` [K]. Else the lever rule, solid = (liquidus - T) / ((1 - k) (melting - T)) with k from
    ``partition``; a straight line where the base metal's melting point is not above the liquidus.
    """
    if liquidus - solidus < pure_range:
        return np.array([liquidus, liquidus - pure_range]), np.array([0.0, 1.0])
    temperature = np.linspace(liquidus, solidus, _POINTS)
    k = partition(melting, liquidus, solidus)
    solid = (liquidus - temperature) / ((liquidus - solidus) if k == 1.0 else (1.0 - k) * (melting - temperature))
    solid[0], solid[-1] = 0.0, 1.0
    return temperature, np.clip(solid, 0.0, 1.0)


def scheil_rest(melting: float, liquidus: float, solidus: float) -> float:
    """Share still liquid at ``solidus`` [K] if nothing diffuses in the solid: the other bound beside the lever rule."""
    k = partition(melting, liquidus, solidus)
    if not 0.0 < k < 1.0 or liquidus <= solidus:
        return 0.0
    return float(((melting - solidus) / (melting - liquidus)) ** (1.0 / (k - 1.0)))
