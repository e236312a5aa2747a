"""How far heat has to go: a chamfer distance through media of unlike slowness."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def sweep(dist, tags, slow, backward):
    """One pass of a chamfer distance (weights 1, 4/3, 5/3) weighted by each medium's slowness; returns whether anything changed."""
    nx, ny, nz = dist.shape
    sign = -1 if backward else 1
    changed = False
    for ix in range(1, nx - 1):
        x = nx - 1 - ix if backward else ix
        for iy in range(1, ny - 1):
            y = ny - 1 - iy if backward else iy
            for iz in range(1, nz - 1):
                z = nz - 1 - iz if backward else iz
                s = slow[tags[x, y, z]]
                if s == 0.0:
                    continue
                best = dist[x, y, z]
                if best == 0.0:
                    continue
                one, two, three = s, s * np.float32(4.0 / 3.0), s * np.float32(5.0 / 3.0)
                a, b, c = x - sign, y - sign, z - sign
                d, e = y + sign, z + sign
                near = min(dist[a, y, z], dist[x, b, z], dist[x, y, c]) + one
                edge = min(dist[a, b, z], dist[a, d, z], dist[a, y, c], dist[a, y, e], dist[x, b, c], dist[x, b, e]) + two
                corner = min(dist[a, b, c], dist[a, b, e], dist[a, d, c], dist[a, d, e]) + three
                value = min(best, near, edge, corner)
                if value < best:
                    dist[x, y, z] = value
                    changed = True
    return changed
