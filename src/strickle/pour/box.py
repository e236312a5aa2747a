"""The mould as the filling solver takes it: a grid of its own over the casting, what each cell is, and where metal comes in and air goes out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from strickle.base import Array, Grid, falling_speed
from strickle.cavity import CHILL, FLOW_OFF, GRAPHITE, INGATE, METAL_TAGS, NECK, PART, RISER, RUNNING, SAND, SLEEVE, Cavity
from strickle.pour.rules import ACROSS_WALL
from strickle.rigging import Rigging

POUR, OPEN, GATE = 200, 201, 210
"""Tags of the mouths; ingates are numbered from GATE on."""
MOST_GATES = 30
OVER = 1
"""Layers of cells over the part's top after which risers and flow-offs are let go: they fill after the part and do not hold it back."""
ACROSS_CHOKE = 3.0
"""Cells across the choke from which it passes what it should (measured: 2.5 cells let through a quarter less); on coarser ones the law of losses
tells the flow."""
FINEST = {"rough": 4e-3, "shop": 2.5e-3, "fine": 1.8e-3}
"""m, cells where no wall asks for finer ones."""
WORK = {"rough": 2.5e6, "shop": 4.7e7, "fine": 1.6e8}
"""Cells times steps that a filling may take, as reckoned from volume, time and speed: the coarser cell holds where it would take more."""
SMALLEST = 8e-4
ENTRY = 2
"""Cells of the basin kept over its floor: the mouth lies there, under the metal that stands over it."""
MEDIA = (SAND, CHILL, GRAPHITE, SLEEVE)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Box:
    """What the filling is solved on. Cell arrays (nx, ny, nz); ``bodies`` tags as the cavity has them, by the middles of cells;
    ``level`` [m] where metal comes in, at the sprue's foot if ``by_law``: the flow is then that of the law of losses.
    """

    grid: Grid
    gates: dict[str, int]
    bodies: Array
    by_law: bool
    level: float

    def middle(self, cells: Array) -> Array:
        """Middles [m] of cells (n, 3), mould frame."""
        return np.asarray(self.grid.origin) + (np.asarray(cells) + 0.5) * self.grid.cell


def own_cell(rigging: Rigging, cavity: Cavity, wall: float, lasts: float, preset: str) -> float:
    """Edge [m] of the filling's cells: a third of the least ``wall`` [m] where the work allows it that a pour of ``lasts`` [s] takes."""
    volume = max(cavity.mesh_volume - over_part(rigging, cavity), 1e-9)
    speed = falling_speed(rigging.sprue.height + rigging.basin.depth)
    least = (volume * lasts * speed / WORK[preset]) ** 0.25
    return float(max(min(FINEST[preset], wall / ACROSS_WALL), least, SMALLEST))


def over_part(rigging: Rigging, cavity: Cavity) -> float:
    """Metal [m3] of risers and flow-offs over the part's top."""
    tags, fraction = cavity.grid.tags, cavity.fraction
    layers = np.flatnonzero((tags == PART).any(axis=(0, 1)))
    top = int(layers[-1]) + 1 if layers.size else 0
    return float(fraction[:, :, top:][np.isin(tags[:, :, top:], (RISER, NECK, FLOW_OFF))].sum()) * cavity.grid.cell**3


