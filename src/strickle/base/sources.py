"""Where a number comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from strickle.base.fields import UNITS

Mark = Literal["seen", "memory", "computed", "common practice", "measured", "guess"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A citation: key, full text (author, title, year, place) and how we know it."""

    key: str
    says: str
    mark: Mark = "seen"


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A stored datum in SI: value with its published or guessed range, source key and mark."""

    value: float
    low: float
    high: float
    unit: str
    source: str
    mark: Mark
    note: str = ""

    def __post_init__(self) -> None:
        if self.unit not in UNITS:
            raise ValueError(f"unit {self.unit!r} is not SI as used here")
        if not self.low <= self.value <= self.high:
            raise ValueError(f"value {self.value} lies outside its own range {self.low}..{self.high} ({self.source})")
