"""The JSON Schema of results.json, generated from the same declarations as the file itself."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any

from strickle.job.contract import PRINTED, SCHEMA
from strickle.job.shape import JSON_UNITS, Shown, shown_fields
from strickle.job.stages import STAGES
from strickle.trials import Tried

_TEXT = {"type": "string"}
_MAYBE = {"type": ["number", "null"]}


def schema() -> dict[str, Any]:
    """The schema as plain data."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "strickle results.json",
        "description": f"Schema {SCHEMA}. Quantities are SI with their unit; a number that is not known is null.",
        "type": "object",
        "required": ["schema", "strickle", "units", "preset", "until", "verdict", "findings", "stages", "tried", "solves", "files"],
        "additionalProperties": False,
        "properties": {
            "schema": {"const": SCHEMA},
            "strickle": _TEXT,
            "units": {"enum": ["metric", "us"]},
            "preset": {"enum": ["rough", "shop", "fine"], "description": "how finely the freezing was asked to be solved"},
            "until": {"type": ["string", "null"], "description": "last stage asked for; null where the whole plan was"},
            "verdict": _object(
                {"code": {"enum": ["castable", "after_change", "not_this_way"]}, "says": _TEXT, "change": _TEXT}
            ),
            "findings": {"type": "array", "items": {"$ref": "#/$defs/finding"}},
            "stages": _object({stage.name: _stage(stage.gives, stage.name) for stage in STAGES}),
            "tried": {"type": "array", "items": _record(Tried)},
            "solves": {"type": "integer", "description": "freezing solves made in the riser loop"},
            "files": {"type": "object", "additionalProperties": {"type": "array", "items": _TEXT}},
        },
        "$defs": {
            "not_run": _not_run(),
            "finding": _finding(),
            "source": _object({"key": _TEXT, "says": _TEXT, "mark": _TEXT}),
            **{f"quantity {unit}": _object({"value": _MAYBE, "unit": {"const": unit}}) for unit in JSON_UNITS},
            **{
                f"span {unit}": _object({"value": _MAYBE, "unit": {"const": unit}, "low": _MAYBE, "high": _MAYBE})
                for unit in JSON_UNITS
            },
        },
    }  # fmt: skip


def object_of(properties: dict[str, Any], says: str = "") -> dict[str, Any]:
    """The form of an object that has just these entries."""
    return _object(properties, says)


def form_of_record(kind: type) -> dict[str, Any]:
    """The form of a record as ``contract.plain`` writes it."""
    return _record(kind)


def form_of_finding() -> dict[str, Any]:
    """The form of a finding."""
    return _finding()


def quantity_of(unit: str) -> dict[str, Any]:
    """The form of a quantity in a unit."""
    return _object({"value": _MAYBE, "unit": {"const": unit}})


def schema_text() -> str:
    """The schema as the text that ships in the package."""
    return json.dumps(schema(), indent=1, ensure_ascii=False) + "\n"


def packaged() -> str:
    """The schema file as shipped."""
    return (resources.files("strickle.job") / "schema.json").read_text(encoding="utf-8")


def _object(properties: dict[str, Any], says: str = "") -> dict[str, Any]:
    out: dict[str, Any] = {"description": says} if says else {}
    return {**out, "type": "object", "required": list(properties), "additionalProperties": False, "properties": properties}


def _not_run() -> dict[str, Any]:
    return _object({"status": {"const": "not run"}, "because": _TEXT}, "a stage that was not run")


def _finding() -> dict[str, Any]:
    maybe = {"type": "null"}
    return _object(
        {
            "code": {"type": "string", "pattern": r"^[a-z_]+\.[a-z0-9_]+$"},
            "stage": _TEXT,
            "weight": {"enum": ["NOTE", "MIND", "STOP"]},
            "says": _TEXT,
            "because": _TEXT,
            "do": _TEXT,
            "chance": {"anyOf": [maybe, _object({name: {"type": "number"} for name in ("low", "likely", "high")})]},
            "where": {
                "anyOf": [
                    maybe,
                    _object(
                        {
                            "point": {"anyOf": [maybe, {"type": "array", "items": _MAYBE, "minItems": 3, "maxItems": 3}]},
                            "faces": {"type": "array", "items": {"type": "integer"}},
                            "body": _TEXT,
                        },
                        "a place in the part's own coordinates, metres",
                    ),
                ]
            },
            "margin": {"anyOf": [maybe, _object({"value": _MAYBE, "low": _MAYBE, "high": _MAYBE, "unit": _TEXT, "of": _TEXT})]},
            "source": _TEXT,
        },
        "one thing the person must know",
    )


def _stage(kind: type, name: str) -> dict[str, Any]:
    done = {
        "status": {"const": "done"},
        "key": {"type": "string", "description": "the alloy's key" if name == "metal" else "content key of the result"},
        "cache_key": {"type": "string", "description": "content key of the result"},
        "seconds": {"type": "number", "description": "time the stage took when it was run"},
        "sources": {"type": "array", "items": {"$ref": "#/$defs/source"}},
        **{item.name: _form(item) for item in shown_fields(kind)},
    }
    return {"anyOf": [{"$ref": "#/$defs/not_run"}, _object(done, _first_line(kind))]}


def _record(kind: type) -> dict[str, Any]:
    properties = {item.name: _form(item) for item in shown_fields(kind)}
    if kind.__name__ in PRINTED:
        properties["file"] = {"type": ["string", "null"], "description": "its file in the job's folder; null for a piece printed in parts"}
    return _object(properties, _first_line(kind))


def _form(item: Shown) -> dict[str, Any]:
    made = _bare_form(item)
    made = {"description": item.says, **made}
    return {"anyOf": [{"type": "null"}, made]} if item.optional else made


def _bare_form(item: Shown) -> dict[str, Any]:
    quantity = _ref("quantity", item.unit)
    match item.form:
        case "quantity":
            return quantity
        case "span":
            return _ref("span", item.unit)
        case "vector":
            return {"type": "array", "items": quantity, "minItems": item.count, "maxItems": item.count}
        case "numbers":
            return {"type": "array", "items": _MAYBE, "minItems": item.count, "maxItems": item.count}
        case "record":
            assert item.kind is not None
            return _record(item.kind)
        case "records":
            assert item.kind is not None
            return {"type": "array", "items": _record(item.kind)}
        case "words":
            return {"type": "array", "items": {"type": ["string", "number", "boolean", "null"]}}
        case "map":
            return {"type": "object"}
        case _:
            kinds = {"word": "string", "whole": "integer", "yes": "boolean", "number": ["number", "null"]}
            return {"type": kinds[item.form]}


def _ref(form: str, unit: str) -> dict[str, Any]:
    name = f"{form} {unit}".replace("~", "~0").replace("/", "~1").replace(" ", "%20")
    return {"$ref": f"#/$defs/{name}"}


def _first_line(kind: type) -> str:
    return (kind.__doc__ or "").strip().splitlines()[0]
