"""Open-face moulds from the mesh to the folder: plates, a hollow back, a part with two sides, and what was asked."""

from __future__ import annotations

import json

import manifold3d as m3
import numpy as np
import pytest

import melt_shop
import pattern_shop
import strickle
from lawful import lawful
from strickle.base import BadInput, quiet
from strickle.job.demo import stl
from strickle.job.recipe import BY_NAME
from strickle.mould import MouldAsk
from strickle.mould.steps import ram
from strickle.pattern import PatternAsk
from strickle.pattern.steps import make
from strickle.rigging import RiggingAsk
from strickle.rigging.steps import rig
from strickle.stores.kit import starter_kit


def frustum(x: float, y: float, z: float, draft: float = 3.0) -> m3.Manifold:
    """A block [mm] with its larger face up."""
    lean = np.tan(np.radians(draft)) * z
    corners = [(s * (x / 2 - lean * (1 - k)), t * (y / 2 - lean * (1 - k)), k * z) for s in (-1, 1) for t in (-1, 1) for k in (0, 1)]
    return m3.Manifold.hull_points(corners)


def cube(x: float, y: float, z: float, low: float) -> m3.Manifold:
    return m3.Manifold.cube((x, y, z)).translate((-x / 2, -y / 2, low))


PLATE, THICK = frustum(120, 60, 8), frustum(80, 80, 30)
HOLLOW = frustum(120, 60, 20) - cube(60, 30, 8, 12.001)
TWO_SIDED = frustum(120, 60, 12) + cube(30, 30, 10, 11.0) + cube(30, 30, 10, -9.0).translate((30, 0, 0))


def codes(result) -> dict:
    return {f.code: f for f in result.findings}


def laid(body: m3.Manifold, **ask):
    part = pattern_shop.part_from(body)
    return part, make(part, melt_shop.a356(), melt_shop.stores(), PatternAsk(open_face=True, **ask), quiet)


def rigged(body: m3.Manifold, fill=None, **ask):
    part, pattern = laid(body, **ask)
    mould = ram(part, pattern, melt_shop.a356(), melt_shop.stores(), MouldAsk(kind="open-face"), quiet)
    return pattern, mould, rig(part, pattern, mould, melt_shop.a356(), melt_shop.stores(), RiggingAsk(fill=fill), quiet)


def test_a_drafted_plate_lies_under_the_sand_s_level_with_its_larger_face_up():
    _, pattern = laid(PLATE, stock=0.0)
    assert pattern.draw == pytest.approx([0.0, 0.0, 1.0], abs=1e-9)
    assert pattern.cope_depth == 0.0
    assert pattern.drag_depth == pytest.approx(8e-3 * pattern.scale[2])
    assert pattern.back_filled == pytest.approx(0.0, abs=1e-12)
    assert [p.half for p in pattern.pieces] == ["drag"]
    assert "pattern.no_draft" not in codes(pattern)


def test_the_same_plate_given_upside_down_is_turned():
    _, pattern = laid(PLATE.rotate((180, 0, 0)), stock=0.0)
    assert pattern.draw == pytest.approx([0.0, 0.0, -1.0], abs=1e-9)


def test_stock_is_laid_on_the_back_and_told():
    _, bare = laid(PLATE, stock=0.0)
    part, given = laid(PLATE, stock=2e-3)
    _, usual = laid(PLATE)
    assert given.drag_depth - bare.drag_depth == pytest.approx(2e-3 * given.scale[2], rel=1e-6)
    assert usual.stock == pytest.approx(3e-3)  # ISO 8062:1994, Table 2, 100 to 160 mm, grade H (from memory)
    assert {"pattern.stock"} <= set(codes(usual))
    # a corner of the part's own back lies under the level by the stock
    corner = part.mesh.vertices[np.argmax(part.mesh.vertices[:, 2])]
    assert (given.scale * (given.turn @ corner) + given.shift)[2] == pytest.approx(-2e-3 * given.scale[2], rel=1e-6)


def test_a_hollow_in_the_back_is_filled_and_told():
    _, pattern = laid(HOLLOW, up=np.array([0.0, 0.0, 1.0]), stock=0.0)
    hole = 60e-3 * 30e-3 * 7.999e-3 * float(np.prod(pattern.scale))
    assert pattern.back_filled == pytest.approx(hole, rel=1e-3)
    told = codes(pattern)["pattern.back_filled"]
    assert told.weight == "MIND"
    assert told.where.point == pytest.approx((0.0, 0.0, 0.016), abs=1e-3)
    assert pattern.undercut_volume == 0.0


def test_a_part_with_two_sides_is_told():
    _, pattern = laid(TWO_SIDED)
    assert "pattern.back_filled" in codes(pattern)
    _, as_asked = laid(TWO_SIDED, up=np.array([0.0, 0.0, 1.0]))
    assert codes(as_asked)["pattern.back_filled"].weight == "STOP"


