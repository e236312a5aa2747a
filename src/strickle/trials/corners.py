"""Corners: the plan that stands is frozen again, on the rough grid, at the ends of what is not known."""

from __future__ import annotations

import dataclasses
import math
import os
import threading
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from strickle.base import Finding, Watch
from strickle.cavity import Cavity
from strickle.metal import Metal
from strickle.sound import Corner, Corners, Sound, SoundAsk
from strickle.sound.rules import LEAST_RATIO, NECK_LEAST
from strickle.trials.cure import find
from strickle.trials.ends import Case, End, all_ends, base_case
from strickle.trials.lay import Lay
from strickle.trials.purse import CORNERS, JUDGING, SIDE
from strickle.trials.runner import Runner

TOGETHER = 2
"""Freezings that put all worse and all better ends together."""
WORKERS = 2
SAME = 1e-6  # a margin that moves by less does not tell which end is the worse


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What is kept of one freezing. ``joints``: riser -> neck and riser time over that of what it feeds."""

    name: str
    changed: str
    joints: Mapping[str, tuple[float, float]]
    last: float
    riser: float
    knock_out: float
    touch: float
    void: float
    findings: tuple[Finding, ...]
    work: float = 0.0

    def fields(self) -> Corner:
        """As a record; its least margin is of the rough grid still."""
        return Corner(
            name=self.name,
            changed=self.changed,
            least_margin=min((min(pair) for pair in self.joints.values()), default=math.nan),
            last_time=self.last,
            riser_time=self.riser,
            knock_out_time=self.knock_out,
            touch_time=self.touch,
            void_volume=self.void,
            stood=tuple(dict.fromkeys(f.code for f in self.findings if f.weight != "NOTE")),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """All freezings of one plan: the base, single ends, ends put together; and what was not run."""

    base: Seen
    singles: tuple[tuple[End, Seen], ...]
    together: tuple[Seen, ...]
    left_out: tuple[str, ...]
    cell: float
    cells: int
    wanted: int

    @property
    def corners(self) -> tuple[Seen, ...]:
        """All but the base."""
        return (*(seen for _, seen in self.singles), *self.together)

    @property
    def ran(self) -> int:
        """Freezings run."""
        return 1 + len(self.singles) + len(self.together)

    def record(self) -> Corners:
        """As a record, without what is judged from it."""
        return Corners(
            cell=self.cell,
            cells=self.cells,
            ran=self.ran,
            wanted=self.wanted,
            work=sum(spent(seen.work) for seen in (self.base, *self.corners)),
            base=self.base.fields(),
            runs=tuple(seen.fields() for seen in self.corners),
            left_out=self.left_out,
            swings=(),
        )


def spent(work: float) -> float:
    """What a freezing of so much work counts as."""
    return SIDE * (work + JUDGING)


def affordable(work: float, singles: int, budget: float = CORNERS) -> tuple[int, int]:
    """How many single ends and how many freezings of ends put together are run, beside the base, where that took so much work.

    Both ends of the first thing are run in any case; ends are put together where those of two things at the least were run.

    >>> affordable(9e7, 12), affordable(3e8, 12), affordable(2e9, 12), affordable(9e7, 0)
    ((12, 2), (5, 2), (2, 0), (0, 0))
    """
    left = max(int(budget / spent(work)) - 1, 2)
    if singles + TOGETHER <= left:
        return singles, TOGETHER if singles > 2 else 0
    if left - TOGETHER > 2:
        return min(left - TOGETHER, singles), TOGETHER
    return min(left, 2, singles), 0


def run_corners(runner: Runner, lay: Lay, watch: Watch, budget: float = CORNERS) -> Round:
    """Freeze the base and its corners, two at a time where there are two processors, as many as ``budget`` allows by what the base took.

    Raises what the stage and ``watch`` raise.
    """
    base = base_case(runner, lay)
    ends, lacking = all_ends(base, runner, lay)
    cavity = find(base.results, "cavity", Cavity)
    cells = int(cavity.grid.tags.size)
    wanted = 1 + len(ends) + (TOGETHER if len(ends) > 2 else 0)
    freezing = _Freezing(runner=runner, watch=watch, cools=_coolable(base, ends, runner), of=wanted)
    todo = [("as planned", "", base, True), *((e.name, e.changed, e.change(base), e.cools) for e in ends)]
    seen = freezing.all(todo[:2])
    some, together = affordable(seen[0].work, len(ends), budget)
    freezing.of = 1 + some + together
    seen += freezing.all(todo[2 : 1 + some])
    singles = tuple(zip(ends[:some], seen[1:], strict=True))
    both: list[Seen] = []
    if together:
        both = freezing.all(
            [
                _put_together(base, name, side)
                for name, side in zip(("everything at its worse end", "everything at its better end"), sides(seen[0], singles))
            ]
        )
    skipped = tuple(f"{e.name}: the work set aside for corners is spent" for e in ends[some:])
    if len(ends) > 2 and not together:
        skipped += ("ends put together: the work set aside for corners is spent",)
    return Round(
        base=seen[0], singles=singles, together=tuple(both), left_out=(*skipped, *lacking), cell=cavity.cell, cells=cells, wanted=wanted
    )  # fmt: skip


def _coolable(base: Case, ends: Sequence[End], runner: Runner) -> bool:
    """Whether cooling is followed: it is asked for, and the knock-out temperature lies under the solidus of every lot."""
    ask = runner.ask("sound")
    assert isinstance(ask, SoundAsk)
    least = min(find(case.results, "metal", Metal).solidus for case in (base, *(e.change(base) for e in ends)))
    return ask.knock_out and (ask.knock_out_temperature is None or ask.knock_out_temperature < least)


def _put_together(base: Case, name: str, side: Sequence[End]) -> tuple[str, str, Case, bool]:
    case = base
    for end in sorted(side, key=lambda e: e.of != "cut"):  # first what replaces whole results, then changes of single fields
        case = end.change(case)
    return name, ", ".join(end.name for end in side), case, True


def sides(base: Seen, singles: Sequence[tuple[End, Seen]]) -> tuple[tuple[End, ...], tuple[End, ...]]:
    """The worse and the better ends: by the joint that is nearest to its bar, else by what is missing in the part, else by the last time."""
    worse, better = [], []
    for of in dict.fromkeys(end.of for end, _ in singles):
        mine = [(end, seen) for end, seen in singles if end.of == of]
        ranked = sorted(mine, key=lambda one: _goodness(one[1]))
        if _goodness(ranked[0][1]) < _goodness(base):
            worse.append(ranked[0][0])
        if _goodness(ranked[-1][1]) > _goodness(base):
            better.append(ranked[-1][0])
    return tuple(worse), tuple(better)


def _goodness(seen: Seen) -> tuple[float, float, float]:
    least = min((min(neck / NECK_LEAST.value, riser / LEAST_RATIO.value) for neck, riser in seen.joints.values()), default=0.0)
    void = 0.0 if math.isnan(seen.void) else seen.void
    return round(least / SAME) * SAME, -void, -seen.last


@dataclass(slots=True)
class _Freezing:
    """Freezes cases on as many threads as pay: the kernels leave the interpreter's lock, so no second process is needed."""

    runner: Runner
    watch: Watch
    cools: bool
    of: int
    begun: int = 0
    lock: threading.Lock = dataclasses.field(default_factory=threading.Lock)

    def all(self, cases: Sequence[tuple[str, str, Case, bool]]) -> list[Seen]:
        """Every case frozen, in order."""
        workers = min(WORKERS, os.cpu_count() or 1)
        if workers < 2:
            return [self.one(case) for case in cases]
        with ThreadPoolExecutor(max_workers=workers) as pool:
            try:
                return list(pool.map(self.one, cases))
            except BaseException:
                pool.shutdown(wait=True, cancel_futures=True)
                raise

    def one(self, told: tuple[str, str, Case, bool]) -> Seen:
        """One case frozen, and what is kept of it."""
        name, changed, case, cools = told
        with self.lock:
            self.begun += 1
            number = self.begun

        def heard(share: float, says: str) -> None:
            with self.lock:
                self.watch(0.8, f"frozen again with what is not known at its ends, {number} of {self.of}: {name}")

        cooling = cools and self.cools
        given = self.runner.ask("sound")
        assert isinstance(given, SoundAsk)
        limit = given.knock_out_temperature if cooling else None
        ask = dataclasses.replace(given, preset="rough", knock_out=cooling, merged=True, knock_out_temperature=limit, pegs=(), corners="run")
        heard(0.0, "")
        sound = self.runner.once("sound", case.results, ask, case.stores, heard)
        assert isinstance(sound, Sound)
        return seen_of(name, changed, sound)


def seen_of(name: str, changed: str, sound: Sound) -> Seen:
    """What is kept of a freezing."""
    bodies = sound.feeding.bodies if sound.feeding is not None else ()
    return Seen(
        name=name,
        changed=changed,
        joints={n.riser: (n.neck_time / n.fed_time, n.riser_time / n.fed_time) for n in sound.necks if n.fed_time > 0},
        last=sound.last_to_freeze.time.value,
        riser=sound.riser_time.value,
        knock_out=sound.knock_out_time.value,
        touch=sound.touch_time.value,
        void=next((b.void for b in bodies if b.name == "part"), math.nan),
        findings=sound.findings,
        work=sound.work,
    )
