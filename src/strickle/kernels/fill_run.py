"""The filling of a cavity, step by step."""

# mypy: ignore-errors
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from strickle.kernels.fill_cells import CAVITY, OPEN, PRESSED, Cells
from strickle.kernels.fill_faces import classify, extrapolate, gather
from strickle.kernels.fill_front import block, breathe, catch, release
from strickle.kernels.fill_heat import arrive, cool, held_heat, ride, slow, spread
from strickle.kernels.fill_momentum import predict
from strickle.kernels.fill_mouths import between, comes, comes_in, fastest_mouth, hold_or_pour, level, prescribe, pushed
from strickle.kernels.fill_press import Grids, grids
from strickle.kernels.fill_project import press, project, undo
from strickle.kernels.fill_state import (
    FAST,
    HARDEST,
    HEAT_IN,
    HEAT_OUT,
    HEAT_SPRAY,
    HEAT_WALL,
    INFLOW,
    IS_PRESSED,
    LIQUID,
    OUTFLOW,
    SAVED,
    SKIN,
    SKIN_FAST,
    SOLVES,
    SPRAY,
    STEP,
    STEPS,
    TIME,
    UNKNOWN,
    WALK,
    WET,
    WORST,
    Flow,
    flow,
)  # fmt: skip
from strickle.kernels.fill_surface import advect, count_ends, dust, find_skin, spread_excess

GROWTH = 1.3
"""Most by which a step may exceed the last one."""
PART = 0.95
"""Most that may flow through a cell in one part of a step."""
SWEEP = 0.5
"""Most that may leave a cell in one part of the surface's step."""
FORGIVEN = 4
"""Steps in a row whose pressure may miss its mark; what is left over is made good in the next."""
LOOK = 1
"""Steps between looks at the air."""
LEAST_LEFT = 1e-4
"""Room, in cells, that may always come in during a step, so that a full cavity's steps do not vanish."""
CATCHES = 2
"""Most solves of a step in which the skin turns out to hold the front."""
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
    presses: float  # Pa, the most that the mouths and the cavity's height give
    density: float
    gx: float
    gy: float
    gz: float
    friction: float
    is_warm: bool
    low: float  # heat tables
    width: float
    holds: float  # density x heat capacity
    diffuses: float  # m2/s
    drag: float
    stands: float
    limit: float  # Pa, most that the metal at the inlet may press, infinite none
    is_skinned: bool
    is_airy: bool
    air: float  # Pa
    air_density: float


class Work(NamedTuple):
    """Arrays by cell that stay or are used up in a step, and the inlet."""

    area: np.ndarray
    contact: np.ndarray  # W/(m2 K), of the wall beside the cell
    soak: np.ndarray  # its effusivity
    cold: np.ndarray  # its temperature, K
    hold: np.ndarray  # Pa, against entering the cell
    leak: np.ndarray  # 1/(s Pa), air through the sand
    bore: np.ndarray  # 1/m, vents
    loose: np.ndarray
    temperature: np.ndarray
    gain: np.ndarray
    before: np.ndarray
    hot: np.ndarray
    frozen: np.ndarray
    inlet_face: np.ndarray
    inlet_axis: np.ndarray
    inlet_sign: np.ndarray  # +1 where metal comes in along the axis
    inlet_cell: np.ndarray  # the boundary cell beyond each face
    inlet_speed: np.ndarray  # of each face for a flow of 1 m3/s
    inlet_time: np.ndarray  # s, where the flow changes
    inlet_flow: np.ndarray  # m3/s from there on
    inlet_heat: np.ndarray  # K, heat content at the same moments, straight between


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _speeds(cells, s):
    """Highest sum of speeds in a cell of the body and in one of the skin; highest share of a skin cell that leaves, and highest share of the room
    of an air cell with metal all round that comes in, per unit of step/cell.
    """
    lists, unknown, skin_of, az, ay, ax = s.lists, s.unknown, s.skin, cells.az, cells.ay, cells.ax
    f, u, v, w, vol = s.f, s.u, s.v, s.w, cells.vol
    xp, yp, zp = cells.xp, cells.yp, cells.zp
    body, skin, leaves, fills = 0.0, 0.0, 0.0, 0.0
    for k in range(lists[UNKNOWN]):
        c = unknown[k]
        body = max(body, max(abs(u[c]), abs(u[xp[c]])) + max(abs(v[c]), abs(v[yp[c]])) + max(abs(w[c]), abs(w[zp[c]])))
    for k in range(lists[SKIN]):
        c = skin_of[k]
        if f[c] <= LIQUID and _is_last(cells, s, c):
            comes = ax[c] * u[c] - ax[xp[c]] * u[xp[c]] + ay[c] * v[c] - ay[yp[c]] * v[yp[c]] + az[c] * w[c] - az[zp[c]] * w[zp[c]]
            fills = max(fills, comes / ((1.0 - f[c]) * vol[c]))
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
    return body, max(skin, fastest_mouth(cells, s)), leaves, fills


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _is_last(cells, s, c):
    """Whether an air cell has metal or wall all round, so that what it cannot hold has nowhere to go."""
    kind, liquid = cells.kind, s.liquid
    x, y, z = cells.xp[c], cells.yp[c], cells.zp[c]
    for a, opening in (
        (cells.xm[c], cells.ax[c]), (x, cells.ax[x]), (cells.ym[c], cells.ay[c]), (y, cells.ay[y]), (cells.zm[c], cells.az[c]), (z, cells.az[z]),
    ):  # fmt: skip
        if opening > 0.0 and (kind[a] == OPEN or (kind[a] == CAVITY and liquid[a] == 0)):
            return False
    return True


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _gas(cells, s, hold, scale, lam):
    """Pressure of air, with what the metal's skin adds to it, and of given ends, as a speed; metal held at a pressure stands still before it
    comes in, so its speed is taken off.
    """
    lists, band, q, gas, liquid = s.lists, s.band, s.q, s.gas, s.liquid
    kind = cells.kind
    for k in range(lists[WALK]):
        c = band[k]
        if kind[c] == PRESSED:
            speed = comes(cells, s, c)
            q[c] = gas[c] * scale - 0.5 * speed * speed * lam
        elif kind[c] == OPEN:
            q[c] = gas[c] * scale
        elif kind[c] == CAVITY and liquid[c] == 0:
            q[c] = (gas[c] + hold[c]) * scale


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _pressed(cells, s, g, w, rule, lam, past, scale, slack):
    """Find the pressure and take it off the speeds; where that shows that the skin holds the front, again with the front held. Returns what
    the last solve did.
    """
    found = 0
    for turn in range(CATCHES):
        _gas(cells, s, w.hold, scale, lam)
        found = press(cells, s, g, w.loose, lam, past if turn == 0 else 1.0, rule.tolerance, scale, rule.presses * scale)
        s.tally[SOLVES] += abs(found)
        s.tally[HARDEST] = max(s.tally[HARDEST], abs(found))
        project(cells, s, w.loose, rule.fastest, lam, slack)
        if not rule.is_skinned or catch(cells, s, w.hold) == 0 or turn == CATCHES - 1:
            break
        undo(s)
        block(cells, s)
    return found


