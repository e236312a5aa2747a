"""The multi-rate solver against a plain explicit march of the whole grid, written here and sharing no code with it."""

import numpy as np
import pytest

from strickle.base import Grid
from strickle.sound.freezing import freeze
from strickle.sound.materials import MediumData, MetalData, adiabatic, film

KELVIN = 273.15
# fraction solid of Al-7Si-0.35Mg against temperature [degC]; the solid's properties vary so that tables and mixing are really used
CURVE = ((613.0, 0.0), (600.0, 0.28), (580.0, 0.47), (575.0, 0.50), (568.0, 0.82), (555.0, 1.0))
METAL = MetalData(
    curve_temperature=np.array([t + KELVIN for t, _ in CURVE]),
    curve_solid=np.array([f for _, f in CURVE]),
    latent_heat=389e3,
    solid_heat_temperature=np.array([300.0, 828.15]),
    solid_heat=np.array([900.0, 1100.0]),
    liquid_heat=1120.0,
    solid_conductivity_temperature=np.array([300.0, 828.15]),
    solid_conductivity=np.array([160.0, 145.0]),
    liquid_conductivity=75.0,
    density_solidus=2450.0,
)
SAND = MediumData(conductivity=0.6, density=1550.0, heat_capacity=1100.0)
CORE = MediumData(conductivity=0.9, density=1700.0, heat_capacity=1000.0)
POUR, COLD, H = 720.0 + KELVIN, 25.0 + KELVIN, 1000.0
OPEN_H, OPEN_EMISSIVITY = 10.0, 0.25
SIGMA = 5.670374419e-8


def mould():
    """A block with a thin wing, an open riser up to the top face and a core beside it, 3 mm cells."""
    tags = np.full((20, 18, 14), 10, np.uint8)
    tags[6:13, 5:12, 4:8] = 1
    tags[13:16, 6:11, 4:6] = 1
    tags[7:11, 6:10, 8:14] = 2
    tags[8:11, 8:10, 5:7] = 11
    return Grid(tags=tags, cell=0.003, origin=np.zeros(3))


def twin(grid, top_film):
    """Euler steps of the whole grid at the metal's limit; returns time to solidus by cell (linear between steps) and heat sums."""
    tags, dx = grid.tags, grid.cell
    metal = tags < 10
    # heat content [J/m3] above the solidus and conduction potential [W/m] along a fine temperature scale
    t = np.unique(np.concatenate([np.linspace(250.0, 1100.0, 60_001), METAL.curve_temperature]))
    solid = np.interp(t, METAL.curve_temperature[::-1], METAL.curve_solid[::-1])
    c = solid * np.interp(t, METAL.solid_heat_temperature, METAL.solid_heat) + (1 - solid) * METAL.liquid_heat
    k = solid * np.interp(t, METAL.solid_conductivity_temperature, METAL.solid_conductivity) + (1 - solid) * METAL.liquid_conductivity
    rise = np.diff(t)
    h = METAL.density_solidus * (np.concatenate([[0], np.cumsum(0.5 * (c[1:] + c[:-1]) * rise)]) + METAL.latent_heat * (1 - solid))
    h -= np.interp(METAL.curve_temperature[-1], t, h)
    w = np.concatenate([[0], np.cumsum(0.5 * (k[1:] + k[:-1]) * rise)])

    media = {10: SAND, 11: CORE}
    ks = np.zeros(tags.shape)
    cap = np.ones(tags.shape)
    for tag, medium in media.items():
        ks[tags == tag], cap[tags == tag] = medium.conductivity, medium.density * medium.heat_capacity
    temp = np.where(metal, POUR, COLD)
    heat = np.interp(temp, t, h)
    start = heat.copy()
    solid_at = np.full(tags.shape, np.nan)
    dt = 0.9 * dx**2 / (6.0 * 160.0 / (METAL.density_solidus * 900.0))
    now, out = 0.0, 0.0
    pairs = []
    for axis in range(3):
        lo = tuple(slice(0, -1) if a == axis else slice(None) for a in range(3))
        hi = tuple(slice(1, None) if a == axis else slice(None) for a in range(3))
        both = metal[lo] & metal[hi]
        contact = np.where(metal[lo] ^ metal[hi], 1.0 / H, 0.0)
        pairs.append((lo, hi, both, contact))
    while (heat[metal] > 0.0).any():
        km, wm = np.interp(temp, t, k), np.interp(temp, t, w)
        kk = np.where(metal, km, ks)
        gain = np.zeros(tags.shape)
        for lo, hi, both, contact in pairs:
            plain = (temp[hi] - temp[lo]) / (contact + 0.5 * dx / kk[lo] + 0.5 * dx / kk[hi])
            flux = np.where(both, (wm[hi] - wm[lo]) / dx, plain)
            gain[lo] += flux
            gain[hi] -= flux
        if top_film:
            inner, half = temp[:, :, -1], 0.5 * dx / kk[:, :, -1]
            face = inner.copy()
            for _ in range(8):
                slope = OPEN_H + 4 * OPEN_EMISSIVITY * SIGMA * face**3
                lost = OPEN_H * (face - COLD) + OPEN_EMISSIVITY * SIGMA * (face**4 - COLD**4)
                face -= (lost - (inner - face) / half) / (slope + 1 / half)
            flux = (inner - face) / half
            gain[:, :, -1] -= flux
            out += dt * flux.sum() * dx**2
        was = heat
        heat = heat + dt / dx * gain
        fresh = metal & (was > 0.0) & (heat <= 0.0)
        solid_at[fresh] = now + dt * was[fresh] / (was[fresh] - heat[fresh])
        temp = np.where(metal, np.interp(heat, h, t), temp + dt / dx * gain / cap)
        now += dt
    return solid_at, (start - heat)[metal].sum() * dx**3, out


@pytest.mark.parametrize("top_film", [False, True])
def test_every_cell_is_solid_when_the_twin_says(top_film):
    grid = mould()
    top = film(OPEN_H, COLD, OPEN_EMISSIVITY) if top_film else adiabatic
    told = freeze(
        grid,
        {1: METAL, 2: METAL, 10: SAND, 11: CORE},
        start={1: POUR, 2: POUR, 10: COLD, 11: COLD},
        faces={"z+": top},
        contact={(1, 10): H, (2, 10): H, (1, 11): H, (2, 11): H},
    )
    expected, lost, out = twin(grid, top_film)
    metal = grid.tags < 10
    assert told.status == "done"
    assert told.balance < 1e-9
    error = np.abs(told.time_to_solidus[metal] / expected[metal] - 1.0)
    assert error.max() < 3e-3
    assert np.isnan(told.time_to_solidus[~metal]).all()
    assert told.metal_loss == pytest.approx(lost, rel=5e-3)
    assert told.outer_loss == pytest.approx(out, rel=1e-2, abs=1e-9)
