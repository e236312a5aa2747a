"""Where metal and air pass the edge of a filling: the open air, metal held at a pressure, metal poured at a rate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strickle.base import Array, Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mouth(Record):
    """An end of the cavity. Made by ``open_air``, ``held`` and ``poured``."""

    kind: str = word("open | held | poured")
    pressure: float = si("Pa", "over the open air's, at the face: held at it, or the most poured metal may press", default=0.0)
    times: Array = si("s", "moments of a pour", shape="(k,)")
    flow: Array = si("m3/s", "flow from each moment on", shape="(k,)")
    temperature: Array = si("K", "of the metal at the same moments, straight between; NaN: as started", shape="(k,)")
    shut: bool = word("whether no air leaves where metal is poured in, as at the foot of a full sprue", default=False)


def open_air() -> Mouth:
    """An end open to the air: metal may leave there, air comes and goes."""
    return Mouth(kind="open", times=np.zeros(1), flow=np.zeros(1), temperature=np.full(1, np.nan))


def held(pressure: float, temperature: float = float("nan")) -> Mouth:
    """An end where metal stands at ``pressure`` [Pa] over the open air, as under a basin kept full."""
    return Mouth(kind="held", pressure=float(pressure), times=np.zeros(1), flow=np.zeros(1), temperature=np.full(1, float(temperature)))


def poured(
    flow: float | Array, *, times: Array | None = None, temperature: float | Array = float("nan"), most: float = float("inf"), shut: bool = False
) -> Mouth:
    """An end where ``flow`` [m3/s] is poured, from each of ``times`` [s] on, while the metal there presses less than ``most`` [Pa]; held at
    ``most`` while less than that flows in. ``shut``: no air leaves there, as at the foot of a full sprue.
    """
    flows = np.atleast_1d(np.asarray(flow, dtype=float))
    at = np.zeros(1) if times is None else np.atleast_1d(np.asarray(times, dtype=float))
    warm = np.broadcast_to(np.asarray(temperature, dtype=float), at.shape).copy()
    return Mouth(kind="poured", pressure=float(most), times=at, flow=flows, temperature=warm, shut=shut)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LiquidData(Record):
    """A liquid without heat, for runs at one temperature."""

    density: float = si("kg/m3", "of the liquid")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Breath(Record):
    """How air gets out of the mould."""

    passage: float = si("1", "speed through the sand for one pascal per metre, in m2/(s Pa)")
    way: float = si("m", "how far the air goes through the sand")
    vents: Array | None = si("m2", "bore of the vents that end in each cell", shape="(nx, ny, nz)", default=None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Filling(Record):
    """How a tagged grid filled. Cell arrays have the grid's index order; NaN outside the cavity and where no metal came."""

    arrival: Array = si("s", "metal fills half of the cell", shape="(nx, ny, nz)")
    arrival_temperature: Array = si("K", "of the metal then", shape="(nx, ny, nz)")
    arrival_speed: Array = si("m/s", "of the metal then", shape="(nx, ny, nz)")
    share: Array = si("1", "metal in the cell at the end; of its open part", shape="(nx, ny, nz)")
    room: Array = si("1", "open part of the cell", shape="(nx, ny, nz)")
    temperature: Array = si("K", "of the metal at the end", shape="(nx, ny, nz)")
    solid: Array = si("1", "fraction solid at the end", shape="(nx, ny, nz)")
    wall_heat: Array = si("J", "taken by the wall beside each cell", shape="(nx, ny, nz)")
    times: Array = si("s", "moments of the record", shape="(k,)")
    filled: Array = si("m3", "metal in the cavity at them", shape="(k,)")
    inflow: Array = si("m3", "come in by then", shape="(k,)")
    gauge_names: tuple[str, ...] = word("names of the gauges asked for")
    gauge_mean: Array = si("m/s", "mean speed of the liquid in each gauge at the moments of the record", shape="(n, k)")
    gauge_most: Array = si("m/s", "highest there", shape="(n, k)")
    pocket_time: Array = si("s", "a pocket of air was first seen shut in", shape="(p,)")
    pocket_volume: Array = si("m3", "its air then", shape="(p,)")
    pocket_at: Array = si("m", "its middle then", shape="(p, 3)")
    air_pressure: Array = si("Pa", "of the air left in each cell over the open air's, at the end", shape="(nx, ny, nz)")
    time: float = si("s", "last moment computed")
    full_time: float = si("s", "the share asked was full, NaN if it never was")
    full: float = si("1", "of the cavity filled at the end")
    spray: float = si("m3", "metal in specks too small to follow, taken out")
    outflow: float = si("m3", "metal that left into the open air")
    metal_balance: float = si("1", "metal not accounted for, over what came in")
    heat_balance: float = si("1", "heat not accounted for, over what came in")
    metal_loss: float = si("J", "heat lost by the metal")
    wall_gain: float = si("J", "heat gained by the walls")
    status: str = word("filled, done, stands, or why it stopped before what was asked")
    steps: int = word("steps taken")
    rounds: float = word("mean iterations of the pressure in a step")
    hardest: int = word("most iterations in one step")
    cut: int = word("speeds that were cut at the highest possible one")
