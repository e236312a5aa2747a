"""Pegs: named points whose temperature is followed, as a thermocouple would.

A temperature is read between the middles of the eight cells round the point, of which only those of the same material as the point's own
cell count.  Near a wall the place that is really read so lies a little to one side of the point asked, at most half a cell along each
axis, and it is told beside it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from strickle.base import Array, BadInput, Grid, Record, si

_CORNERS = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
METAL = 1
"""The kind of all metal; any other kind above nought is a medium of its own."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Driven(Record):
    """Points found on a grid."""

    cells: Array = si("1", "cells read, eight for each point", shape="(m, 3)")
    weights: Array = si("1", "their weights", shape="(n, 8)")
    at: Array = si("m", "place that is really read; NaN where there is nothing to read", shape="(n, 3)")
    kind: Array = si("1", "kind of material there, 0 outside the grid and in cells of no material", shape="(n,)")

    def read(self, temperatures: Array) -> Array:
        """Temperatures of the points (n, k) from those of the cells (8 n, k); NaN where there is nothing to read."""
        each = np.where(self.weights[:, :, None] > 0, temperatures.reshape(*self.weights.shape, temperatures.shape[-1]), 0.0)
        return np.where(self.kind[:, None] > 0, (self.weights[:, :, None] * each).sum(axis=1), np.nan)


def drive(points: Array, tags: Array, cell: float, origin: Array, kinds: Array) -> Driven:
    """Find ``points`` (n, 3) [m] on the grid ``tags`` (nx, ny, nz) of edge ``cell`` [m]; ``kinds`` (256,) tells the kind of each tag."""
    points = np.asarray(points, dtype=float).reshape(-1, 3)
    size = np.array(tags.shape)
    place = (points - origin) / cell
    inside = np.asarray((np.isfinite(place) & (place >= -1e-9) & (place <= size + 1e-9)).all(axis=1))
    place = np.where(inside[:, None], place, 0.0)
    own = np.clip(np.floor(place).astype(np.int64), 0, size - 1)
    kind = np.where(inside, kinds[tags[tuple(own.T)]], 0)
    first = np.floor(place - 0.5).astype(np.int64)
    share = (place - 0.5 - first)[:, None, :]
    cells = first[:, None, :] + _CORNERS
    held = np.clip(cells, 0, size - 1)
    weights: Array = np.prod(np.where(_CORNERS == 1, share, 1.0 - share), axis=2)
    same = np.all(cells == held, axis=2) & (kinds[tags[held[..., 0], held[..., 1], held[..., 2]]] == kind[:, None])
    weights = np.where(same & (kind > 0)[:, None], weights, 0.0)
    whole = weights.sum(axis=1)
    lone = (kind > 0) & (whole <= 1e-12)  # the point lies on the edge of its cell and nothing else counts
    held[lone] = own[lone][:, None, :]
    weights[lone], whole[lone] = 0.125, 1.0
    weights = weights / np.where(whole > 0, whole, 1.0)[:, None]
    middle = origin + (held + 0.5) * cell
    at = np.where((kind > 0)[:, None], (weights[:, :, None] * middle).sum(axis=1), np.nan)
    return Driven(cells=held.reshape(-1, 3), weights=weights, at=at, kind=kind)


def drive_named(grid: Grid, pegs: Mapping[str, Sequence[float]], metals: Mapping[int, Any], media: Mapping[int, Any]) -> Driven:
    """Named pegs on a grid whose ``metals`` and ``media`` are known by tag. Raises BadInput for one that has nothing round it."""
    if not pegs or grid.tags.ndim != 3:  # the kernel refuses the latter
        return Driven(cells=np.zeros((0, 3), np.int64), weights=np.zeros((0, 8)), at=np.zeros((0, 3)), kind=np.zeros(0, np.int64))
    kinds = np.zeros(256, np.int64)
    kinds[list(metals)] = METAL
    kinds[list(media)] = [METAL + 1 + tag for tag in media]
    points = np.array([np.asarray(point, dtype=float) for point in pegs.values()], dtype=float)
    if points.size != 3 * len(pegs):
        raise BadInput("a peg is no point", "Give three coordinates in metres")
    driven = drive(points, grid.tags, grid.cell, grid.origin, kinds)
    for name, kind in zip(pegs, driven.kind, strict=True):
        if kind == 0:
            raise BadInput(f"the peg {name!r} lies outside metal and media", "Give a point inside the grid, in metal or medium")
    return driven
