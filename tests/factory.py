"""Parts, patterns and moulds made in code for the rigging's tests: millimetre solids with made-up hot spots, mould frame from the start."""

from __future__ import annotations

import manifold3d as m3
import numpy as np

import melt_shop
from strickle.base import Mesh, Span
from strickle.mould import FlaskChosen, Mould
from strickle.part import HotSpot, Part
from strickle.pattern import Pattern

a356, kit, stores = melt_shop.a356, melt_shop.kit, melt_shop.stores


def mesh_of(solid: m3.Manifold) -> Mesh:
    """A millimetre manifold as a mesh in metres."""
    got = solid.to_mesh64()
    return Mesh(vertices=got.vert_properties[:, :3] / 1e3, faces=np.asarray(got.tri_verts, dtype=np.int64))


def spot(at, radius: float, needs: bool = True, why: str = "loss is worth feeding", modulus: float | None = None) -> HotSpot:
    """A hot spot at ``at`` [mm] with a ball of ``radius`` [mm]."""
    ball = radius * 1e-3
    m = 0.6 * ball if modulus is None else modulus * 1e-3
    return HotSpot(at=np.asarray(at, float) / 1e3, time=60.0, modulus=m, radius=ball, saddle=0.0, needs_feed=needs, why=why, loss=0.0004)


def part_of(solid: m3.Manifold, spots: tuple[HotSpot, ...] = (), wall: float = 4.0) -> Part:
    """A part of a millimetre solid, walls as told."""
    mesh = mesh_of(solid)
    volume, area = solid.volume() * 1e-9, solid.surface_area() * 1e-6
    return Part(
        file="made.stl",
        unit="mm",
        body="only",
        mesh=mesh,
        extents=mesh.vertices.max(axis=0) - mesh.vertices.min(axis=0),
        volume=volume,
        area=area,
        triangles=len(mesh.faces),
        watertight=True,
        mended_volume_change=0.0,
        least_wall=wall * 1e-3,
        median_wall=wall * 1e-3,
        least_wall_at=np.zeros(3),
        face_wall=np.full(len(mesh.faces), wall * 1e-3),
        modulus=volume / area,
        hot_spots=spots,
        bare_times=np.zeros((1, 1, 1)),
        bare_cell=0.002,
        bare_origin=np.zeros(3),
    )


def pattern_of(part: Part, parting: float = 0.0, turn=None, shift=(0.0, 0.0), grow: float = 1.0) -> Pattern:
    """The part parted at ``parting`` [mm] along its z after ``turn``; moved in plan by ``shift`` [mm]."""
    turn = np.eye(3) if turn is None else np.asarray(turn, float)
    move = np.array([shift[0] / 1e3, shift[1] / 1e3, -parting / 1e3 * grow])
    corners = grow * (part.mesh.vertices @ turn.T) + move
    scale = np.full(3, float(grow))
    return Pattern(
        draw=turn.T @ np.array([0.0, 0.0, 1.0]),
        turn=turn,
        shift=move,
        scale=scale,
        print_scale=scale,
        parting_level=parting / 1e3,
        undercut_volume=0.0,
        undercut_faces=(),
        undrafted_area=0.0,
        face_draft=np.zeros(len(part.mesh.faces)),
        contraction=Span(value=grow - 1.0, low=grow - 1.0, high=grow - 1.0),
        measure=0.1,
        measure_part=0.1,
        measure_axis="length",
        cavity=Mesh(vertices=corners, faces=part.mesh.faces),
        cope_depth=max(float(corners[:, 2].max()), 0.0),
        drag_depth=max(float(-corners[:, 2].min()), 0.0),
        pieces=(),
    )


def mould_of(pattern: Pattern, around: float = 110.0, over: float = 50.0, under: float = 45.0, cope: float | None = None) -> Mould:
    """A flask with ``around`` mm of room beside the part in plan and sand over and under it."""
    low, high = pattern.cavity.vertices.min(axis=0), pattern.cavity.vertices.max(axis=0)
    box = np.array(
        [
            low[0] - around / 1e3,
            high[0] + around / 1e3,
            low[1] - around / 1e3,
            high[1] + around / 1e3,
            -max(pattern.drag_depth, 0.022) - under / 1e3,
            max(pattern.cope_depth + over / 1e3, 0.065) if cope is None else cope / 1e3,
        ]
    )
    side = 0.03
    return Mould(
        kind="two-part",
        flask=FlaskChosen(name="test flask", length=box[1] - box[0], width=box[3] - box[2], cope=box[5], drag=-box[4]),
        box=box,
        side_margin=side,
        deep_margin=0.03,
        between_margin=0.012,
        room_for_rigging=np.array([box[0] + side, box[1] - side, box[2] + side, box[3] - side, box[4] + 0.015, box[5]]),
        sand="oil-bonded",
        sand_name="oil-bonded sand",
        sand_conductivity=0.6,
        sand_density=1600.0,
        sand_heat=1080.0,
        contact=600.0,
        bodies=(),
    )


def rigged(solid: m3.Manifold, *, parting: float = 0.0, spots: tuple[HotSpot, ...] = (), wall: float = 4.0, ask=None, **how):
    """The rigging of a millimetre solid, with its part, pattern and mould."""
    from strickle.base import quiet
    from strickle.rigging import RiggingAsk
    from strickle.rigging.steps import rig

    part = part_of(solid, spots, wall)
    pattern = pattern_of(part, parting, **{k: how.pop(k) for k in ("turn", "shift", "grow") if k in how})
    mould = mould_of(pattern, **how)
    return rig(part, pattern, mould, a356(), stores(), ask or RiggingAsk(), quiet), part, pattern, mould


def box(x: float, y: float, z: float, low: float = 0.0) -> m3.Manifold:
    """A block centred in plan, from ``low`` up."""
    return m3.Manifold.cube((x, y, z)).translate((-x / 2, -y / 2, low))


def dumb_bell() -> m3.Manifold:
    """Two balls of 40 mm on a bar of 12 mm."""
    balls = [m3.Manifold.sphere(20.0, 64).translate((x, 0, 0)) for x in (-45.0, 45.0)]
    return balls[0] + balls[1] + m3.Manifold.cylinder(90.0, 6.0, 6.0, 48).rotate((0, 90, 0)).translate((-45, 0, 0))
