"""A part cast in pieces: cuts that make every casting easier, and the sibling jobs with their comparison."""

from __future__ import annotations

import dataclasses
import json
import shutil
from pathlib import Path

import jsonschema
import manifold3d as m3
import numpy as np
import pytest

import strickle
from lawful import lawful
from pattern_shop import aluminium, box, part_from, public_part, rod
from strickle.base import Cancelled, Outcome, quiet
from strickle.cli import main
from strickle.job.castings import castings_schema, read_castings
from strickle.job.demo import stl
from strickle.job.dividing import Divided, divide
from strickle.metal import MetalAsk
from strickle.mould import MouldAsk
from strickle.mould.steps import ram
from strickle.pattern import Cut, Mark, PatternAsk
from strickle.pattern.steps import make
from strickle.stores import load, starter_kit
from strickle.trials import DivideAsk, Division
from strickle.trials.dividing import divide as cut_up


class Bench:
    """What job lends to trials, without the stages before the pattern and without disk."""

    def __init__(self, part, draft: str = "none") -> None:
        self.stores = load(starter_kit())
        self.asks = {"metal": MetalAsk(), "pattern": PatternAsk(draft=draft, joint="flat"), "mould": MouldAsk()}
        self.results: dict[str, Outcome] = {"metal": aluminium(), "part": part}
        self.rammed = 0

    def ask(self, stage):
        return self.asks[stage]

    def run(self, stage, ask=None):
        if stage not in self.results:
            self.results[stage] = self.once(stage, self.results, self.asks[stage], self.stores, quiet)
        return self.results[stage]

    def once(self, stage, results, ask, stores, watch):
        self.rammed += stage == "mould"
        if stage == "pattern":
            return make(results["part"], results["metal"], stores, ask, watch)
        return ram(results["part"], results["pattern"], results["metal"], stores, ask, watch)


def angle() -> m3.Manifold:
    """A foot of 120 x 40 x 12 with a wall of 12 x 40 x 80 at its end."""
    return box(120, 40, 12) + box(12, 40, 80)


def easier(made: Division) -> None:
    """Every casting is easier than the part as one by what was rated."""
    one = made.whole
    for casting in made.castings:
        assert casting.sand_chance <= one.sand_chance * 1.02 + 0.02
        assert casting.depth <= one.depth * 1.02
        assert casting.undercut <= one.undercut * 1.02 + 1e-3 * one.volume
        assert set(casting.stops) <= set(one.stops)


def test_an_angle_is_cut_beside_its_corner_and_every_casting_is_easier() -> None:
    bench = Bench(part_from(angle()))
    made = cut_up(bench, DivideAsk(most=1), quiet)
    assert len(made.cuts) == 1
    assert len(made.castings) == 2
    easier(made)
    assert max(one.depth for one in made.castings) < 0.7 * made.whole.depth
    assert max(one.sand_chance for one in made.castings) < 0.5 * made.whole.sand_chance
    assert list(made.tried) == sorted(made.tried, key=lambda one: (not one.easier, one.cost))
    assert made.tried[0].easier
    assert np.allclose(made.tried[0].cuts[0].at, made.cuts[0].at)
    assert bench.rammed <= 1 + 2 * 6


@pytest.mark.validate
def test_a_part_of_six_arms_needs_two_cuts() -> None:
    six = box(120, 20, 20) + box(20, 120, 20, (50, -50, 0)) + box(20, 20, 120, (50, 0, -50))
    made = cut_up(Bench(part_from(six)), DivideAsk(), quiet)
    assert len(made.cuts) == 2
    easier(made)
    assert max(one.depth for one in made.castings) < 0.6 * made.whole.depth


def test_a_block_is_cast_as_one() -> None:
    made = cut_up(Bench(part_from(box(60, 50, 20))), DivideAsk(most=1), quiet)
    assert made.cuts == ()
    assert made.apart is None
    assert made.tried == ()
    assert any(f.code == "trials.no_need" for f in made.findings)


def test_a_block_with_a_deep_pocket_is_cut_so_that_it_eases_or_left_with_a_reason() -> None:
    pocket = rod(14, 36, (0, 0, 4), top=16)
    made = cut_up(Bench(part_from(box(50, 50, 40, (-25, -25, 0)) - pocket)), DivideAsk(most=1), quiet)
    assert made.whole.sand_chance > 0.1
    if made.cuts:
        easier(made)
    else:
        assert any(f.code == "trials.no_cut" for f in made.findings)


