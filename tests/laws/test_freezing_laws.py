"""What any freezing must obey: scaling, mirrors, conservation, and refusal of questions that make no sense."""

import numpy as np
import pytest

from strickle.base import BadInput, Cancelled, Grid
from strickle.sound.freezing import freeze
from strickle.sound.materials import MediumData, MetalData, below, film, fixed

KELVIN = 273.15
METAL = MetalData.plain(
    solidus=555.0 + KELVIN,
    liquidus=613.0 + KELVIN,
    latent_heat=389e3,
    solid_heat=1080.0,
    liquid_heat=1080.0,
    solid_conductivity=150.0,
    liquid_conductivity=80.0,
    density=2450.0,
)
SAND = MediumData(conductivity=0.6, density=1550.0, heat_capacity=1100.0)
START = {1: 720.0 + KELVIN, 2: 720.0 + KELVIN, 10: 25.0 + KELVIN}
BOTH = {1: METAL, 2: METAL, 10: SAND}


def lump(cell=0.004):
    """A lopsided closed mould."""
    tags = np.full((16, 15, 13), 10, np.uint8)
    tags[4:11, 5:10, 4:8] = 1
    tags[9:13, 6:9, 5:10] = 2
    return Grid(tags=tags, cell=cell, origin=np.zeros(3))


def test_twice_the_length_takes_four_times_as_long_in_perfect_contact():
    small, large = (freeze(lump(cell), BOTH, start=START) for cell in (0.003, 0.006))
    ratio = large.time_to_solidus / (4 * small.time_to_solidus)
    metal = lump().tags < 10
    assert np.abs(ratio[metal] - 1).max() < 0.01
    assert np.nanmedian(large.niyama / small.niyama) == pytest.approx(1.0, rel=0.02)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_a_mirrored_mould_freezes_as_its_mirror(axis):
    grid = lump()
    faces = {"z+": film(10.0, 298.15, 0.3), "x-": fixed(298.15)}
    pair = {"x-": "x+", "x+": "x-", "y-": "y+", "y+": "y-", "z-": "z+", "z+": "z-"}
    swapped = {(pair[k] if "xyz".index(k[0]) == axis else k): v for k, v in faces.items()}
    ask = {"start": START, "contact": {(1, 10): 800.0, (2, 10): 1200.0}}
    one = freeze(grid, BOTH, faces=faces, **ask)
    two = freeze(Grid(tags=np.flip(grid.tags, axis), cell=grid.cell, origin=grid.origin), BOTH, faces=swapped, **ask)
    np.testing.assert_allclose(np.flip(two.time_to_solidus, axis), one.time_to_solidus, rtol=1e-9)
    np.testing.assert_allclose(np.flip(two.temperature, axis), one.temperature, rtol=1e-9)


def test_turning_the_axes_turns_the_answer():
    grid = lump()
    one = freeze(grid, BOTH, start=START, faces={"z+": film(10.0, 298.15, 0.3)})
    turned = Grid(tags=grid.tags.transpose(2, 0, 1), cell=grid.cell, origin=grid.origin)
    two = freeze(turned, BOTH, start=START, faces={"x+": film(10.0, 298.15, 0.3)})
    np.testing.assert_allclose(two.time_to_solidus.transpose(1, 2, 0), one.time_to_solidus, rtol=1e-9)


def test_heat_is_accounted_for_with_a_chill_films_walls_and_an_open_surface():
    grid = lump()
    tags = grid.tags.copy()
    tags[4:11, 5:10, 2:4] = 12
    tags[9:13, 6:9, 10:] = 0
    chill = MediumData(conductivity=50.0, density=7200.0, heat_capacity=500.0)
    told = freeze(
        Grid(tags=tags, cell=grid.cell, origin=grid.origin),
        {**BOTH, 12: chill, 0: film(12.0, 298.15, 0.25)},
        start={**START, 12: 310.0},
        faces={"z+": film(10.0, 298.15, 0.9), "z-": fixed(298.15), "x-": film(5.0, 350.0)},
        contact={(1, 12): 2000.0, (1, 10): 1000.0, (10, 12): None},
        until=below(700.0),
    )
    assert told.status == "done"
    assert told.balance < 1e-9
    assert told.outer_loss > 0.0
    assert told.below_time >= told.solid_time
    plain = freeze(lump(), BOTH, start=START, contact={(1, 10): 1000.0})
    assert np.nanmean(told.time_to_solidus[:, :, 4]) < np.nanmean(plain.time_to_solidus[:, :, 4])
    assert np.nanmax(told.time_to_below) == told.below_time
    assert (told.temperature[tags == 1] <= 700.0 + 1e-6).all()


