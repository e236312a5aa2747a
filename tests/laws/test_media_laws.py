"""Media in the freezing solver: curves over temperature, a gap that opens, a chill, starting fields; no heat is lost in any of them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

import strickle
from strickle import BadInput, Grid, MediumData, MetalData

ICE = 273.15
METAL = MetalData.plain(
    solidus=830.15, liquidus=886.15, latent_heat=389e3, solid_heat=1080.0, liquid_heat=1080.0, solid_conductivity=150.0, liquid_conductivity=80.0,
    density=2450.0,
)  # fmt: skip
SAND = MediumData(conductivity=0.6, density=1550.0, heat_capacity=1100.0)
STEEL = MediumData(conductivity=45.0, density=7850.0, heat_capacity=500.0)
# furan sand with k = 0.65 - 2.5e-4 T and c = 900 + 0.25 T, T in degC (checks F1: read from a page that retells a journal paper)
NODES = np.array([20.0, 1000.0]) + ICE
FURAN = MediumData(
    conductivity=0.65, density=1550.0, heat_capacity=900.0, conductivity_temperature=NODES, conductivity_nodes=np.array([0.645, 0.4]),
    heat_temperature=NODES, heat_nodes=np.array([905.0, 1150.0]),
)  # fmt: skip


def column(tags) -> Grid:
    return Grid(tags=np.array(tags, np.uint8).reshape(1, 1, -1), cell=1e-3, origin=np.zeros(3))


def test_sand_whose_properties_follow_temperature_warms_as_a_method_of_lines_says():
    """Twin: 60 cells of 1 mm under a face at 660 degC, by scipy's BDF on the same curves."""
    n, dx, wall, seconds = 60, 1e-3, 660.0 + ICE, 300.0

    def rate(_, t):
        k = 0.65 - 2.5e-4 * (t - ICE)
        c = 1550.0 * (900.0 + 0.25 * (t - ICE))
        between = -0.5 * (k[1:] + k[:-1]) * np.diff(t) / dx
        first = (0.65 - 2.5e-4 * (0.5 * (wall + t[0]) - ICE)) * (wall - t[0]) / (0.5 * dx)
        return -np.diff(np.concatenate([[first], between, [0.0]])) / dx / c

    twin = solve_ivp(rate, (0.0, seconds), np.full(n, 20.0 + ICE), method="BDF", rtol=1e-7, atol=1e-5, t_eval=[60.0, seconds]).y
    # time steps of the solver are those of a metal-free run: at most a twentieth of a second
    out = strickle.freeze(
        column([2] * n), {2: FURAN}, start={2: 20.0 + ICE}, faces={"z-": strickle.fixed(wall)}, until=seconds, snapshots=(60.0, seconds)
    )
    assert out.balance < 1e-9
    for got, want in zip(out.snapshots, twin.T, strict=True):
        assert np.abs(got[0, 0] - want).max() < 3.0


def test_a_curve_that_is_level_is_a_constant():
    level = MediumData(
        conductivity=0.6, density=1550.0, heat_capacity=1100.0, conductivity_temperature=NODES, conductivity_nodes=np.array([0.6, 0.6]),
        heat_temperature=NODES, heat_nodes=np.array([1100.0, 1100.0]),
    )  # fmt: skip
    grid = column([1] * 8 + [2] * 60)
    one, other = (strickle.freeze(grid, {1: METAL, 2: m}, start={1: 980.0, 2: 295.0}, contact={(1, 2): 600.0}) for m in (SAND, level))
    assert one.solid_time == pytest.approx(other.solid_time, rel=1e-6)


def test_a_gap_that_opens_makes_freezing_slower_and_lies_between_its_ends():
    grid = column([1] * 8 + [2] * 60)
    times = [
        strickle.freeze(grid, {1: METAL, 2: SAND}, start={1: 980.0, 2: 295.0}, contact={(1, 2): c}).solid_time
        for c in (600.0, strickle.gap(600.0, 85.0), 85.0)
    ]
    assert times[0] < times[1] < times[2]
    same = strickle.freeze(grid, {1: METAL, 2: SAND}, start={1: 980.0, 2: 295.0}, contact={(1, 2): strickle.gap(600.0, 600.0)}).solid_time
    assert same == pytest.approx(times[0], rel=1e-12)


