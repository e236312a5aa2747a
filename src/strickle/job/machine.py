"""The machine: kernels compiled ahead, what is installed, where things are kept, what is wrong."""

from __future__ import annotations

import importlib
import os
import pkgutil
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path

import numpy as np

from strickle import __version__
from strickle.base import BadInput, Watch, render
from strickle.job.kit import kit_path, read_kit, starter, stores_with

LONGEST = "fill"
"""The module that compiles longest."""


def warm(watch: Watch) -> float:
    """Compile every kernel that says how, or load it from disk. Returns the seconds it took."""
    import strickle.kernels as kernels

    begun = time.perf_counter()
    names = sorted(item.name for item in pkgutil.iter_modules(kernels.__path__))
    names.sort(key=lambda name: name == LONGEST)  # it comes last, from disk if its own process could compile it meanwhile
    beside = _beside(LONGEST)
    try:
        for done, name in enumerate(names):
            watch(0.9 * done / len(names), f"kernels: {name}")
            while name == LONGEST and beside is not None and beside.poll() is None:
                watch(0.9 * done / len(names), f"kernels: {name}")
                time.sleep(0.2)
            module = importlib.import_module(f"strickle.kernels.{name}")
            if hasattr(module, "warm"):
                module.warm()
        _toy(watch)
    finally:
        if beside is not None and beside.poll() is None:
            beside.kill()
    watch(1.0, "done")
    return time.perf_counter() - begun


def _beside(name: str) -> subprocess.Popen[bytes] | None:
    """Compile one module's kernels in a process of its own, on the second core; None where no process can be begun."""
    if (os.cpu_count() or 1) < 2:
        return None
    try:
        return subprocess.Popen(
            [sys.executable, "-c", f"from strickle.kernels.{name} import warm; warm()"],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        )  # fmt: skip
    except OSError:
        return None


def _toy(watch: Watch) -> None:
    """A small tapered block through all stages in memory: compiles what a plan calls, with the types it calls it with."""
    from strickle.job.demo import stl
    from strickle.job.recipe import Recipe, asked
    from strickle.job.runner import Runner
    from strickle.job.stages import STAGES
    from strickle.trials.steps import plan_through

    corners = np.array([[x * (1 - 0.05 * z), y * (1 - 0.05 * z), z] for z in (0, 1) for y in (-1, 1) for x in (-1, 1)], dtype=float)
    quads = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
    faces = np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])
    data = stl(corners * np.array([45.0, 30.0, 40.0]), faces)
    recipe = Recipe(file="toy.stl", asked=asked(unit="mm", preset="rough"))

    def told(share: float, says: str) -> None:
        watch(0.95, f"a toy casting: {render(says)}")

    runner = Runner(stores_with(starter()), recipe.asks(data), watch=told, table=STAGES)
    plan_through(runner, preset="rough", watch=told, cures=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """One thing looked at: ``state`` good | bad | note."""

    name: str
    state: str
    says: str


def doctor() -> tuple[Checked, ...]:
    """What is installed, where things are kept and what is wrong. Looks only; changes nothing but a probe file."""
    return (*_programs(), *_places(), *_size())


def _programs() -> Iterator[Checked]:
    good = sys.version_info >= (3, 11)
    yield Checked(name="strickle", state="good", says=__version__)
    yield Checked(name="python", state="good" if good else "bad", says=f"{platform.python_version()}{'' if good else ', 3.11 is needed'}")
    try:
        needed = [line for line in requires("strickle") or () if "extra ==" not in line]
    except PackageNotFoundError:
        yield Checked(name="packages", state="note", says="strickle runs from its source folder; its packages were not checked")
        return
    for line in needed:
        name = line.split(";")[0].split("<")[0].split(">")[0].split("=")[0].split("[")[0].strip()
        try:
            yield Checked(name=name, state="good", says=version(name))
        except PackageNotFoundError:
            yield Checked(name=name, state="bad", says="is missing; run make in strickle's folder, or install strickle again")
    try:
        yield Checked(name="STEP files", state="good", says=f"read by cadquery-ocp-novtk {version('cadquery-ocp-novtk')}")
    except PackageNotFoundError:
        yield Checked(name="STEP files", state="note", says="not read until their extra is installed (make step in strickle's folder)")


def _places() -> Iterator[Checked]:
    import strickle.kernels  # noqa: F401 (importing it settles where compiled kernels are kept)

    cache = Path(os.environ.get("NUMBA_CACHE_DIR", ""))
    warmed = any(cache.rglob("*.nbi")) if cache.is_dir() else False
    yield Checked(
        name="kernel cache",
        state="good" if warmed else "note",
        says=f"{cache}{'' if warmed else ' (empty: strickle warm fills it)'}",
    )
    if cache.is_relative_to(tempfile.gettempdir()):
        yield Checked(name="kernel cache", state="note", says="lies in a temporary folder, so kernels are compiled anew after a restart")
    kit = kit_path()
    try:
        shop = read_kit()
        says = f"{kit}: {shop.name}" if kit.is_file() else f'{kit} is not there yet: the starter kit is used (strickle kit --set name="...")'
        yield Checked(name="kit", state="good" if kit.is_file() else "note", says=says)
    except BadInput as trouble:
        yield Checked(name="kit", state="bad", says=str(trouble))
    here = Path.cwd()
    writable = os.access(here, os.W_OK)
    free = shutil.disk_usage(here).free / 1e9
    yield Checked(
        name="this folder", state="good" if writable and free > 1 else "bad",
        says=f"{'takes files' if writable else 'cannot be written'}, {free:.1f} GB free",
    )  # fmt: skip


def _size() -> Iterator[Checked]:
    import psutil

    cores = os.cpu_count() or 1
    memory = psutil.virtual_memory().available / 1e9
    yield Checked(name="cores", state="good" if cores > 1 else "note", says=str(cores))
    yield Checked(
        name="memory", state="good" if memory > 1.5 else "bad",
        says=f"{memory:.1f} GB free{'' if memory > 1.5 else ', a plan needs about 1.5 GB'}",
    )  # fmt: skip
