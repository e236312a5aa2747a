"""Chills and insulating sleeves: blocks in the sand against the metal, cut to its surface. Millimetres of the room's frame."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import manifold3d as m3
import numpy as np

from strickle.base import Array, BadInput, Finding, Margin, Mesh, tell
from strickle.pattern import Pattern
from strickle.rigging.ask import Chill, RiggingAsk
from strickle.rigging.assembly import Metal3D
from strickle.rigging.layout import Layout
from strickle.rigging.report import Back
from strickle.rigging.result import ChillSet, Region, Sleeve
from strickle.rigging.risers import Stand
from strickle.rigging.solids import MM, REACH, RISER_DRAFT, Frame, Solid, around, contact, frustum, unite
from strickle.stores import Stores

MATERIALS = ("steel", "graphite")
LEAST, MOST = 3.0, 200.0
"""mm of a chill's edge and thickness, and of a sleeve's wall: what lies outside is a slip of the pen."""
ASTRAY = 10.0
"""mm from the part's surface at which a place is no longer taken as meant on it."""
BEHIND = 0.3
"""of its edge, how far a surface may fall away under the block and still be followed by it."""
RAYS = 9
"""along each edge of a chill, to see how the surface falls away under it."""
SAND_LEFT = 5.0
"""mm of sand behind a chill, at least."""


@dataclass(slots=True, eq=False)
class Laid:
    """What lies in the sand: records, regions and what is to be said of it."""

    chills: tuple[ChillSet, ...]
    sleeves: tuple[Sleeve, ...]
    regions: tuple[Region, ...]
    findings: tuple[Finding, ...]


@dataclass(slots=True, eq=False)
class Sand:
    """Where inserts are laid: the pattern, the solids they are cut by, and the flask's inside [mm] x0 x1 y0 y1 z0 z1."""

    pattern: Pattern
    frame: Frame
    part: Solid
    casting: Solid
    bodies: list[Metal3D]
    box: Array
    stores: Stores


def check_asked(ask: RiggingAsk) -> None:
    """Raises BadInput for a chill or sleeve that cannot be meant."""
    for chill in ask.chills:
        if chill.material not in MATERIALS:
            raise BadInput(f"the chill {chill.name!r} is of {chill.material!r}, which is not known", f"Give {' or '.join(MATERIALS)}")
        if not np.isfinite(np.asarray(chill.at, dtype=float)).all() or np.shape(chill.at) != (3,):
            raise BadInput(f"the chill {chill.name!r} has no place", "Give three lengths in part coordinates")
        for what, size in (("is not as wide", chill.across), ("is not as thick", chill.thick)):
            if not LEAST <= size * MM <= MOST:
                raise BadInput(f"the chill {chill.name!r} {what} as chills are", f"Give between {tell(LEAST / MM, 'm')} and {tell(MOST / MM, 'm')}")
    if len({chill.name for chill in ask.chills}) < len(ask.chills):
        raise BadInput("two chills have the same name", "Give each a name of its own")
    for wall in (ask.sleeve, *(wish.sleeve for wish in ask.risers)):
        if wall is not None and not LEAST <= wall * MM <= MOST / 4:
            raise BadInput("a sleeve's wall is out of all reason", f"Give between {tell(LEAST / MM, 'm')} and {tell(MOST / 4 / MM, 'm')}")


def lay_in(sand: Sand, layout: Layout, ask: RiggingAsk) -> Laid:
    """Sleeves round the risers that are to have one, then the chills. Raises BadInput for a chill that lies off the part."""
    sleeves, shells = _sleeves(sand, layout, ask)
    chills: list[ChillSet] = []
    blocks: list[Solid] = []
    findings: list[Finding] = []
    if not sleeves and ask.sleeve is not None:
        findings.append(
            Finding(
                code="rigging.sleeve_unused",
                weight="MIND",
                says="A sleeve is asked for, and the mould has no riser to put it round",
                because="a sleeve keeps a riser's metal hot, and this casting is planned without one",
                do="Leave the sleeve out",
            )
        )
    for chill in ask.chills:
        made, block, told = _chill(sand, chill, [*shells, *blocks])
        chills.append(made)
        blocks.append(block)
        findings += told
    regions = [Region(name=f"sleeve-{s.riser.rpartition('-')[2]}", kind="sleeve", mesh=sand.frame.mesh(shell)) for s, shell in zip(sleeves, shells)]
    kinds = {"steel": "chill", "graphite": "graphite"}
    regions += [
        Region(name=one.name, kind=kinds[one.material], mesh=sand.frame.mesh(block))
        for one, block in zip(chills, blocks)
        if not block.is_empty()
    ]  # fmt: skip
    return Laid(tuple(chills), tuple(sleeves), tuple(regions), tuple(findings))


