"""Cores and loose pieces as the rest of the program has them: records with their figures, and printed pieces. From millimetres to metres."""

from __future__ import annotations

import manifold3d
import numpy as np

from strickle.base import Array, Mesh, Piece, tell
from strickle.pattern import chamber, core_way
from strickle.pattern.answers import Answered, Made, vent_width
from strickle.pattern.core import Core, Loose
from strickle.pattern.halves import ORDER
from strickle.pattern.mend import mended
from strickle.pattern.readable import written
from strickle.pattern.rules import constant
from strickle.pattern.undercut import plain
from strickle.stores import Stores

MEDIA = {"silicate": "silicate sand, gassed", "resin": "resin-bonded sand", "oil-baked": "sand with drying oil, baked"}
AFTER = 20  # loose pieces follow every body of their half
BOXED = 90


def cores(answered: Answered, medium: str, stores: Stores, vent: float) -> tuple[Core, ...]:
    """Records of the cores, in the order they are set: the largest first."""
    return tuple(_core(made, number, medium, stores, vent) for number, made in enumerate(answered.cores, start=1))


def _core(made: Made, number: int, medium: str, stores: Stores, share: float) -> Core:
    body, box = made.body, made.box
    density, tensile, gas = (constant(stores, f"core.{medium}.{what}").value for what in ("density", "tensile", "gas"))
    volume = float(body.made.volume()) * 1e-9
    vertices, faces = written(body.made, free=True)
    place, prints = body.place, body.prints
    lies = "upright" if place.upright else "round" if place.is_open else "across"
    width, span = core_way.width(body), core_way.span(body)
    wide = vent_width(body, share)
    return Core(
        name=f"core-{number}",
        lies=lies,
        at=place.told.at * 1e-3,
        mesh=Mesh(vertices=vertices * 1e-3, faces=faces),
        volume=volume,
        metal_volume=body.inside * 1e-9,
        buoyant_volume=(chamber.widening(place) if place.upright else body.inside) * 1e-9,
        mass=volume * density,
        prints=len(prints),
        print_length=min((one.length for one in prints), default=0.0) * 1e-3,
        clearance=body.clearance * 1e-3,
        clearance_volume=max(float(body.room.volume()) * 1e-9 - volume, 0.0),
        bearing=body.bearing * 1e-6,
        width=width * 1e-3,
        span=span * 1e-3,
        slenderness=span / width if width > 0 else 0.0,
        medium=medium,
        medium_name=MEDIA[medium],
        density=density,
        tensile=tensile,
        gas_volume=volume * gas,
        vent=wide * 1e-3,
        vent_way=_vent_way(made, wide) * 1e-3,
        box=tuple(f"core-box-{number}-{letter}" for letter in "ab"),
        rammed="end" if box.opening is not None else "halves",
        set_order=number,
    )


def _vent_way(made: Made, wide: float) -> Array:
    """Ends of the vent (2, 3) [mm]: through the core, or from its print to short of its tip; (0, 3) where none is led."""
    prints = made.body.prints
    if wide == 0.0:
        return np.zeros((0, 3))
    first = max(core_way.rod_ends(prints) or prints, key=lambda one: one.thick) if made.box.opening is None else made.box.opening
    other = next((one for one in prints if core_way.facing(one, first)), None)
    if other is not None:
        return np.array([first.at, first.at - first.out * (first.reach + other.reach)])
    deep = float(first.reach - (plain(made.body.made)[0] @ first.out).min()) - 0.5 * first.thick
    return np.array([first.at, first.at - first.out * max(deep, 0.0)])


def loose(answered: Answered) -> tuple[Loose, ...]:
    """Records of the loose pieces."""
    out = []
    for number, piece in enumerate(answered.loose, start=1):
        low_high = np.array(piece.solid.bounding_box())
        out.append(
            Loose(
                name=f"loose-piece-{number}",
                half="cope" if piece.side > 0 else "drag",
                at=(low_high[:3] + low_high[3:]) / 2 * 1e-3,
                moved=piece.away + 0.0,
                travel=piece.travel * 1e-3,
                volume=float(piece.solid.volume()) * 1e-9,
            )
        )
    return tuple(out)


def pieces(answered: Answered, records: tuple[Core, ...], grown: Array, error: float) -> tuple[Piece, ...]:
    """Printed loose pieces and boxes; ``grown`` scales loose pieces along x, y, z as the halves are, ``error`` is the print's own."""
    out = []
    for number, piece in enumerate(answered.loose, start=1):
        travel = tell(piece.travel * 1e-3, "m")
        out.append(
            _piece(
                f"loose-piece-{number}", "loose piece", "cope" if piece.side > 0 else "drag", piece.solid.scale(tuple(float(x) for x in grown)),
                piece.away, ORDER["cope" if piece.side > 0 else "drag"] + AFTER - 1,
                f"Keyed to its half while sand is rammed, stays in the sand when that is drawn; then moved {travel} into the hollow and lifted out;"
                " do not glue it",
            )
        )  # fmt: skip
    for made, record in zip(answered.cores, records):
        for part, name in zip(made.box.parts, record.box):
            out.append(_piece(name, "core box", "both", part.solid.scale((1.0 + error,) * 3), part.draw, BOXED, _note(record, made.box.aslant)))
    return tuple(out)


def _note(core: Core, aslant: bool) -> str:
    """How a box is filled and opened."""
    way = {"end": "closed on two pins and rammed through its open end", "halves": "each part rammed by itself, struck off, closed on the other"}
    if core.vent == 0 or core.rammed != "end":
        rod = "; a vent is scratched into the parting before the parts are closed"
    else:
        rod = f"; a rod of {tell(core.vent, 'm')} for the vent is drawn out before the box is opened"
    off = "both parts slid off along the slant of the box's ends, not square to the parting" if aslant else "drawn straight off both ways"
    return f"Box of {core.name}: {way[core.rammed]}{rod}; then {off}."


def _piece(name: str, role: str, half: str, solid: manifold3d.Manifold, draw: Array, order: int, note: str) -> Piece:
    clean, _ = mended(solid, 0.0)
    vertices, faces = written(clean, free=True)
    return Piece(
        name=name,
        role=role,
        half=half,
        mesh=Mesh(vertices=vertices * 1e-3, faces=faces),
        draw=np.asarray(draw) + 0.0,
        order=order,
        volume=float(clean.volume()) * 1e-9,
        extents=np.ptp(vertices, axis=0) * 1e-3,
        note=note,
    )
