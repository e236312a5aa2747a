"""The slotted disk turned once in a prescribed flow, which the door cannot give (kernels directly)."""

import functools

import numpy as np
from numba import njit

from strickle.kernels.fill import CAVITY, PRESETS, Filler
from strickle.kernels.fill_faces import gather
from strickle.kernels.fill_surface import advect, find_skin


@njit
def carry(cells, flow, u, v, lam, turn):
    """One step of the surface in a given flow."""
    gather(cells, flow)
    flow.u[:] = u
    flow.v[:] = v
    flow.w[:] = 0.0
    find_skin(cells, flow)
    advect(cells, flow, lam, 1, turn)


def slotted(n, fine=10):
    """Share of the slotted disk in each cell of an n x n field 4 wide: radius 0.5 at (2, 2.75), slot 0.12 wide and 0.6 deep from below."""
    x = (np.arange(n * fine) + 0.5) * 4.0 / (n * fine)
    x, y = np.meshgrid(x, x, indexing="ij")
    inside = ((x - 2.0) ** 2 + (y - 2.75) ** 2 < 0.25) & ~((np.abs(x - 2.0) < 0.06) & (y < 2.85))
    return inside.reshape(n, fine, n, fine).mean(axis=(1, 3))


@functools.cache
def turned(n):
    """Error sum |dF| / sum F after one turn on n x n cells at Courant number 0.25, share of the volume lost, least and most in a cell, steps."""
    kind = np.zeros((n + 4, n + 4, 5), np.uint8)
    kind[2:-2, 2:-2, 2:3] = CAVITY
    one = np.ones(kind.shape)
    filler = Filler(kind, one, (one, one, one), 4.0 / n, density=1.0, gravity=(0.0, 0.0, 0.0), knobs=PRESETS["fine"], fastest=1e9)
    share = np.zeros(kind.shape)
    share[2:-2, 2:-2, 2:3] = slotted(n)[:, :, None]
    filler.put(share, np.zeros(kind.shape))
    cells, flow = filler.cells, filler.run.flow
    ix, rest = np.divmod(cells.full, cells.sx)
    iy = rest // cells.sy
    h = 4.0 / n
    flow_u = -((iy - 2 + 0.5) * h - 2.0)  # of the low x face: -(y - 2)
    flow_v = (ix - 2 + 0.5) * h - 2.0
    speed_u, speed_v = np.where(cells.ax > 0.0, flow_u, 0.0), np.where(cells.ay > 0.0, flow_v, 0.0)
    steps = int(np.ceil(2.0 * np.pi * 2.0 / (0.25 * h)))
    lam = 2.0 * np.pi / steps / h
    before = flow.f[: cells.n].copy()
    for step in range(steps):
        carry(cells, flow, speed_u, speed_v, lam, step % 3)
    after = flow.f[: cells.n]
    error = np.abs(after - before).sum() / before.sum()
    drift = abs(after.sum() / before.sum() - 1.0)
    return error, drift, after.min(), after.max(), steps
