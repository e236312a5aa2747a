"""The compiled steps of the freezing solver in the metal: coupling, super-step, crossings, sums."""

from __future__ import annotations

import numpy as np
from numba import njit

from strickle.kernels.freeze_media import ratio, warmth

SIGMA = 5.670374419e-8  # W/(m2 K4), Stefan-Boltzmann, CODATA 2018


@njit(cache=True, nogil=True, inline="always")
def read_at(u, least, inverse, table):
    """Linear reading of an even table that goes on with its end slopes."""
    x = (u - least) * inverse
    i = int(x)
    i = min(max(i, 0), table.size - 2)
    k = np.uint64(i)
    return table[k] + (x - i) * (table[k + np.uint64(1)] - table[k])


@njit(cache=True, nogil=True)
def potentials(u, w, first, length, least, inverse, base, slope):
    """w[p] = base + slope u[p] along the runs, of the table's piece that u lies in; the end pieces go on."""
    top = np.float64(base.size - 1)
    for k in range(first.size):
        a = np.uint64(first[k])
        for j in range(np.uint64(length[k])):
            v = u[a + j]
            i = np.uint64(min(max((v - least) * inverse, 0.0), top))
            w[a + j] = base[i] + slope[i] * v


@njit(cache=True, nogil=True, inline="always")
def _open_at(o, hot, drive, r, gap, solidus, inverse, opening):
    """How far the gap opens where the metal's surface is as warm as a gap open by ``o`` leaves it."""
    return min(max(read_at(hot - drive / (r + gap * o), solidus, inverse, opening), 0.0), 1.0)


@njit(cache=True, nogil=True)
def _opened(o, hot, drive, r, gap, solidus, inverse, opening):
    """How far a gap is open now that was open by ``o``: it and the surface's temperature settle each other, and it never closes again."""
    if o >= 1.0 or _open_at(o, hot, drive, r, gap, solidus, inverse, opening) <= o:
        return o
    if _open_at(1.0, hot, drive, r, gap, solidus, inverse, opening) >= 1.0:
        return 1.0
    low, high = o, 1.0
    for _ in range(12):
        middle = 0.5 * (low + high)
        if _open_at(middle, hot, drive, r, gap, solidus, inverse, opening) > middle:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@njit(cache=True, nogil=True)
def couple(
    u, cells, touch, medium, pair, rest, gap, near, away, area, skin_heat, skin, beyond, film, film_tag, film_away, film_area, share, ambient,
    film_h, emissivity, old, start, law_warm, law_ratio, dt, least, inverse, temperature, conductivity, solidus, mush_inverse, opening, opened, a,
    b, touch_u, onward, film_u, film_a,
):  # fmt: skip
    """Freeze the surroundings for one super-step: flux into a metal cell = a - b T, both a cell face and a unit of the cell's volume.

    Resistance to the wall's far side = contact ``rest`` + ``gap`` times how far it has ``opened`` (table ``opening`` over temperature from
    the ``solidus`` up, read at the metal's surface, not in the middle of its cell) + medium ``near`` [m2K/W at its start] + ``away`` of
    metal at its present conductivity.  Where a face has a skin node (heat capacity ``skin_heat`` [J/m2K], temperature ``skin``, conductance
    ``beyond`` to the medium's centre) it is stepped backwards in time and eliminated; else the medium's centre is met at once.  Radiation is
    linearised about the present surface temperature.  Fills a, b by cell, touch_u and onward [W/m2K] by metal/medium face, film_u and film_a
    [W/m2] by film face.
    """
    a[:] = 0.0
    b[:] = 0.0
    for f in range(touch.size):
        i = touch[f]
        own, tag = u[cells[i]], pair[f, 1]
        t = warmth(old[medium[f]], start[tag], law_warm[tag])
        kr = ratio(0.5 * (t + skin[f]), start[tag], law_ratio[tag])
        half = away[f] / read_at(own, least, inverse, conductivity)
        r = rest[f] + near[f] / kr + half
        if gap[f] > 0.0:
            hot = read_at(own, least, inverse, temperature)
            opened[f] = _opened(opened[f], hot, half * (hot - (skin[f] if skin_heat[f] > 0.0 else t)), r, gap[f], solidus, mush_inverse, opening)
            r += gap[f] * opened[f]
        g = 1.0 / r
        touch_u[f] = g
        if skin_heat[f] > 0.0:
            kap, on = skin_heat[f] / dt, beyond[f] * kr
            onward[f] = on
            d = area[f] * g / (kap + g + on)
            a[i] += d * (kap * skin[f] + on * t)
            b[i] += d * (kap + on)
        else:
            a[i] += area[f] * g * t
            b[i] += area[f] * g
    for f in range(film.size):
        i = film[f]
        tag = film_tag[f]
        own = u[cells[i]]
        t = read_at(own, least, inverse, temperature)
        gk = read_at(own, least, inverse, conductivity) / film_away[f]
        g, flow = film_law(t, gk, ambient[tag], film_h[tag], emissivity[tag])
        film_u[f], film_a[f] = film_area[f] * g, film_area[f] * flow
        a[i] += film_a[f]
        b[i] += film_u[f]
    for i in range(cells.size):
        a[i] *= share[cells[i]]
        b[i] *= share[cells[i]]


