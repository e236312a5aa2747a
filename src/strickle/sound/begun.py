"""What the freezing begins with after a solved filling: metal as warm as it came to lie, heat already in the sand, places left empty."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import ndimage, special

from strickle.base import Array, Grid, Record, si
from strickle.cavity import AIR, METAL_TAGS, PART
from strickle.pour import Handed

LAYERS = 4
"""Cells of sand into which the heat of a filling is laid, one behind the other."""
ROUNDS = 200
"""Times heat that would make sand warmer than the metal is passed on."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Begun(Record):
    """The freezing's own grid as a solved filling leaves it."""

    temperature: Array = si("K", "starting temperature of each cell; NaN where the material's own holds", shape="(nx, ny, nz)")
    tags: Array = si("1", "the mould's tags, places that stayed empty as air", shape="(nx, ny, nz)")
    heat: float = si("J", "laid into sand and what lies in it")
    given: float = si("J", "that the filling's metal had given")
    empty: float = si("m3", "of the part left without metal")


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """A medium beside the metal: heat of its volume [J/(m3 K)], how fast heat spreads in it [m2/s], its temperature before [K]."""

    capacity: float
    diffusivity: float
    cold: float


def begun(grid: Grid, handed: Handed, media: Mapping[int, Beside], pour: float) -> Begun:
    """Starting temperatures on the freezing's ``grid`` of a mould filled with metal poured at ``pour`` [K].

    Metal takes the temperature of the nearest metal that the filling knows, moved by as much as this pour is hotter than the solved one. Heat
    that a cell gave goes into the nearest cell that is not metal and those behind it, shared out as heat goes into a thick wall in the time
    that metal stood there (common practice: the complementary error function); none gets warmer than the metal.
    """
    tags = grid.tags.copy()
    metal = np.isin(tags, METAL_TAGS)
    at = _places(grid, handed)
    empty = (tags == PART) & _sampled(handed.empty > 0, at, False)
    tags[empty] = AIR
    metal &= ~empty
    warm = _nearest(handed.temperature)
    out = np.full(tags.shape, np.nan)
    out[metal] = _sampled(warm, at, np.nan)[metal] + (pour - handed.poured_at)
    beside = np.isin(tags, list(media))
    given = float(handed.sand_heat.sum())
    heat = np.zeros(tags.shape)
    if beside.any() and given > 0.0:
        heat = _laid(grid, handed, beside, media, tags)
        capacity = np.ones(tags.shape)
        cold = np.zeros(tags.shape)
        for tag, medium in media.items():
            capacity[tags == tag] = medium.capacity * grid.cell**3
            cold[tags == tag] = medium.cold
        most = np.where(metal, out, -np.inf)
        limit = ndimage.maximum_filter(most, size=2 * LAYERS + 1, mode="nearest")
        heat = _within(heat, np.maximum(limit - cold, 0.0) * capacity, beside)
        out = np.where(heat > 0.0, cold + heat / capacity, out)
    return Begun(temperature=out, tags=tags, heat=float(heat.sum()), given=given, empty=float(np.count_nonzero(empty)) * grid.cell**3)


def _places(grid: Grid, handed: Handed) -> tuple[Array, Array, Array]:
    """Index along each axis of the filling's cell in which each of the grid's middles lies; may lie outside."""
    middles = [np.asarray(grid.origin)[a] + (np.arange(grid.tags.shape[a]) + 0.5) * grid.cell for a in range(3)]
    x, y, z = (np.floor((middles[a] - np.asarray(handed.origin)[a]) / handed.cell).astype(int) for a in range(3))
    return x, y, z


def _sampled(values: Array, at: tuple[Array, Array, Array], beyond: object) -> Array:
    """Values at places; beyond the filling's cells those of its edge, or ``beyond`` where that is False."""
    clipped = [np.clip(i, 0, n - 1) for i, n in zip(at, values.shape, strict=True)]
    out = values[np.ix_(*clipped)]
    if beyond is False:
        inside = [(i >= 0) & (i < n) for i, n in zip(at, values.shape, strict=True)]
        out = out & inside[0][:, None, None] & inside[1][None, :, None] & inside[2][None, None, :]
    return np.asarray(out)


