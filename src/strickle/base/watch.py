"""Progress and cancelling come in as an argument."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol


class Watch(Protocol):
    """Called by long steps with the share done (0..1) and a few words; may raise Cancelled."""

    def __call__(self, share: float, says: str) -> None:
        """Take note, or raise Cancelled."""
        ...


def quiet(share: float, says: str) -> None:
    """A watch that looks away."""


def place_for(watch: Watch, name: str) -> Path | None:
    """Where a long run may leave what it has so far, to go on from if it is broken off; None where the watch lends no place."""
    lends = getattr(watch, "place", None)
    found = lends(name) if callable(lends) else None
    return found if isinstance(found, Path) else None
