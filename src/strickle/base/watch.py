"""Progress and cancelling come in as an argument."""

from __future__ import annotations

from typing import Protocol


class Watch(Protocol):
    """Called by long steps with the share done (0..1) and a few words; may raise Cancelled."""

    def __call__(self, share: float, says: str) -> None:
        """Take note, or raise Cancelled."""
        ...


def quiet(share: float, says: str) -> None:
    """A watch that looks away."""
