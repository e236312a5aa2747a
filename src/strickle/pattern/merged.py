"""A sheet of heights over a grid in few triangles: halves of squares, each merged with its like while the heights allow it.

Right triangles are halved from the middle of their longest side to the corner across, as often as a height left out would be off by more
than it may (W. Evans, D. Kirkpatrick, G. Townsend, Right-triangulated irregular networks, Algorithmica 30, 2001). A corner stays where
a finer one leans on it, so triangles meet edge to edge. Heights in millimetres, places in steps of the grid.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strickle.base import Array


class _Middles(NamedTuple):
    """Middles of longest sides of one size, first of squares and then of their edges: places (n,), and the ends of those sides (n, 2)."""

    at: Array
    ends: Array
    leans: Array  # (n, 2) middles of the next size up that must stay where this one does; -1 = none


def _levels(side: int) -> list[_Middles]:
    """Middles of a square of ``side`` steps (a power of two), finest first."""
    wide, out = side + 1, []
    size = 2
    while size <= side:
        half, count = size // 2, side // size
        k = np.arange(count)
        i, j = (a.ravel() * size for a in np.meshgrid(k, k, indexing="ij"))
        middle = (i + half) * wide + j + half
        main = (((i + j) // size) % 2 == 0)[:, None]
        a, b, c, d = i * wide + j, (i + size) * wide + j, (i + size) * wide + j + size, i * wide + j + size
        ends = np.where(main, np.stack([a, c], 1), np.stack([b, d], 1))
        leans = np.where(main, np.stack([b, d], 1), np.stack([a, c], 1)) if size < side else np.full((len(a), 2), -1)
        line = np.arange(count + 1)
        p, q = (v.ravel() * size for v in np.meshgrid(k, line, indexing="ij"))  # edges along the first axis, then along the second
        edges = []
        for x, y, dx, dy in ((p, q, 1, 0), (q, p, 0, 1)):
            at = (x + half * dx) * wide + y + half * dy
            own = np.stack([x * wide + y, (x + size * dx) * wide + y + size * dy], 1)
            across = np.stack(
                [
                    np.where((y if dx else x) > 0, at - half * (dy * wide + dx), -1),
                    np.where((y if dx else x) < side, at + half * (dy * wide + dx), -1),
                ],
                1,
            )
            edges.append((at, own, across))
        out += [_Middles(*(np.concatenate([e[n] for e in edges]) for n in range(3))), _Middles(middle, ends, leans)]
        size *= 2
    return out


def _padded(h: Array, allowed: Array) -> tuple[Array, Array, int]:
    """Heights and what they may be off on a square whose side is a power of two; the border of the grid and what lies beyond it may not move."""
    side = 2
    while side < max(h.shape) - 1:
        side *= 2
    high, most = np.zeros((side + 1, side + 1)), np.full((side + 1, side + 1), np.inf)
    high[: h.shape[0], : h.shape[1]] = h
    most[: h.shape[0], : h.shape[1]] = allowed
    for line in (
        (0, slice(0, h.shape[1])),
        (h.shape[0] - 1, slice(0, h.shape[1])),
        (slice(0, h.shape[0]), 0),
        (slice(0, h.shape[0]), h.shape[1] - 1),
    ):
        most[line] = -1.0
    return high.ravel(), most.ravel(), side


def _kept(high: Array, most: Array, levels: list[_Middles]) -> Array:
    """Which places stay corners."""
    stays = np.zeros(len(high), dtype=bool)
    for level in levels:
        off = np.abs(high[level.at] - high[level.ends].mean(axis=1))
        here = stays[level.at] | (off > most[level.at])
        stays[level.at] = here
        leans = level.leans[here].ravel()
        stays[leans[leans >= 0]] = True
    return stays


def eased(h: Array, allowed: Array) -> Array:
    """Heights (nx, ny) with those left out put on the triangles that remain; ``allowed`` (nx, ny) is what each may be off at its own halving."""
    high, most, side = _padded(h, allowed)
    levels = _levels(side)
    stays = _kept(high, most, levels)
    for level in levels[::-1]:
        out = ~stays[level.at]
        high[level.at[out]] = high[level.ends[out]].mean(axis=1)
    return np.asarray(high.reshape(side + 1, side + 1)[: h.shape[0], : h.shape[1]])


def triangles(h: Array, off: float = 1e-9) -> Array:
    """Corners (n, 3), counter-clockwise from above, of few triangles over a grid (nx, ny) whose heights none leaves by more than ``off``.

    Numbers run along the second axis first. Every node of the border is a corner.
    """
    high, most, side = _padded(h, np.full(h.shape, off))
    stays = _kept(high, most, _levels(side))
    wide = side + 1
    last = side * wide + side
    tri = np.array([[side * wide, last, 0], [side, 0, last]])  # the corner of the right angle, then the ends of the longest side
    done = []
    while len(tri):
        i, j = tri // wide, tri % wide
        middle = (i[:, 1] + i[:, 2]) // 2 * wide + (j[:, 1] + j[:, 2]) // 2
        whole = (np.abs(i[:, 1] - i[:, 2]) % 2 == 1) | (np.abs(j[:, 1] - j[:, 2]) % 2 == 1)
        split = ~whole & stays[middle]
        done.append(tri[~split])
        t, m = tri[split], middle[split]
        tri = np.concatenate([np.stack([m, t[:, 0], t[:, 1]], 1), np.stack([m, t[:, 2], t[:, 0]], 1)])
    every = np.concatenate(done)
    i, j = every // wide, every % wide
    inside = (i < h.shape[0]).all(axis=1) & (j < h.shape[1]).all(axis=1)
    return np.asarray((i * h.shape[1] + j)[inside])
