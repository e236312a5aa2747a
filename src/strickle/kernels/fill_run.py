"""The filling of a cavity, step by step."""

# mypy: ignore-errors
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from strickle.kernels.fill_cells import CAVITY, OPEN, POURED, PRESSED, Cells
from strickle.kernels.fill_faces import classify, extrapolate, gather
from strickle.kernels.fill_heat import arrive, cool, held_heat, ride, slow, spread
from strickle.kernels.fill_momentum import predict
from strickle.kernels.fill_press import Grids, grids
from strickle.kernels.fill_project import press, project
from strickle.kernels.fill_state import (
    BAND, CLIPPED, FAST, Flow, HEAT_IN, HEAT_OUT, HEAT_SPRAY, HEAT_WALL, INFLOW, OUTFLOW, SIDES_X, SKIN, SKIN_FAST, SOLVES, SPRAY, STEP, STEPS,
    TIME, UNKNOWN, WALK, WET, WORST, flow,
)  # fmt: skip
from strickle.kernels.fill_surface import advect, count_ends, dust, find_skin, spread_excess

GROWTH = 1.3
"""Most by which a step may exceed the last one."""
PART = 0.95
"""Most that may flow through a cell in one part of a step."""
SWEEP = 0.5
"""Most that may leave a cell in one part of the surface's step."""
DONE, TIMED, FILLED, STUCK, WILD = 0, 1, 2, 3, 4
"""Why the steps ended: so many done; the time reached; full; pressure not found; not a number."""


class Rule(NamedTuple):
    """What stays the same through a run."""

    cell: float
    skin_courant: float
    bulk_courant: float
    longest: float  # s
    tolerance: float
    fastest: float  # m/s, speeds above are cut and counted
    density: float
    gx: float
    gy: float
    gz: float
    friction: float
    is_warm: bool
    low: float  # heat tables
    width: float
    contact: float
    soak: float
    cold: float
    holds: float  # density x heat capacity
    diffuses: float  # m2/s
    drag: float
    stands: float


class Work(NamedTuple):
    """Arrays by cell that stay or are used up in a step."""

    area: np.ndarray
    loose: np.ndarray
    temperature: np.ndarray
    share: np.ndarray
    gain: np.ndarray
    hot: np.ndarray
    frozen: np.ndarray
    inlet_face: np.ndarray
    inlet_axis: np.ndarray
    inlet_speed: np.ndarray


@njit(cache=True)
def _speeds(cells, s):
    """Highest sum of speeds in a cell of the body and in one of the skin, and highest share of a skin cell that leaves per unit of step/cell."""
    lists, unknown, skin_of, az, ay, ax = s.lists, s.unknown, s.skin, cells.az, cells.ay, cells.ax
    f, u, v, w, vol = s.f, s.u, s.v, s.w, cells.vol
    xp, yp, zp = cells.xp, cells.yp, cells.zp
    body, skin, leaves = 0.0, 0.0, 0.0
    for k in range(lists[UNKNOWN]):
        c = unknown[k]
        body = max(body, max(abs(u[c]), abs(u[xp[c]])) + max(abs(v[c]), abs(v[yp[c]])) + max(abs(w[c]), abs(w[zp[c]])))
    for k in range(lists[SKIN]):
        c = skin_of[k]
        if f[c] <= WET:
            continue
        out = (
            max(ax[xp[c]] * u[xp[c]], 0.0) + max(-ax[c] * u[c], 0.0) + max(ay[yp[c]] * v[yp[c]], 0.0)
            + max(-ay[c] * v[c], 0.0) + max(az[zp[c]] * w[zp[c]], 0.0) + max(-az[c] * w[c], 0.0)
        )  # fmt: skip
        leaves = max(leaves, out / vol[c])
        if f[c] > 0.5:
            out = max(abs(u[c]), abs(u[xp[c]])) + max(abs(v[c]), abs(v[yp[c]])) + max(abs(w[c]), abs(w[zp[c]]))
        skin = max(skin, out)
    return body, skin, leaves


