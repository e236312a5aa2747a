"""Colours of time: pale for early, dark for late, lightness falling evenly, so that a black-and-white print reads the same."""

from __future__ import annotations

import math

import numpy as np

from strickle.base import Array

# anchors as sRGB; their lightness is laid even again below, so only hue and strength are chosen here
_ANCHORS = np.array([[1.00, 0.96, 0.78], [0.99, 0.80, 0.42], [0.93, 0.53, 0.26], [0.73, 0.26, 0.30], [0.45, 0.10, 0.36], [0.20, 0.05, 0.26]])
LIGHT, DARK = 0.965, 0.27  # OKLab lightness at the two ends


def _linear(srgb: Array) -> Array:
    out: Array = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    return out


def _srgb(linear: Array) -> Array:
    linear = np.clip(linear, 0.0, 1.0)
    out: Array = np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)
    return out


_M1 = np.array([[0.4122214708, 0.5363325363, 0.0514459929], [0.2119034982, 0.6806995451, 0.1073969566], [0.0883024619, 0.2817188376, 0.6299787005]])
_M2 = np.array(
    [[0.2104542553, 0.7936177850, -0.0040720468], [1.9779984951, -2.4285922050, 0.4505937099], [0.0259040371, 0.7827717662, -0.8086757660]]
)


def oklab(srgb: Array) -> Array:
    """OKLab of sRGB colours (n, 3). Source: Ottosson, A perceptual color space for image processing, 2020 (matrices from memory)."""
    out: Array = np.cbrt(_linear(np.atleast_2d(srgb)) @ _M1.T) @ _M2.T
    return out


def _from_oklab(lab: Array) -> Array:
    return _srgb((lab @ np.linalg.inv(_M2).T) ** 3 @ np.linalg.inv(_M1).T)


def shade_of(share: Array) -> Array:
    """Colours (n, 3) in 0..1 for shares 0 (early) to 1 (late) of the time shown."""
    share = np.clip(np.asarray(share, dtype=np.float64).ravel(), 0.0, 1.0)
    lab = oklab(_ANCHORS)
    where = np.linspace(0.0, 1.0, len(_ANCHORS))
    a, b = np.interp(share, where, lab[:, 1]), np.interp(share, where, lab[:, 2])
    return _from_oklab(np.column_stack([LIGHT + (DARK - LIGHT) * share, a, b]))


def nice_step(top: float, most: int = 8) -> float:
    """A round step that cuts 0..top into at most ``most`` bands.

    >>> nice_step(260.0), nice_step(41.0)
    (50.0, 10.0)
    """
    if not top > 0:
        return 1.0
    rough = top / most
    base = 10.0 ** math.floor(math.log10(rough))
    return float(next(k * base for k in (1.0, 2.0, 2.5, 5.0, 10.0) if k * base >= rough - 1e-12))


_TABLE = 512


def _looked_up(share: Array) -> Array:
    """``shade_of`` by table, for a picture's many points."""
    out: Array = shade_of(np.linspace(0.0, 1.0, _TABLE))[(np.clip(share, 0.0, 1.0) * (_TABLE - 1) + 0.5).astype(np.intp)]
    return out


def banded(times: Array, step: float, top: float) -> Array:
    """Colours of times in bands of ``step``: mostly the band's own shade with a little of the run within it."""
    band = (np.floor(np.minimum(times, top * (1 - 1e-9)) / step) + 0.5) * step
    return _looked_up((0.72 * band + 0.28 * np.minimum(times, top)) / max(top, 1e-12))
