"""The compiled steps of the freezing solver in the media: explicit steps of a band, exchange with the metal and outside, sums."""

from __future__ import annotations

import numpy as np
from numba import njit

from strickle.kernels.freeze_media import ratio, warmth
from strickle.kernels.freeze_steps import film_law, flow_at, read_at


@njit(cache=True, nogil=True)
def _edge_segment(old, p_of, new, bits, share, shell, limit, a, n, f, ux, uy):
    """A segment at the edge of the band: nothing passes to or from cells outside ``limit``."""
    one = np.uint64(1)
    for j in range(n):
        p = a + j
        c, q, flow = p_of[p], bits[p], 0.0
        if q & 1 and shell[p - one] <= limit:
            flow += p_of[p - one] - c
        if q & 2 and shell[p + one] <= limit:
            flow += p_of[p + one] - c
        if q & 4 and shell[p - uy] <= limit:
            flow += p_of[p - uy] - c
        if q & 8 and shell[p + uy] <= limit:
            flow += p_of[p + uy] - c
        if q & 16 and shell[p - ux] <= limit:
            flow += p_of[p - ux] - c
        if q & 32 and shell[p + ux] <= limit:
            flow += p_of[p + ux] - c
        new[p] = old[p] + f * share[p] * flow


@njit(cache=True, nogil=True)
def _side_segment(old, p_of, new, bits, share, a, n, f, ux, uy):
    """A segment with other things beside it."""
    for j in range(n):
        new[a + j] = old[a + j] + f * share[a + j] * flow_at(p_of, bits, a + j, ux, uy)


@njit(cache=True, nogil=True)
def _free_segment(old, p_of, new, a, n, f, ux, uy):
    """A segment wholly inside one medium."""
    one = np.uint64(1)
    for j in range(n):
        p = a + j
        around = p_of[p - one] + p_of[p + one] + p_of[p - uy] + p_of[p + uy] + p_of[p - ux] + p_of[p + ux]
        new[p] = old[p] + f * (around - 6.0 * p_of[p])


@njit(cache=True, nogil=True)
def media_step(old, p_of, new, bits, share, shell, first, length, tag, full, reach, count, limit, factor, sx, sy):
    """Explicit step of the first ``count`` segments down the potential ``p_of``; nothing passes between shells inside and outside ``limit``."""
    ux, uy = np.uint64(sx), np.uint64(sy)
    for k in range(count):
        a, n, f = np.uint64(first[k]), np.uint64(length[k]), factor[tag[k]]
        if reach[k] > limit:
            _edge_segment(old, p_of, new, bits, share, shell, limit, a, n, f, ux, uy)
        elif full[k]:
            _free_segment(old, p_of, new, a, n, f, ux, uy)
        else:
            _side_segment(old, p_of, new, bits, share, a, n, f, ux, uy)


@njit(cache=True, nogil=True)
def exchange(
    old, new, share, shell, limit, dt, per_area, start, law_warm, law_ratio, touch, medium, pair, area, skin_heat, skin, touch_u, onward, whole,
    film, film_u, film_a, wall_w, wall_whole, wall_rate, cross, cross_pair, cross_rest, half, opens, open_pair, kind_wall, ambient, film_h,
    emissivity,
):  # fmt: skip
    """Bring the integrated face heat into the media; returns the heat that left through walls and films [J/m2 of a cell face].

    ``per_area`` (256,) = 1 / (rho c dx) of each medium, ``half`` (256,) [m2K/W] its half cell, both at its start; ``wall_rate`` turns an
    integral of potential differences into heat.
    """
    out = 0.0
    for f in range(touch.size):
        p, tag = medium[f], pair[f, 1]
        t = warmth(old[p], start[tag], law_warm[tag])
        if skin_heat[f] > 0.0:
            kap, on, g = skin_heat[f] / dt, onward[f], touch_u[f]
            skin[f] = (kap * skin[f] + g * whole[touch[f]] / dt + on * t) / (kap + g + on)
            heat = dt * area[f] * on * (skin[f] - t)
        else:
            heat = area[f] * touch_u[f] * (whole[touch[f]] - dt * t)
        new[p] += heat * per_area[tag] * share[p]
    for f in range(film.size):
        out += film_u[f] * whole[film[f]] - film_a[f] * dt
    for f in range(wall_w.size):
        out += wall_rate * (wall_whole[f] - dt * wall_w[f])
    for f in range(cross.shape[0]):
        p, q = cross[f, 0], cross[f, 1]
        if shell[p] <= limit and shell[q] <= limit:
            i, j = cross_pair[f, 0], cross_pair[f, 1]
            t, v = warmth(old[p], start[i], law_warm[i]), warmth(old[q], start[j], law_warm[j])
            r = cross_rest[f] + half[i] / ratio(t, start[i], law_ratio[i]) + half[j] / ratio(v, start[j], law_ratio[j])
            heat = dt * (t - v) / r
            new[p] -= heat * per_area[i] * share[p]
            new[q] += heat * per_area[j] * share[q]
    for f in range(opens.size):
        p = opens[f]
        if shell[p] <= limit:
            i, tag = open_pair[f, 0], open_pair[f, 1]
            t = warmth(old[p], start[i], law_warm[i])
            gk = ratio(t, start[i], law_ratio[i]) / half[i]
            if kind_wall[tag]:
                heat = dt * gk * (t - ambient[tag])
            else:
                g, flow = film_law(t, gk, ambient[tag], film_h[tag], emissivity[tag])
                heat = dt * (g * t - flow)
            new[p] -= heat * per_area[i] * share[p]
            out += heat
    return out


