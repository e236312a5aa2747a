"""Runs one stage after the latest results of the earlier ones, and never the same work twice."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from strickle import __version__
from strickle.base import Outcome, Record, Trouble, Watch
from strickle.job import keys
from strickle.job.cache import Kept, StageCache
from strickle.job.stages import STAGES, Stage
from strickle.stores import Stores


@dataclasses.dataclass(frozen=True, slots=True)
class _Heard:
    """The watch of one stage: its words carry the stage's name, and it lends a place for what a long run has so far."""

    stage: str
    watch: Watch
    cache: StageCache | None

    def __call__(self, share: float, says: str) -> None:
        self.watch(share, f"{self.stage}: {says}")

    def place(self, name: str) -> Path | None:
        return None if self.cache is None else self.cache.unfinished(self.stage, name)


class Runner:
    """What job lends to trials: stages with their asks, remembered by key in memory and, for the job itself, on disk.

    A result is reused when the ask, the earlier results, the stored data, the kit fields the stage really read and the code are the same.
    ``results`` holds the latest outcome of each stage; a stage that comes out anew drops the results of those after it.
    """

    def __init__(
        self,
        stores: Stores,
        asks: Mapping[str, Record],
        *,
        cache: StageCache | None = None,
        watch: Watch,
        table: Sequence[Stage] = STAGES,
        memory: dict[tuple[str, str], list[Kept]] | None = None,
    ) -> None:
        self.stores = stores
        self.results: dict[str, Outcome] = {}
        self.seconds: dict[str, float] = {}
        self.cached: dict[str, bool] = {}
        self._asks = dict(asks)
        self._latest = dict(asks)
        self._cache = cache
        self._watch = watch
        self._table = tuple(table)
        self._stages = {stage.name: stage for stage in table}
        self._memory: dict[tuple[str, str], list[Kept]] = {} if memory is None else memory

    def ask(self, stage: str) -> Record:
        """The ask the person gave for a stage, or its defaults."""
        return self._asks[stage] if stage in self._asks else self._stages[stage].ask()

    def settle(self, stage: str, ask: Record) -> None:
        """From now on a stage's ask is this one, as if the person had given it."""
        self._asks[stage] = self._latest[stage] = ask

    def run(self, stage: str, ask: Record | None = None) -> Outcome:
        """Run or recall one stage. Earlier stages without a result are run first, with the asks they had last.

        Raises what the stage raises; Trouble if it gives something else than it declares.
        """
        todo = self._stages[stage]
        ask = self._latest.get(stage, self.ask(stage)) if ask is None else ask
        for earlier in todo.takes:
            if earlier not in self.results:
                self.run(earlier)
        base = self._base(todo, ask)
        kept = self._recall(todo, base)
        self.cached[stage] = kept is not None
        if kept is None:
            kept = self._work(todo, ask, base)
            self._memory.setdefault((stage, base), []).append(kept)
        self._latest[stage] = ask
        self._settle(todo, kept)
        return kept.outcome

    def once(self, stage: str, results: Mapping[str, Outcome], ask: Record, stores: Stores, watch: Watch) -> Outcome:
        """Run one stage on the results given; nothing of it is remembered. May be called from several threads at a time."""
        todo = self._stages[stage]
        return todo.load()(**{name: results[name] for name in todo.takes}, stores=stores, ask=ask, watch=watch)

    def keep(self, stage: str, parts: Sequence[object], make: Callable[[], Outcome]) -> Outcome:
        """A result of a stage's kind that trials made of ``parts``: recalled where these, the stored data and the code are the same."""
        todo = self._stages[stage]
        base = keys.digest("kept", stage, todo.version, __version__, keys.code_of(stage), keys.code_of("trials"), parts, keys.published(self.stores))
        kept = self._recall(todo, base)
        if kept is None:
            begun = time.perf_counter()
            outcome = dataclasses.replace(make(), key=base)
            kept = Kept(outcome=outcome, uses={}, seconds=time.perf_counter() - begun)
            if self._cache is not None:
                self._cache.write(stage, base, kept)
            self._memory.setdefault((stage, base), []).append(kept)
        return kept.outcome

    def variant(self, *, stores: Stores | None = None, asks: Mapping[str, Record] | None = None) -> Runner:
        """A runner with another shop or other asks, that shares what is remembered and never touches disk."""
        return Runner(
            self.stores if stores is None else stores,
            {**self._asks, **(asks or {})},
            watch=self._watch,
            table=self._table,
            memory=self._memory,
        )

    def _base(self, stage: Stage, ask: Record) -> str:
        earlier = [self.results[name].key for name in stage.takes]
        return keys.digest(
            stage.name, stage.version, __version__, keys.code_of(stage.name), ask, earlier, keys.published(self.stores)
        )  # fmt: skip

    def _recall(self, stage: Stage, base: str) -> Kept | None:
        def fresh(kept: Kept) -> bool:
            return keys.uses(self.stores.kit, kept.uses) == dict(kept.uses)

        for kept in self._memory.get((stage.name, base), ()):
            if fresh(kept):
                if self._cache is not None and not self._cache.has(stage.name, kept.outcome.key):
                    self._cache.write(stage.name, base, kept)
                return kept
        if self._cache is not None:
            for kept in self._cache.find(stage.name, base):
                if fresh(kept) and isinstance(kept.outcome, stage.gives):
                    self._memory.setdefault((stage.name, base), []).append(kept)
                    return kept
        return None

    def _work(self, stage: Stage, ask: Record, base: str) -> Kept:
        stores, seen = keys.lend(self.stores)
        self._watch(0.0, f"{stage.name}: begins")
        begun = time.perf_counter()

        outcome = stage.load()(
            **{name: self.results[name] for name in stage.takes}, stores=stores, ask=ask, watch=_Heard(stage.name, self._watch, self._cache)
        )  # fmt: skip
        if not isinstance(outcome, stage.gives):
            raise Trouble(f"stage {stage.name} gave a {type(outcome).__name__}", "This is a mistake in strickle, please report it")
        used = keys.uses(self.stores.kit, seen)
        outcome = dataclasses.replace(outcome, key=keys.digest(base, used))
        kept = Kept(outcome=outcome, uses=used, seconds=time.perf_counter() - begun)
        if self._cache is not None:
            self._cache.write(stage.name, base, kept)
        self._watch(1.0, f"{stage.name}: done")
        return kept

    def _settle(self, stage: Stage, kept: Kept) -> None:
        before = self.results.get(stage.name)
        if before is None or before.key != kept.outcome.key:
            for later in self._table[self._table.index(stage) :]:
                self.results.pop(later.name, None)
        self.results[stage.name] = kept.outcome
        self.seconds[stage.name] = kept.seconds
