"""What resists the metal's front: its skin in thin sections, and air that cannot get away.

Skin: metal that does not wet sand enters a slot of width t only against 2 gamma/t.  Where the pressure does not reach that, the front would be
thrown back; it is held instead: the air cell ahead counts as a wall until the pressure beside it is high enough.

Air: pockets are connected air cells without a way to the open air; each keeps its gas, which leaks through sand and vents.
"""

# mypy: ignore-errors
from __future__ import annotations

import math

from numba import njit

from strickle.kernels.fill_cells import CAVITY, OPEN, POURED
from strickle.kernels.fill_state import BODY, LIQUID, POCKETS, SHUT, SINCE, SWALLOWED, TIME, WALK

SMALL = 4.0
"""Cells of air below which a pocket is not followed."""


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def release(cells, s, hold, scale):
    """Free the held cells at which the metal's pressure has grown enough, and the held neighbours of what was freed: a front goes together.

    ``hold`` [Pa] by cell; ``scale`` turns Pa into the pressure's own unit.
    """
    q, stuck, liquid, band, gas = s.q, s.stuck, s.liquid, s.band, s.gas
    xm, xp, ym, yp, zm, zp, kind = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp, cells.kind
    queue = s.hurry
    found = 0
    for k in range(s.lists[WALK]):
        c = band[k]
        if stuck[c] == 0:
            continue
        if liquid[c] == 1:
            stuck[c] = 0
            continue
        for a in (xm[c], xp[c], ym[c], yp[c], zm[c], zp[c]):
            if kind[a] == CAVITY and liquid[a] == 1 and q[a] > (hold[c] + gas[c]) * scale:
                stuck[c] = 0
                queue[found] = c
                found += 1
                break
    at = 0
    while at < found:
        c = queue[at]
        at += 1
        for a in (xm[c], xp[c], ym[c], yp[c], zm[c], zp[c]):
            if stuck[a] == 1 and found < queue.shape[0]:
                stuck[a] = 0
                queue[found] = a
                found += 1


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _block(count, band, codes, speeds, low, stuck, liquid):
    for k in range(count):
        c = band[k]
        a = low[c]
        if codes[c] == BODY and ((stuck[a] == 1 and liquid[c] == 1) or (stuck[c] == 1 and liquid[a] == 1)):
            speeds[c] = 0.0


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def block(cells, s):
    """No metal passes into a held cell."""
    count, band = s.lists[WALK], s.band
    _block(count, band, s.cu, s.u, cells.xm, s.stuck, s.liquid)
    _block(count, band, s.cv, s.v, cells.ym, s.stuck, s.liquid)
    _block(count, band, s.cw, s.w, cells.zm, s.stuck, s.liquid)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _catch(count, band, codes, speeds, low, opening, liquid, kind, hold, stuck):
    found = 0
    for k in range(count):
        c = band[k]
        if codes[c] != BODY or opening[c] <= 0.0:
            continue
        a = low[c]
        if kind[a] != CAVITY or kind[c] != CAVITY:
            continue
        if liquid[a] == 1 and liquid[c] == 0 and hold[c] > 0.0 and speeds[c] < 0.0:
            found += 1 - stuck[c]
            stuck[c] = 1
            speeds[c] = 0.0
        elif liquid[c] == 1 and liquid[a] == 0 and hold[a] > 0.0 and speeds[c] > 0.0:
            found += 1 - stuck[a]
            stuck[a] = 1
            speeds[c] = 0.0
    return found


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def catch(cells, s, hold):
    """Where the skin throws the front back, hold it; returns how many cells are newly held."""
    count, band = s.lists[WALK], s.band
    found = _catch(count, band, s.cu, s.u, cells.xm, cells.ax, s.liquid, cells.kind, hold, s.stuck)
    found += _catch(count, band, s.cv, s.v, cells.ym, cells.ay, s.liquid, cells.kind, hold, s.stuck)
    return found + _catch(count, band, s.cw, s.w, cells.zm, cells.az, s.liquid, cells.kind, hold, s.stuck)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _pocket_of(cells, f, pocket, queue, begin, number, shut):
    """Number the air cells connected to ``begin``; returns how many, their air in cells, and whether they reach the open air."""
    xm, xp, ym, yp, zm, zp, kind, vol = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp, cells.kind, cells.vol
    ax, ay, az = cells.ax, cells.ay, cells.az
    queue[0] = begin
    pocket[begin] = number
    found, at = 1, 0
    room, is_open = 0.0, False
    while at < found:
        c = queue[at]
        at += 1
        room += (1.0 - f[c]) * vol[c]
        p1, p2, p3 = xp[c], yp[c], zp[c]
        for way in range(6):
            if way == 0:
                a, opening = xm[c], ax[c]
            elif way == 1:
                a, opening = p1, ax[p1]
            elif way == 2:
                a, opening = ym[c], ay[c]
            elif way == 3:
                a, opening = p2, ay[p2]
            elif way == 4:
                a, opening = zm[c], az[c]
            else:
                a, opening = p3, az[p3]
            if opening <= 0.0:
                continue
            if kind[a] == OPEN or (kind[a] == POURED and not shut):  # a mouth held at a pressure is shut by its metal
                is_open = True
            elif kind[a] == CAVITY and f[a] <= LIQUID and pocket[a] <= 0:
                pocket[a] = number
                queue[found] = a
                found += 1
    return found, room, is_open


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def breathe(cells, s, before, leak, bore, air, density_of_air):
    """Pressure of every pocket from its gas and its room now; gas that leaked since the last call has gone.

    ``before`` (m,) work; ``leak`` [m3/(s Pa)] through the sand and ``bore`` [m2] of vents by cell, both over the cell's volume;
    ``air`` [Pa] the open air's pressure.
    """
    f, pocket, moles, gas, queue = s.f, s.pocket, s.moles, s.gas, s.hurry
    n = cells.n
    passed = s.tally[TIME] - s.tally[SINCE]
    first = s.tally[SINCE] < 0.0
    s.tally[SINCE] = s.tally[TIME]
    room_of = s.held  # free between steps
    most = 0
    for c in range(n):
        before[c] = pocket[c]
        most = max(most, pocket[c])
        pocket[c] = 0
        gas[c] = 0.0
    weight = s.through  # by old pocket: air of its cells that are still air
    for k in range(most + 1):
        weight[k] = 0.0
    for c in range(n):
        if f[c] <= LIQUID:
            weight[max(int(before[c]), 0)] += 1.0 - f[c] + 1e-9
    for k in range(1, most + 1):
        if weight[k] <= 0.0:
            s.tally[SWALLOWED] += moles[k]
    number = 0
    for c in range(n):
        if f[c] > LIQUID or pocket[c] != 0:
            continue
        count, room, is_open = _pocket_of(cells, f, pocket, queue, c, number + 1, s.tally[SHUT] > 0.0)
        if is_open or room < SMALL:
            for k in range(count):
                pocket[queue[k]] = -1
            continue
        number += 1
        total, leaks, holes = 0.0, 0.0, 0.0
        for k in range(count):
            a = queue[k]
            leaks += leak[a]
            holes += bore[a]
            old = int(before[a])
            if first or old < 0:
                total += (1.0 - f[a]) * cells.vol[a]
            elif old > 0:  # what was metal brings no gas
                total += moles[old] * (1.0 - f[a] + 1e-9) / weight[old]
        total = total if total > 0.0 else room
        over = _pressure(total, room, leaks * passed, holes * passed, air, density_of_air)
        room_of[number] = room * (1.0 + over / air)
        less = min(1.0, 0.05 * room)
        s.stiff[number] = (_pressure(total, room - less, leaks * passed, holes * passed, air, density_of_air) - over) / less
        for k in range(count):
            gas[queue[k]] = over
    for k in range(1, number + 1):
        moles[k] = room_of[k]
    s.tally[POCKETS] = number


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _pressure(total, room, leaks, holes, air, density):
    """Over-pressure [Pa] of ``total`` gas in ``room`` after it has leaked: room p/air + leaks p + holes sqrt(2 p/density) = total - room."""
    excess = total - room
    slope = room / air + leaks
    if excess <= 0.0 or holes <= 0.0:
        return excess / slope
    side = holes * math.sqrt(2.0 / density)
    root = (math.sqrt(side * side + 4.0 * slope * excess) - side) / (2.0 * slope)
    return root * root


@njit(cache=True, error_model="numpy")
def closed_air(cells, s, room, place):
    """Pockets of air without a way out, of SMALL cells or more: ``room`` (k,) air in cells and ``place`` (k, 3) mean of box places, both work
    that bounds how many are told; returns how many.
    """
    f, pocket, queue = s.f, s.kind_of, s.hurry
    n, full, sx, sy = cells.n, cells.full, cells.sx, cells.sy
    for c in range(cells.m):
        pocket[c] = 0
    told = 0
    for c in range(n):
        if f[c] > LIQUID or pocket[c] != 0:
            continue
        count, size, is_open = _pocket_of(cells, f, pocket, queue, c, 1, s.tally[SHUT] > 0.0)
        if is_open or size < SMALL or told >= room.shape[0]:
            continue
        room[told] = size
        for axis in range(3):
            place[told, axis] = 0.0
        for k in range(count):
            at = full[queue[k]]
            place[told, 0] += (at // sx) / count
            place[told, 1] += ((at % sx) // sy) / count
            place[told, 2] += (at % sy) / count
        told += 1
    return told
