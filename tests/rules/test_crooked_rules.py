"""Rules of the crooked parting: when it is worth it, and the level a part is even about."""

import manifold3d
import numpy as np
import pytest

from bent import arm, dished, spool
from pattern_shop import aluminium, box, bracket, part_from, rod
from strickle.base import quiet
from strickle.pattern import PatternAsk
from strickle.pattern.columns import view
from strickle.pattern.crooked import Saving, outline, possible, saving
from strickle.pattern.directions import TRAP, Scored, as_crooked
from strickle.pattern.field import lay
from strickle.pattern.mend import shared
from strickle.pattern.mirror import mirror_level
from strickle.pattern.steps import make
from strickle.pattern.undercut import plain
from strickle.stores import load
from strickle.stores.kit import starter_kit


@pytest.mark.parametrize(
    ("saved", "volume", "worth"),
    [(90.0, 1e3, False), (110.0, 1e3, True), (900.0, 1e5, False), (1100.0, 1e5, True), (0.0, 1.0, False)],
)
def test_it_is_worth_it_over_one_per_cent_and_a_hundred_cubic_millimetres(saved, volume, worth):
    assert Saving(saved + 50.0, saved + 50.0, 50.0, 40.0, volume).worth == worth


def test_another_flat_level_that_does_as_well_is_no_saving():
    assert Saving(5000.0, 60.0, 50.0, 40.0, 1e4).saved == pytest.approx(10.0)


def test_what_is_saved_is_what_the_columns_allow():
    body = arm()
    seen = view(*plain(body), 260)
    most = possible(seen)
    told = saving(seen, lay(body), body.volume())
    assert told.worth
    assert told.saved == pytest.approx(most, rel=0.02)
    assert not saving(view(*plain(spool()), 260), lay(spool()), spool().volume()).worth


def test_a_cross_bore_counts_for_neither():
    body = spool() - rod(6, 80).rotate((90, 0, 0)).translate((0, 40, 5))
    told = saving(view(*plain(body), 260), lay(body), body.volume())
    assert told.gap > 500
    assert told.saved < 1.0


@pytest.mark.parametrize("level", [0.0, 3.7, -12.0])
def test_a_part_even_about_a_level_has_it_found(level):
    ring = manifold3d.CrossSection([np.array([[50, 0], [47, 8], [40, 6], [40, -6], [47, -8]])]).revolve(64)
    body = (ring + rod(30, 11, top=26) + rod(30, 11, top=26).mirror((0, 0, 1)) - rod(8, 40, (0, 0, -20))).translate((0, 0, level))
    assert mirror_level(view(*plain(body), 260), 0.02) == pytest.approx(level, abs=1e-6)


def test_a_part_that_is_not_even_has_none():
    assert mirror_level(view(*plain(spool()), 260), 0.02) is None
    assert mirror_level(view(*plain(bracket()), 260), 0.02) is None
    # even outside, but a groove lies off the middle
    groove = rod(60, 4, (0, 0, 2)) - rod(40, 4, (0, 0, 2))
    assert mirror_level(view(*plain(rod(60, 30, (0, 0, -15)) - groove), 260), 0.02) is None


def wheel(rise):
    """A ring widest at ``rise``, with a hub that stands 12 over it and a sloping arm between."""
    ring = manifold3d.CrossSection([np.array([[40, 0], [38, 5], [34, 5], [32, 0], [34, -5], [38, -5]])]).revolve(64).translate((0, 0, rise))
    hub = rod(8, 5, (0, 0, 0)) + rod(8, 5, (0, 0, 0)).mirror((0, 0, 1))
    hub = hub.translate((0, 0, rise + 12))
    ends = [manifold3d.Manifold.sphere(3.0, 24).translate(at) for at in ((0, 0, rise + 12), (35, 0, rise))]
    return ring + hub + manifold3d.Manifold.batch_hull(ends)


@pytest.mark.parametrize("rise", [-5.0, 3.0])
def test_the_height_at_which_most_of_the_outer_edge_parts_is_found(rise):
    assert outline(lay(wheel(rise))) == pytest.approx(rise, abs=0.3)


def test_an_outer_edge_that_rises_and_falls_has_no_one_height():
    assert outline(lay(arm())) == 0.0
    assert outline(lay(wheel(0.0))) == 0.0


def test_asked_crooked_a_stepped_lever_is_drawn_along_its_bosses():
    """What a flat joint would trap neither counts nor is told where the joint follows the lever."""
    low, high = box(70, 14, 8, (-35, 0, 0)), box(70, 14, 8, (35, 0, 28))
    step = box(14, 14, 36)
    bosses, bores = ([rod(wide, long, (x, 0, z)) for x, z in ((-70, -6), (70, 22))] for wide, long in ((34, 20), (20, 30)))
    bores = [bore.translate((0, 0, -5)) for bore in bores]
    lever = low + high + step + bosses[0] + bosses[1] - bores[0] - bores[1]
    made = make(part_from(lever), aluminium(), load(starter_kit()), PatternAsk(joint="crooked", draft="none"), quiet)
    assert abs(made.draw[2]) > 0.9999
    assert made.sheet is not None
    assert made.undercut_volume < 1e-2 * float(lever.volume()) * 1e-9
    assert not any("flat parting" in way.why for way in made.ways)


def test_directions_asked_crooked_are_rated_without_what_a_flat_joint_traps():
    first, second = (
        Scored(np.eye(3)[i], score, gap, trapped, 0.0, True, 1.0) for i, (score, gap, trapped) in enumerate(((0.2, 1e-7, 1e-7), (0.4, 0.0, 1e-6)))
    )
    eased = as_crooked((first, second), 1e-6)
    assert [one.trapped for one in eased] == [0.0, 1e-7]
    assert [one.score for one in eased] == pytest.approx([0.4 - TRAP, 0.2])


@pytest.mark.validate
def test_a_board_stops_short_of_a_grid_that_goes_on_and_is_clean_for_a_slicer():
    """A dished wheel asked for crooked: the sheet's grid reaches past the board, which was refused as too large for the flask."""
    ask = PatternAsk(joint="crooked", up=np.array([0.0, 0.0, 1.0]), draft="none")
    made = make(part_from(dished()), aluminium(), load(starter_kit()), ask, quiet)
    (board,) = (piece for piece in made.pieces if piece.role == "board")
    assert not len(shared(board.mesh.vertices * 1e3, board.mesh.faces))
