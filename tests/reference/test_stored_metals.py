"""Stored metals as the freezing solver uses them, beside a thermodynamic database (F8, F9, F10; cases in outside/metals.py)."""

import pytest

from outside import every


@pytest.mark.parametrize("case", every("metals"), ids=lambda c: c.name)
def test_stored_metal(case):
    assert not case.faults()
