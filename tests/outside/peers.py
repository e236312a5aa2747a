"""Section G: the same tasks by general-purpose libraries, FiPy (finite volumes) and scikit-fem (finite elements), beside ours.

Both solve here with their own terms and solvers; nothing of strickle's is in them but the numbers of the task.
"""

from __future__ import annotations

import os
import warnings

import numpy as np

from outside import Row, case
from outside.columns import BRICK, COLD, KELVIN, MEDIUM, MELT, METAL, SAND, balanced, brick, column, half_space, middles
from strickle import MetalData, freeze

CAPACITY = 1500.0 * 1130.0  # J/(m3 K), of the sand
LIQUIDUS, SOLIDUS, RHO, LATENT, HEAT = 613.0 + KELVIN, 555.0 + KELVIN, 2450.0, 389e3, 1080.0


def fipy():
    """The library, its own warnings at import left aside."""
    os.environ.setdefault("FIPY_SOLVERS", "scipy")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import fipy as library
    return library


@case("G", "FiPy 4, diffusion in one dimension, steps of 0.25 s (C05)", needs="fipy")
def sand_by_fipy() -> list[Row]:
    fp, cell, cells, step = fipy(), 0.001, 120, 0.25
    mesh = fp.Grid1D(nx=cells, dx=cell)
    heat = fp.CellVariable(mesh=mesh, value=COLD)
    heat.constrain(MELT, mesh.facesLeft)
    law = fp.TransientTerm(coeff=CAPACITY) == fp.DiffusionTerm(coeff=SAND.conductivity)
    solver = fp.LinearLUSolver(tolerance=1e-10, criterion="initial")
    for _ in range(round(120.0 / step)):
        law.solve(var=heat, dt=step, solver=solver)
    theirs = np.asarray(heat.value) - KELVIN
    ours = half_space(cell).snapshots[0, :cells, 0, 0] - KELVIN
    at = middles(cells, cell)
    return [
        Row(f"FiPy: sand {1e3 * depth:g} mm deep, 120 s", np.interp(depth, at, theirs), np.interp(depth, at, ours), 1.0, "degC")
        for depth in (0.005, 0.010, 0.020)
    ]


@case("G", "FiPy 4, apparent heat in the freezing range, steps of 0.1 s, from 10 s on 0.8 s", needs="fipy")
def freezing_by_fipy() -> list[Row]:
    """6 mm of metal that freezes from 613 to 555 degC in perfect contact with sand, mirror plane behind it; k 150, cells of 1 mm."""
    fp, cell, metal, sand = fipy(), 0.001, 6, 45
    mesh = fp.Grid1D(nx=metal + sand, dx=cell)
    is_metal = np.arange(metal + sand) < metal
    heat = fp.CellVariable(mesh=mesh, value=np.where(is_metal, 680.0 + KELVIN, COLD), hasOld=True)
    conductivity = fp.CellVariable(mesh=mesh, value=np.where(is_metal, 150.0, SAND.conductivity))
    capacity, source = fp.CellVariable(mesh=mesh), fp.CellVariable(mesh=mesh)
    law = fp.ImplicitSourceTerm(coeff=capacity) == fp.DiffusionTerm(coeff=conductivity.harmonicFaceValue) + source
    solver = fp.LinearLUSolver(tolerance=1e-10, criterion="initial")

    def content(t: np.ndarray) -> np.ndarray:
        """Heat content [J/m3]: the latent part evenly over the range."""
        return np.where(is_metal, RHO * (HEAT * t + LATENT * np.clip((t - SOLIDUS) / (LIQUIDUS - SOLIDUS), 0.0, 1.0)), CAPACITY * t)

    moments, last = [0.0], [680.0 + KELVIN]
    old = content(np.asarray(heat.value))
    while last[-1] > SOLIDUS - 1.0:
        step = 0.1 if moments[-1] < 10.0 else 0.8
        for _ in range(30):
            now = np.asarray(heat.value).copy()
            inside = (now > SOLIDUS) & (now < LIQUIDUS)
            slope = np.where(is_metal, RHO * (HEAT + np.where(inside, LATENT / (LIQUIDUS - SOLIDUS), 0.0)), CAPACITY)
            capacity.setValue(slope / step)
            source.setValue((slope * now - (content(now) - old)) / step)
            law.solve(var=heat, solver=solver)
            if abs(np.asarray(heat.value) - now).max() < 1e-4:
                break
        old = content(np.asarray(heat.value))
        moments.append(moments[-1] + step)
        last.append(float(heat.value[0]))
    own = MetalData.plain(
        solidus=SOLIDUS, liquidus=LIQUIDUS, latent_heat=LATENT, solid_heat=HEAT, liquid_heat=HEAT, solid_conductivity=150.0,
        liquid_conductivity=150.0, density=RHO,
    )  # fmt: skip
    told = balanced(freeze(column(metal, sand, cell), {METAL: own, MEDIUM: SAND}, start={METAL: 680.0 + KELVIN, MEDIUM: COLD}))
    theirs = [float(np.interp(-level, -np.array(last), moments)) for level in (LIQUIDUS + 1.0, SOLIDUS)]
    ours = [float(field[0, 0, 0]) for field in (told.time_to_liquidus, told.time_to_solidus)]
    return [
        Row("FiPy: superheat gone at the mirror plane", theirs[0], ours[0], 0.04, "s", relative=True),
        Row("FiPy: solid at the mirror plane", theirs[1], ours[1], 0.02, "s", relative=True),
    ]


@case("G", "scikit-fem 12, linear bricks, Crank-Nicolson steps of 0.5 s (C10)", needs="skfem")
def brick_by_elements() -> list[Row]:
    import skfem as fem
    from scipy.sparse.linalg import factorized
    from skfem.models.poisson import laplace, mass

    mesh = fem.MeshHex.init_tensor(*(np.linspace(0.0, half, n + 1) for half, n in zip(BRICK, (10, 12, 16), strict=True)))
    element = fem.ElementHex1()
    body = fem.Basis(mesh, element)
    outer = [n for n in mesh.boundary_facets() if any(np.isclose(mesh.p[i, mesh.facets[:, n]], half).all() for i, half in enumerate(BRICK))]
    air = fem.FacetBasis(mesh, element, facets=np.array(outer))
    hold = 4e6 * mass.assemble(body)
    lose = 20.0 * laplace.assemble(body) + 1000.0 * mass.assemble(air)
    step, over = 0.5, np.full(mesh.p.shape[1], 480.0)
    solve = factorized((hold + 0.5 * step * lose).tocsc())
    for _ in range(round(60.0 / step)):
        over = solve(hold @ over - 0.5 * step * (lose @ over))
    ours = brick(0.002)
    places = {"centre at 60 s": (0.0, 0.0, 0.0), "middle of the 60 x 100 face": (BRICK[0], 0.0, 0.0)}
    theirs = [20.0 + over[np.flatnonzero(np.isclose(mesh.p.T, at).all(axis=1))[0]] for at in places.values()]
    return [Row(f"scikit-fem: {what}", t, o, 1.0, "degC") for what, t, o in zip(places, theirs, ours, strict=True)]
