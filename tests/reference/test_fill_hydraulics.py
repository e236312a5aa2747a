"""Fill times of three rigs against the hydraulic calculator, whose losses are published fittings, the same for all three.

Entrance, contraction, bend and friction: Bell et al., fluids, Python library, 1.3.1; the velocity head lost on entering the well and the mould:
Borda and Carnot's law (common practice).  Full size in tests/outside: heads 100, 150 and 250 mm over the ingates; choke areas 90, 55 and 30 mm2.
"""

from __future__ import annotations

import pytest

from rigs import filled


@pytest.mark.validate
def test_a_rig_on_a_coarse_grid_fills_within_a_fifth():
    """A choke of under two cells, as a rough plan has it."""
    found, time = filled(150, 55.0, 4e-3, (0.2, 0.1))
    assert found.full_time == pytest.approx(time, rel=0.2)
