"""Round bodies on their true surface, an eighth or a quarter of each closed by mirror planes: C07 and C09.

C07 compares with formulas in which the sand alone rules, so the time is that at which the heat lost equals density x latent heat x volume.  The
last cell is solid later (4 % in a cylinder, 9 % in a sphere): the shell cools below the melting point while the centre still freezes.  Such
formulas leave that out, which also makes them short by 0.4 % (plate), 1.1 % (cylinder, exact outside) and 1.6 % (sphere) of the whole task's time.
"""

from __future__ import annotations

import manifold3d
import numpy as np

from outside import Row, case
from outside.columns import CARSLAW, COLD, FLEMINGS, MEDIUM, MELT, METAL, SAND, aluminium, balanced, column
from outside.radial import exact
from strickle import Freezing, Grid, MetalData, fixed, freeze
from strickle.base import Mesh

Solid = manifold3d.Manifold
FINE = 192  # facets round a circle
POOR = 2550.0 * 396e3  # J/m3, latent
EXTERIOR = "exact conduction outside a cylinder, Carslaw & Jaeger, 1959, 13.5 (computed)"


def closed(solid: Solid) -> Mesh:
    """A solid [mm] as the mesh of all metal [m]."""
    mesh = solid.to_mesh64()
    return Mesh(vertices=np.array(mesh.vert_properties[:, :3]) * 1e-3, faces=np.array(mesh.tri_verts, np.int64))


def round_body(kind: str, radius: float, cell: float, cells: int) -> tuple[Solid, Grid]:
    """An eighth of a sphere, or a quarter of three cells' length of a cylinder, its axes on the low faces of the grid [mm, m]."""
    length = 3e3 * cell
    whole = Solid.sphere(radius, FINE) if kind == "sphere" else Solid.cylinder(length, radius, radius, FINE)
    solid = whole ^ Solid.cube((2 * radius,) * 3)
    shape = (cells, cells, cells if kind == "sphere" else 3)
    x, y, z = np.meshgrid(*((np.arange(n) + 0.5) * cell for n in shape), indexing="ij")
    away = np.sqrt(x**2 + y**2 + (z**2 if kind == "sphere" else 0.0))
    tags = np.where(away < radius * 1e-3, METAL, MEDIUM).astype(np.uint8)
    return solid, Grid(tags=tags, cell=cell, origin=np.zeros(3))


def time_of_heat(run, heat: float, guess: float) -> float:
    """When the metal has lost ``heat`` [J]: two runs that end beside it."""
    ends = [balanced(run(seconds)) for seconds in (guess, 1.02 * guess)]
    times, lost = [out.time for out in ends], [out.metal_loss for out in ends]
    return float(times[0] + (heat - lost[0]) * (times[1] - times[0]) / (lost[1] - lost[0]))


def in_sand(kind: str, guess: float) -> float:
    """C07: seconds until a body of modulus 10 mm has lost its latent heat to the sand; cells of 2 mm."""
    if kind == "plate":
        solid, grid, surface = None, column(5, 40, 0.002), None
        volume = 5 * 0.002**3
    else:
        radius = 30.0 if kind == "sphere" else 20.0
        solid, grid = round_body(kind, radius, 0.002, 44 if kind == "sphere" else 36)
        surface, volume = closed(solid), solid.volume() * 1e-9

    def run(until: float) -> Freezing:
        return freeze(grid, {METAL: aluminium(0.005), MEDIUM: SAND}, start={METAL: MELT, MEDIUM: COLD}, until=until, surface=surface)

    return time_of_heat(run, POOR * volume, guess)


@case("C07", f"{FLEMINGS}; outside: {EXTERIOR}; both conducting: radial finite volumes, extrapolated")
def equal_modulus() -> list[Row]:
    ours = {kind: in_sand(kind, guess) for kind, guess in (("plate", 192.2559), ("cylinder", 145.339), ("sphere", 132.9261))}
    return [
        Row("plate, modulus 10 mm", 192.2559, ours["plate"], 0.02, "s", relative=True),
        Row("cylinder, modulus 10 mm", 143.4071, ours["cylinder"], 0.02, "s", relative=True),
        Row("cylinder, exact outside", 145.339, ours["cylinder"], 0.02, "s", relative=True),
        Row("sphere, modulus 10 mm", 132.9261, ours["sphere"], 0.02, "s", relative=True),
        *(Row(f"{kind}, metal and sand conducting", exact(kind), ours[kind], 0.01, "s", relative=True) for kind in ours),
    ]


def quasi_steady(kind: str, drop: float) -> float:
    """Seconds by the quasi-steady formula for 25 mm of half-thickness or radius at a wall ``drop`` kelvin below the melting point."""
    return POOR * 0.025**2 / ({"slab": 2, "cylinder": 4, "sphere": 6}[kind] * 211.0 * drop)


def inward(kind: str, drop: float, cells: int = 20) -> float:
    """C09: seconds until a body of 25 mm at its melting point is solid, its wall held ``drop`` kelvin below."""
    cell = 0.025 / cells
    metal: MetalData = aluminium(0.01 * drop, liquid_conductivity=211.0, liquid_heat=1190.0)
    wall = fixed(MELT - drop)
    if kind == "slab":
        return balanced(freeze(column(cells, 0, cell), {METAL: metal}, start={METAL: MELT}, faces={"x-": wall})).solid_time
    solid, grid = round_body(kind, 25.0, cell, cells + 2)
    return balanced(freeze(grid, {METAL: metal, MEDIUM: wall}, start={METAL: MELT}, surface=closed(solid))).solid_time


@case("C09", f"{CARSLAW}, 11.2; quasi-steady limit for Ste -> 0 (formula, computed)")
def inward_freezing() -> list[Row]:
    """2 K below the melting point is Ste = 0.006.

    The formula leaves out the solid's own heat.  Its first term in Ste makes the time longer by Ste / 3 of itself in a slab and by Ste in a sphere
    (u = r T obeys the slab's equation; put the quasi-steady u into du/dt, integrate twice, and the front's speed falls by Ste / (3 s)).
    """
    rows = [
        Row(f"{kind}, 2 K, Ste 0.006", quasi_steady(kind, 2.0), inward(kind, 2.0), 0.01, "s", relative=True)
        for kind in ("slab", "cylinder", "sphere")
    ]
    tenth = 0.1 * 396e3 / 1190.0
    factor = inward("slab", tenth) / quasi_steady("slab", tenth)
    ball, ste = inward("sphere", 10.0, 30), 1190.0 * 10.0 / 396e3
    return [
        *rows,
        Row("slab at Ste 0.1 over the formula", 1.03290504379, factor, 0.01, "1", relative=True),
        Row("sphere, 10 K, Ste 0.030", 49.85190, ball, 0.01, "s", relative=True),
        Row("sphere, 10 K, with the first term of its own heat", quasi_steady("sphere", 10.0) * (1.0 + ste), ball, 0.01, "s", relative=True),
    ]
