"""Runs cases of the corpus of spoilt files one after the other and prints a line of JSON before and after each. Started by the tests."""

from __future__ import annotations

import contextlib
import io
import json
import os
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

MEMORY = 4 << 30


def tree(folder: Path) -> dict[str, int]:
    """What lies in a folder but for finished stages, with a sum of each file."""
    return {str(p.relative_to(folder)): hash(p.read_bytes()) for p in folder.rglob("*") if p.is_file() and ".stages" not in p.parts}


def prepared(place: Path) -> Path:
    """A job as far as the mould, for cases that spoil it."""
    from mutate import solids, written

    from strickle.cli import main

    os.chdir(place)
    Path("box.stl").write_bytes(written("stl", *solids()["box"]))
    with contextlib.redirect_stdout(io.StringIO()):
        assert main(["look", "box.stl", "--unit", "mm", "--preset", "rough", "--until", "mould", "--quiet"]) in (0, 3)
    return place / "box.job"


def run(case, place: Path, good: Path, check: Callable[[object], None]) -> dict[str, object]:
    """One case in an empty place. The answer names the exit code and what is wrong, if anything is."""
    from mutate import command, solids, spoil, written

    from strickle.cli import main

    os.chdir(place)
    if case.kind in ("recipe", "job"):
        shutil.copytree(good, place / "box.job")
        os.chdir(place)
        found = [Path("box.job/job.toml")] if case.kind == "recipe" else sorted(Path("box.job").glob(case.name)) or [Path("box.job") / case.name]
        path = found[case.number % len(found)]
        path.write_bytes(case.data if case.kind == "recipe" else spoil(path.read_bytes() if path.exists() else b"0", case))
    else:
        Path(case.name).write_bytes(case.data)
        if case.kind == "kit":
            Path("box.stl").write_bytes(written("stl", *solids()["box"]))
    before = tree(place)
    out, err = io.StringIO(), io.StringIO()
    begun = time.monotonic()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(command(case))
    return {
        "code": code,
        "seconds": round(time.monotonic() - begun, 2),
        "says": err.getvalue()[-300:],
        "wrong": wrong(code, err.getvalue(), before, place, check),
    }


def wrong(code: int, told: str, before: dict[str, int], place: Path, check: Callable[[object], None]) -> str:
    """What a case did that it may not do; empty if nothing."""
    if code not in (0, 2, 3):
        return f"exit code {code}"
    if "Traceback" in told:
        return "a traceback"
    if left := [p.name for p in place.rglob("*") if p.name.startswith((".part-", ".new-", ".old-")) or p.name == ".lock"]:
        return f"left over: {left}"
    if code == 2:
        if len(told.splitlines()) != 1 or not told.startswith("strickle: ") or not told.rstrip("\n").isprintable():
            return "not one line"
        return "" if tree(place) == before else f"the folder is not as it was: {sorted(set(tree(place).items()) ^ set(before.items()))[:4]}"
    for path in place.glob("*.job/results.json"):
        check(json.loads(path.read_text()))
    return "" if list(place.glob("*.job/results.json")) else "no results"


def _tell(what: dict[str, object]) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def serve(seed: int, numbers: list[int]) -> None:
    """Run the cases of these numbers."""
    import warnings

    from mutate import case_of

    from lawful import lawful

    warnings.simplefilter("error")  # a warning on the screen is a fault like a traceback
    warnings.filterwarnings("ignore", category=DeprecationWarning, module="numba|trimesh|importlib")
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    with tempfile.TemporaryDirectory() as home:
        os.environ["XDG_CONFIG_HOME"] = home
        (Path(home) / "good").mkdir()
        good = prepared(Path(home) / "good")  # loads, or even compiles, what all need
        _tell({"ready": True})
        for number in numbers:
            _tell({"begins": number})
            case = case_of(seed, number)
            with tempfile.TemporaryDirectory() as place:
                try:
                    got = run(case, Path(place).resolve(), good, lawful)
                except BaseException as trouble:
                    got = {"code": -1, "seconds": 0.0, "says": "", "wrong": f"{type(trouble).__name__}: {str(trouble)[:300]}"}
                os.chdir(home)
            _tell({"number": number, "kind": case.kind, "done": case.done, **got})


if __name__ == "__main__":
    sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]
    serve(int(sys.argv[1]), [int(n) for n in sys.argv[2].split(",")])
