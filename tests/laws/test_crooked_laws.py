"""Laws of the crooked parting: it stays level where it may, keeps to the metal, stands, adds up and draws; so does its follow board."""

from typing import NamedTuple

import manifold3d
import numpy as np
import pytest

from bent import arm, dished, fork, real, saddle, spool, swept
from pattern_shop import box, bracket
from strickle.base import BadInput
from strickle.pattern.board import BRIM, WALL, Board, follow, lifts, pegged
from strickle.pattern.crooked import Remains, boxed, dragged, remains
from strickle.pattern.field import SAND_OFF, Field, Slope, block, facts, lay
from strickle.pattern.mend import shared
from strickle.pattern.undercut import plain

SHAPES = {"arm": arm, "saddle": saddle, "dished wheel": dished, "fork": fork}
STEPS = {"dished wheel": 0.8}  # mm between nodes, where the usual half makes a slow test
REAL = ("carriage", "motor_shell_77k")


class Made(NamedTuple):
    """A shape with all that is made of it."""

    whole: manifold3d.Manifold
    field: Field
    box: np.ndarray
    rest: Remains
    boards: dict[float, Board]

    def board(self, side: float = -1.0) -> Board:
        """The follow board of that side, made once."""
        if side not in self.boards:
            self.boards[side] = follow(self.rest.filled, self.field, self.box[:4], side)
        return self.boards[side]


def made(whole: manifold3d.Manifold, step: float = 0.5) -> Made:
    field = lay(whole, step=step)
    box = boxed(whole, field)
    rest = remains(whole, field, box)
    return Made(whole, field, box, rest, {})


@pytest.fixture(scope="module")
def kept():
    """Each shape made once."""
    store: dict[str, Made] = {}

    def get(name: str) -> Made:
        if name not in store:
            store[name] = made(SHAPES[name](), STEPS.get(name, 0.5)) if name in SHAPES else made(real(name))
        return store[name]

    return get


def drawn(m: Made, most: float) -> None:
    """Cope and pattern come apart, and pattern and drag, by one, by five millimetres and all the way."""
    low, high = m.rest.filled.bounding_box()[2], m.rest.filled.bounding_box()[5]
    assert dragged(m.rest.filled, m.field, m.box, (1.0, 5.0, high - low)) < most


def added(m: Made) -> None:
    """What is filled is told, and the two rooms are the box."""
    assert m.rest.filled.volume() == pytest.approx(m.whole.volume() + m.rest.volume, rel=1e-9)
    size = np.prod([m.box[i + 1] - m.box[i] for i in (0, 2, 4)])
    rooms = [float(block(m.field, m.box, side).volume()) for side in (1.0, -1.0)]
    assert sum(rooms) == pytest.approx(size, rel=1e-9)
    assert min(rooms) > 0


@pytest.mark.parametrize("name", SHAPES)
def test_volumes_add_up_and_the_sand_draws(kept, name):
    m = kept(name)
    added(m)
    drawn(m, 0.005)
    with pytest.raises(BadInput, match="does not fit"):
        dragged(m.rest.filled, m.field, m.box * 0.5, (1.0,))


@pytest.mark.parametrize("name", SHAPES)
def test_the_sand_edge_stands_and_the_sheet_ends_level(kept, name):
    field = kept(name).field
    told: Slope = facts(field)
    assert told.steepest <= 60.0 + 1e-6
    assert not any(np.any(line) for line in (field.h[0], field.h[-1], field.h[:, 0], field.h[:, -1]))
    assert told.area >= told.beyond > 0


@pytest.mark.parametrize("name", ["arm", "saddle", "dished wheel"])
def test_where_sand_can_stand_nothing_stays_undercut(kept, name):
    m = kept(name)
    assert m.rest.volume < 1e-6 * m.whole.volume() + 0.01
    metal = np.isfinite(m.field.low)
    assert np.all(m.field.h[metal] >= m.field.low[metal] - 0.05)
    assert np.all(m.field.h[metal] <= m.field.high[metal] + 0.05)


def test_the_parting_follows_the_brim(kept):
    field = kept("arm").field
    brim = np.abs(np.abs(field.y) - 10.0) < 0.6
    for i in np.flatnonzero(np.abs(field.x) < 55.0)[::7]:
        assert field.h[i, brim] == pytest.approx(7.5 * (1 - np.cos(np.pi * (field.x[i] + 60) / 120)), abs=0.35)


def test_between_prongs_too_near_the_slope_goes_before_the_undercut_and_that_is_told(kept):
    m = kept("fork")
    assert m.rest.volume > 50.0
    assert sum(r.volume for r in m.rest.regions) == pytest.approx(m.rest.volume, rel=0.01)
    assert facts(m.field).steepest > 55.0


@pytest.mark.parametrize("body", [spool(), bracket(), box(40, 30, 20, (0, 0, -7))], ids=["spool", "bracket", "straight block"])
def test_a_flat_parted_part_stays_flat(body):
    field = lay(body)
    assert field.flat
    m = made(body)
    assert m.rest.volume == 0.0
    added(m)
    assert follow(body, field, m.box[:4]).crumbs == 0


