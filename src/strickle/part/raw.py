"""What every reader of a part file gives, and the limits they share."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strickle.base import Array, BadInput

MOST_TRIANGLES = 5_500_000
MOST_BYTES = 1_500_000_000
NOWHERE = float("nan")


class Bore(NamedTuple):
    """A cylindrical hole as the file's own faces tell it, in the file's numbers."""

    at: Array  # (3,) middle of its mouth
    axis: Array  # (3,) from the mouth into the metal
    radius: float
    depth: float
    through: bool


class Raw(NamedTuple):
    """One object as it stands in the file, in the file's own numbers."""

    name: str
    vertices: Array  # (n, 3) float64
    faces: Array  # (m, 3) int64
    unit: str  # name of the file's unit, "" if it carries none
    scale: float  # metres per number, NaN if the file carries no unit
    holes: tuple[Bore, ...] = ()


def stem(name: str) -> str:
    """The file's name without folder and ending."""
    return name.replace("\\", "/").rsplit("/", 1)[-1].rsplit(".", 1)[0]


def counted(count: int, name: str) -> None:
    """Refuse no triangles, and more than are read."""
    if count == 0:
        raise BadInput(f"{name} holds no triangles", "Export the part again with its solid chosen")
    if count > MOST_TRIANGLES:
        raise BadInput(f"{name} holds {count} triangles, more than the {MOST_TRIANGLES} that are read", "Export it with a coarser mesh")


def within(faces: Array, vertices: Array, name: str) -> None:
    """Refuse triangles that name a corner which is not there."""
    if len(faces) and (faces.min() < 0 or faces.max() >= len(vertices)):
        raise BadInput(f"{name} is damaged: a triangle names a corner that is not there", "Export the part again")


def finite(raw: Raw, name: str) -> Raw:
    """Finite numbers and a sane size, or BadInput."""
    if not np.isfinite(raw.vertices).all():
        raise BadInput(f"{name}: a corner of the mesh is not a number (NaN or infinite)", "Export the part again")
    reach = float(np.abs(raw.vertices).max(initial=0.0))
    if reach > 1e9:
        raise BadInput(f"{name}: a corner lies at {reach:.3g}, which is no size of a part in any unit", "Export the part again, near the origin")
    return raw
