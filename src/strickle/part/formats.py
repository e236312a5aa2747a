"""Part files to bare triangles: one door for every format that is read. What cannot be used is refused in one line."""

from __future__ import annotations

from collections.abc import Callable

from strickle.base import BadInput
from strickle.part import raw as limits
from strickle.part.obj import read_obj
from strickle.part.ply import read_ply
from strickle.part.raw import Raw, finite
from strickle.part.step import read_step
from strickle.part.stl import read_stl
from strickle.part.threemf import read_3mf

Reader = Callable[[bytes, str], tuple[Raw, ...]]
READERS: dict[str, Reader] = {"stl": read_stl, "obj": read_obj, "ply": read_ply, "3mf": read_3mf, "step": read_step, "stp": read_step}


def read(data: bytes, name: str) -> tuple[Raw, ...]:
    """The objects of a part file. Raises BadInput with one line for anything that cannot be used."""
    ending = name.rsplit(".", 1)[-1].lower() if "." in name else ""
    if ending not in READERS:
        shown = f"it ends in .{ending[:12]}" if ending else "it has no ending"
        raise BadInput(f"{name}: only STL, OBJ, PLY, 3MF and STEP are read, and {shown}", "Export the part as STL or 3MF")
    if not data:
        raise BadInput(f"{name} is empty", "Export the part again")
    if len(data) > limits.MOST_BYTES:
        raise BadInput(f"{name} is larger than {limits.MOST_BYTES // 1_000_000} MB", "Export it with a coarser mesh")
    return tuple(finite(raw, name) for raw in READERS[ending](data, name))
