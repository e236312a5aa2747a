"""What job lends to trials."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from strickle.base import Outcome, Record, Watch
from strickle.stores import Stores


class Runner(Protocol):
    """What job lends to trials: runs a stage with an ask after the latest results of the earlier stages, cached by key."""

    stores: Stores

    def ask(self, stage: str) -> Record:
        """The ask the person gave for a stage."""
        ...

    def settle(self, stage: str, ask: Record) -> None:
        """From now on a stage's ask is this one, as if the person had given it."""
        ...

    def run(self, stage: str, ask: Record | None = None) -> Outcome:
        """Run (or recall) one stage."""
        ...

    def once(self, stage: str, results: Mapping[str, Outcome], ask: Record, stores: Stores, watch: Watch) -> Outcome:
        """Run one stage on the results given; nothing of it is remembered."""
        ...

    def keep(self, stage: str, parts: Sequence[object], make: Callable[[], Outcome]) -> Outcome:
        """A result of a stage's kind that was made of ``parts``: recalled, or made and remembered."""
        ...

    def variant(self, *, stores: Stores | None = None, asks: Mapping[str, Record] | None = None) -> Runner:
        """A runner with another shop or other asks; its results are its own."""
        ...
