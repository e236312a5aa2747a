"""Changes that may cure a finding of the solved filling, in order of ease for the moulder; hotter metal comes after what costs nothing."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np

from strickle.base import Array, Finding, Record, tell
from strickle.melt import Melt, MeltAsk
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.pour import Pour, PourAsk
from strickle.rigging import Rigging, RiggingAsk, VentWish
from strickle.trials.changes import HIGHER_STEPS, Change
from strickle.trials.cure import Results, find
from strickle.trials.runner import Runner

HOTTER_STEPS = (20.0, 40.0, 80.0)
"""K hotter at the mould, never over what is wise."""
LEAST_HOTTER = 5.0
QUICKER_STEPS = (0.7, 0.5)
"""On the pour time as rigged."""
WIDER = 1.1
"""On the ingates' section by which their metal would just come at its critical speed."""
MOST_WIDER = 3.0
LEAST_BORE, BORE_STEP, MOST_BORE = 2e-3, 0.5e-3, 8e-3
"""m: wire that vents are pricked with, the step of drills, and the widest that is still a vent."""
MOST_VENTS = 3

STANDING = ("whole", "brisk", "hotter", "quicker", "ingate", "higher")
KINDS: Mapping[str, tuple[str, ...]] = {
    "pour.misrun": STANDING,
    "pour.cold_shut": STANDING,
    "pour.break": ("whole", "hotter", "quicker"),
    "pour.gate_fast": ("wider", "ingate"),
    "pour.sprue_empty": ("whole", "brisk"),
    "pour.air_trapped": ("vent",),
}
"""Kinds of change by code of the finding, easiest first. A thicker wall changes the part and is not run."""


def ways(code: str, results: Results, runner: Runner, ask: RiggingAsk, room: Array | None) -> Iterator[Change]:
    """Changes that may cure the findings of one code; ``ask`` and ``room`` are those of the mould that stands."""
    makers: Mapping[str, Callable[[], Iterator[Change]]] = {
        "whole": lambda: _whole(runner),
        "brisk": lambda: _brisk(runner),
        "hotter": lambda: _hotter(results, runner),
        "quicker": lambda: _quicker(results, ask),
        "ingate": lambda: _ingate(results, ask),
        "higher": lambda: _higher(results, ask),
        "wider": lambda: _wider(results, ask),
        "vent": lambda: _vent(results, ask),
    }
    for kind in KINDS[code]:
        for change in makers[kind]():
            keep = change.room if change.room is not None else room
            yield dataclasses.replace(change, kind=kind, room=keep, series=kind)


def _change(says: str | Callable[[Results], str], asks: Mapping[str, Record], room: Array | None = None, pieces: int = 1) -> Change:
    words = says if callable(says) else lambda after: says
    return Change(kind="", words=words, asks=asks, room=room, pieces=pieces)


def _pour_ask(runner: Runner) -> PourAsk:
    ask = runner.ask("pour")
    assert isinstance(ask, PourAsk)
    return ask


def _whole(runner: Runner) -> Iterator[Change]:
    ask = _pour_ask(runner)
    if ask.break_for:
        yield _change("pour without the stop", {"pour": dataclasses.replace(ask, break_at=None, break_for=None)})


def _brisk(runner: Runner) -> Iterator[Change]:
    """As fast as the mould takes it, where the hand was asked to hold back."""
    ask = _pour_ask(runner)
    if ask.rate is None and ask.kept_full == "yes":
        return
    new = dataclasses.replace(ask, rate=None, kept_full="yes")
    yield _change("pour as fast as the basin takes it and keep that full from first to last", {"pour": new})


def _hotter(results: Results, runner: Runner) -> Iterator[Change]:
    metal, ask = find(results, "metal", Metal), runner.ask("melt")
    now = find(results, "melt", Melt).pour_temperature.value
    if not isinstance(ask, MeltAsk):
        return
    before = now
    for step in HOTTER_STEPS:
        to = min(max(now + step, metal.aim[0]), metal.aim[1])
        if to - before < LEAST_HOTTER:
            return
        before = to
        yield _change(f"pour at {tell(to, 'K')} at the mould", {"melt": dataclasses.replace(ask, pour=to)})