def test_a_chill_is_stepped_on_its_own_and_agrees_with_small_steps_for_all():
    """Twin: the same mould with the fine preset, whose steps are a third as long; the chill's side freezes first."""
    tags = np.full((12, 10, 30), 2, np.uint8)
    tags[3:9, 2:8, 4:18] = 1
    tags[3:9, 2:8, 18:24] = 3
    grid = Grid(tags=tags, cell=2e-3, origin=np.zeros(3))
    outs = [
        strickle.freeze(
            grid, {1: METAL, 2: SAND, 3: STEEL}, start={1: 980.0, 2: 295.0, 3: 330.0}, contact={(1, 2): 600.0, (1, 3): 3000.0}, preset=preset
        )
        for preset in ("shop", "fine")
    ]
    assert all(out.balance < 1e-9 and out.status == "done" for out in outs)
    assert outs[0].solid_time == pytest.approx(outs[1].solid_time, rel=0.01)
    assert outs[0].steps < 1500  # the chill's own explicit limit at 2 mm would ask for some 5000
    times = outs[0].time_to_solidus
    assert np.nanmin(times[3:9, 2:8, 17]) < np.nanmin(times[3:9, 2:8, 4])


def test_a_starting_field_is_where_the_run_begins():
    grid = column([1] * 8 + [2] * 60)
    begin = np.full((1, 1, 68), np.nan)
    begin[0, 0, :8] = np.linspace(960.0, 1000.0, 8)
    begin[0, 0, 8:12] = [500.0, 420.0, 360.0, 320.0]
    out = strickle.freeze(grid, {1: METAL, 2: SAND}, start={1: 980.0, 2: 295.0}, contact={(1, 2): 600.0}, begin=begin, snapshots=(0.0,))
    assert out.balance < 1e-9
    assert out.snapshots[0][0, 0, :12] == pytest.approx(begin[0, 0, :12], rel=1e-9)
    assert out.snapshots[0][0, 0, 12:] == pytest.approx(295.0)
    plain = strickle.freeze(grid, {1: METAL, 2: SAND}, start={1: 980.0, 2: 295.0}, contact={(1, 2): 600.0})
    assert out.solid_time > plain.solid_time  # the sand was warm already


@settings(max_examples=20, deadline=None)
@given(
    seed=st.integers(0, 2**20),
    late=st.floats(30.0, 600.0),
    bend=st.floats(-3e-4, 3e-4),
    rise=st.floats(0.0, 0.5),
    shift=st.floats(0.0, 60.0),
)
def test_heat_lost_is_heat_gained_with_all_of_it_at_once(seed, late, bend, rise, shift):
    rng = np.random.default_rng(seed)
    tags = rng.choice(np.array([1, 2, 3, 9], np.uint8), size=(6, 5, 7), p=[0.4, 0.4, 0.1, 0.1])
    tags[2, 2, 2:4] = 1, 2
    sand = MediumData(
        conductivity=0.6, density=1550.0, heat_capacity=1000.0, conductivity_temperature=NODES, conductivity_nodes=0.6 + bend * np.array([0, 980.0]),
        heat_temperature=NODES, heat_nodes=900.0 + rise * np.array([0, 980.0]),
    )  # fmt: skip
    begin = np.where(rng.random(tags.shape) < 0.3, 350.0 + shift, np.nan)
    begin[tags == 1] = np.nan
    out = strickle.freeze(
        Grid(tags=tags, cell=3e-3, origin=np.zeros(3)),
        {1: METAL, 2: sand, 3: STEEL, 9: strickle.film(20.0, 300.0, 0.3)},
        start={1: 980.0, 2: 300.0, 3: 310.0},
        contact={(1, 2): strickle.gap(600.0, late), (1, 3): 2000.0, (2, 3): 1000.0},
        faces={"x-": strickle.film(10.0, 300.0), "z+": strickle.film(10.0, 300.0, 0.3), "y-": strickle.fixed(305.0)},
        begin=begin,
        until=60.0,
    )
    assert out.balance < 1e-9


