"""The rigging checked as solids: sand between, contacts, one body, holes, room."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strickle.base import Array
from strickle.rigging.assembly import Metal3D, crumbs
from strickle.rigging.body import Body
from strickle.rigging.gates import FLUSH
from strickle.rigging.layout import Layout
from strickle.rigging.solids import Solid, contact, unite

SEARCH = 30.0
"""mm: how far a gap is looked for."""
NEAR = 22.0
"""mm from its contact a bar must have reached the full sand margin."""


@dataclass(slots=True, eq=False)
class Checked:
    """What the solids say."""

    gap: float
    gap_of: str
    riser_gap: float
    between: float
    between_of: str
    declared: float
    touched: float
    bodies: int
    crumbs: float
    surplus: int
    low: Array
    high: Array


def check(body: Body, layout: Layout, bodies: list[Metal3D], casting: Solid) -> Checked:
    """Measure the finished solids."""
    gap, gap_of = math.inf, ""
    riser_gap = math.inf
    for b in bodies:
        if b.kind == "riser":
            riser_gap = min(riser_gap, float(body.light.min_gap(b.solid, SEARCH)))
        elif not b.joins:
            found = float(body.light.min_gap(b.solid, SEARCH))
            if found < gap:
                gap, gap_of = found, b.name
    if layout.route is not None:
        for n, (bar, back) in enumerate(zip(layout.bars, layout.route.backs), start=1):
            if back > NEAR + 1.0 and not bar.lap:
                outer = bar.solid(back).trim_by_plane((-bar.inward[0], -bar.inward[1], 0.0), float(-bar.inward @ bar.at) + NEAR)
                found = float(body.light.min_gap(outer, SEARCH)) if not outer.is_empty() else math.inf
                if found < gap:
                    gap, gap_of = found, f"ingate-{n}"
    between, between_of = _between(bodies)
    count, left = crumbs(casting)
    gates = sum(1 for b in bodies if b.kind == "ingate")
    surplus = rings(casting) - rings(body.solid) - max(gates - 1, 0)
    box = np.array(casting.bounding_box())
    declared = sum(b.contact for b in bodies if b.joins)
    return Checked(
        gap=gap, gap_of=gap_of, riser_gap=riser_gap, between=between, between_of=between_of, declared=declared,
        touched=_touched(body, layout, bodies), bodies=count, crumbs=left, surplus=surplus, low=box[:3], high=box[3:],
    )  # fmt: skip


def rings(solid: Solid) -> int:
    """Holes through a solid, those of all its bodies together: the library takes one off for every body after the first, dust and bubbles too."""
    return int(solid.genus()) + len(solid.decompose()) - 1


def _between(bodies: list[Metal3D]) -> tuple[float, str]:
    """Least sand between risers, flow-offs and the running system, and which two."""
    best, who = math.inf, ""
    for i, a in enumerate(bodies):
        for b in bodies[i + 1 :]:
            if a.kind == b.kind == "running" or {a.kind, b.kind} in ({"running", "ingate"}, {"ingate"}):
                continue
            if {a.kind, b.kind} == {"riser", "neck"} and a.name.rsplit("-", 1)[1] == b.name.rsplit("-", 1)[1]:
                continue
            found = float(a.solid.min_gap(b.solid, SEARCH))
            if found < best:
                best, who = found, f"{a.name} and {b.name}"
    return best, who


def _touched(body: Body, layout: Layout, bodies: list[Metal3D]) -> float:
    """Contact [mm2] of the whole rigging with the part; a lap's flat contact is taken as declared."""
    solids, flat = [], 0.0
    laps = {f"ingate-{n}" for n, bar in enumerate(layout.bars, start=1) if bar.lap}
    for b in bodies:
        if b.name in laps:
            flat += b.contact
            continue
        bar = None
        if b.kind == "ingate":
            bar = layout.bars[int(b.name.rsplit("-", 1)[1]) - 1]
        elif b.kind == "neck":
            bar = layout.stands[int(b.name.rsplit("-", 1)[1]) - 1].bar
        if bar is not None:
            # drawn back from the parting by a hair: a face flush with the part's would count its hidden area
            cut = b.solid.trim_by_plane((0.0, 0.0, float(bar.side)), FLUSH)
            solids.append(cut)
        else:
            solids.append(b.solid)
    return contact(body.light, unite(solids)) + flat
