"""Whether what came through a door is of the kind it takes: wrong types end in one clear line, not deep in a solver."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from numbers import Integral, Real
from typing import Any

import numpy as np

from strickle.base import Array, BadInput, Grid, Mesh
from strickle.sound.materials import Face, Freezing, Gap

MOST_LEVELS = 10_000  # most steps that feeding takes
MOST_TAG = 249
"""Tags above are the solver's own, for the grid's outer faces."""


def is_number(value: object) -> bool:
    """Whether it is a real number, which a truth value is not."""
    return isinstance(value, Real) and not isinstance(value, bool | np.bool_)


def number(value: object, what: str, do: str) -> None:
    """Raises BadInput for what is no number."""
    if not is_number(value):
        raise BadInput(f"{what} is {_told(value)}, not a number", do)


def numbers(values: object, what: str, do: str) -> None:
    """Raises BadInput for what is no sequence of numbers."""
    some = values.tolist() if isinstance(values, np.ndarray) else values
    if isinstance(some, str | bytes) or not isinstance(some, Sequence) or not all(is_number(v) for v in some):
        raise BadInput(f"{what} are {_told(values)}, not a list of numbers", do)


def _told(value: object) -> str:
    """A value or, where it is long, what it is."""
    shown = repr(value)
    return shown if len(shown) <= 40 else f"a {type(value).__name__}"


def _tag(value: object) -> bool:
    return isinstance(value, Integral) and not isinstance(value, bool | np.bool_) and 0 <= int(value) <= MOST_TAG


def is_grid(grid: object) -> None:
    """Raises BadInput for what is no tagged grid."""
    if not isinstance(grid, Grid):
        raise BadInput(f"the grid is {_told(grid)}", "Give a strickle.Grid of tags, cell and origin")
    if isinstance(grid.tags, np.ndarray) and grid.tags.ndim != 3:
        raise BadInput("the grid's tags are not three-dimensional", "Give an array (nx, ny, nz)")
    if not isinstance(grid.tags, np.ndarray) or not np.issubdtype(grid.tags.dtype, np.integer):
        raise BadInput("the grid's tags are no whole numbers (nx, ny, nz)", "Give an array of tags from 0 to 249")
    number(grid.cell, "the edge of a cell", "Give it in metres")
    origin = np.asarray(grid.origin)
    if origin.shape != (3,) or origin.dtype.kind not in "fiu":
        raise BadInput(f"the grid's origin is {_told(grid.origin)}", "Give the corner of its first cell, three numbers in metres")


_METAL = (
    "curve_temperature", "curve_solid", "latent_heat", "solid_heat_temperature", "solid_heat", "liquid_heat", "solid_conductivity_temperature",
    "solid_conductivity", "liquid_conductivity", "density_solidus",
)  # fmt: skip
_OTHERS = (
    "conductivity", "density", "heat_capacity", "conductivity_temperature", "conductivity_nodes", "heat_temperature", "heat_nodes", "temperature",
    "h", "emissivity", "early", "late",
)  # fmt: skip


def properties(thing: object, what: str) -> None:
    """Raises BadInput for a material, face or gap one of whose properties is no number and no array of numbers."""
    for name in _METAL if hasattr(thing, "curve_temperature") else _OTHERS:
        value = getattr(thing, name, None)
        if value is not None and (isinstance(value, str | bool | np.bool_) or not _plain(value)):
            raise BadInput(f"{name} of {what} is {_told(value)}, not a number", "Give numbers in SI units")


def _plain(value: object) -> bool:
    """Whether it is a number or made of numbers alone."""
    return isinstance(value, Real) or (isinstance(value, np.ndarray) and value.dtype.kind in "fiu") or (
        isinstance(value, Sequence) and all(is_number(v) for v in value)
    )  # fmt: skip


def as_asked(
    grid: object, materials: object, start: object, faces: object, contact: object, surface: object, begin: object, coherency: object,
    longest: object, marks: object, snapshots: object, pegs: object, watch: object,
) -> None:  # fmt: skip
    """What ``freeze`` was asked with. Raises BadInput for the first thing of a wrong kind."""
    is_grid(grid)
    for what, mapping in (("materials", materials), ("start", start)):
        if not isinstance(mapping, Mapping) or not all(_tag(tag) for tag in mapping):
            raise BadInput(f"{what} are {_told(mapping)}", f"Give a mapping from tags, whole numbers from 0 to {MOST_TAG}")
    assert isinstance(materials, Mapping)
    assert isinstance(start, Mapping)
    for tag, thing in materials.items():
        properties(thing, f"the material of tag {tag}")
    for tag, value in start.items():
        number(value, f"the starting temperature of tag {tag}", "Give it in kelvin")
    if faces is not None and not (isinstance(faces, Mapping) and all(isinstance(face, Face) for face in faces.values())):
        raise BadInput(f"the outer faces are {_told(faces)}", 'Give a mapping from "x-" ... "z+" to strickle.adiabatic, fixed or film')
    for name, face in (faces or {}).items():
        properties(face, f"face {name}")
    if contact is not None and not isinstance(contact, Mapping):
        raise BadInput(f"contact is {_told(contact)}", "Give a mapping from pairs of tags to W/(m2 K) or a strickle.gap")
    for pair, value in (contact or {}).items():
        if not (isinstance(pair, tuple) and len(pair) == 2 and all(_tag(tag) for tag in pair)):
            raise BadInput(f"a contact is given for {_told(pair)}", "Give a pair of tags")
        if isinstance(value, Gap):
            properties(value, f"the gap of tags {pair[0]} and {pair[1]}")
        elif value is not None:
            number(value, f"the contact of tags {pair[0]} and {pair[1]}", "Give W/(m2 K), a strickle.gap, or None for a perfect one")
    if surface is not None and not isinstance(surface, Mesh):
        raise BadInput(f"the metal's surface is {_told(surface)}", "Give a strickle.Mesh of vertices in metres and faces")
    if begin is not None and not (isinstance(begin, np.ndarray) and begin.dtype.kind in "fiu"):
        raise BadInput(f"the field of starting temperatures is {_told(begin)}", "Give an array of kelvin, one for each cell")
    for name, value in (("the fraction solid at coherency", coherency), ("the longest time", longest)):
        if value is not None:
            number(value, name, "Give a number, or leave it out")
    if watch is not None and not callable(watch):
        raise BadInput(f"watch is {_told(watch)}", "Give a function that is called as the run goes on, or leave it out")
    if pegs is not None and not isinstance(pegs, Mapping):
        raise BadInput(f"pegs are {_told(pegs)}", "Give a mapping from names to points in metres")
    for name, point in (pegs or {}).items():
        if not isinstance(name, str) or not _plain_name(name):
            raise BadInput(f"the name of a peg is {_told(name)}", "Give a name of one line without control characters")
        numbers(point.tolist() if isinstance(point, np.ndarray) else point, f"the coordinates of peg {name}", "Give three numbers in metres")
    numbers(marks, "the fractions solid to mark", "Give numbers between 0 and 1")
    numbers(snapshots, "the moments of snapshots", "Give seconds from the pour")


def of_one_grid(grid: object, freezing: Freezing, mask: Array) -> None:
    """Raises BadInput unless the freezing is one of that grid, as far as can be told: shape, edge of a cell, tags of its metal."""
    is_grid(grid)
    assert isinstance(grid, Grid)
    if grid.tags.shape != mask.shape:
        raise BadInput(f"the grid has {_shape(grid.tags)} cells, and the freezing {_shape(mask)}", "Give the grid that was frozen")
    if abs(grid.cell / freezing.cell_edge - 1.0) > 1e-9:
        raise BadInput(f"the grid's cells are {grid.cell:g} m, and those that were frozen {freezing.cell_edge:g} m", "Give the grid that was frozen")
    both = np.intersect1d(np.unique(grid.tags[mask]), np.unique(grid.tags[~mask]))
    if both.size:
        raise BadInput(f"tag {both[0]} is metal in some cells of the freezing and not in others", "Give the grid that was frozen")


def _shape(cells: Array) -> str:
    return " x ".join(str(n) for n in cells.shape)


_SHRINKING = ("curve_temperature", "curve_solid", "density_liquidus", "density_slope", "shrinkage")


def _shrinking(metal: Any) -> None:
    """Raises BadInput for a metal that lacks what feeding reads, or whose freezing curve is none."""
    lacks = [name for name in _SHRINKING if not hasattr(metal, name)]
    if lacks:
        raise BadInput(f"the metal is {_told(metal)}, which has no {lacks[0]}", "Give the metal room's result, or a MetalData")
    for name in _SHRINKING[2:]:
        number(getattr(metal, name), f"{name} of the metal", "Give a number in SI units")
    for name in _SHRINKING[:2]:
        numbers(getattr(metal, name), f"{name} of the metal", "Give the freezing curve, two nodes at least")
    at, solid = (np.asarray(getattr(metal, name), dtype=float) for name in _SHRINKING[:2])
    falls = len(at) == len(solid) >= 2 and np.isfinite([at, solid]).all() and (np.diff(at) <= 0.0).all() and (np.diff(solid) >= 0.0).all()
    if not falls or abs(solid[0]) > 1e-9 or abs(solid[-1] - 1.0) > 1e-9:
        raise BadInput(
            "the metal's freezing curve does not run from the liquidus down to the solidus",
            "Give two nodes at least of curve_temperature and curve_solid",
        )


def _plain_name(name: str) -> bool:
    """Whether it can be printed in one line."""
    return not any(unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp") for letter in name)


def as_fed(freezing: object, metal: Any, pour: object, air: object, open_top: object, critical: object, names: object, levels: object) -> None:
    """What ``feed`` was asked with. Raises BadInput for the first thing of a wrong kind."""
    if not isinstance(freezing, Freezing):
        raise BadInput(f"the freezing is {_told(freezing)}", "Give what strickle.freeze answered")
    _shrinking(metal)
    for name, value in (("the pour's temperature", pour), ("the critical fraction solid", critical)):
        if value is not None:
            number(value, name, "Give a number, or leave it out")
    if not isinstance(levels, Integral) or not is_number(levels) or not 1 <= int(levels) <= MOST_LEVELS:
        raise BadInput(f"the number of levels is {_told(levels)}", f"Give a whole number from 1 to {MOST_LEVELS}")
    if not isinstance(open_top, bool | np.bool_):
        raise BadInput(f"open_top is {_told(open_top)}", "Give True or False")
    numbers(air, "the tags of air", "Give a list of tags")
    wrong = [tag for tag in air if not _tag(tag)]  # type: ignore[attr-defined]
    if wrong:
        raise BadInput(f"a tag of air is {_told(wrong[0])}", f"Give whole numbers from 0 to {MOST_TAG}")
    if names is not None and not (isinstance(names, Mapping) and all(_tag(tag) and isinstance(name, str) for tag, name in names.items())):
        raise BadInput(f"the names of bodies are {_told(names)}", "Give a mapping from tags of metal to names")
    for name in (names or {}).values():
        if not _plain_name(name):
            raise BadInput(f"the name {_told(name)} has control characters in it", "Give a name of one line")
