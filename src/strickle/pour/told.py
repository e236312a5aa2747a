"""What a run of the filling solver says, in the grid's own frame and units."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from strickle.base import Array
from strickle.pour.mouths import Filling

if TYPE_CHECKING:
    from strickle.kernels.fill import Filler

PAD = 2


def _inner(values: Array) -> Array:
    return np.ascontiguousarray(values[PAD:-PAD, PAD:-PAD, PAD:-PAD])


def told(filler: Filler, record: Any, heated: Any, status: str) -> Filling:
    """The result of a run."""
    rows = np.array(record.rows)
    tally = filler.tally()
    metal, heat = filler.balance()
    holds = 0.0 if heated is None else heated.holds
    share = _inner(filler.field("f"))
    filled = rows[:, 1]
    warm = _inner(filler.field("arrival_heat"))
    is_wet = share > 1e-3
    temperature = np.where(is_wet, _inner(filler.work_field("temperature")), math.nan) if heated is not None else np.full(share.shape, math.nan)
    pockets = sorted(record.pockets, key=lambda pocket: pocket[0])
    return Filling(
        arrival=_inner(filler.field("arrival")),
        arrival_temperature=warm * math.nan if heated is None else np.asarray(heated.table.temperature_at(warm)),
        arrival_speed=_inner(filler.field("arrival_speed")),
        share=share,
        room=_inner(filler.rooms()),
        temperature=temperature,
        solid=np.where(is_wet, _inner(filler.field("solid")), math.nan),
        wall_heat=_inner(filler.field("lost")) * holds * filler.cell**3,
        times=rows[:, 0].copy(),
        filled=filled.copy(),
        inflow=rows[:, 2].copy(),
        gauge_names=record.names,
        gauge_mean=rows[:, 3::2].T.copy(),
        gauge_most=rows[:, 4::2].T.copy(),
        pocket_time=np.array([p[0] for p in pockets]),
        pocket_volume=np.array([p[1] for p in pockets]),
        pocket_at=np.array([p[2] for p in pockets]).reshape(-1, 3),
        air_pressure=_inner(filler.field("gas")),
        time=tally["time"],
        full_time=tally["time"] if status == "filled" else math.nan,
        full=filler.metal() / filler.room,
        spray=tally["spray"],
        outflow=tally["outflow"],
        metal_balance=metal,
        heat_balance=heat,
        metal_loss=holds * filler.heat_lost(),
        wall_gain=holds * tally["heat_wall"],
        status=status,
        steps=int(tally["steps"]),
        rounds=tally["solves"] / max(tally["steps"], 1.0),
        hardest=int(tally["hardest"]),
        cut=int(tally["cut"]),
    )
