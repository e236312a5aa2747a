"""What the sound room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Record, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SoundAsk(Record):
    """How finely to step."""

    preset: str = word("rough | shop | fine", default="shop")
    knock_out: bool = word("run on until it may be knocked out", default=True)
    cover: str | None = word("dry insulating cover laid on an open face after the pour: none | dry; None = none", default=None)
