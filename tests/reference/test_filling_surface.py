"""Planes in cells: cut volumes (C13). The slotted disk is in tests/outside."""

import pytest
from numba import njit

from strickle.kernels.fill_planes import cut_volume

# integrals of a unit cube under a plane, computed apart from any of this code (C13)
CUTS = [
    ((1.0, 1.0, 1.0, 0.5), 1.0 / 48.0), ((1.0, 1.0, 1.0, 1.5), 0.5), ((0.2, 0.3, 0.5, 0.4), 0.3055555555555556),
    ((0.1, 0.3, 0.6, 0.7), 0.8240740740740741), ((0.05, 0.15, 0.8, 0.15), 0.06597222222222222),
]  # fmt: skip


@pytest.mark.parametrize(("plane", "share"), CUTS)
def test_volume_under_a_plane(plane, share):
    assert under(*plane) == pytest.approx(share, abs=1e-12)


@njit
def under(a, b, c, alpha):
    return cut_volume(a, b, c, alpha)
