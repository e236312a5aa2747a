"""Time and memory of the freezing solver with everything switched on: true surface, a gap that opens, curved sand, open top, outer films.

Three cases: a plate in 0.6 M cells, a bracket with an open riser in 1.1 M cells, the demo's bracket at 2 mm.  Prints processor seconds with
set-up, bytes a cell that the run took at its highest, and how much of the time the plain staircase takes.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path

import manifold3d as m3
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
import strickle
from near_wall import METAL, bracket, mesh_of

ICE = 273.15
NODES = np.array([20.0, 1000.0]) + ICE
# furan sand of checks F1, read from a page that retells a journal paper
SAND = strickle.MediumData(
    conductivity=0.645, density=1550.0, heat_capacity=905.0, conductivity_temperature=NODES, conductivity_nodes=np.array([0.645, 0.4]),
    heat_temperature=NODES, heat_nodes=np.array([905.0, 1150.0]),
)  # fmt: skip
AIR = 295.0


def plate() -> tuple[m3.Manifold, np.ndarray, float, tuple[int, int, int]]:
    """60 x 60 x 20 mm in 200 x 200 x 120 mm at 2 mm."""
    return m3.Manifold.cube((60.0, 60.0, 20.0), True), np.array([-0.1, -0.1, -0.06]), 2e-3, (100, 100, 60)


def report() -> tuple[m3.Manifold, np.ndarray, float, tuple[int, int, int]]:
    """Base 100 x 60 x 12, upright 12, rib 10, boss 30 across with a 12 mm hole, riser 40 across up to the open top; 132 x 106 x 80 at 1.5 mm."""
    base = m3.Manifold.cube((100, 60, 12)) + m3.Manifold.cube((12, 60, 48))
    rib = m3.Manifold.hull_points(np.array([(x, y, z) for y in (25.0, 35.0) for x, z in ((12.0, 12.0), (60.0, 12.0), (12.0, 48.0))]))
    boss = m3.Manifold.cylinder(24, 15, 15, 64).translate((78, 30, 0)) - m3.Manifold.cylinder(26, 6, 6, 64).translate((78, 30, -1))
    riser = m3.Manifold.cylinder(52, 20, 20, 64).translate((36, 30, 8))
    solid = (base + rib + boss + riser) - m3.Manifold.cylinder(26, 6, 6, 64).translate((78, 30, -1))
    return solid.translate((0, 0, 60.0)), np.array([-0.049, -0.0495, 0.0]), 1.5e-3, (132, 106, 80)


def demo() -> tuple[m3.Manifold, np.ndarray, float, tuple[int, int, int]]:
    """The demo's bracket in a box with 35 mm of sand at 2 mm."""
    solid = bracket()
    box = np.array(solid.bounding_box()).reshape(2, 3) * 1e-3
    origin = box[0] - 0.036
    shape = tuple(int(n) for n in np.ceil((box[1] + 0.036 - origin) / 2e-3))
    return solid, origin, 2e-3, shape


CASES = {"plate": (plate, 0.5), "report": (report, 5.0), "demo": (demo, 4.0)}


def run(name: str, true: bool) -> tuple[float, float, int, object]:
    """Processor seconds and bytes a cell of one run."""
    from strickle.kernels import raster

    solid, origin, cell, shape = CASES[name][0]()
    mesh = mesh_of(solid)
    tags = np.where(raster.inside(raster.fractions(mesh.vertices, mesh.faces, origin, cell, shape, sub=1)), 1, 2).astype(np.uint8)
    grid = strickle.Grid(tags=tags, cell=cell, origin=origin)
    faces = dict.fromkeys(("x-", "x+", "y-", "y+", "z-"), strickle.film(10.0, AIR)) | {"z+": strickle.film(9.0, AIR, 0.25)}
    before, begun = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
    out = strickle.freeze(
        grid, {1: METAL, 2: SAND}, start={1: 720.0 + ICE, 2: AIR}, contact={(1, 2): strickle.gap(600.0, 150.0)}, faces=faces,
        surface=mesh if true else None,
    )  # fmt: skip
    spent = time.process_time() - begun
    return spent, (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024.0 / tags.size, tags.size, out


def main() -> None:
    if len(sys.argv) > 1:  # one case in a process of its own, so that its memory is its own
        name = sys.argv[1]
        from strickle.kernels import freeze

        freeze.warm()
        first = run(name, true=True)
        times = [run(name, true=True)[0] for _ in range(3)]
        plain = min(run(name, true=False)[0] for _ in range(3))
        out = first[3]
        sys.stdout.write(
            f"{name:8s} {first[2] / 1e6:5.2f} M cells: {np.median([first[0], *times]):5.2f} CPU s (bar {CASES[name][1]}), staircase {plain:5.2f};"
            f" {first[1]:4.0f} bytes a cell (bar 60); solid after {out.solid_time:.1f} s, balance {out.balance:.0e}\n"
        )
        return
    for name in CASES:
        subprocess.run([sys.executable, __file__, name], check=True)


if __name__ == "__main__":
    main()
