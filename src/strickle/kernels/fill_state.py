"""What changes while the mould fills, and the numbers that stay."""

# mypy: ignore-errors
from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strickle.kernels.fill_cells import POURED, PRESSED, Cells

LIQUID = 0.5
"""Share of metal from which a cell has a pressure."""
WET = 1e-3
"""Share of metal from which a cell moves as metal."""
FULL = 0.9
"""Share from which a cell counts as full for what lies round it."""
DUST = 1e-6
"""Share of metal below which it goes to the account of spray."""
NONE, BODY, FREE, LAID = 0, 1, 2, 3
"""Where a face's speed comes from: nowhere; pressure; its own flight; its neighbours."""


class Flow(NamedTuple):
    """Fields by cell or by face (of the cell on its high side), length ``m`` of the cells."""

    f: np.ndarray
    old: np.ndarray  # f before the step
    e: np.ndarray  # f times heat content over heat capacity, K
    u: np.ndarray
    v: np.ndarray
    w: np.ndarray
    gu: np.ndarray  # what pressure took off the speeds last
    gv: np.ndarray
    gw: np.ndarray
    du: np.ndarray
    dv: np.ndarray
    dw: np.ndarray
    fu: np.ndarray  # opening times speed
    fv: np.ndarray
    fw: np.ndarray
    quick: np.ndarray  # faces stepped in parts, a bit for each direction
    near: np.ndarray
    hurry: np.ndarray  # cells that feed them
    cu: np.ndarray  # codes of the faces
    cv: np.ndarray
    cw: np.ndarray
    tx: np.ndarray  # metal through each face in the step, in cells
    ty: np.ndarray
    tz: np.ndarray
    through: np.ndarray  # in the sub-step
    held: np.ndarray  # share that counts as metal in the sub-step's sweeps, 0 or 1
    q: np.ndarray  # pressure as a speed: p dt / (density h)
    gas: np.ndarray  # pressure on air cells over the open air's, Pa
    stuck: np.ndarray  # air cells whose entry the metal's skin holds shut
    pocket: np.ndarray  # number of the air pocket a cell belongs to, 0 none
    moles: np.ndarray  # gas of each pocket, cells at the open air's pressure
    stiff: np.ndarray  # by how much a pocket's pressure rises for each cell of room that it loses, Pa
    comes: np.ndarray  # metal that would come into each pocket if its pressure stood, as a speed
    mark: np.ndarray
    liquid: np.ndarray
    kind_of: np.ndarray  # 1 metal or wall all round: nothing to see of a surface
    band: np.ndarray
    unknown: np.ndarray
    skin: np.ndarray
    ghost: np.ndarray
    sides: np.ndarray  # (3, m) faces of the skin
    solid: np.ndarray  # share frozen
    wet_since: np.ndarray
    arrival: np.ndarray
    arrival_heat: np.ndarray
    arrival_speed: np.ndarray
    lost: np.ndarray  # heat into the wall, in units of rho c h^3 K
    out: np.ndarray  # heat content that leaves a cell
    tally: np.ndarray  # running sums, see the places below
    lists: np.ndarray  # lengths of lists: band cells, band with extras, unknown, skin, ghosts, sides


(
    TIME, STEP, INFLOW, OUTFLOW, SPRAY, HEAT_IN, HEAT_OUT, HEAT_SPRAY, HEAT_WALL, STEPS, SOLVES, WORST, CLIPPED, FAST, SKIN_FAST, IS_PRESSED,
    SINCE, SWALLOWED, POCKETS, HARDEST, SHUT,
) = range(21)  # fmt: skip
"""Places of the tally: moment and last step [s]; metal in, out and in spray [cells]; heat of each and into the wall [K cells]; steps and
iterations; worst residual; speeds cut; highest speeds of body and skin [m/s]; whether the inlet is held by its pressure; when air was last
looked at [s]; gas enclosed by metal, number of pockets; most iterations of a solve; whether no
air leaves where metal is poured in."""
BAND, WALK, UNKNOWN, SKIN, GHOST, SIDES_X, SIDES_Y, SIDES_Z = range(8)
SAVED = (
    "f", "e", "u", "v", "w", "gu", "gv", "gw", "q", "gas", "stuck", "pocket", "moles", "solid", "wet_since", "arrival", "arrival_heat",
    "arrival_speed", "lost", "tally",
)  # fmt: skip
"""Fields from which a run goes on as if it had not been broken off."""


def flow(cells: Cells, heat: float) -> Flow:
    """An empty cavity; metal at the boundary holds ``heat`` [K]."""
    m = cells.m
    whole = {"quick", "near", "cu", "cv", "cw", "stuck", "mark", "liquid", "kind_of"}
    lists = {"hurry", "band", "unknown", "skin", "ghost"}
    never = {"wet_since", "arrival", "arrival_heat", "arrival_speed"}
    made = {}
    for name in Flow._fields:
        kind = np.uint8 if name in whole else np.uint32 if name in lists else np.int32 if name == "pocket" else np.float64
        made[name] = np.full(m, np.nan) if name in never else np.zeros(m, dtype=kind)
    made["sides"] = np.zeros((3, m), np.uint32)
    for name in ("moles", "stiff", "comes"):
        made[name] = np.zeros(m + 1)
    made["tally"], made["lists"] = np.zeros(32), np.zeros(8, np.int64)
    made["tally"][SINCE] = -1.0
    metal = (cells.kind == PRESSED) | (cells.kind == POURED)
    made["f"][metal], made["e"][metal] = 1.0, heat
    return Flow(**made)
