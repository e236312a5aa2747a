"""What a leader on the plan points at: a place of the body's own, where no other lies over it."""

from __future__ import annotations

import math
from typing import Any

from strickle.card.slices import LEAST, at_parting, seen_from_above


def point_in(shape: Any) -> tuple[float, float]:
    """A point well inside a shape."""
    biggest = max(getattr(shape, "geoms", [shape]), key=lambda g: g.area)
    inner = biggest.buffer(-0.25 * math.sqrt(biggest.area))
    spot = (inner if not inner.is_empty else biggest).representative_point()
    return float(spot.x), float(spot.y)


def named_shapes(regions: tuple[tuple[str, str, Any], ...], metal: Any, part: Any) -> list[tuple[Any, Any, tuple[str, str, Any]]]:
    """Of each region of the rigging that is seen from above: its outline, what of it is open in the parting, and the region."""
    found = []
    for name, kind, body in regions:
        if not (seen := seen_from_above(body)).is_empty:
            found.append((seen, at_parting(body).difference(part).intersection(metal), (name, kind, body)))
    return found


def own_share(shape: Any, others: list[Any]) -> Any:
    """What of a shape no other lies on, so that a leader there points at it alone; all of it where others cover it."""
    from shapely import unary_union

    left = shape.difference(unary_union(others)) if others else shape
    return left if left.area > LEAST else shape
