"""What any filling must obey: metal and heat kept, mirrors and turns, whole cells aside, scaling, a run taken up again, and a run called off."""

import dataclasses

import manifold3d as m3
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flows import METAL, grid, kept, say
from strickle import Breath, Cancelled, Grid, LiquidData, MediumData, MetalData, fill, held, open_air, poured
from strickle.base import Mesh
from strickle.pour import keep

HOT = MetalData.plain(
    solidus=828.0, liquidus=888.0, latent_heat=389e3, solid_heat=1100.0, liquid_heat=1100.0, solid_conductivity=150.0, liquid_conductivity=80.0,
    density=2385.0,
)  # fmt: skip
SAND = MediumData(conductivity=0.6, density=1550.0, heat_capacity=1100.0)
SHAPE = (10, 9, 11)
POUR, COLD = 993.0, 295.0
START = {1: POUR, 10: COLD}


def hollow(seed, mouth):
    """A few joined rooms in sand with a mouth of 2 x 2 cells in a corner of the first one: tag 1 the cavity, 5 the mouth, 6 open air."""
    rng = np.random.default_rng(seed)
    tags = np.full(SHAPE, 10, np.uint8)
    middle = np.array([5, 4, 5])
    for _ in range(int(rng.integers(1, 4))):
        low = middle - rng.integers(1, 4, 3)
        high = np.minimum(middle + rng.integers(1, 4, 3) + 1, np.array(SHAPE) - 2)
        tags[tuple(slice(a, b) for a, b in zip(low, high, strict=True))] = 1
    if mouth == "below":
        tags[5:7, 4:6, :5] = np.where(tags[5:7, 4:6, :5] == 10, 1, tags[5:7, 4:6, :5])
        tags[5:7, 4:6, 0] = 5
        tags[4, 4, 6:] = np.where(tags[4, 4, 6:] == 10, 1, tags[4, 4, 6:])
        tags[4, 4, -1] = 6
    else:
        tags[4:7, 3:6, 6:] = np.where(tags[4:7, 3:6, 6:] == 10, 1, tags[4:7, 3:6, 6:])
        tags[5, 4:6, -1] = 5
        tags[4, 3, -1] = 6
    return tags


def run(tags, mouth, cell=0.003, until=0.5, hot=True, metal=HOT, **more):
    materials = {1: metal if hot else LiquidData(density=2385.0), 5: mouth, 6: open_air(), 10: SAND}
    return fill(grid(tags, cell), materials, start=START if hot else None, until=until, **more)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 2**20), st.sampled_from(["below", "above"]), st.sampled_from(["held", "poured"]), st.floats(0.5, 3.0))
def test_metal_and_heat_are_kept_and_no_metal_is_hotter_than_what_came_in(seed, where, how, much):
    mouth = held(2000.0 * much) if how == "held" else poured(1e-5 * much, most=2e4)
    told = kept(run(hollow(seed, where), mouth))
    wet = told.share > 0.5
    assert np.nanmax(told.temperature[wet], initial=0.0) < POUR + 0.5
    assert np.nanmin(told.temperature[wet], initial=POUR) > COLD
    came = told.arrival_temperature[np.isfinite(told.arrival)]
    assert came.max(initial=0.0) < POUR + 0.5
    assert came.min(initial=POUR) > COLD
    assert told.metal_loss == pytest.approx(told.wall_gain, rel=5e-3, abs=0.5e-2)


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 2**20), st.sampled_from(["below", "above"]), st.floats(0.5, 3.0))
def test_no_cell_holds_more_than_it_has_room_for(seed, where, much):
    kept(run(hollow(seed, where), poured(1e-5 * much, most=2e4), hot=False))


def test_the_last_air_of_a_mould_is_not_filled_past_its_room():
    kept(run(hollow(610241, "below"), poured(2.125e-5, most=2e4)))


def like(one, two, share=0.02):
    """Two fillings agree: curves within ``share`` of the cavity and of the time."""
    late = min(one.time, two.time)
    at = np.linspace(0.0, late, 40)
    room = float((one.room).sum())
    gap = np.abs(np.interp(at, one.times, one.filled) / one.filled.max() - np.interp(at, two.times, two.filled) / two.filled.max()).max()
    assert room == pytest.approx(float(two.room.sum()), rel=1e-12)
    assert gap < share, f"curves {gap:.4f} apart"
    assert one.time == pytest.approx(two.time, rel=share)


