"""Fixtures shared by tests: a metal, a shop and the folder of real parts."""

from __future__ import annotations

import functools
import os
import sys
from pathlib import Path

import numpy as np
import pytest

from strickle.base import Source, Span, Value
from strickle.metal import Metal
from strickle.stores import Flask, Kit, SandRecord, Stores

sys.path.insert(0, str(Path(__file__).parent))  # the folder with the stand-ins is importable


def _value(value: float, unit: str, low: float | None = None, high: float | None = None) -> Value:
    return Value(value=value, low=value if low is None else low, high=value if high is None else high, unit=unit, source="bench", mark="memory")


@pytest.fixture(scope="session")
def bench_metal() -> Metal:
    """A metal like A356 for tests of rooms that come after metal; round figures."""
    return Metal(
        metal="a356",
        name="A356",
        family="aluminium",
        liquidus=886.0,
        solidus=828.0,
        coherency=880.0,
        curve_temperature=np.array([886.0, 870.0, 850.0, 847.0, 828.0]),
        curve_solid=np.array([0.0, 0.25, 0.48, 0.95, 1.0]),
        curve_is_rough=False,
        latent_heat=450e3,
        solid_heat_temperature=np.array([373.0, 573.0, 743.0]),
        solid_heat=np.array([935.0, 1050.0, 1227.0]),
        liquid_heat=1160.0,
        solid_conductivity_temperature=np.array([298.0, 828.0]),
        solid_conductivity=np.array([150.0, 155.0]),
        liquid_conductivity=67.0,
        density_cold=2680.0,
        density_solidus=2560.0,
        density_liquidus=2390.0,
        density_slope=-0.27,
        viscosity=1.1e-3,
        surface_tension=0.87,
        emissivity=0.2,
        shrinkage=0.056,
        contraction=Span(value=0.013, low=0.010, high=0.018),
        contraction_why="bench",
        free_contraction=0.0137,
        pour_low=963.0,
        pour_high=1023.0,
    )


@pytest.fixture(scope="session")
def bench_stores() -> Stores:
    """A small shop with one sand, for tests of rooms that come after stores."""
    return Stores(
        metals={},
        sands={
            "oil-bonded": SandRecord(
                key="oil-bonded",
                name="oil-bonded silica sand",
                values={"k": _value(0.6, "W/(m K)"), "density": _value(1600.0, "kg/m3"), "heat_capacity": _value(1080.0, "J/(kg K)")},
            )
        },
        constants={
            "contact.metal_sand": _value(600.0, "W/(m2 K)", 300.0, 1000.0),
            "section.min_aluminium_sand": _value(3e-3, "m", 2.3e-3, 4.8e-3),
        },
        sources={"bench": Source(key="bench", says="round figures of the test bench", mark="memory")},
        kit=Kit(
            place="outdoors",
            ventilated=False,
            crucibles=(),
            furnaces=(),
            flasks=(Flask(name="middle flask", length=0.3, width=0.25, cope=0.08, drag=0.08),),
            builds_flasks=True,
            bed=np.array([0.22, 0.22, 0.25]),
            layer=2e-4,
            print_error=0.0,
            rapping=2e-4,
            sand="oil-bonded",
            sand_mass=60.0,
            metal_mass=10.0,
            fuel_mass=9.0,
            weights=20.0,
            thermometer=True,
            lift_limit=12.0,
            tongs_mass=1.0,
            pour_rate_low=0.2,
            pour_rate_high=0.8,
            heel=0.1,
            ambient=293.15,
        ),
    )


def _stl(vertices, faces, scale: float = 1.0) -> bytes:
    corners = (np.asarray(vertices, float) * scale)[np.asarray(faces)].astype("<f4")
    record = np.zeros(len(corners), dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("e", "<u2")])
    record["c"] = corners
    return b"made by the tests".ljust(80, b" ") + len(corners).to_bytes(4, "little") + record.tobytes()


@pytest.fixture(scope="session")
def as_stl():
    """Vertices and faces, or a solid of manifold3d, as a binary STL."""

    def write(shape, faces=None, scale: float = 1.0) -> bytes:
        if faces is None:
            mesh = shape.to_mesh()
            return _stl(mesh.vert_properties[:, :3], mesh.tri_verts, scale)
        return _stl(shape, faces, scale)

    return write


@pytest.fixture(scope="session")
def parts_folder() -> Path:
    """The folder of real part files; tests that need it are skipped where it is absent, and fail there under CI."""
    wanted = os.environ.get("STRICKLE_PARTS")
    folder = Path(wanted) if wanted else Path(__file__).resolve().parents[2] / "shared" / "parts"
    if not folder.is_dir():
        if os.environ.get("CI") == "true":
            pytest.fail("the folder of real parts is missing (../shared/parts, or STRICKLE_PARTS)")
        pytest.skip("no folder of real parts here")
    return folder


@functools.cache
def _shares(file: Path) -> str:
    """What the tests of a file share that is done once for all of them: the plans of made parts, work of the file's own, or nothing."""
    text = file.read_text()
    if "from planned import" in text or "import planned" in text:
        return "plans"
    return "file" if 'scope="module"' in text or "@functools.cache" in text else ""


LONG = (
    "irb_base",
    "is_castable",
    "test_outside",
    "test_thin_castings",
    "test_every_part",
    "test_divide",
    "test_corpus_whole",
    "test_kill",
    "test_large",
)
"""Full-size tests that take minutes, begun first so that no worker is left with one at the end."""


def pytest_collection_modifyitems(config, items):
    """The long ones of the full-size tests first."""
    if config.getoption("markexpr") == "validate":
        items.sort(key=lambda item: next((place for place, part in enumerate(LONG) if part in item.nodeid), len(LONG)))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Tests that share work run on one worker, the larger groups first; all others run where there is room.

    A file's own work is shared within the file, the plans of made parts among all files that ask for them; of full-size tests they are let go
    of after each file.
    """
    full = config.getoption("markexpr") == "validate"

    from xdist.scheduler import LoadScopeScheduling

    class ByWork(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.split("::", 1)[0]
            shared = _shares(config.rootpath / file)
            return "plans" if shared == "plans" and not full else file if shared else nodeid

    return ByWork(config, log)


@pytest.fixture(scope="module", autouse=True)
def little_held(request):
    """A full-size file's plans are let go of when it is through: kept till the end, two workers held 14 GB."""
    yield
    held = sys.modules.get("planned")
    if held is not None and request.config.getoption("markexpr") == "validate":
        held._MEMORY.clear()
        held.planned.cache_clear()
