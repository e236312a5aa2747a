"""The raster: closed meshes never leak, volumes hold under rotation, overlap counts once, and the unit rule scales as it should."""

from __future__ import annotations

import manifold3d
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from strickle.kernels import raster
from strickle.part import rules

sides = st.floats(0.3, 3.0)
angle = st.floats(0.0, 360.0)


def _mesh(solid):
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int64)


def _grid(vertices, cell):
    low = vertices.min(axis=0) - 1.3 * cell
    shape = tuple(int(n) for n in np.ceil((vertices.max(axis=0) - low) / cell).astype(int) + 1)
    return low, shape


@settings(max_examples=25, deadline=None)
@given(sides, sides, sides, angle, angle, angle)
def test_a_turned_box_keeps_its_volume_and_never_leaks(a, b, c, rx, ry, rz):
    vertices, faces = _mesh(manifold3d.Manifold.cube((a, b, c)).rotate((rx, ry, rz)))
    cell = min(a, b, c) / 5.0
    low, shape = _grid(vertices, cell)
    start, z, sign, _ = raster.columns(vertices, faces, low, cell, shape[0], shape[1])
    leaks, _, twice, inverted = raster.windings(start, z, sign)
    assert leaks == 0
    assert twice == inverted == 0.0
    fraction = raster.fractions(vertices, faces, low, cell, shape)
    assert (fraction >= 0.0).all()
    assert (fraction <= 1.0).all()
    assert abs(fraction.sum() * cell**3 / (a * b * c) - 1.0) < 0.02
    exact = raster.rescale(fraction, cell, a * b * c)
    assert abs(exact.sum() * cell**3 / (a * b * c) - 1.0) < 1e-9
    assert ((exact >= 0.0) & (exact <= 1.0)).all()


@settings(max_examples=20, deadline=None)
@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.integers(0, 6))
def test_a_box_on_or_off_the_grid_never_leaks(dx, dy, eighths):
    # corners, edges and whole faces lie on column centres when the shift is a multiple of half a cell
    shift = np.array([round(8 * dx) / 8, round(8 * dy) / 8, eighths / 8])
    vertices, faces = _mesh(manifold3d.Manifold.cube((4.0, 3.0, 2.0)))
    start, z, sign, _ = raster.columns(vertices + shift, faces, (-1.0, -1.0, -1.0), 0.25, 30, 30)
    assert raster.windings(start, z, sign)[0] == 0
    area = sum(1 for i in range(900) if start[i + 1] > start[i]) * 0.25**2
    assert abs(area - 12.0) < 1e-9


def test_overlapping_shells_count_once_and_are_noticed():
    one, f1 = _mesh(manifold3d.Manifold.cube((2.0, 2.0, 2.0)))
    two, f2 = _mesh(manifold3d.Manifold.cube((2.0, 2.0, 2.0)).translate((1.0, 0.5, 0.25)))
    vertices, faces = np.vstack([one, two]), np.vstack([f1, f2 + len(one)])
    low, shape = _grid(vertices, 0.1)
    fraction = raster.fractions(vertices, faces, low, 0.1, shape)
    union = 16.0 - 1.0 * 1.5 * 1.75
    assert abs(fraction.sum() * 1e-3 / union - 1.0) < 0.01
    start, z, sign, _ = raster.columns(vertices, faces, low, 0.1, shape[0], shape[1])
    leaks, _, twice, inverted = raster.windings(start, z, sign)
    assert leaks == 0
    assert inverted == 0.0
    assert abs(twice * 0.01 / (1.0 * 1.5 * 1.75) - 1.0) < 0.05
    assert raster.windings(*raster.columns(vertices, faces[:, ::-1], low, 0.1, shape[0], shape[1])[:3])[3] > 0.0


def test_thin_walls_along_the_axes_are_sampled_finer_than_the_cell():
    errors = []
    for offset in np.linspace(0.0, 1.0, 13):
        vertices, faces = _mesh(manifold3d.Manifold.cube((0.37, 5.0, 3.0)).translate((float(offset), 0.0, 0.0)))
        fraction = raster.fractions(vertices, faces, (-1.0, -1.0, -1.0), 1.0, (4, 8, 6))
        errors.append(fraction.sum() / (0.37 * 5.0 * 3.0) - 1.0)
    assert np.abs(errors).max() < 0.09  # a sixteenth of a cell each side would be 0.17 of this wall
    assert abs(np.mean(errors)) < 0.02


@given(st.floats(1e-3, 2.0), st.floats(0.01, 1.0), st.floats(1e-5, 100.0), st.floats(1.0, 3.0))
def test_plausible_parts_lie_in_one_band_of_size(longest, ratio, mass, grow):
    # what is too small stays too small when made smaller, what is too large stays too large when made larger
    shortest = longest * ratio
    if rules.plausible(longest, shortest, mass):
        return
    if longest > rules.MOST_LONGEST or mass > rules.MOST_MASS:
        assert not rules.plausible(longest * grow, shortest * grow, mass * grow**3)
    else:
        assert not rules.plausible(longest / grow, shortest / grow, mass / grow**3)


@settings(max_examples=30)
@given(st.floats(0.25, 4.0), st.floats(0.0, 0.5), st.floats(0.1, 3.0))
def test_judging_a_spot_is_steady(radius_mm, saddle, wall_mm):
    # a spot that is worth feeding stays so when it grows
    loss = rules.loss_depth(0.067, radius_mm * 1e-3)
    if rules.worth_feeding(loss, radius_mm * 1e-3, wall_mm * 1e-3):
        assert rules.worth_feeding(2 * loss, 2 * radius_mm * 1e-3, wall_mm * 1e-3)
    assert not rules.doubtful(saddle, 1e-3, radius_mm * 1e-3, wall_mm * 1e-3)
