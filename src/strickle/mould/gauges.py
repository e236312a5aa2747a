"""Two printed gauges that measure the person's own sand: a bar box for its strength, a pocket gauge for the drag. Millimetres.

The bar box is two like angles that stand on a board round the bar and are drawn apart sideways, so that nothing is pulled along the bar.
The pocket gauge is a drafted plate with pockets of one width and growing depth, rammed into a drag as any pattern, rapped and drawn; the
first pocket whose sand stays behind tells the drag. Give it the finish and the parting dust of your patterns.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import manifold3d

BAR, LONG, WALL = 25.0, 200.0, 4.0
PLATE, POCKET, DRAFT, FLOOR = 60.0, 12.0, 1.0, 4.0
RATIOS = (0.5, 0.75, 1.0, 1.5, 2.0)
PLACES = ((-15.0, -15.0), (15.0, -15.0), (0.0, 0.0), (-15.0, 15.0), (15.0, 15.0))


class Gauge(NamedTuple):
    """One printed solid [mm] with the way it is drawn."""

    name: str
    solid: manifold3d.Manifold
    draw: tuple[float, float, float]
    note: str


def bar_box() -> tuple[Gauge, Gauge]:
    """The two angles round a bar of 25 by 25 by 200 mm, standing on z = 0, the bar's middle over the origin."""
    side = manifold3d.Manifold.cube((LONG + WALL, WALL, BAR)).translate((-LONG / 2, BAR / 2, 0.0))
    end = manifold3d.Manifold.cube((WALL, BAR, BAR)).translate((LONG / 2, -BAR / 2, 0.0))
    angle = side + end
    note = "Stand both on a board, hold them with a band, ram the bar in three layers, strike it off, draw both away sideways."
    return (
        Gauge("bar-box-1", angle, (1.0, 1.0, 0.0), note),
        Gauge("bar-box-2", angle.rotate((0.0, 0.0, 180.0)), (-1.0, -1.0, 0.0), note),
    )


def pocket_gauge() -> Gauge:
    """A plate of 60 by 60 mm in the drag (z from 0 down), its pockets 12 mm wide at the tip and open below; 1 degree of draft throughout."""
    deep = max(RATIOS) * POCKET + FLOOR
    slope = math.tan(math.radians(DRAFT))
    plate = _tapered(PLATE, deep, -slope)
    for ratio, (x, y) in zip(RATIOS, PLACES, strict=True):
        height = ratio * POCKET
        plate -= _tapered(POCKET, height + 1.0, slope).translate((x, y, -(deep - height)))
    note = "Ram it in the drag, rap and draw as you do a pattern; the first pocket whose sand stays behind is the reading: depth over width "
    return Gauge("pocket-gauge", plate, (0.0, 0.0, 1.0), note + ", ".join(f"{ratio:g}" for ratio in RATIOS) + ".")


def _tapered(wide: float, high: float, slope: float) -> manifold3d.Manifold:
    """A square block from z = 0 down to -high, growing by ``slope`` a side on its way down."""
    grown = (wide + 2.0 * slope * high) / wide
    return manifold3d.Manifold.extrude(manifold3d.CrossSection.square((wide, wide), True), high, 0, 0.0, (grown, grown)).mirror((0.0, 0.0, 1.0))