def test_events_come_in_order_and_the_end_is_kept():
    told = freeze(lump(), BOTH, start=START, contact={(1, 10): 1000.0}, snapshots=[5.0, 300.0], coherency=0.3)
    metal = lump().tags < 10
    assert (told.time_to_liquidus[metal] < told.time_to_coherency[metal]).all()
    assert (told.time_to_coherency[metal] < told.time_to_solidus[metal]).all()
    assert np.nanmax(told.time_to_solidus) == told.solid_time
    assert told.time == pytest.approx(300.0)
    assert (told.snapshots[0][metal] > told.snapshots[1][metal]).all()
    np.testing.assert_array_equal(told.snapshots[1], told.temperature)
    short = freeze(lump(), BOTH, start=START, until=1.0)
    assert np.isnan(short.time_to_solidus).all()
    assert np.isnan(short.solid_time)


def test_a_run_that_never_gets_there_says_so():
    told = freeze(lump(), BOTH, start={**START, 10: START[1]}, until="solid", longest=50.0)
    assert told.status == "stopped at the longest time"
    assert np.isnan(told.solid_time)


def test_the_watch_hears_of_progress_and_may_stop_the_run():
    heard = []
    freeze(lump(0.001), BOTH, start=START, watch=lambda share, says: heard.append((share, says)))
    assert heard[-1][0] == 1.0
    assert all(0.0 <= share <= 1.0 and says for share, says in heard)

    def stop(share, says):
        raise Cancelled("Stopped")

    with pytest.raises(Cancelled):
        freeze(lump(), BOTH, start=START, watch=stop)


GRID = lump()
OTHER = MetalData.plain(
    solidus=800.0,
    liquidus=850.0,
    latent_heat=4e5,
    solid_heat=1e3,
    liquid_heat=1e3,
    solid_conductivity=100.0,
    liquid_conductivity=80.0,
    density=2500.0,
)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"materials": {1: METAL, 10: SAND}}, "tag 2"),
        ({"start": {1: 990.0, 10: 298.0}}, "tag 2"),
        ({"start": {1: 990.0, 2: np.nan, 10: 298.0}}, "not a number"),
        ({"grid": Grid(tags=GRID.tags, cell=-0.001, origin=np.zeros(3))}, "cell edge"),
        ({"grid": Grid(tags=GRID.tags[0], cell=0.001, origin=np.zeros(3))}, "three-dimensional"),
        ({"materials": {1: METAL, 2: OTHER, 10: SAND}}, "two different"),
        ({"materials": {**BOTH, 10: MediumData(conductivity=-1.0, density=1500.0, heat_capacity=1000.0)}}, "Conductivity"),
        ({"contact": {(1, 10): -5.0}}, "must be positive"),
        ({"contact": {(1, 2): 500.0}}, "same metal"),
        ({"faces": {"top": film(10.0, 298.0)}}, "no outer face"),
        ({"until": "frozen"}, "no end"),
        ({"preset": "best"}, "no preset"),
        ({"snapshots": [-1.0]}, "snapshot"),
        ({"coherency": 1.5}, "coherency"),
        ({"materials": {**BOTH, 10: 3.0}}, "neither metal"),
    ],
)  # fmt: skip
def test_a_wrong_question_is_refused(change, says):
    ask = {"grid": GRID, "materials": BOTH, "start": START} | change
    with pytest.raises(BadInput, match=says):
        freeze(ask.pop("grid"), ask.pop("materials"), **ask)


def test_media_alone_need_an_end():
    with pytest.raises(BadInput, match="end in seconds"):
        freeze(Grid(tags=np.full((4, 4, 4), 10, np.uint8), cell=0.01, origin=np.zeros(3)), {10: SAND}, start={10: 298.0})
