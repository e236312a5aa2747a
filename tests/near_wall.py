"""Bodies in sand on grids they lie on in many ways, and what they come to as the cells grow small.

The converged values are Richardson values from 1.0 and 0.5 mm (of the bracket from 1.5 and 0.75 mm; second order, which the cured wall shows on
the plate) in a box cut to the heated sand, on a part of each body cut off by its own mirror planes.  ``python tests/near_wall.py NAME...``
computes and stores them with the hash of what they were computed from; the tests compare 2 mm with what is stored.
"""

from __future__ import annotations

import hashlib
import json
import sys
from pathlib import Path

import manifold3d as m3
import numpy as np

import strickle
from strickle.base import Mesh

STORED = Path(__file__).with_suffix(".json")
ICE = 273.15
POUR, COLD, CONTACT = 720.0 + ICE, 25.0 + ICE, 1000.0
SAND_ROUND = 35e-3  # m, three diffusion lengths of the longest freezing here
CURVE = np.array([613, 610, 605, 600, 590, 580, 575, 572, 568, 562, 555]) + ICE
SOLID = np.array([0.0, 0.10, 0.20, 0.28, 0.39, 0.47, 0.50, 0.62, 0.82, 0.95, 1.0])
CELLS = {"bracket": (1.5e-3, 0.75e-3)}  # at 0.5 mm half of it is 21 million cells and an hour; the others from 1.0 and 0.5 mm
READ = ("sol", "last", "liq", "last_liq")
# as the reference set's near-wall page has them: an A356-like curve, one conductivity each of solid and liquid
METAL = strickle.MetalData(
    curve_temperature=CURVE, curve_solid=SOLID, latent_heat=389e3, solid_heat_temperature=np.array([555 + ICE]), solid_heat=np.array([1080.0]),
    liquid_heat=1080.0, solid_conductivity_temperature=np.array([555 + ICE]), solid_conductivity=np.array([150.0]), liquid_conductivity=80.0,
    density_solidus=2450.0,
)  # fmt: skip
SAND = strickle.MediumData(conductivity=0.6, density=1550.0, heat_capacity=1100.0)


def plate() -> m3.Manifold:
    """60 x 60 x 20 mm."""
    return m3.Manifold.cube((60.0, 60.0, 20.0), True)


def bar() -> m3.Manifold:
    """A round bar, 30 mm across and 60 mm long."""
    return m3.Manifold.cylinder(60.0, 15.0, 15.0, 128, True)


def sphere() -> m3.Manifold:
    """40 mm across."""
    return m3.Manifold.sphere(20.0, 128)


def bracket() -> m3.Manifold:
    """The demo's bracket as cast."""
    from strickle.job.demo import demo

    vertices, faces = demo("bracket").draw()
    return m3.Manifold(m3.Mesh64(np.asarray(vertices, dtype=float), np.asarray(faces, dtype=np.uint64)))


BODIES = {"plate": plate, "bar": bar, "sphere": sphere, "bracket": bracket}
MIRRORS = {"plate": (0, 1, 2), "bar": (0, 1, 2), "sphere": (0, 1, 2), "bracket": (1,)}  # axes the body is its own mirror image along


def mesh_of(solid: m3.Manifold) -> Mesh:
    """In metres."""
    mesh = solid.to_mesh64()
    return Mesh(vertices=np.array(mesh.vert_properties[:, :3]) * 1e-3, faces=np.array(mesh.tri_verts, dtype=np.int64))


def frozen(solid: m3.Manifold, cell: float, *, shift=(0.0, 0.0, 0.0), mirrors=(), true: bool = True, preset: str = "shop", contact=CONTACT):
    """The solid in sand, its low corner ``shift`` cells off a cell's; on ``mirrors`` its low end lies on the grid's closed end."""
    from strickle.kernels import raster

    mesh = mesh_of(solid)
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    around = np.floor(SAND_ROUND / cell)
    before = np.array([0.0 if axis in mirrors else around + shift[axis] for axis in range(3)])
    origin = low - before * cell
    shape = tuple(int(n) for n in np.ceil((high - origin) / cell - 1e-9) + around)
    tags = np.where(raster.inside(raster.fractions(mesh.vertices, mesh.faces, origin, cell, shape, sub=1)), 1, 2).astype(np.uint8)
    return strickle.freeze(
        strickle.Grid(tags=tags, cell=cell, origin=origin), {1: METAL, 2: SAND}, start={1: POUR, 2: COLD}, contact={(1, 2): contact},
        surface=mesh if true else None, preset=preset,
    )  # fmt: skip


def reading(out) -> dict[str, float]:
    """Means over the metal, each cell by the metal it truly holds, and last cells, solid and free of superheat [s]."""
    mean = [float(np.average(field[np.isfinite(field)], weights=out.cell_volumes)) for field in (out.time_to_solidus, out.time_to_liquidus)]
    last = [float(np.nanmax(field)) for field in (out.time_to_solidus, out.time_to_liquidus)]
    return dict(zip(READ, (mean[0], last[0], mean[1], last[1]), strict=True))


def inputs(name: str) -> str:
    """Hash of all that a reference is computed from."""
    mesh = mesh_of(BODIES[name]())
    parts = [
        np.round(mesh.vertices, 9),
        mesh.faces,
        CURVE,
        SOLID,
        np.array([POUR, COLD, CONTACT, SAND_ROUND, 389e3, 1080, 150, 80, 2450, 0.6, 1550, 1100]),
    ]
    return hashlib.sha256(b"".join(np.ascontiguousarray(p).tobytes() for p in parts)).hexdigest()[:16]


def converged(name: str) -> dict[str, object]:
    """Richardson values of a body from two cells, one twice the other."""
    solid = BODIES[name]()
    for axis in MIRRORS[name]:
        normal = [0.0, 0.0, 0.0]
        normal[axis] = 1.0
        solid = solid.trim_by_plane(normal, 0.0)
    coarse, fine = (reading(frozen(solid, cell, mirrors=MIRRORS[name])) for cell in CELLS.get(name, (1.0e-3, 0.5e-3)))
    return {"inputs": inputs(name), **{key: round((4.0 * fine[key] - coarse[key]) / 3.0, 4) for key in READ}, "coarse": coarse, "fine": fine}


def stored() -> dict[str, dict]:
    return json.loads(STORED.read_text()) if STORED.exists() else {}


def store(name: str) -> None:
    found = converged(name)
    whole = stored() | {name: found}
    STORED.write_text(json.dumps(whole, indent=1, sort_keys=True) + "\n")


if __name__ == "__main__":
    for one in sys.argv[1:] or BODIES:
        store(one)
        sys.stdout.write(f"{one} {stored()[one]}\n")
