"""Whether what came through the filling door is of the kind it takes: wrong types end in one clear line."""

from __future__ import annotations

import math
from collections.abc import Mapping
from numbers import Integral, Real
from pathlib import Path
from typing import Any

import numpy as np

from strickle.base import Array, BadInput, Grid, Mesh, Watch
from strickle.pour.mouths import Breath, LiquidData, Mouth

KINDS = ("open", "held", "poured")
PRESETS = ("rough", "shop", "fine")
MOST = 20_000_000
"""Cells of a grid."""
HOTTEST = 4000.0
"""K, a starting temperature: no metal is poured hotter."""
HEAVIEST = 1e4
"""m/s2, a thousand times the earth's pull."""


def is_number(value: object) -> bool:
    """Whether it is a real number, which a truth value is not."""
    return isinstance(value, Real) and not isinstance(value, bool | np.bool_)


def _is_metal(thing: object) -> bool:
    return isinstance(thing, LiquidData) or hasattr(thing, "curve_temperature")


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
        if isinstance(thing, LiquidData):
            _positive(thing.density, "the density of the liquid")
        if hasattr(thing, "heat_capacity") and not isinstance(thing, Mouth | LiquidData) and not hasattr(thing, "curve_temperature"):
            for name in ("conductivity", "density", "heat_capacity"):
                _positive(getattr(thing, name, None), f"the {name.replace('_', ' ')} of tag {tag}")
        if not (isinstance(thing, Mouth | LiquidData) or hasattr(thing, "curve_temperature") or hasattr(thing, "heat_capacity")):
            raise BadInput(f"the material of tag {tag} is {_told(thing)}", "Give a metal, LiquidData, a MediumData or a Mouth")
    if not isinstance(ends, Mapping | None):
        raise BadInput("the ends are not a table by outer face", "Give a dict of x-, x+, y-, y+, z-, z+ to mouths")
    for face, mouth in (ends or {}).items():
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
            if float(value) > HOTTEST:
                raise BadInput(f"the starting temperature of tag {tag} is {_told(value)}", f"Give kelvin, at most {HOTTEST:g}")
    _positive(until, "the end of the run")
    _positive(full, "the share that counts as full")
    if not isinstance(preset, str) or preset not in PRESETS:
        raise BadInput(f"there is no preset {_told(preset)}", f"Presets are {', '.join(PRESETS)}")
    if begin is not None:
        _begin(begin, grid)
    if surface is not None:
        _surface(surface)
    if not callable(watch):
        raise BadInput("the watch cannot be called", "Give a function of share and words")


def as_ruled(
    grid: Grid,
    materials: Mapping[int, Any],
    contact: object,
    gravity: object,
    friction: object,
    skin: object,
    stands: object,
    breath: object,
    gauges: object,
    checkpoint: object,
) -> None:
    """Raises BadInput for laws of the run that make no sense."""
    if isinstance(contact, Mapping):
        if not all(_is_tag(tag) for tag in contact):
            raise BadInput("the contacts are not a table by tag", "Give one number, or a dict of tag to W/(m2 K)")
        for tag, value in contact.items():
            _positive(value, f"the contact of tag {tag}")
    else:
        _positive(contact, "the contact of metal and wall")
    pull = _numbers(gravity)
    if pull is None or pull.shape != (3,) or not np.isfinite(pull).all():
        raise BadInput(f"gravity is {_told(gravity)}", "Give three numbers in m/s2, such as (0, 0, -9.81)")
    if float(np.abs(pull).max()) > HEAVIEST:
        raise BadInput(f"gravity is {_told(gravity)}", f"Give three numbers in m/s2, each at most {HEAVIEST:g}")
    if isinstance(skin, Mapping):
        for tag in skin:
            if not _is_tag(tag) or tag not in materials or not _is_metal(materials[tag]):
                raise BadInput(
                    f"the skin is given for {_told(tag)}, which is no tag of metal", "Give one number, or a dict of the metal's tags to N/m"
                )
    pulls = list(skin.values()) if isinstance(skin, Mapping) else [skin]
    for value, what in ((friction, "the wall's drag coefficient"), *((pull, "the pull of the metal's skin") for pull in pulls)):
        if not is_number(value) or not (float(value) >= 0.0 and math.isfinite(float(value))):  # type: ignore[arg-type]
            raise BadInput(f"{what} is {_told(value)}", "Give zero or a number above it")
    _positive(stands, "the share solid at which metal stands")
    if float(stands) > 1.0:  # type: ignore[arg-type]
        raise BadInput(f"the share solid at which metal stands is {_told(stands)}", "Give a number from 0 to 1")
    if breath is not None:
        _breath(breath, grid)
    if gauges is not None and not (isinstance(gauges, Mapping) and all(isinstance(name, str) and _is_tag(tag) for name, tag in gauges.items())):
        raise BadInput("the gauges are not a table of name to tag", "Give a dict such as {'gate': 3}")
    for name, tag in (gauges or {}).items():
        if not (grid.tags == tag).any():
            raise BadInput(f"no cell has tag {tag} of the gauge {name!r}", "Give a gauge the tag of cells of the grid")
    for tag, thing in materials.items():
        if isinstance(thing, Mouth) and thing.kind == "poured" and not (grid.tags == tag).any():
            raise BadInput(f"metal is poured in at tag {tag}, which no cell has", "Give the mouth's tag to cells of the grid")
    if checkpoint is not None and not isinstance(checkpoint, Path):
        raise BadInput(f"the checkpoint is {_told(checkpoint)}", "Give a pathlib.Path of the file")


