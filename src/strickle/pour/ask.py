"""What the pour room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Record


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PourAsk(Record):
    """Nothing yet: the pour follows from rigging and melt."""
