"""A thin chill on a leaning wall: cells that the wall cuts small, beside metal, sand and each other, and long steps of the mould.

Heat that only conducts makes nothing hotter than the hottest start or colder than the coldest (maximum principle, exact).
"""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
from scipy import ndimage

import strickle
from near_wall import COLD, METAL, POUR, SAND, mesh_of
from strickle.kernels import raster

STEEL = strickle.MediumData(conductivity=45.0, density=7850.0, heat_capacity=500.0)  # plain carbon steel, from memory
ROOM = 1e-3  # K that rounding and super-steps may pass the bounds by


def chilled(body, cell=3e-3, preset="rough", thick=2):
    mesh = mesh_of(body)
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    origin = low - 10.3 * cell
    shape = tuple(int(n) for n in np.ceil((high - low) / cell) + 21)
    inside = raster.inside(raster.fractions(mesh.vertices, mesh.faces, origin, cell, shape, sub=1))
    tags = np.where(inside, 1, 2).astype(np.uint8)
    near = ndimage.binary_dilation(inside, iterations=thick) & ~inside
    near[:, :, : shape[2] // 2] = near[:, : shape[1] // 2, :] = False
    tags[near] = 3
    return strickle.freeze(
        strickle.Grid(tags=tags, cell=cell, origin=origin), {1: METAL, 2: SAND, 3: STEEL}, start={1: POUR, 2: COLD, 3: COLD},
        contact={(1, 2): strickle.gap(600.0, 150.0), (1, 3): strickle.gap(7000.0, 1500.0)}, surface=mesh, preset=preset,
    )  # fmt: skip


@pytest.mark.parametrize("turn", [(0, 0, 0), (17, 31, 0), (45, 35, 0), (23, 11, 40), (7, 3, 0)])
@pytest.mark.parametrize("thick", [1, 2])
def test_nothing_grows_hotter_than_it_began(turn, thick):
    out = chilled(m3.Manifold.cube((45.0, 45.0, 12.0), True).rotate(turn), thick=thick)
    assert out.status == "done"
    assert out.balance < 1e-9
    known = out.temperature[np.isfinite(out.temperature)]
    assert known.min() > COLD - ROOM
    assert known.max() < POUR + ROOM


def test_a_chill_has_no_step_of_its_own():
    """The chill's thin first node used to bind every step of the mould: 0.08 s where the cells allow some 0.4."""
    block = m3.Manifold.cube((60.0, 60.0, 40.0), True).rotate((17, 31, 0))
    out = chilled(block, thick=1)
    assert out.steps < 1500
    known = out.temperature[np.isfinite(out.temperature)]
    assert COLD - ROOM < known.min() < known.max() < POUR + ROOM