def _numbers(value: object) -> Array | None:
    """As an array of numbers, None where it is none."""
    try:
        out = np.asarray(value)
    except (ValueError, TypeError):
        return None
    return out.astype(float) if out.dtype.kind in "fiu" else None


def _breath(breath: object, grid: Grid) -> None:
    if not isinstance(breath, Breath):
        raise BadInput(f"the breath is {_told(breath)}", "Give a strickle.Breath, or None for air that never resists")
    _positive(breath.passage, "the passage of air through the sand")
    _positive(breath.way, "the way of air through the sand")
    if breath.vents is not None:
        bores = _numbers(breath.vents)
        if bores is None or bores.shape != grid.tags.shape or not np.isfinite(bores).all() or bores.min() < 0.0:
            raise BadInput("the vents are no bore of each cell", f"Give square metres, none negative, in the grid's shape {grid.tags.shape}")


def _surface(surface: object) -> None:
    """A closed mesh: every edge is passed as often one way as the other."""
    if not isinstance(surface, Mesh):
        raise BadInput(f"the surface is {_told(surface)}", "Give a closed strickle Mesh in the grid's frame, in metres")
    corners, faces = _numbers(surface.vertices), np.asarray(surface.faces)
    if corners is None or corners.ndim != 2 or corners.shape[1] != 3 or not np.isfinite(corners).all():
        raise BadInput("the surface's corners are no places", "Give finite numbers in metres, shape (n, 3)")
    if faces.ndim != 2 or faces.shape[1] != 3 or not len(faces) or faces.dtype.kind not in "iu" or faces.min() < 0 or faces.max() >= len(corners):
        raise BadInput("the surface's triangles name no corners of it", "Give corner numbers, shape (m, 3)")
    _, same = np.unique(corners, axis=0, return_inverse=True)
    edges = np.concatenate([same.reshape(-1)[faces][:, pair] for pair in ([0, 1], [1, 2], [2, 0])]).astype(np.int64)
    way = np.where(edges[:, 0] < edges[:, 1], 1, -1) * (edges[:, 0] != edges[:, 1])
    _, which = np.unique(edges.min(axis=1) * len(corners) + edges.max(axis=1), return_inverse=True)
    if np.bincount(which, weights=way).any():
        raise BadInput("the surface is not closed", "Mend the mesh: every edge needs a triangle on both its sides")


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
    share = _numbers(begin)
    if share is None or share.shape != grid.tags.shape or not np.isfinite(share).all() or share.min() < 0.0 or share.max() > 1.0:
        raise BadInput("the metal there at the start is no share of each cell", f"Give numbers from 0 to 1 in the grid's shape {grid.tags.shape}")


def _mouth(mouth: Mouth) -> None:
    if mouth.kind not in KINDS:
        raise BadInput(f"there is no mouth of kind {_told(mouth.kind)}", "Make mouths by open_air(), held(...) and poured(...)")
    numbers = [_numbers(v) for v in (mouth.times, mouth.flow, mouth.temperature)]
    if any(v is None for v in numbers):
        raise BadInput("a pour's moments, flows or temperatures are no numbers", "Give arrays of numbers")
    times, flow, temperature = (np.asarray(v, dtype=float) for v in numbers)
    if times.ndim != 1 or times.shape != flow.shape or times.shape != temperature.shape or not times.size:
        raise BadInput("a pour has not as many moments as flows", "Give a flow and a temperature for each moment")
    if not np.isfinite(times).all() or (np.diff(times) <= 0.0).any():
        raise BadInput("the moments of a pour do not rise", "Give seconds from the first metal on, rising")
    if not np.isfinite(flow).all() or (flow < 0.0).any():
        raise BadInput("a flow is negative or no number", "Give cubic metres a second, none negative")
    if ((temperature <= 0.0) | np.isinf(temperature)).any():
        raise BadInput("a pour's temperature is not above zero kelvin", "Give kelvin, or leave it out for metal as it starts")
    if math.isnan(mouth.pressure) or (mouth.kind == "held" and not math.isfinite(mouth.pressure)):
        raise BadInput("a mouth's pressure is no number", "Give pascal over the open air")
