"""A wall as one lump that gives its heat to a column of sand cut into layers, stepped implicitly."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@njit(cache=True, nogil=True)
def _step(temperature, into, between, holds, metal, time, upper, right):
    """Advance the layers in place by ``time`` [s]; the heat [J/m2] taken from metal at ``metal`` [K]. ``upper`` and ``right`` are scratch."""
    last = temperature.size - 1
    before = time * into
    for i in range(last + 1):
        after = time * between[i] if i < last else 0.0
        if i == 0:
            middle = holds[0] + before + after
            value = holds[0] * temperature[0] + before * metal
        else:
            middle = holds[i] + before + after + before * upper[i - 1]
            value = holds[i] * temperature[i] + before * right[i - 1]
        upper[i] = -after / middle
        right[i] = value / middle
        before = after
    temperature[last] = right[last]
    for i in range(last - 1, -1, -1):
        temperature[i] = right[i] - upper[i] * temperature[i + 1]
    return time * into * (metal - temperature[0])


@njit(cache=True, nogil=True)
def _read(u, least, width, values):
    """A table of even steps read linearly; the end slopes go on."""
    place = (u - least) / width
    i = min(max(int(np.floor(place)), 0), values.size - 2)
    return values[i] + (place - i) * (values[i + 1] - values[i])


@njit(cache=True, nogil=True)
def _until(u, end, bite, per_u, least, width, values, temperature, into, between, holds, film, radiation, around):
    upper, right = np.empty_like(temperature), np.empty_like(temperature)
    time = 0.0
    while True:
        metal = _read(u, least, width, values)
        above = film * (metal - around) + radiation * (metal**4 - around**4)
        step = bite / (into * (metal - temperature[0]) + above)
        lost = (_step(temperature, into, between, holds, metal, step, upper, right) + above * step) / per_u
        if u - lost <= end:
            return time + step * (u - end) / lost
        u -= lost
        time += step


def step(temperature: Floats, into: float, between: Floats, holds: Floats, metal: float, time: float) -> float:
    """Heat [J/m2] that layers at ``temperature`` (n,) [K], moved on in place, take from metal at ``metal`` [K] in ``time`` [s].

    ``into`` [W/(m2 K)] from the metal to the first layer's middle, ``between`` (n - 1,) [W/(m2 K)] from layer to layer, ``holds`` (n,)
    [J/(m2 K)] of each layer.
    """
    return float(_step(temperature, into, between, holds, metal, time, np.empty_like(temperature), np.empty_like(temperature)))


def until(
    u: float, end: float, bite: float, per_u: float, table: tuple[float, float, Floats], layers: tuple[Floats, float, Floats, Floats],
    top: tuple[float, float, float],
) -> float:  # fmt: skip
    """Time [s] until a wall's heat content falls from ``u`` to ``end`` [K].

    ``bite`` [J/m2] is the heat of a step; ``per_u`` [J/(m2 K)] of a face of sand; ``table`` the metal's temperature [K] at even steps of
    heat content (first, step, values); ``layers`` as in ``step``; ``top`` film [W/(m2 K)], radiation [W/(m2 K4)] and surroundings [K] of
    what lies open, zeros where nothing does.
    """
    return float(_until(float(u), float(end), float(bite), float(per_u), *table, *layers, *top))


def warm() -> None:
    """Compile, or load from disk, by one thin wall."""
    layers = (np.full(2, 300.0), 500.0, np.full(1, 500.0), np.full(2, 5e3))
    step(layers[0].copy(), *layers[1:], 900.0, 0.01)
    until(2.0, 0.0, 1e3, 1e4, (-10.0, 1.0, np.linspace(800.0, 830.0, 31)), layers, (0.0, 0.0, 0.0))
