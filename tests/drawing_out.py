"""What every printed piece of a plan must be: it comes out of sand or off its core, is a solid, and all of them are the casting."""

from __future__ import annotations

import dataclasses
import math
import tempfile
from pathlib import Path

import manifold3d as m3
import numpy as np

import factory
from pattern_shop import aluminium
from strickle.base import quiet
from strickle.card import bodies_of
from strickle.job.threemf import threemf
from strickle.pattern import PatternAsk
from strickle.pattern.steps import make
from strickle.rigging import RiggingAsk
from strickle.rigging.steps import rig
from strickle.stores import load, starter_kit
from strict_3mf import library, read_strictly
from trapping import LIFTS, solid_of, trapped

BED = 0.4
"""m: large enough that no piece is cut for the bed, which is tested by itself."""
ANSWERED = PatternAsk()
"""All that the room can do for a part unasked."""
MOST_SAND, LEAST_PIECE = 0.005, 1.0
"""mm3, of the issue."""
BOUNDS = {"turn": 0.05, "cored": 1e-5, "halves": 1e-5, "counted": 1e-5, "assembled": 1e-3, "sand": MOST_SAND, "eaten": 5e-4}
"""Of the issue, but for the first, whose pieces are drawn one after the other and are told in mm3, and the last: shares of the volume, and
mm3 of sand. What is eaten is the hair that sections are drawn in by
at draft's start and what lofts between layers cut off; 0.0003 at most was seen."""


def true_kit():
    """A kit whose prints are true and are not rapped: else the room of the sand is not that of the pattern."""
    return dataclasses.replace(starter_kit(), bed=np.full(3, BED), rapping=0.0, print_error=0.0)


def shop():
    """Stores with that kit."""
    return load(true_kit())


def off_core(pattern) -> dict[str, float]:
    """Most sand [mm3] of its core that each part of a core box takes along."""
    cores = {name: solid_of(core.mesh) for core in pattern.cores for name in core.box}
    out = {}
    for piece in (p for p in pattern.pieces if p.role == "core box"):
        solid, deep = solid_of(piece.mesh), float(np.ptp(piece.mesh.vertices @ piece.draw)) * 1e3 + 0.1
        out[piece.name] = max(float((solid.translate(tuple(piece.draw * lift)) ^ cores[piece.name]).volume()) for lift in (*LIFTS, deep))
    return out


def in_turn(pieces) -> float:
    """Most [mm3] that a piece, drawn at its turn by 1 mm, 5 mm and its full depth, comes into pieces of its half that are drawn after it."""
    own = [piece for piece in pieces if piece.touches_sand]
    solids, worst = {piece.name: solid_of(piece.mesh) for piece in own}, 0.0
    for piece in (p for p in own if p.role != "loose piece"):  # that is moved sideways first, and checked beside its half
        later = [solids[o.name] for o in own if o.half == piece.half and o.order > piece.order]
        deep = float(np.ptp(piece.mesh.vertices @ piece.draw)) * 1e3 + 0.1
        for other in later:
            at_rest = float((solids[piece.name] ^ other).volume())
            for lift in (*LIFTS, deep):
                worst = max(worst, float((solids[piece.name].translate(tuple(piece.draw * lift)) ^ other).volume()) - at_rest)
    return worst


def beside_cores(pattern) -> float:
    """What the cores, set in, leave of the room in the sand, against the cavity and the room told round their prints: share of the cavity."""
    if not pattern.cores:
        return 0.0
    cavity, cores = solid_of(pattern.cavity), m3.Manifold.batch_boolean([solid_of(core.mesh) for core in pattern.cores], m3.OpType.Add)
    poured, fin = solid_of(pattern.outer) - cores, sum(core.clearance_volume for core in pattern.cores) * 1e9
    return (abs(float((poured - cavity).volume()) - fin) + float((cavity - poured).volume())) / float(cavity.volume())


