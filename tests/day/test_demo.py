"""The demo bracket from its mesh to the folder a moulder works from: every promised name, file and solid."""

from __future__ import annotations

import dataclasses
import json
import re
from pathlib import Path

import manifold3d as m3
import numpy as np
import pytest
import trimesh

import strickle
from lawful import lawful
from strickle.job import resume
from strickle.job.demo import bracket_stl
from strickle.job.stages import ORDER

# CONTRACT.md, results.json: what each stage gives at least
PROMISED = {
    "metal": "key liquidus solidus contraction",
    "part": "file unit body extents volume area triangles watertight mended_volume_change least_wall hot_spots",
    "pattern": "draw parting_level undercut_volume undrafted_area contraction pieces",
    "mould": "kind flask",
    "rigging": "pour_time flow head choke_area sprue ingates risers vents volume yield",
    "cavity": "cell cells metal_cells metal_volume lift hold_down_mass sand_mass least_sand_margin",
    "melt": "charge_mass poured_mass heel_mass loss pot_needed_volume heat energy fuel_mass lift_temperature pour_temperature",
    "pour": "fill_time gate_speed critical_speed aspirates fluid_margin",
    "sound": "last_to_freeze time_to_liquidus necks least_niyama knock_out_time balance_error pictures",
}
INNER = {
    ("part", "hot_spots"): "at modulus",
    ("pattern", "pieces"): "name file volume extents",
    ("mould", "flask"): "length width cope drag",
    ("rigging", "sprue"): "top_area base_area height",
    ("rigging", "ingates"): "area speed",
    ("rigging", "risers"): "diameter height modulus neck",
    ("sound", "last_to_freeze"): "at time",
    ("sound", "necks"): "feeds neck_time fed_time margin",
    ("sound", "least_niyama"): "at value",
}
UNITS = {"1", "m", "m2", "m3", "kg", "s", "K", "Pa", "N", "J", "W", "m/s", "m3/s", "kg/m3", "W/(m K)", "W/(m2 K)", "kg/s"}


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """The demo planned once, rough: the Plan, with the calls of the watch."""
    folder = tmp_path_factory.mktemp("demo")
    part = folder / "bracket.stl"
    part.write_bytes(bracket_stl())
    from strickle.stores.kit import starter_kit

    return strickle.plan(part, out=folder / "bracket.job", unit="mm", preset="rough", kit=starter_kit())


@pytest.fixture(scope="module")
def doc(job):
    return json.loads((job.folder / "results.json").read_text(encoding="utf-8"))


def pieces(job):
    return [p for stage in ("pattern", "rigging") for p in job.stages[stage].pieces]


def solid(mesh) -> m3.Manifold:
    """A mesh [m] as a solid [mm]."""
    return m3.Manifold(m3.Mesh64(np.ascontiguousarray(mesh.vertices * 1e3), np.ascontiguousarray(mesh.faces, dtype=np.uint64)))


def test_it_is_planned_and_the_file_is_lawful(job, doc):
    assert job.exit_code == 0
    assert job.verdict.code == "castable"
    lawful(doc)
    assert doc == json.loads(job.to_json())
    assert list(doc["stages"]) == list(ORDER)


@pytest.mark.parametrize("stage", ORDER)
def test_a_stage_gives_the_promised_names(doc, stage):
    data = doc["stages"][stage]
    assert data["status"] == "done"
    assert {"key", "sources", "seconds"} <= set(data)
    assert set(PROMISED[stage].split()) <= set(data)
    for (room, name), inner in INNER.items():
        if room == stage:
            entries = data[name] if isinstance(data[name], list) else [data[name]]
            assert entries, name
            for entry in entries:
                assert set(inner.split()) <= set(entry), (name, entry.keys())
    if stage == "rigging":
        assert all({"width", "height", "modulus"} <= set(r["neck"]) for r in data["risers"])
    if stage == "metal":
        assert data["key"] == "a356"
    assert data["sources"]


