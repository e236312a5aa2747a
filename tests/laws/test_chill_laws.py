"""A chill whose cells the metal's true wall cuts small: no heat is lost and nothing runs away."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
from test_media_laws import METAL, SAND, STEEL

import strickle
from strickle import Grid
from strickle.base import Mesh
from strickle.kernels import raster

CELL = 2e-3


@pytest.mark.parametrize("lean", [0.0, 0.9e-3, 17.0])
def test_a_chill_against_a_wall_between_cells_stays_stable(lean):
    """A block of 24 mm with steel on its top half: turned by 17 degrees, or its wall moved within the cell."""
    solid = m3.Manifold.cube((24.0, 24.0, 24.0), True)
    solid = solid.rotate((0.0, lean, 0.0)) if lean > 1.0 else solid.translate((lean * 1e3, 0.0, lean * 1e3))
    got = solid.translate((32.0, 32.0, 32.0)).to_mesh64()
    mesh = Mesh(vertices=got.vert_properties[:, :3] * 1e-3, faces=np.asarray(got.tri_verts, dtype=np.int64))
    middles = (np.indices((32, 32, 32)).reshape(3, -1).T + 0.5) * CELL
    share = raster.fractions(mesh.vertices, mesh.faces, np.zeros(3), CELL, (32, 32, 32), 1)
    tags = np.full((32, 32, 32), 2, np.uint8)
    near = (np.abs(middles - 0.032) < 0.022).all(axis=1).reshape(tags.shape)
    tags[near & (np.arange(32) > 15)[None, None, :]] = 3
    tags[share >= 0.5] = 1
    out = strickle.freeze(
        Grid(tags=tags, cell=CELL, origin=np.zeros(3)),
        {1: METAL, 2: SAND, 3: STEEL},
        start={1: 980.0, 2: 295.0, 3: 295.0},
        contact={(1, 2): 600.0, (1, 3): 7000.0},
        surface=mesh,
        preset="rough",
    )
    assert out.status == "done"
    assert out.balance < 1e-9
    assert np.isfinite(out.temperature).all()
    assert out.temperature.min() >= 295.0 - 1e-6
    assert out.temperature.max() <= 980.0 + 1e-6