@njit(cache=True, error_model="numpy")
def start(cells, s, w):
    """Lists and speeds of a state just put in."""
    gather(cells, s)
    classify(cells, s)
    if s.tally[IS_PRESSED] == 0.0:
        prescribe(s, w.inlet_face, w.inlet_axis, w.inlet_sign, w.inlet_speed, level(w.inlet_time, w.inlet_flow, s.tally[TIME]))
    extrapolate(cells, s)


@njit(cache=True, error_model="numpy")
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
    missed = 0
    for _ in range(most):
        if s.tally[TIME] >= until:
            return TIMED
        find_skin(cells, s)
        body, skin, leaves, fills = _speeds(cells, s)
        s.tally[FAST], s.tally[SKIN_FAST] = body, skin
        step = min(rule.longest, math.sqrt(0.25 * rule.cell / max(weight, 1e-9)))
        if body > 0.0:
            step = min(step, rule.bulk_courant * rule.cell / body)
        if skin > 0.0:
            step = min(step, rule.skin_courant * rule.cell / skin)
        if fills > 0.0:
            step = min(step, rule.cell / fills)
        net = comes_in(cells, s)
        if net > 0.0:
            left = room - metal - (s.tally[INFLOW] - s.tally[OUTFLOW] - s.tally[SPRAY])
            step = min(step, max(left, LEAST_LEFT) * rule.cell / net)
        last = s.tally[STEP]
        if last > 0.0:
            step = min(step, GROWTH * last)
        else:
            step = min(step, math.sqrt(0.25 * rule.cell / max(weight + pushed(cells, s, rule), 1e-9)))
        past = step / last if last > 0.0 else 0.0
        lam = step / rule.cell
        parts = max(math.ceil(leaves * lam / SWEEP), 1)
        times = max(math.ceil(max(body, skin) * lam / PART), 1)
        advect(cells, s, lam, parts, int(s.tally[STEPS]) % 3)
        spread_excess(cells, s)
        dust(cells, s)
        count_ends(cells, s)
        begin = s.tally[TIME]
        s.tally[TIME] = begin + step
        flow = level(w.inlet_time, w.inlet_flow, begin + step)
        if rule.is_warm and w.inlet_time.shape[0] > 0:
            heat = between(w.inlet_time, w.inlet_heat, begin)
            for k in range(w.inlet_cell.shape[0]):
                s.e[w.inlet_cell[k]] = heat
        if rule.is_warm:
            ride(cells, s, w.gain)
            cool(
                cells, s, w.area, w.temperature, w.loose, (rule.low, rule.width, w.hot, w.frozen),
                (w.contact, w.soak, w.cold, rule.holds), step, begin, rule.cell, (rule.drag, rule.stands),
            )  # fmt: skip
            spread(cells, s, w.gain, w.temperature, rule.diffuses * step / (rule.cell * rule.cell))
        arrive(cells, s, begin, step, rule.cell)
        predict(cells, s, step, rule.cell, gravity, times, past)
        gather(cells, s)
        classify(cells, s)
        slow(cells, s, w.loose, w.area, step, rule.cell, rule.friction)
        if s.tally[IS_PRESSED] == 0.0:
            prescribe(s, w.inlet_face, w.inlet_axis, w.inlet_sign, w.inlet_speed, flow)
        scale = lam / rule.density
        if rule.is_airy and int(s.tally[STEPS]) % LOOK == 0:
            breathe(cells, s, w.before, w.leak, w.bore, rule.air, rule.air_density)
        if rule.is_skinned:
            release(cells, s, w.hold, last / rule.cell / rule.density)
            block(cells, s)
        found = _pressed(cells, s, g, w, rule, lam, past, scale, 2.0 * weight * rule.cell)
        s.tally[STEPS] += 1.0
        s.tally[STEP] = step
        missed = missed + 1 if found < 0 else 0
        if missed > FORGIVEN:
            return STUCK
        hold_or_pour(cells, s, w, rule, flow, scale)
        extrapolate(cells, s)
        if not math.isfinite(s.tally[WORST]) or not math.isfinite(body):
            return WILD
        if metal + s.tally[INFLOW] - s.tally[OUTFLOW] - s.tally[SPRAY] >= full * room:
            return FILLED
    return DONE


