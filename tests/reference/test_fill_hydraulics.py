"""Fill times of three rigs against the hydraulic calculator, whose losses are published fittings, the same for all three.

Entrance, contraction, bend and friction: Bell et al., fluids, Python library, 1.3.1; the velocity head lost on entering the well and the mould:
Borda and Carnot's law (common practice).  Heads 100, 150 and 250 mm over the ingates; choke areas 90, 55 and 30 mm2.
"""

from __future__ import annotations

import numpy as np
import pytest

from rigs import RIGS, filled

QUICK = pytest.mark.xfail(strict=True, reason="fills 13 % too quickly (2.095 s against 2.400) where the choke's sides lie on the cells' own faces")
LIES = [(*rig, (0.0, 0.0)) for rig in RIGS]  # aside on the cells, (0.3, 0.4), in tests/outside


@pytest.mark.validate
@pytest.mark.parametrize(("head", "choke", "moved"), [pytest.param(*lie, marks=QUICK if lie == (100, 90.0, (0.0, 0.0)) else ()) for lie in LIES])
def test_three_rigs_fill_as_the_hydraulic_calculator_says(head, choke, moved):
    found, time = filled(head, choke, 2.5e-3, moved)
    assert found.status == "filled"
    assert found.full_time == pytest.approx(time, rel=0.10)
    assert abs(found.metal_balance) < 1e-6
    assert np.nanmax(found.share) < 1.01


@pytest.mark.validate
def test_a_rig_on_a_coarse_grid_fills_within_a_fifth():
    """A choke of under two cells, as a rough plan has it."""
    found, time = filled(150, 55.0, 4e-3, (0.2, 0.1))
    assert found.full_time == pytest.approx(time, rel=0.2)
