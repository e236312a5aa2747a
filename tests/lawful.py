"""Results held against the packaged schema: the schema itself is checked by tests/contract, once, and not at every document."""

from __future__ import annotations

import functools
import json

import jsonschema

from strickle.job.schema import packaged


@functools.cache
def _validator() -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(json.loads(packaged()))


def lawful(doc) -> None:
    """Raises ValidationError for results that are not by the schema."""
    _validator().validate(doc)
