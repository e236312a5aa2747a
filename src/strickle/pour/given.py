"""Whether what came through the filling door is of the kind it takes: wrong types end in one clear line."""

from __future__ import annotations

import math
from collections.abc import Mapping
from numbers import Integral, Real
from typing import Any

import numpy as np

from strickle.base import Array, BadInput, Grid, Mesh, Watch
from strickle.pour.mouths import LiquidData, Mouth

PRESETS = ("rough", "shop", "fine")
MOST = 20_000_000
"""Cells of a grid."""


def is_number(value: object) -> bool:
    """Whether it is a real number, which a truth value is not."""
    return isinstance(value, Real) and not isinstance(value, bool | np.bool_)


def _positive(value: object, what: str) -> None:
    if not is_number(value) or not (float(value) > 0.0 and math.isfinite(float(value))):  # type: ignore[arg-type]
        raise BadInput(f"{what} is {_told(value)}", "Give a number above zero")


def _told(value: object) -> str:
    shown = repr(value)
    return shown if len(shown) <= 40 else f"a {type(value).__name__}"


def as_asked(
    grid: object, materials: object, start: object, ends: object, until: object, full: object, preset: object, begin: Array | None,
    surface: object, watch: Watch | None,
) -> None:  # fmt: skip
    """Raises BadInput for what makes no sense."""
    _grid(grid)
    assert isinstance(grid, Grid)
    if not isinstance(materials, Mapping) or not all(_is_tag(tag) for tag in materials):
        raise BadInput("the materials are not a table by tag", "Give a dict of whole numbers from 0 to 249 to metal, medium or mouth")
    for tag, thing in materials.items():
        if not (isinstance(thing, Mouth | LiquidData) or hasattr(thing, "curve_temperature") or hasattr(thing, "heat_capacity")):
            raise BadInput(f"the material of tag {tag} is {_told(thing)}", "Give a metal, LiquidData, a MediumData or a Mouth")
    for face, mouth in (ends or {}).items() if isinstance(ends, Mapping | None) else [("?", None)]:
        if face not in ("x-", "x+", "y-", "y+", "z-", "z+"):
            raise BadInput(f"there is no outer face {face!r}", "Faces are x-, x+, y-, y+, z-, z+")
        if not isinstance(mouth, Mouth):
            raise BadInput(f"the end at face {face} is {_told(mouth)}", "Give open_air(), held(...) or poured(...)")
    for mouth in (*materials.values(), *(ends.values() if isinstance(ends, Mapping) else ())):
        if isinstance(mouth, Mouth):
            _mouth(mouth)
    if start is not None:
        if not isinstance(start, Mapping) or not all(_is_tag(tag) for tag in start):
            raise BadInput("the starting temperatures are not a table by tag", "Give a dict of tag to kelvin")
        for tag, value in start.items():
            _positive(value, f"the starting temperature of tag {tag}")
    _positive(until, "the end of the run")
    _positive(full, "the share that counts as full")
    if preset not in PRESETS:
        raise BadInput(f"there is no preset {preset!r}", f"Presets are {', '.join(PRESETS)}")
    if begin is not None:
        _begin(begin, grid)
    if surface is not None and not isinstance(surface, Mesh):
        raise BadInput(f"the surface is {_told(surface)}", "Give a closed strickle Mesh in the grid's frame, in metres")
    if watch is not None and not callable(watch):
        raise BadInput("the watch cannot be called", "Give a function of share and words")


def _is_tag(value: Any) -> bool:
    return isinstance(value, Integral) and not isinstance(value, bool | np.bool_) and 0 <= int(value) <= 249


def _grid(grid: object) -> None:
    if not isinstance(grid, Grid):
        raise BadInput(f"the grid is {_told(grid)}", "Give a strickle.Grid of tags, cell and origin")
    tags = grid.tags
    if not isinstance(tags, np.ndarray) or tags.ndim != 3 or not np.issubdtype(tags.dtype, np.integer):
        raise BadInput("the grid's tags are no whole numbers (nx, ny, nz)", "Give a three-dimensional array of tags from 0 to 249")
    if tags.size == 0 or tags.size > MOST:
        raise BadInput(f"the grid has {tags.size} cells", f"Give between 1 and {MOST}: take coarser cells")
    _positive(grid.cell, "the edge of a cell")
    origin = np.asarray(grid.origin)
    if origin.shape != (3,) or origin.dtype.kind not in "fiu" or not np.isfinite(origin).all():
        raise BadInput("the grid's origin is no place", "Give the corner of its first cell, three numbers in metres")


def _begin(begin: object, grid: Grid) -> None:
    share = np.asarray(begin)
    if share.shape != grid.tags.shape or share.dtype.kind not in "fiu" or not np.isfinite(share).all() or share.min() < 0.0 or share.max() > 1.0:
        raise BadInput("the metal there at the start is no share of each cell", f"Give numbers from 0 to 1 in the grid's shape {grid.tags.shape}")


def _mouth(mouth: Mouth) -> None:
    times, flow, temperature = (np.asarray(v, dtype=float) for v in (mouth.times, mouth.flow, mouth.temperature))
    if times.ndim != 1 or times.shape != flow.shape or times.shape != temperature.shape or not times.size:
        raise BadInput("a pour has not as many moments as flows", "Give a flow and a temperature for each moment")
    if not np.isfinite(times).all() or (np.diff(times) <= 0.0).any():
        raise BadInput("the moments of a pour do not rise", "Give seconds from the first metal on, rising")
    if not np.isfinite(flow).all() or (flow < 0.0).any():
        raise BadInput("a flow is negative or no number", "Give cubic metres a second, none negative")
    if math.isnan(mouth.pressure) or (mouth.kind == "held" and not math.isfinite(mouth.pressure)):
        raise BadInput("a mouth's pressure is no number", "Give pascal over the open air")
