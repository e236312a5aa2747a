"""A sheet in few triangles is the sheet: it covers the grid, meets edge to edge and passes through every height it was asked to keep."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from strickle.pattern.merged import eased, triangles

SIDES = st.integers(3, 24)


def humps(nx: int, ny: int, seed: int, wild: float) -> np.ndarray:
    """Smooth heights, level at the border, some of them roughened."""
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.linspace(0, 1, nx), np.linspace(0, 1, ny), indexing="ij")
    h = np.sin(np.pi * x) * np.sin(np.pi * y) * (rng.uniform(-5, 5) + rng.uniform(-3, 3) * np.cos(3 * x + rng.uniform(0, 6)))
    h += wild * rng.normal(size=h.shape) * (rng.random(h.shape) < 0.1)
    h[0], h[-1], h[:, 0], h[:, -1] = 0.0, 0.0, 0.0, 0.0
    return h


def laid_over(h: np.ndarray, tri: np.ndarray) -> np.ndarray:
    """Height of the triangles over every node, by looking through all of them."""
    places = np.stack(np.meshgrid(*(np.arange(n) for n in h.shape), indexing="ij"), -1).reshape(-1, 2).astype(float)
    out = np.full(h.size, np.nan)
    for a, b, c in tri:
        base = np.array([places[b] - places[a], places[c] - places[a]])
        share = (places - places[a]) @ np.linalg.inv(base)
        inside = (share >= -1e-9).all(axis=1) & (share.sum(axis=1) <= 1 + 1e-9)
        out[inside] = h.flat[a] + share[inside] @ (h.flat[[b, c]] - h.flat[a])
    return out.reshape(h.shape)


@given(SIDES, SIDES, st.integers(0, 99), st.sampled_from([0.0, 0.5]), st.sampled_from([0.0, 0.01, 0.3]))
def test_it_covers_the_grid_and_keeps_every_height(nx, ny, seed, wild, allowed):
    h = eased(humps(nx, ny, seed, wild), np.full((nx, ny), allowed))
    tri = triangles(h)
    places = np.stack(np.meshgrid(np.arange(nx), np.arange(ny), indexing="ij"), -1).reshape(-1, 2)
    (ux, uy), (vx, vy) = (places[tri[:, 1]] - places[tri[:, 0]]).T, (places[tri[:, 2]] - places[tri[:, 0]]).T
    double = ux * vy - uy * vx
    assert double.min() > 0  # counter-clockwise from above
    assert double.sum() == 2 * (nx - 1) * (ny - 1)
    edges = np.sort(np.concatenate([tri[:, [0, 1]], tri[:, [1, 2]], tri[:, [2, 0]]]), axis=1)
    _, count = np.unique(edges, axis=0, return_counts=True)
    assert count.max() <= 2
    assert (count == 1).sum() == 2 * (nx + ny - 2)  # the border alone, in steps of one
    assert np.abs(laid_over(h, tri) - h).max() < 1e-8


@given(SIDES, SIDES, st.integers(0, 99), st.sampled_from([0.0, 0.01, 0.1]))
def test_no_height_moves_by_much_more_than_it_may(nx, ny, seed, allowed):
    before = humps(nx, ny, seed, 0.0)
    after = eased(before, np.full((nx, ny), allowed))
    assert np.abs(after - before).max() <= 6 * allowed  # each halving adds at most its own
    assert np.array_equal(after[[0, -1]], before[[0, -1]])
    assert np.array_equal(after[:, [0, -1]], before[:, [0, -1]])


def test_a_place_that_may_not_move_stays():
    before = humps(33, 33, 1, 0.0)
    allowed = np.full((33, 33), 0.5)
    allowed[10:14, 20:24] = 0.0
    after = eased(before, allowed)
    assert np.abs(after - before)[10:14, 20:24].max() == 0.0
    assert len(triangles(after)) < 0.3 * 2 * 32 * 32


def test_a_level_sheet_takes_few():
    assert len(triangles(np.zeros((129, 129)))) < 0.06 * 2 * 128 * 128  # nearly all of them at the border
