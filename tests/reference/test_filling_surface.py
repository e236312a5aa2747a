"""Planes in cells: cut volumes (C13), and the slotted disk turned once in a prescribed flow, which the door cannot give (kernels directly)."""

import pytest
from numba import njit

from flows import say
from slotted_disk import turned
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


@pytest.mark.validate
@pytest.mark.parametrize("n", [200])
def test_slotted_disk(n):
    """One turn on 200 x 200, Courant number 0.25: error sum |dF| / sum F; Youngs' planes 1.09e-2, the bar here 1.5e-2.

    Rudman, Volume-tracking methods for interfacial flow calculations, Int. J. Numer. Meth. Fluids 24 (1997) 671-691 (figures from memory).
    """
    error, drift, least, most, steps = turned(n)
    say(f"slotted disk {n}: error {error:.2e}, drift {drift:.1e}, shares {least:.1e} .. {most:.6f}, {steps} steps")
    assert error <= 1.5e-2
    assert drift < 1e-10
