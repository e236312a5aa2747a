"""The back of an open-face casting: where the metal lost while it freezes shows on the open surface, and where it hides under it.

The sink is what feeding draws through the open surface, the hollow what it draws from a pool whose surface has closed. How far a mush
passes metal on, and how far a thin skin is drawn in, is not well known: the band of the deepest place runs from the mean sink to all
of the hollow drawn in through the skin. Metal h deep that closes from its rim inward sinks by loss * h * ln(whole area / area still
open): a shallow dish, steep only where the very last of it closes.
"""

from __future__ import annotations

import math

import numpy as np

from strickle.base import Array, Span
from strickle.cavity import AIR, METAL_TAGS, Cavity
from strickle.metal import Metal
from strickle.pattern import Pattern
from strickle.rigging import OpenPour
from strickle.sound.feeding import Feeding
from strickle.sound.judge import to_part
from strickle.sound.result import Back
from strickle.stores import Stores

ACROSS = 6e-3  # m: a dip narrower than a finger tip is no sink; the same on every grid


def losses(metal: Metal, pour: float, shrinkage: float) -> tuple[float, float]:
    """Shares of the poured volume lost by the liquid from ``pour`` [K], and then on freezing with this ``shrinkage``."""
    early = max(-metal.density_slope * (pour - metal.liquidus) / metal.density_liquidus, 0.0)
    return early, (1.0 - early) * shrinkage


def tops(tags: Array) -> Array:
    """Metal cells with air over them, or with nothing but the grid's upper face (nx, ny, nz)."""
    metal = np.isin(tags, METAL_TAGS)
    over = np.concatenate([tags[:, :, 1:] == AIR, np.ones((*tags.shape[:2], 1), dtype=bool)], axis=2)
    return np.asarray(metal & over)


def back_of(
    feeding: Feeding, closes: Array, cavity: Cavity, pattern: Pattern, pour: OpenPour, metal: Metal, start: float, covered: bool, stores: Stores
) -> Back:
    """The back from its voids and the times each cell stops passing metal on, ``closes`` (nx, ny, nz) [s]; ``start`` is the pour [K]."""
    tags, cell = cavity.grid.tags, cavity.cell
    is_metal, is_top = np.isin(tags, METAL_TAGS), tops(tags)
    times = np.where(np.isfinite(closes), closes, np.nanmax(closes))
    sunk, hollow = (np.nan_to_num(void * feeding.cell_metal) for void in (feeding.open_void, feeding.closed_void))
    depth = sunk.sum(axis=2) / cell**2
    shown, at = _deepest(depth, is_top, cavity)
    mean = float(depth.sum()) / max(int(is_top.sum()), 1)
    beneath = float(hollow.sum())
    low, high = _spread(metal, start, stores)
    where = cavity.grid.origin + (np.array(np.unravel_index(int(np.argmax(hollow)), hollow.shape)) + 0.5) * cell if beneath > 0 else at
    allowance = pattern.stock * float(pattern.scale[2]) + pour.level.value
    return Back(
        lost_volume=feeding.lost_volume,
        sunk_volume=float(depth.sum()) * cell**2,
        hollow_volume=beneath,
        deepest=Span(value=shown, low=min(mean, shown) * low, high=shown * high + _drawn_in(beneath, times, is_metal, is_top, cell)),
        mean=mean,
        allowance=allowance,
        covered=covered,
        under=_under(cavity, at),
        closes=float(times[is_top].max()) if is_top.any() else math.nan,
        at=at,
        at_part=to_part(pattern, at),
        hollow_at=where,
        hollow_at_part=to_part(pattern, where),
        depth=np.where(is_top.any(axis=2), depth, np.nan),
    )


def _deepest(depth: Array, is_top: Array, cavity: Cavity) -> tuple[float, Array]:
    """Deepest sink as a mean over columns ACROSS wide [m], and its place on the surface in the mould."""
    from scipy import ndimage

    wide = max(3, 2 * math.ceil(0.5 * ACROSS / cavity.cell - 0.5) + 1)
    open_here = is_top.any(axis=2).astype(float)
    around = ndimage.uniform_filter(open_here, wide, mode="constant")
    mean = np.where(open_here > 0, ndimage.uniform_filter(depth, wide, mode="constant") / np.maximum(around, 1e-12), -1.0)
    i, j = np.unravel_index(int(np.argmax(mean)), mean.shape)
    level = int(np.argmax(is_top[i, j])) + 1
    at = cavity.grid.origin + np.array([i + 0.5, j + 0.5, float(level)]) * cavity.cell
    return float(mean[i, j]), at


def _under(cavity: Cavity, at: Array) -> float:
    """Metal in the column under a place of the back [m]."""
    i, j = (int(v) for v in np.floor((at - cavity.grid.origin)[:2] / cavity.cell))
    return float(np.isin(cavity.grid.tags[i, j], METAL_TAGS).sum()) * cavity.cell


def _spread(metal: Metal, start: float, stores: Stores) -> tuple[float, float]:
    """Factors on the loss for the published range of the metal's shrinkage."""
    record = stores.metals.get(metal.metal)
    if record is None:
        return 1.0, 1.0
    datum, whole = record.values["shrinkage"], sum(losses(metal, start, metal.shrinkage))
    return sum(losses(metal, start, datum.low)) / whole, sum(losses(metal, start, datum.high)) / whole


def _drawn_in(hollow: float, times: Array, is_metal: Array, is_top: Array, cell: float) -> float:
    """How much deeper the back would be if its skin came down on all of the hollow [m]: over the columns that close later inside than on top."""
    if hollow <= 0:
        return 0.0
    top = np.where(is_top, times, 0.0).max(axis=2)
    inside = np.where(is_metal, times, 0.0).max(axis=2)
    columns = int(np.count_nonzero((inside > top) & is_top.any(axis=2)))
    return hollow / (max(columns, 1) * cell**2)
