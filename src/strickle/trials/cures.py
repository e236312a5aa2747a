"""One change that may lift a STOP: each is a changed kit or a changed ask, to be run through the stages."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping

import numpy as np

from strickle.base import Finding, tell
from strickle.cavity import Cavity
from strickle.melt import Melt, MeltAsk
from strickle.metal import Metal
from strickle.mould import FlaskChosen, Mould
from strickle.pattern import Pattern
from strickle.pour import Pour, PourAsk
from strickle.sound import Sound
from strickle.stores import Crucible, Flask, Kit
from strickle.trials.back import more_stock
from strickle.trials.cure import Cure, Results, find
from strickle.trials.moulding import barred, drawn_better, laid_otherwise, stronger_core
from strickle.trials.runner import Runner


def _pot(kit: Kit, volume: float) -> Crucible:
    """A pot of ``volume`` [m3] shaped like the kit's largest."""
    like = max(kit.crucibles, key=lambda c: c.volume, default=None)
    if like is None:
        return Crucible(name="a larger pot", volume=volume, opening=(volume * 4 / math.pi) ** (1 / 3), mass=1500.0 * volume)
    grow = volume / like.volume
    return dataclasses.replace(like, name="a larger pot", volume=volume, opening=like.opening * grow ** (1 / 3), mass=like.mass * grow ** (2 / 3))


def _bigger_pot(finding: Finding, results: Results, runner: Runner) -> Cure:
    """Tried with twice the pot, since risers may still grow; the size told is the one that the plan with it then needs."""
    kit = runner.stores.kit
    volume = 2.0 * find(results, "melt", Melt).pot_needed_volume

    def size(after: Results) -> str:
        melt = find(after if "melt" in after else results, "melt", Melt)
        return f"a pot of {tell(math.ceil(melt.pot_needed_volume * 1.02 / 5e-5) * 5e-5, 'm3')} inside, to the brim"

    return Cure(
        change=size,
        of="largest pot in the kit over the pot needed",
        margin=lambda r, after, k: max((c.volume for c in k.crucibles), default=0.0) / find(after, "melt", Melt).pot_needed_volume,
        kit=dataclasses.replace(kit, crucibles=(*kit.crucibles, _pot(kit, volume))),
    )


def _room_to_feed(finding: Finding, results: Results, runner: Runner) -> Cure | None:
    """Larger risers may be held back by the pot: half as much again of the largest. None where twice the charge fits it: it holds nothing back."""
    kit = runner.stores.kit
    if not kit.crucibles or 2.0 * find(results, "melt", Melt).pot_needed_volume < max(c.volume for c in kit.crucibles):
        return None
    volume = math.ceil(max(c.volume for c in kit.crucibles) * 1.5 / 5e-5) * 5e-5
    return Cure(
        change=lambda after: f"a pot of {tell(volume, 'm3')} inside, to the brim, so that larger risers can be poured",
        of="least of neck and riser time over that of what they feed",
        margin=lambda r, after, k: min(n.margin for n in find(r, "sound", Sound).necks),
        kit=dataclasses.replace(kit, crucibles=(*kit.crucibles, _pot(kit, volume))),
    )


def _share(flask: FlaskChosen, kit: Kit) -> float:
    """The kit's best flask over ``flask``, tightest direction."""
    if kit.builds_flasks:
        return 1.0
    long, short = max(flask.length, flask.width), min(flask.length, flask.width)
    fits = [
        min(
            max(f.length, f.width) / long,
            min(f.length, f.width) / short,
            f.cope / flask.cope if flask.cope > 0 else math.inf,
            f.drag / flask.drag,
        )
        for f in kit.flasks
    ]  # fmt: skip
    return max(fits, default=0.0)


def _built_flask(finding: Finding, results: Results, runner: Runner) -> Cure:
    """Tried with any flask that is wanted, then with the one it came to, which is told."""
    kit = runner.stores.kit

    def letter(after: Results) -> Kit:
        want = find(after, "mould", Mould).flask
        own = Flask(name="the flask told", length=want.length, width=want.width, cope=want.cope, drag=want.drag)
        return dataclasses.replace(kit, flasks=(*kit.flasks, own))

    def size(after: Results) -> str:
        want = find(after, "mould", Mould).flask
        return (
            f"a flask of {tell(want.length, 'm')} by {tell(want.width, 'm')} inside, cope {tell(want.cope, 'm')}, drag {tell(want.drag, 'm')}"
        )  # fmt: skip

    return Cure(
        change=size,
        of="the kit's best flask over the flask needed, tightest direction",
        margin=lambda r, after, k: _share(find(after, "mould", Mould).flask, k),
        kit=dataclasses.replace(kit, builds_flasks=True),
        letter=letter,
    )


