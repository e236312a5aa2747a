"""What the criteria must obey, through the solver's public door: F4, F5 and F6 of the list of checks."""

import dataclasses

import numpy as np
import pytest

from strickle.base import GRAVITY, Grid
from strickle.cavity import AIR, PART, RISER, SAND
from strickle.job.kit import stores_with
from strickle.metal import ArmLaw, MetalAsk
from strickle.metal.steps import blend
from strickle.sound import criteria, rules
from strickle.sound.freezing import freeze
from strickle.sound.materials import MediumData
from strickle.stores.kit import starter_kit

MEDIUM = MediumData(conductivity=0.6, density=1550.0, heat_capacity=1100.0)
ATMOSPHERE = 101325.0
A356 = ArmLaw(by="cooling rate", factor=39.4e-6, power=-0.317, spread=0.25, source="Spear & Gardner")


def lump(cell=0.002):
    """A lopsided block with a riser in a closed mould: thick end, thin end."""
    tags = np.full((26, 20, 22), SAND, np.uint8)
    tags[6:20, 6:14, 6:12] = PART
    tags[6:11, 7:13, 12:17] = RISER
    return Grid(tags=tags, cell=cell, origin=np.zeros(3))


def frozen(metal, grid=None, preset="shop", contact=None, **more):
    start = {PART: metal.liquidus + 100.0, RISER: metal.liquidus + 100.0, SAND: 298.0}
    pairs = {} if contact is None else {(PART, SAND): contact, (RISER, SAND): contact}
    return freeze(grid or lump(), {PART: metal, RISER: metal, SAND: MEDIUM}, start=start, preset=preset, contact=pairs, **more)


@pytest.fixture(scope="module")
def metal():
    stores = stores_with(starter_kit())
    return lambda key: blend(MetalAsk(metal=key), stores)


@pytest.fixture(scope="module")
def fine(metal):
    return {key: frozen(metal(key), preset="fine") for key in ("a356", "c90300")}


@pytest.mark.parametrize("key", ["a356", "c90300"])
@pytest.mark.parametrize(("preset", "middle", "spread"), [("rough", 0.02, 0.08), ("shop", 0.005, 0.025)])
def test_niyama_does_not_hang_on_the_step(metal, fine, key, preset, middle, spread):
    """Read from the moments of passing two levels, not from one step: a third of the steps give the same, but for cells that pass both in one."""
    told = frozen(metal(key), preset=preset)
    assert told.steps < 0.6 * fine[key].steps
    ratio = told.niyama / fine[key].niyama
    ratio = ratio[np.isfinite(ratio)]
    assert ratio.size == np.isfinite(fine[key].time_to_solidus).sum()
    assert np.median(ratio) == pytest.approx(1.0, abs=middle)
    assert np.percentile(np.abs(ratio - 1.0), 90) < spread


def test_f5_similarity_of_niyama(bench_metal):
    """Twice the lengths in perfect contact leave it unchanged; with a contact conductance they do not."""
    for contact, low, high in ((None, 0.98, 1.02), (500.0, 1.04, 1.5)):
        small, large = (frozen(bench_metal, lump(cell), contact=contact) for cell in (0.002, 0.004))
        ratio = large.niyama / small.niyama
        assert low < np.nanmedian(ratio) < high


def made(metal, told, grid=None, **more):
    grid = grid or lump()
    return criteria.fields_of(told, told.mark_times, grid.tags, grid.cell, metal, more.get("air", ATMOSPHERE), more.get("critical", 0.0))


@pytest.fixture(scope="module")
def marked(bench_metal):
    return frozen(bench_metal, marks=criteria.MARKS)