def test_a_two_part_pattern_takes_no_stock_and_an_open_one_no_parting():
    part = pattern_shop.part_from(PLATE)
    for ask in (PatternAsk(stock=1e-3), PatternAsk(open_face=True, parting=4e-3)):
        with pytest.raises(BadInput):
            make(part, melt_shop.a356(), melt_shop.stores(), ask, quiet)


def test_the_frame_is_a_drag_alone_and_stands_level():
    pattern, mould, _ = rigged(PLATE)
    assert mould.flask.cope == 0.0
    assert mould.box[5] == 0.0
    assert -mould.box[4] > pattern.drag_depth
    across = np.linalg.norm(np.ptp(pattern.cavity.vertices[:, :2], axis=0))
    assert mould.tilt * across == pytest.approx(0.5 * pattern.stock)
    assert "mould.open_face" in codes(mould)


def test_level_proud_and_by_weight_agree():
    pattern, _, level = rigged(PLATE, fill="level")
    hot = level.open_pour.mass.value / (level.flow * level.pour_time)
    assert hot < melt_shop.a356().density_liquidus
    assert level.open_pour.level.value == 0.0
    _, _, proud = rigged(PLATE, fill="proud")
    rise = proud.open_pour.level.value
    assert 0.0 < rise <= proud.open_pour.bears
    more = proud.open_pour.mass.value - level.open_pour.mass.value
    assert more == pytest.approx(hot * level.open_pour.area * rise, rel=1e-3)
    _, _, weighed = rigged(PLATE, fill=proud.open_pour.mass.value)
    assert weighed.open_pour.level.value == pytest.approx(rise, rel=1e-3)
    _, _, short = rigged(PLATE, fill=0.9 * level.open_pour.mass.value)
    assert -pattern.stock < short.open_pour.level.value < 0.0
    assert short.open_pour.mass.value == pytest.approx(0.9 * level.open_pour.mass.value, rel=1e-6)
    assert codes(short)["rigging.short"].weight == "MIND"
    _, _, over = rigged(PLATE, fill=3.0 * level.open_pour.mass.value)
    assert codes(over)["rigging.overfull"].weight == "STOP"
    _, _, half = rigged(PLATE, fill=0.5 * level.open_pour.mass.value)
    assert codes(half)["rigging.short"].weight == "STOP"


@pytest.mark.parametrize(
    ("body", "stock", "way"), [(PLATE, None, "proud"), (frustum(120, 60, 5), 0.0, "by weight"), (frustum(60, 40, 16), 3e-3, "level")]
)
def test_what_is_recommended_follows_from_depth_and_stock(body, stock, way):
    pour = rigged(body, stock=stock)[2].open_pour
    assert pour.recommended == way
    assert pour.depth < pour.stands or way != "by weight"


def test_the_fill_is_read_as_a_word_or_a_mass():
    fill = BY_NAME["fill"]
    assert fill.read("proud") == "proud"
    assert fill.read("250 g") == pytest.approx(0.25)
    assert fill.read(fill.write(0.25)) == 0.25
    for wrong in ("heaped", "250", "9 mm", "0.1 mg"):
        with pytest.raises(BadInput):
            fill.read(wrong)


# ---- from end to end -------------------------------------------------------------------------------------------------------------


def planned(folder, name: str, body: m3.Manifold, **asks):
    mesh = body.to_mesh()
    part = folder / f"{name}.stl"
    part.write_bytes(stl(np.asarray(mesh.vert_properties[:, :3], dtype=float), np.asarray(mesh.tri_verts, dtype=np.int64)))
    asks = {"mould": "open-face", "preset": "rough", **asks}
    return strickle.plan(part, out=folder / f"{name}-{len(asks)}-{asks['mould']}.job", unit="mm", kit=starter_kit(), **asks)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("open")


@pytest.fixture(scope="module")
def plate(folder):
    return planned(folder, "plate", PLATE)


@pytest.fixture(scope="module")
def thick(folder):
    return planned(folder, "thick", THICK)


def test_the_plate_is_planned_to_a_lawful_folder(plate):
    assert plate.exit_code == 0
    assert plate.verdict.code == "castable"
    assert "open back sinks" in plate.verdict.says
    doc = json.loads((plate.folder / "results.json").read_text(encoding="utf-8"))
    lawful(doc)
    assert all(stage["status"] == "done" for stage in doc["stages"].values())
    assert doc["files"]["print"] == ["print/drag-pattern.3mf", "print/drag-pattern.stl", "print/plate-1.3mf"]
    assert {"cards/card.pdf", "cards/section.svg", "cards/plan.svg"} <= set(doc["files"]["cards"])
    rigging = doc["stages"]["rigging"]
    assert rigging["sprue"]["top_area"] == {"value": None, "unit": "m2"}
    assert rigging["ingates"] == rigging["risers"] == []
    assert doc["stages"]["cavity"]["lift"]["value"] == doc["stages"]["cavity"]["hold_down_mass"]["value"] == 0.0
    drawing = (plate.folder / "cards" / "section.svg").read_text()
    assert "COPE" not in drawing
    assert "DRAG" in drawing


