"""Media whose heat capacity and conductivity follow temperature, as short polynomials that a step over cells can afford.

A medium's state is its heat content counted as a temperature, ``h = start + integral of c dT / c(start)`` [K], so that what a step brings
in is brought in to the last digit.  Heat flows down Kirchhoff's potential, ``p = start + integral of k dT / k(start)`` [K]: the flux
between two cells is then exact for a conductivity that follows temperature.  Temperature, potential and relative conductivity are
``x (1 + c1 x + c2 x2 + c3 x3)``, and so on, of x = h - start, fitted to the nodes given; for constant data they are x itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from strickle.kernels.freeze_tables import Refused
from strickle.kernels.freeze_types import MediumTable

Floats = NDArray[np.float64]
OFF = 0.01  # of its span: a fit that misses by more is refused
OFF_RATIO = 0.1  # of itself, the same for the conductivity, which only rules contacts and half cells


class Laws(NamedTuple):
    """By tag: references at the starting temperature and the polynomials."""

    conductivity: Floats  # (256,) W/(m K) at the start
    capacity: Floats  # (256,) J/(m3 K) at the start
    start: Floats  # (256,) K
    warm: Floats  # (256, 3) temperature from heat content
    flow: Floats  # (256, 3) potential from heat content
    ratio: Floats  # (256, 3) conductivity over that at the start, from temperature
    steepest: Floats  # (256,) greatest slope of the potential over heat content
    mean: Floats  # (256,) mean heat capacity over that at the start
    curved: NDArray[np.bool_]  # (256,) whether anything follows temperature


@njit(cache=True, nogil=True, inline="always")
def warmth(h, start, c):
    """Temperature [K] of a heat content [K]."""
    x = h - start
    return start + x * (1.0 + x * (c[0] + x * (c[1] + x * c[2])))


@njit(cache=True, nogil=True, inline="always")
def ratio(t, start, c):
    """Conductivity over that at the start."""
    x = t - start
    return 1.0 + x * (c[0] + x * (c[1] + x * c[2]))


@njit(cache=True, nogil=True)
def warmths(field, tags, curved, start, c):
    """Heat contents (nx, ny, nz) of the media that follow temperature turned into temperatures, in place."""
    for x in range(field.shape[0]):
        for y in range(field.shape[1]):
            for z in range(field.shape[2]):
                t = tags[x, y, z]
                if curved[t]:
                    field[x, y, z] = warmth(field[x, y, z], start[t], c[t])


@njit(cache=True, nogil=True)
def flows(old, out, first, length, tag, count, start, c):
    """``out`` = potential of the first ``count`` segments and of those at their ends."""
    for k in range(count):
        a, t = np.uint64(first[k]), tag[k]
        s, c0, c1, c2 = start[t], c[t, 0], c[t, 1], c[t, 2]
        for j in range(np.uint64(length[k])):
            x = old[a + j] - s
            out[a + j] = s + x * (1.0 + x * (c0 + x * (c1 + x * c2)))


def _nodes(value: object, name: str) -> tuple[Floats, Floats]:
    """Temperatures [K] and values; one of each for a constant. Raises Refused unless finite and positive."""
    t, v = value if isinstance(value, tuple) else ((293.15,), (value,))
    temperature, values = np.atleast_1d(np.asarray(t, dtype=float)).ravel(), np.atleast_1d(np.asarray(v, dtype=float)).ravel()
    good = temperature.size == values.size and np.isfinite(temperature).all() and np.isfinite(values).all() and (values > 0.0).all()
    if not good:
        raise Refused(f"{name} needs positive numbers, or as many temperatures as positive values")
    order = np.argsort(temperature, kind="stable")
    return temperature[order], values[order]


def _fit(x: Floats, y: Floats, name: str) -> Floats:
    """C of y = x (1 + c1 x + c2 x2 + c3 x3). Raises Refused where that does not follow y."""
    at = x != 0.0
    scale = float(np.abs(x).max())
    powers = np.stack([(x[at] / scale) ** n for n in (1, 2, 3)], axis=1)
    c, *_ = np.linalg.lstsq(powers * x[at, None], y[at] - x[at], rcond=None)
    miss = np.abs(x[at] * (1.0 + powers @ c) - y[at]).max() / max(float(np.ptp(y)), 1e-300)
    if miss > OFF:
        raise Refused(f"{name} bends too sharply with temperature: give smoother nodes")
    return np.asarray(c / scale ** np.arange(1, 4))


def laws(media: Mapping[int, MediumTable], lowest: float, highest: float) -> Laws:
    """The media's polynomials between two temperatures [K]. Raises Refused for data that cannot be fitted."""
    one, poly = np.zeros((5, 256)), np.zeros((3, 256, 3))
    conductivity, capacity, start, steepest, mean = one
    steepest[:], mean[:] = 1.0, 1.0
    curved = np.zeros(256, np.bool_)
    for tag, medium in media.items():
        kt, kv = _nodes(medium.conductivity, f"conductivity of the medium with tag {tag}")
        ct, cv = _nodes(medium.heat, f"heat capacity of the medium with tag {tag}")
        start[tag] = medium.start
        conductivity[tag] = np.interp(medium.start, kt, kv)
        capacity[tag] = medium.density * np.interp(medium.start, ct, cv)
        if kv.size == 1 and cv.size == 1:
            continue
        curved[tag] = True
        low, high = min(lowest, medium.start) - 1.0, max(highest, medium.start) + 1.0
        t = np.unique(np.concatenate([np.linspace(low, high, 801), [medium.start]]))
        zero = int(np.flatnonzero(t == medium.start)[0])
        k, c = np.interp(t, kt, kv) / conductivity[tag], np.interp(t, ct, cv) * medium.density / capacity[tag]
        x, p = _running(c, t, zero), _running(k, t, zero)
        name = f"the medium with tag {tag}"
        poly[0, tag], poly[1, tag] = _fit(x, t - medium.start, name), _fit(x, p, name)
        tau = t - medium.start
        rises = np.stack([tau, tau**2, tau**3], axis=1)
        poly[2, tag] = np.linalg.lstsq(rises, k - 1.0, rcond=None)[0]
        fitted = 1.0 + rises @ poly[2, tag]
        if np.abs(fitted / k - 1.0).max() > OFF_RATIO:
            raise Refused(f"the conductivity of {name} bends too sharply with temperature: give smoother nodes")
        slope = 1.0 + 2.0 * poly[1, tag, 0] * x + 3.0 * poly[1, tag, 1] * x**2 + 4.0 * poly[1, tag, 2] * x**3
        if slope.min() <= 0.0:
            raise Refused(f"{name} bends too sharply with temperature: give smoother nodes")
        steepest[tag], mean[tag] = float(slope.max()), float(x[-1] / max(t[-1] - medium.start, 1e-300))
    return Laws(conductivity, capacity, start, poly[0], poly[1], poly[2], steepest, mean, curved)


def _running(y: Floats, t: Floats, zero: int) -> Floats:
    """Running integral of y over t, nought at row ``zero``."""
    out = np.concatenate([[0.0], np.cumsum(0.5 * (y[1:] + y[:-1]) * np.diff(t))])
    return np.asarray(out - out[zero])


def content(law: Laws, tag: int, temperature: Floats) -> Floats:
    """Heat content [K] at temperatures [K] of one medium: the polynomial turned round by Newton's method."""
    if not law.curved[tag]:
        return np.asarray(temperature, dtype=float)
    s, (c1, c2, c3) = law.start[tag], law.warm[tag]
    goal = np.asarray(temperature, dtype=float) - s
    x = goal.copy()
    for _ in range(30):
        slope = 1.0 + x * (2.0 * c1 + x * (3.0 * c2 + x * 4.0 * c3))
        x = x - (x * (1.0 + x * (c1 + x * (c2 + x * c3))) - goal) / slope
    return np.asarray(s + x)