def _nearest(values: Array) -> Array:
    """Values with every NaN replaced by the nearest that is none."""
    place = ndimage.distance_transform_edt(~np.isfinite(values), return_distances=False, return_indices=True)
    return np.asarray(values[tuple(place)], dtype=float)


def _laid(grid: Grid, handed: Handed, beside: Array, media: Mapping[int, Beside], tags: Array) -> Array:
    """Heat [J] by cell: what each cell of the filling gave, in the nearest cell that is not metal and those behind it."""
    gives = np.argwhere(handed.sand_heat > 0.0)
    amount = handed.sand_heat[tuple(gives.T)].astype(float)
    since = np.maximum(np.nan_to_num(handed.stood[tuple(gives.T)].astype(float), nan=0.0), 1e-3)
    middle = (np.asarray(handed.origin) + (gives + 0.5) * handed.cell - np.asarray(grid.origin)) / grid.cell
    here = np.clip(np.floor(middle).astype(int), 0, np.array(tags.shape) - 1)
    place = ndimage.distance_transform_edt(~beside, return_distances=False, return_indices=True)
    first = np.stack([axis[tuple(here.T)] for axis in place], axis=1)
    away = first + 0.5 - middle
    step = np.zeros_like(first)
    main = np.argmax(np.abs(away), axis=1)
    rows = np.arange(len(first))
    step[rows, main] = np.where(away[rows, main] >= 0.0, 1, -1)
    reach = 2.0 * np.sqrt(np.array([media[int(t)].diffusivity for t in tags[tuple(first.T)]]) * since)
    out = np.zeros(tags.shape)
    left = amount.copy()
    now = first
    for layer in range(LAYERS):
        goes = left if layer == LAYERS - 1 else amount * (_beyond(layer * grid.cell / reach) - _beyond((layer + 1) * grid.cell / reach))
        goes = np.minimum(goes, left)
        np.add.at(out, tuple(now.T), goes)
        left = left - goes
        ahead = np.clip(now + step, 0, np.array(tags.shape) - 1)
        may = beside[tuple(ahead.T)]
        now = np.where(may[:, None], ahead, now)
    return out


def _beyond(depth: Array) -> Array:
    """Share of the heat in a thick wall that lies deeper than ``depth``, over 2 sqrt(diffusivity x time), its face at one temperature.

    >>> [round(float(_beyond(np.array(d))), 3) for d in (0.0, 0.5, 1.0, 2.0)]
    [1.0, 0.354, 0.089, 0.002]
    """
    return np.asarray(np.exp(-(depth**2)) - np.sqrt(np.pi) * depth * special.erfc(depth))


def _within(heat: Array, most: Array, beside: Array) -> Array:
    """Heat by cell, what is over ``most`` passed on to the six neighbours that may take it."""
    for _ in range(ROUNDS):
        over = np.where(heat > most, heat - most, 0.0)
        if not over.sum() > 1e-6 * heat.sum():
            break
        heat = heat - over
        takes = np.zeros(heat.shape)
        for axis in range(3):
            for way in (-1, 1):
                takes += _moved(beside.astype(float), axis, way)
        each = np.where(takes > 0.0, over / np.maximum(takes, 1.0), 0.0)
        heat = heat + np.where(takes > 0.0, 0.0, over)
        for axis in range(3):
            for way in (-1, 1):
                heat = heat + np.where(beside, _moved(each, axis, way), 0.0)
    return heat


def _moved(values: Array, axis: int, way: int) -> Array:
    """Values of the neighbour on one side; none at the grid's edge."""
    out = np.zeros_like(values)
    to, of = [slice(None)] * 3, [slice(None)] * 3
    to[axis], of[axis] = (slice(1, None), slice(None, -1)) if way > 0 else (slice(None, -1), slice(1, None))
    out[tuple(to)] = values[tuple(of)]
    return out
