"""One change that may lift a STOP: each is a changed kit or a changed ask, to be run through the stages."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from strickle.base import Finding, Outcome, Record, tell
from strickle.cavity import Cavity
from strickle.melt import Melt, MeltAsk
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.pattern import Pattern
from strickle.sound import Sound
from strickle.stores import Crucible, Kit, Stores

Results = Mapping[str, Outcome]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure:
    """A change in words, the kit or asks it changes, and how to read its margin from results."""

    change: str
    of: str
    margin: Callable[[Results, Kit], float]
    kit: Kit | None = None
    asks: Mapping[str, Record] | None = None


def _bigger_pot(finding: Finding, results: Results, stores: Stores) -> Cure:
    melt = results["melt"]
    assert isinstance(melt, Melt)
    volume = math.ceil(melt.pot_needed_volume * 1.02 / 5e-5) * 5e-5
    like = max(stores.kit.crucibles, key=lambda c: c.volume, default=None)
    grow = (volume / like.volume) if like else 1.0
    pot = Crucible(
        name="a larger pot",
        volume=volume,
        opening=like.opening * grow ** (1 / 3) if like else (volume * 4 / math.pi) ** (1 / 3),
        mass=like.mass * grow ** (2 / 3) if like else 1500.0 * volume,
        heat_capacity=like.heat_capacity if like else 1000.0,
    )
    return Cure(
        change=f"a pot of {tell(volume, 'm3')} inside, to the brim",
        of="largest pot in the kit over the pot needed",
        margin=lambda r, k: max((c.volume for c in k.crucibles), default=0.0) / _melt(r).pot_needed_volume,
        kit=dataclasses.replace(stores.kit, crucibles=(*stores.kit.crucibles, pot)),
    )


def _room_to_feed(finding: Finding, results: Results, stores: Stores) -> Cure | None:
    """Larger risers may be held back by pot or flask: half as much again of the largest pot."""
    sound = results["sound"]
    assert isinstance(sound, Sound)
    like = max(stores.kit.crucibles, key=lambda c: c.volume, default=None)
    if like is None:
        return None
    volume = math.ceil(like.volume * 1.5 / 5e-5) * 5e-5
    pot = dataclasses.replace(like, name="a larger pot", volume=volume, opening=like.opening * 1.5 ** (1 / 3), mass=like.mass * 1.5 ** (2 / 3))

    def least(r: Results, k: Kit) -> float:
        solved = r["sound"]
        assert isinstance(solved, Sound)
        return min(n.margin for n in solved.necks)

    return Cure(
        change=f"a pot of {tell(volume, 'm3')} inside, to the brim, so that larger risers can be poured",
        of="least of neck and riser time over that of what they feed",
        margin=least,
        kit=dataclasses.replace(stores.kit, crucibles=(*stores.kit.crucibles, pot)),
    )


def _melt(results: Results) -> Melt:
    found = results["melt"]
    assert isinstance(found, Melt)
    return found


def _built_flask(finding: Finding, results: Results, stores: Stores) -> Cure:
    def room(r: Results, k: Kit) -> float:
        mould = r["mould"]
        assert isinstance(mould, Mould)
        want = mould.flask
        if k.builds_flasks:
            return 1.0
        fits = [
            min(
                max(f.length, f.width) / max(want.length, want.width),
                min(f.length, f.width) / min(want.length, want.width),
                f.cope / want.cope,
                f.drag / want.drag,
            )
            for f in k.flasks
        ]
        return max(fits, default=0.0)

    mould = results["mould"]
    assert isinstance(mould, Mould)
    want = mould.flask
    return Cure(
        change=(
            f"a flask of at least {tell(want.length, 'm')} by {tell(want.width, 'm')} inside, "
            f"cope {tell(want.cope, 'm')}, drag {tell(want.drag, 'm')}"
        ),
        of="the kit's best flask over the flask needed, tightest direction",
        margin=room,
        kit=dataclasses.replace(stores.kit, builds_flasks=True),
    )


def _more_sand(finding: Finding, results: Results, stores: Stores) -> Cure:
    cavity = results["cavity"]
    assert isinstance(cavity, Cavity)
    need = math.ceil(cavity.sand_mass * 1.1)

    def have(r: Results, k: Kit) -> float:
        closed = r["cavity"]
        assert isinstance(closed, Cavity)
        return k.sand_mass / closed.sand_mass

    return Cure(
        change=f"{tell(float(need), 'kg')} of sand on hand",
        of="sand on hand over sand in the flask",
        margin=have,
        kit=dataclasses.replace(stores.kit, sand_mass=float(need)),
    )


def _more_metal(finding: Finding, results: Results, stores: Stores) -> Cure:
    need = math.ceil(_melt(results).charge_mass * 1.05 * 10) / 10
    return Cure(
        change=f"{tell(need, 'kg')} of this metal on hand",
        of="metal on hand over the charge",
        margin=lambda r, k: k.metal_mass / _melt(r).charge_mass,
        kit=dataclasses.replace(stores.kit, metal_mass=need),
    )


def _bigger_bed(finding: Finding, results: Results, stores: Stores) -> Cure:
    def fits(r: Results, k: Kit) -> float:
        pattern = r["pattern"]
        assert isinstance(pattern, Pattern)
        bed = np.sort(k.bed)
        return float(min(np.min(bed / np.sort(p.extents)) for p in pattern.pieces))

    pattern = results["pattern"]
    assert isinstance(pattern, Pattern)
    want = np.ceil(np.max([np.sort(p.extents) for p in pattern.pieces], axis=0) * 1e3 + 10) / 1e3
    bed = np.maximum(np.sort(stores.kit.bed), want)
    return Cure(
        change=f"a printer that takes {tell(float(bed[2]), 'm')} by {tell(float(bed[1]), 'm')} by {tell(float(bed[0]), 'm')}",
        of="the bed over the largest piece, tightest direction",
        margin=fits,
        kit=dataclasses.replace(stores.kit, bed=bed),
    )


def _outdoors(finding: Finding, results: Results, stores: Stores) -> Cure:
    return Cure(
        change="melt and pour outdoors or under an open-sided roof, with the gas cylinder outside",
        of="place allowed",
        margin=lambda r, k: math.nan,
        kit=dataclasses.replace(stores.kit, place="outdoors"),
    )


def _hotter(finding: Finding, results: Results, stores: Stores) -> Cure:
    from strickle.pour import Pour

    metal = results["metal"]
    assert isinstance(metal, Metal)
    hotter = min(_melt(results).pour_temperature.value + 30.0, metal.pour_high)

    def stays(r: Results, k: Kit) -> float:
        pour = r["pour"]
        assert isinstance(pour, Pour)
        return pour.fluid_margin.value

    return Cure(
        change=f"pour at {tell(hotter, 'K')} at the mould",
        of="fluid time of the thinnest section over the fill time",
        margin=stays,
        asks={"melt": MeltAsk(pour=hotter)},
    )


CURES: Mapping[str, Callable[[Finding, Results, Stores], Cure | None]] = {
    "melt.pot_too_small": _bigger_pot,
    "melt.metal_short": _more_metal,
    "melt.place": _outdoors,
    "mould.no_flask": _built_flask,
    "cavity.sand_short": _more_sand,
    "pattern.bed": _bigger_bed,
    "pour.misrun": _hotter,
    "sound.neck_short": _room_to_feed,
    "sound.riser_short": _room_to_feed,
}