def test_the_metal_charged_is_what_is_poured(plate):
    pour = plate.stages["rigging"].open_pour
    assert plate.stages["melt"].poured_mass == pytest.approx(pour.mass.value)
    assert plate.stages["pour"].fill_time.low < plate.stages["pour"].fill_time.value < plate.stages["pour"].fill_time.high


@pytest.mark.parametrize("which", ["plate", "thick"])
def test_what_the_metal_loses_is_found_again(which, request):
    plan = request.getfixturevalue(which)
    sound, cavity = plan.stages["sound"], plan.stages["cavity"]
    back = sound.back
    assert back.sunk_volume + back.hollow_volume == pytest.approx(back.lost_volume, rel=1e-6)
    loss = back.lost_volume / cavity.mesh_volume
    metal = plan.stages["metal"]
    assert metal.shrinkage < loss < metal.shrinkage + 0.02
    assert sound.balance_error < 1e-6
    # the plate lies alike to both sides, so it sinks alike, but for where the grid, laid by its walls, cuts the two sides
    known = np.isfinite(back.depth)
    assert np.nansum(back.depth) == pytest.approx(back.mean * known.sum())
    inside = back.depth[np.ix_(known.any(axis=1), known.any(axis=0))]
    assert inside == pytest.approx(inside[::-1], abs=0.02 * back.deepest.value)
    assert inside == pytest.approx(inside[:, ::-1], abs=0.02 * back.deepest.value)


def test_the_thick_one_sinks_more_and_more_stock_was_tried(plate, thick):
    thin_back, back = plate.stages["sound"].back, thick.stages["sound"].back
    assert back.deepest.value > 1.5 * thin_back.deepest.value
    assert back.mean > 1.5 * thin_back.mean
    assert thick.verdict.code == "after_change"
    (tried,) = [t for t in thick.document["tried"] if t["cures"] == "sound.back_sinks"]
    assert tried["worked"]
    assert tried["before"]["value"] < 1.0 < tried["after"]["value"]
    assert "stock on the back" in thick.verdict.change


def test_without_stock_the_sink_is_minded_and_a_cover_keeps_the_back_open(folder):
    bare = planned(folder, "plate", PLATE, stock=0.0, until="sound")
    assert codes(bare.stages["sound"])["sound.back_sinks"].weight == "MIND"
    covered = planned(folder, "plate", PLATE, stock=0.0, until="sound", cover="dry")
    assert covered.stages["sound"].back.covered
    assert covered.stages["sound"].back.closes > bare.stages["sound"].back.closes
    assert covered.stages["sound"].last_to_freeze.time.value > bare.stages["sound"].last_to_freeze.time.value


def test_a_two_part_plan_of_the_same_part_knows_nothing_of_it(folder):
    plan = planned(folder, "plate", PLATE, mould="two-part", until="pour")
    assert plan.stages["pattern"].stock == plan.stages["pattern"].back_filled == 0.0
    assert plan.stages["rigging"].open_pour is None
    assert plan.stages["rigging"].ingates
    assert np.isfinite(plan.stages["rigging"].sprue.at).all()
    assert plan.stages["mould"].flask.cope > 0
    assert not np.any(plan.stages["cavity"].grid.tags == 11)
    for wish in ({"fill": "level"}, {"stock": 1e-3}):
        with pytest.raises(BadInput):
            planned(folder, "other", PLATE, mould="two-part", until="pour", **wish)


@pytest.mark.validate
def test_the_day_of_an_open_face_has_no_cope_and_the_same_holds(folder):
    from strickle.card.open_face import rows
    from strickle.card.safety import HOLDS
    from strickle.card.steps import written

    plan = planned(folder, "small", frustum(50, 40, 12), preset="shop", stock=5e-3)
    results = {name: plan.stages[name] for name in plan.stages}
    card, _ = written(verdict=plan.verdict, findings=plan.findings, kit=starter_kit(), units="metric", paper="a4", **results)
    assert card.pages in (2, 3)
    assert {"open-face-heat", "open-face-dry", "plastic-out", "dry-charge"} <= set(card.cautions)
    keys = [row[0] for row in rows()]
    assert "cope" not in keys
    assert set(HOLDS) <= set(keys)


