"""Stand-in stages: each gives a whole, lawful result made from its declarations. For the job's own tests, never for a computation."""

from __future__ import annotations

import dataclasses
import json
import os
import types
import typing
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

import strickle
from strickle.base import Finding, Margin, Mesh, Outcome, Piece, Record, Source, Span, Where, tell
from strickle.job import stages
from strickle.mould import SandChances

CUBE = (
    np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=float),
    np.array([[0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4], [2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5]]),
)


def stl(size: float = 60.0) -> bytes:
    """A cube as binary STL, in the file's own numbers."""
    from strickle.job.demo import stl as write

    return write(CUBE[0] * size, CUBE[1])


def cube(size: float, low: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Mesh:
    return Mesh(vertices=CUBE[0] * size + np.array(low), faces=CUBE[1])


def example(kind: Any, name: str = "", shape: str | None = None) -> Any:
    """A lawful value of a declared type."""
    if isinstance(kind, types.UnionType) or typing.get_origin(kind) is typing.Union:
        return example(next(a for a in typing.get_args(kind) if a is not type(None)), name, shape)
    if typing.get_origin(kind) is tuple:
        inner = typing.get_args(kind)[0]
        return (1, 2) if inner is int else (example(inner, name),)
    if kind is Span:
        return Span(value=2.0, low=1.0, high=3.0)
    if kind is Mesh:
        return cube(0.1)
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        return record(kind)
    if shape is not None:
        sizes = [int(s) if s.strip().isdigit() else 4 for s in shape.strip("()").split(",") if s.strip()]
        dtype = np.uint8 if name in ("tags", "bodies") else float
        return np.ones(sizes, dtype=dtype)
    plain = {str: "word", int: 3, bool: True, float: 1.5}
    if kind in plain:
        return plain[kind]
    return {}


def record(kind: type, **given: Any) -> Any:
    """A record with every field filled, those named as given."""
    hints = typing.get_type_hints(kind)
    values = {}
    for item in dataclasses.fields(kind):
        if item.name in given or item.name in ("findings", "sources", "key", "parts"):
            continue
        values[item.name] = example(hints[item.name], item.name, item.metadata.get("shape"))
    return kind(**{**values, **given})


def finding(code: str, weight: str, value: float) -> Finding:
    return Finding(
        code=code,
        weight=weight,  # type: ignore[arg-type]
        says=f"The wall is {tell(value, 'm')} thick",
        because="Thin metal freezes before it has run through the mould",
        do="Make the wall thicker",
        where=Where(point=(0.01, 0.02, float("nan")), faces=(3, 4)),
        margin=Margin(value=value, unit="m", of="wall over the least wall", low=value / 2),
        source="common practice",
    )


def fakes(
    log: list[str] | None = None,
    *,
    findings: dict[str, tuple[Finding, ...]] | None = None,
    before: Callable[[str, Any], None] | None = None,
    reads: dict[str, str] | None = None,
) -> tuple[stages.Stage, ...]:
    """The stage table with stand-ins. ``log`` notes each call; ``before(stage, watch)`` runs first; ``reads`` names a kit field read."""

    def make(stage: stages.Stage) -> stages.Stage:
        def function(*, stores: Any, ask: Record, watch: Any, **earlier: Outcome) -> Outcome:
            assert tuple(earlier) == stage.takes
            if before is not None:
                before(stage.name, watch)
            watch(0.5, "half of it")
            if log is not None:
                log.append(stage.name)
            given: dict[str, Any] = {
                "findings": (findings or {}).get(stage.name, ()),
                "sources": (Source(key="common", says="common practice", mark="common practice"),),
            }
            if reads and stage.name in reads:
                getattr(stores.kit, reads[stage.name])
            if stage.name == "part":
                given["hot_spots"] = ()
            if stage.name == "pattern":
                given["pieces"] = tuple(
                    record(Piece, name=name, mesh=cube(0.05, (0.1, 0.2, low))) for name, low in (("cope-pattern", 0.0), ("drag-pattern", -0.05))
                )
            if stage.name == "mould":
                given["sand_chances"] = record(SandChances, edge=0.1)  # an edge that breaks would have a flat joint tried
            if stage.name == "rigging":
                given |= {"risers": (), "open_pour": None, "room_wanted": None, "pieces": (record(Piece, name="runner", mesh=cube(0.02)),)}
            if stage.name == "sound":
                given |= {"necks": (), "back": None}
                given["time_to_solidus"] = np.full((4, 4, 4), np.nan)
            return record(stage.gives, **given)

        return dataclasses.replace(stage, function=function)

    return tuple(make(stage) for stage in stages.STAGES)


def cards(trail: Any, kit: Any, units: str, paper: str = "") -> dict[str, bytes]:
    """Stands in for the card room, which cannot draw stand-ins."""
    return {"card.pdf": f"{trail.verdict.code} {units}".encode()}


def script(folder: Path, part: Path, stall: str, note: Path) -> str:
    """A program that plans with stand-ins, writes each finished stage to ``note`` and stalls for ever in ``stall``."""
    return f"""
import json, os, sys, time
sys.path[:0] = [{os.fspath(Path(__file__).resolve().parent)!r}, {os.fspath(Path(strickle.__file__).resolve().parents[1])!r}]
import fakes
from strickle.job import stages
log = []
def before(stage, watch):
    open({os.fspath(note)!r}, "a").write(stage + "\\n")
    if stage == {stall!r}:
        time.sleep(600)
stages.STAGES = fakes.fakes(before=before)
import strickle.job.planning
strickle.job.planning.card_files = fakes.cards
import strickle
plan = strickle.plan({os.fspath(part)!r}, out={os.fspath(folder)!r}, unit="mm")
print(plan.verdict.code)
"""


def results(folder: Path) -> dict[str, Any]:
    out: dict[str, Any] = json.loads((folder / "results.json").read_text())
    return out
