"""One part cast in pieces: what is asked, how each casting stands beside the part as one, and what was tried."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from strickle.base import Array, Finding, Outcome, Record, Source, si, word
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Apart, Cut, Pattern, SpliceAsk


def _nowhere() -> Array:
    return np.zeros((0, 3))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DivideAsk(Record):
    """Where a part is to be cut and how it is joined again."""

    cuts: tuple[Cut, ...] = word("the cuts; none = looked for", default=())
    most: int = word("cuts at the most where they are looked for", default=2)
    clear: Array = si("m", "places that no cut may come near, part coordinates", shape="(n, 3)", default_factory=_nowhere)
    splice: SpliceAsk = word("how the splices are made", default_factory=SpliceAsk)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Casting(Record):
    """How one casting stands in its mould: what pieces and the part as one are compared by."""

    name: str = word("its name; 'as one' for the part uncut")
    volume: float = si("m3", "metal of the casting, with stock and draft, cavity scale")
    mass: float = si("kg", "the same, cold")
    extents: Array = si("m", "bounding size of the casting", shape="(3,)")
    depth: float = si("m", "deepest draw: the part's reach in cope or drag")
    undercut: float = si("m3", "sand that a flat-parted mould cannot release")
    sand_chance: float = si("1", "chance that the sand fails in any way")
    pocket_chance: float = si("1", "chance that a body of sand tears at the draw")
    flask: str = word("the flask taken")
    length: float = si("m", "inside of the flask, longer side")
    width: float = si("m", "inside of the flask, shorter side")
    height: float = si("m", "cope and drag together")
    contraction: float = si("1", "contraction used")
    spread: float = si("1", "how far the contraction may be off either way")
    stops: tuple[str, ...] = word("codes of the STOP findings of pattern and mould", default=())

    @property
    def sand(self) -> float:
        """What the flask holds [m3]."""
        return self.length * self.width * self.height


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TriedCut(Record):
    """A set of cuts that was laid and rammed in figures, against the part as one. Shares under 1 are easier, of the worst casting."""

    cuts: tuple[Cut, ...] = word("the cuts")
    why: str = word("why the last of them was tried")
    castings: int = word("castings they leave")
    easier: bool = word("whether every casting is easier than the part as one")
    sand_chance: float = si("1", "chance that the sand fails, over that as one")
    any_chance: float = si("1", "chance that the sand of any of the castings fails: all of them are wanted")
    depth: float = si("1", "depth of the draw over that as one")
    flask: float = si("1", "inside of the flask over that as one")
    undercut: float = si("1", "undercut over that as one")
    cost: float = si("1", "mean of the four, and the splices' share: less is better")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Division(Record):
    """A part cast in pieces, or why it is not to be."""

    cuts: tuple[Cut, ...] = word("the cuts taken; none where none helps or none is allowed")
    apart: Apart | None = word("the castings with their splices", inner=True)
    whole: Casting | None = word("the part as one; none where it is not to be cut and was not looked at")
    castings: tuple[Casting, ...] = word("the castings as they were rated, without their own walls and late places measured anew")
    tried: tuple[TriedCut, ...] = word("cuts that were rated, best first")
    findings: tuple[Finding, ...] = word("what is to be minded", inner=True)
    sources: tuple[Source, ...] = word("where the splices' figures come from", inner=True)


def stands(name: str, results: Mapping[str, Outcome]) -> Casting:
    """A casting out of the results of its stages up to the mould."""
    metal, part, pattern, mould = (results[stage] for stage in ("metal", "part", "pattern", "mould"))
    assert isinstance(metal, Metal)
    assert isinstance(part, Part)
    assert isinstance(pattern, Pattern)
    assert isinstance(mould, Mould)
    corners = pattern.cavity.vertices[pattern.cavity.faces]
    volume = float(np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum()) / 6
    used = pattern.contraction
    return Casting(
        name=name,
        volume=volume,
        mass=volume / float(np.prod(pattern.scale)) * metal.density_cold,
        extents=part.extents,
        depth=max(pattern.cope_depth, pattern.drag_depth),
        undercut=pattern.undercut_volume,
        sand_chance=mould.sand_chances.any,
        pocket_chance=mould.sand_chances.pocket,
        flask=mould.flask.name,
        length=max(mould.flask.length, mould.flask.width),
        width=min(mould.flask.length, mould.flask.width),
        height=mould.flask.cope + mould.flask.drag,
        contraction=used.value,
        spread=max(used.high - used.value, used.value - used.low),
        stops=tuple(dict.fromkeys(f.code for result in (pattern, mould) for f in result.stops)),
    )
