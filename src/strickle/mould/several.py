"""Chances of several moulds that are rammed of one sand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from strickle.base import Array
from strickle.mould.result import Mould, SandChances
from strickle.mould.rules import HIGH, LOW


def together(moulds: Sequence[Mould]) -> tuple[SandChances, SandChances, SandChances]:
    """Chance that any of several moulds fails, likely, low and high: dependent, for they share one sand, print and hand.

    The moulds must have been reckoned for one sand, on the same set of shops and draws. Raises ValueError for none.
    """
    draws, shops = (np.prod([getattr(mould, name) for mould in moulds], axis=0) for name in ("sand_stands", "sand_shops"))
    likely, low, high = banded(draws, shops)
    return _chances(likely), _chances(low), _chances(high)


def failing(stands: Array) -> Array:
    """Chances (5,) that one of a kind fails and that anything does, from those that all of each kind stand (4, n)."""
    return np.asarray(1.0 - np.vstack([stands, stands.prod(axis=0)]).mean(axis=1))


def ends(shops: Array) -> tuple[Array, Array]:
    """Low and high chances (5,) of what stands in ``shops`` (4, k, d): those that one in ten falls short of, and one in ten passes.

    A shop has one sand, print and flask, which it does not know; the hand, the speed and the jerk change from draw to draw and are averaged.
    """
    each = np.array([failing(shop) for shop in np.moveaxis(shops, 1, 0)])
    return np.quantile(each, LOW, axis=0), np.quantile(each, HIGH, axis=0)


def banded(draws: Array, shops: Array) -> tuple[Array, Array, Array]:
    """Chances (5,) likely, low and high of what stands in ``draws`` (4, n) and in ``shops`` (4, k, d); the ends are never within the likely."""
    likely, (low, high) = failing(draws), ends(shops)
    return likely, np.minimum(low, likely), np.maximum(high, likely)


def _chances(five: Array) -> SandChances:
    pocket, edge, hanging, handling, every = (float(v) for v in five)
    return SandChances(pocket=pocket, edge=edge, hanging=hanging, handling=handling, any=every)
