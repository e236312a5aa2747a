"""Pressure that keeps metal from piling up: its equations on the liquid cells, and what it does to the speeds."""

# mypy: ignore-errors
from __future__ import annotations

import math

from numba import njit

from strickle.kernels.fill_cells import CAVITY, OPEN, POURED, PRESSED
from strickle.kernels.fill_press import arrange, coarsen, forget, solve
from strickle.kernels.fill_state import BODY, CLIPPED, POCKETS, UNKNOWN, WALK, WORST

SWELL = 0.2
"""Share of a full metal cell's want or excess of metal that is made good in a step."""
GIVES = 1e-5
"""Added to every diagonal: metal shut in on all sides, which nothing can make fit, has an answer too. Against the pressure of the last step where a
cell's want is let be, so that stiff metal under a steady pressure is not squeezed, step by step, into less room than it takes.
"""
MOVES = 0.5
"""Freedom to move below which a cell's want of metal is let be."""
EASE = 1e-3
"""Share of a side's coefficient that a cell held by the metal's skin keeps in the equations."""
NEAREST = 0.2
"""Least distance, in cells, from a cell's middle to the surface."""


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _away(metal, air):
    """Distance in cells from a metal cell's middle to the surface, the shares of metal being these."""
    return min(max(metal + air - 0.5, NEAREST), 1.0)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _want(f, no_air, lam):
    if f > 1.0:
        return SWELL * (f - 1.0) / lam
    if no_air:
        return -SWELL * (1.0 - f) / lam
    return 0.0


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _is_air(kind, liquid, stuck):
    return kind == OPEN or (kind == CAVITY and liquid == 0 and stuck == 0)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _is_known(kind, liquid):
    return kind == CAVITY and liquid == 1


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _pull(opening, kind, liquid, stuck, loose, other, share, its):
    """Coefficient of the side between a metal cell (``loose``, ``share``) and its neighbour (``kind``, ``liquid``, ``other``, ``its`` share)."""
    scale = 1.0
    free = loose
    if kind == CAVITY and liquid == 1:
        free = min(loose, other)
    elif kind == PRESSED:
        scale = 2.0
    elif kind == POURED or stuck == 1:
        scale = 0.0
    else:
        scale = 1.0 / _away(share, its)
    return opening * free * scale if opening > 0.0 else 0.0


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def assemble(cells, s, g, loose, lam, past, most):
    """Equations of all liquid cells; returns whether some are stiff. ``past``: this step over the last one; ``most``: highest pressure at rest, as
    a speed.
    """
    count, diagonal, b_of, clx, cly, clz, chx, chy = g.count, g.diagonal, g.b, g.clx, g.cly, g.clz, g.chx, g.chy
    chz, lx, ly, lz, hx, hy, hz, inverse, spare = g.chz, g.lx, g.ly, g.lz, g.hx, g.hy, g.hz, g.inverse, g.spare
    x, vol = g.x, cells.vol
    f, kind, liquid, q, stuck = s.f, cells.kind, s.liquid, s.q, s.stuck
    u, v, w, ax, ay, az = s.u, s.v, s.w, cells.ax, cells.ay, cells.az
    xm, xp, ym, yp, zm, zp = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp
    arrange(g, s.unknown, s.lists[UNKNOWN], cells.odd)
    index, place = g.index, g.place
    dummy = g.base[1] - 1
    is_stiff = False
    for k in range(count[0]):
        c = index[k]
        a1, p1, a2, p2, a3, p3 = xm[c], xp[c], ym[c], yp[c], zm[c], zp[c]
        divergence = ax[p1] * u[p1] - ax[c] * u[c] + ay[p2] * v[p2] - ay[c] * v[c] + az[p3] * w[p3] - az[c] * w[c]
        no_air = not (
            (ax[c] > 0.0 and _is_air(kind[a1], liquid[a1], stuck[a1])) or (ax[p1] > 0.0 and _is_air(kind[p1], liquid[p1], stuck[p1]))
            or (ay[c] > 0.0 and _is_air(kind[a2], liquid[a2], stuck[a2])) or (ay[p2] > 0.0 and _is_air(kind[p2], liquid[p2], stuck[p2]))
            or (az[c] > 0.0 and _is_air(kind[a3], liquid[a3], stuck[a3])) or (az[p3] > 0.0 and _is_air(kind[p3], liquid[p3], stuck[p3]))
        )  # fmt: skip
        x[k] = q[c] * past
        if loose[c] > MOVES:
            want = _want(f[c], no_air, lam) * vol[c]
        else:
            is_stiff = True
            want = GIVES * min(max(x[k], -most), most) + loose[c] * SWELL * max(f[c] - 1.0, 0.0) / lam * vol[c]
        b = want - divergence
        c1 = _pull(ax[c], kind[a1], liquid[a1], stuck[a1], loose[c], loose[a1], f[c], f[a1])
        in1 = _is_known(kind[a1], liquid[a1])
        k1 = 0.0 if in1 else c1 * q[a1]
        c2 = _pull(ay[c], kind[a2], liquid[a2], stuck[a2], loose[c], loose[a2], f[c], f[a2])
        in2 = _is_known(kind[a2], liquid[a2])
        k2 = 0.0 if in2 else c2 * q[a2]
        c3 = _pull(az[c], kind[a3], liquid[a3], stuck[a3], loose[c], loose[a3], f[c], f[a3])
        in3 = _is_known(kind[a3], liquid[a3])
        k3 = 0.0 if in3 else c3 * q[a3]
        d1 = _pull(ax[p1], kind[p1], liquid[p1], stuck[p1], loose[c], loose[p1], f[c], f[p1])
        in4 = _is_known(kind[p1], liquid[p1])
        k4 = 0.0 if in4 else d1 * q[p1]
        d2 = _pull(ay[p2], kind[p2], liquid[p2], stuck[p2], loose[c], loose[p2], f[c], f[p2])
        in5 = _is_known(kind[p2], liquid[p2])
        k5 = 0.0 if in5 else d2 * q[p2]
        d3 = _pull(az[p3], kind[p3], liquid[p3], stuck[p3], loose[c], loose[p3], f[c], f[p3])
        in6 = _is_known(kind[p3], liquid[p3])
        k6 = 0.0 if in6 else d3 * q[p3]
        rest = GIVES
        b_of[k] = b + k1 + k2 + k3 + k4 + k5 + k6
        shut = stuck[a1] + stuck[p1] + stuck[a2] + stuck[p2] + stuck[a3] + stuck[p3]
        if shut > 0:  # metal shut in by held cells alone has no other pressure to stand against
            rest += EASE * shut
            b_of[k] += EASE * (stuck[a1] * q[a1] + stuck[p1] * q[p1] + stuck[a2] * q[a2] + stuck[p2] * q[p2] + stuck[a3] * q[a3] + stuck[p3] * q[p3])
        for side, is_in in ((c1, in1), (c2, in2), (c3, in3), (d1, in4), (d2, in5), (d3, in6)):
            rest += 0.0 if is_in else side
        spare[k] = rest
        clx[k] = c1 if in1 else 0.0
        cly[k] = c2 if in2 else 0.0
        clz[k] = c3 if in3 else 0.0
        chx[k] = d1 if in4 else 0.0
        chy[k] = d2 if in5 else 0.0
        chz[k] = d3 if in6 else 0.0
        lx[k] = place[a1] if in1 else dummy
        ly[k] = place[a2] if in2 else dummy
        lz[k] = place[a3] if in3 else dummy
        hx[k] = place[p1] if in4 else dummy
        hy[k] = place[p2] if in5 else dummy
        hz[k] = place[p3] if in6 else dummy
        diagonal[k] = spare[k] + clx[k] + cly[k] + clz[k] + chx[k] + chy[k] + chz[k]
        inverse[k] = 1.0 / diagonal[k]
    return is_stiff


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def tie(cells, s, g, loose, lam, scale):
    """Air that is shut in answers within the step: its pressure rises by ``stiff`` for each cell that comes in until the next one.

    A pocket's pressure is p = p0 + k (what would come in at p0 + sum of sides x metal's pressure - p' sum of sides), so it drops out of the
    equations: those of the metal beside it are tied to each other. A metal cell between two pockets is tied to the first.
    """
    ties, of, tied, count = g.ties, g.tie, g.tied, 0
    pocket, stiff, comes, yields, sums = s.pocket, s.stiff, s.comes, g.yields, g.sums
    f, kind, liquid, q, stuck, index, b = s.f, cells.kind, s.liquid, s.q, s.stuck, g.index, g.b
    xm, xp, ym, yp, zm, zp = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp
    pockets = int(s.tally[POCKETS])
    for j in range(pockets + 1):
        comes[j] = 0.0
        sums[j] = 0.0
    for k in range(g.count[0]):
        c = index[k]
        mine, total = 0, 0.0
        p1, p2, p3 = xp[c], yp[c], zp[c]
        for a, opening, out in (
            (xm[c], cells.ax[c], -s.u[c]), (p1, cells.ax[p1], s.u[p1]), (ym[c], cells.ay[c], -s.v[c]), (p2, cells.ay[p2], s.v[p2]),
            (zm[c], cells.az[c], -s.w[c]), (p3, cells.az[p3], s.w[p3]),
        ):  # fmt: skip
            if opening <= 0.0 or kind[a] != CAVITY or liquid[a] == 1 or stuck[a] == 1 or pocket[a] <= 0:
                continue
            if mine == 0:
                mine = pocket[a]
            if pocket[a] != mine:
                continue
            side = _pull(opening, kind[a], liquid[a], stuck[a], loose[c], loose[a], f[c], f[a])
            total += side
            comes[mine] += opening * out - side * q[a]
        if total > 0.0:
            ties[count], of[count], tied[count] = k, mine, total
            sums[mine] += total
            count += 1
    g.tie_count[0] = count
    for j in range(1, pockets + 1):
        rise = stiff[j] * scale * lam
        yields[j] = rise / (1.0 + rise * sums[j])
    for i in range(count):
        b[ties[i]] += tied[i] * yields[of[i]] * comes[of[i]]


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def untie(cells, s, g):
    """Put the pressure that shut-in air has come to on its cells."""
    if g.tie_count[0] == 0:
        return
    ties, of, tied, yields, comes, x, pocket, q = g.ties, g.tie, g.tied, g.yields, s.comes, g.x, s.pocket, s.q
    for i in range(g.tie_count[0]):
        comes[of[i]] += tied[i] * x[ties[i]]
    pockets = int(s.tally[POCKETS])
    for k in range(s.lists[WALK]):
        c = s.band[k]
        if cells.kind[c] == CAVITY and s.liquid[c] == 0 and 0 < pocket[c] <= pockets:
            q[c] += yields[pocket[c]] * comes[pocket[c]]


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _push(kind_a, kind_c, liquid_a, liquid_c, stuck_a, stuck_c, loose_a, loose_c, f_a, f_c, rise):
    """What pressure takes off a face's speed, its low cell ``a``, its high cell ``c``, pressure rising by ``rise`` from a to c."""
    if _is_known(kind_c, liquid_c):
        return _pull(1.0, kind_a, liquid_a, stuck_a, loose_c, loose_a, f_c, f_a) * rise
    if _is_known(kind_a, liquid_a):
        return _pull(1.0, kind_c, liquid_c, stuck_c, loose_a, loose_c, f_a, f_c) * rise
    if kind_a == PRESSED and kind_c == CAVITY and stuck_c == 0:  # a dry cell: half a cell of metal behind the mouth moves along
        return rise / (0.5 + f_c)
    if kind_c == PRESSED and kind_a == CAVITY and stuck_a == 0:
        return rise / (0.5 + f_a)
    return 0.0


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _take(count, band, codes, opening, low, kind, liquid, stuck, loose, f, q, taken, speeds, fastest, lam, slack):
    """One direction of ``project``; returns how many speeds were cut."""
    cut = 0
    for k in range(count):
        c = band[k]
        taken[c] = 0.0
        if codes[c] == BODY and opening[c] > 0.0:
            a = low[c]
            taken[c] = _push(kind[a], kind[c], liquid[a], liquid[c], stuck[a], stuck[c], loose[a], loose[c], f[a], f[c], q[c] - q[a])
            speeds[c] -= taken[c]
            if (kind[a] == PRESSED and kind[c] == CAVITY and liquid[c] == 0) or (kind[c] == PRESSED and kind[a] == CAVITY and liquid[a] == 0):
                most = math.sqrt(2.0 * abs(q[c] - q[a]) / lam + slack)  # what pressure alone can give
                speeds[c] = min(max(speeds[c], -most), most)
        if abs(speeds[c]) > fastest:
            cut += 1
            speeds[c] = fastest if speeds[c] > 0.0 else -fastest
    return cut


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def project(cells, s, loose, fastest, lam, slack):
    """Take the pressure's pull off the speeds; none may exceed ``fastest`` (counted); ``slack`` [m2/s2]: a fall through a cell."""
    f, kind, liquid, q, band = s.f, cells.kind, s.liquid, s.q, s.band
    count = s.lists[WALK]
    cut = _take(count, band, s.cu, cells.ax, cells.xm, kind, liquid, s.stuck, loose, f, q, s.gu, s.u, fastest, lam, slack)
    cut += _take(count, band, s.cv, cells.ay, cells.ym, kind, liquid, s.stuck, loose, f, q, s.gv, s.v, fastest, lam, slack)
    cut += _take(count, band, s.cw, cells.az, cells.zm, kind, liquid, s.stuck, loose, f, q, s.gw, s.w, fastest, lam, slack)
    s.tally[CLIPPED] += cut


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _undo(count, band, taken, speeds):
    for k in range(count):
        c = band[k]
        speeds[c] += taken[c]
        taken[c] = 0.0


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def undo(s):
    """Give back what the pressure has taken off the speeds."""
    count, band = s.lists[WALK], s.band
    _undo(count, band, s.gu, s.u)
    _undo(count, band, s.gv, s.v)
    _undo(count, band, s.gw, s.w)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def press(cells, s, g, loose, lam, past, tolerance, scale, most):
    """Solve for the pressure into ``q``; returns the iterations, negative where it was not reached. ``scale`` turns Pa into the pressure's unit,
    ``most``: as of ``assemble``.
    """
    count, q, x, index = g.count, s.q, g.x, g.index
    is_stiff = assemble(cells, s, g, loose, lam, past, most)
    g.tie_count[0] = 0
    if s.tally[POCKETS] > 0.0:
        tie(cells, s, g, loose, lam, scale)
    levels = coarsen(g, cells.coarse, cells.coarse_odd, cells.first)
    times, worst = solve(g, levels, tolerance / lam, 1 if is_stiff else 0)
    total = 0.0
    for k in range(count[0]):
        q[index[k]] = x[k]
        total += x[k]
    untie(cells, s, g)
    forget(g)
    if not math.isfinite(total):  # no maximum shows what is not a number
        worst = math.inf
    s.tally[WORST] = max(s.tally[WORST], worst * lam)
    return times
