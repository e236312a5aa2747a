"""Metal at the mouths of the cavity: what is poured in, how far the basin presses it, how fast it comes."""

# mypy: ignore-errors
from __future__ import annotations

import math

from numba import njit

from strickle.kernels.fill_cells import CAVITY, OPEN, POURED, PRESSED
from strickle.kernels.fill_state import IS_PRESSED


@njit(cache=True)
def fastest_mouth(cells, s):
    """Highest speed at a mouth, behind which there may be no metal yet."""
    kind, extra = cells.kind, cells.extra
    most = 0.0
    for k in range(extra.shape[0]):
        c = extra[k]
        if kind[c] >= PRESSED:
            x, y, z = cells.xp[c], cells.yp[c], cells.zp[c]
            for speed, opening in (
                (s.u[c], cells.ax[c]), (s.u[x], cells.ax[x]), (s.v[c], cells.ay[c]), (s.v[y], cells.ay[y]), (s.w[c], cells.az[c]),
                (s.w[z], cells.az[z]),
            ):  # fmt: skip
                if opening > 0.0:
                    most = max(most, abs(speed))
    return most


@njit(cache=True)
def comes_in(cells, s):
    """Metal that comes in at all mouths, less what leaves, as a speed times cells' open faces; nothing where the cavity is open to the air, or
    most of it leaves at another mouth: what the cavity cannot hold gets out there.
    """
    kind, extra, f = cells.kind, cells.extra, s.f
    comes, leaves = 0.0, 0.0
    for k in range(extra.shape[0]):
        c = extra[k]
        if kind[c] < OPEN:
            continue
        x, y, z = cells.xp[c], cells.yp[c], cells.zp[c]
        for beside, opening, out in (
            (cells.xm[c], cells.ax[c], s.u[c]), (x, cells.ax[x], -s.u[x]), (cells.ym[c], cells.ay[c], s.v[c]), (y, cells.ay[y], -s.v[y]),
            (cells.zm[c], cells.az[c], s.w[c]), (z, cells.az[z], -s.w[z]),
        ):  # fmt: skip
            if kind[beside] == CAVITY and opening > 0.0:
                if kind[c] == OPEN:
                    return 0.0
                if out > 0.0:
                    leaves += opening * out * min(f[beside], 1.0)
                else:
                    comes -= opening * out
    return comes - leaves if leaves < 0.5 * comes else 0.0


@njit(cache=True)
def pushed(cells, s, rule):
    """Most that a mouth held at a pressure may push the first metal [m/s2]."""
    most = 0.0
    for k in range(cells.extra.shape[0]):
        c = cells.extra[k]
        if cells.kind[c] == PRESSED:
            most = max(most, abs(s.gas[c]))
    return most / (0.5 * rule.cell * rule.density)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def prescribe(s, faces, axes, signs, speeds, flow):
    for k in range(faces.shape[0]):
        speed = flow * speeds[k] * signs[k]
        if axes[k] == 0:
            s.u[faces[k]] = speed
        elif axes[k] == 1:
            s.v[faces[k]] = speed
        else:
            s.w[faces[k]] = speed


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def level(times, values, now):
    """Value of the last moment passed."""
    out = 0.0
    for k in range(times.shape[0]):
        if times[k] <= now:
            out = values[k]
    return out


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def between(times, values, now):
    """Value straight between moments, level outside."""
    last = times.shape[0] - 1
    if now <= times[0]:
        return values[0]
    for k in range(last):
        if now < times[k + 1]:
            return values[k] + (values[k + 1] - values[k]) * (now - times[k]) / (times[k + 1] - times[k])
    return values[last]


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def hold_or_pour(cells, s, w, rule, flow, scale):
    """Pour what is asked while the metal at the inlet presses less than the limit, else hold it at the limit while less than that flows in."""
    faces, cell_of, axes, signs = w.inlet_face, w.inlet_cell, w.inlet_axis, w.inlet_sign
    kind = cells.kind
    count = faces.shape[0]
    if count == 0:
        return
    was = s.tally[IS_PRESSED] > 0.0
    now = was
    if was:
        flows = 0.0
        for k in range(count):
            c = faces[k]
            if axes[k] == 0:
                flows += cells.ax[c] * s.u[c] * signs[k]
            elif axes[k] == 1:
                flows += cells.ay[c] * s.v[c] * signs[k]
            else:
                flows += cells.az[c] * s.w[c] * signs[k]
        now = flows * rule.cell * rule.cell <= flow
    else:
        presses, room = 0.0, 0
        for k in range(count):
            c = (
                faces[k]
                if kind[faces[k]] == CAVITY
                else (cells.xm[faces[k]] if axes[k] == 0 else (cells.ym[faces[k]] if axes[k] == 1 else cells.zm[faces[k]]))
            )
            presses += s.q[c]
            room += 1
        now = presses > rule.limit * scale * room and math.isfinite(rule.limit)
    if now != was:
        s.tally[IS_PRESSED] = 1.0 if now else 0.0
        for k in range(count):
            kind[cell_of[k]] = PRESSED if now else POURED
            s.gas[cell_of[k]] = rule.limit if now else 0.0


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def comes(cells, s, c):
    """Highest speed of metal that comes in through a mouth's cell."""
    kind, x, y, z = cells.kind, cells.xp[c], cells.yp[c], cells.zp[c]
    most = 0.0
    if kind[x] == CAVITY:
        most = max(most, s.u[x])
    if kind[y] == CAVITY:
        most = max(most, s.v[y])
    if kind[z] == CAVITY:
        most = max(most, s.w[z])
    if kind[cells.xm[c]] == CAVITY:
        most = max(most, -s.u[c])
    if kind[cells.ym[c]] == CAVITY:
        most = max(most, -s.v[c])
    if kind[cells.zm[c]] == CAVITY:
        most = max(most, -s.w[c])
    return most
