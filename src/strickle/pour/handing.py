"""What a solved filling hands on: where it left the part empty, and what the freezing begins with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from strickle.base import Array
from strickle.pour.mouths import Filling
from strickle.pour.result import Handed
from strickle.pour.rules import EMPTY_STOPS, STOPS
from strickle.pour.solution import Empty

if TYPE_CHECKING:
    from strickle.pour.solved import Question, Ran

HELD = 6
"""Cells that have to stay empty together to be told."""
HOLDS = 30.0
"""Pa of shut-in air, some millimetre of metal, from which it is what holds metal off that could still flow (choice)."""
BARE, ROOMY = 0.5, 0.3
"""Share of metal under which a cell is empty, and room from which it is looked at."""


def bare(filled: Filling, part: Array) -> tuple[Array, int]:
    """Places of the part (nx, ny, nz) that no metal fills, numbered from 1, and how many numbers there are.

    A run that ends because all but a few parts in a thousand is full leaves its last place behind: where the metal beside it still flows, and no
    air holds it off, it fills in the next moment and is no such place.
    """
    none = part & (np.nan_to_num(filled.share) < BARE) & (filled.room > ROOMY)
    groups, count = ndimage.label(none)
    if count:
        groups[(np.bincount(groups.ravel(), minlength=count + 1) < HELD)[groups]] = 0
    if filled.status == "filled":
        for number in np.unique(groups[groups > 0]):
            mine = groups == number
            if _beside(filled, mine) < STOPS.low and not float(np.nan_to_num(filled.air_pressure)[mine].max()) > HOLDS:
                groups[mine] = 0
    return groups, count


def _beside(filled: Filling, mine: Array) -> float:
    """Mean fraction solid of the metal beside a place; 1 where there is none."""
    beside = ndimage.binary_dilation(mine) & (np.nan_to_num(filled.share) >= BARE)
    return float(np.nan_to_num(filled.solid)[beside].mean()) if beside.any() else 1.0


@dataclass(frozen=True, slots=True)
class Bare:
    """One place without metal; ``by_air``: air holds the metal off there, which could still flow."""

    at: Array
    volume: float
    by_air: bool


def bare_places(ran: Ran) -> list[Bare]:
    """Places of the part without metal, largest first."""
    filled, cell = ran.filled, ran.box.grid.cell
    groups, count = bare(filled, ran.part)
    size = np.where(groups > 0, (1.0 - np.nan_to_num(filled.share)) * filled.room, 0.0) * cell**3
    out = []
    for number in range(1, count + 1):
        mine = groups == number
        if not mine.any():
            continue
        solid = _beside(filled, mine)
        presses = float(np.nan_to_num(filled.air_pressure)[mine].max())
        out.append(Bare(ran.box.middle(np.argwhere(mine).mean(axis=0)), float(size[mine].sum()), presses > HOLDS and solid < STOPS.low))
    return sorted(out, key=lambda one: -one.volume)


def empty_of(q: Question, places: list[Bare]) -> tuple[float, Empty | None]:
    """Volume [m3] of the part that no metal fills though air would let it, and the largest place of it."""
    mine = [one for one in places if not one.by_air]
    if not mine:
        return 0.0, None
    return sum(one.volume for one in mine), Empty(at=mine[0].at, at_part=q.on_part(mine[0].at), volume=mine[0].volume)


def handed_of(q: Question, ran: Ran) -> Handed:
    """What the freezing begins with. Empty places under EMPTY_STOPS of the part freeze as full: they are told, and as an open surface in the metal
    a few cells of air would draw the loss of all its liquid.
    """
    filled, grid = ran.filled, ran.box.grid
    groups, count = bare(filled, ran.part)
    size = np.bincount(groups.ravel(), (filled.room * (groups > 0)).ravel(), count + 1) * grid.cell**3
    empty = (size >= EMPTY_STOPS * q.part.volume)[groups] & (groups > 0)
    return Handed(
        origin=np.asarray(grid.origin, dtype=float),
        cell=grid.cell,
        temperature=filled.temperature.astype(np.float32),
        sand_heat=np.nan_to_num(filled.wall_heat).astype(np.float32),
        stood=(filled.time - filled.arrival).astype(np.float32),
        empty=empty.astype(np.uint8),
        poured_at=q.melt.pour_temperature.value,
    )
