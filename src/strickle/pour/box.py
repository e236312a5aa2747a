"""The mould as the filling solver takes it: a grid of its own over the casting, what each cell is, and where metal comes in and air goes out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strickle.base import Array, Grid
from strickle.cavity import CHILL, FLOW_OFF, GRAPHITE, INGATE, METAL_TAGS, NECK, PART, RISER, RUNNING, SAND, SLEEVE, Cavity
from strickle.pour.mouths import Mouth, open_air
from strickle.rigging import Rigging

POUR, OPEN, GATE = 200, 201, 210
"""Tags of the mouths; ingates are numbered from GATE on."""
MOST_GATES = 30
OVER = 3
"""Cells over the part's top at which what rises into risers and flow-offs is let go: they fill after the part and do not hold it back."""
ACROSS_CHOKE = 2.3
"""Cells across the choke from which its flow is that of its true section; a coarser grid lets no more pass than the law of losses does."""
FINEST = {"rough": 3.5e-3, "shop": 2.5e-3, "fine": 2.0e-3}
MOST = {"rough": 9_000, "shop": 32_000, "fine": 64_000}
"""Cell [m] and cells of metal of the filling's own grid, at the finest."""
ENTRY = 2
"""Cells of the basin kept over its floor: the mouth lies there, under the metal that stands over it."""
MEDIA = (SAND, CHILL, GRAPHITE, SLEEVE)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Box:
    """What the filling is solved on. Cell arrays (nx, ny, nz); ``bodies`` tags as the cavity has them, by the middles of cells."""

    grid: Grid
    mouths: dict[int, Mouth]
    gates: dict[str, int]
    bodies: Array
    across_choke: float

    def middle(self, cells: Array) -> Array:
        """Middles [m] of cells (n, 3), mould frame."""
        return np.asarray(self.grid.origin) + (np.asarray(cells) + 0.5) * self.grid.cell


def own_cell(rigging: Rigging, cavity: Cavity, preset: str) -> float:
    """Edge [m] of the filling's cells: no finer than the preset has them, than its budget of metal allows, and than the cavity's own grid."""
    volume = cavity.mesh_volume - over_part(rigging, cavity)
    return max(FINEST[preset], (volume / MOST[preset]) ** (1.0 / 3.0))


def over_part(rigging: Rigging, cavity: Cavity) -> float:
    """Metal [m3] of risers and flow-offs over the part's top."""
    tags, fraction = cavity.grid.tags, cavity.fraction
    layers = np.flatnonzero((tags == PART).any(axis=(0, 1)))
    top = int(layers[-1]) + 1 if layers.size else 0
    return float(fraction[:, :, top:][np.isin(tags[:, :, top:], (RISER, NECK, FLOW_OFF))].sum()) * cavity.grid.cell**3


def box_of(rigging: Rigging, cavity: Cavity, cell: float, poured: Mouth) -> Box:
    """The grid over the casting with a layer of mouths over the cope's top: metal into the basin, air out of what is open there."""
    vertices = rigging.casting.vertices
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    shape = np.ceil((high - low) / cell - 1e-6).astype(int) + np.array([2, 2, 1])
    origin = np.array([*(0.5 * (low + high)[:2] - 0.5 * shape[:2] * cell), high[2] - shape[2] * cell])
    shape[2] += 1  # over the top
    here = (int(shape[0]), int(shape[1]), int(shape[2]))
    bodies, number = _sampled(cavity, origin, cell, here)
    tags = np.where(np.isin(bodies, METAL_TAGS), bodies, np.where(np.isin(bodies, MEDIA), bodies, SAND)).astype(np.uint8)
    gates: dict[str, int] = {}
    for name in (n for n in cavity.names if n.kind == "ingate" and len(gates) < MOST_GATES):
        gates[name.name] = GATE + len(gates)
        tags[(number == name.number) & (bodies == INGATE)] = gates[name.name]
    top = here[2] - 1
    under = bodies[:, :, top - 1]
    tags[:, :, top] = np.where(np.isin(under, (RISER, FLOW_OFF)), OPEN, SAND)
    mouth = min(int(round((rigging.sprue.height - origin[2]) / cell)) + ENTRY, top)
    above = tags[:, :, mouth:]
    above[(bodies[:, :, mouth - 1] == RUNNING)[:, :, None] & ((bodies[:, :, mouth:] == RUNNING) | (above == SAND))] = POUR
    _let_go(tags, bodies)
    return Box(
        grid=Grid(tags=tags, cell=cell, origin=origin),
        mouths={POUR: poured, OPEN: open_air()},
        gates=gates,
        bodies=bodies,
        across_choke=2.0 * math.sqrt(rigging.choke_area / math.pi) / cell,
    )


def _sampled(cavity: Cavity, origin: Array, cell: float, shape: tuple[int, int, int]) -> tuple[Array, Array]:
    """Tags and numbers of rigging bodies at the middles of cells; an ingate, the narrowest of them, wins a cell it reaches into."""
    grid = cavity.grid
    out, body = np.full(shape, SAND, np.uint8), np.zeros(shape, np.uint8)
    for off in (0.5, 0.2, 0.8):
        at = [np.floor((origin[a] + (np.arange(shape[a]) + off) * cell - grid.origin[a]) / grid.cell).astype(int) for a in range(3)]
        inside = [(0 <= at[a]) & (at[a] < grid.tags.shape[a]) for a in range(3)]
        place = np.ix_(*(np.clip(at[a], 0, grid.tags.shape[a] - 1) for a in range(3)))
        there = inside[0][:, None, None] & inside[1][None, :, None] & inside[2][None, None, :]
        tag, number = grid.tags[place], cavity.bodies[place]
        if off == 0.5:
            out[there], body[there] = tag[there], number[there]
        else:
            more = there & (tag == INGATE) & ~np.isin(out, (INGATE, PART))
            out[more], body[more] = tag[more], number[more]
    return out, body


def _let_go(tags: Array, bodies: Array) -> None:
    """Open risers and flow-offs to the air from a little over the part's top on."""
    layers = np.flatnonzero((bodies == PART).any(axis=(0, 1)))
    if not layers.size:
        return
    first = min(int(layers[-1]) + 1 + OVER, tags.shape[2] - 1)
    above = tags[:, :, first:]
    above[np.isin(bodies[:, :, first:], (RISER, NECK, FLOW_OFF))] = OPEN
