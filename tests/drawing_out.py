"""What every printed piece of a plan must be: it comes out of sand or off its core, is a solid, and all of them are the casting."""

from __future__ import annotations

import dataclasses
import math

import manifold3d as m3
import numpy as np

import factory
from pattern_shop import aluminium
from strickle.base import quiet
from strickle.pattern import PatternAsk
from strickle.pattern.steps import make
from strickle.rigging import RiggingAsk
from strickle.rigging.steps import rig
from strickle.stores import load, starter_kit
from trapping import LIFTS, solid_of, trapped

BED = 0.4
"""m: large enough that no piece is cut for the bed, which is tested by itself."""
ANSWERED = PatternAsk(draft="added", joint="best", undercuts="best", holes="drilled")
"""All that the room can do for a part unasked."""
MOST_SAND, LEAST_PIECE = 0.005, 1.0
"""mm3, of the issue."""


def shop():
    """A kit whose prints are true and are not rapped: else the room of the sand is not that of the pattern."""
    return load(dataclasses.replace(starter_kit(), bed=np.full(3, BED), rapping=0.0, print_error=0.0))


def off_core(pattern) -> dict[str, float]:
    """Most sand [mm3] of its core that each part of a core box takes along."""
    cores = {name: solid_of(core.mesh) for core in pattern.cores for name in core.box}
    out = {}
    for piece in (p for p in pattern.pieces if p.role == "core box"):
        solid, deep = solid_of(piece.mesh), float(np.ptp(piece.mesh.vertices @ piece.draw)) * 1e3 + 0.1
        out[piece.name] = max(float((solid.translate(tuple(piece.draw * lift)) ^ cores[piece.name]).volume()) for lift in (*LIFTS, deep))
    return out


def check(part, ask: PatternAsk | None = None) -> dict[str, float]:
    """Make pattern and rigging of a part and check every printed piece; gives the figures."""
    stores = shop()
    pattern = make(part, aluminium(), stores, ANSWERED if ask is None else ask, quiet)
    mould = factory.mould_of(pattern, over=70.0)
    rigging = rig(part, pattern, mould, factory.a356(), stores, RiggingAsk(), quiet)
    pieces = [*pattern.pieces, *rigging.pieces]
    over = pattern.print_scale / pattern.scale
    travels = {loose.name: loose.travel * 1e3 for loose in pattern.loose}
    dragged = trapped(pieces, [pattern.outer, rigging.casting], mould.box, pattern.sheet, over, travels)
    dragged |= off_core(pattern)
    assert not (much := {name: sand for name, sand in dragged.items() if sand >= MOST_SAND}), much
    for piece in pieces:
        solid = solid_of(piece.mesh)
        assert solid.volume() >= LEAST_PIECE, piece.name
        assert math.isclose(solid.volume(), piece.volume * 1e9, rel_tol=1e-6), piece.name
    own = [solid_of(p.mesh) for p in pattern.pieces if p.role in ("pattern", "loose piece")]
    drawn, printed = solid_of(pattern.outer).scale(tuple(float(s) for s in over)), sum(float(s.volume()) for s in own)
    halves = printed + pattern.fittings_volume * 1e9
    whole = m3.Manifold.batch_boolean(own, m3.OpType.Add)
    off = float((drawn - whole).volume() + (whole - drawn).volume()) - pattern.fittings_volume * 1e9
    metal = solid_of(pattern.cavity).volume()
    counted = part.volume * float(pattern.scale.prod()) + pattern.holes_filled + pattern.stock_volume + pattern.undercut_volume + pattern.draft_volume
    return {
        "halves": halves / float(drawn.volume()) - 1.0,
        "assembled": off / float(drawn.volume()),
        "counted": counted * 1e9 / float(metal) - 1.0,
        "sand": max(dragged.values(), default=0.0),
        "pieces": float(len(pieces)),
        "cores": float(len(pattern.cores)),
    }
