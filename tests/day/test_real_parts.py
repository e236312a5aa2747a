"""Real part files: read, chosen and examined."""

from __future__ import annotations

import numpy as np
import pytest

from strickle.base import BadInput, MissingChoice, quiet
from strickle.kernels import raster
from strickle.part import PartAsk, rules
from strickle.part.steps import examine


@pytest.fixture
def look(parts_folder, bench_metal, bench_stores):
    def examined(name, **asked):
        return examine(PartAsk(data=(parts_folder / name).read_bytes(), name=name, **asked), bench_metal, bench_stores, quiet)

    return examined


NAMED = {  # file: unit, extents mm, volume cm3, places that want a riser: surely, and with the doubtful ones
    "pulley_t30.stl": ("mm", (29.0, 29.0, 16.4), 5.619, 0, 2),
    "testbed_base.stl": ("mm", (210.0, 80.0, 26.0), 276.0, 3, 4),
    "sensor_base_plate.stl": ("mm", (130.0, 150.5, 35.0), 225.5, 0, 1),
    "table_attachment.stl": ("mm", (137.4, 49.5, 70.0), 119.46, 0, 2),
    "featuretype_inch.stl": ("in", (127.0, 63.5, 34.93), 190.5, 1, 1),
}


@pytest.mark.parametrize("name", NAMED)
def test_the_five_named_parts(look, name):
    unit, extents, volume, surely, perhaps = NAMED[name]
    part = look(name)
    assert part.unit == unit
    assert 1e3 * part.extents == pytest.approx(extents, rel=2e-3)
    assert 1e6 * part.volume == pytest.approx(volume, rel=2e-3)
    assert any(finding.code == "part.unit_assumed" for finding in part.findings)
    sure = [s for s in part.hot_spots if s.needs_feed and not rules.doubtful(s.saddle, s.loss, s.radius, part.median_wall)]
    assert len(sure) == surely
    assert len(sure) <= sum(spot.needs_feed for spot in part.hot_spots) <= perhaps
    doubts = sum(rules.doubtful(s.saddle, s.loss, s.radius, part.median_wall) for s in part.hot_spots)
    assert sum(finding.code == "part.hot_spot_doubtful" for finding in part.findings) == doubts
    for spot in part.hot_spots:
        assert (spot.at >= part.mesh.vertices.min(axis=0)).all()
        assert (spot.at <= part.mesh.vertices.max(axis=0)).all()
        assert 0.0 < spot.radius < 0.5 * part.extents.max()
        assert np.isfinite([spot.time, spot.modulus, spot.loss]).all()
    assert part.mended_volume_change == 0.0
    assert not part.stops


def test_the_same_part_with_its_unit_given(look):
    assumed, given = look("featuretype_inch.stl", cells=2000), look("featuretype_inch.stl", unit="in", cells=2000)
    assert given.volume == assumed.volume
    assert not any(finding.code == "part.unit_assumed" for finding in given.findings)
    assert look("arm_shoulder_m.stl", cells=2000).unit == "m"


def test_several_bodies_are_listed(look):
    with pytest.raises(MissingChoice) as caught:
        look("pulleys_tensioner.3mf")
    assert len(caught.value.choices) >= 4
    assert "--body 2" in str(caught.value)
    assert 1e3 * look("pulleys_tensioner.3mf", body="2", cells=2000).extents == pytest.approx((43.0, 43.0, 3.0), rel=1e-3)
    with pytest.raises(MissingChoice) as caught:
        look("counter_6bodies.3mf")
    assert len(caught.value.choices) == 7  # six and all of them, as they hang together


def test_broken_meshes_are_refused_or_told(look):
    with pytest.raises(BadInput, match="not closed"):
        look("soup_100_broken.stl", unit="mm")
    with pytest.raises(MissingChoice, match="5 bodies"):
        look("irb_base_broken_m.stl")


def test_columns_of_real_parts_never_leak(look, parts_folder):
    for name in ("shoulder.3mf", "carriage.stl", "leg_beam_200.stl"):
        part = look(name, cells=2000)
        low = part.mesh.vertices.min(axis=0) - 1e-3
        cell = float(part.extents.max()) / 150.0
        count = np.ceil((part.extents + 2e-3) / cell).astype(int) + 1
        start, z, sign, _ = raster.columns(part.mesh.vertices, part.mesh.faces, low, cell, int(count[0]), int(count[1]))
        assert raster.windings(start, z, sign)[0] == 0
        fraction = raster.fractions(part.mesh.vertices, part.mesh.faces, low, cell, tuple(int(n) for n in count))
        assert fraction.sum() * cell**3 == pytest.approx(part.volume, rel=5e-3)


def test_a_large_mesh_is_examined_whole(look):
    part = look("motor_shell_77k.stl")
    assert part.triangles == 77286
    assert part.mended_volume_change == 0.0
