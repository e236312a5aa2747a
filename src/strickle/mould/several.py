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
    likely = _fail(draws)
    each = np.array([_fail(shop) for shop in np.moveaxis(shops, 1, 0)])
    low, high = (np.quantile(each, share, axis=0) for share in (LOW, HIGH))
    return _chances(likely), _chances(np.minimum(low, likely)), _chances(np.maximum(high, likely))


def _fail(stands: Array) -> Array:
    """Chances (5,) that one of a kind fails and that anything does, from those that all of each kind stand (4, n)."""
    return np.asarray(1.0 - np.vstack([stands, stands.prod(axis=0)]).mean(axis=1))


def _chances(five: Array) -> SandChances:
    pocket, edge, hanging, handling, every = (float(v) for v in five)
    return SandChances(pocket=pocket, edge=edge, hanging=hanging, handling=handling, any=every)
