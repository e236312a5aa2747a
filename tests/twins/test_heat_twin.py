"""Two ways to one number: the melt's heat sum against the freezing kernel's table; the sand column against the closed form."""

from __future__ import annotations

import math

import pytest

from melt_shop import a356
from strickle.melt.heat import heat_between, warmth_of
from strickle.pour.fluid import Face, SandColumn, table_of
from strickle.rigging.sizing import sand_heat


@pytest.mark.parametrize(("start", "end"), [(800.0, 1000.0), (850.0, 870.0), (846.0, 850.0), (880.0, 1020.0), (825.0, 835.0)])
def test_heat_by_sum_and_by_table(start, end):
    metal = a356()
    table = table_of(metal, 1050.0)
    by_table = float(table.u_at(end) - table.u_at(start)) * table.heat
    assert heat_between(warmth_of(metal), start, end) == pytest.approx(by_table, rel=6e-3, abs=300.0)


@pytest.mark.parametrize("contact", [150.0, 600.0, 3000.0])
def test_heat_into_sand_by_steps_and_by_formula(contact):
    sand = SandColumn(Face(conductivity=0.6, density=1600.0, heat=1080.0, contact=contact, cold=293.15))
    taken = sum(sand.step(900.0, 0.02) for _ in range(1000))
    assert taken == pytest.approx(sand_heat(20.0, math.sqrt(0.6 * 1600 * 1080), contact, 606.85), rel=4e-3)
