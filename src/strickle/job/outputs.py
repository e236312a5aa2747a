"""What a plan leaves in the folder beside its numbers: pieces to print, fields to look into, cards to work by."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from strickle.base import ICE_POINT, Array, Grid, Outcome, Piece, declared, render
from strickle.card import bodies_of, plates
from strickle.job.cache import npz
from strickle.job.contract import ended
from strickle.job.threemf import Thing, plate_3mf, stl, threemf
from strickle.part import Part
from strickle.pour import Pour
from strickle.sound import Sound
from strickle.stores import Kit
from strickle.trials import Trail


def pieces_of(results: Mapping[str, Outcome]) -> Iterator[Piece]:
    """The printed pieces of a plan, pattern first, each name once."""
    seen: set[str] = set()
    for stage in ("pattern", "rigging"):
        for piece in getattr(results.get(stage), "pieces", ()):
            if piece.name not in seen:
                seen.add(piece.name)
                yield piece


def print_files(results: Mapping[str, Outcome], units: str, bed: Array) -> dict[str, bytes]:
    """A 3MF and an STL for each piece, or each part of one larger than the bed, turned as it lies there, and a 3MF of each full plate.

    By file name; notes are in ``units``, ``bed`` (3,) [m] is the printer's build space.
    """
    out: dict[str, bytes] = {}
    bodies = bodies_of([*pieces_of(results)], bed)
    for body in bodies:
        note = f"{render(body.piece.note, units).rstrip('. ')}. On the bed: {body.lies}.".lstrip(". ")
        out[f"{body.name}.3mf"] = threemf(body.name, body.vertices, body.faces, note)
        out[f"{body.name}.stl"] = stl(body.name, body.vertices, body.faces, body.lies)
    for plate in plates(bodies, bed):
        things = [Thing(p.body.name, p.vertices, p.body.faces) for p in plate.placed]
        out[f"{plate.name}.3mf"] = plate_3mf(plate.name, things, f"Holds {', '.join(thing.name for thing in things)}.")
    return out


def fields_of(results: Mapping[str, Outcome]) -> dict[str, dict[str, Array]]:
    """The grids of a plan by stage: name to array (nx, ny, nz), with ``origin`` (3,) and ``cell`` (), SI.

    The cavity's grid and the filling's own lie in the mould frame, the part's bare one in part coordinates.
    """
    out: dict[str, dict[str, Array]] = {}
    grid: Grid | None = getattr(results.get("cavity"), "grid", None)
    for stage, result in results.items():
        held = {f.name: getattr(result, f.name) for f in declared(type(result)) if f.metadata["shape"] == "(nx, ny, nz)"}
        cubes = {name: array for name, array in held.items() if array is not None}
        own = getattr(result, "grid", None)
        if own is not None:
            cubes = {"tags": own.tags, **cubes}
        if not cubes:
            continue
        if isinstance(result, Part):
            origin, cell = result.bare_origin, result.bare_cell
        elif isinstance(result, Pour) and result.solution is not None:
            origin, cell = result.filling_origin, result.solution.cell
        elif grid is not None:
            origin, cell = grid.origin, grid.cell
        else:
            continue
        out[stage] = {**cubes, "origin": np.asarray(origin, dtype=float), "cell": np.asarray(cell, dtype=float)}
    return out


def field_files(results: Mapping[str, Outcome], units: str = "metric") -> dict[str, bytes]:
    """The grids as .npz files by name, and the cooling curves as pegs.csv in ``units``."""
    sound = results.get("sound")
    pegs = {"pegs.csv": pegs_table(sound, units).encode()} if isinstance(sound, Sound) and sound.pegs else {}
    return {f"{stage}.npz": npz(arrays) for stage, arrays in fields_of(results).items()} | pegs


def pegs_table(sound: Sound, units: str) -> str:
    """The cooling curves as comma-separated lines: first what each peg is and where it stands, then time and temperatures."""
    length, degrees, per = ("in", "degF", 0.0254) if units == "us" else ("mm", "degC", 1e-3)
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["peg", "material", *(f"part {axis} [{length}]" for axis in "xyz"), "why"])
    for peg in sound.pegs:
        rows.writerow([peg.name, peg.material, *(f"{float(v) / per:.6g}" for v in peg.at_part), render(peg.why, units)])
    rows.writerow([])
    rows.writerow(["time [s]", *(f"{peg.name} [{degrees}]" for peg in sound.pegs)])
    celsius = sound.peg_temperatures - ICE_POINT
    for time, values in zip(sound.peg_times, (celsius * 1.8 + 32.0 if units == "us" else celsius).T, strict=True):
        rows.writerow([f"{float(time):.6g}", *(f"{float(v):.6g}" for v in values)])
    return out.getvalue()


def card_files(trail: Trail, kit: Kit, units: str, paper: str = "") -> dict[str, bytes]:
    """The cards by file name; none where not even the part was read. ``paper`` left empty goes with the units."""
    from strickle.card.steps import write

    if "part" not in trail.results:
        return {}
    results: dict[str, Any] = dict(trail.results)
    return write(
        verdict=trail.verdict,
        findings=trail.findings,
        kit=kit,
        units=units,
        paper=paper,
        because=ended(trail),
        **results,
    )
