"""Cautions as data: which hold for this job, and at which step. They cannot be turned off, only not apply."""

from __future__ import annotations

import functools
import tomllib
from dataclasses import dataclass
from importlib.resources import files

from strickle.base import Source
from strickle.card.places import PRICKED
from strickle.metal import Metal
from strickle.pattern import Core
from strickle.rigging import Rigging
from strickle.stores import Kit

STEPS = (
    "rules", "stock", "pieces", "sand", "cores", "inserts", "drag", "cope", "draw", "set", "close", "site", "clothing", "light", "charge", "melt",
    "lift", "pour", "wait", "knock-out", "after", "emergency",
)  # fmt: skip
HOLDS = ("inserts", "set", "close", "clothing", "charge", "lift", "knock-out")
DEFERS = (
    "This card plans; it cannot see your shop and vouches for nothing. Local codes, your equipment's manual and licensed practice come before "
    "anything printed here. Planned for a use where nobody is hurt if the casting breaks: not for lifting, pressure, brakes, steering, firearms, "
    "food or parts that turn at speed."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One caution: printed at ``step`` when all words of ``when`` hold; ``hold`` stops the day there until it is signed."""

    key: str
    step: str
    text: str
    source: str
    when: tuple[str, ...] = ()
    hold: bool = False


@functools.cache
def _book() -> tuple[tuple[Caution, ...], dict[str, str]]:
    data = tomllib.loads(files("strickle.card").joinpath("safety.toml").read_text(encoding="utf-8"))
    made = tuple(Caution(**{**item, "when": tuple(item.get("when", ()))}) for item in data["caution"])
    return made, data["sources"]


def all_cautions() -> tuple[Caution, ...]:
    """Every caution there is, in the order of the file."""
    return _book()[0]


def conditions(metal: Metal, kit: Kit, *, sand: str, furnace: str, rigging: Rigging | None, cores: tuple[Core, ...] = ()) -> frozenset[str]:
    """The words that hold for this job: metal family, furnace kind, place, sand, what the mould has, what the kit lacks."""
    words = {metal.family, kit.place, sand, furnace}
    words |= {f"not-{word}" for word in ("indoors", "zinc", "aluminium", "copper") if word not in words}
    if metal.family in ("zinc", "copper"):
        words.add("zinc-bearing")
    if "oil" in sand:
        words.add("oil-bonded")
    if not kit.thermometer:
        words.add("no-thermometer")
    if rigging is not None and any(v.kind in PRICKED for v in rigging.vents):
        words.add("vents")
    if rigging is not None and (rigging.chills or rigging.sleeves):
        words.add("inserts")
    if rigging is not None and any(c.half == "cope" for c in rigging.chills):
        words.add("cope-chills")
    if rigging is not None and rigging.open_pour is not None:
        words.add("open-face")
    if cores:
        words |= {"cores", *(f"{core.medium}-cores" for core in cores)}
    return frozenset(words)


def chosen(held: frozenset[str]) -> tuple[Caution, ...]:
    """The cautions whose conditions all hold, in the order of the day."""
    return tuple(sorted((c for c in all_cautions() if held.issuperset(c.when)), key=lambda c: STEPS.index(c.step)))


def cited(cautions: tuple[Caution, ...]) -> tuple[Source, ...]:
    """The published works behind the cautions printed."""
    book = _book()[1]
    keys = dict.fromkeys(c.source for c in cautions if c.source in book)
    return tuple(Source(key=key, says=book[key]) for key in keys)
