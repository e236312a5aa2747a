"""Which cells and faces take part in a step, and the speeds of faces just outside the metal."""

# mypy: ignore-errors
from __future__ import annotations

from numba import njit

from strickle.kernels.fill_cells import CAVITY, PRESSED, SOLID
from strickle.kernels.fill_state import BAND, BODY, FREE, LAID, LIQUID, NONE, UNKNOWN, WALK, WET

PAST = 255
"""Mark of a cell that took part in the last step."""
LAYERS = 2
"""Layers of cells round the metal whose faces carry a speed."""


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def gather(cells, s):
    """Lists of the cells that take part: metal and LAYERS round it, in order, then the shell cells that own faces; and the liquid ones."""
    u, v, w, cu, cv, cw, extra, lists = s.u, s.v, s.w, s.cu, s.cv, s.cw, cells.extra, s.lists
    liquid, unknown_of, m = s.liquid, s.unknown, cells.m
    n, f, mark, band = cells.n, s.f, s.mark, s.band
    xm, xp, ym, yp, zm, zp, kind = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp, cells.kind
    before = lists[WALK]
    for k in range(lists[BAND]):  # of the cavity only: a mark on a wall would keep it from the shares of walls
        mark[band[k]] = PAST
    # the metal lies among last step's cells: it cannot have gone farther
    found = 0
    if before == 0:
        for c in range(n):
            if f[c] > 0.0:
                mark[c] = 1
                band[found] = c
                found += 1
        for c in range(n, m - 1):
            if kind[c] >= PRESSED:
                for a in (xm[c], xp[c], ym[c], yp[c], zm[c], zp[c]):
                    if kind[a] == CAVITY and (mark[a] == 0 or mark[a] == PAST):
                        mark[a] = 1
                        band[found] = a
                        found += 1
    else:
        for k in range(lists[BAND]):
            c = band[k]
            if f[c] > 0.0:
                mark[c] = 1
                band[found] = c
                found += 1
        for k in range(cells.extra.shape[0]):
            c = extra[k]
            if kind[c] >= PRESSED:
                for a in (xm[c], xp[c], ym[c], yp[c], zm[c], zp[c]):
                    if kind[a] == CAVITY and (mark[a] == 0 or mark[a] == PAST):
                        mark[a] = 1
                        band[found] = a
                        found += 1
    begin = 0
    for layer in range(2, 2 + LAYERS):
        end = found
        for k in range(begin, end):
            c = band[k]
            for a in (xm[c], xp[c], ym[c], yp[c], zm[c], zp[c]):
                if kind[a] == CAVITY and (mark[a] == 0 or mark[a] == PAST):
                    mark[a] = layer
                    band[found] = a
                    found += 1
        begin = end
    # in order of number, so that memory is walked straight
    at = 0
    for c in range(n):
        if mark[c] == PAST:
            mark[c] = 0
            u[c] = v[c] = w[c] = 0.0
            cu[c] = cv[c] = cw[c] = NONE
        elif mark[c] != 0:
            band[at] = c
            at += 1
    lists[BAND] = at
    for k in range(cells.extra.shape[0]):
        band[at] = extra[k]
        at += 1
    lists[WALK] = at
    unknown = 0
    for k in range(lists[BAND]):
        c = band[k]
        if f[c] > LIQUID:
            liquid[c] = 1
            unknown_of[unknown] = c
            unknown += 1
        else:
            liquid[c] = 0
    lists[UNKNOWN] = unknown


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _codes(count, band, codes, opening, low, kind, f, liquid):
    for k in range(count):
        c = band[k]
        a = low[c]
        code = NONE
        if opening[c] > 0.0:
            if kind[a] >= PRESSED or kind[c] >= PRESSED or liquid[a] == 1 or liquid[c] == 1:
                code = BODY
            elif f[a] > WET or f[c] > WET:
                code = FREE
        codes[c] = code


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def classify(cells, s):
    """Give every face that takes part its code."""
    count, band, kind, f, liquid = s.lists[WALK], s.band, cells.kind, s.f, s.liquid
    _codes(count, band, s.cu, cells.ax, cells.xm, kind, f, liquid)
    _codes(count, band, s.cv, cells.ay, cells.ym, kind, f, liquid)
    _codes(count, band, s.cw, cells.az, cells.zm, kind, f, liquid)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _stop(count, band, codes, speeds, f, kind, low, high):
    """A free face out of a dry cell into one whose far side is a wall carries nothing."""
    for k in range(count):
        c = band[k]
        if codes[c] == FREE:
            a = low[c]
            speed = speeds[c]
            if (speed > 0.0 and f[a] <= WET and kind[high[c]] == SOLID) or (speed < 0.0 and f[c] <= WET and kind[low[a]] == SOLID):
                speeds[c] = 0.0


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _lay(codes, speeds, opening, cells, s, layer):
    """One layer of faces outside the known ones takes the mean of its known neighbours."""
    lists = s.lists
    band = s.band
    most = BODY if layer == 0 else LAID + layer - 1
    own = LAID + layer
    xm, xp, ym, yp, zm, zp = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp
    for k in range(lists[WALK]):
        c = band[k]
        if opening[c] <= 0.0 or codes[c] == BODY or (layer > 0 and codes[c] != NONE):
            continue
        total, count = 0.0, 0
        for a in (xm[c], xp[c], ym[c], yp[c], zm[c], zp[c]):
            if NONE < codes[a] <= most and codes[a] < own:
                total += speeds[a]
                count += 1
        if count > 0:
            speeds[c] = total / count
            codes[c] = own + 100  # not seen by its own layer
        elif codes[c] == NONE:
            speeds[c] = 0.0
    for k in range(lists[WALK]):
        c = band[k]
        if codes[c] > 100:
            codes[c] -= 100


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def extrapolate(cells, s):
    """Speeds of faces near the metal, layer by layer; faces beyond carry none."""
    count, band, kind, f = s.lists[WALK], s.band, cells.kind, s.f
    _stop(count, band, s.cu, s.u, f, kind, cells.xm, cells.xp)
    _stop(count, band, s.cv, s.v, f, kind, cells.ym, cells.yp)
    _stop(count, band, s.cw, s.w, f, kind, cells.zm, cells.zp)
    for layer in range(LAYERS):
        _lay(s.cu, s.u, cells.ax, cells, s, layer)
        _lay(s.cv, s.v, cells.ay, cells, s, layer)
        _lay(s.cw, s.w, cells.az, cells, s, layer)