def read_as_printed(pieces, bed) -> None:
    """Every piece's 3MF file is read by the format's own library, strictly; nothing where that is not installed."""
    if library() is None:
        return
    with tempfile.TemporaryDirectory() as folder:
        for body in bodies_of(pieces, bed):
            (path := Path(folder) / "a.3mf").write_bytes(threemf(body.name, body.vertices, body.faces, "note"))
            assert read_strictly(path) == {body.name: len(body.faces)}


def check(part, ask: PatternAsk | None = None) -> dict[str, float]:
    """Make pattern and rigging of a part in the kit above and check every printed piece: the figures that ``judge`` holds against the bounds."""
    return _rigged(part, make(part, aluminium(), shop(), ANSWERED if ask is None else ask, quiet))


def _rigged(part, pattern) -> dict[str, float]:
    mould = factory.mould_of(pattern, over=70.0)
    return measured(part, pattern, mould, rig(part, pattern, mould, factory.a356(), shop(), RiggingAsk(), quiet))


def of_plan(plan) -> dict[str, float]:
    """The same for a plan made in the kit above: with its own rigging, or, where it ends before that, in a flask made for it."""
    stages = plan.stages
    if stages.get("rigging") is None:
        return _rigged(stages["part"], stages["pattern"])
    return measured(stages["part"], stages["pattern"], stages["mould"], stages["rigging"])


def measured(part, pattern, mould, rigging) -> dict[str, float]:
    """Every printed piece of a pattern and its rigging.

    That draft, cores and mending take nothing off the part ("eaten") is measured on the part's own mesh, turned and scaled, by solids alone: the sum
    of the volumes told ("counted") could not show it.
    """
    pieces = [*pattern.pieces, *rigging.pieces]
    over = pattern.print_scale / pattern.scale
    travels = {loose.name: loose.travel * 1e3 for loose in pattern.loose}
    metal = [rigging.casting] if pattern.drawn is None else [pattern.outer, rigging.casting]
    dragged = trapped(pieces, metal, mould.box, pattern.sheet, over, travels)
    dragged |= off_core(pattern)
    for piece in pieces:
        solid = solid_of(piece.mesh)
        assert solid.volume() >= LEAST_PIECE, piece.name
        assert math.isclose(solid.volume(), piece.volume * 1e9, rel_tol=1e-6), piece.name
    read_as_printed(pieces, np.full(3, BED))
    own = [solid_of(p.mesh) for p in pattern.pieces if p.role in ("pattern", "loose piece")]
    drawn, printed = solid_of(pattern.outer).scale(tuple(float(s) for s in over)), sum(float(s.volume()) for s in own)
    halves = printed + pattern.fittings_volume * 1e9
    whole = m3.Manifold.batch_boolean(own, m3.OpType.Add)
    off = float((drawn - whole).volume() + (whole - drawn).volume()) - pattern.fittings_volume * 1e9
    metal = solid_of(pattern.cavity).volume()
    counted = part.volume * float(pattern.scale.prod()) + pattern.holes_filled + pattern.stock_volume + pattern.undercut_volume
    counted += pattern.draft_volume + pattern.fillet_volume
    own = solid_of(dataclasses.replace(part.mesh, vertices=(part.mesh.vertices @ pattern.turn.T) * pattern.scale + pattern.shift))
    return {
        "halves": halves / float(drawn.volume()) - 1.0,
        "assembled": off / float(drawn.volume()),
        "counted": counted * 1e9 / float(metal) - 1.0,
        "sand": max(dragged.values(), default=0.0),
        "eaten": float((own - solid_of(pattern.cavity)).volume() / own.volume()),
        "turn": in_turn(pieces),
        "cored": beside_cores(pattern),
        "pieces": float(len(pieces)),
        "cores": float(len(pattern.cores)),
    }


def judge(told: dict[str, float]) -> None:
    """The figures against the bounds."""
    for name, bound in BOUNDS.items():
        assert abs(told[name]) < bound, (name, told)
