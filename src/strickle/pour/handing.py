"""What a solved filling hands on: where it left the part empty, and what the freezing begins with."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from strickle.base import GRAVITY, Array
from strickle.pour.mouths import Filling
from strickle.pour.result import Handed
from strickle.pour.shut_in import HEAD
from strickle.pour.solution import Empty

if TYPE_CHECKING:
    from strickle.pour.solved import Question, Ran

HELD = 6
"""Cells that have to stay empty together to be told."""
BARE, ROOMY = 0.5, 0.3
"""Share of metal under which a cell is empty, and room from which it is looked at."""


def bare(filled: Filling, part: Array, density: float) -> tuple[Array, int]:
    """Places of the part (nx, ny, nz) that no metal of that ``density`` [kg/m3] fills, numbered from 1, and how many; air that holds the metal
    off by more than HEAD is told by itself.
    """
    share = np.nan_to_num(filled.share)
    none = part & (share < BARE) & (filled.room > ROOMY) & (np.nan_to_num(filled.air_pressure) <= HEAD * density * GRAVITY)
    groups, count = ndimage.label(none)
    if count:
        groups[(np.bincount(groups.ravel()) < HELD)[groups]] = 0
    return groups, count


def empty_of(q: Question, ran: Ran) -> tuple[float, Empty | None]:
    """Volume [m3] of the part that no metal fills, and the largest place of it."""
    groups, count = bare(ran.filled, ran.part, q.metal.density_liquidus)
    if not groups.any():
        return 0.0, None
    size = np.where(groups > 0, (1.0 - np.nan_to_num(ran.filled.share)) * ran.filled.room, 0.0) * ran.box.grid.cell**3
    volumes = ndimage.sum(size, groups, range(1, count + 1))
    worst = int(np.argmax(volumes))
    at = ran.box.middle(np.argwhere(groups == worst + 1).mean(axis=0))
    return float(volumes.sum()), Empty(at=at, at_part=q.on_part(at), volume=float(volumes[worst]))


def handed_of(q: Question, ran: Ran) -> Handed:
    """What the freezing begins with."""
    filled, grid = ran.filled, ran.box.grid
    return Handed(
        origin=np.asarray(grid.origin, dtype=float),
        cell=grid.cell,
        temperature=filled.temperature.astype(np.float32),
        sand_heat=np.nan_to_num(filled.wall_heat).astype(np.float32),
        stood=(filled.time - filled.arrival).astype(np.float32),
        empty=(bare(filled, ran.part, q.metal.density_liquidus)[0] > 0).astype(np.uint8),
        poured_at=q.melt.pour_temperature.value,
    )