@njit(cache=True)
def _prescribe(s, faces, axes, speeds):
    u, v, w = s.u, s.v, s.w
    for k in range(faces.shape[0]):
        if axes[k] == 0:
            u[faces[k]] = speeds[k]
        elif axes[k] == 1:
            v[faces[k]] = speeds[k]
        else:
            w[faces[k]] = speeds[k]


@njit(cache=True)
def _gas(cells, s, scale):
    """Pressure of air and of given ends as a speed."""
    lists, band, q, gas, liquid = s.lists, s.band, s.q, s.gas, s.liquid
    kind = cells.kind
    for k in range(lists[WALK]):
        c = band[k]
        if kind[c] == PRESSED or kind[c] == OPEN or (kind[c] == CAVITY and liquid[c] == 0):
            q[c] = gas[c] * scale


@njit(cache=True)
def start(cells, s, w):
    """Lists and speeds of a state just put in."""
    gather(cells, s)
    classify(cells, s)
    _prescribe(s, w.inlet_face, w.inlet_axis, w.inlet_speed)
    extrapolate(cells, s)


@njit(cache=True)
def steps(cells, s, g, w, rule, until, most, full):
    """Step until ``until`` [s], at most ``most`` steps, or until the share ``full`` of the cavity is metal; returns why it ended."""
    gravity = (rule.gx, rule.gy, rule.gz)
    weight = math.sqrt(rule.gx * rule.gx + rule.gy * rule.gy + rule.gz * rule.gz)
    room = 0.0
    for c in range(cells.n):
        room += cells.vol[c]
    metal = 0.0
    for c in range(cells.n):
        metal += s.f[c] * cells.vol[c]
    metal -= s.tally[INFLOW] - s.tally[OUTFLOW] - s.tally[SPRAY]
    for _ in range(most):
        if s.tally[TIME] >= until:
            return TIMED
        find_skin(cells, s)
        body, skin, leaves = _speeds(cells, s)
        s.tally[FAST], s.tally[SKIN_FAST] = body, skin
        step = min(rule.longest, math.sqrt(0.25 * rule.cell / max(weight, 1e-9)))
        if body > 0.0:
            step = min(step, rule.bulk_courant * rule.cell / body)
        if skin > 0.0:
            step = min(step, rule.skin_courant * rule.cell / skin)
        last = s.tally[STEP]
        if last > 0.0:
            step = min(step, GROWTH * last)
        past = step / last if last > 0.0 else 0.0
        lam = step / rule.cell
        parts = max(int(math.ceil(leaves * lam / SWEEP)), 1)
        times = max(int(math.ceil(max(body, skin) * lam / PART)), 1)
        advect(cells, s, lam, parts, int(s.tally[STEPS]) % 3)
        spread_excess(cells, s)
        dust(cells, s)
        count_ends(cells, s)
        begin = s.tally[TIME]
        s.tally[TIME] = begin + step
        if rule.is_warm:
            ride(cells, s, w.gain)
            cool(
                cells, s, w.area, w.temperature, w.loose, (rule.low, rule.width, w.hot, w.frozen),
                (rule.contact, rule.soak, rule.cold, rule.holds), step, begin, rule.cell, (rule.drag, rule.stands),
            )  # fmt: skip
            spread(cells, s, w.share, w.gain, w.temperature, rule.diffuses * step / (rule.cell * rule.cell))
        arrive(cells, s, begin, step, rule.cell)
        predict(cells, s, step, rule.cell, gravity, times, past)
        gather(cells, s)
        classify(cells, s)
        slow(cells, s, w.loose, w.area, step, rule.cell, rule.friction)
        _prescribe(s, w.inlet_face, w.inlet_axis, w.inlet_speed)
        _gas(cells, s, lam / rule.density)
        found = press(cells, s, g, w.loose, lam, past, rule.tolerance)
        s.tally[SOLVES] += abs(found)
        s.tally[STEPS] += 1.0
        s.tally[STEP] = step
        if found < 0:
            return STUCK
        project(cells, s, w.loose, rule.fastest)
        extrapolate(cells, s)
        if not math.isfinite(s.tally[WORST]) or not math.isfinite(body):
            return WILD
        if metal + s.tally[INFLOW] - s.tally[OUTFLOW] - s.tally[SPRAY] >= full * room:
            return FILLED
    return DONE


