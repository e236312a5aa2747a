"""F5: Niyama's value under a change of length.  Twice the length in perfect contact leaves it as it was; behind a contact conductance it does not."""

from __future__ import annotations

import functools

import numpy as np

from outside import Row, case
from outside.columns import COLD, KELVIN, MEDIUM, METAL, SAND, balanced
from strickle import Freezing, Grid, MetalData, freeze

NIYAMA = "Niyama et al., AFS Int. Cast Metals J., 1982 (from memory); the law of likeness is the heat equation's own"
METAL_LIKE_A356 = MetalData.plain(
    solidus=555.0 + KELVIN, liquidus=613.0 + KELVIN, latent_heat=389e3, solid_heat=1080.0, liquid_heat=1080.0, solid_conductivity=150.0,
    liquid_conductivity=80.0, density=2450.0,
)  # fmt: skip


@functools.cache
def plate(cell: float, h: float | None) -> Freezing:
    """An eighth of a plate of 20 x 20 x 8 cells in sand."""
    tags = np.full((26, 26, 20), MEDIUM, np.uint8)
    tags[:10, :10, :4] = METAL
    return balanced(
        freeze(
            Grid(tags=tags, cell=cell, origin=np.zeros(3)), {METAL: METAL_LIKE_A356, MEDIUM: SAND}, start={METAL: 720.0 + KELVIN, MEDIUM: COLD},
            contact={(METAL, MEDIUM): h},
        )
    )  # fmt: skip


def ratio(field: str, h: float | None) -> np.ndarray:
    """A field at twice the length over the same at once, where both are numbers."""
    one, two = (getattr(plate(cell, h), field) for cell in (0.0025, 0.005))
    known = np.isfinite(one) & np.isfinite(two)
    return np.asarray(two[known] / one[known])


@case("F5", NIYAMA)
def niyama_under_scale() -> list[Row]:
    same, other, one = ratio("niyama", None), ratio("niyama", 500.0), plate(0.0025, None)
    made = one.gradient / np.sqrt(one.cooling_rate) / one.niyama
    return [
        Row("niyama, twice the length, median", 1.0, np.median(same), 0.02, "1"),
        Row("niyama, twice the length, cell furthest off of 95 %", 1.0, 1.0 + np.percentile(np.abs(same - 1.0), 95), 0.02, "1"),
        Row("freezing time, twice the length", 4.0, np.median(ratio("time_to_solidus", None)), 0.01, "1", relative=True),
        Row("gradient, twice the length", 0.5, np.median(ratio("gradient", None)), 0.02, "1", relative=True),
        Row("cooling rate, twice the length", 0.25, np.median(ratio("cooling_rate", None)), 0.02, "1", relative=True),
        Row("gradient [K/m] over root of cooling rate [K/s], over niyama, median", 1e3, np.nanmedian(made), 0.02, "1", relative=True),
        Row("niyama behind h = 500 changes by", 0.02, abs(np.median(other) - 1.0), 0.0, "1", at_least=True),
    ]
