"""Findings: what the metal's truth is, as data with a place, a margin and a cure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Weight = Literal["NOTE", "MIND", "STOP"]
WEIGHTS: tuple[Weight, ...] = ("NOTE", "MIND", "STOP")


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """How far from trouble. ``of`` says what is compared ("neck freezing time over that of what it feeds")."""

    value: float
    unit: str
    of: str
    low: float | None = None
    high: float | None = None


LEVELS: dict[str, float] = {"low": 0.1, "likely": 0.5, "high": 0.9}


def level(share: float) -> str:
    """The level nearest to a share of 1: low | likely | high."""
    return min(LEVELS, key=lambda word: abs(LEVELS[word] - share))


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """Chance of the trouble between 0 and 1, with its honest spread; it stands on three ``LEVELS``, for more would be made up."""

    low: float
    likely: float
    high: float

    @property
    def says(self) -> str:
        """In words, the span only where there is one.

        >>> Chance(low=0.1, likely=0.1, high=0.5).says, Chance(low=0.9, likely=0.9, high=0.9).says
        ('low (low to likely)', 'high')
        """
        least, middle, most = (level(share) for share in (self.low, self.likely, self.high))
        return middle if least == most else f"{middle} ({least} to {most})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """A place: ``point`` in the PART's own coordinates [m] (as in the file read), face numbers of the part's mesh, or a body's name."""

    point: tuple[float, float, float] | None = None
    faces: tuple[int, ...] = ()
    body: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing the person must know. ``code`` is ``room.word``; texts may hold quantity tokens made by ``tell``."""

    code: str
    weight: Weight
    says: str
    because: str
    do: str
    where: Where | None = None
    margin: Margin | None = None
    chance: Chance | None = None
    source: str = ""

    def __post_init__(self) -> None:
        if self.code.count(".") != 1 or self.weight not in WEIGHTS:
            raise ValueError(f"a finding's code is room.word and its weight one of {WEIGHTS}: {self.code} {self.weight}")
        if not (self.says and self.because and self.do):
            raise ValueError(f"finding {self.code} must say what, why and what to do")

    @property
    def stage(self) -> str:
        """The room that raised it."""
        return self.code.split(".")[0]