@njit(cache=True, nogil=True)
def film_law(t, gk, ambient, h, emissivity):
    """(g, flow) such that the flux out of a cell at T through its half cell and the film is g T - flow, exact at the present T."""
    if emissivity == 0.0:
        g = gk * h / (gk + h) if h > 0.0 else 0.0
        return g, g * ambient
    surface = t
    lin, rhs = h, h * ambient
    for _ in range(4):
        r = emissivity * SIGMA * surface**3
        lin = h + 4.0 * r
        rhs = h * ambient + emissivity * SIGMA * ambient**4 + 3.0 * r * surface
        if lin <= 0.0:
            return 0.0, 0.0
        surface = (gk * t + rhs) / (gk + lin)
    g = gk * lin / (gk + lin)
    return g, g * rhs / lin


@njit(cache=True, nogil=True)
def flow_at(w, bits, p, ux, uy):
    """Sum of (neighbour - own) over the neighbours the bits name."""
    one = np.uint64(1)
    c = w[p]
    q = bits[p]
    return (
        (q & 1) * (w[p - one] - c) + ((q >> 1) & 1) * (w[p + one] - c) + ((q >> 2) & 1) * (w[p - uy] - c)
        + ((q >> 3) & 1) * (w[p + uy] - c) + ((q >> 4) & 1) * (w[p - ux] - c) + ((q >> 5) & 1) * (w[p + ux] - c)
    )  # fmt: skip


@njit(cache=True, nogil=True)
def _onto(rate, w, share, along, more, scale):
    """Put on what flows along walls besides a cell's face."""
    for k in range(more.size):
        p, q = along[k, 0], along[k, 1]
        flow = scale * more[k] * (w[q] - w[p])
        rate[p] += share[p] * flow
        rate[q] -= share[q] * flow


@njit(cache=True, nogil=True)
def _stage(dst, src, older, w, bits, share, along, more, first, length, inner, ux, uy, mu, nu, mt, per_area):
    """One stage of the recurrence inside the metal: dst = mu src + nu older + mt rate(src).

    Pieces of cells with metal on all sides are whole cells: no bits and no volumes to look at.
    """
    scale, one = mt * per_area[0], np.uint64(1)
    for k in range(first.size):
        at = np.uint64(first[k])
        if inner[k]:
            for i in range(np.uint64(length[k])):
                p = at + i
                flow = w[p - one] + w[p + one] + w[p - uy] + w[p + uy] + w[p - ux] + w[p + ux] - 6.0 * w[p]
                dst[p] = mu * src[p] + nu * older[p] + scale * flow
        else:
            for i in range(np.uint64(length[k])):
                p = at + i
                dst[p] = mu * src[p] + nu * older[p] + scale * share[p] * flow_at(w, bits, p, ux, uy)
    _onto(dst, w, share, along, more, scale)


