"""Tanks, pipes and slots for the checks of filling, and what every run must keep: metal, heat, and no cell more than full."""

from __future__ import annotations

import functools
import sys

import numpy as np
from scipy.optimize import curve_fit

from strickle import Grid, LiquidData, fill, held, open_air, poured
from strickle.base import Mesh


def say(line):
    """A score, shown by pytest -rP."""
    sys.stdout.write(line + "\n")


WATER = LiquidData(density=1000.0)
METAL = LiquidData(density=2385.0)
GRAVITY = 9.81  # of the sources, where they say
DOWN = (0.0, 0.0, -GRAVITY)


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


# Martin & Moyce, An experimental study of the collapse of liquid columns on a rigid horizontal plane, Phil. Trans. R. Soc. A 244 (1952)
# 312-324, column twice as high as wide, as digitised in two open flow-solver repositories: T = t sqrt(2 g / a), Z = x / a.
T = np.array([0.41, 0.84, 1.19, 1.43, 1.63, 1.82, 1.97, 2.20, 2.32, 2.50, 2.64, 2.82, 2.96])
Z = np.array([1.11, 1.23, 1.44, 1.67, 1.89, 2.11, 2.33, 2.56, 2.78, 3.00, 3.22, 3.44, 3.67])
COLUMN = 0.05715  # m, half of the height of Martin & Moyce's column


def dam(per, deep=4, **more):
    """Martin & Moyce's column, ``per`` cells wide and twice as high, in a channel; the run."""
    shape = (5 * per, deep, int(2.5 * per))
    begin = np.zeros(shape)
    begin[:per, :, : 2 * per] = 1.0
    ask = {"until": 0.17, "full": 2.0, **more}
    return fill(grid(np.ones(shape), COLUMN / per), {1: WATER}, ends={"z+": open_air()}, begin=begin, gravity=(0.0, 0.0, -GRAVITY), **ask)


def shift(told, per, times, places):
    """Mean error [a] and shift of T at which the front of ``dam`` fits best, the shift that brings Z = 1.44 to T = 1.19, and errors with it."""
    there = np.where(np.isnan(told.arrival), np.inf, told.arrival).min(axis=2).mean(axis=1)
    when, at = there * np.sqrt(2.0 * GRAVITY / COLUMN), (np.arange(len(there)) + 0.5) / per
    seen = (at > 1.0) & np.isfinite(when)
    when, at = when[seen], at[seen]
    best = min((float(np.abs(np.interp(times - d, when, at) - places).mean()), float(d)) for d in np.arange(-0.3, 0.6, 0.005))
    fixed = 1.19 - float(np.interp(1.44, at, when))
    early = times <= 2.83
    return best, fixed, np.interp(times - fixed, when, at)[early] - places[early], (when, at)


