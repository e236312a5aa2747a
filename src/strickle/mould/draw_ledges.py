"""Shelves of sand: what a half holds under or over metal of its own, as a loose piece or a core leaves it, hanging from the sand beside.

The half is seen in columns along the draw. Sand between the parting and metal of the same half is a shelf; it hangs from the nearest
column that is sand all through, and is judged as a beam held there: how far it reaches out, and how thick it is where it begins. Sand that
no such column bounds is a core's or a pocket's affair and none of a shelf's. A pattern that draws straight out leaves none.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import ndimage

from strickle.base import Array, Mesh

ACROSS = 240  # columns over the longer side in plan
LEAST, THIN = 1.5e-3, 0.3e-3  # reach under which no shelf is told, thickness under which a gap is none [m]


class Ledge(NamedTuple):
    """One shelf, metres, mould frame."""

    half: str  # cope | drag
    at: Array  # middle of its root (3,)
    reach: float  # from the sand that holds it to its farthest place
    thick: float  # where it begins


def ledges(cavity: Mesh) -> tuple[Ledge, ...]:
    """Shelves of both halves of a cavity parted at z = 0, the farthest reaching first."""
    out: list[Ledge] = []
    for half, side in (("cope", 1.0), ("drag", -1.0)):
        vertices = cavity.vertices * np.array([1.0, 1.0, side])
        faces = cavity.faces if side > 0 else cavity.faces[:, ::-1]
        if float(vertices[:, 2].max()) > THIN:
            out += _half(half, side, np.ascontiguousarray(vertices), np.ascontiguousarray(faces))
    return tuple(sorted(out, key=lambda ledge: -ledge.reach))


def _half(half: str, side: float, vertices: Array, faces: Array) -> list[Ledge]:
    from strickle.kernels import raster

    least, most = vertices.min(axis=0)[:2], vertices.max(axis=0)[:2]
    cell = float((most - least).max()) / ACROSS
    shape = tuple(int(np.ceil(extent / cell)) + 4 for extent in most - least)
    origin = least - cell * np.array([1.917, 1.883])
    start, z, sign, _ = raster.columns(vertices, faces, origin, cell, *shape)
    gap, low = _gaps(start, z, sign)
    hung = (gap > THIN).reshape(shape)
    last = np.full(len(gap), -np.inf)
    met = np.diff(start) > 0
    last[met] = z[start[1:][met] - 1]
    bare = (last <= THIN).reshape(shape)
    if not hung.any() or not bare.any():
        return []
    labels, count = ndimage.label(hung)
    beside = hung & ndimage.binary_dilation(bare)
    far = ndimage.distance_transform_edt(~bare) * cell
    thick, height = gap.reshape(shape), low.reshape(shape)
    out = []
    for number in range(1, count + 1):
        mine = labels == number
        root = mine & beside
        reach = float(far[mine].max())
        if not root.any() or reach < LEAST:
            continue
        deep = float(np.median(thick[root]))
        i, j = np.argwhere(root)[int(np.argmin(np.abs(thick[root] - deep)))]
        middle = height[i, j] + thick[i, j] / 2.0
        at = np.array([origin[0] + i * cell, origin[1] + j * cell, side * middle])
        out.append(Ledge(half, at, reach, deep))
    return out


def _gaps(start: Array, z: Array, sign: Array) -> tuple[Array, Array]:
    """Thickest sand under metal over z = 0 in each column (n,), and where it begins."""
    columns = len(start) - 1
    gap, low = np.zeros(columns), np.zeros(columns)
    if not len(z):
        return gap, low
    of = np.repeat(np.arange(columns), np.diff(start))
    within = np.cumsum(sign.astype(np.int64))
    within = within - np.repeat(np.concatenate([[0], within])[start[:-1]], np.diff(start))
    first = np.zeros(len(z), dtype=bool)
    first[start[:-1][np.diff(start) > 0]] = True
    begins = np.flatnonzero((sign > 0) & (within == 1))
    under = np.where(first[begins], 0.0, z[np.maximum(begins - 1, 0)])
    floor = np.maximum(under, 0.0)
    high = z[begins] - floor
    order = np.argsort(high)
    gap[of[begins][order]], low[of[begins][order]] = high[order], floor[order]
    return np.maximum(gap, 0.0), low