def quantities(value):
    if isinstance(value, dict):
        if "unit" in value and "value" in value:
            yield value
        else:
            for inner in value.values():
                yield from quantities(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from quantities(inner)


def test_quantities_carry_the_contract_s_units(doc):
    found = list(quantities(doc["stages"]))
    assert len(found) > 100
    assert {q["unit"] for q in found} <= UNITS
    for q in found:
        if "low" in q and q["value"] is not None:
            assert q["low"] <= q["value"] <= q["high"], q


def test_findings_have_the_contract_s_form(doc):
    for finding in doc["findings"]:
        assert set(finding) == {"code", "stage", "weight", "says", "because", "do", "chance", "where", "margin", "source"}
        assert finding["code"].split(".")[0] == finding["stage"]
        assert "{{" not in json.dumps(finding)
        if finding["where"] is not None:
            assert set(finding["where"]) == {"point", "faces", "body"}


def test_every_file_is_where_the_results_say(job, doc):
    for kind in ("print", "fields", "cards"):
        assert sorted(doc["files"][kind]) == sorted(f"{kind}/{p.name}" for p in (job.folder / kind).iterdir())
    names = {Path(f).stem for f in doc["files"]["print"]}
    assert {"cope-pattern", "drag-pattern", "sprue-former", "runner", "ingate-1", "riser-1", "riser-2", "basin-former"} <= names
    assert {name for name in names if not name.startswith("plate-")} == {p.name for p in pieces(job)}
    for stage in ("pattern", "rigging"):
        for piece in doc["stages"][stage]["pieces"]:
            assert (job.folder / piece["file"]).is_file()
    assert {"fields/cavity.npz", "fields/sound.npz"} <= set(doc["files"]["fields"])


def test_fields_are_si_with_their_grid(job):
    with np.load(job.folder / "fields" / "sound.npz", allow_pickle=False) as box:
        assert {"origin", "cell", "time_to_solidus", "niyama"} <= set(box.files)
        assert float(box["cell"]) == job.stages["cavity"].cell
        times = box["time_to_solidus"]
    assert times.shape == job.stages["cavity"].grid.tags.shape
    assert np.nanmax(times) == pytest.approx(max(job.stages["sound"].riser_time.value, np.nanmax(job.stages["sound"].time_to_solidus)))


def test_every_printed_file_reads_again_in_millimetres(job):
    for piece in pieces(job):
        again = trimesh.load(job.folder / "print" / f"{piece.name}.3mf")
        assert again.units in ("mm", "millimeter", "millimeters", "millimetre"), again.units
        (mesh,) = again.geometry.values()
        flat = trimesh.load(job.folder / "print" / f"{piece.name}.stl")
        assert mesh.is_watertight
        assert abs(float(mesh.volume)) == pytest.approx(float(flat.volume), rel=1e-5), piece.name
        assert float(mesh.volume) == pytest.approx(piece.volume * 1e9, rel=1e-5), piece.name
        assert np.ptp(mesh.vertices, axis=0) == pytest.approx(piece.extents * 1e3, abs=1e-3)
        assert mesh.vertices.min(axis=0) == pytest.approx([0, 0, 0], abs=1e-6)


def test_no_printed_file_shows_a_token(job):
    import zipfile

    for piece in pieces(job):
        with zipfile.ZipFile(job.folder / "print" / f"{piece.name}.3mf") as box:
            assert b"{{" not in box.read("3D/3dmodel.model"), piece.name


def test_every_piece_is_one_manifold_that_fits_the_bed(job):
    from strickle.stores.kit import starter_kit

    bed = np.sort(starter_kit().bed * 1e3)
    for piece in pieces(job):
        made = solid(piece.mesh)
        assert made.status() == m3.Error.NoError, piece.name
        assert made.volume() > 0
        assert made.volume() == pytest.approx(piece.volume * 1e9, rel=1e-5)
        assert np.all(np.sort(piece.extents * 1e3) <= bed + 1e-6), piece.name
        if piece.touches_sand:
            assert np.linalg.norm(piece.draw) == pytest.approx(1.0)
            assert piece.lift_point is not None or "with" in piece.note, piece.name


def test_cope_and_drag_make_the_contracted_part(job):
    part, pattern = job.stages["part"], job.stages["pattern"]
    cavity = solid(pattern.cavity)
    added = pattern.undercut_volume + pattern.draft_volume
    assert 0.0 < pattern.draft_volume < 0.01 * part.volume  # drawn with 2.5 degrees outside, where a low wall wants more
    assert cavity.volume() * 1e-9 == pytest.approx(part.volume * float(pattern.scale.prod()) + added, rel=1e-5)
    corners = pattern.scale * (part.mesh.vertices @ pattern.turn.T) + pattern.shift
    assert pattern.cavity.vertices[:, 2].max() == pytest.approx(corners[:, 2].max(), abs=3e-6)
    assert pattern.cavity.vertices.max(axis=0) == pytest.approx(corners.max(axis=0), abs=0.3e-3)  # low walls are drafted outward
    whole = printed(job)
    over, under = whole.split_by_plane((0.0, 0.0, 1.0), 0.0)
    halves = {half: m3.Manifold.compose([solid(p.mesh) for p in pattern.pieces if p.half == half]) for half in ("cope", "drag")}
    grown = float((pattern.print_scale / pattern.scale).prod())
    assert (over.volume() + under.volume()) * 1e-9 == pytest.approx((part.volume * float(pattern.scale.prod()) + added) * grown, rel=1e-5)
    for half, body, side in (("cope", over, 1.0), ("drag", under, -1.0)):
        assert (halves[half] - body).volume() < 1e-5 * body.volume(), half  # nothing is printed that is not part
        # a micrometre off the parting, where the cut of a flat face leaves a sheet of no thickness between the holes
        lost = (body - halves[half]).trim_by_plane((0.0, 0.0, side), 1e-3).decompose()
        assert sum(h.volume() for h in lost if h.volume() < 0.01) < 1e-5 * body.volume()  # films of rounding
        for hole in (h for h in lost if h.volume() >= 0.01):  # what is not printed are holes in the parting face
            low, high = np.split(np.array(hole.bounding_box()), 2)
            assert min(abs(low[2]), abs(high[2])) < 1.1e-3
            assert max(high[0] - low[0], high[1] - low[1]) < 7.0
            assert hole.volume() < 0.02 * body.volume()


def printed(job) -> m3.Manifold:
    """The pattern as printed, both halves as one, without the holes that dowels and screws take [mm]."""
    pattern = job.stages["pattern"]
    grow = pattern.print_scale / pattern.scale
    return solid(pattern.cavity).scale(tuple(float(g) for g in grow))


def test_printed_size_carries_contraction_and_rapping(job):
    pattern, kit = job.stages["pattern"], None
    from strickle.stores.kit import starter_kit

    kit = starter_kit()
    along = job.stages["pattern"].scale - 1.0
    low, high = job.stages["metal"].contraction.low, job.stages["metal"].contraction.high
    assert np.all((along >= low) & (along <= high))
    assert pattern.print_scale[2] == pytest.approx(pattern.scale[2] * (1 + kit.print_error))  # none along the draw
    across = np.ptp(pattern.cavity.vertices, axis=0)[:2]
    for axis in range(2):
        mould = across[axis] * pattern.print_scale[axis] / pattern.scale[axis] + kit.rapping
        assert mould == pytest.approx(across[axis], abs=2e-6)


# Drawing


def sands(job) -> dict[str, m3.Manifold]:
    """The rammed sand of each half [mm]: its block less the pattern as printed, every former, and the formers without their screw holes."""
    box = job.stages["mould"].box * 1e3
    touching = [solid(p.mesh) for p in pieces(job) if p.touches_sand]
    formers = [solid(r.mesh) for r in job.stages["rigging"].regions]
    left = m3.Manifold.batch_boolean([printed(job), *touching, *formers], m3.OpType.Add)
    plan = (box[1] - box[0], box[3] - box[2])
    cope = m3.Manifold.cube((*plan, box[5])).translate((box[0], box[2], 0.0))
    drag = m3.Manifold.cube((*plan, -box[4])).translate((box[0], box[2], box[4]))
    return {"cope": cope - left, "drag": drag - left}


@pytest.mark.parametrize("step", [1.0, 5.0])
def test_every_piece_leaves_the_sand_without_taking_any(job, step):
    sand = sands(job)
    for piece in pieces(job):
        if piece.touches_sand:
            moved = solid(piece.mesh).translate(tuple(piece.draw * step))
            for half in ("cope", "drag") if piece.half == "both" else (piece.half,):
                assert (moved ^ sand[half]).volume() < 0.5, (piece.name, half)


def test_no_piece_stands_in_the_way_of_one_drawn_before_it(job):
    touching = [(p, solid(p.mesh)) for p in pieces(job) if p.touches_sand]
    for piece, body in touching:
        for step in (1.0, 5.0):
            moved = body.translate(tuple(piece.draw * step))
            for other, there in touching:
                if other.order > piece.order and other.half == piece.half:
                    assert (moved ^ there).volume() < 0.5, (piece.name, other.name, step)


# Cards


def test_the_card_is_a_pdf_of_two_or_three_pages_and_one_on_sand_that_may_fail(job, doc):
    data = (job.folder / "cards" / "card.pdf").read_bytes()
    assert data.startswith(b"%PDF-")
    assert data.rstrip().endswith(b"%%EOF")
    counts = [int(n) for n in re.findall(rb"/Type\s*/Pages\b.*?/Count\s+(\d+)", data, re.DOTALL)]
    assert counts
    sand = doc["stages"]["mould"]["sand_chances"]["any"]["value"] > 0.1  # from there on it has a page of its own
    assert max(counts) - sand in (2, 3)


# The folder again


def test_resume_runs_nothing_again(job):
    said: list[str] = []
    again = resume(job.folder, watch=lambda share, says: said.append(says))
    assert not [s for s in said if "begins" in s]
    assert {s: r.key for s, r in again.stages.items()} == {s: r.key for s, r in job.stages.items()}
    assert again.to_json() == job.to_json()


def test_load_gives_the_same_plan(job):
    again = strickle.load(job.folder)
    assert again.to_json() == job.to_json()
    assert again.verdict == dataclasses.replace(job.verdict, **json.loads(job.to_json())["verdict"])
    assert [(f.code, f.weight) for f in again.findings] == [(f.code, f.weight) for f in job.findings]
    assert {s: r.key for s, r in again.stages.items()} == {s: r.key for s, r in job.stages.items()}
    for finding, told in zip(again.findings, json.loads(job.to_json())["findings"], strict=True):
        assert (finding.says, finding.because, finding.do) == (told["says"], told["because"], told["do"])
        assert (finding.margin is None) == (told["margin"] is None)


def test_no_path_of_this_machine_is_left_in_the_folder(job):
    here = str(job.folder.parent).encode()
    for path in job.folder.rglob("*"):
        if path.is_file():
            assert here not in path.read_bytes(), path
