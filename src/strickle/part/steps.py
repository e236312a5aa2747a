"""Examine the part: read, choose, mend, measure walls, freeze it bare."""

from __future__ import annotations

import math

import numpy as np

from strickle.base import BadInput, Mesh, Source, Watch, closed
from strickle.metal import Metal
from strickle.part import choose, formats, health, hotspots
from strickle.part.ask import PartAsk
from strickle.part.findings import Facts, findings_of
from strickle.part.health import Body
from strickle.part.measure import area_of
from strickle.part.raw import Bore
from strickle.part.result import Hole, Part
from strickle.part.walls import walls
from strickle.stores import Stores

COUNTS = 0.1  # share of the volume that the triangles as read must count, or they tell nothing to compare with
TWICE_REDRAWN = 0.02  # share of the metal counted twice or inside out from which a body is drawn anew


def examine(ask: PartAsk, metal: Metal, stores: Stores, watch: Watch) -> Part:
    """The part as it will be cast: closed mesh in metres, walls and hot spots, with what had to be assumed or mended as findings.

    Raises BadInput for a file that cannot be used and MissingChoice where the unit or the body must be chosen.
    """
    watch(0.0, "reading the part")
    raws = formats.read(ask.data, ask.name)
    found = health.bodies(raws, ask.name)
    unit, scale = raws[0].unit, raws[0].scale
    listed = choose.METRES.get(ask.unit or "", scale) if math.isnan(scale) else scale
    body = choose.body_of(found, ask.body, ask.name, listed)
    reading = choose.unit_of(body, unit, scale, ask.unit, metal.density_cold, ask.name)
    watch(0.05, "looking through the mesh")
    body, overlap = _untwined(body, ask.name, watch)
    vertices = closed(body.vertices * reading.scale, np.float64)
    faces = closed(body.faces, np.int32)
    watch(0.1, "measuring walls")
    wall = walls(vertices, faces)
    volume, area = body.volume * reading.scale**3, area_of(vertices, faces)
    watch(0.3, "freezing the bare part")
    own = hotspots.setting(metal, stores, ask.sand)
    cell = hotspots.bare_cell(vertices, faces, volume, wall, ask.cells)
    bare = hotspots.bare_freeze(vertices, faces, volume, area, cell, own, watch)
    watch(0.9, "judging late places")
    spots = hotspots.hot_spots(vertices, faces, bare, wall.median, own, hotspots.plate_modulus(own))
    extents = np.ptp(vertices, axis=0)
    touched = bool(body.mended) or body.deep != health.Deep()
    counts = abs(body.volume_read) > COUNTS * body.volume
    change = (body.volume / abs(body.volume_read) - 1.0 if counts else float("nan")) if touched else 0.0
    facts = Facts(ask.name, body, reading, extents, change, wall, spots, overlap, bare.status, vertices)
    return Part(
        file=ask.name,
        unit=reading.unit,
        body=body.name,
        mesh=Mesh(vertices=vertices, faces=faces),
        extents=extents,
        volume=volume,
        area=area,
        triangles=len(faces),
        watertight=True,
        mended_volume_change=change,
        least_wall=wall.least,
        median_wall=wall.median,
        least_wall_at=wall.least_at,
        face_wall=wall.face,
        modulus=volume / area,
        hot_spots=spots,
        bare_times=bare.times,
        bare_cell=bare.cell,
        bare_origin=bare.origin,
        holes=tuple(_hole(bore, reading.scale) for bore in body.holes),
        findings=findings_of(facts, metal, stores),
        sources=_sources(own.sources, metal, stores),
    )


def _sources(used: tuple[Source, ...], metal: Metal, stores: Stores) -> tuple[Source, ...]:
    """The data of the bare freeze and the least section, each source once."""
    least = stores.constants.get(f"section.min_{metal.family}_sand")
    more = (stores.sources[least.source],) if least is not None and least.source in stores.sources else ()
    return tuple({source.key: source for source in (*used, *more)}.values())


def _hole(bore: Bore, scale: float) -> Hole:
    return Hole(at=bore.at * scale, axis=bore.axis, radius=bore.radius * scale, depth=bore.depth * scale, through=bore.through)


def _untwined(body: Body, file: str, watch: Watch) -> tuple[Body, float]:
    """The body, drawn anew if more than a little of it is enclosed twice or inside out; and the share of its metal that still is.

    Raises BadInput where its windings do not tell what is metal.
    """
    share, axis = _overlap(body, file, watch)
    if share <= TWICE_REDRAWN:
        return body, share
    made = health.unravelled(body, file)
    if made is None or (left := _overlap(made, file, watch)[0]) > TWICE_REDRAWN:
        raise BadInput(
            f"{file}: {body.name} runs through itself: {100.0 * share:.3g} % of its metal along {'xyz'[axis]} is enclosed twice or inside out",
            "Unite its shapes into one solid in the program that made the mesh",
        )
    return made, left


def _overlap(body: Body, file: str, watch: Watch) -> tuple[float, int]:
    """Share of the metal that the mesh encloses twice or inside out, by columns along each axis; and the axis that shows most of it."""
    from strickle.kernels import raster

    worst, where = 0.0, 0
    for axis in range(3):
        watch(0.05 + 0.015 * axis, "looking through the mesh")
        turned = body.vertices[:, [(axis + 1) % 3, (axis + 2) % 3, axis]]
        low, high = turned.min(axis=0), turned.max(axis=0)
        cell = float((high - low)[:2].max()) / 200.0
        count = np.ceil((high - low)[:2] / cell).astype(int) + 1
        start, z, sign, _ = raster.columns(turned, body.faces, low, cell, int(count[0]), int(count[1]))
        leaks, metal, twice, inverted = raster.windings(start, z, sign)
        if leaks:
            raise BadInput(f"{file}: {body.name} is not closed ({leaks} lines through it enter metal and never leave)", "Repair the mesh")
        share = (twice + inverted) / max(metal, 1e-300)
        if share > worst:
            worst, where = share, axis
    return worst, where
