"""Close the mould: part, rigging and sand on one tagged grid; forces, sand and margins."""

from __future__ import annotations

import math

import numpy as np

from strickle.base import Array, Finding, Grid, Margin, Mesh, Source, Watch, Where, tell
from strickle.cavity import cores, rules
from strickle.cavity.ask import CavityAsk
from strickle.cavity.grid import ACROSS, lay
from strickle.cavity.open_face import airy
from strickle.cavity.result import CHILL, FLOW_OFF, GRAPHITE, INGATE, NECK, PART, RISER, RUNNING, SAND, SLEEVE, Cavity, Named
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.rigging import Rigging
from strickle.stores import Stores

TAG = {"running": RUNNING, "ingate": INGATE, "riser": RISER, "neck": NECK, "flow-off": FLOW_OFF}
LAID = {"chill": CHILL, "graphite": GRAPHITE, "sleeve": SLEEVE}
RANK = ("running", "flow-off", "riser", "ingate", "neck")  # where two bodies share a cell the later one owns it


def close(pattern: Pattern, mould: Mould, rigging: Rigging, part: Part, metal: Metal, stores: Stores, ask: CavityAsk, watch: Watch) -> Cavity:
    """Tag the flask's inside, weigh sand and metal, and add up the lift. Pure; raises nothing but our own faults."""
    pour = rigging.open_pour
    cell, shape, origin = lay(mould, part, rigging.casting, ask, None if pour is None else pour.level.value)
    watch(0.0, "rasterising the mould")
    fraction = _fractions(rigging.casting, origin, cell, shape)
    is_metal = _fractions(rigging.casting, origin, cell, shape, 1) >= 0.5
    tags, bodies, names = _tagged(is_metal, pattern, rigging, origin, cell)
    _lay_in(tags, fraction, rigging, origin, cell)
    if pour is not None:
        tags = airy(tags, _fractions(pattern.cavity, origin, cell, shape), pour, origin, cell)
    metal_volume = float(fraction.sum()) * cell**3
    mesh_volume, mesh_area = _volume(rigging.casting), _area(rigging.casting)
    floats = cores.lifts(pattern, metal)
    lift = _lift(cores.without(rigging.casting, pattern), mould, metal)
    box = mould.box
    flask_volume = float((box[1] - box[0]) * (box[3] - box[2]) * (box[5] - box[4]))
    above = _volume_above(fraction, origin, cell)
    cope_sand = max(float((box[1] - box[0]) * (box[3] - box[2]) * box[5]) - above, 0.0)
    factor = stores.constants["hold_down.factor"].value
    weight = rules.hold_down_weight(lift, sum(floats), cope_sand * mould.sand_density * rules.GRAVITY, factor)
    sand_mass = (flask_volume - mesh_volume - sum(core.volume for core in pattern.cores) + (above if pour is not None else 0.0)) * mould.sand_density
    margin = _margin(is_metal, box, cell)
    result = Cavity(
        cell=cell,
        cells=int(np.prod(shape)),
        metal_cells=int(np.count_nonzero(is_metal)),
        metal_volume=metal_volume,
        mesh_volume=mesh_volume,
        voxel_area=_staircase(is_metal) * cell**2,
        mesh_area=mesh_area,
        lift=lift + sum(floats),
        core_lift=sum(floats),
        hold_down_mass=weight / rules.GRAVITY,
        sand_mass=sand_mass,
        least_sand_margin=margin,
        metal_mass=mesh_volume * metal.density_liquidus if pour is None else pour.mass.value,
        grid=Grid(tags=tags, cell=cell, origin=origin),
        fraction=fraction,
        bodies=bodies,
        names=names,
        sources=(Source(key="general", says="Factor 1.5 on the lift: from memory, unverified", mark="memory"),),
    )
    found = cores.told(pattern, floats, mould, stores)
    return _with_findings(result, part, mould, stores, factor, cope_sand * mould.sand_density, found)


def _fractions(mesh: Mesh, origin: Array, cell: float, shape: tuple[int, int, int], across: int = 4) -> Array:
    """Metal fraction of each cell from ``across`` squared columns a cell; with one column, whether more than half of it is metal."""
    from strickle.kernels import raster

    return np.asarray(raster.fractions(np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces), origin, cell, shape, across))