@njit(cache=True, nogil=True)
def metal_step(
    y0, ya, yb, w, bits, share, along, more, first, length, part_first, part_length, inner, sx, sy, cells, a, b, whole, wall, wall_w, wall_whole,
    least, inverse, temperature, base, slope, per_area, dt, stages,
):  # fmt: skip
    """One super-step of the metal against frozen surroundings; returns True where the result is in ``yb``, else in ``ya``.

    The Legendre recurrence of first order: the metal evens out far faster than a step lasts, so that a second order would only buy more
    stages.  ``w`` must hold the potentials of ``y0``.  ``whole`` [K s] and ``wall_whole`` [m2 K] come back as the integrals of the cell's
    temperature and of its potential through the very same recurrence, so that face heat = g (integral - dt T) is exact.
    ``per_area`` = 1/dx2 and 1/(rho c dx).
    Coefficients: C. D. Meyer, D. S. Balsara, T. D. Aslam, J. Comput. Phys. 257 (2014) 594-626 (from memory, unverified; their
    effect is checked against an explicit march in tests/twins).
    """
    ux, uy = np.uint64(sx), np.uint64(sy)
    n, m = cells.size, wall.size
    w1 = 2.0 / (stages * stages + stages)
    older_t, older_v = np.zeros(n), np.zeros(m)
    whole[:], wall_whole[:] = 0.0, 0.0
    src, dst = y0, ya
    for stage in range(1, stages + 1):
        if stage > 1:
            potentials(src, w, first, length, least, inverse, base, slope)
        j = float(stage)
        mu, nu = (2.0 * j - 1.0) / j, (1.0 - j) / j
        mt = mu * w1 * dt
        older = y0 if stage <= 2 else dst
        _stage(dst, src, older, w, bits, share, along, more, part_first, part_length, inner, ux, uy, mu, nu, mt, per_area)
        for i in range(n):
            t = read_at(src[cells[i]], least, inverse, temperature)
            dst[cells[i]] += mt * per_area[1] * (a[i] - b[i] * t)
            now = mu * whole[i] + nu * older_t[i] + mt * t
            older_t[i], whole[i] = whole[i], now
        for i in range(m):
            v = w[wall[i]]
            dst[wall[i]] += 2.0 * mt * per_area[0] * share[wall[i]] * (wall_w[i] - v)
            now = mu * wall_whole[i] + nu * older_v[i] + mt * v
            older_v[i], wall_whole[i] = wall_whole[i], now
        if stage == 1:
            src, dst = ya, yb
        else:
            src, dst = dst, src
    potentials(src, w, first, length, least, inverse, base, slope)
    return stages % 2 == 0


@njit(cache=True, nogil=True)
def _gradient(u, p, q, sx, sy, dx, least, inverse, temperature):
    """Size of the temperature gradient [K/m] by central differences inside the metal, one-sided at its edge."""
    t = read_at(u[p], least, inverse, temperature)
    total = 0.0
    for axis in range(3):
        step = 1 if axis == 0 else (sy if axis == 1 else sx)
        low = (q >> (2 * axis)) & 1
        high = (q >> (2 * axis + 1)) & 1
        if low + high == 0:
            continue
        lo = read_at(u[p - step], least, inverse, temperature) if low else t
        hi = read_at(u[p + step], least, inverse, temperature) if high else t
        g = (hi - lo) / (dx * (low + high))
        total += g * g
    return np.sqrt(total)


@njit(cache=True, nogil=True)
def crossings(was, now, bits, first, length, sx, sy, levels, reached, times, gradient, critical, t, dt, dx, least, inverse, temperature):
    """Note the moments at which falling cells pass ``levels`` (falling order); a cell that warms up again loses its mark.

    By metal cell in the order of the runs: ``reached`` (m,) counts the levels passed, ``times`` (levels, m), ``gradient`` (m,).  Returns
    least and greatest u, greatest change; the last NaN where any u is.
    """
    low, high, most, whole = np.inf, -np.inf, 0.0, True
    k_max = levels.size
    m = -1
    for k in range(first.size):
        a = np.int64(first[k])
        for p in range(a, a + np.int64(length[k])):
            m += 1
            u0, u1 = was[p], now[p]
            low = min(low, u1)
            high = max(high, u1)
            most = max(most, abs(u1 - u0))
            whole = whole and np.isfinite(u1)
            c = reached[m]
            while c < k_max and u1 <= levels[c]:
                share = (u0 - levels[c]) / (u0 - u1) if u0 > u1 else 1.0
                share = min(max(share, 0.0), 1.0)
                times[c, m] = t + dt * share
                if c == critical:
                    g0 = _gradient(was, p, bits[p], sx, sy, dx, least, inverse, temperature)
                    g1 = _gradient(now, p, bits[p], sx, sy, dx, least, inverse, temperature)
                    gradient[m] = g0 + share * (g1 - g0)
                c += 1
            while c > 0 and u1 > levels[c - 1]:
                c -= 1
                times[c, m] = np.nan
            reached[m] = c
    return low, high, most if whole else np.nan


@njit(cache=True, nogil=True)
def extent(u, first, length):
    """Least and greatest u; minus and plus infinity where any is not finite."""
    low, high = np.inf, -np.inf
    for k in range(first.size):
        a = np.uint64(first[k])
        for j in range(np.uint64(length[k])):
            v = u[a + j]
            if not np.isfinite(v):
                return -np.inf, np.inf
            low = min(low, v)
            high = max(high, v)
    return low, high


@njit(cache=True, nogil=True)
def metal_sum(u, start, share, first, length):
    """Sum over the metal of start - u."""
    total = 0.0
    for k in range(first.size):
        a = np.uint64(first[k])
        part = 0.0
        for j in range(np.uint64(length[k])):
            part += (start[a + j] - u[a + j]) / share[a + j]
        total += part
    return total
