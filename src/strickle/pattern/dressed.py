"""The raw casting in the mould: faces without draft, centre marks, and what is written down of holes, stock and tolerance."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from typing import Any

import manifold3d
import numpy as np

from strickle.base import Array, Finding
from strickle.metal import Metal
from strickle.part import Part
from strickle.pattern.ask import PatternAsk
from strickle.pattern.centres import Centred, centred, level, moved
from strickle.pattern.crooked import heights
from strickle.pattern.faces import Raw
from strickle.pattern.faces_says import told, toleranced
from strickle.pattern.good import Good, good
from strickle.pattern.lay import Laid
from strickle.pattern.result import DrilledHole, StockedFace
from strickle.pattern.stock import tolerance
from strickle.pattern.works import Joint


def cast(part: Part, own: Raw) -> Part:
    """The part as it is cast: its mesh with holes filled and stock laid on. Walls and hot spots are those of the part."""
    if own.mesh is part.mesh:
        return part
    return dataclasses.replace(
        part,
        mesh=own.mesh,
        volume=part.volume + (own.filled + own.stock) * 1e-9,
        extents=np.ptp(own.mesh.vertices, axis=0),
        triangles=len(own.mesh.faces),
    )


def marked_good(own: Raw, part: Part) -> Good:
    """The faces marked good, as they are on the part."""
    chosen = [one.faces for one in own.marked if one.kind == "good"]
    return good(part.mesh.vertices[part.mesh.faces[np.concatenate(chosen)]] if chosen else np.zeros((0, 3, 3)))


def shift(laid: Laid) -> Array:
    """From the turned and scaled part to the mould [m], the stock of an open face's back counted."""
    return np.asarray(laid.shift - laid.scale * np.array([0.0, 0.0, laid.stock]))


def upright(own: Raw, laid: Laid) -> Array | None:
    """Triangles (k, 3, 3) [mm] of the faces that get no draft, in the mould; None where there are none."""
    return laid.scale * (own.kept @ laid.turn.T) + shift(laid) * 1e3 if len(own.kept) else None


def with_centres(drawn: manifold3d.Manifold, own: Raw, laid: Laid, joint: Joint | None) -> Centred:
    """Centre marks on what the sand is rammed round, where they draw."""
    return centred(drawn, [moved(own.holes[i], laid.turn, laid.scale, shift(laid)) for i in own.drilled], _parting(joint))


def _parting(joint: Joint | None) -> Callable[[float, float], float]:
    """Height [mm] of the joint over a place in plan."""
    if joint is None:
        return level
    return lambda x, y: float(heights(joint.sheet, np.array([x]), np.array([y]))[0])


def written(own: Raw, laid: Laid, part: Part, centres: Centred) -> dict[str, Any]:
    """The fields of the pattern that tell of holes, stock and tolerance."""
    size = float(laid.scale.prod())
    drilled = [
        DrilledHole(at=h.at * 1e-3, axis=h.axis + 0.0, diameter=2e-3 * h.radius, depth=h.depth * 1e-3, through=h.through, centre=has)
        for h, has in zip((own.holes[i] for i in own.drilled), centres.marked, strict=True)
    ]
    stocked = [
        StockedFace(name=one.name, shape=one.shape, at=one.at * 1e-3, axis=one.normal + 0.0, stock=by.total, area=one.area * 1e-6)
        for one, by in own.stocked
    ]
    return {
        "holes_filled": own.filled * 1e-9 * size - centres.volume * 1e-9,
        "drilled": tuple(drilled),
        "stock_volume": own.stock * 1e-9 * size,
        "stocked": tuple(stocked),
        "tolerance_grade": float(own.grade.grade),
        "tolerance": tolerance(float(part.extents.max()), own.grade),
    }


def findings(own: Raw, part: Part, metal: Metal, ask: PatternAsk, marked: Sequence[bool]) -> list[Finding]:
    """What is told of holes, stock and tolerance."""
    length = float(part.extents.max())
    return [*told(own, marked, ask.holes), toleranced(own.grade, length, tolerance(length, own.grade), metal.family)]
