"""The work that corners and cures of one plan may cost together: a minute on two cores.

It is counted in updates of cells, as the solver tells them, and not in seconds: so what is run, and what is told of it, is the same on any machine.
"""

from __future__ import annotations

from dataclasses import dataclass

RATE = 5.5e7
"""Updates a second of one core; 5.8e7 to 7.4e7 were seen on grids of 0.6 to 1.1 million cells."""
WORK = 50.0 * RATE
"""All corners and cures of one plan: a minute less a sixth in reserve."""
CORNERS = 0.6 * WORK
"""Of that, what corners may cost."""
SIDE = 0.6
"""What a freezing costs beside another on a second core, over what it costs alone."""
LAYING = 1.0 * RATE
"""Laying and closing a mould anew."""
JUDGING = 0.4 * RATE
"""What is done with a freezing that is solved."""


@dataclass(slots=True)
class Purse:
    """The work left."""

    left: float = WORK

    def holds(self, cost: float, kept: float = 0.0) -> bool:
        """Whether there is work left for it over what is ``kept`` back."""
        return cost <= self.left - kept

    def pay(self, cost: float) -> None:
        """Take it off, to nothing at the least."""
        self.left = max(self.left - cost, 0.0)
