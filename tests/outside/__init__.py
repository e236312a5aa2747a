"""Outside checks: every closed solution and published figure that strickle is held against, in one list for tests and docs.

``case`` registers a function that returns Rows: ours beside theirs.  tests/analytic and tests/reference run the quick ones,
``make validate`` runs all of them and writes them into docs/validation.md.  A row outside its tolerance fails unless ``MISSES`` names it
with its reason; a named miss that no longer misses fails too.
"""

from __future__ import annotations

import dataclasses
import importlib
import tomllib
from collections.abc import Callable
from pathlib import Path

HOMES = ("columns", "bodies", "likeness", "criteria", "filling", "metals", "peers", "shapes", "reckoned")
MISSES: dict[str, str] = tomllib.loads((Path(__file__).parent / "misses.toml").read_text(encoding="utf-8"))


@dataclasses.dataclass(frozen=True)
class Row:
    """One figure: theirs, ours, and how far apart they may be."""

    what: str
    theirs: float
    ours: float
    tolerance: float
    unit: str = ""
    relative: bool = False
    at_least: bool = False  # the check is that ours is no smaller than theirs

    @property
    def error(self) -> float:
        """Ours less theirs, as a share of theirs where the tolerance is one."""
        return (self.ours - self.theirs) / (abs(self.theirs) if self.relative else 1.0)

    @property
    def holds(self) -> bool:
        """Within tolerance; NaN never is."""
        slack = self.tolerance * (1.0 + 1e-9)
        return self.error >= -slack if self.at_least else abs(self.error) <= slack


@dataclasses.dataclass(frozen=True)
class Case:
    """A check by its number, where its figures come from, and the function that asks strickle."""

    name: str
    source: str
    rows: Callable[[], list[Row]]
    home: str
    needs: str = ""  # a library without which it cannot be run

    def key(self, row: Row) -> str:
        """Under which a miss is named."""
        return f"{self.name}: {row.what}"

    def faults(self) -> list[str]:
        """Rows that miss without being named, and named ones that do not miss."""
        return [fault for row in self.rows() if (fault := self.fault(row))]

    def fault(self, row: Row) -> str:
        """What is wrong with a row, or nothing."""
        named = self.key(row) in MISSES
        if row.holds == named:
            told = f"theirs {row.theirs:.7g}, ours {row.ours:.7g} {row.unit}, tolerance {row.tolerance:g}"
            return f"{self.key(row)}: {told}{', named as a miss but holds' if named else ''}"
        return ""


ALL: list[Case] = []


def case(name: str, source: str, needs: str = "") -> Callable[[Callable[[], list[Row]]], Callable[[], list[Row]]]:
    """Register a check under its number."""

    def keep(rows: Callable[[], list[Row]]) -> Callable[[], list[Row]]:
        ALL.append(Case(name, source, rows, rows.__module__.rpartition(".")[2], needs))
        return rows

    return keep


def every(*homes: str) -> list[Case]:
    """All cases, or those of some modules, in the order of the modules."""
    for home in homes or HOMES:
        importlib.import_module(f"outside.{home}")
    return sorted((c for c in ALL if not homes or c.home in homes), key=lambda c: HOMES.index(c.home))
