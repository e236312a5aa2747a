"""The printed gauges are solid, draw clear of the sand and hold the sizes they say."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import trimesh

from strickle.base import BadInput
from strickle.job.gauges import write_gauges
from strickle.mould import gauges

BED = np.array([0.22, 0.22, 0.25])


def test_the_bar_box_leaves_the_bar_and_opens():
    one, two = gauges.bar_box()
    bar = m3.Manifold.cube((gauges.LONG, gauges.BAR, gauges.BAR), True).translate((0, 0, gauges.BAR / 2))
    assert (one.solid ^ two.solid).volume() < 1e-6
    around = (one.solid + two.solid + bar).volume()
    assert around == pytest.approx(one.solid.volume() + two.solid.volume() + bar.volume())
    for angle in (one, two):
        assert angle.solid.status() == m3.Error.NoError
        for far in (0.1, 1.0, 30.0):
            assert (angle.solid.translate(tuple(far * np.array(angle.draw))) ^ bar).volume() < 1e-6
    walls = [(one.solid + two.solid).slice(12.0).num_contour()]
    assert walls == [2]  # a closed frame


def test_the_pocket_gauge_draws_and_its_pockets_have_their_depths():
    gauge = gauges.pocket_gauge()
    assert gauge.solid.status() == m3.Error.NoError
    assert gauge.solid.genus() == 0
    deep = max(gauges.RATIOS) * gauges.POCKET + gauges.FLOOR
    box = gauge.solid.bounding_box()
    assert (box[3] - box[0], box[5] - box[2]) == pytest.approx((gauges.PLATE, deep))
    block = m3.Manifold.cube((100, 100, deep + 20), True).translate((0, 0, -(deep + 20) / 2)) - gauge.solid
    for far in (1.0, 5.0, deep):
        assert (gauge.solid.translate((0, 0, far)) ^ block).volume() < 0.005
    from strickle.base import Mesh
    from strickle.mould.draw_bodies import halves

    made = gauge.solid.to_mesh64()
    bodies = halves(Mesh(vertices=np.array(made.vert_properties[:, :3]) * 1e-3, faces=np.array(made.tri_verts, dtype=np.int64)))[0].bodies
    pockets = sorted(b.depth * 1e3 for b in bodies if b.kind == "pocket")
    assert pockets == pytest.approx([r * gauges.POCKET for r in gauges.RATIOS], abs=0.1)


def test_the_gauges_are_written_for_the_printer(tmp_path):
    paths = write_gauges(tmp_path / "gauges", "metric", BED)
    assert sorted(p.name for p in paths) == sorted(f"{n}.{e}" for n in ("bar-box-1", "bar-box-2", "pocket-gauge") for e in ("3mf", "stl"))
    for path in (p for p in paths if p.suffix == ".stl"):
        mesh = trimesh.load(path)
        assert mesh.is_watertight
        assert mesh.bounds[0] == pytest.approx(np.zeros(3), abs=1e-6)
        assert mesh.volume > 1000.0


def test_the_gauges_stay_out_of_a_jobs_folder(tmp_path):
    (tmp_path / "job.toml").write_text("")
    with pytest.raises(BadInput, match="another folder"):
        write_gauges(tmp_path / "print", "metric", BED)


def test_a_small_bed_takes_the_gauges_in_parts(tmp_path):
    paths = write_gauges(tmp_path, "metric", np.array([0.12, 0.12, 0.12]))
    names = sorted(p.stem for p in paths if p.suffix == ".stl")
    assert names == ["bar-box-1-a", "bar-box-1-b", "bar-box-2-a", "bar-box-2-b", "pocket-gauge"]
    assert all((np.ptp(trimesh.load(p).bounds, axis=0) <= 120.001).all() for p in paths if p.suffix == ".stl")
