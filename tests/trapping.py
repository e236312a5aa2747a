"""Sand that printed pieces drag along: each moved along its draw, cut with the sand rammed round all of them. Millimetres."""

from __future__ import annotations

import manifold3d as m3
import numpy as np

from strickle.pattern.bed import is_whole
from strickle.pattern.field import Field, block

LIFTS = (1.0, 5.0)
ADD = m3.OpType.Add
HAIR = 1e-5
"""mm by which each half's sand is drawn back from a crooked joint: where the metal ends exactly on its facets, and a corner is off by its last
digit, the solid library (manifold3d 3.5) gives slivers of up to 0.1 mm3 that are not there. From 1e-5 to 1e-3 mm the sand found is the same."""


def solid_of(mesh) -> m3.Manifold:
    made = m3.Manifold(m3.Mesh64(np.ascontiguousarray(mesh.vertices * 1e3), np.ascontiguousarray(mesh.faces, dtype=np.uint64)))
    assert made.status() == m3.Error.NoError
    return made


def rooms(box, sheet, over) -> dict[str, m3.Manifold]:
    """Cope and drag of a flask ``box`` (6,) [m]; ``over`` (3,) print scale over cavity scale."""
    x0, x1, y0, y1, z0, z1 = np.asarray(box) * 1e3
    if sheet is None:
        return {
            "drag": m3.Manifold.cube((x1 - x0, y1 - y0, -z0)).translate((x0, y0, z0)),
            "cope": m3.Manifold.cube((x1 - x0, y1 - y0, z1)).translate((x0, y0, 0.0)),
        }
    free, inside = np.full(sheet.height.shape, np.inf), np.zeros((len(sheet.x) - 1, len(sheet.y) - 1), dtype=bool)
    x, y, high = sheet.x * 1e3, sheet.y * 1e3, sheet.height * 1e3
    wide = np.array([x0, x1, y0, y1, z0, z1])
    out = {}
    for name, side in (("drag", -1.0), ("cope", 1.0)):
        field = Field(float(x[1] - x[0]), x, y, high + side * HAIR, -free, free, inside)
        out[name] = block(field, wide, side).scale(tuple(float(s) for s in over))
    return out


def trapped(pieces, metal, box, sheet=None, over=(1.0, 1.0, 1.0), travels=None) -> dict[str, float]:
    """Most sand [mm3] each piece that sand is rammed round drags along at 1 mm, 5 mm and its full depth.

    The sand is the flask less the ``metal`` (meshes that hold the pattern) and less formers, prints and loose pieces. A loose piece is moved
    as far as its ``travels`` [mm] by name, then out through the joint. Blind holes for dowels and screws open on the joint, within the metal,
    and no sand comes into them, nor into those on top of a whole pattern, which are stopped. From a whole pattern the cope is lifted first.
    """
    own = [p for p in pieces if p.touches_sand and p.half in ("cope", "drag")]
    solids = {p.name: solid_of(p.mesh) for p in own}
    assert len(solids) == len(own)
    # halves of the pattern are the metal but for a few millionths; two faces so near each other are more than the solid library can unite.
    # A follow board lies where the cope's sand comes when it is gone.
    rest = [solids[p.name] for p in own if p.role not in ("pattern", "board")]
    every = m3.Manifold.batch_boolean([*rest, *(solid_of(mesh) for mesh in metal)], ADD)
    sand = {name: room - every for name, room in rooms(box, sheet, over).items()}
    out = {}
    for piece in own:
        solid = solids[piece.name]
        if piece.name in (travels or {}):
            out[piece.name] = _followed(solid, piece, travels[piece.name], sand[piece.half])
            continue
        deep = float(np.abs(np.ptp(piece.mesh.vertices, axis=0) @ np.abs(piece.draw))) * 1e3 + 0.1
        ways = [(piece.draw, sand[piece.half])] + ([(-piece.draw, sand["cope"])] if is_whole(piece) else [])
        out[piece.name] = max(float((solid.translate(tuple(way * lift)) ^ room).volume()) for way, room in ways for lift in (*LIFTS, deep))
    return out


def _followed(solid, piece, travel, sand) -> float:
    """Sand [mm3] that a loose piece cuts on its way: sideways into the hollow that its half has left, then out through the joint."""
    side = 1.0 if piece.half == "drag" else -1.0
    beside = [solid.translate(tuple(piece.draw * lift)) for lift in (*(lift for lift in LIFTS if lift < travel), travel)]
    deep = float(np.ptp(piece.mesh.vertices[:, 2])) * 1e3 + float(np.abs(piece.mesh.vertices[:, 2]).max()) * 1e3
    lifted = [beside[-1].translate((0.0, 0.0, side * lift)) for lift in (*LIFTS, deep)]
    return max(float((one ^ sand).volume()) for one in (*beside, *lifted))
