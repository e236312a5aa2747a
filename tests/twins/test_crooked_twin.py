"""What stays undercut two ways: columns over and under the sheet against exact solids."""

import numpy as np
import pytest

from bent import arm, dished, fork, real, saddle
from strickle.pattern.columns import view
from strickle.pattern.crooked import boxed, heights, remains, saving
from strickle.pattern.field import Field, block, lay
from strickle.pattern.undercut import fill, plain


@pytest.mark.parametrize(("body", "most", "across"), [(arm, 1.0, 400), (saddle, 1.0, 400), (dished, 1.0, 400), (fork, 1e9, 3200)])
def test_columns_and_solids_agree_on_what_stays_undercut(body, most, across):
    """The fork's overhangs are strips a quarter of a millimetre wide along its drafted walls: they need narrow columns."""
    whole = body()
    field = lay(whole)
    told = saving(view(*plain(whole), across), field, whole.volume())
    exact = remains(whole, field, boxed(whole, field)).volume
    assert told.crooked == pytest.approx(exact, rel=0.05, abs=1.0)
    assert exact < most


def test_at_level_zero_it_is_the_flat_filling():
    whole = fork()
    field = lay(whole)
    level = field._replace(h=np.zeros_like(field.h))
    assert remains(whole, level, boxed(whole, level)).volume == pytest.approx(fill(whole)[2], rel=1e-4)


def test_the_solid_under_the_sheet_has_the_volume_of_its_heights():
    field = lay(arm())
    box = boxed(arm(), field)
    flat = (box[1] - box[0]) * (box[3] - box[2]) * -box[4]
    assert block(field, box).volume() == pytest.approx(flat + field.h.sum() * field.step**2, rel=1e-4)
    x, y = np.array([0.0, 40.0, 500.0]), np.array([0.0, -10.0, 0.0])
    assert heights(field, x, y)[2] == 0.0
    assert isinstance(field, Field)


@pytest.mark.validate
@pytest.mark.parametrize("name", ["carriage", "motor_shell_77k"])
def test_real_parts_agree(name):
    whole = real(name)
    field = lay(whole)
    told = saving(view(*plain(whole), 600), field, whole.volume())
    exact = remains(whole, field, boxed(whole, field)).volume
    assert told.worth
    assert told.crooked == pytest.approx(exact, rel=0.06)
