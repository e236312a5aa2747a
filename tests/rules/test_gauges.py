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
PINS = ("flask-pin-1", "flask-pin-2", "flask-socket-1", "flask-socket-2")


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


def test_flask_pins_close_one_way_only_and_lift_apart():
    made = {one.name: one.solid for one in gauges.flask_pins()}
    assert set(made) == set(PINS)
    for name, solid in made.items():
        assert solid.status() == m3.Error.NoError
        assert len(solid.decompose()) == 1
        assert solid.genus() == (3 if "socket" in name else 2)  # two screw holes, and the socket
        low = solid.bounding_box()[:3]
        assert low[1] == pytest.approx(0.0)  # flush with the wall it is screwed to
        face = solid.slice(-0.01 if "pin-" in name else 0.01)
        assert face.area() > 0.6 * gauges.BLOCK[0] * gauges.BLOCK[1]  # flush with the joint
    for number in (1, 2):
        pin, socket = made[f"flask-pin-{number}"], made[f"flask-socket-{number}"]
        for lift in (0.0, 1.0, 10.0, 40.0):
            assert (pin ^ socket.translate((0, 0, lift))).volume() < 1e-6
        slack = socket.trim_by_plane((0, 0, -1), -6.0).trim_by_plane((0, 0, 1), 3.0).min_gap(pin, 2.0)
        assert slack == pytest.approx(gauges.FREE / 2, abs=0.02)
    assert (made["flask-pin-1"] ^ made["flask-socket-2"]).volume() > 50.0  # the thick pin is held by the other socket


def test_the_gauges_are_written_for_the_printer(tmp_path):
    paths = write_gauges(tmp_path / "gauges", "metric", BED)
    names = ("bar-box-1", "bar-box-2", "pocket-gauge", *PINS)
    assert sorted(p.name for p in paths) == sorted(f"{n}.{e}" for n in names for e in ("3mf", "stl"))
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
    assert names == ["bar-box-1-a", "bar-box-1-b", "bar-box-2-a", "bar-box-2-b", *PINS, "pocket-gauge"]
    assert all((np.ptp(trimesh.load(p).bounds, axis=0) <= 120.001).all() for p in paths if p.suffix == ".stl")
