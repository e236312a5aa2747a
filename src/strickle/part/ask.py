"""What the part room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Record, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartAsk(Record):
    """The file's bytes and how to read them."""

    data: bytes = word("the file as given")
    name: str = word("file name, for its ending and for the person")
    unit: str | None = word("mm | cm | m | in; None = by the stated rule", default=None)
    body: str | None = word("body number or name; None = the only one", default=None)
    sand: str | None = word("sand key for the bare freeze; None = the kit's", default=None)
    cells: int = word("metal cells of the bare coarse freeze", default=12000)
