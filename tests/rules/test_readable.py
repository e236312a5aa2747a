"""Solids that touch themselves, written so that every reader agrees on them."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest

from strickle.pattern.mend import mended, shared
from strickle.pattern.readable import solid_of, volume, written
from strickle.pattern.undercut import plain

CUBE = m3.Manifold.cube((10.0, 10.0, 10.0))


def stairs(count):
    """Cubes that meet in edges."""
    return m3.Manifold.batch_boolean([CUBE.translate((10.0 * i, 10.0 * i, 0.0)) for i in range(count)], m3.OpType.Add)


def wells():
    """A block with two square holes that meet in an edge: the fault the other way round, air against air."""
    return m3.Manifold.cube((40.0, 40.0, 20.0)) - stairs(2).translate((10.0, 10.0, 10.0))


@pytest.mark.parametrize("made", [stairs(3), wells(), stairs(2).rotate((20.0, 30.0, 40.0))], ids=["stairs", "wells", "aslant"])
def test_corners_that_a_reader_takes_for_one_are_drawn_apart(made):
    assert len(shared(*plain(made)))
    out, whole = mended(made, 0.0)
    assert whole
    assert not len(shared(*plain(out)))
    assert out.volume() == pytest.approx(made.volume(), rel=1e-6)
    vertices, faces = plain(out)
    assert solid_of(vertices, faces).volume() == pytest.approx(volume(vertices, faces), rel=1e-9)


def test_what_stands_on_the_joint_stays_on_it():
    out, whole = mended(stairs(3), 1.0)
    assert whole
    vertices, _ = plain(out)
    assert vertices[:, 2].min() == 0.0


def test_a_sound_solid_is_written_as_it_is():
    made = CUBE - m3.Manifold.sphere(4.0, 48).translate((5.0, 5.0, 10.0))
    vertices, faces = written(made)
    assert np.array_equal(vertices, plain(made)[0])
    assert np.array_equal(faces, plain(made)[1])
    assert volume(vertices, faces) == pytest.approx(made.volume(), rel=1e-12)