def flipped(tags, axis):
    return np.ascontiguousarray(np.flip(tags, axis))


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 2**20), st.sampled_from(["x", "y", "turn"]))
def test_a_mirrored_or_turned_mould_fills_as_its_mirror(seed, how):
    """Fill curves within 2 % of the cavity: sweeps and red-black order are not symmetric, the answer is, nearly."""
    tags = hollow(seed, "below")
    other = flipped(tags, 0) if how == "x" else flipped(tags, 1) if how == "y" else np.ascontiguousarray(np.rot90(tags, axes=(0, 1)))
    one, two = (run(t, poured(2e-5), full=0.98) for t in (tags, other))
    like(one, two)


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 2**20), st.tuples(st.integers(1, 3), st.integers(1, 3), st.integers(1, 3)))
def test_moving_the_mould_by_whole_cells_changes_no_bit(seed, aside):
    """Sand all round, two or more cells aside; pressure grids lump pairs of cells, so the move is by even numbers of cells."""
    tags = hollow(seed, "below")
    tags[tags == 6] = 10
    moved = np.pad(tags, [(2**4 * a, 0) for a in aside], constant_values=10)
    one, two = run(tags, poured(2e-5)), run(moved, poured(2e-5))
    part = tuple(slice(2**4 * a, None) for a in aside)
    np.testing.assert_array_equal(one.share, two.share[part])
    np.testing.assert_array_equal(one.arrival, two.arrival[part])
    np.testing.assert_array_equal(one.temperature, two.temperature[part])


@settings(max_examples=4, deadline=None)
@given(st.integers(0, 2**20))
def test_four_times_the_size_takes_twice_as_long_at_equal_froude_number(seed):
    """Without heat only lengths and gravity count: time as the root of length, flow as length to 5/2 (Froude's law, common practice)."""
    tags = hollow(seed, "below")
    small = run(tags, poured(2e-5), hot=False, full=0.98)
    large = run(tags, poured(2e-5 * 4.0**2.5), hot=False, full=0.98, cell=0.012, until=1.0)
    assert large.time / small.time == pytest.approx(2.0, rel=0.02)
    at = np.linspace(0.0, small.time, 40)
    gap = np.abs(np.interp(at, small.times, small.filled) / small.filled.max() - np.interp(2.0 * at, large.times, large.filled) / large.filled.max())
    assert gap.max() < 0.02


def plate():
    """A plate 8 x 2 x 14 cells over a runner, gated from below, held at the runner's end; open above."""
    tags = np.full((14, 6, 20), 10, np.uint8)
    tags[2:12, 2:4, 5:18] = 1
    tags[0:12, 2:4, 1:3] = 1
    tags[5:8, 2:4, 3:5] = 1
    tags[0, 2:4, 1:3] = 5
    tags[3:5, 2:4, 18:] = 1
    tags[3:5, 2:4, 19] = 6
    return tags


def until_share(told, share):
    return float(np.interp(share, told.filled / (float(told.room.sum()) * 0.003**3), told.times))


SPLASH = pytest.mark.xfail(
    strict=True, reason="measured -10.6 %: in a splash the last corners of a thin plate fill sooner with the shop preset than with fine"
)


@pytest.mark.parametrize(
    ("preset", "part", "most"), [("shop", 0.5, 0.01), ("rough", 0.5, 0.01), pytest.param("shop", 0.969, 0.1, marks=SPLASH), ("rough", 0.969, 0.1)]
)
def test_presets_agree_on_the_fill_time(preset, part, most):
    """A plate two cells thick, filled in a splash of 0.3 s: half full within 1 %, the last corners, which splash decides, within 10 %."""
    fine, other = (kept(run(plate(), held(3000.0), until=3.0, full=0.97, preset=p)) for p in ("fine", preset))
    assert fine.status == other.status == "filled"
    gap = until_share(other, part) / until_share(fine, part) - 1.0
    say(f"{preset} against fine, {part:.0%} full: {gap:+.1%}")
    assert abs(gap) < most


class Off(Exception):
    """The run is called off."""


def test_a_run_taken_up_again_equals_the_unbroken_one(tmp_path, monkeypatch):
    monkeypatch.setattr(keep, "EVERY", 0.0)
    file = tmp_path / "run.npz"
    ask = {"until": 0.6, "full": 0.97, "breath": Breath(passage=1e-7, way=0.03)}
    whole = run(plate(), held(3000.0), **ask)
    seen = []

    def watch(share, words):
        seen.append(share)
        if len(seen) == 6:
            raise Off

    with pytest.raises(Off):
        run(plate(), held(3000.0), watch=watch, checkpoint=file, **ask)
    assert file.is_file()
    assert [p.name for p in tmp_path.iterdir()] == ["run.npz"]
    assert file.stat().st_size < 50e6
    begun = []
    again = run(plate(), held(3000.0), watch=lambda share, words: begun.append(share), checkpoint=file, **ask)
    assert begun[0] > seen[2]
    assert not file.exists()
    for item in dataclasses.fields(whole):
        one, two = getattr(whole, item.name), getattr(again, item.name)
        if isinstance(one, np.ndarray):
            np.testing.assert_array_equal(one, two, err_msg=item.name)
        else:
            assert one == two or one != one, item.name


