"""The metal's true surface in the freezing solver: a plate freezes alike however it lies on the grid, and no heat is lost.

Reference set, near-wall (values computed there): plate 60 x 60 x 20 mm, A356-like curve, 720 degC, 1000 W/m2K, sand 0.6 / 1550 / 1100; plain at
0.5 mm mean solid at 151.3 s, last 157.6 s, itself late by about 0.3 %. The bar on the mean is 1.5 % in every lie, 2 % on their spread.
"""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest

from strickle.kernels import freeze, raster
from strickle.kernels.freeze_wall import Mesh

ICE = 273.15
CELL = 2e-3
CURVE = (613, 610, 605, 600, 590, 580, 575, 572, 568, 562, 555)
SOLID = (0.0, 0.10, 0.20, 0.28, 0.39, 0.47, 0.50, 0.62, 0.82, 0.95, 1.0)
SAND = freeze.MediumTable(0.6, 1550.0, 1100.0, 25.0 + ICE)
LIES = [((0, 0, 0), 0.0), ((0, 0, 0), 0.3), ((0, 17, 0), 0.0), ((0, 45, 0), 0.0), ((17, 31, 0), 0.0), ((45, 35, 0), 0.0)]


def metal():
    return freeze.metal_table(
        np.array(CURVE) + ICE, SOLID, latent_heat=389e3, solid_heat_temperature=(555 + ICE,), solid_heat=(1080.0,), liquid_heat=1080.0,
        solid_conductivity_temperature=(555 + ICE,), solid_conductivity=(150.0,), liquid_conductivity=80.0, density=2450.0, lowest=290.0,
        highest=1000.0,
    )  # fmt: skip


def frozen(solid, shift: float, *, true: bool):
    """The solid [mm] in 35 mm of sand on 2 mm cells, its low corner ``shift`` cells off a cell's."""
    mesh = solid.to_mesh64()
    vertices, faces = np.array(mesh.vert_properties[:, :3]) * 1e-3, np.array(mesh.tri_verts, np.int64)
    pad = 17
    origin = vertices.min(axis=0) - (pad + shift) * CELL
    shape = tuple(int(n) for n in np.ceil((vertices.max(axis=0) - origin) / CELL) + pad)
    tags = np.where(raster.inside(raster.fractions(vertices, faces, origin, CELL, shape, sub=1)), 1, 2).astype(np.uint8)
    surface = Mesh(vertices - origin, faces) if true else None
    return freeze.solve(tags, CELL, metal(), {2: SAND}, metal_start={1: 720.0 + ICE}, contact={(1, 2): 1000.0}, surface=surface)


@pytest.fixture(scope="module")
def plates():
    plate = manifold3d.Manifold.cube((60.0, 60.0, 20.0), True)
    return {lie: frozen(plate.rotate(lie[0]), lie[1], true=True) for lie in LIES}


def test_a_plate_freezes_alike_however_it_lies(plates):
    means = np.array([np.nanmean(out.time_to_solidus) for out in plates.values()])
    lasts = np.array([out.solid_time for out in plates.values()])
    assert np.abs(means / 151.3 - 1.0).max() < 0.015
    assert np.abs(lasts / 157.6 - 1.0).max() < 0.015
    assert means.max() / means.min() < 1.02


def test_no_heat_is_lost_at_the_true_wall(plates):
    for out in plates.values():
        assert out.status == "done"
        assert out.balance < 1e-9


def test_the_staircase_alone_does_not_do_that():
    """The plain scheme spreads by more: the cure is what brings them together."""
    plate = manifold3d.Manifold.cube((60.0, 60.0, 20.0), True)
    means = [np.nanmean(frozen(plate.rotate(turn), shift, true=False).time_to_solidus) for turn, shift in (LIES[0], LIES[-1])]
    assert max(means) / min(means) > 1.04