def _sleeves(sand: Sand, layout: Layout, ask: RiggingAsk) -> tuple[list[Sleeve], list[Solid]]:
    walls = {wish.spot: wish.sleeve for wish in ask.risers if wish.sleeve is not None}
    records, shells = [], []
    for n, stand in enumerate(layout.stands, start=1):
        wall = walls.get(stand.spot.number, ask.sleeve)
        if wall is None:
            continue
        shells.append(_shell(stand, wall * MM, float(sand.box[5])) - sand.casting)
        records.append(
            Sleeve(riser=f"riser-{n}", wall=wall, height=(float(sand.box[5]) - stand.foot) / MM, diameter=2.0 * (stand.radius / MM + wall))
        )  # fmt: skip
    return records, shells


def _shell(stand: Stand, wall: float, top: float) -> Solid:
    """The riser's body with a sleeve's wall round it, the riser not yet cut away."""
    tall = top - stand.foot
    return frustum(stand.at[0], stand.at[1], stand.foot, top, stand.radius + wall, stand.radius + wall + tall * math.tan(RISER_DRAFT))


def nearest_skin(mesh: Mesh, point: Array) -> tuple[float, Array, Array]:
    """Distance [m] of ``point`` (3,) to a closed mesh, the point of its surface that is nearest, and the outward normal there."""
    from strickle.kernels import distance

    away, face = distance.nearest(np.asarray(point, dtype=float)[None], mesh.vertices, mesh.faces)
    a, b, c = mesh.vertices[mesh.faces[int(face[0])]]
    normal = np.cross(b - a, c - a)
    normal = normal / max(float(np.linalg.norm(normal)), 1e-300)
    return float(away[0]), np.asarray(point - float((point - a) @ normal) * normal), normal


def _chill(sand: Sand, chill: Chill, others: Sequence[Solid]) -> tuple[ChillSet, Solid, list[Finding]]:
    pattern = sand.pattern
    asked = pattern.scale * (pattern.turn @ np.asarray(chill.at, dtype=float)) + pattern.shift
    away, at, normal = nearest_skin(pattern.cavity, asked)
    if away * MM > ASTRAY:
        raise BadInput(f"the chill {chill.name!r} lies {tell(away, 'm')} from the part", "Give a place on the part's surface, in part coordinates")
    middle, half = sand.frame.inward(at), "cope" if at[2] > 0 or (at[2] == 0 and normal[2] > 0) else "drag"
    across = chill.across * MM
    axes = _axes(normal)
    deep = fallen(sand.frame.inward(pattern.cavity.vertices), pattern.cavity.faces, middle, axes, across) + REACH
    whole = _block(middle, axes, across, chill.thick * MM, deep)
    whole = whole.trim_by_plane((0.0, 0.0, 1.0 if half == "cope" else -1.0), 0.0)
    bodies = (whole - unite([around(sand.casting, whole), *others])).decompose()
    block = max(bodies, key=lambda b: b.volume(), default=m3.Manifold())
    share = float(block.volume()) / (across * across * chill.thick * MM)
    density = sand.stores.constants[f"chill.{chill.material}_density"].value
    made = ChillSet(
        name=chill.name,
        material=chill.material,
        at=at,
        at_part=np.asarray(chill.at, dtype=float),
        across=chill.across,
        thick=chill.thick,
        half=half,
        contact=contact(around(sand.part, whole), whole) / MM**2,
        mass=float(block.volume()) / MM**3 * density,
    )
    return made, block, list(_judged(sand, made, block, share))


def _axes(normal: Array) -> Array:
    """Columns: two directions along the surface and its normal."""
    side = np.cross((0.0, 0.0, 1.0) if abs(normal[2]) < 0.9 else (0.0, 1.0, 0.0), normal)
    side = side / np.linalg.norm(side)
    return np.column_stack([side, np.cross(normal, side), normal])