def test_fields_are_what_the_scalar_rules_say_cell_by_cell(bench_metal, marked):
    metal = dataclasses.replace(bench_metal, arms=A356)
    found, grid = made(metal, marked), lump()
    top = 17 * grid.cell
    for cell in [(7, 8, 7), (19, 13, 11), (8, 9, 15), (12, 6, 6)]:
        local = marked.time_to_solidus[cell] - marked.time_to_liquidus[cell]
        assert found.freezing_time[cell] == pytest.approx(local, rel=1e-6)
        spacing = 39.4e-6 * ((metal.liquidus - metal.solidus) / local) ** -0.317
        assert found.arm_spacing[cell] == pytest.approx(spacing, rel=1e-6)
        head = metal.density_liquidus * GRAVITY * (top - (cell[2] + 0.5) * grid.cell)
        ny = rules.dimensionless_niyama(
            marked.gradient[cell], marked.cooling_rate[cell], spacing, ATMOSPHERE + head, metal.viscosity,
            metal.shrinkage / (1 - metal.shrinkage), metal.liquidus - metal.solidus,
        )  # fmt: skip
        assert found.dimensionless_niyama[cell] == pytest.approx(ny, rel=1e-5)
        row = int((grid.tags != SAND).ravel()[: np.ravel_multi_index(cell, grid.tags.shape)].sum())
        early, late, last = marked.mark_times[:, row]
        assert found.hot_tear[cell] == pytest.approx(rules.hot_tear_ratio(early, late, last), rel=1e-5)
    for field in (found.freezing_time, found.arm_spacing, found.dimensionless_niyama, found.hot_tear):
        assert np.isnan(field[grid.tags == SAND]).all()
        assert np.nanmin(field) > 0


def test_without_a_rule_for_the_metal_there_is_no_spacing_and_it_is_said_why(bench_metal, marked):
    found = made(bench_metal, marked)
    assert found.arm_spacing is None
    assert found.dimensionless_niyama is None
    assert "no published rule" in found.why


def test_f6_signs_and_units():
    """More pressure or gradient is good, thicker liquid, more shrinkage, range or cooling rate is bad; no unit is left."""
    base = {
        "gradient": 800.0, "cooling_rate": 0.4, "arm_spacing": 50e-6, "pressure_drop": 1e5, "viscosity": 1.2e-3, "shrinkage": 0.06,
        "freezing_range": 58.0,
    }  # fmt: skip
    one = rules.dimensionless_niyama(**base)
    powers = {
        "gradient": 1.0, "arm_spacing": 1.0, "pressure_drop": 0.5, "viscosity": -0.5, "shrinkage": -0.5, "freezing_range": -0.5, "cooling_rate": -0.5,
    }  # fmt: skip
    for name, power in powers.items():
        assert rules.dimensionless_niyama(**base | {name: 4.0 * base[name]}) == pytest.approx(one * 4.0**power)
    # metre, second, kelvin and pascal each measured a thousand times smaller
    for change in (
        {"gradient": 1e-3, "arm_spacing": 1e3},
        {"cooling_rate": 1e-3, "viscosity": 1e3},
        {"gradient": 1e3, "cooling_rate": 1e3, "freezing_range": 1e3},
        {"pressure_drop": 1e3, "viscosity": 1e3},
    ):
        assert rules.dimensionless_niyama(**base | {k: v * base[k] for k, v in change.items()}) == pytest.approx(one)
    assert np.isnan(rules.dimensionless_niyama(**base | {"pressure_drop": -1.0}))


def test_gas_takes_pressure_off_and_head_adds_it(bench_metal, marked):
    metal = dataclasses.replace(bench_metal, arms=A356)
    clean, gassy = made(metal, marked), made(metal, marked, critical=50e3)
    here = lump().tags != SAND
    assert (gassy.dimensionless_niyama[here] < clean.dimensionless_niyama[here]).all()
    drop = criteria.pressure_drop(lump().tags, 0.002, metal.density_liquidus, ATMOSPHERE, 0.0)
    assert (np.diff(drop[:16]) < 0).all()
    assert np.isnan(made(metal, marked, air=0.0, critical=1e6).dimensionless_niyama).all()
    assert clean.pressure == pytest.approx(drop[6])


def test_air_over_the_metal_is_no_metal(bench_metal):
    tags = lump().tags.copy()
    tags[6:11, 7:13, 17:] = AIR
    assert criteria.pressure_drop(tags, 0.002, 2400.0, 1e5, 0.0).max() == pytest.approx(1e5 + 2400 * GRAVITY * 16.5 * 0.002)
