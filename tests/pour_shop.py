"""Small moulds put together from blocks, to fill in tests: sprue, basin, runner, gates and a part, all made up. Millimetres in here."""

from __future__ import annotations

import dataclasses

import manifold3d as m3
import numpy as np

import melt_shop as shop
from strickle.base import Grid, Mesh, quiet
from strickle.cavity import INGATE, PART, RISER, RUNNING, SAND, Cavity, Named
from strickle.kernels import raster
from strickle.melt import MeltAsk
from strickle.melt.steps import charge
from strickle.pour import PourAsk
from strickle.pour.steps import fill
from strickle.rigging import Region

CELL = 2e-3
TAGS = {"ingate": INGATE, "running": RUNNING, "riser": RISER}


def block(x0, x1, y0, y1, z0, z1) -> m3.Manifold:
    return m3.Manifold.cube((x1 - x0, y1 - y0, z1 - z0)).translate((x0, y0, z0))


def mesh_of(solid: m3.Manifold) -> Mesh:
    mesh = solid.to_mesh()
    return Mesh(vertices=np.asarray(mesh.vert_properties[:, :3], dtype=float) / 1e3, faces=np.asarray(mesh.tri_verts, dtype=np.int64))


def one_gate(wide=26.0, high=7.0, reach=50.0):
    """Basin, sprue, runner and one gate at the low end of a part that begins at x = -reach."""
    x = -reach
    return {
        "sprue": ("running", block(x - 24, x - 16, -4, 4, -8, 60) + block(x - 40, x, -20, 20, 60, 90)),
        "runner": ("running", block(x - 26, x, -6, 6, -8, 0)),
        "ingate-1": ("ingate", block(x - 12, x + 2, -wide / 2, wide / 2, -1, high)),
    }


def two_gates():
    """A runner that feeds both ends of a bar along x."""
    return {
        "sprue": ("running", block(-4, 4, -54, -46, -8, 60) + block(-20, 20, -70, -30, 60, 90)),
        "runner": (
            "running",
            block(-6, 6, -56, -24, -8, 0) + block(-66, 66, -36, -24, -8, 0) + block(-66, -54, -36, 6, -8, 0) + block(54, 66, -36, 6, -8, 0),
        ),
        "ingate-1": ("ingate", block(-64, -48, -6, 6, -1, 6)),
        "ingate-2": ("ingate", block(48, 64, -6, 6, -1, 6)),
    }


def poured(part: m3.Manifold, bodies, **more):
    """The pour of a part with bodies round it: name -> kind and solid; ``more`` as ``Standing`` takes it."""
    return Standing(part, bodies, **more).pour()


class Standing:
    """A mould that stands, with its results up to the melt, as trials are lent them: it charges and fills, and remembers nothing."""

    def __init__(self, part: m3.Manifold, bodies, *, pour=None, stores=None, wall=0.012, ask=None, vents=(), **metal):
        self.stores, self.heats = stores or shop.stores(), []
        self.asks = {"melt": MeltAsk(pour=pour), "pour": ask or PourAsk(filling="run", preset="rough")}
        self.results = _stands(part, bodies, wall, vents, shop.a356(**metal))
        self.results["melt"] = self.once("melt", self.results, self.asks["melt"], self.stores, quiet)

    def pour(self):
        return self.once("pour", self.results, self.asks["pour"], self.stores, quiet)

    def ask(self, stage):
        return self.asks[stage]

    def once(self, stage, results, ask, stores, watch):
        part, metal = results["part"], results["metal"]
        closed = results["mould"], results["rigging"], results["cavity"]
        if stage == "melt":
            self.heats.append(ask.pour)
            return charge(part, *closed, metal, stores, ask, watch)
        return fill(part, results["pattern"], *closed, metal, results["melt"], stores, ask, watch)

    def keep(self, stage, parts, make):
        return make()


def _stands(part: m3.Manifold, bodies, wall, vents, metal):
    casting = part
    for _, solid in bodies.values():
        casting = casting + solid
    closed = _cavity(part, bodies, casting)
    areas = {name: solid for name, (kind, solid) in bodies.items() if kind == "ingate"}
    plain = shop.rigging(top=64e-6, base=64e-6)
    gates = tuple(
        dataclasses.replace(plain.ingates[0], name=name, area=_section(solid), at=np.mean(mesh_of(solid).vertices, axis=0))
        for name, solid in areas.items()
    )
    regions = (Region(name="basin", kind="running", mesh=mesh_of(casting)),)
    basin = dataclasses.replace(plain.basin, volume=48e-6, length=0.04)
    built = dataclasses.replace(plain, basin=basin, casting=mesh_of(casting), ingates=gates, regions=regions, vents=tuple(vents))
    body = shop.part(volume=part.volume() * 1e-9, wall=wall)
    return {"metal": metal, "part": body, "pattern": shop.pattern(), "mould": shop.mould(), "rigging": built, "cavity": closed}


def _section(solid: m3.Manifold) -> float:
    size = np.ptp(mesh_of(solid).vertices, axis=0)
    return float(size[1] * size[2])


def _cavity(part, bodies, casting) -> Cavity:
    low, high = (np.array(casting.bounding_box()).reshape(2, 3) / 1e3)[[0, 1]]
    shape = tuple(int(n) for n in np.ceil((high - low) / CELL).astype(int) + np.array([10, 10, 5]))
    origin = np.array([*(low[:2] - 5 * CELL), high[2] - shape[2] * CELL])

    def share(solid):
        mesh = mesh_of(solid)
        return np.asarray(raster.fractions(mesh.vertices, mesh.faces, origin, CELL, shape, 2))

    fraction = share(casting)
    tags, numbers, names = np.full(shape, SAND, np.uint8), np.zeros(shape, np.uint8), []
    for number, (name, (kind, solid)) in enumerate(bodies.items(), 1):
        mine = share(solid) >= 0.5
        tags[mine], numbers[mine] = TAGS[kind], number
        names.append(Named(name=name, kind=kind, number=number))
    mine = share(part) >= 0.5
    tags[mine], numbers[mine] = PART, 0
    volume = casting.volume() * 1e-9
    return dataclasses.replace(
        shop.cavity(), cell=CELL, cells=tags.size, metal_cells=int((tags != SAND).sum()), metal_volume=volume, mesh_volume=volume,
        grid=Grid(tags=tags, cell=CELL, origin=origin), fraction=fraction, bodies=numbers, names=tuple(names), metal_mass=volume * 2390.0,
    )  # fmt: skip
