"""Three-dimensional freezing on a tagged grid: metal in stabilised super-steps, media in a growing band around it.

``solve`` is the whole interface: arrays, floats and the named tuples of this file and of freeze_tables.  One metal (any number of
tags), any number of media, a contact conductance per pair of tags, and a condition on each outer face and
on each open surface inside.  Method: the metal is stepped by Legendre super-steps against surroundings held still; the heat through
each face is the time integral carried through the same recurrence, so it is brought into the medium to the last digit; the media
are stepped explicitly in a band that grows with the diffusion length.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from strickle.kernels.freeze_run import Run
from strickle.kernels.freeze_tables import MetalTable, Refused, metal_table
from strickle.kernels.freeze_types import PRESETS, Contact, FaceSpec, FreezeOut, Knobs, MediumTable, Near, adiabatic, film, fixed
from strickle.kernels.freeze_wall import Mesh

__all__ = [
    "PRESETS",
    "Contact",
    "FaceSpec",
    "FreezeOut",
    "Knobs",
    "MediumTable",
    "MetalTable",
    "Near",
    "Refused",
    "adiabatic",
    "film",
    "fixed",
    "metal_table",
    "solve",
]


def solve(
    tags: NDArray[np.uint8],
    cell: float,
    metal: MetalTable | None,
    media: Mapping[int, MediumTable],
    *,
    metal_start: Mapping[int, float] | None = None,
    contact: Mapping[tuple[int, int], float | Contact] | None = None,
    faces: Sequence[FaceSpec] = (adiabatic,) * 6,
    open_faces: Mapping[int, FaceSpec] | None = None,
    until: float | None = None,
    below: float | None = None,
    wait_below: bool = False,
    coherency: float = 0.25,
    marks: Sequence[float] = (),
    snapshots: Sequence[float] = (),
    probes: NDArray[np.int64] | None = None,
    near: Near | None = None,
    knobs: Knobs = PRESETS["shop"],
    surface: Mesh | None = None,
    begin: NDArray[np.float64] | None = None,
    longest: float | None = None,
    most_steps: int = 40_000,
    watch: Callable[[float, str], None] | None = None,
) -> FreezeOut:
    """Freeze the metal of a tagged grid.

    ``tags`` (nx, ny, nz) with edge ``cell`` [m]; ``metal_start`` gives the starting temperature [K] of every metal tag, ``media``
    the properties of every medium tag, ``open_faces`` the condition at the surface of every tag that is neither (air);
    ``faces`` the six outer faces x-, x+, y-, y+, z-, z+.  ``contact`` [W/(m2 K)] per pair of tags, perfect where absent or inf; a
    Contact falls from the ``coherency`` of the metal at it to its solidus.  ``begin`` (nx, ny, nz) [K] starting temperatures of single
    cells, NaN where the tag's own holds.
    Runs until ``until`` [s], or where that is None until all metal is solid; with ``wait_below`` until all metal is below
    ``below`` [K]; in any case until the last of ``snapshots`` [s].  ``longest`` [s] and ``most_steps`` end a run that does not
    get there, and the status says so.  ``marks``: fractions solid whose passing is noted (``time_at``); ``probes`` (m, 3): cells whose
    temperature is noted at every super-step; with ``near`` a run that has no ``until`` also goes on till its cells are below its
    temperature.  ``watch(share, says)`` is called now and then and may raise.
    ``surface``: the closed mesh of all metal [m], origin at the corner of cell (0, 0, 0); with it wall distances, areas and volumes are
    those of the mesh, without it those of the staircase of cells.  Raises Refused for a question that makes no sense.
    """
    run = Run(tags, cell, metal, media, dict(metal_start or {}), dict(contact or {}), faces, dict(open_faces or {}), knobs, surface, begin, coherency)
    run.watch_for(coherency, below, marks)
    run.probe(probes, near)
    return run.go(until, wait_below, [float(s) for s in snapshots], longest, most_steps, watch)


def warm() -> None:
    """Compile every kernel of the solver, or load it from disk, by freezing a toy."""
    metal = metal_table(
        (900.0, 850.0),
        (0.0, 1.0),
        latent_heat=4e5,
        solid_heat_temperature=(300.0,),
        solid_heat=(1000.0,),
        liquid_heat=1000.0,
        solid_conductivity_temperature=(300.0,),
        solid_conductivity=(150.0,),
        liquid_conductivity=80.0,
        density=2500.0,
        lowest=298.0,
        highest=1000.0,
    )
    tags = np.full((6, 6, 6), 2, np.uint8)
    tags[2:4, 2:4, 2:4] = 1
    solve(tags, 0.008, metal, {2: MediumTable(0.6, 1500.0, 1100.0, 298.0)}, metal_start={1: 1000.0}, until=1.0, watch=lambda share, says: None)
