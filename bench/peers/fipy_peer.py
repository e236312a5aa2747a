"""FiPy beside ours: a half-space and a brick by plain conduction, and metal freezing against sand.

Plain conduction is FiPy's own transient and diffusion terms. Freezing is done as its terms allow it honestly: every step is solved for
temperature with the slope of the heat content as capacity, the heat content is moved on by that slope, and the temperature is read from
it again, until the correction is spent (general enthalpy method: C. R. Swaminathan, V. R. Voller, Metall. Trans. B 23, 1992, 651-664;
from memory, unverified). The film of the brick is an implicit source with the exact conductance from an outer cell to the air.

    python bench/peers/fipy_peer.py
"""

from __future__ import annotations

import os
import sys

os.environ.setdefault("FIPY_SOLVERS", "scipy")

import numpy as np
from cases import COLD, MELT, SAND, SAND_CAPACITY, Brick, Freezes, HalfSpace, our_rows, peer_row
from table import tell

try:
    import fipy
except ImportError:
    fipy = None


EXACT = {"tolerance": 1e-10, "criterion": "initial"}  # FiPy's own ends before the first update where the guess is near: a step then stands still


def half_space(case: HalfSpace, dt: float) -> np.ndarray:
    mesh = fipy.Grid1D(nx=case.cells, dx=case.cell)
    t = fipy.CellVariable(mesh=mesh, value=COLD)
    t.constrain(MELT, mesh.facesLeft)
    law = fipy.TransientTerm(coeff=SAND_CAPACITY) == fipy.DiffusionTerm(coeff=SAND.conductivity)
    solver = fipy.LinearLUSolver(**EXACT)
    for _ in range(round(case.time / dt)):
        law.solve(var=t, dt=dt, solver=solver)
    return np.asarray(t.value)


def brick(case: Brick, dt: float) -> np.ndarray:
    nx, ny, nz = case.shape
    mesh = fipy.Grid3D(nx=nx, ny=ny, nz=nz, dx=case.cell, dy=case.cell, dz=case.cell)
    t = fipy.CellVariable(mesh=mesh, value=case.hot)
    number = np.arange(nx * ny * nz).reshape(nz, ny, nx)
    outer = np.zeros(number.size)
    for cells in (number[-1], number[:, -1], number[:, :, -1]):
        outer[cells.ravel()] += case.to_air / case.cell
    lost = fipy.CellVariable(mesh=mesh, value=outer)
    law = (
        fipy.TransientTerm(coeff=case.capacity) == fipy.DiffusionTerm(coeff=case.conductivity) - fipy.ImplicitSourceTerm(coeff=lost) + lost * case.air
    )
    solver = fipy.LinearPCGSolver(tolerance=1e-8, iterations=2000)
    for _ in range(round(case.time / dt)):
        law.solve(var=t, dt=dt, solver=solver)
    return np.asarray(t.value).reshape(nz, ny, nx).transpose(2, 1, 0)


def freezes(case: Freezes, dt: float, sweeps: int = 40) -> float:
    metal, sand = case.cells
    mesh = fipy.Grid1D(nx=metal + sand, dx=case.cell)
    is_metal = np.arange(metal + sand) < metal
    heats, temperatures = case.nodes()
    slopes = np.diff(heats) / np.diff(temperatures)
    t = fipy.CellVariable(mesh=mesh, value=np.where(is_metal, MELT, COLD))
    k = fipy.CellVariable(mesh=mesh, value=SAND.conductivity)
    rate, load = fipy.CellVariable(mesh=mesh), fipy.CellVariable(mesh=mesh)
    law = fipy.ImplicitSourceTerm(coeff=rate) == fipy.DiffusionTerm(coeff=k.harmonicFaceValue) + load
    solver = fipy.LinearLUSolver(**EXACT)
    heat = np.where(is_metal, heats[2], 0.0)
    now = 0.0
    while now < 10.0 * case.exact():
        old, old_t = heat.copy(), np.asarray(t.value).copy()
        at = old_t.copy()
        for _ in range(sweeps):
            place = np.clip(np.searchsorted(heats, heat, side="right") - 1, 0, len(slopes) - 1)
            capacity = np.where(is_metal, slopes[place], SAND_CAPACITY)
            k.setValue(np.where(is_metal, case.conductivity_at(heat), SAND.conductivity))
            rate.setValue(capacity / dt)
            load.setValue((capacity * at - (heat - old)) / dt)
            t.setValue(at)
            law.solve(var=t, solver=solver)
            moved = capacity * (np.asarray(t.value) - at)
            heat = heat + moved
            at = np.where(is_metal, np.interp(heat, heats, temperatures), np.asarray(t.value))
            if np.abs(moved).max() < 1e-4 * heats[2]:
                break
        t.setValue(at)
        last = case.last
        if heat[last] <= 0.0:
            return now + dt * old[last] / (old[last] - heat[last])
        now += dt
    return np.nan


def main() -> int:
    if fipy is None:
        print("FiPy is not installed: skipped")
        return 0
    print(f"FiPy {fipy.__version__}, solvers of scipy; meshes and variables are part of its time, its import is not")
    half, block, front = HalfSpace(), Brick(), Freezes()
    rows = our_rows(half, "K")
    rows += [peer_row(f"FiPy, steps of {dt:g} s", half, "K", lambda d=dt: half_space(half, d)) for dt in (1.0, 0.25)]
    tell(f"C05 half-space of sand, {half.cells} cells", rows)
    rows = our_rows(block, "K")
    rows += [peer_row(f"FiPy, steps of {dt:g} s", block, "K", lambda d=dt: brick(block, d)) for dt in (2.0, 0.5)]
    tell(f"C10 brick with a film, {' x '.join(str(n) for n in block.shape)} cells", rows)
    rows = our_rows(front, "%")
    rows += [peer_row(f"FiPy, steps of {dt:g} s", front, "%", lambda d=dt: freezes(front, d)) for dt in (2.0, 0.5)]
    tell(f"C03 metal freezing against sand, {sum(front.cells)} cells", rows)
    return 0


if __name__ == "__main__":
    sys.exit(main())
