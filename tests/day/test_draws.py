"""Every printed piece of real parts, walls drafted and undercuts answered, comes out of its sand or off its core; all of them are the casting."""

from __future__ import annotations

import pytest

import drawing_out
from pattern_shop import public_part


@pytest.mark.parametrize("name", ["bearing_cover", "pulley_t30", "featuretype_inch", "table_attachment"])
def test_every_piece_draws_and_they_are_the_casting(name):
    drawing_out.judge(drawing_out.check(public_part(name)))
