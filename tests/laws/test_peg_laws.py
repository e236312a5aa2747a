"""Pegs and marks of the freezing solver, through the public door: a peg reads what a snapshot shows, wherever it stands."""

import numpy as np
import pytest

from strickle.base import BadInput, Grid
from strickle.kernels.freeze import MediumTable, Near, Refused, solve
from strickle.kernels.freeze import film as kernel_film
from strickle.sound.freezing import freeze, metal_table
from strickle.sound.materials import MediumData, MetalData, below, film

KELVIN = 273.15
METAL = MetalData.plain(
    solidus=555.0 + KELVIN,
    liquidus=613.0 + KELVIN,
    latent_heat=389e3,
    solid_heat=1080.0,
    liquid_heat=1080.0,
    solid_conductivity=150.0,
    liquid_conductivity=80.0,
    density=2450.0,
)
SAND = MediumData(conductivity=0.6, density=1550.0, heat_capacity=1100.0)
START = {1: 720.0 + KELVIN, 10: 25.0 + KELVIN}
BOTH = {1: METAL, 10: SAND}
CELL = 0.004


def lump(turn=(0, 1, 2)):
    """A block off the middle of a closed mould whose three sides differ, its axes in any order; the origin is not at nought."""
    tags = np.full((18, 11, 14), 10, np.uint8)
    tags[5:12, 3:7, 4:9] = 1
    return Grid(tags=tags.transpose(turn), cell=CELL, origin=np.array([0.01, -0.02, 0.03])[list(turn)])


def middle(grid, cell):
    return grid.origin + (np.array(cell) + 0.5) * grid.cell


@pytest.mark.parametrize("turn", [(0, 1, 2), (2, 0, 1), (1, 0, 2)])
def test_a_peg_in_the_middle_of_a_cell_reads_that_cell(turn):
    grid = lump(turn)
    cells = {"metal": (8, 5, 6), "wall": (5, 3, 4), "sand": (2, 8, 3), "corner": (0, 0, 0)}
    cells = {name: tuple(np.array(cell)[list(turn)]) for name, cell in cells.items()}
    moments = [5.0, 20.0, 61.0]
    told = freeze(grid, BOTH, start=START, pegs={name: middle(grid, cell) for name, cell in cells.items()}, snapshots=moments)
    assert told.peg_names == tuple(cells)
    assert told.peg_temperatures.shape == (4, told.peg_times.size)
    assert told.peg_times[0] == 0.0
    assert told.peg_times.size == told.steps + 1
    assert np.all(np.diff(told.peg_times) > 0)
    for row, (name, cell) in enumerate(cells.items()):
        np.testing.assert_allclose(told.peg_at[row], middle(grid, cell), atol=1e-12)
        assert told.peg_temperatures[row, 0] == pytest.approx(START[1 if name in ("metal", "wall") else 10], abs=1e-6)
        for moment, seen in zip(moments, told.snapshots, strict=True):
            step = int(np.argmin(np.abs(told.peg_times - moment)))
            assert told.peg_times[step] == pytest.approx(moment, rel=1e-9)
            assert told.peg_temperatures[row, step] == pytest.approx(seen[cell], rel=1e-9)


def test_between_cells_a_peg_reads_between_them_and_beside_a_wall_only_its_own_side():
    grid = lump()
    between = middle(grid, (2, 8, 3)) + np.array([0.25 * CELL, 0, 0])
    wall = grid.origin + np.array([5, 4.5, 6.5]) * CELL  # the face between sand and metal
    inside, outside = wall + np.array([1e-5, 0, 0]), wall - np.array([1e-5, 0, 0])
    told = freeze(grid, BOTH, start=START, pegs={"between": between, "inside": inside, "outside": outside}, snapshots=[30.0])
    step = int(np.argmin(np.abs(told.peg_times - 30.0)))
    seen, got = told.snapshots[0], told.peg_temperatures[:, step]
    assert got[0] == pytest.approx(0.75 * seen[2, 8, 3] + 0.25 * seen[3, 8, 3], rel=1e-9)
    assert got[1] == pytest.approx(0.5 * (seen[5, 4, 6] + seen[5, 4, 6]), rel=1e-9)
    assert got[2] == pytest.approx(seen[4, 4, 6], rel=1e-9)
    assert np.linalg.norm(told.peg_at - [between, inside, outside], axis=1) == pytest.approx([0, 0.5 * CELL, 0.5 * CELL], abs=2e-5)


