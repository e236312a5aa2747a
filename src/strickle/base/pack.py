"""Records to plain JSON plus arrays and back, bit for bit. Only our own dataclasses are ever rebuilt."""

from __future__ import annotations

import dataclasses
import importlib
import math
import re
from collections.abc import Mapping
from typing import Any

import numpy as np

from strickle.base.errors import BadInput
from strickle.base.fields import Array


def pack(value: Any, arrays: dict[str, Array], path: str = "r") -> Any:
    """``value`` as JSON-able plain data; arrays are put into ``arrays`` under their path."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        kind = type(value)
        return {
            "@": f"{kind.__module__}:{kind.__qualname__}",
            **{f.name: pack(getattr(value, f.name), arrays, f"{path}.{f.name}") for f in dataclasses.fields(value)},
        }
    if isinstance(value, np.ndarray):
        arrays[path] = value
        return {"@array": path}
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, tuple | list):
        return [pack(item, arrays, f"{path}.{i}") for i, item in enumerate(value)]
    if isinstance(value, Mapping):
        return {"@map": [[key, pack(item, arrays, f"{path}.{key}")] for key, item in value.items()]}
    if isinstance(value, float) and not math.isfinite(value):
        return {"@float": repr(value)}
    if value is None or isinstance(value, str | bool | int | float):
        return value
    raise TypeError(f"{path}: {type(value).__name__} cannot be kept in a job folder")


def unpack(data: Any, arrays: Mapping[str, Array]) -> Any:
    """The record that ``pack`` wrote. Raises BadInput when the data names anything but a strickle record."""
    if isinstance(data, list):
        return tuple(unpack(item, arrays) for item in data)
    if not isinstance(data, dict):
        return data
    if "@array" in data:
        array = np.ascontiguousarray(arrays[data["@array"]])
        array.setflags(write=False)
        return array
    if "@float" in data:
        return float(data["@float"])
    if "@map" in data:
        return {key: unpack(item, arrays) for key, item in data["@map"]}
    module, _, name = str(data.get("@", "")).partition(":")
    if not re.fullmatch(r"strickle(\.[a-z][a-z_]*)+", module) or "." in name:
        raise BadInput("a stored result is damaged", "Delete the job's .stages folder and run again")
    kind = getattr(importlib.import_module(module), name, None)
    if not (isinstance(kind, type) and dataclasses.is_dataclass(kind)):
        raise BadInput("a stored result is damaged", "Delete the job's .stages folder and run again")
    return kind(**{key: unpack(item, arrays) for key, item in data.items() if key != "@"})
