"""The stages in order: where each verb lives, what it takes, how long it usually needs."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass

from strickle.base import Outcome, Record
from strickle.cavity import Cavity, CavityAsk
from strickle.melt import Melt, MeltAsk
from strickle.metal import Metal, MetalAsk
from strickle.mould import Mould, MouldAsk
from strickle.part import Part, PartAsk
from strickle.pattern import Pattern, PatternAsk
from strickle.pour import Pour, PourAsk
from strickle.rigging import Rigging, RiggingAsk
from strickle.sound import Sound, SoundAsk


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One verb of the day. It is called with ``takes``, ``stores``, ``ask`` and ``watch`` by name and is pure."""

    name: str
    says: str
    verb: str
    takes: tuple[str, ...]
    ask: type[Record]
    gives: type[Outcome]
    share: float
    version: int = 1
    function: Callable[..., Outcome] | None = None

    def load(self) -> Callable[..., Outcome]:
        """The verb itself, imported when it is first needed."""
        if self.function is not None:
            return self.function
        found: Callable[..., Outcome] = getattr(importlib.import_module(f"strickle.{self.name}.steps"), self.verb)
        return found


STAGES: tuple[Stage, ...] = (
    Stage(name="metal", says="the metal", verb="blend", takes=(), ask=MetalAsk, gives=Metal, share=0.01),
    Stage(name="part", says="the part", verb="examine", takes=("metal",), ask=PartAsk, gives=Part, share=0.10),
    Stage(name="pattern", says="the pattern", verb="make", takes=("part", "metal"), ask=PatternAsk, gives=Pattern, share=0.10),
    Stage(name="mould", says="the mould", verb="ram", takes=("part", "pattern", "metal"), ask=MouldAsk, gives=Mould, share=0.03, version=2),
    Stage(
        name="rigging", says="the rigging", verb="rig", takes=("part", "pattern", "mould", "metal"),
        ask=RiggingAsk, gives=Rigging, share=0.10,
    ),
    Stage(
        name="cavity", says="the closed mould", verb="close", takes=("pattern", "mould", "rigging", "part", "metal"),
        ask=CavityAsk, gives=Cavity, share=0.08, version=2,
    ),
    Stage(
        name="melt", says="the melt", verb="charge", takes=("part", "mould", "rigging", "cavity", "metal"),
        ask=MeltAsk, gives=Melt, share=0.01, version=2,
    ),
    Stage(
        name="pour", says="the pour", verb="fill", takes=("part", "pattern", "mould", "rigging", "cavity", "metal", "melt"),
        ask=PourAsk, gives=Pour, share=0.15, version=5,
    ),
    Stage(
        name="sound", says="the freezing", verb="freeze",
        takes=("part", "pattern", "mould", "rigging", "cavity", "metal", "melt", "pour"), ask=SoundAsk, gives=Sound, share=0.42, version=5,
    ),
)  # fmt: skip
ORDER: tuple[str, ...] = tuple(s.name for s in STAGES)
