"""Findings to one answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from strickle.base.findings import WEIGHTS, Finding

Code = Literal["castable", "after_change", "not_this_way"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The answer in plain words. ``change`` names the change that was run and cured it, with margins before and after."""

    code: Code
    says: str
    change: str = ""


def ranked(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Findings with the heaviest first; order within a weight is kept."""
    return tuple(sorted(findings, key=lambda f: -WEIGHTS.index(f.weight)))
