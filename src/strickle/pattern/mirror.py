"""Whether a part is the same on both sides of a level across the draw."""

from __future__ import annotations

import numpy as np

from strickle.pattern.columns import View

SHARE = 0.995  # of the metal that must have its like across the level; the rest is columns along walls


def mirror_level(seen: View, tolerance: float) -> float | None:
    """Height of the plane across the draw about which the part is its own mirror image, or None; ``tolerance`` in the view's unit.

    Every column's lowest and highest metal must lie even about the level, and so must the heights at which metal begins and ends.
    """
    there = np.isfinite(seen.low) & np.isfinite(seen.high)
    if not there.any() or seen.feet.size != seen.tops.size:
        return None
    low, high, metal = seen.low[there], seen.high[there], seen.metal[there]
    level = float(np.median(low + high)) / 2
    even = np.abs(low + high - 2 * level) <= 2 * tolerance
    if metal[even].sum() < SHARE * metal.sum():
        return None
    off = np.abs(seen.feet + seen.tops[::-1] - 2 * level) > 2 * tolerance
    return level if off.mean() <= 1 - SHARE else None
