"""Every file of ../shared/parts: how it is asked for and what is known of it from outside (LICENCES.md there, read off by other tools)."""

from __future__ import annotations

from typing import NamedTuple

import pytest


class Known(NamedTuple):
    """A part file, the choices it needs, its size and what stops it in the starter shop."""

    file: str
    asks: dict
    extents: tuple[float, float, float]  # mm
    volume: float  # cm3, NaN where the table gives it for all bodies together
    stops: frozenset[str] = frozenset()  # findings that must stand; others may


NAN = float("nan")
FLASK = "mould.no_flask"

PARTS = (
    Known("table_attachment.stl", {}, (137.4, 49.5, 70.0), 119.5),
    Known("pulley_t30.stl", {}, (29.0, 29.0, 16.4), 5.619),
    Known("leg_beam_200.stl", {}, (221.0, 27.0, 28.5), 46.83),
    Known("sensor_base_plate.stl", {}, (130.0, 150.5, 35.0), 225.5),
    Known("testbed_base.stl", {}, (210.0, 80.0, 26.0), 276.0),
    Known("carriage.stl", {}, (298.5, 32.0, 95.07), 176.3),
    Known("calibration_arm.stl", {}, (108.5, 195.5, 59.4), 70.65),
    Known("motor_shell_77k.stl", {}, (162.0, 37.0, 12.0), 20.6),
    Known("bearing_cover.stl", {"unit": "mm"}, (32.0, 32.0, 5.75), 3.191),
    Known("featuretype_inch.stl", {"unit": "in"}, (127.0, 63.5, 34.93), 190.5),
    Known("idler_riser_inch.stl", {"unit": "in"}, (67.46, 75.0, 15.88), 24.38),
    Known("counter_6bodies.3mf", {"body": "1"}, (304.8, 304.4, 12.7), NAN, frozenset({FLASK})),
    Known("shoulder.3mf", {}, (73.0, 108.0, 46.99), 109.9),
    Known("pulleys_tensioner.3mf", {"body": "1"}, (50.0, 50.0, 16.0), NAN),
    Known("arm_shoulder_m.stl", {"unit": "m"}, (78.94, 79.0, 154.2), 611.8, frozenset({FLASK})),
    Known("projection_2bodies.stl", {"body": "1", "unit": "mm"}, (20.0, 20.0, 20.0), NAN, frozenset({"part.closed_hollow"})),
    Known("irb_base_broken_m.stl", {"body": "1", "unit": "m"}, (776.6, 720.0, 261.1), NAN),
)
STEP = (
    Known("featuretype.step", {}, (127.0, 63.5, 34.93), 190.5),
    Known("foot_structure.step", {}, (16.5, 27.0, 27.0), 3.1723),  # by its faces; the table's 3.138 is that of a coarse mesh (1 % less)
)
REFUSED = "soup_100_broken.stl"
FIVE = ("pulley_t30.stl", "testbed_base.stl", "sensor_base_plate.stl", "table_attachment.stl", "featuretype_inch.stl")


def known(file: str) -> Known:
    """The record of a file by its name."""
    return next(k for k in (*PARTS, *STEP) if k.file == file)


def read_as_known(part: Known, plan, data: dict) -> None:
    """Size and volume of a planned part are those known of it, and nothing was mended in silence; ``data`` is its results as written."""
    got = data["stages"]["part"]
    assert [1e3 * side for side in plan.stages["part"].extents] == pytest.approx(part.extents, rel=3e-3)
    if part.volume == part.volume:
        assert 1e6 * got["volume"]["value"] == pytest.approx(part.volume, rel=3e-3)
    mended = [f for f in data["findings"] if f["code"] in ("part.mended", "part.mesh_filled", "part.mesh_rebuilt", "part.simplified")]
    assert got["watertight"]
    assert (got["mended_volume_change"]["value"] == 0.0) or mended
