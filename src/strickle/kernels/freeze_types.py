"""What the freezing solver is asked and what it answers: plain tuples."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from strickle.kernels.freeze_tables import Floats

LIQUIDUS_OFFSET = 1.0  # K above the liquidus at which "superheat gone" is read: the crossing of the liquidus itself is asymptotic


class MediumTable(NamedTuple):
    """Sand, core, chill, sleeve, board. Conductivity and heat capacity: one value, or (temperatures [K], values), level outside them."""

    conductivity: Any  # W/(m K)
    density: float  # kg/m3
    heat: Any  # J/(kg K)
    start: float  # K


class Contact(NamedTuple):
    """Conductance of a contact that a gap opens in: the first while the metal at it is fluid, falling with fraction solid to the last."""

    early: float  # W/(m2 K)
    late: float  # W/(m2 K), when the metal at it is solid


class FaceSpec(NamedTuple):
    """What lies beyond a face."""

    kind: str  # adiabatic | fixed | film
    temperature: float = 293.15  # K
    h: float = 0.0  # W/(m2 K)
    emissivity: float = 0.0  # 1


adiabatic = FaceSpec("adiabatic")


def fixed(temperature: float) -> FaceSpec:
    """A face held at a temperature [K]."""
    return FaceSpec("fixed", temperature)


def film(h: float, temperature: float, emissivity: float = 0.0) -> FaceSpec:
    """A face that loses heat by a film conductance [W/(m2 K)] and by radiation to surroundings at ``temperature`` [K]."""
    return FaceSpec("film", temperature, h, emissivity)


class Knobs(NamedTuple):
    """How finely to step."""

    growth: float  # a step is at most this share of the time gone by
    share: float  # and at most this share of the freezing time as estimated beforehand
    band: float  # width of the media band in diffusion lengths sqrt(4 alpha t), plus one shell


class Near(NamedTuple):
    """A further end of a run: these cells, metal and media alike, all below a temperature."""

    cells: NDArray[np.bool_]  # (nx, ny, nz)
    temperature: float  # K


PRESETS: Mapping[str, Knobs] = {
    "rough": Knobs(0.05, 0.012, 2.0),
    "shop": Knobs(0.04, 0.0045, 3.0),
    "fine": Knobs(0.015, 0.0005, 3.5),
}


class FreezeOut(NamedTuple):
    """What was computed. Arrays are (nx, ny, nz), times and temperatures float64, the rest float32; NaN outside the metal and where the event did
    not come to pass.
    """

    time_to_liquidus: Floats  # s, superheat gone: read at the liquidus + 1 K
    time_to_coherency: Floats  # s
    time_to_solidus: Floats  # s, when the cell as a whole is solid: belongs to its far face, half a cell past the centre
    time_below: Floats  # s, when the cell fell below ``below``
    gradient: Floats  # K/m at solidus + 0.1 (liquidus - solidus)
    cooling_rate: Floats  # K/s there, from the times of passing 0.15 and 0.05 of the range
    niyama: Floats  # root(K s)/m, gradient / root(cooling rate)
    temperature: Floats  # K, every cell, at ``time``; NaN in cells of no material
    snapshots: tuple[Floats, ...]  # K, every cell, at the times asked
    time: float  # s, last moment computed
    solid_time: float  # s, when the last cell became solid; NaN if not all did
    below_time: float  # s, when the last metal cell fell below ``below``; NaN if not all did
    metal_loss: float  # J
    media_gain: float  # J
    outer_loss: float  # J, through walls and films
    time_at: tuple[Floats, ...]  # s, (metal cells,) each in index order: when each passed the fractions solid asked in ``marks``
    volume: Floats  # 1, (metal cells,) what each holds of metal in cells: 1 but at a wall given as a mesh
    balance: float  # 1, worst closure error of the three at any check
    status: str  # done | stopped at the longest time | stopped at the most steps | diverged
    steps: int
    work: float  # updates of metal cells, or what took as long
    stages: int
    probe_times: Floats  # (k,) s, every super-step from the pour on
    probe_temperatures: Floats  # (probes, k) K, NaN in cells of no material
    near_time: float  # s, when all of ``near`` was below its temperature; NaN if not or not asked
