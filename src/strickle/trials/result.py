"""What trials give: the plan as far as it went, the answer, and the changes that were run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from strickle.base import Finding, Outcome, Record, Verdict, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tried(Record):
    """One change that was run through the stages, with the margin before and after."""

    cures: str = word("code of the finding it is meant to cure")
    change: str = word("the change in plain words")
    worked: bool = word("whether what it is meant to cure was gone after it, and no STOP stood")
    of: str = word("what the margin compares")
    before: float = si("1", "margin before; NaN where there is none")
    after: float = si("1", "margin after; NaN where there is none")
    left: tuple[str, ...] = word("codes of the STOP findings left after it", default=())
    preset: str = word("preset the margins were solved with", default="")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trail(Record):
    """Results by stage in order; stages missing from it were not run, ``because`` says why."""

    results: Mapping[str, Outcome] = word("results by stage", inner=True)
    because: str = word("why the plan ended early; empty when it went through", default="")
    findings: tuple[Finding, ...] = word("all findings, heaviest first", inner=True, default=())
    verdict: Verdict = word("the one answer", inner=True)
    tried: tuple[Tried, ...] = word("changes that were run", default=())
    solves: int = word("freezing solves made in the riser loop", default=0)
