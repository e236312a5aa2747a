"""Metal in a cell behind a plane: how much of a unit cube a plane cuts off, where the plane lies for a given share, what leaves through a side.

The plane is ``m . x = alpha`` with m >= 0 and m1 + m2 + m3 = 1 after turning axes round; metal lies on the side of the origin.

Source: Scardovelli & Zaleski, Analytical relations connecting linear interfaces and volume fractions in rectangular grids,
J. Comput. Phys. 164 (2000) 228-237 (relations from memory, checked against direct integration).
"""

# mypy: ignore-errors
from __future__ import annotations

import math

from numba import njit

TINY = 1e-12


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _sorted(a, b, c):
    if a > b:
        a, b = b, a
    if b > c:
        b, c = c, b
    if a > b:
        a, b = b, a
    return a, b, c


@njit(cache=True, error_model="numpy")
def cut_volume(a, b, c, alpha):
    """Share of the unit cube with ``a x + b y + c z <= alpha``; a, b, c >= 0, of any sum."""
    total = a + b + c
    if total < TINY:
        return 1.0 if alpha >= 0.0 else 0.0
    if alpha <= 0.0:
        return 0.0
    if alpha >= total:
        return 1.0
    scale = 1.0 / total
    m1, m2, m3 = _sorted(a * scale, b * scale, c * scale)
    at = alpha * scale
    turned = at > 0.5
    if turned:
        at = 1.0 - at
    m12 = m1 + m2
    if at < m1:
        share = at * at * at / (6.0 * m1 * m2 * m3)
    elif at < m2:
        share = at * (at - m1) / (2.0 * m2 * m3) + (m1 * m1 / (6.0 * m2 * m3))
    elif at >= m12 and m12 <= m3:
        share = (2.0 * at - m12) / (2.0 * m3)
    else:
        product = 6.0 * m1 * m2 * m3
        if at < m3:
            share = (at * at * (3.0 * m12 - at) + m1 * m1 * (m1 - 3.0 * at) + m2 * m2 * (m2 - 3.0 * at)) / product
        else:
            share = (at * at * (3.0 - 2.0 * at) + m1 * m1 * (m1 - 3.0 * at) + m2 * m2 * (m2 - 3.0 * at) + m3 * m3 * (m3 - 3.0 * at)) / product
    return 1.0 - share if turned else share


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _middle_root(p, q, r):
    """The middle one of the three real roots of x^3 + p x^2 + q x + r."""
    third = p / 3.0
    down = third * third - q / 3.0
    half = third * (third * third - 0.5 * q) + 0.5 * r
    root = math.sqrt(max(down, 0.0))
    cube = root * root * root
    turn = 0.0 if cube <= 0.0 else math.acos(min(max(half / cube, -1.0), 1.0)) / 3.0
    return root * (math.cos(turn) - math.sqrt(3.0) * math.sin(turn)) - third


@njit(cache=True, error_model="numpy")
def plane_at(a, b, c, share):
    """``alpha`` that cuts ``share`` off the unit cube; a, b, c >= 0 with sum 1."""
    m1, m2, m3 = _sorted(a, b, c)
    if share <= 0.0:
        return 0.0
    if share >= 1.0:
        return 1.0
    turned = share > 0.5
    part = 1.0 - share if turned else share
    m12 = m1 + m2
    product = 6.0 * m1 * m2 * m3
    first = m1 * m1 / max(6.0 * m2 * m3, TINY)
    second = first + 0.5 * (m2 - m1) / m3
    if part < first:
        at = (product * part) ** (1.0 / 3.0)
    elif part < second:
        at = 0.5 * (m1 + math.sqrt(m1 * m1 + 8.0 * m2 * m3 * (part - first)))
    else:
        if m3 < m12:
            third = (m3 * m3 * (3.0 * m12 - m3) + m1 * m1 * (m1 - 3.0 * m3) + m2 * m2 * (m2 - 3.0 * m3)) / product
        else:
            third = 0.5 * m12 / m3
        if part < third:
            at = _middle_root(-3.0 * m12, 3.0 * (m1 * m1 + m2 * m2), product * part - (m1 * m1 * m1 + m2 * m2 * m2))
        elif m12 <= m3:
            at = m3 * part + 0.5 * m12
        else:
            at = _middle_root(-1.5, 1.5 * (m1 * m1 + m2 * m2 + m3 * m3), 0.5 * (product * part - (m1 * m1 * m1 + m2 * m2 * m2 + m3 * m3 * m3)))
    return 1.0 - at if turned else at


@njit(cache=True, error_model="numpy")
def leaving(nx, ny, nz, share, axis, is_high, depth):
    """Metal [cube] in the slab of ``depth`` along ``axis`` at its high or low side, of a cell with the share ``share`` of metal.

    (nx, ny, nz) points from metal to air, of any length; a cell without direction is taken as mixed evenly.
    """
    total = abs(nx) + abs(ny) + abs(nz)
    if total < TINY:
        return share * depth
    a, b, c = abs(nx) / total, abs(ny) / total, abs(nz) / total
    alpha = plane_at(a, b, c, share)
    if axis == 0:
        along, side = a, nx
    elif axis == 1:
        along, side = b, ny
    else:
        along, side = c, nz
    if is_high == (side >= 0.0):  # the slab's far side, seen from the metal
        alpha -= along * (1.0 - depth)
    if axis == 0:
        a *= depth
    elif axis == 1:
        b *= depth
    else:
        c *= depth
    return depth * cut_volume(a, b, c, alpha)
