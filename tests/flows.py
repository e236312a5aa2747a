"""Tanks, pipes and slots for the checks of filling, and what every run must keep: metal, heat, and no cell more than full."""

from __future__ import annotations

import numpy as np

from strickle import Grid, LiquidData, fill, open_air
from strickle.base import Mesh

WATER = LiquidData(density=1000.0)
METAL = LiquidData(density=2385.0)
GRAVITY = 9.81  # of the sources, where they say


def box(x0, x1, y0, y1, z0, z1):
    """Corners and faces of a box."""
    return prism((x0, y0, z0), (x1, y0, z0), (x1, y1, z0), (x0, y1, z0), (x0, y0, z1), (x1, y0, z1), (x1, y1, z1), (x0, y1, z1))


def prism(*corners):
    """Four corners round the bottom, counter-clockwise from above, and four over them."""
    faces = [(0, 2, 1), (0, 3, 2), (4, 5, 6), (4, 6, 7)]
    for i in range(4):
        j = (i + 1) % 4
        faces += [(i, j, 4 + j), (i, 4 + j, 4 + i)]
    return np.array(corners, dtype=float), np.array(faces)


def taper(z0, wide0, z1, wide1):
    """An upright square funnel about the z axis."""
    rim = [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)]
    return prism(*((x * w, y * w, z) for z, w in ((z0, wide0), (z1, wide1)) for x, y in rim))


def mesh(*solids):
    """One mesh of several solids, which may overlap."""
    at, corners, faces = 0, [], []
    for vertices, triangles in solids:
        corners.append(vertices)
        faces.append(triangles + at)
        at += len(vertices)
    return Mesh(vertices=np.vstack(corners), faces=np.vstack(faces))


def grid(tags, cell, origin=(0.0, 0.0, 0.0)):
    return Grid(tags=np.asarray(tags).astype(np.uint8), cell=cell, origin=np.asarray(origin, dtype=float))


def level(shape, cells):
    """Share of metal of a bath ``cells`` cells deep, a number or one for each column (nx, ny)."""
    deep = np.broadcast_to(np.asarray(cells, dtype=float), shape[:2])
    return np.clip(deep[:, :, None] - np.arange(shape[2]), 0.0, 1.0)


def depth(told):
    """Metal in each column at the end, in cells (nx, ny)."""
    return np.nansum(told.share * told.room, axis=2)


def kept(told, volume=1e-6, heat=5e-3, most=1.01):
    """What every run must keep."""
    assert abs(told.metal_balance) < volume, f"metal {told.metal_balance:.2e}"
    assert abs(told.heat_balance) < heat, f"heat {told.heat_balance:.2e}"
    assert np.nanmax(told.share) < most, f"fullest cell {np.nanmax(told.share):.4f}"
    assert told.status in ("filled", "done", "stands"), told.status
    return told


COLUMN = 0.05715  # m, half of the height of Martin & Moyce's column


def dam(per, deep=4, **more):
    """Martin & Moyce's column, ``per`` cells wide and twice as high, in a channel; the run."""
    shape = (5 * per, deep, int(2.5 * per))
    begin = np.zeros(shape)
    begin[:per, :, : 2 * per] = 1.0
    ask = {"until": 0.17, "full": 2.0, **more}
    return fill(grid(np.ones(shape), COLUMN / per), {1: WATER}, ends={"z+": open_air()}, begin=begin, gravity=(0.0, 0.0, -GRAVITY), **ask)
