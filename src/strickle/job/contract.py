"""Results to results.json, generated from the declared fields. The names and units are the contract with everyone outside."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from typing import Any

import numpy as np

from strickle import __version__
from strickle.base import Finding, Outcome, Record, render
from strickle.job.shape import Shown, shown_fields
from strickle.job.stages import ORDER
from strickle.trials import Trail

SCHEMA = 1
PRINTED = ("Piece", "PrintPart")  # records that tell their file; a piece in parts has none of its own
DRAWN = ("pour", "sound")  # stages that list the pictures drawn from them


def document(
    trail: Trail,
    *,
    units: str,
    seconds: Mapping[str, float],
    files: Mapping[str, list[str]],
    pieces: Mapping[str, str],
    preset: str = "shop",
    until: str | None = None,
) -> dict[str, Any]:
    """The whole of results.json as plain data.

    ``files`` lists what lies in the folder by kind, ``pieces`` maps a piece's name to its file. Texts are in the job's ``units``;
    ``preset`` is the one asked for, ``until`` the last stage wanted where not all were.
    """
    because = ended(trail) or "an earlier stage was not finished"
    stages: dict[str, Any] = {}
    for stage in ORDER:
        result = trail.results.get(stage)
        if result is None:
            stages[stage] = {"status": "not run", "because": render(because, units)}
        else:
            stages[stage] = _stage(stage, result, seconds.get(stage, 0.0), units, pieces)
            if stage in DRAWN:
                drawn = [name for name in files.get("cards", ()) if name.endswith((".png", ".gif"))]
                stages[stage]["pictures"] = [name for name in drawn if name.startswith("cards/filling") == (stage == "pour")]
    return {
        "schema": SCHEMA,
        "strickle": __version__,
        "units": units,
        "preset": preset,
        "until": until,
        "verdict": {
            "code": trail.verdict.code,
            "says": render(trail.verdict.says, units),
            "change": render(trail.verdict.change, units),
        },
        "findings": [finding(one, units) for one in trail.findings],
        "stages": stages,
        "tried": [plain(one, units) for one in trail.tried],
        "solves": trail.solves,
        "files": {kind: list(names) for kind, names in files.items()},
    }


def ended(trail: Trail) -> str:
    """Why the plan ended early, in words: where a finding ended it, what that finding says and not its code. Empty if it went through."""
    code = re.match(r"([a-z_]+\.[a-z0-9_]+) stands", trail.because)
    says = next((one.says for one in trail.findings if code and one.code == code[1]), None)
    if says is None:
        return trail.because
    first = says[:1].lower() if says[1:2].islower() or says[1:2] == " " else says[:1]
    return f"as it stands, {first}{says[1:].rstrip('. ')}"


def dumps(doc: Mapping[str, Any]) -> str:
    """results.json as text. Raises ValueError for a number JSON does not have (a NaN must have become null before)."""
    return json.dumps(doc, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def finding(one: Finding, units: str) -> dict[str, Any]:
    """A finding as plain data."""
    return {
        "code": one.code,
        "stage": one.stage,
        "weight": one.weight,
        "says": render(one.says, units),
        "because": render(one.because, units),
        "do": render(one.do, units),
        "chance": None if one.chance is None else {"low": one.chance.low, "likely": one.chance.likely, "high": one.chance.high},
        "where": None
        if one.where is None
        else {
            "point": None if one.where.point is None else [_number(float(v)) for v in one.where.point],
            "faces": [int(f) for f in one.where.faces],
            "body": one.where.body,
        },
        "margin": None
        if one.margin is None
        else {
            "value": _number(one.margin.value),
            "low": _number(one.margin.low),
            "high": _number(one.margin.high),
            "unit": one.margin.unit,
            "of": render(one.margin.of, units),
        },
        "source": render(one.source, units),
    }


def plain(record: Record, units: str, pieces: Mapping[str, str] | None = None) -> dict[str, Any]:
    """A record as plain data: quantities with unit, vectors as lists, texts rendered, NaN as null."""
    out = {item.name: _value(getattr(record, item.field), item, units, pieces or {}) for item in shown_fields(type(record))}
    if pieces is not None and type(record).__name__ in PRINTED:
        out["file"] = pieces.get(out["name"])
    return out


def _stage(stage: str, result: Outcome, seconds: float, units: str, pieces: Mapping[str, str]) -> dict[str, Any]:
    # The contract gives `metal` a `key` of its own, the alloy's; the cache key is there for every stage as `cache_key`.
    key = getattr(result, "metal", result.key) if stage == "metal" else result.key
    return {
        "status": "done",
        "key": key,
        "cache_key": result.key,
        "seconds": round(seconds, 3),
        "sources": [{"key": s.key, "says": render(s.says, units), "mark": s.mark} for s in result.sources],
        **plain(result, units, pieces),
    }


def _value(value: Any, item: Shown, units: str, pieces: Mapping[str, str]) -> Any:
    if value is None:
        return None
    match item.form:
        case "quantity":
            return _quantity(value, item.unit)
        case "span":
            return {"value": _number(value.value), "unit": item.unit, "low": _number(value.low), "high": _number(value.high)}
        case "vector":
            return [_quantity(v, item.unit) for v in np.asarray(value, dtype=float)]
        case "numbers":
            return [_number(v) for v in np.asarray(value, dtype=float)]
        case "record":
            return plain(value, units, pieces)
        case "records":
            return [plain(v, units, pieces) for v in value]
        case "words":
            return [_loose(v, units) for v in value]
        case "map":
            return {str(k): _loose(v, units) for k, v in value.items()}
        case _:
            return _loose(value, units)


def _quantity(value: Any, unit: str) -> dict[str, Any]:
    return {"value": _number(value), "unit": unit}


def _number(value: Any) -> float | None:
    if value is None:
        return None
    number = float(value)
    return number if math.isfinite(number) else None


def _loose(value: Any, units: str) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, str):
        return render(value, units if " " in value else "metric")  # a single word is a key, and keys have one spelling
    if isinstance(value, float):
        return _number(value)
    return value
