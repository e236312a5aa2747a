"""The stored metals against a thermodynamic database: F8 (liquidus, solidus), F9 (fraction solid) and F10 (heat content).

Theirs: COST 507, run with pycalphad 0.11 and its Scheil module.  The stored freezing curves come from the same database, so F8 and F9 show that
nothing is lost on the way from the stores through cleaning to what ``freeze`` does; F10 is put together from other stored data too.
Read through ``freeze`` on a drop of one cell that cools slowly in air: its temperature when a fraction solid is reached.
Not to be compared: aluminium with 4, 7 (without magnesium) and 10 % silicon are not in the stores.
"""

from __future__ import annotations

import functools

import numpy as np

from outside import Row, case
from outside.columns import KELVIN, METAL, balanced
from strickle import Freezing, Grid, film, fixed, freeze
from strickle.job.kit import stores_with
from strickle.metal import Metal, MetalAsk
from strickle.metal.steps import blend
from strickle.stores.kit import starter_kit

COST = "COST 507 light-metal database, run with pycalphad"
CELL = 0.001


@functools.cache
def metal(key: str) -> Metal:
    """A stored metal as a plan takes it."""
    return blend(MetalAsk(metal=key), stores_with(starter_kit()))


def cooled(key: str, **ask) -> Freezing:
    """One cell from 40 K over the liquidus in air."""
    own = metal(key)
    grid = Grid(tags=np.full((1, 1, 1), METAL, np.uint8), cell=CELL, origin=np.zeros(3))
    air = {"z+": film(100.0, 20.0 + KELVIN)}
    return balanced(freeze(grid, {METAL: own}, start={METAL: own.liquidus + 40.0}, faces=air, preset="fine", **ask))


@functools.cache
def cooling_curve(key: str) -> tuple[Freezing, np.ndarray, np.ndarray]:
    """The drop until solid and a little longer, and its temperatures: times [s], [degC]."""
    end = 1.05 * cooled(key).solid_time
    times = np.linspace(0.0, end, 3001)
    told = cooled(key, until=end, snapshots=times)
    return told, times, told.snapshots[:, 0, 0, 0] - KELVIN


def reached_at(key: str, fraction: float) -> float:
    """The drop's temperature [degC] when ``fraction`` of it is solid."""
    _, times, field = cooling_curve(key)
    return float(np.interp(cooled(key, coherency=fraction).time_to_coherency[0, 0, 0], times, field))


def ends(key: str) -> tuple[float, float]:
    """Liquidus and solidus [degC] of the drop; that its superheat is gone is read 1 K above the liquidus."""
    told, times, field = cooling_curve(key)
    top, foot = (float(np.interp(at[0, 0, 0], times, field)) for at in (told.time_to_liquidus, told.time_to_solidus))
    return top - 1.0, foot


@case("F8", COST)
def liquidus_and_solidus() -> list[Row]:
    liquidus, solidus = ends("alsi12")
    return [
        Row("12 % Si, liquidus", 581.0, liquidus, 3.0, "degC"),
        Row("12 % Si, solidus", 577.0, solidus, 3.0, "degC"),
        Row("7 % Si, liquidus (ours A356, with 0.35 % Mg)", 617.0, ends("a356")[0], 3.0, "degC"),
    ]


SCHEIL = ((610, 0.109), (600, 0.263), (590, 0.372), (580, 0.452), (576, 0.478), (574, 0.583), (570, 0.840), (565, 0.915), (560, 0.943))


@case("F9", f"{COST}, Scheil, A356")
def fraction_solid() -> list[Row]:
    """The fraction is found where the drop's temperature on reaching it equals the one asked."""
    asked = np.concatenate([np.arange(0.05, 0.91, 0.05), [0.92, 0.94, 0.96, 0.98]])
    reached = [reached_at("a356", float(fraction)) for fraction in asked]
    ours = np.interp(-np.array([at for at, _ in SCHEIL], float), -np.array(reached), asked)
    rows = [Row(f"fraction solid at {at} degC", f, o, 0.03 if at > 577 else 0.08, "1") for (at, f), o in zip(SCHEIL, ours, strict=True)]
    return [*rows, Row("end of freezing", 557.25, ends("a356")[1], 3.0, "degC")]


HEAT = {
    "al_pure": ("aluminium", (1115.6, 1139.1, 1174.4)),
    "a356": ("A356", (1177.8, 1201.0, 1235.8)),
    "alsi12": ("Al-12Si", (1219.6, 1242.6, 1277.0)),
}


@case("F10", COST)
def heat_content() -> list[Row]:
    """Heat that a block gives off between 700, 720, 750 and 25 degC, per kilogram at the solver's one density."""
    grid = Grid(tags=np.full((2, 2, 2), METAL, np.uint8), cell=CELL, origin=np.zeros(3))
    rows = []
    for key, (name, published) in HEAT.items():
        own = metal(key)
        for pour, theirs in zip((700.0, 720.0, 750.0), published, strict=True):
            cold = {"x-": fixed(25.0 + KELVIN), "x+": fixed(25.0 + KELVIN)}
            told = balanced(freeze(grid, {METAL: own}, start={METAL: pour + KELVIN}, faces=cold, until=0.2))
            assert abs(told.temperature - KELVIN - 25.0).max() < 0.01
            mass = own.density_solidus * grid.tags.size * CELL**3
            rows.append(Row(f"{name}, {pour:g} to 25 degC", theirs, told.metal_loss / mass / 1e3, 0.02, "kJ/kg", relative=True))
    return rows
