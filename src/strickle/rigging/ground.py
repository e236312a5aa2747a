"""Ground beside the part on which no rigging may lie: a crooked joint off its level, and prints of cores. Millimetres of the room's frame."""

from __future__ import annotations

import numpy as np
import shapely

from strickle.base import Array, Finding, Margin, Where, tell
from strickle.pattern import Core, Pattern
from strickle.rigging.assembly import Metal3D
from strickle.rigging.body import Plan
from strickle.rigging.solids import MM, Frame

TOUCH = 1.0  # mm3
ROUND = 6.0  # mm of sand between the print of a core and what is laid beside it
LEVEL = 0.05  # mm off the flask's joint that the formers bridge


def closed(pattern: Pattern, frame: Frame) -> Plan:
    """Plan on which nothing may lie; empty where the joint is flat and there is no core."""
    return shapely.unary_union([_crooked(pattern, frame), *(_print(core, frame) for core in pattern.cores)])


def _print(core: Core, frame: Frame) -> Plan:
    """Plan of a core, with sand round it."""
    flat = frame.inward(core.mesh.vertices)[:, :2]
    return shapely.unary_union([shapely.Polygon(ring) for ring in flat[core.mesh.faces]]).buffer(ROUND)


def _crooked(pattern: Pattern, frame: Frame) -> Plan:
    """Plan of the joint off its level, a node of it and more all round; empty where the joint is flat."""
    sheet = pattern.sheet
    if sheet is None:
        return shapely.Polygon()
    off = np.abs(sheet.height) * MM > LEVEL
    if not off.any():
        return shapely.Polygon()
    x, y = (line * MM - shift * MM for line, shift in ((sheet.x, frame.shift[0]), (sheet.y, frame.shift[1])))
    step = float(x[1] - x[0])
    runs = [box for i in np.flatnonzero(off.any(axis=1)) for box in _runs(off[i], float(x[i]), y, step)]
    return shapely.unary_union(shapely.box(*np.array(runs).T)).simplify(0.5 * step)


def _runs(row: Array, at: float, y: Array, step: float) -> list[tuple[float, float, float, float]]:
    """Boxes over the stretches of one line of nodes that are off level."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], row, [False]]).astype(int)))
    return [(at - step, float(y[a]) - step, at + step, float(y[b - 1]) + step) for a, b in zip(edges[::2], edges[1::2])]


def in_way(pattern: Pattern, frame: Frame, bodies: list[Metal3D]) -> tuple[Finding, ...]:
    """Rigging that runs into a core."""
    out = []
    for core in pattern.cores:
        solid = frame.solid(core.mesh)
        met = [b.name for b in bodies if float((b.solid ^ solid).volume()) > TOUCH]
        if met:
            cut = sum(float((b.solid ^ solid).volume()) for b in bodies) * 1e-9
            out.append(
                Finding(
                    code="rigging.print_in_way",
                    weight="STOP",
                    says=f"{', '.join(met)} {'runs' if len(met) == 1 else 'run'} into {core.name}",
                    because=f"{tell(cut, 'm3')} of the core lies where metal shall flow",
                    do="Give another side to be up, or another answer to the place with --undercuts",
                    where=Where(body=core.name),
                    margin=Margin(value=cut / core.volume, unit="1", of="core that rigging runs into over the whole core"),
                )
            )
    return tuple(out)
