"""What a draw that leans by a given angle does to the pockets: how far it pushes their sand aside, and with what chance that tears it."""

from __future__ import annotations

import math

import numpy as np

from strickle.base import Array
from strickle.mould import draw_chance as chance
from strickle.mould import draw_law as law
from strickle.mould.draw_chance import Group, Sand, Shared
from strickle.mould.draw_lean import towards_tip
from strickle.mould.result import Leaning

LEANS = (0.0, 1.0, 2.0, 3.0)  # degrees
LIFTS = 60  # heights of the lift looked at


def leaning(groups: list[Group], sand: Sand) -> tuple[Leaning, ...]:
    """One record for each of ``LEANS``, all else of the draw as it is; none where no sand stands between walls of the pattern."""
    if not groups:
        return ()
    given = chance.shared(sand, chance.FEW)
    return tuple(_at(groups, sand, given._replace(tilt=np.full_like(given.tilt, math.radians(lean))), lean) for lean in LEANS)


def _at(groups: list[Group], sand: Sand, given: Shared, lean: float) -> Leaning:
    stands: Array = np.ones_like(given.tilt)
    worst, most, pushed = groups[0], -1.0, (0.0, 0.0)
    for group in groups:
        found = chance.use(group.body, group.length, sand, given)
        breaks = chance.breaks(np.maximum(found.pull, found.tilt), sand.local)
        stands *= (1.0 - breaks) ** group.many
        if breaks.mean() > most:
            worst, most = group, float(breaks.mean())
    pushed = push(worst, sand, math.radians(lean))
    return Leaning(
        lean=math.tan(math.radians(lean)), pocket=float(1.0 - stands.mean()), worst=most, at=worst.body.at, half=worst.body.half, push=pushed[0],
        lift=pushed[1],
    )  # fmt: skip


def push(group: Group, sand: Sand, lean: float) -> tuple[float, float]:
    """How far [m] a pattern that leans by ``lean`` [rad] pushes a body's tip aside at the most, and the lift [m] at which; medians."""
    body = group.body
    draft = towards_tip(body.lean[body.own :], body.thick[body.own :])
    full = lean * max(group.length, body.depth) / 2.0  # the lift at which it leans so far
    lifts = np.append(np.linspace(0.0, body.depth, LIFTS), min(full, body.depth))
    tilt, clear = np.array(lean), np.array(sand.median["clearance"])
    into = [float(law.interference(tilt, clear, float(lift), body.depth, draft, max(group.length, body.depth))) for lift in lifts]
    best = int(np.argmax(into))
    return (into[best], float(lifts[best])) if into[best] > 0.0 else (0.0, 0.0)