def _block(middle: Array, axes: Array, across: float, thick: float, deep: float) -> Solid:
    """A square block on the place ``middle``, ``thick`` along the normal and reaching ``deep`` behind it."""
    cube = m3.Manifold.cube((across, across, thick + deep)).translate((-across / 2, -across / 2, -deep))
    return cube.transform(np.column_stack([axes, middle]))


def fallen(vertices: Array, faces: Array, middle: Array, axes: Array, across: float) -> float:
    """How far [mm] the surface falls away under a square block laid on it, as far as the block follows: rays along the normal see it."""
    local = (vertices - middle) @ axes
    a, b, c = (local[faces[:, i]] for i in range(3))
    near = (np.minimum(np.minimum(a, b), c)[:, :2] < across / 2).all(axis=1) & (np.maximum(np.maximum(a, b), c)[:, :2] > -across / 2).all(axis=1)
    a, b, c = a[near], b[near], c[near]
    one, two = b - a, c - a
    turn = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    facing = turn > 1e-12
    a, one, two, turn = a[facing], one[facing], two[facing], turn[facing]
    line = (np.arange(RAYS) + 0.5) / RAYS * across - across / 2
    most = 0.0
    for x in line:
        for y in line:
            u = ((x - a[:, 0]) * two[:, 1] - (y - a[:, 1]) * two[:, 0]) / turn
            v = ((y - a[:, 1]) * one[:, 0] - (x - a[:, 0]) * one[:, 1]) / turn
            hit = (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0)
            heights = (a[:, 2] + u * one[:, 2] + v * two[:, 2])[hit]
            under = -heights[heights <= 1e-6]
            if under.size and under.min() <= BEHIND * across:
                most = max(most, float(under.min()))
    return most


def _judged(sand: Sand, made: ChillSet, block: Solid, share: float) -> Iterable[Finding]:
    """What is wrong with a chill as it came out, and the care that every one needs."""
    where = Back(sand.pattern, sand.frame)(sand.frame.inward(made.at))
    if block.is_empty() or share < 0.3:
        yield Finding(
            code="rigging.chill_lost",
            weight="STOP",
            says=f"Of the chill {made.name} only {tell(max(share, 0.0), '1', '%')} is left",
            because="metal, a sleeve, another chill or the parting takes the rest of its room",
            do="Move it along the part, or make it smaller",
            where=where,
            margin=Margin(value=share, unit="1", of="chill that is left over the block asked for"),
        )
        return
    box = np.array(block.bounding_box())
    gap = float(np.concatenate([box[:3] - sand.box[[0, 2, 4]], sand.box[[1, 3, 5]] - box[3:]]).min())
    if gap < SAND_LEFT:
        yield Finding(
            code="rigging.chill_out",
            weight="STOP" if gap < 0.0 else "MIND",
            says=f"The chill {made.name} has {tell(max(gap, 0.0) / MM, 'm')} of sand behind it",
            because=f"the flask leaves no more; {tell(SAND_LEFT / MM, 'm')} hold it in place",
            do="Take a thinner chill or a larger flask",
            where=where,
            margin=Margin(value=gap / SAND_LEFT, unit="1", of="sand behind the chill over what holds it"),
        )
    touched = [b.name for b in sand.bodies if float(b.solid.min_gap(block, 1.0)) < 0.1]
    if touched:
        yield Finding(
            code="rigging.chill_touches",
            weight="MIND",
            says=f"The chill {made.name} lies against {', '.join(touched)} too",
            because="what is meant to stay hot, or to feed, is cooled there",
            do="Move it along the part, or make it smaller",
            where=where,
        )
    yield Finding(
        code="rigging.chill_dry",
        weight="MIND",
        says=f"The chill {made.name}, {made.material} {tell(made.across, 'm')} square and {tell(made.thick, 'm')} thick, must be clean, rust-free,"
        " coated, warm and dry",
        because="rust, oil or damp under molten metal has a chance to turn to gas at once and to throw metal out of the mould",
        do="Clean it to bare metal, coat it thinly, bake it dry, lay it in warm and pour the same day, before damp settles on it",
        where=where,
        source="common practice",
    )
