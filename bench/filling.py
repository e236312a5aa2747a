"""Time of the filling solver: a bottom-gated plate poured full with heat, a breaking dam, and how time grows with metal and not with the box.

On each of three grids the plate is poured in a tight box and in one with 50 mm of sand round it, some six times as large: what they differ by
is the cost of the box. The exponent is the slope of time a step against cells of metal on logarithmic scales: 1 is linear. The heat that the metal
lost is held against what the sand took and what ran out. A general two-phase solver beside it: bench/peers/interfoam_peer.py, where installed.

The plate is upright, 200 x 100 x 10 mm, with basin, tapered square sprue, well, runner and two ingates, cut cells from its mesh, heat, mush and
friction on: 2.5 mm cells, one core.  Prints processor seconds without compilation and the run's own figures.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import manifold3d as m3
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
import strickle
from strickle.base import Mesh

ICE = 273.15
SAND = strickle.MediumData(conductivity=0.6, density=1500.0, heat_capacity=1130.0)
METAL = strickle.MetalData.plain(
    solidus=557.0 + ICE, liquidus=615.0 + ICE, latent_heat=389e3, solid_heat=1000.0, liquid_heat=1100.0, solid_conductivity=150.0,
    liquid_conductivity=70.0, density=2560.0, shrinkage=0.06,
)  # fmt: skip
FRICTION = 0.009


def frustum(low: float, high: float, bottom: float, top: float) -> m3.Manifold:
    """A square taper between two levels [mm], its sides ``bottom`` and ``top``."""
    corners = [(x * side / 2, y * side / 2, z) for z, side in ((bottom, low), (top, high)) for x in (-1, 1) for y in (-1, 1)]
    return m3.Manifold.hull_points(np.array(corners))


def block(*ends: float) -> m3.Manifold:
    """A block from x0, x1, y0, y1, z0, z1 [mm]."""
    x0, x1, y0, y1, z0, z1 = ends
    return m3.Manifold.cube((x1 - x0, y1 - y0, z1 - z0)).translate((x0, y0, z0))


def plate() -> m3.Manifold:
    """The plate with its rigging [mm], gates at z = 0."""
    solid = block(0, 200, 0, 10, 0, 100) + block(-40, 185, -2.5, 12.5, -20, -7.5)
    for x in (40.0, 130.0):
        solid += block(x, x + 30, 1.25, 8.75, -8, 1)
    solid += block(-52.5, -32.5, -5, 15, -25, -5)
    solid += frustum(7.5, 14.0, -6, 180).translate((-42.5, 5, 0))
    return solid + block(-57.5, -27.5, -10, 20, 177.5, 197.5)


def mesh_of(solid: m3.Manifold) -> Mesh:
    """The solid as a mesh [m]."""
    mesh = solid.to_mesh()
    return Mesh(vertices=np.asarray(mesh.vert_properties[:, :3], float) * 1e-3, faces=np.asarray(mesh.tri_verts, np.int64))


def grid_of(mesh: Mesh, cell: float, room: float = 0.0) -> strickle.Grid:
    """A box round the mesh with ``room`` [m] beside and below; its top is the mesh's top."""
    low, high = mesh.vertices.min(axis=0) - room, mesh.vertices.max(axis=0)
    shape = np.ceil((high - low + np.array([room, room, 0.0])) / cell - 1e-9).astype(int) + np.array([2, 2, 1])
    origin = np.array([low[0] - cell, low[1] - cell, high[2] - shape[2] * cell])
    return strickle.Grid(tags=np.ones(tuple(shape), np.uint8), cell=cell, origin=origin)


def pour(cell: float, room: float = 0.0, full: float = 0.995) -> tuple[float, strickle.Filling]:
    """Processor seconds and the filling of the plate, basin kept full."""
    mesh = mesh_of(plate())
    grid = grid_of(mesh, cell, room)
    begun = time.process_time()
    found = strickle.fill(
        grid, {1: METAL, 10: SAND}, start={1: 720.0 + ICE, 10: 293.0}, ends={"z+": strickle.held(0.0)}, surface=mesh, until=10.0, full=full,
        friction=FRICTION, contact=2000.0,
    )  # fmt: skip
    return time.process_time() - begun, found


def dam(per: int, deep: int = 8) -> tuple[float, strickle.Filling]:
    """A column one wide and two high on a dry floor, ``per`` cells to its width (57.15 mm), to 3.4 units of time."""
    tags = np.ones((5 * per, deep, int(2.5 * per)), np.uint8)
    begin = np.zeros(tags.shape)
    begin[:per, :, : 2 * per] = 1.0
    grid = strickle.Grid(tags=tags, cell=0.05715 / per, origin=np.zeros(3))
    begun = time.process_time()
    found = strickle.fill(
        grid, {1: strickle.LiquidData(density=1000.0)}, ends={"z+": strickle.open_air()}, begin=begin, until=3.4 * (0.05715 / 19.62) ** 0.5, full=2.0
    )
    return time.process_time() - begun, found


def told(what: str, seconds: float, found: strickle.Filling, bar: str = "") -> None:
    """One line."""
    cells = int((found.room > 0.0).sum())
    print(
        f"{what:34s} {cells:7d} cells {found.steps:5d} steps {seconds:6.2f} s {seconds / found.steps / cells * 1e9:5.0f} ns a cell and step"
        f"  {found.status} at {found.time:.2f} s, iterations {found.rounds:.1f} (most {found.hardest}),"
        f" metal {found.metal_balance:+.0e}, heat {found.heat_balance:+.0e}, fullest {np.nanmax(found.share):.4f} {bar}"
    )


def audit(found: strickle.Filling) -> float:
    """Heat the metal lost, less what the mould took, over it."""
    return (found.metal_loss - found.wall_gain) / found.metal_loss


def growth() -> None:
    """The plate on three grids, each in a tight box and in a large one, and how time grows."""
    cells, each = [], []
    for cell in (5e-3, 3.5e-3, 2.5e-3):
        name = f"plate, {1e3 * cell:g} mm"
        seconds, tight = pour(cell)
        told(name, seconds, tight, bar="(bar 16 s, aim 10)" if cell == 2.5e-3 else "")
        wide_seconds, wide = pour(cell, room=0.05)
        told(f"{name}, in the large box", wide_seconds, wide)
        times, steps = wide.room.size / tight.room.size, tight.steps / wide.steps
        print(f"    box {times:.1f} times as large: {wide_seconds * steps / seconds:.2f} times the time for as many steps")
        print(f"    heat lost by the metal {tight.metal_loss / 1e3:.2f} kJ, mould's gain off by {100 * audit(tight):+.3f} %")
        cells.append(np.count_nonzero(tight.room > 0.0))
        each.append(seconds / tight.steps)
    slope = np.polyfit(np.log(cells), np.log(each), 1)[0]
    print(f"    time a step grows with metal to the power {slope:.2f}")


if __name__ == "__main__":
    dam(6)
    pour(5e-3, full=0.2)  # compiled or loaded
    growth()
    for per in (12, 24, 48):
        told(f"dam, {per} cells", *dam(per))
