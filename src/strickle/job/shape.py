"""How a declared field appears in results.json: one reading of the declarations for the writer, the schema and the tables."""

from __future__ import annotations

import dataclasses
import functools
import types
import typing
from typing import Any, Literal

from strickle.base import Record, Span, declared

JSON_UNITS = (
    "1", "m", "m2", "m3", "kg", "s", "K", "Pa", "N", "J", "W", "m/s", "m3/s", "kg/m3", "W/(m K)", "W/(m2 K)", "kg/s",
)  # fmt: skip
Form = Literal["quantity", "span", "vector", "numbers", "record", "records", "words", "word", "whole", "number", "yes", "map"]


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One field of results.json: its name there, its form, its unit, the record type inside, whether it may be null."""

    name: str
    field: str
    says: str
    form: Form
    unit: str = ""
    kind: type[Record] | None = None
    optional: bool = False
    count: int = 0


def shown_fields(kind: type) -> tuple[Shown, ...]:
    """The fields of a record that results.json carries. Left out: ``inner`` ones, arrays of unfixed size, units beyond the contract's list."""
    return _shown_fields(kind)


@functools.cache
def _shown_fields(kind: Any) -> tuple[Shown, ...]:
    hints = typing.get_type_hints(kind)
    out = []
    for item in declared(kind):
        if item.metadata.get("inner"):
            continue
        one = _shown(item, hints[item.name])
        if one is not None:
            out.append(one)
    return tuple(out)


def _shown(item: dataclasses.Field[Any], hint: Any) -> Shown | None:
    meta = item.metadata
    hint, optional = _bare(hint)
    name = item.name.rstrip("_")

    def make(form: Form, **more: Any) -> Shown:
        return Shown(name=name, field=item.name, says=meta["says"], form=form, optional=optional, **more)

    if meta["unit"] is not None:
        if meta["unit"] not in JSON_UNITS:
            return None
        if meta["shape"] is not None:
            count = _fixed(meta["shape"])
            if not count:
                return None
            return make("numbers" if meta["unit"] == "1" else "vector", unit=meta["unit"], count=count)
        return make("span" if hint is Span else "quantity", unit=meta["unit"])
    if typing.get_origin(hint) is tuple:
        inner = _bare(typing.get_args(hint)[0])[0]
        if isinstance(inner, type) and issubclass(inner, Record):
            return make("records", kind=inner)
        return make("words")
    if isinstance(hint, type) and issubclass(hint, Record):
        return make("record", kind=hint)
    forms: dict[Any, Form] = {str: "word", int: "whole", bool: "yes", float: "number"}
    if hint in forms:
        return make(forms[hint])
    if typing.get_origin(hint) is not None:
        return make("map")
    raise TypeError(f"field {item.name} has a type that results.json cannot carry: {hint}")


def _bare(hint: Any) -> tuple[Any, bool]:
    """A type without None, and whether None was allowed."""
    if isinstance(hint, types.UnionType) or typing.get_origin(hint) is typing.Union:
        some = [a for a in typing.get_args(hint) if a is not type(None)]
        return some[0], len(some) < len(typing.get_args(hint))
    return hint, False


def _fixed(shape: str) -> int:
    """Number of entries of a one-dimensional shape of stated length such as "(3,)"; 0 for any other."""
    sizes = [s.strip() for s in shape.strip("()").split(",") if s.strip()]
    return int(sizes[0]) if len(sizes) == 1 and sizes[0].isdigit() else 0
