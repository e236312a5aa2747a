"""Speeds of the faces carried along with the metal: what flows through a face's surroundings brings its own speed.

Momentum in flux form, each flux reckoned once and given to the two faces it lies between: three through cell middles, six over cell edges.
The carried speed is the upwind one, mended to second order where the speeds run smooth (van Leer's limiter).
"""

# mypy: ignore-errors
from __future__ import annotations

from numba import njit

from strickle.kernels.fill_cells import CAVITY
from strickle.kernels.fill_state import NONE, WALK

CORNER = 0.5
"""Where metal turns round a sharp corner, the share of the passing speed that it brings along.
Chosen so that a short square pipe passes what a short tube does: decision 6."""
HOLDS = 0.9
"""Most of a face's metal that may pass in a part of a step."""
QUICK = 0.7
"""Share of a cell that flows through it in a step from which its faces are stepped in parts."""


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _carried(flux, low, high, low2, high2, lam):
    """Speed that a flux brings: ``low``, ``high`` on its two sides, ``low2``, ``high2`` one farther."""
    forward = flux > 0.0
    up = low if forward else high
    rise = (high if forward else low) - up
    before = up - (low2 if forward else high2)
    both = rise * before
    is_smooth = both > 0.0
    return up + (1.0 - min(abs(flux) * lam, 1.0)) * (both if is_smooth else 0.0) / (rise + before if is_smooth else 1.0)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _along(count, band, kind, speeds, flows, gain, lo, hi, lam):
    """Fluxes through the middles of cells: the speed along its own axis; ``flows`` is opening times speed."""
    for k in range(count):
        c = band[k]
        if kind[c] != CAVITY:
            continue
        p = hi[c]
        flux = 0.5 * (flows[c] + flows[p])
        value = _carried(flux, speeds[c], speeds[p], speeds[lo[c]], speeds[hi[p]], lam)
        gain[c] += flux * (value - speeds[c])
        gain[p] -= flux * (value - speeds[p])


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _across(count, band, kind, vol, lo1, hi1, lo2, hi2, open1, open2, speeds1, speeds2, flows1, flows2, gain1, gain2, lam):
    """Fluxes over the edges between two axes: the speeds of either carried by the other."""
    for k in range(count):
        c = band[k]
        a, b = lo1[c], lo2[c]
        flux2 = 0.5 * (flows2[c] + flows2[a])
        flux1 = 0.5 * (flows1[c] + flows1[b])
        upper1, lower1 = open1[c] > 0.0, open1[b] > 0.0
        upper2, lower2 = open2[c] > 0.0, open2[a] > 0.0
        mine1, mine2 = speeds1[c], speeds2[c]
        under1, under2 = speeds1[b], speeds2[a]
        if upper1 and lower1:
            value = _carried(flux2, under1, mine1, speeds1[lo2[b]], speeds1[hi2[c]], lam)
            gain1[c] -= flux2 * (value - mine1)
            gain1[b] += flux2 * (value - under1)
        elif upper1:
            if flux2 > 0.0:
                gain1[c] -= flux2 * (CORNER - 1.0) * mine1
        elif lower1 and flux2 < 0.0:
            gain1[b] += flux2 * (CORNER - 1.0) * under1
        if upper2 and lower2:
            value = _carried(flux1, under2, mine2, speeds2[lo1[a]], speeds2[hi1[c]], lam)
            gain2[c] -= flux1 * (value - mine2)
            gain2[a] += flux1 * (value - under2)
        elif upper2:
            if flux1 > 0.0:
                gain2[c] -= flux1 * (CORNER - 1.0) * mine2
        elif lower2 and flux1 < 0.0:
            gain2[a] += flux1 * (CORNER - 1.0) * under2


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _carry(cells, s, some, count, lam):
    """Add to du, dv, dw what the fluxes of the cells ``some`` do."""
    kind, vol = cells.kind, cells.vol
    xm, xp, ym, yp, zm, zp = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp
    ax, ay, az = cells.ax, cells.ay, cells.az
    u, v, w, fu, fv, fw, du, dv, dw = s.u, s.v, s.w, s.fu, s.fv, s.fw, s.du, s.dv, s.dw
    _along(count, some, kind, u, fu, du, xm, xp, lam)
    _along(count, some, kind, v, fv, dv, ym, yp, lam)
    _along(count, some, kind, w, fw, dw, zm, zp, lam)
    _across(count, some, kind, vol, xm, xp, ym, yp, ax, ay, u, v, fu, fv, du, dv, lam)
    _across(count, some, kind, vol, xm, xp, zm, zp, ax, az, u, w, fu, fw, du, dw, lam)
    _across(count, some, kind, vol, ym, yp, zm, zp, ay, az, v, w, fv, fw, dv, dw, lam)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _flows(count, some, opening, speeds, flows):
    for k in range(count):
        c = some[k]
        flows[c] = opening[c] * speeds[c]


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _passing(c, fu, fv, fw, xp, yp, zp):
    """Half of what passes a cell's faces."""
    return 0.5 * (abs(fu[c]) + abs(fu[xp[c]]) + abs(fv[c]) + abs(fv[yp[c]]) + abs(fw[c]) + abs(fw[zp[c]]))


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _move(cells, s, count, some, axis, wanted, fall, lam, share):
    """Speeds of one direction of the faces whose quickness is ``wanted``: what was carried, weight, and a share of the last pressure.

    A face's metal fills the narrower of its two cells, or its own opening: where a stream narrows in a cut cell it must gain its whole speed
    there.  Only where more would pass than that holds is it taken larger, up to the mean of the two cells.
    """
    vol, quick, fu, fv, fw, xp, yp, zp = cells.vol, s.quick, s.fu, s.fv, s.fw, cells.xp, cells.yp, cells.zp
    if axis == 0:
        codes, opening, lo, speeds, gain, taken = s.cu, cells.ax, cells.xm, s.u, s.du, s.gu
    elif axis == 1:
        codes, opening, lo, speeds, gain, taken = s.cv, cells.ay, cells.ym, s.v, s.dv, s.gv
    else:
        codes, opening, lo, speeds, gain, taken = s.cw, cells.az, cells.zm, s.w, s.dw, s.gw
    bit = 1 << axis
    for k in range(count):
        c = some[k]
        if codes[c] != NONE and opening[c] > 0.0 and (quick[c] & bit > 0) == wanted:
            a = lo[c]
            room = 1.0
            if vol[a] != 1.0 or vol[c] != 1.0:
                passing = 0.5 * (_passing(a, fu, fv, fw, xp, yp, zp) + _passing(c, fu, fv, fw, xp, yp, zp))
                room = max(min(vol[a], vol[c]), opening[c], min(passing * lam / HOLDS, 0.5 * (vol[a] + vol[c])))
            speeds[c] += fall - lam * gain[c] / room - share * taken[c]


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _give_back(count, some, bit, quick, taken, speeds, past):
    for k in range(count):
        c = some[k]
        if quick[c] & bit > 0:
            speeds[c] += past * taken[c]


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _quick_cells(cells, s, lam):
    """Mark the faces of cells through which more than QUICK flows in a step, and list what feeds them; returns the list's length."""
    band, quick, hurry, mark2 = s.band, s.quick, s.hurry, s.near
    u, v, w = s.u, s.v, s.w
    xm, xp, ym, yp, zm, zp, kind = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp, cells.kind
    found = 0
    for k in range(s.lists[WALK]):
        c = band[k]
        if kind[c] != CAVITY:
            continue
        total = max(abs(u[c]), abs(u[xp[c]])) + max(abs(v[c]), abs(v[yp[c]])) + max(abs(w[c]), abs(w[zp[c]]))
        if total * lam > QUICK:
            quick[c] |= 7
            quick[xp[c]] |= 1
            quick[yp[c]] |= 2
            quick[zp[c]] |= 4
            if mark2[c] == 0:
                mark2[c] = 1
                hurry[found] = c
                found += 1
    begin = 0
    last = cells.m - 1
    for _ in range(2):
        end = found
        for k in range(begin, end):
            c = hurry[k]
            for a in (xm[c], xp[c], ym[c], yp[c], zm[c], zp[c]):
                if a != last and mark2[a] == 0:
                    mark2[a] = 1
                    hurry[found] = a
                    found += 1
        begin = end
    return found


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def predict(cells, s, step, cell, gravity, times, past):
    """Speeds after ``step`` [s] without the new pressure; ``past`` is this step over the last one.

    Where more flows through a cell than it holds, in ``times`` parts: the last step's pressure acts in each part and is given back at the
    end, otherwise what flows would hang on the step.
    """
    band, count = s.band, s.lists[WALK]
    quick = s.quick
    lam = step / cell
    part = 1.0 / times
    gx, gy, gz = gravity[0] * step, gravity[1] * step, gravity[2] * step
    _flows(count, band, cells.ax, s.u, s.fu)
    _flows(count, band, cells.ay, s.v, s.fv)
    _flows(count, band, cells.az, s.w, s.fw)
    s.du[:] = 0.0
    s.dv[:] = 0.0
    s.dw[:] = 0.0
    _carry(cells, s, band, count, lam * part)
    found = _quick_cells(cells, s, lam) if times > 1 else 0
    _move(cells, s, count, band, 0, False, gx, lam, 0.0)
    _move(cells, s, count, band, 1, False, gy, lam, 0.0)
    _move(cells, s, count, band, 2, False, gz, lam, 0.0)
    if found == 0:
        return
    hurry = s.hurry
    share, small = past * part, lam * part
    for turn in range(times):
        if turn > 0:
            _flows(found, hurry, cells.ax, s.u, s.fu)
            _flows(found, hurry, cells.ay, s.v, s.fv)
            _flows(found, hurry, cells.az, s.w, s.fw)
            for k in range(found):
                c = hurry[k]
                s.du[c] = 0.0
                s.dv[c] = 0.0
                s.dw[c] = 0.0
            _carry(cells, s, hurry, found, small)
        _move(cells, s, found, hurry, 0, True, gx * part, small, share)
        _move(cells, s, found, hurry, 1, True, gy * part, small, share)
        _move(cells, s, found, hurry, 2, True, gz * part, small, share)
    _give_back(found, hurry, 1, quick, s.gu, s.u, past)
    _give_back(found, hurry, 2, quick, s.gv, s.v, past)
    _give_back(found, hurry, 4, quick, s.gw, s.w, past)
    for k in range(found):
        c = hurry[k]
        quick[c] = 0
        s.near[c] = 0
