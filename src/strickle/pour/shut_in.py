"""Air that metal shuts in: what stays of it, what the sand lets out in the time, and the vent that would."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from strickle.base import GRAVITY, Array, Value
from strickle.mould import Mould
from strickle.pour.mouths import Breath, Filling
from strickle.stores import Stores

AIR_VISCOSITY = Value(value=1.8e-5, low=1.8e-5, high=4.0e-5, unit="Pa s", source="general", mark="memory", note="air at room heat; high: at 800 K")
AIR_DENSITY = 1.2
HEAD = 0.01
"""m of metal that may press on a pocket while a vent lets it out, so that it does not hold the front back (choice)."""
VENT_FLOW = 0.6
"""Discharge of a pricked vent (guess)."""
LEAST_CELLS, LEAST_VOLUME = 8.0, 5e-8
"""Cells and m3 of air from which a pocket is told."""
WAY = 0.01
"""m of sand that shut-in air goes through at the most: it spreads on all sides from a pocket about as large (from Darcy's law round a ball)."""
WHOLE = 0.5
"""Share of the part from which air shut in is that of a mould without an open riser, which leaves through the sand as metal rises."""
SOON = 0.05
"""s. A pocket takes no less than that to go."""


class Shut(NamedTuple):
    """One pocket."""

    at: Array  # (3,) m, mould frame
    time: float
    volume: float
    left: float
    through_sand: float
    through_vents: float
    vent: float


class Hole(NamedTuple):
    """A vent that opens into the cavity."""

    at: Array  # (3,) m, mould frame
    area: float


class Press(NamedTuple):
    """What presses on shut-in air."""

    density: float  # kg/m3 of the metal
    level: float  # m over the parting at which it stands in the end
    liquid: float  # s for which the thinnest wall stays so


def breath_of(mould: Mould, stores: Stores) -> Breath | None:
    """How air leaves through this sand; None where the stores do not say how readily gas passes it."""
    sand, unit = stores.sands.get(mould.sand), stores.constants.get("air.permeability_of_afs")
    if sand is None or unit is None or "permeability" not in sand.values:
        return None
    passage = sand.values["permeability"].value * unit.value / AIR_VISCOSITY.value
    return Breath(passage=passage, way=min(mould.deep_margin, mould.side_margin, WAY))


def vents_of(holes: Sequence[Hole], part: Array, origin: Array, cell: float) -> Array | None:
    """Vents as the solve takes them: area [m2] that they pass like a clear hole, at the roof of the part over them (nx, ny, nz)."""
    there = np.argwhere(part)
    if not holes or not len(there):
        return None
    out = np.zeros(part.shape)
    for hole in holes:
        away = np.linalg.norm((np.asarray(origin) + (there + 0.5) * cell - hole.at)[:, :2], axis=1)
        near = there[away <= away.min() + 1e-9]
        out[tuple(near[int(np.argmax(near[:, 2]))])] += VENT_FLOW * hole.area
    return out


def pockets_of(
    filled: Filling, part: Array, origin: Array, cell: float, breath: Breath | None, press: Press, holes: Sequence[Hole] = ()
) -> list[Shut]:
    """Pockets of the part (nx, ny, nz), those of which most stays first.

    What the sand lets out goes under the metal's whole head while it is liquid; a vent is to let it out as the metal comes, at HEAD, and so are
    the ``holes`` there are within a pocket's reach.
    """
    out = []
    room = float(filled.room[part].sum()) * cell**3
    for time, volume, at in zip(filled.pocket_time, filled.pocket_volume, filled.pocket_at, strict=True):
        if volume < max(LEAST_CELLS * cell**3, LEAST_VOLUME):
            continue
        reach = (6.0 * volume / math.pi) ** (1.0 / 3.0) + cell
        near = _near(np.asarray(at), origin, cell, part.shape, reach)
        if volume > WHOLE * room or not part[near].sum() > 0.5 * (filled.room[near] > 0.0).sum():
            continue
        arrives = filled.arrival[near][part[near]]
        last = float(np.nanmax(arrives)) if np.isfinite(arrives).any() else filled.time
        out.append(shut_at(np.asarray(at), float(time), float(volume), last, breath, press, holes, cell))
    return sorted(out, key=lambda one: (-one.left, -one.volume))


def shut_at(
    at: Array, time: float, volume: float, last: float, breath: Breath | None, press: Press, holes: Sequence[Hole], cell: float
) -> Shut:  # fmt: skip
    """Air of ``volume`` [m3] shut in at ``at`` [m] from ``time`` [s] on, which has till ``last`` [s] to go as the metal comes."""
    reach = (6.0 * volume / math.pi) ** (1.0 / 3.0) + cell
    flow = volume / max(last - time, SOON)
    whole = press.density * GRAVITY * max(press.level - float(at[2]), HEAD)
    little = press.density * GRAVITY * HEAD
    roof = 2.0 * math.pi * (1.5 * volume / math.pi) ** (2.0 / 3.0)  # of half a ball against the mould's wall
    sand = 0.0 if breath is None else roof * breath.passage / breath.way * whole * press.liquid / volume
    speed = VENT_FLOW * math.sqrt(2.0 * little / AIR_DENSITY)
    bore = math.sqrt(4.0 / math.pi * flow / speed)
    vents = sum(hole.area for hole in holes if np.linalg.norm(hole.at - at) < reach) * speed / flow
    left = volume * max(1.0 - sand - vents, 0.0)
    return Shut(at, time, volume, left, float(sand), float(vents), bore)


def _near(at: Array, origin: Array, cell: float, shape: tuple[int, ...], reach: float) -> tuple[slice, ...]:
    """The block of cells within ``reach`` [m] of a place."""
    low = np.floor((at - reach - origin) / cell).astype(int)
    high = np.ceil((at + reach - origin) / cell).astype(int)
    return tuple(slice(int(max(a, 0)), int(max(min(b, n), 0))) for a, b, n in zip(low, high, shape, strict=True))
