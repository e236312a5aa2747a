"""The layout as the room's results, metres in the mould frame."""

from __future__ import annotations

import math

import numpy as np
import shapely

from strickle.base import Array
from strickle.rigging.assembly import Metal3D
from strickle.rigging.gates import THIN, Bar
from strickle.rigging.layout import Layout
from strickle.rigging.result import Basin, Ingate, Neck, Region, Riser, Runner, Sprue, Vent
from strickle.rigging.runner import section_area
from strickle.rigging.sizing import Sizes
from strickle.rigging.solids import Frame
from strickle.rigging.vents import SHORT_OF, WIRE, FlowOff


def sprue(layout: Layout, sizes: Sizes, frame: Frame, top: float) -> Sprue:
    """The sprue as it stands; sizes only, at no place, where none could be placed."""
    if layout.route is None or layout.needs is None:
        return Sprue(top_area=sizes.sprue_top_area, base_area=sizes.sprue_base_area, height=top * 1e-3, at=np.full(2, np.nan))
    return Sprue(
        top_area=math.pi * layout.tip**2 * 1e-6,
        base_area=sizes.sprue_base_area,
        height=(top - layout.needs.cup_depth) * 1e-3,
        at=frame.outward(np.array([*layout.route.sprue, 0.0]))[:2],
    )


def basin(layout: Layout, bodies: list[Metal3D], sizes: Sizes) -> Basin:
    """The basin; sizes only where none could be placed."""
    volume = sum(float(b.solid.volume()) for b in bodies if b.name == "basin") * 1e-9
    cup = layout.route.cup if layout.route is not None else None
    if cup is None:
        return Basin(depth=sizes.basin_depth, width=sizes.basin_width, length=sizes.basin_length, volume=volume)
    return Basin(depth=cup.depth * 1e-3, width=cup.width * 1e-3, length=cup.length * 1e-3, volume=volume)


def runner(layout: Layout, frame: Frame) -> Runner:
    """The runner; an empty line where none could be laid."""
    if layout.route is None or layout.needs is None:
        return Runner(width=0.0, depth=0.0, area=0.0, length=0.0, line=np.empty((0, 2)))
    needs, line = layout.needs, layout.route.line
    flat = np.column_stack([line, np.zeros(len(line))])
    return Runner(
        width=2e-3 * needs.radius,
        depth=1e-3 * needs.depth,
        area=section_area(needs.radius, needs.depth) * 1e-6,
        length=float(shapely.LineString(line).length) * 1e-3,
        line=frame.outward(flat)[:, :2],
    )


def speeds(layout: Layout, sizes: Sizes) -> float:
    """Highest metal speed [m/s] in the ingates as built: the design speed over the sections really made."""
    built = sum(bar.section for bar in layout.bars) * 1e-6
    return sizes.gate_speed * sizes.ingate_area / built if built else math.nan


def bears(bar: Bar, sizes: Sizes) -> float:
    """Speed [m/s] that metal in this ingate bears without tearing its skin."""
    return sizes.thin_speed if bar.height <= THIN else sizes.critical_speed


def ingates(layout: Layout, sizes: Sizes, frame: Frame) -> tuple[Ingate, ...]:
    """The ingates as built."""
    speed = speeds(layout, sizes)
    return tuple(
        Ingate(
            name=f"ingate-{n}",
            at=frame.outward(bar.joint),
            area=bar.section * 1e-6,
            width=bar.width * 1e-3,
            height=bar.height * 1e-3,
            half="cope" if bar.side > 0 else "drag",
            speed=speed,
            critical=bears(bar, sizes),
            fall=bar.fall * 1e-3,
            asked=bar.asked * 1e-6,
            contact=bar.contact * 1e-6,
        )
        for n, bar in enumerate(layout.bars, start=1)
    )


def risers(layout: Layout, frame: Frame, top: float) -> tuple[Riser, ...]:
    """The risers as built."""
    out = []
    for n, s in enumerate(layout.stands, start=1):
        around = math.pi * s.width if s.kind == "top" else 2.0 * (s.width + s.tall)
        neck = Neck(
            width=s.width * 1e-3,
            height=(s.length if s.kind == "top" else s.tall) * 1e-3,
            length=s.length * 1e-3,
            modulus=s.section / around * 1e-3,
            area=s.section * 1e-6,
            asked=s.asked * 1e-6,
            contact=s.contact * 1e-6,
            at=frame.outward(s.joint),
        )
        volume = float(s.body.volume()) + (float(s.drag.volume()) if s.drag is not None else 0.0)
        out.append(
            Riser(
                name=f"riser-{n}",
                kind=s.kind,
                spot=s.spot.number,
                at=frame.outward(np.array([*s.at, s.foot])),
                diameter=2e-3 * s.radius,
                height=(top - s.foot) * 1e-3,
                modulus=s.modulus * 1e-3,
                volume=volume * 1e-9,
                neck=neck,
            )
        )
    return tuple(out)


def vents(pricked: list[Array], flow: FlowOff | None, frame: Frame) -> tuple[Vent, ...]:
    """Pricked vents and the flow-off."""
    out = [
        Vent(name=f"vent-{n}", kind="pricked", at=frame.outward(at), diameter=WIRE * 1e-3, to_metal=SHORT_OF * 1e-3)
        for n, at in enumerate(pricked, start=1)
    ]
    if flow is not None:
        out.append(
            Vent(
                name="flow-off-1",
                kind="flow-off",
                at=frame.outward(flow.at),
                diameter=2e-3 * flow.radius,
                asked=flow.asked * 1e-6,
                contact=flow.contact * 1e-6,
            )
        )
    return tuple(out)


def regions(bodies: list[Metal3D], frame: Frame) -> tuple[Region, ...]:
    """Each metal body with its name and kind."""
    return tuple(Region(name=b.name, kind=b.kind, mesh=frame.mesh(b.solid)) for b in bodies)