@pytest.mark.parametrize(
    ("contact", "begin", "says"),
    [
        (strickle.gap(85.0, 600.0), None, "must not rise"),
        (strickle.gap(600.0, 0.0), None, "must be positive"),
        (600.0, np.full((1, 1, 3), 300.0), "shape of the tags"),
        (600.0, np.full((1, 1, 68), -5.0), "positive number of kelvin"),
    ],
)
def test_what_makes_no_sense_is_refused(contact, begin, says):
    with pytest.raises(BadInput, match=says):
        strickle.freeze(column([1] * 8 + [2] * 60), {1: METAL, 2: SAND}, start={1: 980.0, 2: 295.0}, contact={(1, 2): contact}, begin=begin)


def box(low, high):
    """A closed outward box [m]."""
    import manifold3d as m3

    solid = m3.Manifold.cube(tuple(1e3 * (b - a) for a, b in zip(low, high, strict=True))).translate(tuple(1e3 * v for v in low))
    mesh = solid.to_mesh64()
    return strickle_mesh(np.array(mesh.vert_properties[:, :3]) * 1e-3, np.array(mesh.tri_verts, dtype=np.int64))


def strickle_mesh(vertices, faces):
    from strickle.base import Mesh

    return Mesh(vertices=vertices, faces=faces)


def block():
    tags = np.full((16, 16, 16), 2, np.uint8)
    tags[4:12, 4:12, 4:12] = 1
    return Grid(tags=tags, cell=2e-3, origin=np.zeros(3)), box((8e-3,) * 3, (24e-3,) * 3)


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda m: strickle_mesh(m.vertices, m.faces[:, ::-1].copy()), "times the volume"),
        (lambda m: strickle_mesh(m.vertices, np.vstack([m.faces, m.faces])), "times the volume"),
        (lambda m: strickle_mesh(m.vertices * 0.5, m.faces), "times the volume"),
        (lambda m: strickle_mesh(m.vertices * 1e3, m.faces), "reaches out of the grid"),
        (lambda m: strickle_mesh(m.vertices + 0.2, m.faces), "reaches out of the grid"),
        (lambda m: strickle_mesh(m.vertices, m.faces[:-1]), "not closed"),
    ],
)
def test_a_surface_that_is_not_the_metal_s_is_refused(spoil, says):
    grid, mesh = block()
    with pytest.raises(BadInput, match=says):
        strickle.freeze(grid, {1: METAL, 2: SAND}, start={1: 980.0, 2: 295.0}, surface=spoil(mesh))


def test_metal_whose_top_lies_in_the_middle_of_cells_loses_heat_to_the_air():
    tags = np.full((16, 16, 16), 2, np.uint8)
    tags[4:12, 4:12, 4:13] = 1
    tags[:, :, 13:] = 9
    out = strickle.freeze(
        Grid(tags=tags, cell=2e-3, origin=np.zeros(3)), {1: METAL, 2: SAND, 9: strickle.film(10.0, 295.0, 0.3)}, start={1: 980.0, 2: 295.0},
        contact={(1, 2): 600.0}, surface=box((8e-3,) * 3, (24e-3, 24e-3, 25e-3)),
    )  # fmt: skip
    assert out.status == "done"
    assert out.balance < 1e-9


def test_metal_that_starts_solid_cools():
    out = strickle.freeze(
        column([1] * 8 + [2] * 60), {1: METAL, 2: SAND}, start={1: 800.0, 2: 295.0}, contact={(1, 2): 600.0}, until=strickle.below(700.0)
    )
    assert out.status == "done"
    assert out.below_time > 1.0


def test_half_a_curve_is_refused():
    half = MediumData(conductivity=0.6, density=1550.0, heat_capacity=1000.0, heat_temperature=NODES)
    with pytest.raises(BadInput, match="without values"):
        strickle.freeze(column([1] * 8 + [2] * 60), {1: METAL, 2: half}, start={1: 980.0, 2: 295.0})
