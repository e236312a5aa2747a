"""Progress of a whole plan from what the stages say: share done, words, and the time left on long steps."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from strickle.base import Cancelled, Watch, render
from strickle.job.stages import STAGES, Stage

LONG = 3.0


class Progress:
    """A watch that turns stage shares into one share of the plan and adds the time left; stops the run when asked to."""

    def __init__(
        self,
        watch: Watch,
        *,
        units: str = "metric",
        table: Sequence[Stage] = STAGES,
        stopped: Callable[[], bool] = lambda: False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._watch, self._units, self._stopped, self._clock = watch, units, stopped, clock
        self._order = [stage.name for stage in table]
        self._solves, self._solved = 1, False
        total = sum(stage.share for stage in table)
        self._start: dict[str, float] = {}
        self._span: dict[str, tuple[float, float]] = {}
        done = 0.0
        for stage in table:
            self._span[stage.name] = (done / total, stage.share / total)
            done += stage.share
        self._at = 0.0
        self._stage, self._begun = "", clock()

    def __call__(self, share: float, says: str) -> None:
        """Called by stages ("stage: words") and by trials (words alone). Raises Cancelled when the person has stopped the run."""
        if self._stopped():
            raise Cancelled("stopped; what is finished is kept")
        stage, colon, words = says.partition(": ")
        if not colon or stage not in self._span:
            self._watch(self._at, render(says, self._units))
            return
        if stage != self._stage or share <= 0.0:
            if self._solved and stage != self._order[-1]:
                self._solves, self._solved = self._solves + 1, False
            self._stage, self._begun = stage, self._clock()
        low, wide = self._span[stage]
        self._at = max(self._at, self._share(low + wide * min(max(share, 0.0), 1.0)))
        self._solved = self._solved or (stage == self._order[-1] and share >= 1.0)
        spent = self._clock() - self._begun
        left = ""
        if spent > LONG and 0.03 < share < 1.0:
            left = f", about {_words(spent * (1.0 - share) / share)} left"
        again = f" (round {self._solves})" if self._solves > 1 else ""
        self._watch(self._at, render(f"{stage}{again}: {words}", self._units) + left)

    def _share(self, within: float) -> float:
        """Share of the plan when ``within`` of this round is done: how many rounds the loops will need is not known before."""
        left = 0.4 ** (self._solves - 1)
        return 1.0 - left + 0.6 * left * within


def _words(seconds: float) -> str:
    if seconds < 90:
        return f"{max(1, round(seconds))} s"
    return f"{round(seconds / 60)} min"
