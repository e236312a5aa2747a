"""castings.json: how a part that is cast in pieces was cut, the sibling jobs, and each casting beside the part as one."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from strickle import __version__
from strickle.base import render
from strickle.job.contract import finding, plain
from strickle.job.files import read_file
from strickle.job.folder import CASTINGS, MOST_BYTES
from strickle.job.schema import form_of_finding, form_of_record, object_of, quantity_of
from strickle.job.shape import JSON_UNITS
from strickle.trials import Casting, Division, TriedCut

SCHEMA = 1


def castings_document(
    division: Division,
    *,
    part: str,
    data: bytes,
    units: str,
    join: str,
    castings: Sequence[tuple[Casting, str, Mapping[str, Any] | None]],
    whole: Mapping[str, Any] | None,
    plates: Sequence[str],
    says: str,
) -> dict[str, Any]:
    """The whole of castings.json as plain data. ``castings``: each with its folder, seen from this job's, and its results."""
    return {
        "schema": SCHEMA,
        "strickle": __version__,
        "units": units,
        "part": part,
        "sum": hashlib.sha256(data).hexdigest(),
        "join": join,
        "says": render(says, units),
        "findings": [finding(one, units) for one in division.findings],
        "cuts": [plain(cut, units) for cut in division.cuts],
        "splices": [plain(one, units) for one in (division.apart.splices if division.apart is not None else ())],
        "whole": None if division.whole is None else _row(division.whole, "", whole, units),
        "castings": [_row(one, folder, results, units) for one, folder, results in castings],
        "tried": [plain(one, units) for one in division.tried],
        "sources": [{"key": s.key, "says": render(s.says, units), "mark": s.mark} for s in division.sources],
        "files": list(plates),
    }


def _row(one: Casting, folder: str, results: Mapping[str, Any] | None, units: str) -> dict[str, Any]:
    return {
        **plain(one, units),
        "folder": folder,
        "until": None if results is None else results["until"],
        "verdict": None if results is None else results["verdict"]["code"],
        "says": "" if results is None else results["verdict"]["says"],
    }


def read_castings(folder: Path, part: Callable[[], bytes] | None = None) -> Mapping[str, Any] | None:
    """castings.json of a job; None where there is none, it is damaged, or it was made of another ``part``."""
    import jsonschema

    try:
        doc = json.loads(read_file(folder / CASTINGS, MOST_BYTES, links=False))
    except (OSError, ValueError, RecursionError):
        return None
    if not jsonschema.Draft202012Validator(castings_schema()).is_valid(doc):
        return None
    if part is not None and doc["sum"] != hashlib.sha256(part()).hexdigest():
        return None
    found: Mapping[str, Any] = doc
    return found


def castings_schema() -> dict[str, Any]:
    """The JSON Schema of castings.json, made of the same declarations as the file."""
    from strickle.pattern import Cut, Splice

    text = {"type": "string"}
    casting = form_of_record(Casting)
    more = {
        "folder": {"type": "string", "description": "its job's folder, seen from this one; empty for the part as one"},
        "until": {"type": ["string", "null"], "description": "last stage its plan was asked for; null where it was planned whole or not at all"},
        "verdict": {"enum": ["castable", "after_change", "not_this_way", None], "description": "the verdict of its plan; null where it has none"},
        "says": text,
    }
    row = object_of({**casting["properties"], **more}, casting["description"])

    def many(items: Any) -> dict[str, Any]:
        return {"type": "array", "items": items}

    top = object_of(
        {
            "schema": {"const": SCHEMA},
            "strickle": text,
            "units": {"enum": ["metric", "us"]},
            "part": text,
            "sum": {"type": "string", "description": "SHA-256 of the part's file that was cut"},
            "join": {"enum": ["weld", "bolt"]},
            "says": text,
            "findings": many({"$ref": "#/$defs/finding"}),
            "cuts": many(form_of_record(Cut)),
            "splices": many(form_of_record(Splice)),
            "whole": {"anyOf": [{"type": "null"}, row]},
            "castings": many(row),
            "tried": many(form_of_record(TriedCut)),
            "sources": many(object_of({"key": text, "says": text, "mark": text})),
            "files": many(text),
        }
    )
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "strickle castings.json",
        **top,
        "$defs": {"finding": form_of_finding(), **{f"quantity {unit}": quantity_of(unit) for unit in JSON_UNITS}},
    }