def test_a_checkpoint_of_another_question_is_left_alone(tmp_path, monkeypatch):
    monkeypatch.setattr(keep, "EVERY", 0.0)
    file = tmp_path / "run.npz"

    def stop(share, words):
        if share > 0.2:
            raise Cancelled("the test calls it off")

    with pytest.raises(Cancelled):
        run(plate(), held(3000.0), watch=stop, checkpoint=file)
    for other in ({"mouth": held(2500.0)}, {"mouth": held(3000.0), "metal": dataclasses.replace(HOT, latent_heat=300e3)}):
        first = []
        run(plate(), other["mouth"], metal=other.get("metal", HOT), watch=lambda share, words, first=first: first.append(share), checkpoint=file)
        assert first[0] < 0.2
        with pytest.raises(Cancelled):
            run(plate(), held(3000.0), watch=stop, checkpoint=file)
    file.write_bytes(b"not a checkpoint")
    told = run(plate(), held(3000.0), checkpoint=file, until=0.05)
    assert told.status == "done"


def test_a_run_called_off_leaves_a_checkpoint_at_most(tmp_path):
    def stop(share, words):
        raise Cancelled("the test calls it off")

    with pytest.raises(Cancelled):
        run(plate(), held(3000.0), watch=stop, checkpoint=tmp_path / "run.npz")
    assert not list(tmp_path.iterdir())


def test_an_interrupted_pour_goes_on():
    """The flow stops for a second and comes back: metal stands meanwhile, the run does not end."""
    room = 10 * 2 * 13 * 0.003**3
    mouth = poured([0.5 * room, 0.0, 0.5 * room], times=[0.0, 1.0, 2.0])
    told = kept(run(plate(), mouth, until=6.0, full=0.97, hot=False))
    assert told.status == "filled"
    assert 2.5 < told.time < 4.5


@pytest.mark.parametrize("passage", [None, 1e-8])
def test_air_shut_in_stops_the_metal_at_its_balance_unless_it_leaks(passage):
    """Boyle's law: the pocket is pressed to p_air / (p_air + what the metal brings there); with a leak the box fills."""
    tags = np.full((8, 8, 17), 10, np.uint8)
    tags[:, :, 1:] = 1
    tags[3:5, 3:5, 0] = 1
    press = 2e4
    told = fill(
        grid(tags, 0.0025), {1: METAL, 10: SAND}, ends={"z-": held(press)}, until=1.0 if passage is None else 4.0, full=0.9,
        breath=Breath(passage=passage or 1e-20, way=0.03),
    )  # fmt: skip
    kept(told)
    if passage:
        assert told.status == "filled"
        return
    half = told.times > 0.5
    room = float(told.room.sum()) * 0.0025**3
    stands = (told.filled[half] / room).mean()
    want = brought_in(press, room)
    say(f"sealed: {stands:.4f} full, law {want:.4f}")
    assert stands == pytest.approx(want, abs=0.02)


def brought_in(press, room):
    """Share of a sealed box that metal fills: its air at Boyle's pressure stands against ``press`` less the head of the metal."""
    share = 0.1
    for _ in range(100):
        over = press - 2385.0 * 9.81 * (0.0025 + share * room / 0.02**2)
        share = over / (101325.0 + over)
    return share


def crooked(seed):
    """A cavity of turned blocks under a shaft, cut by the cells anyhow, with no way out but its mouth; the grid and the surface."""
    rng = np.random.default_rng(seed)
    solid = m3.Manifold.cube((*rng.uniform(4.0, 8.0, 2), 40.0), True).translate((0.0, 0.0, 20.0))
    for _ in range(int(rng.integers(1, 5))):
        block = m3.Manifold.cube(tuple(rng.uniform(3.0, 25.0, 3)), True).rotate(tuple(rng.uniform(0.0, 90.0, 3)))
        solid += block.translate((*rng.uniform(-5.0, 5.0, 2), float(rng.uniform(0.0, 12.0))))
    made = solid.to_mesh()
    surface = Mesh(vertices=1e-3 * np.asarray(made.vert_properties[:, :3], float), faces=np.asarray(made.tri_verts, np.int64))
    cell = float(rng.choice([1.5e-3, 2e-3, 2.5e-3]))
    low, high = surface.vertices.min(axis=0), surface.vertices.max(axis=0)
    shape = np.ceil((high - low) / cell).astype(int) + 3
    origin = low - cell * (1.0 + rng.random(3))
    origin[2] = high[2] - shape[2] * cell
    return Grid(tags=np.ones(tuple(shape), np.uint8), cell=cell, origin=origin), surface


@pytest.mark.parametrize("seed", [0, 4, 9, 15, 17])
@pytest.mark.parametrize("pressure", [2e3, 4e4])
def test_a_shut_cavity_pressed_full_at_once_takes_no_more_than_its_room(seed, pressure):
    """The last step into a full cavity had left up to twice its room in a sliver of a cut cell."""
    where, surface = crooked(seed)
    kept(fill(where, {1: METAL}, ends={"z+": held(pressure)}, until=3.0, full=0.9999, surface=surface))