class Run:
    """A cavity being filled."""

    def __init__(self, cells: Cells, rule: Rule, work: Work, heat: float = 0.0) -> None:
        self.cells, self.rule, self.work = cells, rule, work
        self.flow: Flow = flow(cells, heat)
        self.grids: Grids = grids(cells)
        self.began = np.zeros(2)

    def put(self, share: np.ndarray, theta: np.ndarray) -> None:
        """Put metal in: share (nx, ny, nz) of each cell with the heat content ``theta`` [K] (nx, ny, nz)."""
        at = self.cells.full[: self.cells.n]
        metal = share.ravel()[at]
        self.flow.f[: self.cells.n] = metal
        self.flow.e[: self.cells.n] = metal * theta.ravel()[at]
        self.flow.arrival[: self.cells.n][metal > LIQUID] = 0.0
        self.flow.arrival_heat[: self.cells.n][metal > LIQUID] = theta.ravel()[at][metal > LIQUID]
        self.flow.arrival_speed[: self.cells.n][metal > LIQUID] = 0.0
        self.began = np.array(held_heat(self.cells, self.flow))
        start(self.cells, self.flow, self.work)

    def advance(self, until: float, most: int = 1_000_000, full: float = 2.0) -> int:
        """Step on; returns DONE .. WILD."""
        return int(steps(self.cells, self.flow, self.grids, self.work, self.rule, until, most, full))

    def saved(self) -> dict[str, np.ndarray]:
        """What a later run needs to go on."""
        return {"began": self.began.copy(), **{name: getattr(self.flow, name).copy() for name in SAVED}}

    def restore(self, kept: dict[str, np.ndarray]) -> None:
        """Go on from what was saved of a run of the same cavity. Raises ValueError or KeyError for what is not of its shape."""
        for name in SAVED:
            mine, other = getattr(self.flow, name), kept[name]
            if mine.shape != other.shape or mine.dtype != other.dtype:
                raise ValueError(f"{name} is not of this cavity")
        if kept["began"].shape != self.began.shape:
            raise ValueError("what it began with is no pair")
        self.began = np.array(kept["began"], dtype=float)
        for name in SAVED:
            getattr(self.flow, name)[:] = kept[name]
        self.flow.mark[:] = 0  # the metal is looked for everywhere
        self.flow.lists[:] = 0
        for codes in (self.flow.cu, self.flow.cv, self.flow.cw):
            codes[:] = 0
        inlet = self.work.inlet_cell
        self.cells.kind[inlet] = PRESSED if self.flow.tally[IS_PRESSED] > 0.0 else self.cells.kind[inlet]
        start(self.cells, self.flow, self.work)

    def balance(self) -> tuple[float, float]:
        """Metal and heat that cannot be accounted for, as shares of what came in."""
        metal, heat = held_heat(self.cells, self.flow)
        t = self.flow.tally
        came = self.began[0] + t[INFLOW]
        warm = self.began[1] + t[HEAT_IN]
        lost = metal + t[SPRAY] + t[OUTFLOW] - came
        cooled = heat + t[HEAT_SPRAY] + t[HEAT_OUT] + t[HEAT_WALL] - warm
        return (float(lost / came) if came else 0.0), (float(cooled / warm) if warm else 0.0)

    def box(self, values: np.ndarray, shape: tuple[int, int, int], empty: float = np.nan) -> np.ndarray:
        """A field by cell back in the box (nx, ny, nz)."""
        out = np.full(self.cells.numbers.size, empty)
        out[self.cells.full[: self.cells.n]] = values[: self.cells.n]
        return out.reshape(shape)
