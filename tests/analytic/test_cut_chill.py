"""A thin chill on a leaning wall: cells that the wall cuts small, beside metal, sand and each other, and long steps of the mould.

Heat that only conducts makes nothing hotter than the hottest start or colder than the coldest (maximum principle, exact).
"""

from __future__ import annotations

import dataclasses

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


@pytest.mark.parametrize("turn", [(0, 0, 0), (17, 31, 0), (45, 35, 0), pytest.param((23, 11, 40), marks=pytest.mark.validate), (7, 3, 0)])
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


COPPER = strickle.MediumData(conductivity=390.0, density=8900.0, heat_capacity=385.0)  # from memory, as the next
GRAPHITE = strickle.MediumData(conductivity=110.0, density=1800.0, heat_capacity=710.0)


@pytest.mark.parametrize(
    ("pair", "preset", "contact", "cells"),
    [
        ((COPPER, COPPER), "shop", None, (2e-3,)),
        ((COPPER, STEEL), "rough", None, (2e-3, 3.1e-3)),
        ((STEEL, GRAPHITE), "rough", None, (1e-3, 2e-3, 3.1e-3, 4.4e-3)),
        ((STEEL, GRAPHITE), "shop", 3e5, (1e-3,)),
    ],
    ids=["copper-copper", "copper-steel", "steel-graphite", "steel-graphite-close"],
)
def test_two_chills_that_touch_stay_cooler_than_the_metal(pair, preset, contact, cells):
    """What passes between two media that are stepped on their own passes in those steps: from outside, a wave between them grew without end."""
    for cell in cells:
        tags = np.full((16, 12, 14), 2, np.uint8)
        tags[4:12, 4:8, 4:8] = 1
        tags[4:8, 4:8, 8:11], tags[8:12, 4:8, 8:11] = 3, 4
        touch = {} if contact is None else {(3, 4): contact}
        out = strickle.freeze(
            strickle.Grid(tags=tags, cell=cell, origin=np.zeros(3)), {1: METAL, 2: SAND, 3: pair[0], 4: pair[1]},
            start={1: POUR, 2: COLD, 3: COLD, 4: COLD}, contact={(1, 2): 600.0, (1, 3): 5000.0, (1, 4): 5000.0, **touch}, preset=preset,
        )  # fmt: skip
        assert out.status == "done"
        assert out.balance < 1e-9
        assert COLD - ROOM < out.temperature.min() < out.temperature.max() < POUR + ROOM


PURE = strickle.MetalData.plain(
    solidus=932.98, liquidus=933.0, latent_heat=397e3, solid_heat=1150.0, liquid_heat=1100.0, solid_conductivity=200.0, liquid_conductivity=95.0,
    density=2550.0,
)  # fmt: skip


@pytest.mark.parametrize("thick", [8e-3, 20e-3])
@pytest.mark.parametrize("freezing_range", [0.02, 0.5, 58.0])
def test_a_gap_that_opens_costs_no_order(thick, freezing_range):
    """An endless plate in sand, half of it as a column: 2 mm cells against 0.25 mm. The gap follows the metal's surface, not its cell's middle."""
    metal = dataclasses.replace(PURE, curve_temperature=np.array([933.0, 933.0 - freezing_range]))

    def solid(cell):
        tags = np.full((round(0.5 * thick / cell) + round(0.06 / cell), 1, 1), 2, np.uint8)
        tags[: round(0.5 * thick / cell)] = 1
        grid = strickle.Grid(tags=tags, cell=cell, origin=np.zeros(3))
        return strickle.freeze(
            grid, {1: metal, 2: SAND}, start={1: 1003.0, 2: COLD}, contact={(1, 2): strickle.gap(600.0, 150.0)}, preset="fine"
        ).solid_time  # fmt: skip

    true = solid(0.25e-3)
    coarse, middle = (solid(cell) / true - 1.0 for cell in (2e-3, 1e-3))
    assert abs(coarse) < (0.05 if freezing_range == 0.5 else 0.02)  # half a kelvin: thinner than a cell of mush, so the gap opens by its depth
    assert abs(middle) < 0.5 * abs(coarse)