class Run:
    """A cavity being filled."""

    def __init__(
        self, cells: Cells, cell: float, *, gravity=(0.0, 0.0, -9.81), density=2385.0, tolerance=1e-3, skin_courant=0.9, bulk_courant=1.8,
        longest=0.05, fastest=1e9, friction=0.0, heat=None, area=None, inlets=None, inlet_heat=0.0,
    ) -> None:  # fmt: skip
        self.cells, self.cell = cells, cell
        self.flow: Flow = flow(cells, inlet_heat)
        self.grids: Grids = grids(cells)
        m = cells.m
        none = np.zeros(2)
        if heat is None:
            heat = dict(low=0.0, width=1.0, hot=none, frozen=none, contact=1.0, soak=1.0, cold=0.0, holds=1.0, diffuses=0.0, drag=0.0, stands=1.0)
            is_warm = False
        else:
            is_warm = True
        faces, axes, speeds = inlets if inlets is not None else (np.zeros(0, np.int32), np.zeros(0, np.int64), np.zeros(0))
        self.rule = Rule(
            cell, skin_courant, bulk_courant, longest, tolerance, fastest, density, *gravity, friction, is_warm, heat["low"], heat["width"],
            heat["contact"], heat["soak"], heat["cold"], heat["holds"], heat["diffuses"], heat["drag"], heat["stands"],
        )  # fmt: skip
        self.work = Work(
            np.zeros(m) if area is None else area, np.ones(m), np.full(m, heat["cold"]), np.zeros(m), np.zeros(m), heat["hot"], heat["frozen"],
            faces.astype(np.int32), axes.astype(np.int64), speeds.astype(np.float64),
        )  # fmt: skip
        self.began = np.zeros(2)

    def put(self, share: np.ndarray, theta: float) -> None:
        """Put metal in, share (nx, ny, nz) of each cell, with the heat content ``theta``."""
        at = share.ravel()[self.cells.full[: self.cells.n]]
        self.flow.f[: self.cells.n] = at
        self.flow.e[: self.cells.n] = at * theta
        arrived = at > 0.5
        self.flow.arrival[: self.cells.n][arrived] = 0.0
        self.began = np.array(held_heat(self.cells, self.flow))
        start(self.cells, self.flow, self.work)

    def advance(self, until: float, most: int = 1_000_000, full: float = 2.0) -> int:
        return int(steps(self.cells, self.flow, self.grids, self.work, self.rule, until, most, full))

    @property
    def time(self) -> float:
        return float(self.flow.tally[TIME])

    @property
    def steps(self) -> int:
        return int(self.flow.tally[STEPS])

    @property
    def iterations(self) -> int:
        return int(self.flow.tally[SOLVES])

    @property
    def clipped(self) -> int:
        return int(self.flow.tally[CLIPPED])

    def balance(self) -> tuple[float, float]:
        """Metal and heat that cannot be accounted for, as shares of what came in."""
        metal, heat = held_heat(self.cells, self.flow)
        t = self.flow.tally
        came = self.began[0] + t[INFLOW]
        warm = self.began[1] + t[HEAT_IN]
        lost = metal + t[SPRAY] + t[OUTFLOW] - came
        cooled = heat + t[HEAT_SPRAY] + t[HEAT_OUT] + t[HEAT_WALL] - warm
        return lost / came if came else 0.0, cooled / warm if warm else 0.0

    def box(self, values: np.ndarray, empty: float = 0.0) -> np.ndarray:
        """A field by cell back in the box."""
        out = np.full(self.cells.numbers.size, empty)
        out[self.cells.full[: self.cells.n]] = values[: self.cells.n]
        return out