def _quicker(results: Results, ask: RiggingAsk) -> Iterator[Change]:
    """A wider choke, as far as the hand keeps up."""
    now = find(results, "rigging", Rigging).pour_time

    def words(wanted: float) -> Callable[[Results], str]:
        return lambda after: (
            f"rigging asked to fill in {tell(wanted, 's', 'fine')} (--pour-time), which has a choke of "
            f"{tell(find(after, 'rigging', Rigging).choke_area, 'm2')}"
        )

    for wanted in (step * now for step in QUICKER_STEPS):
        yield _change(words(wanted), {"rigging": dataclasses.replace(ask, pour_time=wanted)})


def _ingate(results: Results, ask: RiggingAsk) -> Iterator[Change]:
    number = len(find(results, "rigging", Rigging).ingates)
    if not 0 < number < 3:
        return

    def words(after: Results) -> str:
        gates = find(after, "rigging", Rigging).ingates
        return f"{len(gates)} ingates of {tell(sum(g.area for g in gates), 'm2')} together"

    yield _change(words, {"rigging": dataclasses.replace(ask, ingates=number + 1)})


def _higher(results: Results, ask: RiggingAsk) -> Iterator[Change]:
    """More head: the cope higher, and the sprue with it."""
    mould = find(results, "mould", Mould)
    for step in HIGHER_STEPS:
        room = np.array(mould.room_for_rigging, dtype=float)
        room[5] += step
        yield _change(
            lambda after: f"a cope of {tell(find(after, 'mould', Mould).flask.cope, 'm')}, the sprue as high as it", {"rigging": ask}, room=room
        )


def _wider(results: Results, ask: RiggingAsk) -> Iterator[Change]:
    solution = find(results, "pour", Pour).solution
    if solution is None:
        return
    over = max((gate.highest / gate.critical for gate in solution.gates), default=0.0)
    if not over > 1.0:
        return
    for share in (1.0, 1.3):
        factor = min(ask.gate_section * over * WIDER * share, MOST_WIDER)
        yield _change(
            lambda after: f"ingates of {tell(sum(g.area for g in find(after, 'rigging', Rigging).ingates), 'm2')} together",
            {"rigging": dataclasses.replace(ask, gate_section=factor)},
        )


def _vent(results: Results, ask: RiggingAsk) -> Iterator[Change]:
    """Vents up to the air at the pockets of which something stays, one more each time."""
    solution = find(results, "pour", Pour).solution
    pockets = [] if solution is None else [p for p in solution.pockets if p.left > 0.0][:MOST_VENTS]
    new: list[VentWish] = []
    told: list[str] = []
    for pocket in pockets:
        bore = max(math.ceil(pocket.vent / BORE_STEP) * BORE_STEP, LEAST_BORE)
        if bore > MOST_BORE:
            return
        new.append(VentWish(at=np.asarray(pocket.at_part), bore=bore))
        told.append(f"{tell(bore, 'm', 'fine')} of bore at {', '.join(tell(float(v), 'm') for v in pocket.at_part)}")
        says = f"{'a vent' if len(new) == 1 else 'vents'} into the cavity, {' and '.join(told)} (part coordinates)"
        yield _change(says, {"rigging": dataclasses.replace(ask, breathing=(*ask.breathing, *new))}, pieces=len(new))


def named(findings: Sequence[Finding]) -> Sequence[str]:
    """Codes among the findings that a change is looked for, those of the heaviest weight first, each once."""
    heavy = {"STOP": 0, "MIND": 1}
    mine = sorted((f for f in findings if f.code in KINDS and f.weight in heavy), key=lambda f: heavy[f.weight])
    return tuple(dict.fromkeys(f.code for f in mine))
