"""Speeds of the faces carried along with the metal: what flows through a face's surroundings brings its own speed.

Momentum in flux form, each flux reckoned once and given to the two faces it lies between: three through cell middles, six over cell edges.
The carried speed is the upwind one, mended to second order where the speeds run smooth (van Leer's limiter).
"""

# mypy: ignore-errors
from __future__ import annotations

from numba import njit

from strickle.kernels.fill_cells import CAVITY
from strickle.kernels.fill_state import BAND, BODY, NONE, WALK

CORNER = 0.5
"""Where metal turns round a sharp corner, the share of the passing speed that it brings along; 0 where the wall is cut, which rounds it.
Chosen so that a short square pipe passes what a short tube does; see docs."""


@njit(cache=True, inline="always")
def _carried(flux, low, high, low2, high2, courant):
    """Speed that a flux brings: ``low``, ``high`` on its two sides, ``low2``, ``high2`` one farther."""
    if flux > 0.0:
        up, down, far = low, high, low2
    else:
        up, down, far = high, low, high2
    rise, before = down - up, up - far
    both = rise * before
    if both > 0.0:
        return up + (1.0 - courant) * both / (rise + before)
    return up


@njit(cache=True)
def _along(cells, s, speeds, opening, gain, lo, hi, lam):
    """Fluxes through the middles of cells: the speed along its own axis."""
    lists = s.lists
    band = s.band
    for k in range(lists[BAND]):
        c = band[k]
        p = hi[c]
        flux = 0.5 * (opening[c] * speeds[c] + opening[p] * speeds[p])
        if flux == 0.0:
            continue
        value = _carried(flux, speeds[c], speeds[p], speeds[lo[c]], speeds[hi[p]], min(abs(flux) * lam, 1.0))
        gain[c] += flux * (value - speeds[c])
        gain[p] -= flux * (value - speeds[p])


@njit(cache=True)
def _across(cells, s, speeds, opening, gain, other, other_opening, lo_own, lo, hi, lam):
    """Fluxes over edges: the speed of faces across ``lo_own``'s axis, carried along ``lo``'s axis by ``other``."""
    lists = s.lists
    band, vol, kind = s.band, cells.vol, cells.kind
    for k in range(lists[WALK]):
        c = band[k]
        a, b = lo_own[c], lo[c]
        flux = 0.5 * (other_opening[c] * other[c] + other_opening[a] * other[a])
        if flux == 0.0:
            continue
        upper, lower = opening[c] > 0.0, opening[b] > 0.0
        if upper and lower:
            value = _carried(flux, speeds[b], speeds[c], speeds[lo[b]], speeds[hi[c]], min(abs(flux) * lam, 1.0))
        elif upper:
            value = speeds[c] if flux < 0.0 else _corner(_is_cut(kind[c], vol[c]), _is_cut(kind[a], vol[a]), _is_cut(kind[b], vol[b])) * speeds[c]
        elif lower:
            value = (
                speeds[b]
                if flux > 0.0
                else _corner(_is_cut(kind[b], vol[b]), _is_cut(kind[lo_own[b]], vol[lo_own[b]]), _is_cut(kind[c], vol[c])) * speeds[b]
            )
        else:
            continue
        if upper:
            gain[c] -= flux * (value - speeds[c])
        if lower:
            gain[b] += flux * (value - speeds[b])


@njit(cache=True, inline="always")
def _is_cut(kind, vol):
    return kind == CAVITY and vol != 1.0


@njit(cache=True, inline="always")
def _corner(first, second, third):
    """Share of the passing speed that comes round a corner, the cells at it being cut or not."""
    return 0.0 if first or second or third else CORNER


@njit(cache=True)
def carry(cells, s, lam):
    """Change of speeds over a step, before volume and step: into du, dv, dw (which are zeroed here)."""
    band = s.band
    xm, xp, ym, yp, zm, zp = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp
    s.du[:] = 0.0
    s.dv[:] = 0.0
    s.dw[:] = 0.0
    _along(cells, s, s.u, cells.ax, s.du, xm, xp, lam)
    _along(cells, s, s.v, cells.ay, s.dv, ym, yp, lam)
    _along(cells, s, s.w, cells.az, s.dw, zm, zp, lam)
    _across(cells, s, s.u, cells.ax, s.du, s.v, cells.ay, xm, ym, yp, lam)
    _across(cells, s, s.v, cells.ay, s.dv, s.u, cells.ax, ym, xm, xp, lam)
    _across(cells, s, s.u, cells.ax, s.du, s.w, cells.az, xm, zm, zp, lam)
    _across(cells, s, s.w, cells.az, s.dw, s.u, cells.ax, zm, xm, xp, lam)
    _across(cells, s, s.v, cells.ay, s.dv, s.w, cells.az, ym, zm, zp, lam)
    _across(cells, s, s.w, cells.az, s.dw, s.v, cells.ay, zm, ym, yp, lam)


@njit(cache=True, inline="always")
def _room(opening, a, c):
    """Share of a cell that belongs to a face."""
    return max(0.5 * (a + c), opening)


@njit(cache=True)
def predict(cells, s, step, cell, gravity, times, past):
    """Speeds after ``step`` [s] without the new pressure, in ``times`` parts; ``past`` is this step over the last one.

    In parts, the last step's pressure acts in each part and is given back at the end: otherwise what flows would hang on the step.
    """
    lists, u, v, w, cu, ax, cv, ay = s.lists, s.u, s.v, s.w, s.cu, cells.ax, s.cv, cells.ay
    cw, az, gu, gv, gw, du, dv, dw = s.cw, cells.az, s.gu, s.gv, s.gw, s.du, s.dv, s.dw
    band, vol = s.band, cells.vol
    xm, ym, zm = cells.xm, cells.ym, cells.zm
    lam = step / cell / times
    part = 1.0 / times
    gx, gy, gz = gravity[0] * step * part, gravity[1] * step * part, gravity[2] * step * part
    share = past * part if times > 1 else 0.0
    for _ in range(times):
        carry(cells, s, lam)
        for k in range(lists[WALK]):
            c = band[k]
            if cu[c] != NONE and ax[c] > 0.0:
                u[c] += gx - lam * du[c] / _room(ax[c], vol[xm[c]], vol[c]) - share * gu[c]
            if cv[c] != NONE and ay[c] > 0.0:
                v[c] += gy - lam * dv[c] / _room(ay[c], vol[ym[c]], vol[c]) - share * gv[c]
            if cw[c] != NONE and az[c] > 0.0:
                w[c] += gz - lam * dw[c] / _room(az[c], vol[zm[c]], vol[c]) - share * gw[c]
    if times > 1:
        for k in range(lists[WALK]):
            c = band[k]
            if cu[c] == BODY:
                u[c] += past * gu[c]
            if cv[c] == BODY:
                v[c] += past * gv[c]
            if cw[c] == BODY:
                w[c] += past * gw[c]
