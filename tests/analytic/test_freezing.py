"""Freezing and heating against closed-form solutions, through the public door on columns of cells.

C01, C03-C06 of the project's list of checks.  Formulas: H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., Oxford
1959, sections 2.4, 2.7 and 11.2 (two- and three-zone Neumann solutions, convection into a half-space); computed at 30 digits by
analytic.py of the reference set and re-derived below where a few lines of scipy suffice.
Traps met: a cell is solid when the front is at its FAR face, half a cell past the centre; and a "pure" metal needs a freezing range
that is small against the few kelvin the solid drops, so 0.005-0.02 K here.
"""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import erf, erfc

from strickle import Grid, MediumData, MetalData, film, fixed, freeze

KELVIN = 273.15
MELT = 660.0 + KELVIN
COLD = 20.0 + KELVIN
SAND = MediumData(conductivity=0.6, density=1500.0, heat_capacity=1130.0)
EFFUSIVITY = 1008.46417884  # J/(m2 K root s), C04
METAL, MEDIUM = 1, 10


def aluminium(width, *, conductivity=211.0, liquid_conductivity=91.0, heat=1190.0, liquid_heat=1080.0, latent=396e3):
    """The metal of C01, C03, C04: freezes over ``width`` kelvin just below 660 degC."""
    return MetalData.plain(
        solidus=MELT - width,
        liquidus=MELT,
        latent_heat=latent,
        solid_heat=heat,
        liquid_heat=liquid_heat,
        solid_conductivity=conductivity,
        liquid_conductivity=liquid_conductivity,
        density=2550.0,
    )


def column(metal_cells, media_cells, cell):
    """Metal first, then medium, along x."""
    tags = np.r_[np.full(metal_cells, METAL, np.uint8), np.full(media_cells, MEDIUM, np.uint8)].reshape(-1, 1, 1)
    return Grid(tags=tags, cell=cell, origin=np.zeros(3))


def stefan(ste):
    """Root of sqrt(pi) z exp(z^2) erf(z) = Ste (C01)."""
    return brentq(lambda z: np.sqrt(np.pi) * z * np.exp(z * z) * erf(z) - ste, 1e-6, 3.0)


def neumann(pour):
    """lambda, solid diffusivity and interface temperature of metal at ``pour`` against a half-space of sand, perfect contact (C03)."""
    a_s, a_l = 211.0 / (2550.0 * 1190.0), 91.0 / (2550.0 * 1080.0)
    nu = np.sqrt(a_s / a_l)
    b_s, b_l = np.sqrt(211.0 * 2550.0 * 1190.0), np.sqrt(91.0 * 2550.0 * 1080.0)

    def face(z):
        return (b_s * MELT / erf(z) + EFFUSIVITY * COLD) / (b_s / erf(z) + EFFUSIVITY)

    def gap(z):
        drawn = b_s * (MELT - face(z)) * np.exp(-z * z) / (np.sqrt(np.pi) * erf(z))
        brought = b_l * (pour - MELT) * np.exp(-((z * nu) ** 2)) / (np.sqrt(np.pi) * erfc(z * nu))
        return drawn - brought - 2550.0 * 396e3 * np.sqrt(a_s) * z

    z = brentq(gap, 1e-6, 1.0, xtol=1e-14)
    return z, a_s, face(z)


def wall_case(cell, width=0.5):
    """C01 on 12 mm of metal: relative error of the time to freeze 10 mm against a wall at 500 degC."""
    told = freeze(
        column(round(0.012 / cell), 0, cell),
        {METAL: aluminium(width, liquid_conductivity=211.0, liquid_heat=1190.0)},
        start={METAL: MELT},
        faces={"x-": fixed(500.0 + KELVIN)},
    )
    assert told.balance < 1e-9
    return told.time_to_solidus[round(0.010 / cell) - 1, 0, 0] / 1.722177 - 1.0


def test_c01_metal_against_a_cold_wall():
    assert stefan(0.1) == pytest.approx(0.2200163, rel=1e-6)
    assert stefan(1190.0 * 160.0 / 396e3) == pytest.approx(0.4569129, rel=1e-6)
    error = wall_case(0.0005)
    assert abs(error) < 0.01


