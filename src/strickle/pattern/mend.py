"""A solid made fit for a file: no edge shared by more than two faces once corners that print as one are joined.

Where two walls meet in a line, or come nearer than a file can tell, the boolean library keeps them apart and the reader of the file does
not. Such places are closed with a bar thinner than a layer, so that one solid is left that every reader agrees on.
"""

from __future__ import annotations

import manifold3d
import numpy as np

from strickle.base import Array
from strickle.pattern.undercut import plain

SMOOTH = (2e-4, 2e-3)  # mm, surface moved at most to be rid of slivers; the next where the one before does not serve
BAR, GROWTH = 0.006, 1.6  # mm, reach of the first bars; grown where it does not serve
TRIES = 6
HOPELESS = 3  # times the fewest shared edges met so far: bars that make so many more will never be rid of them
GRID = 1e-5  # mm: corners nearer than this are one corner in a file of metres to eight places


def shared(vertices: Array, faces: Array) -> Array:
    """Ends (n, 2, 3) [mm] of the edges that do not have just two faces, or few places."""
    moved = vertices - vertices.min(axis=0)
    out: list[Array] = []
    for told in (moved.astype(np.float32).astype(float), np.round(moved, 6), np.round(moved / GRID), np.round(vertices / GRID)):
        tri = _joined(told)[faces]
        edges = np.sort(np.concatenate([tri[:, [0, 1]], tri[:, [1, 2]], tri[:, [2, 0]]]), axis=1)
        own = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
        _, where, count = np.unique(edges[:, 0] * len(told) + edges[:, 1], return_index=True, return_counts=True)
        out.append(vertices[own[where[count != 2]]])
    return np.concatenate(out).reshape(-1, 2, 3)


def _joined(told: Array) -> Array:
    """Number of the corner each row (n, 3) is, alike rows as one: numpy's own way with rows takes twenty times as long."""
    order = np.lexsort(told.T[::-1])
    fresh = np.any(told[order][1:] != told[order][:-1], axis=1)
    number = np.zeros(len(told), dtype=np.int64)
    number[order[1:]] = np.cumsum(fresh)
    return number


def mended(body: manifold3d.Manifold, side: float) -> tuple[manifold3d.Manifold, bool]:
    """The solid with no shared edges, and whether that was reached; ``side`` +1 keeps it over z = 0, -1 under it, 0 neither."""
    bad = shared(*plain(body))
    if not len(bad):
        return body, True
    best, fewest = body, len(bad)
    for smooth in SMOOTH:
        made, left = _barred(body, side, smooth, fewest)
        if left < fewest:
            best, fewest = made, left
        if not fewest:
            break
    return best, fewest == 0


def _barred(body: manifold3d.Manifold, side: float, smooth: float, fewest: int) -> tuple[manifold3d.Manifold, int]:
    """The solid smoothed and its shared edges closed with bars, as often as it helps, and the shared edges left."""
    best, made = body, body.simplify(smooth)
    for turn in range(TRIES):
        bad = shared(*plain(made))
        if len(bad) < fewest:
            best, fewest = made, len(bad)
        if not len(bad) or len(bad) > HOPELESS * fewest:
            break
        # ends that nearly coincide would give bars that nearly coincide, and the fault again
        ends = np.unique(np.round(bad, 3), axis=0)
        bars = manifold3d.Manifold.batch_boolean([_bar(pair, BAR * GROWTH**turn) for pair in ends], manifold3d.OpType.Add)
        joined = made + bars
        joined = joined.trim_by_plane((0.0, 0.0, side), 0.0) if side else joined
        made = joined if not len(shared(*plain(joined))) else joined.simplify(0.25 * smooth)
    return best, fewest


def _bar(ends: Array, reach: float) -> manifold3d.Manifold:
    """A thin bar round an edge, turned so that none of its faces lies in a face of the solid."""
    corner = reach * np.array([[1.0, 0.13, 0.07], [-0.29, 0.93, 0.11], [-0.41, -0.87, 0.19], [0.05, -0.11, 1.03], [0.17, 0.03, -0.97]])
    return manifold3d.Manifold.hull_points(np.concatenate([end + corner for end in ends]))
