"""The same tasks by FiPy and scikit-fem (section G; cases in outside/peers.py)."""

import pytest

from outside import every


@pytest.mark.filterwarnings("ignore")  # theirs, not ours
@pytest.mark.parametrize("case", every("peers"), ids=lambda c: f"{c.name}-{c.rows.__name__}")
def test_beside_a_library(case):
    pytest.importorskip(case.needs)
    assert not case.faults()