def box_of(rigging: Rigging, cavity: Cavity, cell: float, stands: float = 0.0) -> Box:
    """The grid over the casting: metal comes in over the basin's floor, or at the sprue's foot where the choke is too narrow for the cells;
    risers are open to the air ``stands`` [m] over the part, which the thinnest wall needs to be entered against the metal's skin, and flow-offs
    at the cope's top.
    """
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
        mine = (number == name.number) & (bodies == INGATE)
        mouth = mine & ndimage.binary_dilation(bodies == PART)
        tags[mouth if mouth.any() else mine] = gates[name.name]
    top = here[2] - 1
    across = 2.0 * math.sqrt(rigging.choke_area / math.pi) / cell
    by_law = across < ACROSS_CHOKE
    level = round(((0.0 if by_law else rigging.sprue.height) - origin[2]) / cell) + (1 if by_law else ENTRY)
    mouth = min(level, top)
    _put(tags, mouth, np.any(bodies[:, :, mouth - 1 :] == RUNNING, axis=2), POUR)
    first = min(_over(bodies) + OVER + math.ceil(stands / cell), top)
    _put(tags, first, np.any(np.isin(bodies[:, :, first - 1 :], (RISER, NECK)), axis=2), OPEN)
    _put(tags, top, bodies[:, :, top - 1] == FLOW_OFF, OPEN)
    _cut(tags, bodies, rigging, origin, cell)
    return Box(
        grid=Grid(tags=tags, cell=cell, origin=origin),
        gates=gates,
        bodies=bodies,
        by_law=by_law,
        level=float(origin[2]) + mouth * cell,
    )


def _sampled(cavity: Cavity, origin: Array, cell: float, shape: tuple[int, int, int]) -> tuple[Array, Array]:
    """Tags and numbers of rigging bodies at the middles of cells; an ingate too narrow to hold one wins the cells it reaches into."""
    grid = cavity.grid
    out, body, seen = np.full(shape, SAND, np.uint8), np.zeros(shape, np.uint8), np.zeros(0, np.uint8)
    for off in (0.5, 0.2, 0.8):
        at = [np.floor((origin[a] + (np.arange(shape[a]) + off) * cell - grid.origin[a]) / grid.cell).astype(int) for a in range(3)]
        inside = [(at[a] >= 0) & (at[a] < grid.tags.shape[a]) for a in range(3)]
        place = np.ix_(*(np.clip(at[a], 0, grid.tags.shape[a] - 1) for a in range(3)))
        there = inside[0][:, None, None] & inside[1][None, :, None] & inside[2][None, None, :]
        tag, number = grid.tags[place], cavity.bodies[place]
        if off == 0.5:
            out[there], body[there] = tag[there], number[there]
            seen = np.unique(body)
        else:
            more = there & (tag == INGATE) & ~np.isin(out, (INGATE, PART)) & ~np.isin(number, seen)
            out[more], body[more] = tag[more], number[more]
    return out, body


def _cut(tags: Array, bodies: Array, rigging: Rigging, origin: Array, cell: float) -> None:
    """Cells of sand that the casting's surface cuts belong to the metal nearest to them, in place.

    The closed mould's own grid may be coarser than the walls: a wall of 1.4 of its cells is one cell of metal there, and the rest of it sand.
    """
    from strickle.kernels import raster

    mesh, shape = rigging.casting, (tags.shape[0], tags.shape[1], tags.shape[2])
    share = raster.fractions(np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces), origin, cell, shape, 4)
    rim = (np.asarray(share) > 0.0) & (tags == SAND)
    near = ndimage.distance_transform_edt(~np.isin(bodies, METAL_TAGS), return_distances=False, return_indices=True)
    nearest = bodies[tuple(near[:, rim])]
    tags[rim] = nearest
    bodies[rim] = nearest


def _over(bodies: Array) -> int:
    """The first layer over the part."""
    layers = np.flatnonzero((bodies == PART).any(axis=(0, 1)))
    return int(layers[-1]) + 1 if layers.size else bodies.shape[2]


def _put(tags: Array, first: int, plan: Array, mouth: int) -> None:
    """A mouth from layer ``first`` up over what is marked in plan (nx, ny), with the cut cells at its rim; never over another or the sprue."""
    wide = ndimage.binary_dilation(plan, structure=np.ones((3, 3), bool))
    above = tags[:, :, first:]
    above[wide[:, :, None] & (plan[:, :, None] | (above == SAND)) & (above != POUR)] = mouth
