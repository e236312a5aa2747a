"""One change to be run through the stages, and how its margin is read."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from strickle.base import Array, Outcome, Record
from strickle.stores import Kit

Results = Mapping[str, Outcome]
T = TypeVar("T", bound=Outcome)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure:
    """A change: its words (from the results after it), what it changes, and its margin.

    ``margin(results, after, kit)`` reads the margin of ``kit`` and ``results``; ``after`` are the results with the change, where the
    size that serves is known.  ``letter(after)`` is the shop after doing what the words name, where ``kit`` is freer than they are (any
    flask may be built, any pot bought): it is run in its turn, and only what went through it is told.  ``again(after)`` is the same kind
    of change in the size that the results with it ask for, where it has not done; None where no other size would.  ``room`` [m] is the box the
    flask must hold, ``told`` margins before and after with their preset, where they were solved already.
    """

    change: Callable[[Results], str]
    of: str
    margin: Callable[[Results, Results, Kit], float]
    kit: Kit | None = None
    asks: Mapping[str, Record] | None = None
    letter: Callable[[Results], Kit] | None = None
    again: Callable[[Results], Cure | None] | None = None
    room: Array | None = None
    told: tuple[float, float, str] | None = None


def find(results: Results, stage: str, kind: type[T]) -> T:
    """The result of a stage. Raises KeyError where the plan did not come so far."""
    found = results[stage]
    assert isinstance(found, kind)
    return found
