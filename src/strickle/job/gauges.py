"""The printed gauges that measure the shop's own sand, as files for the printer."""

from __future__ import annotations

from pathlib import Path

from strickle.base import BadInput, render
from strickle.job.bed import on_the_bed
from strickle.job.folder import write_bytes
from strickle.job.threemf import stl, threemf
from strickle.mould.steps import gauges


def write_gauges(to: str | Path, units: str) -> list[Path]:
    """Write the bar box and the pocket gauge as 3MF and STL into the folder ``to``; notes in ``units``. Returns the files written.

    Raises BadInput where the folder is a job's own or cannot be written to.
    """
    to = Path(to)
    for place in (to.resolve(), *to.resolve().parents):
        if (place / "job.toml").exists():
            raise BadInput(f"{to} lies in a job's own folder", "Give another folder with --to")
    written = []
    for piece in gauges():
        vertices, lies = on_the_bed(piece)
        note = f"{render(piece.note, units).rstrip('. ')}. On the bed: {lies}."
        for name, data in (
            (f"{piece.name}.3mf", threemf(piece.name, vertices, piece.mesh.faces, note)),
            (f"{piece.name}.stl", stl(piece.name, vertices, piece.mesh.faces, lies)),
        ):
            write_bytes(to / name, data)
            written.append(to / name)
    return written