def test_the_fall_and_the_edges_are_told(plate):
    found = codes(plate.stages["pour"])
    assert {"pour.open_fall", "pour.relief"} <= set(found)
    metal, pour = plate.stages["metal"], plate.stages["pour"]
    relief, depth = pour.relief, float(np.ptp(plate.stages["rigging"].casting.vertices[:, 2]))
    assert relief.area == 0.0
    assert np.isnan(relief.reached.value)
    assert pour.edge_radius == relief.edge_radius.value
    assert relief.edge_radius.low < relief.edge_radius.value <= relief.edge_radius.high <= depth * 1.001  # no rounder than the metal is deep
    at_rest = metal.density_liquidus * 9.81 * depth
    falling = 0.5 * metal.density_liquidus * pour.fall_speed**2
    assert at_rest * 0.5 < relief.pressure.low <= relief.pressure.high <= (at_rest + falling) * 1.001


def test_stock_on_the_back_makes_the_wall_thicker_and_metal_stay_fluid_longer(tmp_path):
    """More stock: a thicker wall, a cooler pour, a longer fluid time; and never fluid for longer than it takes to freeze."""
    mesh = m3.Manifold.cube((90.0, 60.0, 4.0)).to_mesh64()
    path = tmp_path / "sheet.stl"
    path.write_bytes(stl(np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts)))
    found = []
    for stock in ("0 mm", "3 mm", "9 mm"):
        plan = strickle.plan(path, out=tmp_path / f"{stock}.job", unit="mm", mould="open-face", stock=stock, preset="rough", until="pour")
        stages = json.loads(plan.to_json())["stages"]
        found.append(
            (stages["rigging"]["open_pour"]["wall"]["value"], stages["melt"]["pour_temperature"]["value"], stages["pour"]["fluid_time"]["value"])
        )
    walls, temperatures, fluid = zip(*found, strict=True)
    assert walls[:2] == pytest.approx((0.004, 0.007), rel=1e-3)
    assert 0.010 < walls[2] < 0.0131  # rays from the low sides still meet the sheet as it was
    assert temperatures[0] > temperatures[1] > temperatures[2]
    assert fluid[0] < fluid[1] < fluid[2]


def test_a_thick_open_plate_is_fluid_for_less_time_than_it_takes_to_freeze(tmp_path):
    mesh = frustum(110, 80, 25).to_mesh64()
    path = tmp_path / "slab.stl"
    path.write_bytes(stl(np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts)))
    plan = strickle.plan(path, out=tmp_path / "slab.job", unit="mm", mould="open-face", stock="0 mm", preset="rough", until="sound")
    stages = json.loads(plan.to_json())["stages"]
    fluid, solid = stages["pour"]["fluid_time"]["value"], stages["sound"]["last_to_freeze"]["time"]["value"]
    assert 0.2 * solid < fluid < solid
    blocky = [f for f in plan.findings if f.code == "cavity.blocky"]
    assert all("cavity" in f.code and float(stages["cavity"]["voxel_area"]["value"]) > 0.95 * stages["cavity"]["mesh_area"]["value"] for f in blocky)


@pytest.mark.parametrize(("wide", "high"), [(4.0, 1.7), (9.0, 3.0), (2.0, 1.0)])
def test_letters_that_stand_out_on_the_lowest_face_are_measured(wide, high):
    bars = [cube(wide, 40.0, high + 0.5, -high).translate((20.0 * i, 0, 0)) for i in (-2, -1, 0, 1, 2)]
    _, _, rigging = rigged(sum(bars, frustum(120, 60, 8)), up=[0, 0, 1], stock=0.0)
    pour = rigging.open_pour
    assert pour.strokes == pytest.approx(wide * 1e-3, rel=0.05)
    assert pour.relief == pytest.approx(high * 1e-3, abs=0.2e-3)


def test_a_plain_lowest_face_has_no_letters():
    for body in (PLATE, THICK, HOLLOW):
        assert np.isnan(rigged(body, stock=0.0)[2].open_pour.strokes)


def test_letters_that_metal_may_not_enter_are_told(tmp_path):
    bars = [cube(4.0, 40.0, 2.2, -1.7).translate((20.0 * i, 0, 0)) for i in (-2, -1, 0, 1, 2)]
    mesh = sum(bars, frustum(120, 60, 8)).to_mesh64()
    path = tmp_path / "sign.stl"
    path.write_bytes(stl(np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts)))
    asks = {"mould": "open-face", "up": [0.0, 0.0, 1.0], "draft": "none", "preset": "rough", "until": "pour"}
    plan = strickle.plan(path, out=tmp_path / "sign.job", unit="mm", **asks)
    found, relief = codes(plan)["pour.relief"], plan.stages["pour"].relief
    assert found.weight == "MIND"
    assert found.margin.value == relief.reached.value < 0.7
    assert relief.width == pytest.approx(4e-3, rel=0.03)
    assert relief.height == pytest.approx(1.7e-3, rel=0.03)