def test_cutting_a_ring_through_its_deep_pockets_lowers_their_chance_and_the_flask() -> None:
    turn = np.radians(np.arange(0, 360, 30))
    pockets = [rod(24, 44, (130 * np.cos(a), 130 * np.sin(a), 8), top=30) for a in turn]
    ring = rod(320, 50) - rod(200, 80, (0, 0, -10)) - m3.Manifold.batch_boolean(pockets, m3.OpType.Add)
    given = DivideAsk(cuts=(Cut(at=np.zeros(3), normal=np.array([1.0, 0, 0])),))
    made = cut_up(Bench(part_from(ring)), given, quiet)
    assert len(made.castings) == 2
    for one in made.castings:
        assert one.pocket_chance < made.whole.pocket_chance
        assert one.sand < made.whole.sand
    assert len(made.apart.splices) == 2


def test_a_cut_that_helps_nothing_is_made_and_told() -> None:
    given = DivideAsk(cuts=(Cut(at=np.array([0.06, 0, 0]), normal=np.array([1.0, 0, 0])),))
    made = cut_up(Bench(part_from(angle())), given, quiet)
    assert len(made.castings) == 2
    assert "trials.cut_harder" in [f.code for f in made.findings]


def test_a_marked_face_goes_with_its_casting_and_no_cut_is_lost_for_it() -> None:
    bench = Bench(part_from(angle()))
    top = Mark(name="top", at=np.array([6.0, 20.0, 80.0]) * 1e-3, kind="machined", amount=2e-3)
    bench.asks["pattern"] = dataclasses.replace(bench.asks["pattern"], marks=(top,))
    made = cut_up(bench, DivideAsk(most=1), quiet)
    assert np.allclose(made.cuts[0].at, [0.02, 0, 0], atol=1e-6)  # as without the mark
    assert len(made.tried) >= 3
    assert all(abs(cut.normal[1]) < 0.1 for one in made.tried for cut in one.cuts)  # lengthwise would be through the marked face
    assert not any(f.code == "pattern.cut_near" for f in made.findings)


@pytest.mark.parametrize("use", ["lifting", "rotating"])
def test_no_part_of_the_stop_list_is_cut(use: str) -> None:
    bench = Bench(part_from(angle()))
    bench.asks["metal"] = MetalAsk(use=use)
    made = cut_up(bench, DivideAsk(), quiet)
    assert made.apart is None
    assert [f.code for f in made.findings if f.weight == "STOP"] == ["metal.weld_use"]
    assert bench.rammed == 0


@pytest.mark.validate
@pytest.mark.parametrize("name", ["table_attachment", "testbed_base"])
def test_real_parts_cut_or_left_with_a_reason(name: str) -> None:
    made = cut_up(Bench(public_part(name), "added"), DivideAsk(most=1), quiet)
    if made.cuts:
        easier(made)
        assert made.tried[0].easier
    else:
        assert any(f.code == "trials.no_cut" for f in made.findings)


def test_a_real_part_cut_where_asked() -> None:
    part = public_part("sensor_base_plate")
    middle = (part.mesh.vertices.min(axis=0) + part.mesh.vertices.max(axis=0)) / 2
    made = cut_up(Bench(part), DivideAsk(cuts=(Cut(at=middle, normal=np.array([0, 1.0, 0])),)), quiet)
    due = made.apart.volume - made.apart.crumbs + sum(splice.stock_volume - splice.bevel_volume for splice in made.apart.splices)
    got = sum(
        float(
            np.einsum("ij,ij->i", mesh.vertices[mesh.faces[:, 0]], np.cross(mesh.vertices[mesh.faces[:, 1]], mesh.vertices[mesh.faces[:, 2]])).sum()
        )
        / 6
        for mesh in made.apart.meshes
    )
    assert got == pytest.approx(due, rel=1e-5)
    assert max(one.sand for one in made.castings) <= made.whole.sand
    assert all(one.extents[1] < made.whole.extents[1] for one in made.castings)


# the job: one folder planned as far as the mould, cut by hand, looked at by all tests below


MARKS = "top: 6 mm, 20 mm, 80 mm, machined, 2 mm; foot: 60 mm, 20 mm, 0 mm, good"


@pytest.fixture(scope="module")
def shop(tmp_path_factory) -> tuple[Path, bytes, Divided]:
    home = tmp_path_factory.mktemp("shop")
    made = angle().to_mesh()
    (home / "angle.stl").write_bytes(stl(np.array(made.vert_properties[:, :3], float), np.array(made.tri_verts, np.int64)))
    kit = dataclasses.replace(starter_kit(), print_error=0.001)
    strickle.plan(
        home / "angle.stl", out=home / "angle.job", kit=kit, unit="mm", metal="a319", up=[0, 0, 1], holes="cast", marks=MARKS, until="mould"
    )
    before = (home / "angle.job" / "results.json").read_bytes()
    return home, before, divide(home / "angle.job", at="z 20 mm", until="mould")


