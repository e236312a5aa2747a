"""Every printed piece of real parts, walls drafted and undercuts answered, comes out of its sand or off its core; all of them are the casting."""

from __future__ import annotations

import pytest

import drawing_out
import strickle
from pattern_shop import public_part
from real_parts import known
from strickle.pattern import PatternAsk
from strickle.stores.kit import starter_kit


@pytest.mark.parametrize("name", ["bearing_cover", "pulley_t30", "featuretype_inch", "table_attachment"])
def test_every_piece_draws_and_they_are_the_casting(name):
    drawing_out.judge(drawing_out.check(public_part(name)))


def with_cores(part) -> None:
    """The same with cores asked for wherever there may be one: there are some, and their boxes open off them."""
    told = drawing_out.check(part, PatternAsk(undercuts="core", bores="core", joint="flat", holes="cast"))
    assert told["cores"] >= 1
    drawing_out.judge(told)


def test_with_cores_every_piece_draws_and_they_are_the_casting():
    with_cores(public_part("idler_riser_inch"))


@pytest.mark.validate
@pytest.mark.parametrize("file", ["leg_beam_200.stl", "shoulder.3mf", "arm_shoulder_m.stl", "featuretype_inch.stl"])
def test_with_cores_in_other_parts(file, parts_folder, tmp_path):
    """The solid library lays faces of these boxes anew on reading, in another way than they were made."""
    with_cores(strickle.look(parts_folder / file, out=tmp_path / "job", kit=starter_kit(), until="part", **known(file).asks).stages["part"])
