"""Heat that rides with the metal, goes through it, and into the sand; what it does to the metal's stiffness.

``theta`` is heat content over the liquid's heat capacity [K], so that latent heat counts as degrees; ``e`` = share of metal times theta.
Sand: a half space whose face is warmed since the metal came, behind the contact's resistance.
"""

# mypy: ignore-errors
from __future__ import annotations

import math

from numba import njit

from strickle.kernels.fill_cells import CAVITY, OPEN
from strickle.kernels.fill_state import BAND, HEAT_IN, HEAT_OUT, HEAT_WALL, LIQUID, WALK, WET

ROUNDS = 2
"""Passes, to and fro, for cells through which more flows in a step than they hold."""


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def at_heat(theta, table, low, width):
    """Value of an even table at a heat content."""
    place = (theta - low) / width
    last = table.shape[0] - 1
    if place <= 0.0:
        return table[0] + (table[1] - table[0]) * place
    k = int(place)
    if k >= last:
        return table[last] + (table[last] - table[last - 1]) * (place - last)
    return table[k] + (table[k + 1] - table[k]) * (place - k)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _outgoing(cells, s):
    """Heat content of what leaves each cell: its own, or, where more flows through than it holds, what comes in mixed with it."""
    band, e, old, vol, out, kind_of, unknown = s.band, s.e, s.old, cells.vol, s.out, s.kind_of, s.unknown
    xm, xp, ym, yp, zm, zp = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp
    tx, ty, tz = s.tx, s.ty, s.tz
    odd = 0
    for k in range(s.lists[BAND]):
        c = band[k]
        held = old[c]
        out[c] = e[c] / held if held > 0.0 else 0.0
        leaves = (
            max(-tx[c], 0.0) + max(tx[xp[c]], 0.0) + max(-ty[c], 0.0) + max(ty[yp[c]], 0.0) + max(-tz[c], 0.0) + max(tz[zp[c]], 0.0)
        )  # fmt: skip
        kind_of[c] = 0
        if leaves > held * vol[c]:
            kind_of[c] = 1
            unknown[odd] = c
            odd += 1
    for turn in range(2 * ROUNDS):
        for i in range(odd):
            c = unknown[i if turn % 2 == 0 else odd - 1 - i]
            a, b, d = max(tx[c], 0.0), max(ty[c], 0.0), max(tz[c], 0.0)
            p, q, r = max(-tx[xp[c]], 0.0), max(-ty[yp[c]], 0.0), max(-tz[zp[c]], 0.0)
            held = old[c] * vol[c] + a + b + d + p + q + r
            heat = (
                e[c] * vol[c] + a * out[xm[c]] + b * out[ym[c]] + d * out[zm[c]] + p * out[xp[c]] + q * out[yp[c]] + r * out[zp[c]]
            )  # fmt: skip
            if held > 0.0:
                out[c] = heat / held


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _rides(count, band, passed, lo, hi, out, old, vol, kind, kind_of, gain, tally):
    """Heat that rides through the faces of one direction with what passes; second order inside the metal."""
    for k in range(count):
        c = band[k]
        moved = passed[c]
        if moved == 0.0:
            continue
        a = lo[c]
        forward = moved > 0.0
        d = a if forward else c
        r = c if forward else a
        theta = out[d]
        if kind[d] == CAVITY and kind[r] == CAVITY:
            far = lo[a] if forward else hi[c]
            if kind_of[d] == 0 and old[d] > 0.9 and old[r] > 0.9 and old[far] > 0.9 and vol[far] > 0.0:
                rise, before = out[r] - theta, theta - out[far]
                both = rise * before
                if both > 0.0:
                    theta += (1.0 - min(abs(moved) / vol[d], 1.0)) * both / (rise + before)
            gain[a] -= moved * theta
            gain[c] += moved * theta
        else:
            heat = moved * theta
            if kind[a] == CAVITY:
                gain[a] -= heat
                tally[HEAT_OUT if kind[c] == OPEN else HEAT_IN] += heat if kind[c] == OPEN else -heat
            else:
                gain[c] += heat
                tally[HEAT_OUT if kind[a] == OPEN else HEAT_IN] += -heat if kind[a] == OPEN else heat


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def ride(cells, s, gain):
    """Heat carried over the step with what passed each face; ``gain`` is work of length ``m``."""
    band, e, f, vol, kind, out, old = s.band, s.e, s.f, cells.vol, cells.kind, s.out, s.old
    for k in range(cells.extra.shape[0]):
        c = cells.extra[k]
        old[c] = f[c]
        out[c] = e[c]
    for k in range(s.lists[WALK]):
        gain[band[k]] = 0.0
    _outgoing(cells, s)
    count = s.lists[WALK]
    _rides(count, band, s.tx, cells.xm, cells.xp, out, old, vol, kind, s.kind_of, gain, s.tally)
    _rides(count, band, s.ty, cells.ym, cells.yp, out, old, vol, kind, s.kind_of, gain, s.tally)
    _rides(count, band, s.tz, cells.zm, cells.zp, out, old, vol, kind, s.kind_of, gain, s.tally)
    for k in range(s.lists[BAND]):
        c = band[k]
        e[c] += gain[c] / vol[c]


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def spread(cells, s, gain, temperature, number):
    """Heat through the metal: ``number`` = diffusivity times step over cell squared, by temperature differences."""
    lists, xm, ax, kind, ym, ay, zm, az = s.lists, cells.xm, cells.ax, cells.kind, cells.ym, cells.ay, cells.zm, cells.az
    band, e, f, vol = s.band, s.e, s.f, cells.vol
    for k in range(lists[BAND]):
        gain[band[k]] = 0.0
    for k in range(lists[BAND]):
        c = band[k]
        if f[c] <= LIQUID:
            continue
        for axis in range(3):
            if axis == 0:
                a, opening = xm[c], ax[c]
            elif axis == 1:
                a, opening = ym[c], ay[c]
            else:
                a, opening = zm[c], az[c]
            if opening > 0.0 and kind[a] == CAVITY and f[a] > LIQUID:
                flow = number * opening * min(f[a], f[c]) * (temperature[a] - temperature[c])
                gain[c] += flow
                gain[a] -= flow
    for k in range(lists[BAND]):
        c = band[k]
        e[c] += gain[c] / vol[c]


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _fades(x):
    """exp(x^2) erfc(x), x >= 0: what passes a contact into a thick wall over what passed at first (Carslaw and Jaeger, Conduction of Heat in
    Solids, 1959, 2.7; from memory). Good to 2e-4: a fraction that goes on for large x, the common polynomial for small ones.
    """
    if x < 1.5:
        t = 1.0 / (1.0 + 0.3275911 * x)
        return t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    below = x
    for k in range(12, 0, -1):
        below = x + 0.5 * k / below
    return 0.5641895835477563 / below


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def cool(cells, s, area, temperature, loose, tables, sand, step, now, cell, stiff):
    """Temperature, share frozen and freedom to move of every metal cell; heat into the sand.

    ``area`` wall of each cell over cell squared; ``tables``: low, width [K], temperature and solid share by theta;
    ``sand``: of the wall beside each cell, contact conductance, effusivity, temperature; the metal's density x heat capacity;
    ``stiff``: drag constant [1/s], share frozen at which metal stands.
    """
    lists, solid, lost, tally, wet_since = s.lists, s.solid, s.lost, s.tally, s.wet_since
    band, e, f, vol = s.band, s.e, s.f, cells.vol
    low, width, hot, frozen = tables
    contact, soak, cold, holds = sand
    drag, stands = stiff
    for k in range(lists[BAND]):
        c = band[k]
        if f[c] <= WET:
            loose[c] = 1.0
            solid[c] = 0.0
            temperature[c] = cold[c]
            continue
        theta = e[c] / f[c]
        t = at_heat(theta, hot, low, width)
        if area[c] > 0.0:
            if math.isnan(wet_since[c]):
                wet_since[c] = now
            since = now - wet_since[c] + 0.5 * step
            through = contact[c] * _fades(contact[c] * math.sqrt(since) / soak[c])
            pull = step * through * area[c] / (holds * vol[c] * cell)
            slope = (at_heat(theta + 1.0, hot, low, width) - at_heat(theta - 1.0, hot, low, width)) * 0.5
            heat = pull * (t - cold[c]) / (1.0 + pull * slope)
            heat = min(heat, theta - low + 200.0)
            gone = heat * min(f[c], 1.0)
            e[c] -= gone
            lost[c] += gone * vol[c]
            tally[HEAT_WALL] += gone * vol[c]
            theta = e[c] / f[c]
            t = at_heat(theta, hot, low, width)
        temperature[c] = t
        share = min(max(at_heat(theta, frozen, low, width), 0.0), 1.0)
        solid[c] = share
        if share <= 0.0:
            loose[c] = 1.0
        else:
            free = 1.0 - share / stands
            if free <= 0.0:
                loose[c] = 1e-6
            else:
                loose[c] = max(1.0 / (1.0 + step * drag * share * share / (free * free * free)), 1e-6)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def slow(cells, s, loose, area, step, cell, friction):
    """Walls rub and mush drags: speeds before the pressure."""
    lists, u, xm, cu, v, w, ym, cv = s.lists, s.u, cells.xm, s.cu, s.v, s.w, cells.ym, s.cv
    zm, cw = cells.zm, s.cw
    band, vol, kind = s.band, cells.vol, cells.kind
    for k in range(lists[WALK]):
        c = band[k]
        for axis in range(3):
            if axis == 0:
                a, code, speed = xm[c], cu[c], u[c]
            elif axis == 1:
                a, code, speed = ym[c], cv[c], v[c]
            else:
                a, code, speed = zm[c], cw[c], w[c]
            if code == 0 or speed == 0.0:
                continue
            free = 1.0
            if kind[a] == CAVITY:
                free = min(free, loose[a])
            if kind[c] == CAVITY:
                free = min(free, loose[c])
            if friction > 0.0:
                wall, room = 0.0, 0.0
                if kind[a] == CAVITY:
                    wall += area[a]
                    room += vol[a]
                if kind[c] == CAVITY:
                    wall += area[c]
                    room += vol[c]
                if wall > 0.0 and room > 0.0:
                    free /= 1.0 + friction * wall / room * abs(speed) * step / cell
            if axis == 0:
                u[c] = speed * free
            elif axis == 1:
                v[c] = speed * free
            else:
                w[c] = speed * free


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def arrive(cells, s, begin, step, cell):
    """Note when metal reached each cell, its heat and its speed then."""
    lists, arrival, arrival_heat, arrival_speed, e, u, v, w = s.lists, s.arrival, s.arrival_heat, s.arrival_speed, s.e, s.u, s.v, s.w
    xp, yp, zp = cells.xp, cells.yp, cells.zp
    f, old, band = s.f, s.old, s.band
    for k in range(lists[BAND]):
        c = band[k]
        if f[c] >= LIQUID and math.isnan(arrival[c]):
            rise = f[c] - old[c]
            part = 1.0 if rise <= 0.0 else min(max((LIQUID - old[c]) / rise, 0.0), 1.0)
            arrival[c] = begin + part * step
            arrival_heat[c] = e[c] / f[c]
            x = max(abs(u[c]), abs(u[xp[c]]))
            y = max(abs(v[c]), abs(v[yp[c]]))
            z = max(abs(w[c]), abs(w[zp[c]]))
            arrival_speed[c] = math.sqrt(x * x + y * y + z * z)


@njit(cache=True, error_model="numpy")
def held_heat(cells, s):
    """Metal [cells] and its heat [K cells]."""
    n, f, vol, e = cells.n, s.f, cells.vol, s.e
    metal, heat = 0.0, 0.0
    for c in range(n):
        metal += f[c] * vol[c]
        heat += e[c] * vol[c]
    return metal, heat
