"""Declared fields: every number a result holds is declared once with its unit, shape and plain words."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

UNITS = frozenset(
    (
        "1",
        "m",
        "m2",
        "m3",
        "kg",
        "s",
        "K",
        "Pa",
        "N",
        "J",
        "W",
        "m/s",
        "m3/s",
        "kg/m3",
        "W/(m K)",
        "W/(m2 K)",
        "kg/s",
        "J/kg",
        "J/(kg K)",
        "Pa s",
        "N/m",
        "1/K",
        "kg/(m3 K)",
    )
)


def si(
    unit: str,
    says: str,
    *,
    shape: str | None = None,
    default: Any = dataclasses.MISSING,
    default_factory: Callable[[], Any] | Any = dataclasses.MISSING,
) -> Any:
    """Declare a physical field: SI unit, one line of plain words, and the shape if it is an array.

    Raises ValueError for a unit outside the project's list.
    """
    if unit not in UNITS:
        raise ValueError(f"unit {unit!r} is not one of the project's SI units")
    return dataclasses.field(
        default=default,
        default_factory=default_factory,
        metadata={"unit": unit, "says": says, "shape": shape},
    )


def word(
    says: str,
    *,
    inner: bool = False,
    default: Any = dataclasses.MISSING,
    default_factory: Callable[[], Any] | Any = dataclasses.MISSING,
) -> Any:
    """Declare a field that is no quantity: a name, a yes/no, a nested record. ``inner`` ones stay out of results.json."""
    return dataclasses.field(
        default=default,
        default_factory=default_factory,
        metadata={"unit": None, "says": says, "shape": None, "inner": inner},
    )


def declared(kind: type) -> Iterator[dataclasses.Field[Any]]:
    """The declared fields of a dataclass, in order. Raises TypeError if ``kind`` is no dataclass."""
    yield from dataclasses.fields(kind)


def closed(array: Any, dtype: Any = None) -> Array:
    """A C-ordered, read-only copy of ``array``."""
    out = np.array(array, dtype=dtype, order="C", copy=True)
    out.setflags(write=False)
    return out


def close_arrays(record: Any) -> None:
    """Close every array field of a frozen dataclass in place; called from ``__post_init__``."""
    for item in dataclasses.fields(record):
        value = getattr(record, item.name)
        if isinstance(value, np.ndarray) and (value.flags.writeable or not value.flags.c_contiguous):
            object.__setattr__(record, item.name, closed(value))
