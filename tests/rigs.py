"""Three rigs poured from a kept basin, solved and reckoned: what test and validation page hold against each other."""

from __future__ import annotations

import functools
import math

import manifold3d as m3
import numpy as np

import strickle
from strickle.base import GRAVITY, Mesh
from strickle.rigging.losses import FRICTION, discharge_full, sprue_loss

BASIN = 25.0
UNDER = 8.0  # mm from the ingates' level down to the runner's roof


def block(*ends):
    x0, x1, y0, y1, z0, z1 = ends
    return m3.Manifold.cube((x1 - x0, y1 - y0, z1 - z0)).translate((x0, y0, z0))


def rig(head, choke):
    """A plate 160 x 10 x 80 mm over two ingates, runner, well and a sprue tapered as the stream falls; the solid and its areas [m2]."""
    side = math.sqrt(choke)
    top = side * ((head + UNDER) / BASIN) ** 0.25
    wide = math.sqrt(2.4 * choke)
    deep = 2.0 * choke / wide
    gate = 1.5 * choke / 7.0
    well = max(2.2 * side, 1.1 * wide)
    at = -20.0 - well / 2
    solid = block(0, 160, 0, 10, 0, 80) + block(-20, 150, 5 - wide / 2, 5 + wide / 2, -UNDER - deep, -UNDER)
    for x in (25.0, 105.0):
        solid += block(x, x + gate, 1.5, 8.5, -UNDER - 0.5, 1)
    solid += block(-20 - well, -19, 5 - well / 2, 5 + well / 2, -UNDER - deep - 0.7 * side, -UNDER + 0.5)
    corners = [(x * s / 2, y * s / 2, z) for z, s in ((-UNDER, side), (head - BASIN + 0.5, top)) for x in (-1, 1) for y in (-1, 1)]
    solid += m3.Manifold.hull_points(np.array(corners)).translate((at, 5, 0))
    solid += block(at - 25, at + 25, -15, 25, head - BASIN, head)
    mesh = solid.to_mesh()
    areas = {"choke": 1e-6 * choke, "top": 1e-6 * top**2, "runner": 2e-6 * choke, "ingates": 3e-6 * choke}
    return Mesh(vertices=np.asarray(mesh.vert_properties[:, :3], float) * 1e-3, faces=np.asarray(mesh.tri_verts, np.int64)), areas


@functools.cache
def filled(head, choke, cell, moved):
    """Solved and reckoned time [s] from a full basin to a full mould, and the run."""
    mesh, areas = rig(head, choke)
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    shape = np.ceil((high - low) / cell - 1e-9).astype(int) + np.array([3, 3, 2])
    origin = np.array([low[0] - (1 + moved[0]) * cell, low[1] - (1 + moved[1]) * cell, high[2] - shape[2] * cell])
    grid = strickle.Grid(tags=np.ones(tuple(shape), np.uint8), cell=cell, origin=origin)
    z = origin[2] + (np.arange(shape[2]) + 0.5) * cell
    x = origin[0] + (np.arange(shape[0]) + 0.5) * cell
    is_basin = z > 1e-3 * (head - BASIN)
    begin = np.zeros(grid.tags.shape)
    begin[:, :, is_basin] = 1.0
    found = strickle.fill(
        grid, {1: strickle.LiquidData(density=2385.0)}, ends={"z+": strickle.held(0.0)}, begin=begin, surface=mesh, until=20.0, full=0.995,
        friction=FRICTION / 4.0,
    )  # fmt: skip
    room = found.room * cell**3
    plate = room[x > 0.0][:, :, z > 0.0].sum(axis=(0, 1))
    running = room.sum() - room[:, :, is_basin].sum() - plate.sum()
    sprue = sprue_loss(areas["choke"], areas["top"], 1e-3 * (head - BASIN + UNDER))
    rate = discharge_full(sprue, areas["choke"], areas["runner"], areas["ingates"]) * areas["choke"] * math.sqrt(2.0 * GRAVITY)
    time = running / (rate * math.sqrt(1e-3 * head))
    time += sum(volume / (rate * math.sqrt(max(1e-3 * head - level, 1e-3))) for level, volume in zip(z[z > 0.0], plate, strict=True))
    return found, time


RIGS = [(100, 90.0), (150, 55.0), (250, 30.0)]
