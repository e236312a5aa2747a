"""The stores, read once: TOML with units as published, turned into SI records."""

from __future__ import annotations

import functools
import math
import tomllib
from collections.abc import Mapping
from importlib import resources
from types import MappingProxyType
from typing import Any

import numpy as np

from strickle.base import Source, Value
from strickle.stores.records import FreezingCurve, Kit, MetalRecord, SandRecord, Stores

# unit as written in the data files -> SI unit, factor, offset. Two have no SI unit of the project's list and stand as bare numbers.
_UNITS: dict[str, tuple[str, float, float]] = {
    "1": ("1", 1.0, 0.0),
    "%": ("1", 1e-2, 0.0),
    "deg": ("1", math.pi / 180, 0.0),
    "degC": ("K", 1.0, 273.15),
    "K": ("K", 1.0, 0.0),
    "mm": ("m", 1e-3, 0.0),
    "um": ("m", 1e-6, 0.0),
    "m2": ("m2", 1.0, 0.0),
    "kg": ("kg", 1.0, 0.0),
    "kPa": ("Pa", 1e3, 0.0),
    "GPa": ("Pa", 1e9, 0.0),
    "bar": ("Pa", 1e5, 0.0),
    "mPa s": ("Pa s", 1e-3, 0.0),
    "N/m": ("N/m", 1.0, 0.0),
    "m/s": ("m/s", 1.0, 0.0),
    "kJ/kg": ("J/kg", 1e3, 0.0),
    "MJ/kg": ("J/kg", 1e6, 0.0),
    "J/(kg K)": ("J/(kg K)", 1.0, 0.0),
    "kg/m3": ("kg/m3", 1.0, 0.0),
    "kg/(m3 K)": ("kg/(m3 K)", 1.0, 0.0),
    "W/(m K)": ("W/(m K)", 1.0, 0.0),
    "W/(m2 K)": ("W/(m2 K)", 1.0, 0.0),
    "1/K": ("1/K", 1.0, 0.0),
    "1e-6/K": ("1/K", 1e-6, 0.0),
    "s/mm2": ("1", 1e6, 0.0),
    "W/m2": ("1", 1.0, 0.0),
}


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads((resources.files("strickle.stores") / "data" / name).read_text(encoding="utf-8"))


def _value(where: str, entry: Mapping[str, Any], sources: Mapping[str, Source]) -> Value:
    """One datum in SI. A range alone becomes its middle with that range. Raises ValueError for an entry that is not whole."""
    unknown = set(entry) - {"value", "low", "high", "unit", "source", "mark", "note"}
    if unknown or entry["source"] not in sources:
        raise ValueError(f"{where}: unknown words {sorted(unknown)} or no source {entry['source']!r}")
    unit, factor, offset = _UNITS[entry["unit"]]
    middle = entry["value"] if "value" in entry else 0.5 * (entry["low"] + entry["high"])
    low, high = entry.get("low", middle), entry.get("high", middle)
    return Value(
        value=middle * factor + offset,
        low=low * factor + offset,
        high=high * factor + offset,
        unit=unit,
        source=entry["source"],
        mark=entry["mark"],
        note=entry.get("note", ""),
    )


def _curve(where: str, entry: Mapping[str, Any], sources: Mapping[str, Source]) -> FreezingCurve:
    temperature = np.asarray(entry["temperature"], dtype=float) + 273.15
    solid = np.asarray(entry["solid"], dtype=float)
    falling, rising = np.all(np.diff(temperature) < 0), np.all(np.diff(solid) >= 0)
    if entry["source"] not in sources or temperature.shape != solid.shape or not (falling and rising and solid[0] == 0 and solid[-1] == 1):
        raise ValueError(f"{where}: the freezing curve must fall in temperature and rise from 0 to 1")
    return FreezingCurve(temperature=temperature, solid=solid, source=entry["source"], mark=entry["mark"])


def _in_kelvin(field: str) -> str:
    """``solid_heat@100`` (degC in the file) as ``solid_heat@373.15``."""
    name, at, where = field.partition("@")
    return f"{name}@{float(where) + 273.15:.2f}" if at else name


@functools.cache
def _published() -> tuple[Mapping[str, MetalRecord], Mapping[str, SandRecord], Mapping[str, Value], Mapping[str, Source]]:
    sources = {key: Source(key=key, says=e["says"], mark=e.get("mark", "seen")) for key, e in _read("sources.toml").items()}
    metals = {}
    for key, entry in _read("metals.toml").items():
        values = {_in_kelvin(field): _value(f"{key}.{field}", datum, sources) for field, datum in entry["values"].items()}
        curve = _curve(key, entry["curve"], sources) if "curve" in entry else None
        metals[key] = MetalRecord(key=key, name=entry["name"], family=entry["family"], values=MappingProxyType(values), curve=curve)
    sands = {}
    for key, entry in _read("sands.toml").items():
        values = {field: _value(f"{key}.{field}", datum, sources) for field, datum in entry["values"].items()}
        sands[key] = SandRecord(key=key, name=entry["name"], values=MappingProxyType(values))
    constants: dict[str, Value] = {}
    for group in _read("shop.toml").values():
        for name, datum in group.items():
            if name in constants:
                raise ValueError(f"{name} stands twice in shop.toml")
            constants[name] = _value(name, datum, sources)
    return MappingProxyType(metals), MappingProxyType(sands), MappingProxyType(constants), MappingProxyType(sources)


def load(kit: Kit | None = None) -> Stores:
    """Everything published, in SI, with the shop's own ``kit`` (the built-in starter kit when None).

    The data files are read once a process. Names with ``@`` give the place on an axis: ``solid_heat@373.15`` is the solid's
    heat capacity at that many kelvin. A value's ``low`` and ``high`` are its published spread, or equal to it where none is known.
    """
    if kit is None:
        from strickle.stores.kit import starter_kit

        kit = starter_kit()
    metals, sands, constants, sources = _published()
    return Stores(metals=metals, sands=sands, constants=constants, sources=sources, kit=kit)


def known_sands() -> tuple[str, ...]:
    """Keys of the moulding media in the stores."""
    return tuple(_published()[1])
