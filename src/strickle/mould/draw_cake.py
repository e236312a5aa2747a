"""The cope as a plate of sand with a cavity in it, section by section: what carries, what weighs.

Across the shorter inside of the flask the plate bends under its own weight. Over a strip as long as it is wide (the worst one) the depth
of the cavity is taken column by column: the moment from the weight of the net sand, the resistance from the mean square of the net thickness.
A cavity that runs through the whole strip gives the plain formula of ``draw_law.cake_bend``. The strip's length is a guess.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strickle.base import Array, Mesh

ACROSS = 80  # cells over the shorter inside
THIN = 1e-3  # least net thickness [m]


class Cake(NamedTuple):
    """The rammed half that is lifted and turned without a board [m]."""

    length: float  # inside
    width: float
    thick: float
    net: float  # thickness of a plain plate that carries as much at its weakest line
    load: float  # thickness of a plain plate that bends as much under its weight there
    weight: float = 1.0  # its sand over that of a full half
    bars: float = 0.0  # distance between bars; 0 without any


def plain(length: float, width: float, thick: float, cavity: float = 0.0, across: float = 0.0, bars: float = 0.0) -> Cake:
    """A half with a cavity of one depth, ``across`` [m] of the shorter inside, as long as the flask: on the safe side.

    >>> plain(0.35, 0.35, 0.08, 0.03, 0.3).net
    0.05
    """
    share = min(1.0, across / min(length, width))
    return Cake(length, width, thick, max(thick - cavity, THIN), thick - cavity * share * (2.0 - share), 1.0 - share**2 * cavity / thick, bars)


def measured(cavity: Mesh, box: Array, bars: float = 0.0) -> Cake:
    """The cope of a mould: ``box`` is the flask's inside, x low, x high, y low, y high, z low, z high."""
    from strickle.kernels import raster

    length, width, thick = float(box[1] - box[0]), float(box[3] - box[2]), float(box[5])
    cell = min(length, width) / ACROSS
    columns, rows = round(length / cell), round(width / cell)
    start, high, _, _ = raster.columns(cavity.vertices, cavity.faces, np.array([box[0], box[2]]), cell, columns, rows)
    met = np.diff(start) > 0
    deep: Array = np.zeros(columns * rows)
    deep[met] = np.maximum(high[start[1:][met] - 1], 0.0)
    deep = deep.reshape(columns, rows)
    sand = np.maximum(thick - deep if length <= width else (thick - deep).T, THIN)
    net, load = _weakest(sand, min(length, width))
    return Cake(length, width, thick, net, load, float(sand.mean() / thick), bars)


def _weakest(sand: Array, span: float) -> tuple[float, float]:
    """Net and load of the worst strip of a field of net thickness (span, along)."""
    across = sand.shape[0]
    strip = min(across, sand.shape[1])
    worst = (0.0, float(sand.min()), float(sand.max()))
    for start in range(0, sand.shape[1] - strip + 1, max(1, strip // 8)):
        part = sand[:, start : start + strip]
        weight, square = part.mean(axis=1), (part**2).mean(axis=1)
        load = 8.0 / span**2 * _moment(weight, span)
        use = load / square
        at = int(np.argmax(use))
        worst = max(worst, (float(use[at]), float(np.sqrt(square[at])), float(load[at])))
    return worst[1], worst[2]


def _moment(weight: Array, span: float) -> Array:
    """Bending moment at the middle of each cell of a simply held strip under ``weight`` (n,) for each length of span."""
    step = span / len(weight)
    at = (np.arange(len(weight)) + 0.5) * step
    lift = float((weight * (span - at)).sum() * step / span)
    shear = lift - (np.cumsum(weight) - weight / 2.0) * step
    return np.asarray(np.cumsum(shear) * step - shear * step / 2.0)