@njit(cache=True, nogil=True)
def foresee(
    old, small, links, kept, face_first, face, side_first, side, side_u, bits, share, tags, factor, dt, per_area, area, skin_heat, skin, beyond,
    touch_u, touch, cells, u, least, inverse, temperature, sx, sy,
):  # fmt: skip
    """Put into ``old`` of each small cell what it comes to by half of the step, its neighbours and the metal held still; ``kept`` gets what it was.

    Its neighbours, the metal and it itself all see that value for the whole step, so what one gives another takes, and no cell that the
    wall has cut small sets the step of all.  ``face_first`` (n + 1,) and ``face``: the metal's faces at each small cell; ``side_first``,
    ``side`` and ``side_u`` [W/(m2 K)]: its neighbours of other media.
    """
    ux, uy = np.uint64(sx), np.uint64(sy)
    for i in range(small.size):
        p = small[i]
        a = 0.5 * factor[tags[p]] * share[p]
        top, under = a * flow_at(old, bits, p, ux, uy), 1.0 + a * links[i]
        for k in range(face_first[i], face_first[i + 1]):
            f = face[k]
            t = read_at(u[cells[touch[f]]], least, inverse, temperature)
            kap, g, on = skin_heat[f] / dt, touch_u[f], beyond[f]
            c = 0.5 * dt * per_area[tags[p]] * share[p] * area[f] * (on * (kap + g) / (kap + g + on) if kap > 0.0 else g)
            beside = (kap * skin[f] + g * t) / (kap + g)
            top += c * (beside - old[p])
            under += c
        for k in range(side_first[i], side_first[i + 1]):
            c = 0.5 * dt * per_area[tags[p]] * share[p] * side_u[k]
            top += c * (old[side[k]] - old[p])
            under += c
        kept[i] = top / under
    for i in range(small.size):
        p = small[i]
        kept[i], old[p] = old[p], old[p] + kept[i]


@njit(cache=True, nogil=True)
def look_back(old, new, small, kept):
    """The small cells' step counted from what they were, and that put back."""
    for i in range(small.size):
        p = small[i]
        new[p] += kept[i] - old[p]
        old[p] = kept[i]


@njit(cache=True, nogil=True)
def quick_step(
    old, new, p_of, work, bits, share, first, length, tag, factor, start, law_flow, times, sx, sy, apart, apart_pair, apart_rest, half, per_area,
    law_warm, law_ratio, dt,
):  # fmt: skip
    """Media that conduct far better than the rest, in ``times`` equal explicit steps from ``old`` into ``new``.

    ``apart`` (m, 2): cells at faces between two such media; what passes there passes in the same steps.
    """
    ux, uy = np.uint64(sx), np.uint64(sy)
    for k in range(first.size):
        a = np.uint64(first[k])
        for j in range(np.uint64(length[k])):
            new[a + j] = old[a + j]
    for _ in range(times):
        for k in range(first.size):
            a, t = np.uint64(first[k]), tag[k]
            for j in range(np.uint64(length[k])):
                p_of[a + j] = warmth(new[a + j], start[t], law_flow[t])
        for k in range(first.size):
            a, f = np.uint64(first[k]), factor[tag[k]] / times
            for j in range(np.uint64(length[k])):
                work[a + j] = new[a + j] + f * share[a + j] * flow_at(p_of, bits, a + j, ux, uy)
        for k in range(apart.shape[0]):
            p, q, i, j = apart[k, 0], apart[k, 1], apart_pair[k, 0], apart_pair[k, 1]
            t, v = warmth(new[p], start[i], law_warm[i]), warmth(new[q], start[j], law_warm[j])
            heat = dt / times * (t - v) / (apart_rest[k] + half[i] / ratio(t, start[i], law_ratio[i]) + half[j] / ratio(v, start[j], law_ratio[j]))
            work[p] -= heat * per_area[i] * share[p]
            work[q] += heat * per_area[j] * share[q]
        for k in range(first.size):
            a = np.uint64(first[k])
            for j in range(np.uint64(length[k])):
                new[a + j] = work[a + j]


@njit(cache=True, nogil=True)
def media_sum(new, share, first, length, tag, count, start, heat):
    """Heat gained by the media in the band, per cell volume [J/m3 summed]."""
    total = 0.0
    for k in range(count):
        a = np.uint64(first[k])
        part = 0.0
        for j in range(np.uint64(length[k])):
            part += (new[a + j] - start[tag[k]]) / share[a + j]
        total += part * heat[tag[k]]
    return total
