"""The bench measures what it says: exact answers, parts that keep their shape, no ratio where our error is larger. Tiny sizes."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import numpy as np
import pytest

BENCH = Path(__file__).resolve().parents[2] / "bench"
sys.path[:0] = [str(BENCH), str(BENCH / "peers")]

import cases  # noqa: E402
import interfoam_peer  # noqa: E402
import openfoam_peer  # noqa: E402
import scale  # noqa: E402
import scipy_peer  # noqa: E402
import table  # noqa: E402

from strickle.job.demo import bracket  # noqa: E402

KELVIN = 273.15


def test_exact_answers_are_those_of_the_list_of_checks():
    assert cases.HalfSpace().exact() - KELVIN == pytest.approx(197.8884, abs=1e-3)
    centre, face = cases.Brick().exact()
    assert centre - KELVIN == pytest.approx(269.2300, abs=1e-3)
    assert face - KELVIN == pytest.approx(182.5583, abs=1e-3)
    assert cases.Freezes().exact() == pytest.approx(193.7189, rel=1e-5)


@pytest.mark.parametrize(("case", "most"), [(cases.HalfSpace(cell=0.001), 0.5), (cases.Brick(cell=0.005), 2.0), (cases.Freezes(cell=0.001), 1.5)])
def test_our_runs_answer_the_case(case, most):
    assert abs(case.error(case.ours("shop"))) < most


def test_scipy_answers_the_same_cases():
    half, block, front = cases.HalfSpace(cell=0.001), cases.Brick(cell=0.005), cases.Freezes(cell=0.001)
    assert abs(half.error(scipy_peer.half_space(half, 1e-4))) < 0.5
    assert abs(block.error(scipy_peer.brick(block, 1e-4))) < 2.0
    assert abs(front.error(scipy_peer.freezes(front, "LSODA", 1e-4))) < 1.5


def test_plate_is_measured_against_a_tighter_run_of_the_peer_and_not_of_ours():
    plate = scipy_peer.Plate(cell=0.010, tight=1e-6)
    assert np.isfinite(plate.exact).all()
    assert abs(plate.error(plate.peer(1e-4))) < 0.1
    assert abs(plate.error(plate.ours("fine"))) < 1.0


@pytest.mark.skipif(shutil.which("laplacianFoam") is None, reason="laplacianFoam is not installed here")
def test_laplacian_foam_answers_the_same_cases():
    half, block = cases.HalfSpace(cell=0.001), cases.Brick(cell=0.005)
    assert abs(openfoam_peer.row(half, 0.25, "Euler").error) < 0.5
    assert abs(openfoam_peer.row(block, 0.25, "CrankNicolson 0.9").error) < 2.0


def test_a_case_for_laplacian_foam_is_written_whole(tmp_path):
    openfoam_peer.write(tmp_path, openfoam_peer.brick(cases.Brick()), 0.5, "Euler")
    names = {str(f.relative_to(tmp_path)) for f in tmp_path.rglob("*") if f.is_file()}
    assert {"system/blockMeshDict", "system/controlDict", "system/fvSchemes", "system/fvSolution", "constant/transportProperties", "0/T"} == names
    assert (tmp_path / "0" / "T").read_text().count("type mixed") == 3


def test_a_case_for_the_two_phase_solver_is_written_whole(tmp_path):
    interfoam_peer.write(tmp_path, 4, 2)
    assert {"alpha.water", "U", "p_rgh"} == {f.name for f in (tmp_path / "0").iterdir()}
    share = (tmp_path / "0" / "alpha.water").read_text()
    assert share.split("(")[1].split(")")[0].split().count("1") == 4 * 2 * 8
    assert all(text.count("{") == text.count("}") for f in tmp_path.rglob("*") if f.is_file() for text in [f.read_text()])


def test_no_ratio_where_our_error_is_larger(capsys):
    spent = table.Spent(1.0, 1.0)
    own = [table.Row("ours rough", 0.3, "K", table.Spent(0.1, 0.1), ours=True), table.Row("ours fine", -0.1, "K", table.Spent(0.5, 0.5), ours=True)]
    assert table.best_claim(table.Row("peer", 0.05, "K", spent), own) is None
    assert table.best_claim(table.Row("peer", -0.2, "K", spent), own) is own[1]
    assert table.best_claim(table.Row("peer", 0.4, "K", spent), own) is own[0]
    assert table.best_claim(table.Row("peer", 0.4, "%", spent), own) is None
    table.tell("case", [*own, table.Row("peer", 0.05, "K", spent), table.Row("other", 0.2, "K", spent)])
    said = capsys.readouterr().out.splitlines()
    assert "no claim: our error is larger" in said[-2]
    assert "2 (ours fine)" in said[-1]


def test_refined_part_keeps_its_shape_and_stays_closed():
    import manifold3d as m3

    vertices, faces = bracket()
    solid = m3.Manifold(m3.Mesh64(vertices, np.ascontiguousarray(faces, dtype=np.uint64)))
    more, split = scale.split(vertices, faces.copy(), 4 * len(faces))
    assert len(split) in (4 * len(faces), 4 * len(faces) + 1)
    made = m3.Manifold(m3.Mesh64(more, np.ascontiguousarray(split, dtype=np.uint64)))
    assert made.status() == m3.Error.NoError
    assert made.volume() == pytest.approx(solid.volume(), rel=1e-9)
    assert made.surface_area() == pytest.approx(solid.surface_area(), rel=1e-9)


def test_exponent_is_the_slope():
    assert scale.exponent([1.0, 2.0, 4.0], [1.0, 4.0, 16.0]).startswith("time goes as size to the 2.00")
    assert "too few" in scale.exponent([1.0], [1.0])
