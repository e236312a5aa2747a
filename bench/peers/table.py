"""Rows of a comparison: error beside time, and a ratio only where our error is not larger."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

LEAST = 1e-4
"""s below which no ratio is worth printing."""


@dataclass(frozen=True, slots=True)
class Spent:
    """Seconds of wall and of processor; one thread each."""

    wall: float
    cpu: float


@dataclass(frozen=True, slots=True)
class Row:
    """One run: who, how far off, what it took."""

    name: str
    error: float
    unit: str
    spent: Spent
    ours: bool = False
    note: str = ""


def clock(action: Callable[[], Any], times: int) -> tuple[Spent, Any]:
    """Median times of ``times`` runs, and the last result."""
    wall, cpu = [], []
    for _ in range(times):
        begun, begun_cpu = time.perf_counter(), time.process_time()
        out = action()
        wall.append(time.perf_counter() - begun)
        cpu.append(time.process_time() - begun_cpu)
    return Spent(float(np.median(wall)), float(np.median(cpu))), out


def best_claim(peer: Row, own: Sequence[Row]) -> Row | None:
    """Our quickest run whose error is not larger than the peer's, or None."""
    fair = [row for row in own if row.unit == peer.unit and abs(row.error) <= abs(peer.error)]
    return min(fair, key=lambda row: row.spent.cpu, default=None)


def tell(title: str, rows: Sequence[Row]) -> None:
    """Print a comparison. The ratio is of processor time, which a busy machine spoils least."""
    own = [row for row in rows if row.ours]
    print(f"\n{title}")
    print(f"  {'':38s} {'error':>11s} {'CPU s':>9s} {'wall s':>9s}   peer / ours, where our error is not larger")
    for row in rows:
        says = row.note
        if not row.ours:
            claim = best_claim(row, own)
            if claim is None:
                says = "no claim: our error is larger"
            elif min(claim.spent.cpu, row.spent.cpu) < LEAST:
                says = "too quick to compare"
            else:
                says = f"{row.spent.cpu / claim.spent.cpu:.3g} ({claim.name})"
            says += f"; {row.note}" if row.note else ""
        print(f"  {row.name:38s} {row.error:+8.3f} {row.unit:2s} {row.spent.cpu:9.4f} {row.spent.wall:9.4f}   {says}")
