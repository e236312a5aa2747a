"""What a filling hands to the freezing: heat laid into the sand, metal as it came to lie, places left empty."""

import numpy as np
import pytest
from scipy import special

import strickle
from melt_shop import a356
from strickle import MediumData
from strickle.base import Grid
from strickle.cavity import AIR, PART, SAND
from strickle.pour import Handed
from strickle.sound.begun import Beside, begun

COLD, HOT = 293.15, 993.15
GREEN = Beside(capacity=1.6e6, diffusivity=0.7 / 1.6e6, cold=COLD)


def plate(cell, thick=0.012, wide=0.03, sand=0.06):
    """A plate across x between sand, ``wide`` along y and z."""
    half, mid, side = round(sand / cell), round(thick / cell), round(wide / cell)
    tags = np.full((2 * half + mid, side, side), SAND, np.uint8)
    tags[half : half + mid] = PART
    return Grid(tags=tags, cell=cell, origin=np.zeros(3))


def handed(grid, *, heat, temperature=HOT, since=3.0, empty=None, poured_at=HOT):
    """A filling on the plate's own cells: the same heat given by every cell of its two faces."""
    metal = grid.tags == PART
    face = metal & (np.roll(grid.tags == SAND, 1, 0) | np.roll(grid.tags == SAND, -1, 0))
    return Handed(
        origin=np.asarray(grid.origin),
        cell=grid.cell,
        temperature=np.where(metal, temperature, np.nan),
        sand_heat=np.where(face, heat, 0.0),
        stood=np.where(metal, since, np.nan),
        empty=np.zeros(grid.tags.shape, np.uint8) if empty is None else empty,
        poured_at=poured_at,
    )


@pytest.mark.parametrize("cell", [0.001, 0.003])
def test_heat_is_laid_as_it_goes_into_a_thick_wall_and_none_is_lost(cell):
    """Temperatures beside a face held at one temperature (Carslaw and Jaeger, Conduction of Heat in Solids, 1959, 2.4; from memory), cell by cell."""
    grid, since, rise = plate(cell), 3.0, 500.0
    given = 2.0 * rise * GREEN.capacity * np.sqrt(GREEN.diffusivity * since / np.pi) * cell**2
    out = begun(grid, handed(grid, heat=given, since=since), {SAND: GREEN}, HOT)
    assert out.heat == pytest.approx(out.given, rel=1e-9)
    assert out.empty == 0.0
    first = int(np.argmax(grid.tags[:, 0, 0] == PART)) - 1
    length = 2.0 * np.sqrt(GREEN.diffusivity * since)

    def beyond(x):
        return np.exp(-(x**2)) - np.sqrt(np.pi) * x * special.erfc(x)

    for layer in range(3):
        share = beyond(layer * cell / length) - beyond((layer + 1) * cell / length)
        want = COLD + share * given / (GREEN.capacity * cell**3)
        assert out.temperature[first - layer, 3, 3] == pytest.approx(want, abs=0.02 * rise)


def test_no_sand_gets_warmer_than_the_metal():
    grid = plate(0.002)
    out = begun(grid, handed(grid, heat=12.0), {SAND: GREEN}, HOT)
    assert np.nanmax(out.temperature) <= HOT + 0.1
    assert out.heat == pytest.approx(out.given, rel=1e-6)


def test_another_pour_temperature_moves_the_metal_by_as_much():
    grid = plate(0.002)
    out = begun(grid, handed(grid, heat=0.0, temperature=HOT - 40.0), {SAND: GREEN}, HOT - 25.0)
    assert out.temperature[grid.tags == PART] == pytest.approx(HOT - 65.0)
    assert np.isnan(out.temperature[grid.tags == SAND]).all()


def test_empty_places_are_no_metal():
    grid = plate(0.002)
    empty = np.zeros(grid.tags.shape, np.uint8)
    empty[:, 10:] = 1
    out = begun(grid, handed(grid, heat=0.0, empty=empty), {SAND: GREEN}, HOT)
    part = grid.tags == PART
    assert (out.tags[:, 10:][part[:, 10:]] == AIR).all()
    assert (out.tags[:, :10] == grid.tags[:, :10]).all()
    assert out.empty == pytest.approx(part[:, 10:].sum() * 0.002**3)


def test_freezing_taken_up_from_what_was_handed_over_ends_when_an_unbroken_one_does():
    """Three seconds of freezing given as a filling, then frozen on: the plate is solid when it is without the break."""
    grid, metal = plate(0.002, wide=0.004), a356()
    sand = MediumData(conductivity=0.7, density=1600.0, heat_capacity=1000.0)
    asked = {"materials": {PART: metal, SAND: sand}, "start": {PART: HOT, SAND: COLD}, "contact": {(PART, SAND): 2000.0}, "preset": "fine"}
    whole = strickle.freeze(grid, **asked)
    begin = strickle.freeze(grid, **asked, until=3.0)
    is_metal = grid.tags == PART
    face = is_metal & (np.roll(grid.tags == SAND, 1, 0) | np.roll(grid.tags == SAND, -1, 0))
    gave = np.where(face, begin.metal_loss / face.sum(), 0.0)
    left = Handed(
        origin=np.zeros(3), cell=0.002, temperature=np.where(is_metal, begin.temperature, np.nan), sand_heat=gave,
        stood=np.where(is_metal, 3.0, np.nan), empty=np.zeros(grid.tags.shape, np.uint8), poured_at=HOT,
    )  # fmt: skip
    out = begun(grid, left, {SAND: Beside(capacity=1.6e6, diffusivity=0.7 / 1.6e6, cold=COLD)}, HOT)
    after = strickle.freeze(grid, **asked, begin=out.temperature)
    assert 3.0 + np.nanmax(after.time_to_solidus) == pytest.approx(np.nanmax(whole.time_to_solidus), rel=0.01)
    cold_sand = strickle.freeze(grid, **asked, begin=np.where(is_metal, out.temperature, np.nan))
    late = abs(3.0 + np.nanmax(after.time_to_solidus) - np.nanmax(whole.time_to_solidus))
    assert late < 0.5 * abs(3.0 + np.nanmax(cold_sand.time_to_solidus) - np.nanmax(whole.time_to_solidus))