def pipe(across, quarter=False, cell=0.0025, head=0.1, until=0.3, **more):
    """A tank kept full to ``head`` over a square pipe, ``across`` cells wide and 2.5 times as long, in its floor; a quarter of it between two
    planes of symmetry if asked. The run, and the flow of a frictionless fall."""
    half = across // 2
    wide, low, inner = (4 * half, 0, half) if quarter else (4 * across, (4 * across - across) // 2, across)
    long, deep = 5 * half, 6 * half
    tags = np.full((wide, wide, long + deep), 9)
    tags[:, :, long:] = 1
    tags[low : low + inner, low : low + inner, :long] = 2
    begin = np.where(tags < 9, 1.0, 0.0)
    told = fill(
        grid(tags, cell), {1: WATER, 2: WATER}, ends={"z+": held(1000.0 * GRAVITY * (head - deep * cell)), "z-": open_air()}, begin=begin,
        full=2.0, until=until, gravity=(0.0, 0.0, -GRAVITY), **more,
    )  # fmt: skip
    return told, (inner * cell) ** 2 * np.sqrt(2.0 * GRAVITY * (head + long * cell))


def late(told):
    """Mean flow in over the second half of the run [m3/s]."""
    return (told.inflow[-1] - told.inflow[len(told.times) // 2]) / (told.times[-1] - told.times[len(told.times) // 2])


def thin_pipe(off, wide=0.00575, long=0.05, top=None, cell=0.0025, head=0.1, until=0.25):
    """The same from a true surface, 2.3 cells wide, ``off`` cells aside on the grid; ``top`` [m]: width of its upper end."""
    tank, deep = 0.04, 0.03
    below = box(-wide / 2, wide / 2, -wide / 2, wide / 2, -long, 0.0005) if top is None else taper(-long, wide, 0.0005, top)
    surface = mesh(box(-tank / 2, tank / 2, -tank / 2, tank / 2, 0.0, deep), below)
    n = (int(tank / cell) + 4, int(tank / cell) + 4, round((deep + long) / cell))
    told = fill(
        grid(np.ones(n), cell, (-n[0] * cell / 2 + off[0] * cell, -n[1] * cell / 2 + off[1] * cell, -long)), {1: WATER},
        ends={"z+": held(1000.0 * GRAVITY * (head - deep)), "z-": open_air()}, begin=np.ones(n), surface=surface, full=2.0, until=until,
        gravity=(0.0, 0.0, -GRAVITY),
    )  # fmt: skip
    return told, wide**2 * np.sqrt(2.0 * GRAVITY * (head + long))


def bore(froude, ratio, across=10, long=40):
    """A bore that runs into still water: the moving jump. Poured in over its whole height at one end. The run and the depth before it [cells]."""
    cell = 0.05 / across
    before = across / ratio
    tags = np.ones((long * across + 1, 2, 2 * across))
    tags[0] = 9
    tags[0, :, :across] = 5
    fast = froude * np.sqrt(GRAVITY * before * cell)
    begin = level(tags.shape, before)
    begin[0] = 0.0
    told = fill(
        grid(tags, cell), {1: WATER, 5: poured(fast * (1.0 - 1.0 / ratio) * across * cell * 2 * cell)}, ends={"z+": open_air()}, begin=begin,
        until=0.85 * long * across * cell / fast, full=2.0, gravity=(0.0, 0.0, -GRAVITY),
    )  # fmt: skip
    return told, before, fast


@functools.cache
def jump(froude, ratio, across):
    """Depth behind a bore over that before it."""
    told, before, _ = bore(froude, ratio, across)
    kept(told)
    profile = depth(told)[1:].mean(axis=1)
    front = int(np.argmax(profile < 0.5 * (1.0 + ratio) * before))
    assert front > 20 * across
    return profile[3 * across : front - 6 * across].mean() / before


def slot(head, tension, feed=None, until=0.4, deep=None, tall=12, **more):
    """A slot 3 mm high at the foot of a shaft 12 mm long, cells of 1 mm; metal in the shaft presses ``head`` [m] at the slot's middle, or is fed."""
    tags = np.full((12 + 30, 8, tall), 9)
    tags[:12], tags[12:, :, :3] = 1, 2
    if feed is not None:
        tags[0, :, :3] = 5
    begin = np.zeros(tags.shape)
    begin[:12] = level((12, 8, tall), tall if deep is None else deep)
    begin[tags == 5] = 0.0
    top = held(METAL.density * GRAVITY * (head + 0.0015 - tall * 1e-3)) if feed is None else open_air()
    return fill(
        grid(tags, 0.001), {1: METAL, 2: METAL, **({} if feed is None else {5: feed})}, ends={"z+": top, "x+": open_air()}, begin=begin,
        until=until, skin=tension, gravity=(0.0, 0.0, -GRAVITY), **more,
    )  # fmt: skip


def slot_share(told):
    return float((told.share * told.room)[12:, :, :3].mean())


@functools.cache
def swing(cell):
    """Period of the first sloshing of a tank 0.2 m long, 0.1 m deep, from the speeds in its middle at the floor."""
    nx = round(0.2 / cell)
    tags = np.ones((nx, 3, round(0.13 / cell)))
    tags[nx // 2 - 1 : nx // 2 + 1, :, : round(0.03 / cell)] = 2
    x = (np.arange(nx) + 0.5) * cell
    begin = level(tags.shape, ((0.1 + 0.002 * np.cos(np.pi * x / 0.2)) / cell)[:, None])
    told = fill(grid(tags, cell), {1: WATER, 2: WATER}, ends={"z+": open_air()}, begin=begin, until=3.0, full=2.0, gauges={"mid": 2}, gravity=DOWN)
    kept(told)

    def speed(t, most, turn, fade):
        return most * np.exp(-fade * t) * np.abs(np.sin(turn * t))

    fits = [curve_fit(speed, told.times, told.gauge_mean[0], p0=(0.02, 2 * np.pi / guess, 0.1))[0] for guess in np.linspace(0.5, 0.56, 13)]
    best = min(fits, key=lambda p: np.abs(speed(told.times, *p) - told.gauge_mean[0]).mean())
    return 2.0 * np.pi / best[1]
