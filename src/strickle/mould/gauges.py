"""Printed aids of the shop. Millimetres.

Two gauges measure the person's own sand: a bar box for its strength, a pocket gauge for the drag.

The bar box is two like angles that stand on a board round the bar and are drawn apart sideways, so that nothing is pulled along the bar.
The pocket gauge is a drafted plate with pockets of one width and growing depth, rammed into a drag as any pattern, rapped and drawn; the
first pocket whose sand stays behind tells the drag. Give it the finish and the parting dust of your patterns.

Two unlike pins for the drag and their sockets for the cope close a flask that has none of its own, one way round only.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import manifold3d

BAR, LONG, WALL = 25.0, 200.0, 4.0
PLATE, POCKET, DRAFT, FLOOR = 60.0, 12.0, 1.0, 4.0
RATIOS = (0.5, 0.75, 1.0, 1.5, 2.0)
BLOCK = (44.0, 26.0, 32.0)  # along the flask's wall, out from it, high
PINS = ((14.0, "long"), (11.0, "short"))  # across; end wall of the flask that takes it
STRAIGHT, TIP, POINT = 8.0, 24.0, 5.0  # of a pin: straight part and whole height, how much thinner its tip is
FREE = 0.3  # a socket over its pin, across
SCREW, SCREW_HEAD, UNDER_HEAD = 4.5, 9.5, 8.0  # hole and seat of a wood screw, print under its head
PLACES = ((-15.0, -15.0), (15.0, -15.0), (0.0, 0.0), (-15.0, 15.0), (15.0, 15.0))


class Gauge(NamedTuple):
    """One printed solid [mm] with the way it is drawn or lifted."""

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


def flask_pins() -> tuple[Gauge, ...]:
    """Two pins and two sockets, each a block that is screwed to the outside of the flask (the wall at y = 0), flush with the joint at z = 0."""
    out = []
    for number, (across, wall) in enumerate(PINS, 1):
        wide, deep, high = BLOCK
        block = manifold3d.Manifold.cube(BLOCK).translate((-wide / 2, 0.0, 0.0))
        for x in (-wide / 2 + 8.0, wide / 2 - 8.0):
            hole = manifold3d.Manifold.cylinder(deep + 2.0, SCREW / 2, SCREW / 2, 48)
            seat = manifold3d.Manifold.cylinder(deep, SCREW_HEAD / 2, SCREW_HEAD / 2, 48).translate((0.0, 0.0, UNDER_HEAD + 1.0))
            block -= (hole + seat).rotate((-90.0, 0.0, 0.0)).translate((x, -1.0, high / 2))
        at = (0.0, deep / 2, 0.0)
        pin = manifold3d.Manifold.cylinder(STRAIGHT + 4.0, across / 2, across / 2, 96).translate((0.0, 0.0, -4.0))
        pin += manifold3d.Manifold.cylinder(TIP - STRAIGHT, across / 2, (across - POINT) / 2, 96).translate((0.0, 0.0, STRAIGHT))
        free = across / 2 + FREE / 2
        way = manifold3d.Manifold.cylinder(high + 2.0, free, free, 96).translate((0.0, 0.0, -1.0))
        way += manifold3d.Manifold.cylinder(2.0, free + 1.5, free - 0.5, 96).translate((0.0, 0.0, -0.5))
        note = (
            f"Screwed to the outside of the middle of a {wall} wall, its face flush with the joint and square to it; fit pins and sockets with the"
            " flask closed, oil them lightly. They place the cope, they do not hold it down: weights or clamps do"
        )
        out += [
            Gauge(f"flask-pin-{number}", block.translate((0.0, 0.0, -high)) + pin.translate(at), (0.0, 0.0, 1.0), note + "."),
            Gauge(f"flask-socket-{number}", block - way.translate(at), (0.0, 0.0, 1.0), note + "."),
        ]
    return tuple(out)


def _tapered(wide: float, high: float, slope: float) -> manifold3d.Manifold:
    """A square block from z = 0 down to -high, growing by ``slope`` a side on its way down."""
    grown = (wide + 2.0 * slope * high) / wide
    return manifold3d.Manifold.extrude(manifold3d.CrossSection.square((wide, wide), True), high, 0, 0.0, (grown, grown)).mirror((0.0, 0.0, 1.0))