def _block(mesh: Mesh, origin: Array, cell: float, shape: tuple[int, int, int]) -> tuple[tuple[slice, slice, slice], Array]:
    """The slices of the grid that hold a mesh, and the corner of that block."""
    low = np.clip(np.floor((mesh.vertices.min(axis=0) - origin) / cell).astype(int) - 1, 0, np.array(shape))
    high = np.clip(np.ceil((mesh.vertices.max(axis=0) - origin) / cell).astype(int) + 1, 0, np.array(shape))
    return (slice(low[0], high[0]), slice(low[1], high[1]), slice(low[2], high[2])), origin + low * cell


def _tagged(is_metal: Array, pattern: Pattern, rigging: Rigging, origin: Array, cell: float) -> tuple[Array, Array, tuple[Named, ...]]:
    """Tags and body numbers: metal where the column through the cell's middle is metal for half the cell, as the true wall wants it.

    A cell that is half part or more is the part's, others go to whoever holds most of them: rigging bodies reach
    into the part, so their share alone does not decide.
    """
    shape = (is_metal.shape[0], is_metal.shape[1], is_metal.shape[2])
    tags = np.where(is_metal, PART, SAND).astype(np.uint8)
    bodies = np.zeros(shape, dtype=np.uint8)
    most = np.zeros(shape)
    block, corner = _block(pattern.cavity, origin, cell, shape)
    most[block] = _fractions(pattern.cavity, corner, cell, most[block].shape)
    free = is_metal & (most < 0.5)
    names = []
    ordered = sorted((r for r in rigging.regions if r.kind in TAG), key=lambda r: RANK.index(r.kind))
    for number, region in enumerate(ordered, start=1):
        names.append(Named(name=region.name, kind=region.kind, number=number))
        block, corner = _block(region.mesh, origin, cell, shape)
        share = _fractions(region.mesh, corner, cell, most[block].shape)
        wins = free[block] & (share > 0.0) & (share >= most[block])
        tags[block][wins] = TAG[region.kind]
        bodies[block][wins] = number
        most[block] = np.maximum(most[block], share)
    return tags, bodies, tuple(names)


def _lay_in(tags: Array, fraction: Array, rigging: Rigging, origin: Array, cell: float) -> None:
    """Tag chills and sleeves in place: cells of sand most of whose share outside the metal they hold."""
    for region in (r for r in rigging.regions if r.kind in LAID):
        block, corner = _block(region.mesh, origin, cell, (tags.shape[0], tags.shape[1], tags.shape[2]))
        share = _fractions(region.mesh, corner, cell, tags[block].shape)
        mine = (tags[block] == SAND) & (share > 0.0) & (share >= 0.5 * (1.0 - fraction[block]))
        tags[block][mine] = LAID[region.kind]


def _volume(mesh: Mesh) -> float:
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def _area(mesh: Mesh) -> float:
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2.0)


def _volume_above(fraction: Array, origin: Array, cell: float) -> float:
    """Metal above the parting [m3]."""
    height = origin[2] + (np.arange(fraction.shape[2]) + 0.5) * cell
    return float(fraction[:, :, height > 0.0].sum()) * cell**3


def _lift(casting: Mesh, mould: Mould, metal: Metal) -> float:
    """Metal pressure on every downward-looking cope face: faces of the casting above the parting that look up, under sand [N].

    What stands at the cope top is open and takes no pressure. Faces in the drag that look up lie at the parting under the cope too.
    """
    top = float(mould.box[5])
    a, b, c = (casting.vertices[casting.faces[:, i]] for i in range(3))
    flat = 0.5 * np.cross(b - a, c - a)[:, 2]
    height = (a[:, 2] + b[:, 2] + c[:, 2]) / 3.0
    on_parting = np.abs(height) <= 1e-6  # there a face that looks down lies on the drag
    under = ((height > 1e-6) | (on_parting & (flat > 0.0))) & (height < top - 1e-6)
    return float(sum(_signed(flat[under], height[under], top, metal.density_liquidus)))


def _signed(flat: Array, height: Array, top: float, density: float) -> Array:
    """Lift of up-looking cope faces; down-looking ones above the parting push their own hanging sand down and count against it."""
    return np.asarray(density * rules.GRAVITY * (top - height) * flat)


def _staircase(is_metal: Array) -> float:
    """Faces between metal and anything else, in cells, those at the open top with them."""
    total, padded = 0, np.pad(is_metal, 1).astype(np.int8)
    for axis in range(3):
        total += int(np.count_nonzero(np.diff(padded, axis=axis)))
    return float(total)


