"""Cuts by a plane: volumes by hand, splices, grooves, what is kept clear, and what a metal's welding says."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pattern_shop import aluminium, box, part_from, rod
from strickle.base import BadInput, quiet
from strickle.metal.welding import weld_findings, welds
from strickle.pattern import Cut, Mark, SpliceAsk
from strickle.pattern.apart import apart, one_solid, told
from strickle.pattern.cuts import Kept, candidates
from strickle.pattern.dividing import cut_findings, look_for_cuts

LEAST = 3e-3


def cut(at, normal) -> Cut:
    """A cut through a point in millimetres."""
    return Cut(at=np.array(at, float) * 1e-3, normal=np.array(normal, float))


def angle():
    """A foot of 120 x 40 x 12 with a wall of 12 x 40 x 80 at its end."""
    return box(120, 40, 12) + box(12, 40, 80)


def volumes(made) -> list[float]:
    return [float(one_solid(mesh).volume()) for mesh in made.meshes]


def balance(made) -> float:
    """Volume of the castings over what part, stock and bevels come to, minus one."""
    due = made.volume - made.crumbs + sum(splice.stock_volume - splice.bevel_volume for splice in made.splices)
    return sum(volumes(made)) * 1e-9 / due - 1


def test_an_angle_cut_over_its_foot_by_hand() -> None:
    made = apart(part_from(angle()).mesh, [cut((0, 0, 20), (0, 0, 1))], SpliceAsk(stock=2e-3), LEAST)
    assert made.names == ("casting-1", "casting-2")
    face = 12 * 40
    assert volumes(made) == pytest.approx([120 * 40 * 12 + face * 8 + face * 2, face * 60 + face * 2], rel=1e-9)
    (splice,) = made.splices
    assert splice.castings == ("casting-2", "casting-1")  # the first lies on the side the normal points to
    assert splice.area == pytest.approx(face * 1e-6)
    assert splice.outline == pytest.approx(0.104)
    assert splice.span == pytest.approx(math.hypot(12, 40) * 1e-3, rel=2e-3)
    assert splice.at == pytest.approx([0.006, 0.020, 0.020])
    assert (splice.thin, splice.thick) == pytest.approx((0.012, 0.012), rel=1e-6)
    assert splice.stock_volume == pytest.approx(2 * face * 2e-9, rel=1e-9)
    assert (splice.edge, splice.cast_depth, splice.bevel_volume) == ("bevel all round", 0.0, 0.0)
    assert splice.depth == pytest.approx((12e-3 - 1.6e-3) / 2, rel=1e-6)
    assert "bevel all round" in told(splice)


def test_a_cut_on_a_face_of_the_part_leaves_no_sheet_of_it() -> None:
    """Where a flange ends is where a person cuts: its face would stay on the hub as a sheet of no thickness, and grow into fins with the stock."""
    hub = rod(140, 14) + rod(90, 56) - rod(35, 60, (0, 0, -2)) - rod(62, 30, (0, 0, 30))
    made = apart(part_from(hub).mesh, [cut((0, 0, 14), (0, 0, 1))], SpliceAsk(), LEAST)
    low, high = sorted(made.meshes, key=lambda mesh: mesh.vertices[:, 2].mean())
    assert np.abs(high.vertices[:, :2]).max() == pytest.approx(0.045, abs=1e-6)
    assert np.abs(low.vertices[:, :2]).max() == pytest.approx(0.070, abs=1e-6)


def test_stock_goes_by_the_size_of_the_part_where_none_is_given() -> None:
    one, other = (apart(part_from(angle()).mesh, [cut((0, 0, 20), (0, 0, 1))], SpliceAsk(stock=stock), LEAST) for stock in (None, 0.0))
    assert one.splices[0].stock == pytest.approx(2.2e-3)  # grade G, 100 to 160 mm
    assert other.splices[0].stock_volume == 0
    assert sum(volumes(other)) == pytest.approx(other.volume * 1e9, rel=1e-9)


@pytest.mark.parametrize("kind", ["weld", "bolt"])
@pytest.mark.parametrize("bevel", ["filed", "cast"])
def test_every_piece_is_one_solid_and_the_volumes_add_up(kind: str, bevel: str) -> None:
    tube = rod(60, 100) - rod(44, 120, (0, 0, -10))
    ring = rod(300, 40) - rod(240, 60, (0, 0, -10))
    slanted = [cut((0, 0, 50), (0, 0, 1)), cut((0, 0, 50), (1, 0.2, 0.1))]
    for body, cuts, many in ((angle(), [cut((0, 0, 20), (0, 0, 1))], 2), (tube, slanted, 4), (ring, [cut((3, 0, 20), (1, 0, 0))], 2)):
        made = apart(part_from(body).mesh, cuts, SpliceAsk(kind=kind, bevel=bevel), LEAST)
        assert len(made.meshes) == many
        assert abs(balance(made)) < 1e-5
        for mesh in (*made.meshes, *(plate.mesh for plate in made.plates)):
            solid = one_solid(mesh)
            assert solid.status().name == "NoError"
            assert solid.volume() > 1.0
            assert len(solid.decompose()) == 1
        bevelled = any(splice.bevel_volume > 0 for splice in made.splices)
        assert bevelled == (kind == "weld" and bevel == "cast")


def test_a_bevel_cast_round_a_tube_by_hand() -> None:
    tube = rod(60, 100) - rod(44, 120, (0, 0, -10))
    made = apart(part_from(tube).mesh, [cut((0, 0, 50), (0, 0, 1))], SpliceAsk(stock=0.0, bevel="cast"), LEAST)
    (splice,) = made.splices
    assert splice.edge == "bevel outside"  # no torch reaches the inside
    assert splice.depth == pytest.approx(8e-3 - 1.6e-3, rel=1e-2)
    assert splice.cast_depth == pytest.approx(5e-3, rel=1e-2)  # down to the section that sand fills
    deep, high = 5.0, 5.0 * math.tan(math.radians(40))
    by_hand = 2 * math.pi * high * (30 * deep / 2 - deep**2 / 6)  # a triangle rolled round the outside, on each of two castings
    assert splice.bevel_volume * 1e9 == pytest.approx(2 * by_hand, rel=0.01)


def test_a_ring_has_two_splices_and_pins_only_where_land_is_left() -> None:
    ring = rod(300, 40) - rod(200, 60, (0, 0, -10))
    made = apart(part_from(ring).mesh, [cut((0, 0, 20), (1, 0, 0))], SpliceAsk(), LEAST)
    assert [splice.castings for splice in made.splices] == [made.splices[0].castings] * 2
    assert all(splice.pin > 0 for splice in made.splices)
    first = made.splices[0]
    assert abs(first.first_pin[0]) < 1e-9
    assert np.linalg.norm(first.first_pin - first.second_pin) > 3 * first.pin
    thin = apart(part_from(angle()).mesh, [cut((0, 0, 20), (0, 0, 1))], SpliceAsk(), LEAST)
    assert thin.splices[0].pin == 0.0


def test_a_thin_web_beside_a_thick_boss_rules_the_bevel() -> None:
    made = apart(part_from(box(100, 8, 60) + rod(40, 60, (50, 4, 0))).mesh, [cut((0, 0, 30), (0, 0, 1))], SpliceAsk(), LEAST)
    (splice,) = made.splices
    assert splice.thin == pytest.approx(8e-3, rel=0.02)
    assert splice.thick == pytest.approx(40e-3, rel=0.02)
    assert splice.depth < 4e-3


@pytest.mark.parametrize(
    ("cuts", "says"),
    [
        ([], "no cut"),
        ([cut((0, 0, 200), (0, 0, 1))], "misses the part"),
        ([cut((0, 0, 80), (0, 0, 1))], "misses the part"),
        ([cut((0, 0, 79.999), (0, 0, 1))], "less than a cubic millimetre"),
        ([cut((0, 0, 20), (0, 0, 0))], "no direction"),
        ([cut((0, 0, 20), (0, 0, 1)), cut((0, 0, 20), (0, 0, 1))], "misses the part"),
    ],
)
def test_cuts_that_cannot_be_made_are_refused(cuts, says: str) -> None:
    with pytest.raises(BadInput, match=says):
        apart(part_from(angle()).mesh, cuts, SpliceAsk(), LEAST)


def test_too_many_castings_and_unknown_splices_are_refused() -> None:
    comb = box(200, 20, 10)
    for i in range(14):
        comb += box(6, 20, 40, (14 * i, 0, 0))
    with pytest.raises(BadInput, match="15 castings"):
        apart(part_from(comb).mesh, [cut((0, 0, 20), (0, 0, 1))], SpliceAsk(), LEAST)
    for wrong in (SpliceAsk(kind="glue"), SpliceAsk(bevel="sawn")):
        with pytest.raises(BadInput, match="not known"):
            apart(part_from(angle()).mesh, [cut((0, 0, 20), (0, 0, 1))], wrong, LEAST)


def test_cuts_looked_for_keep_clear_and_lie_beside_ledges() -> None:
    nothing = Kept(np.zeros((0, 3)), np.zeros(0))
    found = candidates(part_from(angle()).mesh, (), nothing, quiet)
    assert found[0].cut.normal == pytest.approx([0, 0, 1]) or found[0].cut.normal == pytest.approx([1, 0, 0])
    assert found[0].area == pytest.approx(480e-6)
    assert list(found) == sorted(found, key=lambda one: one.cost)
    place = found[0].cut.at + np.array([0.006, 0.020, 0.0]) * (1 - found[0].cut.normal)
    kept = Kept(place[None], np.array([5e-3]))
    for one in candidates(part_from(angle()).mesh, (), kept, quiet):
        assert abs(one.cut.normal @ (place - one.cut.at)) >= 5e-3 or not np.allclose(one.cut.normal, found[0].cut.normal)


def test_late_places_are_kept_clear_and_named_where_a_given_cut_meets_one() -> None:
    spot = np.array([6.0, 20.0, 20.0]) * 1e-3
    part = part_from(angle(), spots=[spot])
    for one, _, _ in look_for_cuts(part, (), np.zeros((0, 3)), quiet):
        assert abs(one.normal @ (spot - one.at)) >= 5e-3 - 1e-9 or abs(one.normal[1]) > 0.9
    cuts = [cut((0, 0, 20), (0, 0, 1))]
    made = apart(part.mesh, cuts, SpliceAsk(), LEAST)
    codes = [(f.code, f.says) for f in cut_findings(part, cuts, made, np.array([[0.006, 0.02, 0.022]]), SpliceAsk())]
    assert [code for code, _ in codes] == ["pattern.cut_near", "pattern.cut_near"]
    assert "freezes last" in codes[0][1]
    assert "kept clear" in codes[1][1]


def test_no_cut_goes_through_a_marked_face_and_one_asked_for_that_does_is_told() -> None:
    part = part_from(angle())
    foot = Mark(name="foot", at=np.array([60.0, 20.0, 0.0]) * 1e-3, kind="machined")
    none = np.zeros((0, 3))
    free, found = look_for_cuts(part, (), none, quiet), look_for_cuts(part, (), none, quiet, (foot,))
    flat = np.array([[0, 0, 0], [120.0, 0, 0], [120.0, 40.0, 0], [0, 40.0, 0]]) * 1e-3

    def crosses(one) -> bool:
        side = (flat - one.at) @ one.normal
        return side.min() < 5e-3 and side.max() > -5e-3

    assert any(crosses(one) for one, _, _ in free)
    assert found
    assert not any(crosses(one) for one, _, _ in found)
    cuts = [cut((20, 0, 0), (1, 0, 0))]
    told = cut_findings(part, cuts, apart(part.mesh, cuts, SpliceAsk(), LEAST), none, SpliceAsk(), (foot,))
    assert "the face marked 'foot'" in next(f.says for f in told if f.code == "pattern.cut_near")


def test_thin_and_thick_splices_are_told() -> None:
    cuts = [cut((0, 0, 30), (0, 0, 1))]
    for body, code in ((box(100, 2, 60), "pattern.splice_thin"), (box(60, 60, 60), "pattern.splice_not_through")):
        part = part_from(body)
        made = apart(part.mesh, cuts, SpliceAsk(), LEAST)
        assert [f.code for f in cut_findings(part, cuts, made, np.zeros((0, 3)), SpliceAsk())] == [code]
        assert cut_findings(part, cuts, made, np.zeros((0, 3)), SpliceAsk(kind="bolt"))[0].code == "pattern.splice_bolted"


def metal(key: str, family: str):
    import dataclasses

    return dataclasses.replace(aluminium(), metal=key, family=family)


@pytest.mark.parametrize(
    ("key", "family", "how"),
    [
        ("a356", "aluminium", "well"), ("a380", "aluminium", "poorly"), ("za12", "zinc", "no"), ("grey_iron", "iron", "no"),
        ("new", "aluminium", "with care"),
        ("silicon_bronze", "copper", "well"), ("tin", "tin", "no"), ("x", "y", "poorly"),
    ],
)  # fmt: skip
def test_whether_a_metal_welds(key: str, family: str, how: str) -> None:
    known = welds(metal(key, family))
    assert known.how == how
    codes = {f.code: f.weight for f in weld_findings(metal(key, family), "general", {}, "weld")}
    assert (codes.get("metal.weld_no") == "STOP") == (how == "no")
    assert ("metal.weld_poor" in codes) == (how == "poorly")
    assert weld_findings(metal(key, family), "general", {}, "bolt") == ()


def test_no_splice_in_a_part_that_hurts_people_when_it_breaks() -> None:
    from strickle.metal import USES

    for use in USES:
        for kind in ("weld", "bolt"):
            codes = [f.code for f in weld_findings(metal("a356", "aluminium"), use, {}, kind) if f.weight == "STOP"]
            assert codes == ([] if use == "general" else ["metal.weld_use"])


def test_fumes_are_told_with_the_weld() -> None:
    found = weld_findings(metal("c90300", "copper"), "general", {"zinc": 0.04}, "weld")
    assert [f.code for f in found] == ["metal.weld_poor", "metal.weld_fume", "metal.weld_clean"]