def test_upright_walls_leave_the_parting_level():
    """A bent bar with straight walls: z = 0 lies within its height all along, and no wall draws the parting up or down."""
    bar = manifold3d.Manifold.cube((120, 16, 20), True).refine_to_length(3.0)
    assert lay(swept(bar, 9.0)).flat
    lifted = facts(lay(swept(bar, 16.0)))
    assert lifted.highest == pytest.approx(6.0, abs=0.4)  # no higher than the underside of the lifted end
    assert lifted.lowest == 0.0


@pytest.mark.parametrize("name", ["arm", "saddle", "dished wheel"])
def test_a_mirrored_part_gives_the_mirrored_parting(kept, name):
    m = kept(name)
    across = lay(m.whole.mirror((1, 0, 0)), step=m.field.step)
    assert np.abs(across.h[::-1] - m.field.h).max() < 0.02 + 2 * SAND_OFF  # its triangles lie otherwise
    over = lay(m.whole.mirror((0, 0, 1)), step=m.field.step)
    assert np.abs(over.h + m.field.h).max() < 1e-9


@pytest.mark.parametrize(
    ("name", "side"),
    [("arm", -1.0), ("arm", 1.0), ("fork", -1.0), pytest.param("dished wheel", -1.0, marks=pytest.mark.validate)],
)
def test_the_follow_board_is_one_solid_and_lifts_off(kept, name, side):
    m = kept(name)
    board = m.board(side)
    assert board.solid.status() == manifold3d.Error.NoError
    assert len(board.solid.decompose()) == 1
    assert board.draw == side
    assert len(shared(*plain(board.solid))) < 0.003 * board.solid.num_tri()
    assert max(lifts(board, m.rest.filled, lift) for lift in (0.0, 0.1, 1.0, 5.0, board.height)) < 0.005
    assert board.mass == pytest.approx(board.solid.volume() * 1.24e-6)
    low_x, low_y, _, high_x, high_y, _ = board.solid.bounding_box()
    assert (low_x, high_x, low_y, high_y) == pytest.approx((m.box[0] - BRIM, m.box[1] + BRIM, m.box[2] - BRIM, m.box[3] + BRIM))


def test_round_the_pattern_the_board_is_as_high_as_the_parting(kept):
    m = kept("arm")
    board = m.board()
    under = block(m.field, m.box)
    skin = under - under.translate((0, 0, -0.5))
    left = skin.trim_by_plane((0, 0, 1), float(m.box[4]) + 1.0) - board.solid
    assert left.project().area() < m.rest.filled.project().offset(0.4).area() + 1.0
    top = (board.solid - under).trim_by_plane((1, 0, 0), float(m.box[0])).trim_by_plane((-1, 0, 0), -float(m.box[1]))
    assert top.trim_by_plane((0, 1, 0), float(m.box[2])).trim_by_plane((0, -1, 0), -float(m.box[3])).volume() < 0.01
    assert board.wall == WALL


def test_pegs_stand_on_the_brim_or_are_refused(kept):
    m = kept("arm")
    outer = m.box[:4] + BRIM * np.array([-1, 1, -1, 1])
    pegs = pegged(m.board().solid, np.array([[m.box[0] - 10, 0.0], [m.box[1] + 10, 0.0]]), outer, m.box[:4])
    raised = pegs.trim_by_plane((0, 0, 1), 1e-3)
    over = raised.trim_by_plane((1, 0, 0), float(m.box[1])).volume() + raised.trim_by_plane((-1, 0, 0), -float(m.box[0])).volume()
    assert over == pytest.approx(2 * np.pi * 9 * 10, rel=0.01)
    assert len(pegs.decompose()) == 1
    with pytest.raises(BadInput, match="peg"):
        follow(m.rest.filled, m.field, m.box[:4], pins=np.zeros((1, 2)))


def test_a_flask_too_small_is_refused_and_a_tight_one_is_kept_to():
    body = arm()
    tight = np.array([-78.0, 78.0, -28.0, 28.0])
    field = lay(body, tight)
    assert field.x[0] > tight[0]
    assert field.y[-1] < tight[3]
    assert facts(field).steepest <= 60.0 + 1e-6
    with pytest.raises(BadInput, match="mm of sand beside the part"):
        lay(body, np.array([-65.0, 65.0, -28.0, 28.0]))


@pytest.mark.validate
@pytest.mark.parametrize("name", REAL)
def test_real_parts_add_up_stand_draw_and_have_a_board(kept, name):
    m = kept(name)
    added(m)
    assert facts(m.field).steepest <= 60.0 + 1e-6
    drawn(m, 0.5)  # the filling leaves overhangs thinner than a grain of sand
    board = m.board()
    assert board.solid.status() == manifold3d.Error.NoError
    assert len(board.solid.decompose()) == 1
    assert max(lifts(board, m.rest.filled, lift) for lift in (0.0, 1.0, 5.0, board.height)) < 0.005
    # edges a file of few places would join: few, and left to the mending before it is written
    assert len(shared(*plain(board.solid))) < 0.003 * board.solid.num_tri()