def _more_sand(finding: Finding, results: Results, runner: Runner) -> Cure:
    need = float(math.ceil(find(results, "cavity", Cavity).sand_mass * 1.1))
    return Cure(
        change=lambda after: f"{tell(need, 'kg')} of sand on hand",
        of="sand on hand over sand in the flask",
        margin=lambda r, after, k: k.sand_mass / find(after, "cavity", Cavity).sand_mass,
        kit=dataclasses.replace(runner.stores.kit, sand_mass=need),
    )


def _more_weight(finding: Finding, results: Results, runner: Runner) -> Cure:
    need = float(math.ceil(find(results, "cavity", Cavity).hold_down_mass * 1.1))
    return Cure(
        change=lambda after: f"{tell(need, 'kg')} of weights for the cope, or clamps that hold as much",
        of="weights on hand over weight wanted",
        margin=lambda r, after, k: k.weights / find(after, "cavity", Cavity).hold_down_mass,
        kit=dataclasses.replace(runner.stores.kit, weights=need),
    )


def _more_metal(finding: Finding, results: Results, runner: Runner) -> Cure:
    need = math.ceil(find(results, "melt", Melt).charge_mass * 1.05 * 10) / 10
    return Cure(
        change=lambda after: f"{tell(need, 'kg')} of this metal on hand",
        of="metal on hand over the charge",
        margin=lambda r, after, k: k.metal_mass / find(after, "melt", Melt).charge_mass,
        kit=dataclasses.replace(runner.stores.kit, metal_mass=need),
    )


def _bigger_bed(finding: Finding, results: Results, runner: Runner) -> Cure:
    kit = runner.stores.kit
    sizes = [np.sort(p.extents) for p in find(results, "pattern", Pattern).pieces]
    bed = np.maximum(np.sort(kit.bed), np.ceil(np.max(sizes, axis=0) * 1e3 + 10) / 1e3)
    return Cure(
        change=lambda after: f"a printer that takes {tell(float(bed[2]), 'm')} by {tell(float(bed[1]), 'm')} by {tell(float(bed[0]), 'm')}",
        of="the bed over the largest piece, tightest direction",
        margin=lambda r, after, k: float(min(np.min(np.sort(k.bed) / size) for size in sizes)),
        kit=dataclasses.replace(kit, bed=bed),
    )


def _outdoors(finding: Finding, results: Results, runner: Runner) -> Cure:
    return Cure(
        change=lambda after: "melt and pour outdoors or under an open-sided roof, with the gas cylinder outside",
        of="place allowed",
        margin=lambda r, after, k: math.nan,
        kit=dataclasses.replace(runner.stores.kit, place="outdoors"),
    )


def _hotter(finding: Finding, results: Results, runner: Runner) -> Cure | None:
    metal = find(results, "metal", Metal)
    now = find(results, "melt", Melt).pour_temperature.value
    hotter = min(max(now + 30.0, metal.aim[0]), metal.aim[1])
    ask = runner.ask("melt")
    if hotter < now + 5.0 or not isinstance(ask, MeltAsk):
        return None
    return Cure(
        change=lambda after: f"pour at {tell(hotter, 'K')} at the mould",
        of="fluid time of the thinnest section over the fill time",
        margin=lambda r, after, k: find(r, "pour", Pour).fluid_margin.value,
        asks={"melt": dataclasses.replace(ask, pour=hotter)},
    )


def _without_a_stop(finding: Finding, results: Results, runner: Runner) -> Cure | None:
    ask = runner.ask("pour")
    if not isinstance(ask, PourAsk):
        return None
    return Cure(
        change=lambda after: "pour without the stop",
        of="fluid time of the thinnest section over the fill time",
        margin=lambda r, after, k: find(r, "pour", Pour).fluid_margin.value,
        asks={"pour": dataclasses.replace(ask, break_at=None, break_for=None)},
    )


def _warm_to_the_last(finding: Finding, results: Results, runner: Runner) -> Cure | None:
    ask = runner.ask("pour")
    broken = isinstance(ask, PourAsk) and ask.break_for is not None
    return _without_a_stop(finding, results, runner) if broken else _hotter(finding, results, runner)


CURES: Mapping[str, Callable[[Finding, Results, Runner], Cure | None]] = {
    "melt.pot_too_small": _bigger_pot,
    "melt.metal_short": _more_metal,
    "melt.place": _outdoors,
    "melt.too_cold": _hotter,
    "mould.draw_chance": drawn_better,
    "mould.half_sags": barred,
    "mould.no_flask": _built_flask,
    "mould.sand_tears": drawn_better,
    "cavity.core_breaks": stronger_core,
    "cavity.sand_short": _more_sand,
    "cavity.weights_short": _more_weight,
    "pattern.bed": _bigger_bed,
    "pattern.undercut": laid_otherwise,
    "pour.break": _without_a_stop,
    "pour.cold": _warm_to_the_last,
    "pour.misrun": _hotter,
    "sound.back_sinks": more_stock,
    "sound.neck_short": _room_to_feed,
    "sound.riser_short": _room_to_feed,
}
