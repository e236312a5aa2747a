"""The printed gauges that measure the shop's own sand, as files for the printer."""

from __future__ import annotations

from pathlib import Path

from strickle.base import Array, BadInput, render
from strickle.card import bodies_of
from strickle.job.folder import write_bytes
from strickle.job.threemf import stl, threemf
from strickle.mould.steps import gauges
from strickle.pattern import in_parts


def write_gauges(to: str | Path, units: str, bed: Array) -> list[Path]:
    """Write the bar box and the pocket gauge as 3MF and STL into the folder ``to``; notes in ``units``. Returns the files written.

    One larger than the printer's ``bed`` (3,) [m] is written in parts.

    Raises BadInput where the folder is a job's own or cannot be written to.
    """
    to = Path(to)
    for place in (to.resolve(), *to.resolve().parents):
        if (place / "job.toml").exists():
            raise BadInput(f"{to} lies in a job's own folder", "Give another folder with --to")
    written = []
    for body in bodies_of([in_parts(piece, bed) for piece in gauges()], bed):
        note = f"{render(body.piece.note, units).rstrip('. ')}. On the bed: {body.lies}."
        for name, data in (
            (f"{body.name}.3mf", threemf(body.name, body.vertices, body.faces, note)),
            (f"{body.name}.stl", stl(body.name, body.vertices, body.faces, body.lies)),
        ):
            write_bytes(to / name, data)
            written.append(to / name)
    return written
