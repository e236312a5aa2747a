"""A pattern on a crooked joint is printed in one piece, and every word that is said of it is that of a whole pattern."""

from __future__ import annotations

import dataclasses

import manifold3d as m3
import numpy as np
import pytest

import drawing_out
from bent import arm
from pattern_shop import aluminium, box, part_from
from strickle.base import Mesh, quiet
from strickle.pattern import PatternAsk, lying
from strickle.pattern.bed import is_whole
from strickle.pattern.steps import make
from strickle.rigging.assembly import Leant, _comes, _leant, _on
from strickle.stores import load
from strickle.stores.kit import starter_kit
from trapping import solid_of, trapped


@pytest.fixture(scope="module")
def patterns():
    """The bent arm of a treadle with a flat boss on it, parted crooked and parted flat."""
    part = part_from(arm() + box(26, 16, 24, (-50, 0, 2)))
    ask = {"up": np.array([0.0, 0.0, 1.0]), "parting": 0.0}
    return {joint: make(part, aluminium(), load(starter_kit()), PatternAsk(joint=joint, **ask), quiet) for joint in ("crooked", "flat")}


def halved(pattern):
    return [p for p in pattern.pieces if p.role == "pattern"]


def test_it_is_the_cavity_less_its_screw_holes(patterns):
    pattern = patterns["crooked"]
    assert pattern.sheet is not None
    (one,) = halved(pattern)
    assert (one.name, one.half, float(one.draw[2])) == ("drag-pattern", "drag", 1.0)
    over = float((pattern.print_scale / pattern.scale).prod())
    assert one.volume + pattern.fittings_volume == pytest.approx(solid_of(pattern.cavity).volume() * over * 1e-9, rel=1e-6)
    assert [p.role for p in pattern.pieces].count("board") == 1
    assert len(halved(patterns["flat"])) == 2


def test_its_holes_open_upward_and_are_blind(patterns):
    pattern = patterns["crooked"]
    (one,) = halved(pattern)
    solid = solid_of(one.mesh)
    assert {h.use for h in pattern.holes} == {"lift", "rap"}
    for hole in pattern.holes:
        rod = m3.Manifold.cylinder(300, 0.4 * hole.width * 1e3, circular_segments=96).translate((*(hole.at * 1e3), -150))
        met = rod ^ solid
        assert len(met.decompose()) == 1  # metal under the hole, none over it
        whole = rod ^ solid_of(pattern.cavity).scale(tuple(pattern.print_scale / pattern.scale))
        gone = float(whole.volume() - met.volume()) / (np.pi * (0.4 * hole.width * 1e3) ** 2)
        assert gone == pytest.approx(hole.depth * 1e3, rel=0.05)
    assert "stop them with wax before the cope is rammed" in one.note


def test_it_lies_on_its_widest_flat_end(patterns):
    (one,) = halved(patterns["crooked"])
    assert is_whole(one)
    how = lying(one)
    on = one.mesh.vertices @ how.turn.T
    assert float(np.ptp(on[np.abs(on[:, 2] - on[:, 2].min()) < 2e-6], axis=0)[:2].min()) > 0.01
    assert not any(is_whole(p) for p in patterns["flat"].pieces)
    assert {lying(p).says for p in halved(patterns["flat"])} == {"parting face down"}


def test_a_former_of_the_cope_is_set_on_it_and_not_fixed():
    whole = Leant("drag-pattern", "drag", 10, box(20, 20, 10))
    half = Leant("drag-pattern", "drag", 10, box(20, 20, 5).translate((0, 0, -5.0 - box(20, 20, 5).bounding_box()[5])))
    cope = Leant("cope-pattern", "cope", 50, box(20, 20, 10))
    neck = box(4, 4, 4, (0, 0, 8))
    assert _leant(neck, "cope", [whole]) is whole
    assert (_on(whole), _comes(whole)) == ("set on drag-pattern and not fixed to it", "stays in the cope and is drawn down out of it")
    assert _leant(neck, "cope", [half]).name == "cope-pattern"
    assert _leant(neck, "cope", [half, cope]) is cope
    assert (_on(cope), _comes(cope)) == ("fixed to cope-pattern", "drawn with it")


def as_mesh(solid):
    raw = solid.to_mesh64()
    return Mesh(vertices=np.array(raw.vert_properties[:, :3]) * 1e-3, faces=np.array(raw.tri_verts, dtype=np.int64))


@pytest.fixture(scope="module")
def true_patterns():
    """The same printed true and not rapped, so that the sand's room is the pattern's."""
    part = part_from(arm() + box(26, 16, 24, (-50, 0, 2)))
    ask = {"up": np.array([0.0, 0.0, 1.0]), "parting": 0.0}
    return {joint: make(part, aluminium(), drawing_out.shop(), PatternAsk(joint=joint, **ask), quiet) for joint in ("crooked", "flat")}


@pytest.mark.parametrize("joint", ["crooked", "flat"])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_the_measure_of_what_is_dragged_finds_a_lug_that_catches(true_patterns, joint, side):
    """A lug of half a millimetre on the boss's wall, in cope or drag, in print and metal alike: the draw check must see it (bar 0.005 mm3)."""
    pattern, flask = true_patterns[joint], np.array([-0.13, 0.13, -0.09, 0.09, -0.08, 0.08])
    metal = solid_of(pattern.cavity)
    for y in np.arange(0.0, 16.0, 0.05):  # out through the wall until half a millimetre stands proud of it
        lug = box(1.5, 6.0, 0.5, (-50.0, float(y), 10.0 * side))
        if (lug - metal).volume() > 1.5 * 0.5 * 0.5:
            break
    assert max(trapped(pattern.pieces, [pattern.cavity], flask, pattern.sheet).values()) < 0.005
    half = "drag" if joint == "crooked" or side < 0 else "cope"
    pieces = [
        dataclasses.replace(p, mesh=as_mesh(solid_of(p.mesh) + lug)) if p.role == "pattern" and p.half == half else p for p in pattern.pieces
    ]  # fmt: skip
    assert max(trapped(pieces, [as_mesh(metal + lug)], flask, pattern.sheet).values()) > 0.2
