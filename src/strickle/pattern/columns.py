"""A mesh seen along a direction: one number each per column of its plan."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strickle.base import Array
from strickle.kernels import raster


class View(NamedTuple):
    """Columns of a mesh along z. Arrays are per column (nx, ny); NaN where there is no metal."""

    cell: float
    origin: Array  # (2,) corner of column 0, 0
    low: Array  # lowest metal
    high: Array  # highest metal
    metal: Array  # metal height
    feet: Array  # heights at which metal begins, sorted, all columns
    tops: Array  # heights at which it ends, sorted
    leaks: int  # columns that do not close

    @property
    def gap(self) -> float:
        """Void between metal in one column [m3]: what no two-part mould can release, wherever it parts."""
        return float(np.nansum(self.high - self.low - self.metal)) * self.cell**2

    def trapped(self, levels: Array) -> Array:
        """Sand a flat parting at each level cannot release [m3]; levels (k,)."""
        low, high = (np.sort(part[np.isfinite(part)]) for part in (self.low, self.high))
        below = np.concatenate([[0.0], np.cumsum(high)])
        above = np.concatenate([[0.0], np.cumsum(low[::-1])])[::-1]
        n = np.searchsorted(high, levels)  # columns that end under the level
        m = np.searchsorted(low, levels, side="right")  # columns that begin at or under it
        under = levels * n - below[n]
        over = above[m] - levels * (low.size - m)
        return np.asarray(self.gap + (under + over) * self.cell**2)

    def section(self, levels: Array) -> Array:
        """Area of metal cut at each level [m2]."""
        inside = np.searchsorted(self.feet, levels) - np.searchsorted(self.tops, levels)
        return np.asarray(inside * self.cell**2)


def view(vertices: Array, faces: Array, across: int) -> View:
    """Look at a mesh along +z with ``across`` columns over its longer side in plan."""
    least, most = vertices.min(axis=0), vertices.max(axis=0)
    cell = float((most - least)[:2].max()) / across
    shape = tuple(int(np.ceil(extent / cell)) + 2 for extent in (most - least)[:2])
    # off the mesh's own lattice, so that walls along the axes do not fall on column centres
    origin = least[:2] - cell * np.array([0.917, 0.883])
    start, z, sign, _ = raster.columns(vertices, faces, origin, cell, *shape)
    column = np.repeat(np.arange(shape[0] * shape[1]), np.diff(start))
    after = np.cumsum(sign.astype(np.int64))
    first = np.concatenate([[0], after])[start[:-1]]
    last = np.concatenate([[0], after])[start[1:]]
    leaking = first != last
    after = after - np.repeat(first, np.diff(start))
    good = ~leaking[column]
    enter, leave = good & (sign > 0) & (after == 1), good & (sign < 0) & (after == 0)
    size = shape[0] * shape[1]
    low, high = np.full(size, np.inf), np.full(size, -np.inf)
    np.minimum.at(low, column[enter], z[enter])
    np.maximum.at(high, column[leave], z[leave])
    metal = np.bincount(column[leave], z[leave], size) - np.bincount(column[enter], z[enter], size)
    low[~np.isfinite(low)] = np.nan
    high[~np.isfinite(high)] = np.nan
    maps: list[Array] = [part.reshape(shape) for part in (low, high, metal)]
    return View(cell, origin, maps[0], maps[1], maps[2], np.sort(z[enter]), np.sort(z[leave]), int(leaking.sum()))