def test_pegs_change_nothing():
    grid = lump()
    bare = freeze(grid, BOTH, start=START)
    pegged = freeze(grid, BOTH, start=START, pegs={"a": middle(grid, (8, 5, 6))}, marks=(0.5,))
    np.testing.assert_array_equal(bare.time_to_solidus, pegged.time_to_solidus)
    assert bare.peg_times.size == 0
    assert bare.mark_solid.size == 0


@pytest.mark.parametrize("point", [(9.0, 0.0, 0.0), (0.0, np.nan, 0.0), (0.01, -0.02), (0.0101, -0.0199, 0.0301)])
def test_a_peg_with_nothing_round_it_is_refused(point):
    grid = lump()
    tags = grid.tags.copy()
    tags[0, 0, 0] = 99
    with pytest.raises(BadInput, match="peg"):
        freeze(Grid(tags=tags, cell=CELL, origin=grid.origin), BOTH | {99: film(10.0, 298.15)}, start=START, pegs={"lost": point})


def test_marks_lie_between_liquidus_and_solidus_in_their_order():
    told = freeze(lump(), BOTH, start=START, marks=(0.9, 0.4, 0.25, 0.99), coherency=0.25, until=below(500.0 + KELVIN))
    metal = lump().tags == 1
    late, early, same, last = told.mark_times
    assert np.all(told.time_to_liquidus[metal] < early)
    assert np.all(early < late)
    assert np.all(late < last)
    assert np.all(last < told.time_to_solidus[metal])
    np.testing.assert_allclose(same, told.time_to_coherency[metal], rtol=1e-12)
    assert told.mark_times.shape == (4, int(metal.sum()))


@pytest.mark.parametrize("mark", [0.0, 1.0, -0.1, np.nan])
def test_a_mark_outside_freezing_is_refused(mark):
    with pytest.raises(BadInput, match="fraction solid"):
        freeze(lump(), BOTH, start=START, marks=(mark,))


def test_a_run_goes_on_till_metal_and_sand_in_reach_are_cool():
    """The kernel's further end, against snapshots at and just before the moment it gives; in a mould that loses heat outside."""
    grid, limit = lump(), 330.0
    reach = np.zeros(grid.tags.shape, dtype=bool)
    reach[3:14, 1:9, 2:11] = True
    table = metal_table(METAL, lowest=290.0, highest=1000.0)
    out = solve(
        grid.tags, CELL, table, {10: MediumTable(0.6, 1550.0, 1100.0, START[10])}, metal_start={1: START[1]},
        faces=[kernel_film(10.0, 293.0)] * 6, below=573.0, wait_below=True, near=Near(reach, limit),
    )  # fmt: skip
    assert out.status == "done"
    assert out.below_time < out.near_time <= out.time
    told = freeze(
        grid, BOTH, start=START, faces=dict.fromkeys(("x-", "x+", "y-", "y+", "z-", "z+"), film(10.0, 293.0)), until=below(573.0),
        snapshots=[0.97 * out.near_time, out.near_time],
    )  # fmt: skip
    before, then = (float(seen[reach].max()) for seen in told.snapshots)
    assert before > limit
    assert then == pytest.approx(limit, abs=0.1)
    metal_alone = float(told.snapshots[1][grid.tags == 1].max())
    assert metal_alone <= then


def test_a_reach_of_another_grid_is_refused():
    grid = lump()
    with pytest.raises(Refused, match="wait for"):
        solve(
            grid.tags, CELL, metal_table(METAL, lowest=290.0, highest=1000.0), {10: MediumTable(0.6, 1550.0, 1100.0, 298.0)},
            metal_start={1: 900.0}, near=Near(np.zeros((2, 2, 2), dtype=bool), 330.0),
        )  # fmt: skip
