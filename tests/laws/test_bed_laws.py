"""Pieces larger than the bed: whatever their shape and the bed, the parts fit, join without a gap and add up; plates never overlap."""

from __future__ import annotations

import math
import sys
from itertools import combinations
from pathlib import Path

import manifold3d as m3
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from pattern_shop import box, rod
from strickle.base import Mesh, Piece
from strickle.card.packing import GAP, bodies_of, packed_best, plates
from strickle.pattern import bed_split, in_parts, laid, lying, on_the_bed
from strickle.pattern.undercut import plain

side = st.floats(20.0, 420.0)
thick = st.floats(2.0, 120.0)


def piece_of(solid: m3.Manifold, role: str = "former", name: str = "bar", up: float = 1.0) -> Piece:
    vertices, faces = plain(solid)
    return Piece(
        name=name, role=role, half="cope", mesh=Mesh(vertices=vertices * 1e-3, faces=faces), draw=np.array([0.0, 0.0, up]), order=1,
        volume=solid.volume() * 1e-9, extents=np.ptp(vertices, axis=0) * 1e-3, note="Drawn up.",
    )  # fmt: skip


def solid_of(mesh: Mesh) -> m3.Manifold:
    made = m3.Manifold(m3.Mesh64(mesh.vertices * 1e3, mesh.faces.astype(np.uint64)))
    assert made.status() == m3.Error.NoError
    return made


def shapes(kind: str, a: float, b: float, c: float) -> m3.Manifold:
    match kind:
        case "block":
            return box(a, b, c)
        case "ring":
            return rod(a, c) - rod(0.7 * a, c)
        case "fork":
            return box(a, b, c) - box(0.6 * a, 0.8 * b, c, (0.2 * a, -1.0, 0.0))
        case _:
            return box(a, b, 0.5 * c) + rod(0.4 * min(a, b), 0.6 * c, (a / 2, b / 2, 0.4 * c), top=0.35 * min(a, b))


@settings(max_examples=25, deadline=None)
@given(kind=st.sampled_from(["block", "ring", "fork", "boss"]), a=side, b=side, c=thick, bed=st.tuples(*[st.floats(110.0, 260.0)] * 3))
def test_parts_fit_join_and_add_up(kind, a, b, c, bed):
    solid, room = shapes(kind, a, b, c), np.array(bed) * 1e-3
    piece = in_parts(piece_of(solid), room)
    how = lying(piece, room)
    if not piece.parts:
        if how.held:
            assert (np.ptp(on_the_bed(piece, room)[0], axis=0) <= np.array(bed) + 1e-3).all()
        else:  # told by a finding: more parts than can be glued true
            assert math.prod(math.ceil(s / r) for s, r in zip(np.sort((a, b, c)), np.sort(bed), strict=True)) > bed_split.MOST / 4
        return
    bodies = [solid_of(part.mesh) for part in piece.parts]
    for part, body in zip(piece.parts, bodies, strict=True):
        assert (np.ptp(laid(part.mesh, how.turn, room), axis=0) <= np.array(bed) + 1e-3).all()
        assert body.volume() > bed_split.CRUMB
        assert len(body.decompose()) == 1
        assert part.volume == pytest.approx(body.volume() * 1e-9)
    assert all((one ^ other).volume() < 1e-6 * solid.volume() for one, other in combinations(bodies, 2))
    joined = m3.Manifold.batch_boolean(bodies, m3.OpType.Add)
    lost = (solid - joined).volume()
    spigots, sockets = (sum(getattr(part, what) for part in piece.parts) for what in ("spigots", "sockets"))
    assert spigots == sockets
    assert (joined - solid).volume() < 1e-6 * solid.volume()
    # nothing is missing but the room round each spigot
    widest = bed_split._Seat((0.0, 0.0), bed_split.SPIGOTS[0])
    room_round = bed_split.spigot(widest, 0.0, bed_split.SLACK).volume() - bed_split.spigot(widest, 0.0).volume()
    assert lost <= spigots * room_round + 1e-6 * solid.volume()
    assert sum(part.volume for part in piece.parts) * 1e9 == pytest.approx(solid.volume() - lost, rel=1e-6)
    assert [part.name for part in piece.parts] == [f"bar-{chr(97 + i)}" for i in range(len(piece.parts))]
    assert piece.volume == pytest.approx(solid.volume() * 1e-9)


@settings(max_examples=200, deadline=None)
@given(
    sizes=st.lists(st.tuples(st.floats(1.0, 200.0), st.floats(1.0, 200.0)), max_size=25),
    room=st.tuples(st.floats(200.0, 400.0), st.floats(200.0, 400.0)),
    gap=st.floats(0.0, 8.0),
)
def test_plates_never_overlap_and_stay_on_the_bed(sizes, room, gap):
    out = packed_best(sizes, room, gap)
    assert sorted(spot.number for plate in out for spot in plate) == list(range(len(sizes)))
    for plate in out:
        assert plate
        boxes = []
        for spot in plate:
            wide, deep = sizes[spot.number][::-1] if spot.turned else sizes[spot.number]
            assert spot.x >= 0
            assert spot.y >= 0
            assert spot.x + wide <= room[0] + 0.01
            assert spot.y + deep <= room[1] + 0.01
            boxes.append((spot.x, spot.y, spot.x + wide, spot.y + deep))
        for a, b in combinations(boxes, 2):
            apart = max(a[0] - b[2], b[0] - a[2], a[1] - b[3], b[1] - a[3])
            assert apart >= gap - 0.01
    # never worse than one plate each, and the plates are filled before a new one is begun
    areas = [sum(sizes[s.number][0] * sizes[s.number][1] for s in plate) for plate in out]
    assert len(out) <= 1 or areas[0] + areas[1] > 0.2 * room[0] * room[1]


def test_bodies_on_plates_keep_their_shape_and_distance():
    bed = np.array([0.22, 0.22, 0.25])
    some = [piece_of(box(300, 60, 20), name="long"), piece_of(rod(60, 90, top=50), name="riser"), piece_of(box(120, 80, 15), "pattern", "half", -1.0)]
    pieces = [in_parts(piece, bed) for piece in some]
    made = plates(bodies_of(pieces, bed), bed)
    names = [placed.body.name for plate in made for placed in plate.placed]
    assert sorted(names) == ["half", "long-a", "long-b", "riser"]
    for plate in made:
        boxes = [(p.vertices.min(axis=0), p.vertices.max(axis=0)) for p in plate.placed]
        assert all(low.min() >= -1e-6 and (high <= bed * 1e3 + 1e-3).all() for low, high in boxes)
        assert all(low[2] == pytest.approx(0.0, abs=1e-9) for low, _ in boxes)
        for (a, b), (c, d) in combinations(boxes, 2):
            assert max((a - d)[:2].max(), (c - b)[:2].max()) >= GAP - 0.01
        for placed in plate.placed:
            assert solid_of(Mesh(vertices=placed.vertices * 1e-3, faces=placed.body.faces)).volume() == pytest.approx(placed.body.volume * 1e9)