def _margin(is_metal: Array, box: Array, cell: float) -> float:
    """Least sand between metal and the flask's sides or floor [m]."""
    if not is_metal.any():
        return math.nan
    gaps = []
    for axis in range(3):
        taken = np.flatnonzero(is_metal.any(axis=tuple(a for a in range(3) if a != axis)))
        gaps.append(taken[0] * cell)
        if axis < 2:
            gaps.append((is_metal.shape[axis] - 1 - taken[-1]) * cell)
    return float(min(gaps))


def _with_findings(cavity: Cavity, part: Part, mould: Mould, stores: Stores, factor: float, cope_mass: float, first: tuple[Finding, ...]) -> Cavity:
    import dataclasses

    kit = stores.kit
    found: list[Finding] = [*first]
    if cavity.sand_mass > kit.sand_mass:
        found.append(
            Finding(
                code="cavity.sand_short",
                weight="STOP",
                says=f"The flask takes {tell(cavity.sand_mass, 'kg')} of sand, {tell(cavity.sand_mass - kit.sand_mass, 'kg')} more than is on hand",
                because=(
                    f"{mould.flask.name} is {tell(mould.flask.length, 'm')} by {tell(mould.flask.width, 'm')} inside,"
                    f" rammed at {tell(mould.sand_density, 'kg/m3')}"
                ),
                do="Get more sand, or take a smaller flask if the margins allow; correct the kit if more is on hand",
                margin=Margin(value=kit.sand_mass / cavity.sand_mass, unit="1", of="sand on hand over sand in the flask"),
            )
        )
    if cavity.hold_down_mass > kit.weights:
        found.append(
            Finding(
                code="cavity.weights_short",
                weight="STOP",
                says=f"The cope wants {tell(cavity.hold_down_mass, 'kg')} on it and {tell(kit.weights, 'kg')} are on hand",
                because=f"the metal lifts it with {tell(cavity.lift, 'N')}, taken {tell(factor, '1')} times, less the cope's own sand",
                do="Find more weight, or clamp cope to drag and count the clamps as weight in the kit; an unweighted cope can lift and let metal out",
                margin=Margin(value=kit.weights / cavity.hold_down_mass, unit="1", of="weights on hand over weight wanted"),
            )
        )
    if cope_mass > kit.lift_limit:
        found.append(
            Finding(
                code="cavity.cope_heavy",
                weight="MIND",
                says=f"The rammed cope holds {tell(cope_mass, 'kg')} of sand, more than the {tell(kit.lift_limit, 'kg')} you lift",
                because=f"it is {tell(mould.flask.length, 'm')} by {tell(mould.flask.width, 'm')} and {tell(mould.flask.cope, 'm')} high",
                do="Lift and turn it with a second person or on a hinge; a cope that slips crushes the mould",
                margin=Margin(value=kit.lift_limit / cope_mass, unit="1", of="what you lift over the cope's sand"),
            )
        )
    across = part.least_wall / cavity.cell
    if across < ACROSS:
        at = part.least_wall_at
        found.append(
            Finding(
                code="cavity.coarse",
                weight="MIND",
                says=f"The least wall, {tell(part.least_wall, 'm')}, is {tell(across, '1')} cells of {tell(cavity.cell, 'm')} thick",
                because="the cell budget of this preset allows no finer grid; times in that wall are rough, those of thick places are not",
                do="Run with a finer preset or --cell for a verdict on the thin wall",
                where=Where(point=(float(at[0]), float(at[1]), float(at[2]))),
                margin=Margin(value=across / ACROSS, unit="1", of="cells across the least wall over three"),
            )
        )
    off = cavity.metal_cells * cavity.cell**3 / cavity.mesh_volume - 1.0
    stair = cavity.voxel_area / cavity.mesh_area
    if abs(off) > 0.02:
        found.append(
            Finding(
                code="cavity.blocky",
                weight="NOTE",
                says=f"On the grid the metal has {tell(1 + off, '1', '%')} of its true volume and {tell(stair, '1', '%')} of its true surface",
                because=f"a cell of {tell(cavity.cell, 'm')} is metal or sand as a whole; a slanting face becomes a staircase",
                do="Take freezing times as bands; a smaller --cell narrows them",
                margin=Margin(value=1 + off, unit="1", of="volume of metal cells over that of the solids"),
            )
        )
    return dataclasses.replace(cavity, findings=tuple(found))