@pytest.mark.parametrize(
    ("pour", "root", "depth", "expected", "length"),
    [(660.0, 0.04308106, 0.010, 193.7189, 0.020), (680.0, 0.02122729, 0.005, 199.4783, 0.500)],
)
def test_c03_metal_and_sand_in_perfect_contact(pour, root, depth, expected, length):
    z, a_s, _ = neumann(pour + KELVIN)
    assert z == pytest.approx(root, rel=1e-6)
    assert (depth / (2 * z)) ** 2 / a_s == pytest.approx(expected, rel=1e-5)
    cell = 0.0005
    cells, sand = round(length / cell), round(0.080 / cell)
    told = freeze(
        column(cells, sand, cell),
        {METAL: aluminium(0.005), MEDIUM: SAND},
        start={METAL: pour + KELVIN, MEDIUM: COLD},
        until=1.15 * expected,
        snapshots=[60.0],
    )
    assert told.balance < 1e-9
    at = cells - round(depth / cell)
    error = told.time_to_solidus[at, 0, 0] / expected - 1.0
    sand_at = told.snapshots[0, cells:, 0, 0]
    middle = (np.arange(sand) + 0.5) * cell
    mould = np.interp(0.005, middle, sand_at) - KELVIN
    assert abs(error) < 0.01
    assert mould == pytest.approx({660.0: 302.9616, 680.0: 303.2392}[pour], abs=1.0)
    front = np.interp(60.0, told.time_to_solidus[at - 2 : cells, 0, 0][::-1], (np.arange(cells - at + 2) + 1) * cell)
    assert front == pytest.approx(2 * z * np.sqrt(a_s * 60.0), rel=0.02)


def test_c04_plate_in_sand_keeps_the_parabolic_law():
    """20 mm plate between sand on both sides: 192.256 s in the sand-controlled limit (C03 exact 193.719 s)."""
    cell = 0.0005
    tags = np.r_[np.full(160, MEDIUM, np.uint8), np.full(40, METAL, np.uint8), np.full(160, MEDIUM, np.uint8)].reshape(1, 1, -1)
    told = freeze(
        Grid(tags=tags, cell=cell, origin=np.zeros(3)),
        {METAL: aluminium(0.005), MEDIUM: SAND},
        start={METAL: MELT, MEDIUM: COLD},
    )
    assert told.balance < 1e-9
    assert told.solid_time == pytest.approx(192.2559, rel=0.01)


def test_c05_sand_with_a_fixed_face():
    cell = 0.001
    told = freeze(column(0, 200, cell), {MEDIUM: SAND}, start={MEDIUM: COLD}, faces={"x-": fixed(MELT)}, until=600.0, snapshots=[120.0])
    middle = (np.arange(200) + 0.5) * cell
    warm = np.interp(0.010, middle, told.snapshots[0, :, 0, 0]) - KELVIN
    depth = np.interp(-100.0, KELVIN - told.temperature[:, 0, 0], middle)
    assert warm == pytest.approx(197.8884, abs=0.5)
    assert depth == pytest.approx(0.03161847, rel=0.005)
    assert told.media_gain / cell**2 == pytest.approx(7.977855e6 * np.sqrt(600.0 / 120.0), rel=0.005)
    assert told.balance < 1e-9


@pytest.mark.parametrize(("h", "face", "deep"), [(100.0, 279.692, 71.5445), (500.0, 534.650, 142.4607), (2000.0, 626.898, 180.7154)])
def test_c06_sand_behind_a_contact_conductance(h, face, deep):
    cell = 0.0005
    told = freeze(column(0, 160, cell), {MEDIUM: SAND}, start={MEDIUM: COLD}, faces={"x-": film(h, MELT)}, until=30.0)
    field = told.temperature[:, 0, 0] - KELVIN
    middle = (np.arange(160) + 0.5) * cell
    flux = (660.0 - field[0]) / (1.0 / h + 0.5 * cell / 0.6)
    assert 660.0 - flux / h == pytest.approx(face, abs=1.0)
    assert np.interp(0.005, middle, field) == pytest.approx(deep, abs=1.0)
    assert told.balance < 1e-9


def test_order_of_convergence_in_space():
    """Smooth case: sand behind h = 500 at 30 s and 5 mm from cold; halving the cell quarters the error."""
    errors = []
    for n in (40, 80, 160):
        cell = 0.080 / n
        told = freeze(column(0, n, cell), {MEDIUM: SAND}, start={MEDIUM: COLD}, faces={"x-": film(500.0, MELT)}, until=30.0, preset="fine")
        field = told.temperature[:, 0, 0] - KELVIN
        flux = (660.0 - field[0]) / (1.0 / 500.0 + 0.5 * cell / 0.6)
        errors.append(abs(660.0 - flux / 500.0 - 534.650024))
    order = np.log2(errors[0] / errors[1]), np.log2(errors[1] / errors[2])
    assert order[0] > 1.5
    assert order[1] > 1.3
