"""Every record declares its fields; the schema, the pages and the names outside follow the declarations."""

from __future__ import annotations

import dataclasses
import importlib
import importlib.util
import inspect
import json
import pkgutil
import re
import subprocess
import sys
from pathlib import Path

import jsonschema
import numpy as np
import pytest

import strickle
from fakes import example, record
from strickle.base import Array, Record
from strickle.job.contract import plain
from strickle.job.recipe import CHOICES
from strickle.job.schema import packaged, schema, schema_text
from strickle.job.shape import JSON_UNITS, shown_fields
from strickle.job.stages import ORDER, STAGES

HOME = Path(__file__).resolve().parents[2]
SHAPE = re.compile(r"\((\d+|[a-z]+)(, (\d+|[a-z]+))*,?\)")


def kinds() -> list[type]:
    for room in ("base", "stores", "metal", "part", "pattern", "mould", "rigging", "cavity", "melt", "pour", "sound", "trials"):
        package = importlib.import_module(f"strickle.{room}")
        for item in pkgutil.iter_modules(package.__path__):
            importlib.import_module(f"strickle.{room}.{item.name}")
    found: list[type] = []
    todo = [Record]
    while todo:
        one = todo.pop()
        todo += one.__subclasses__()
        if one.__module__.startswith("strickle.") and dataclasses.is_dataclass(one):
            found.append(one)
    real = {k for k in found if getattr(sys.modules[k.__module__], k.__name__, None) is k}  # slots make a second class of each
    return sorted(real, key=lambda k: f"{k.__module__}.{k.__qualname__}")


@pytest.mark.parametrize("kind", [k for k in kinds() if k.__name__ not in ("WatchedKit", "Span")], ids=lambda k: k.__name__)
def test_every_field_says_what_it_is(kind: type) -> None:
    assert kind.__doc__
    params = kind.__dataclass_params__  # type: ignore[attr-defined]
    assert params.frozen, kind
    assert not params.eq, kind
    assert all(p.kind is p.KEYWORD_ONLY for p in inspect.signature(kind).parameters.values()), kind
    for item in dataclasses.fields(kind):
        assert item.metadata.get("says"), f"{kind.__name__}.{item.name} is not declared"
        is_array = item.type in ("Array", "Array | None", Array)
        assert is_array == bool(item.metadata["shape"]), f"{kind.__name__}.{item.name}: an array states its shape, nothing else does"
        if item.metadata["shape"]:
            assert SHAPE.fullmatch(item.metadata["shape"]), item.name


@pytest.mark.parametrize("stage", STAGES, ids=lambda s: s.name)
def test_arrays_of_a_result_are_closed(stage: object) -> None:
    result = record(stage.gives)  # type: ignore[attr-defined]
    for item in dataclasses.fields(result):
        value = getattr(result, item.name)
        if isinstance(value, np.ndarray):
            assert not value.flags.writeable
            assert value.flags.c_contiguous


CONTRACT = {
    "metal": "metal liquidus solidus contraction",
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
    ("pattern", "pieces"): "name volume extents",
    ("mould", "flask"): "length width cope drag",
    ("rigging", "sprue"): "top_area base_area height",
    ("rigging", "ingates"): "area speed",
    ("rigging", "risers"): "diameter height modulus neck",
    ("sound", "last_to_freeze"): "at time",
    ("sound", "necks"): "feeds neck_time fed_time margin",
    ("sound", "least_niyama"): "at value",
}


@pytest.mark.parametrize("stage", STAGES, ids=lambda s: s.name)
def test_results_hold_what_the_contract_names(stage: object) -> None:
    shown = {item.name: item for item in shown_fields(stage.gives)}  # type: ignore[attr-defined]
    name = stage.name  # type: ignore[attr-defined]
    assert set(CONTRACT[name].split()) <= set(shown)
    for (room, field), inner in INNER.items():
        if room == name:
            kind = shown[field].kind
            assert kind is not None
            assert set(inner.split()) <= {item.name for item in shown_fields(kind)}


def test_schema_in_the_package_is_up_to_date() -> None:
    assert packaged() == schema_text()
    jsonschema.Draft202012Validator.check_schema(schema())


def test_schema_refuses_what_the_contract_forbids() -> None:
    stage = next(s for s in STAGES if s.name == "melt")
    inner = {"$defs": schema()["$defs"], **schema()["properties"]["stages"]["properties"]["melt"]}
    good = {"status": "done", "key": "k", "cache_key": "k", "seconds": 0.1, "sources": [], **plain(record(stage.gives), "metric")}
    jsonschema.validate(good, inner)
    for spoiled in (
        {k: v for k, v in good.items() if k != "heat"},
        {**good, "heat": 3.0},
        {**good, "heat": {"value": 3.0, "unit": "MJ"}},
        {**good, "extra": 1},
    ):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(spoiled, inner)


def test_units_of_results_are_those_of_the_contract() -> None:
    small = {"1", "m", "m2", "m3", "kg", "s", "K", "Pa", "N", "J", "W", "m/s", "m3/s", "kg/m3", "kg/s"}
    assert set(JSON_UNITS) == small | {"W/(m K)", "W/(m2 K)"}


def test_generated_files_are_up_to_date() -> None:
    spec = importlib.util.spec_from_file_location("generate", HOME / "tools" / "generate.py")
    assert spec is not None
    assert spec.loader is not None
    generate = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(generate)
    stale = [p.name for p, text in generate.files().items() if not p.exists() or p.read_text(encoding="utf-8") != text]
    assert not stale, f"run tools/generate.py: {stale}"
    assert all(generate.codes()), "every code of a finding is on the page"


NAMES = (
    "BadInput Breath Cancelled Feeding Filling Finding Freezing Grid LiquidData MediumData MetalData MissingChoice Mouth Plan Reckoning Trouble "
    "Verdict adiabatic below feed fill film fixed freeze gap held load look open_air plan poured reckon"
)


def test_names_of_the_package_are_pinned() -> None:
    assert sorted(strickle.__all__) == sorted(NAMES.split())
    for name in strickle.__all__:
        assert getattr(strickle, name) is not None
    with pytest.raises(AttributeError):
        _ = strickle.nonsense
    assert list(ORDER) == ["metal", "part", "pattern", "mould", "rigging", "cavity", "melt", "pour", "sound"]


def test_importing_the_package_imports_nothing_heavy() -> None:
    code = "import sys, strickle; print(sorted(m for m in sys.modules if m in ('numpy', 'numba', 'pint', 'click', 'scipy')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_importing_a_door_imports_no_compiler() -> None:
    code = (
        "import sys\nimport strickle.job, strickle.job.planning, strickle.job.runner, strickle.sound, strickle.trials\n"
        "print([m for m in ('numba', 'scipy', 'trimesh', 'rich', 'click') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_choice_of_the_recipe_is_a_field_of_an_ask() -> None:
    for choice in CHOICES:
        assert choice.says
        assert example(float) is not None


def test_json_of_a_plain_record_is_lawful() -> None:
    for stage in STAGES:
        json.dumps(plain(record(stage.gives), "metric"), allow_nan=False)
