"""A solid made fit for a file: no edge shared by more than two faces once corners that print as one are joined.

Where two walls meet in a line, or come nearer than a file can tell, the boolean library keeps them apart and the reader of the file does
not. Such corners are drawn apart by some hundred-thousandths of a millimetre; where that does not serve, the place is closed with a bar
thinner than a layer, so that one solid is left that every reader agrees on.
"""

from __future__ import annotations

from collections.abc import Iterator

import manifold3d
import numpy as np

from strickle.base import Array
from strickle.pattern.readable import solid_of
from strickle.pattern.undercut import plain

SMOOTH = (2e-4, 2e-3)  # mm, surface moved at most to be rid of slivers; the next where the one before does not serve
BAR, GROWTH = 0.006, 1.6  # mm, reach of the first bars; grown where it does not serve
APART = (5e-5, 2e-4, 1e-3)  # mm, reaches tried by which corners that a reader takes for one are drawn apart
NEAR, GAINED = 2e-7, 1e-6  # of the volume, that drawing apart may change: the first reach that keeps the one is taken, none that passes the other
TRIES = 6
HOPELESS = 3  # times the fewest shared edges met so far: bars that make so many more will never be rid of them
GRID = 1e-5  # mm: corners nearer than this are one corner in a file of metres to eight places


def shared(vertices: Array, faces: Array) -> Array:
    """Ends (n, 2, 3) [mm] of the edges that do not have just two faces, or few places."""
    return np.asarray(vertices[np.concatenate([_bad(number, faces) for number in _read(vertices)])]).reshape(-1, 2, 3)


def _read(vertices: Array) -> Iterator[Array]:
    """Number of the corner each row (n, 3) is to readers of the file, who keep single precision or few places."""
    moved = vertices - vertices.min(axis=0)
    for told in (moved.astype(np.float32).astype(float), np.round(moved, 6), np.round(moved / GRID), np.round(vertices / GRID)):
        yield _joined(told)


def _bad(number: Array, faces: Array) -> Array:
    """Corners (n, 2) of the edges that do not have just two faces once corners of one ``number`` are one."""
    tri, n = number[faces], len(number)
    edges = np.sort(np.concatenate([tri[:, [0, 1]], tri[:, [1, 2]], tri[:, [2, 0]]]), axis=1)
    own = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    _, where, count = np.unique(edges[:, 0] * n + edges[:, 1], return_index=True, return_counts=True)
    return np.asarray(own[where[count != 2]])


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
    if (parted := _parted(body, side)) is not None:
        return parted, True
    best, fewest = body, len(bad)
    for smooth in SMOOTH:
        made, left = _barred(body, side, smooth, fewest)
        if left < fewest:
            best, fewest = made, left
        if not fewest:
            break
    return best, fewest == 0


def _parted(body: manifold3d.Manifold, side: float) -> manifold3d.Manifold | None:
    """The solid with no shared edges by drawing corners apart, as near to its volume as some reach gives; None where none does."""
    found: list[tuple[float, manifold3d.Manifold]] = []
    for reach in APART:
        made = body
        for _ in range(TRIES):
            made = _apart(made, side, reach)
            if not len(shared(*plain(made))):
                found.append((abs(float(made.volume() - body.volume())), made))
                break
        if found and found[-1][0] <= NEAR * float(body.volume()):
            return found[-1][1]
    off, made = min(found, key=lambda one: one[0], default=(np.inf, body))
    return made if off <= GAINED * float(body.volume()) else None


def _apart(body: manifold3d.Manifold, side: float, reach: float) -> manifold3d.Manifold:
    """The solid with corners that a reader takes for one drawn apart, each a little into the faces that meet in it."""
    vertices, faces = plain(body)
    for turn in range(TRIES):
        for number in _read(vertices):
            bad = _bad(number, faces)
            if len(bad):
                vertices = vertices + reach * GROWTH**turn * _inward(vertices, faces, number, np.isin(number, number[bad]))
        if side:
            vertices[:, 2] = side * np.maximum(side * vertices[:, 2], 0.0)
        if not len(shared(vertices, faces)):
            break
    made = solid_of(vertices, faces, free=not side)
    return body if made.is_empty() else made


def _inward(vertices: Array, faces: Array, number: Array, chosen: Array) -> Array:
    """Unit ways (n, 3) from each ``chosen`` corner into its own faces and away from those of corners of the same ``number``; zero for others."""
    way, middle = np.zeros(vertices.shape), vertices[faces].mean(axis=1)
    touched = chosen[faces].any(axis=1)
    for k in range(3):
        np.add.at(way, faces[touched, k], _unit(middle[touched] - vertices[faces[touched, k]]))
    own = np.flatnonzero(chosen)
    count = np.bincount(number[own], minlength=len(number))
    mean = np.stack([np.bincount(number[own], _unit(way[own])[:, i], len(number)) for i in range(3)], 1) / np.maximum(count, 1)[:, None]
    out = np.zeros(vertices.shape)
    several = own[count[number[own]] > 1]
    out[several] = _unit(_unit(way[several]) - mean[number[several]])
    return out


def _unit(rows: Array) -> Array:
    return np.asarray(rows / np.maximum(np.linalg.norm(rows, axis=1, keepdims=True), 1e-9))


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