def test_each_casting_has_a_job_of_its_own_beside_the_parents(shop) -> None:
    home, _, made = shop
    assert [plan.folder.name for plan in made.plans] == ["angle-casting-1.job", "angle-casting-2.job"]
    for plan in made.plans:
        assert plan.folder.parent == home.resolve()
        doc = json.loads((plan.folder / "results.json").read_text())
        lawful(doc)
        assert doc["stages"]["metal"]["key"] == "a319"  # handed down; the side that was to be up is not
        recipe = (plan.folder / "job.toml").read_text()
        assert "\nup =" not in recipe
        assert 'holes = "cast"' in recipe
        assert ("top:" in recipe) + ("foot:" in recipe) == 1  # each mark with the casting that it lies on
        assert "angle.stl" in recipe
        assert "print_error" in (plan.folder / "kit.toml").read_text()
        assert doc["stages"]["part"]["unit"] == "millimeter"
        assert doc["stages"]["part"]["watertight"]


def test_the_castings_read_back_add_up_to_the_part_and_its_stock(shop) -> None:
    _, _, made = shop
    got = sum(plan.document["stages"]["part"]["volume"]["value"] for plan in made.plans)
    face = 12e-3 * 40e-3
    assert got == pytest.approx((120 * 40 * 12 + 12 * 40 * 68) * 1e-9 + 2 * face * made.document["splices"][0]["stock"]["value"], rel=1e-5)


def test_the_parent_lists_them_and_its_results_stay_as_they_were(shop) -> None:
    home, before, made = shop
    folder = home / "angle.job"
    assert (folder / "results.json").read_bytes() == before
    doc = json.loads((folder / "castings.json").read_text())
    jsonschema.validate(doc, castings_schema())
    assert doc == made.document
    assert [one["folder"] for one in doc["castings"]] == ["../angle-casting-1.job", "../angle-casting-2.job"]
    for one, plan in zip(doc["castings"], made.plans, strict=True):
        mould = plan.document["stages"]["mould"]
        assert one["sand_chance"] == mould["sand_chances"]["any"]
        assert one["flask"] == mould["flask"]["name"]
        assert one["verdict"] == plan.verdict.code
        assert one["until"] == "mould"
        assert one["depth"]["value"] < doc["whole"]["depth"]["value"]
    assert doc["files"] == ["splices/splice-1-plate.3mf", "splices/splice-1-plate.stl"]
    assert all((folder / name).is_file() for name in doc["files"])
    assert read_castings(folder) == doc
    assert read_castings(folder, lambda: b"another part") is None
    assert doc["splices"][0]["mismatch"]["value"] > 0


def test_the_same_cut_again_takes_the_jobs_up(shop) -> None:
    home, _, made = shop
    again = divide(home / "angle.job", at="0 mm, 0 mm, 20 mm: 0,0,3", until="mould")
    assert again.document == made.document


def test_a_division_that_is_stopped_keeps_the_cut_and_what_is_planned(shop, tmp_path) -> None:
    home, _, made = shop
    shutil.copytree(home / "angle.job", tmp_path / "angle.job")
    with pytest.raises(Cancelled):
        divide(tmp_path / "angle.job", at="z 20 mm", until="mould", stopped=lambda: (tmp_path / "angle-casting-2.job").exists())
    doc = json.loads((tmp_path / "angle.job" / "castings.json").read_text())
    jsonschema.validate(doc, castings_schema())
    first, second = doc["castings"]
    assert first == made.document["castings"][0]
    assert (second["verdict"], second["until"], second["folder"]) == (None, None, "../angle-casting-2.job")
    assert second["depth"] == pytest.approx(made.document["castings"][1]["depth"])
    assert divide(tmp_path / "angle.job", at="z 20 mm", until="mould").document["castings"] == made.document["castings"]


def test_the_words_tell_the_castings_in_the_persons_units(shop, capsys) -> None:
    home, _, _ = shop
    assert main(["divide", str(home / "angle.job"), "--at", "z 20 mm", "--until", "mould", "--units", "us", "--quiet"]) == 0
    told = capsys.readouterr().out
    assert "CAST IN 2 PIECES" in told
    assert "casting-2" in told
    assert " in³" in told
    assert " mm" not in told
    assert max(map(len, told.splitlines())) <= 110
    assert main(["resume", str(home / "angle.job"), "--until", "mould", "--units", "metric", "--quiet"]) == 0
    assert "Cast in pieces" in capsys.readouterr().out
    assert main(["divide", str(home / "angle.job"), "--at", "z 20 mm", "--until", "mould", "--units", "metric", "--quiet", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["units"] == "metric"
