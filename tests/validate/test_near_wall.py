"""The converged values that the near-wall tests compare with, computed again."""

from __future__ import annotations

import pytest

from near_wall import READ, converged, stored

pytestmark = pytest.mark.validate


@pytest.mark.parametrize("name", ["plate", "bar", "sphere", "bracket"])
def test_what_is_stored_is_what_comes_out(name):
    found, told = converged(name), stored()[name]
    assert found["inputs"] == told["inputs"]
    for key in READ:
        assert found[key] == pytest.approx(told[key], rel=1e-3), key
