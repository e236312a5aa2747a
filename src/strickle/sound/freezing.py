"""The freezing solver's door for checks, experiments and the sound room: any tagged grid, any materials, any faces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from strickle.base import Array, BadInput, Grid, Mesh, Watch
from strickle.sound.given import as_asked, is_number
from strickle.sound.materials import Below, Face, Freezing, Gap, MetalLike, adiabatic
from strickle.sound.pegs import Driven, drive_named

if TYPE_CHECKING:
    from strickle.kernels.freeze_tables import MetalTable
    from strickle.kernels.freeze_types import FaceSpec, FreezeOut, MediumTable
    from strickle.kernels.freeze_wall import Mesh as KernelMesh

FACES = ("x-", "x+", "y-", "y+", "z-", "z+")
PRESETS = ("rough", "shop", "fine")


def metal_table(metal: MetalLike, *, lowest: float, highest: float) -> MetalTable:
    """The solver's table of a metal between two temperatures [K]; the density is that of the solid at the solidus.

    Raises BadInput for data that cannot be tabulated.
    """
    from strickle.kernels.freeze_tables import Refused
    from strickle.kernels.freeze_tables import metal_table as tabulate

    try:
        return tabulate(
            metal.curve_temperature,
            metal.curve_solid,
            latent_heat=metal.latent_heat,
            solid_heat_temperature=metal.solid_heat_temperature,
            solid_heat=metal.solid_heat,
            liquid_heat=metal.liquid_heat,
            solid_conductivity_temperature=metal.solid_conductivity_temperature,
            solid_conductivity=metal.solid_conductivity,
            liquid_conductivity=metal.liquid_conductivity,
            density=metal.density_solidus,
            lowest=lowest,
            highest=highest,
        )
    except Refused as trouble:
        raise _refused(trouble) from trouble


def freeze(
    grid: Grid,
    materials: Mapping[int, Any],
    *,
    start: Mapping[int, float],
    faces: Mapping[str, Face] | None = None,
    until: str | float | Below = "solid",
    preset: str = "shop",
    contact: Mapping[tuple[int, int], float | Gap | None] | None = None,
    snapshots: Sequence[float] = (),
    coherency: float | None = None,
    marks: Sequence[float] = (),
    pegs: Mapping[str, Sequence[float]] | None = None,
    watch: Watch | None = None,
    longest: float | None = None,
    surface: Mesh | None = None,
    begin: Array | None = None,
) -> Freezing:
    """Freeze the metal of a tagged grid, or warm and cool media alone.

    ``materials``: tag -> a metal (the metal room's result, or MetalData; one and the same for all metal tags), a MediumData, or a
    Face for an open surface inside the grid; ``start``: tag -> K for metals and media; ``faces``: "x-" ... "z+" -> adiabatic,
    fixed(T) or film(h, T, emissivity), adiabatic where absent; ``contact``: pair of tags -> W/(m2 K) or gap(early, late), perfect where
    None or absent;
    ``until``: "solid", seconds, or below(T); the run goes on to the last of ``snapshots`` [s] in any case; ``coherency``: fraction
    solid at which crystals lock (0.25 where None, common practice); ``marks``: fractions solid whose passing is noted, as ``feed`` needs them;
    ``pegs``: name -> point [m] in metal or medium whose temperature is noted at every step; ``longest`` [s] ends a run that does
    not get there, and ``status`` says so; ``surface``: the closed mesh of all metal, in the grid's own frame [m]: with it wall distances,
    areas and volumes are those of the mesh (cells are metal where their centre lies in it; surfaces held at a temperature keep the staircase),
    without it those of the staircase of cells;
    ``begin`` (nx, ny, nz) [K]: starting temperature of single cells, NaN where the tag's own holds.

    Raises BadInput for a question that makes no sense, and whatever ``watch`` raises.
    """
    from strickle.kernels import freeze as kernel

    as_asked(grid, materials, start, faces, contact, surface, begin, coherency, longest, marks, snapshots, pegs, watch)
    metals = {tag: m for tag, m in materials.items() if hasattr(m, "curve_temperature")}
    open_faces = {tag: m for tag, m in materials.items() if isinstance(m, Face)}
    media = {tag: m for tag, m in materials.items() if tag not in metals and tag not in open_faces}
    for tag, medium in media.items():
        if not all(hasattr(medium, name) for name in ("conductivity", "density", "heat_capacity")):
            raise BadInput(f"the material of tag {tag} is neither metal, medium nor open surface", "Give a metal, a MediumData or a Face")
    missing = [tag for tag in (*metals, *media) if tag not in start]
    if missing:
        raise BadInput(f"no starting temperature is given for tag {missing[0]}", "Give one in kelvin for every metal and medium")
    if len({id(m) for m in metals.values()}) > 1:
        raise BadInput("two different metals are given", "Give every metal tag the same metal: one casting is one alloy")
    unknown = sorted(set(faces or {}) - set(FACES))
    if unknown:
        raise BadInput(f"there is no outer face {unknown[0]!r}", f"Faces are {', '.join(FACES)}")
    if preset not in PRESETS:
        raise BadInput(f"there is no preset {preset!r}", f"Presets are {', '.join(PRESETS)}")
    end, wait = _end(until)
    if any(not (np.isfinite(s) and s >= 0.0) for s in snapshots):
        raise BadInput("a moment of a snapshot is no time", "Give seconds from the pour, none of them negative")

    if begin is not None and np.isfinite(begin).any():
        limits = [float(np.nanmin(begin)), float(np.nanmax(begin))]
    else:
        limits = []
    limits += [start[tag] for tag in (*metals, *media)] + [f.temperature for f in [*(faces or {}).values(), *open_faces.values()]]
    if not np.isfinite(limits).all():
        raise BadInput("a temperature is not a number", "Give every temperature in kelvin")
    table = metal_table(next(iter(metals.values())), lowest=min(limits), highest=max(limits)) if metals else None
    driven = drive_named(grid, pegs or {}, metals, media)
    try:
        out = kernel.solve(
            np.ascontiguousarray(grid.tags),
            grid.cell,
            table,
            {t: _medium(m, start[t]) for t, m in media.items()},
            metal_start={t: start[t] for t in metals},
            contact={pair: _contact(value) for pair, value in (contact or {}).items()},
            faces=[_spec((faces or {}).get(name, adiabatic)) for name in FACES],
            open_faces={t: _spec(f) for t, f in open_faces.items()},
            until=end,
            below=wait,
            wait_below=wait is not None,
            coherency=0.25 if coherency is None else coherency,
            marks=[float(share) for share in marks],
            snapshots=snapshots,
            probes=driven.cells,
            knobs=kernel.PRESETS[preset],
            longest=longest,
            watch=watch,
            surface=None if surface is None else on_grid(_closed(surface, grid, tuple(metals)), grid.origin),
            begin=None if begin is None else np.asarray(begin, dtype=float),
        )
    except kernel.Refused as trouble:
        raise _refused(trouble) from trouble
    return _result(out, grid, snapshots, marks, tuple(pegs or {}), driven, _begun(grid.tags, tuple(metals), start, begin))


def _begun(tags: Array, metals: tuple[int, ...], start: Mapping[int, float], begin: Array | None) -> Array:
    """What each metal cell (m,) began at [K]."""
    there = np.isin(tags, metals)
    own = np.zeros(256)
    own[list(metals)] = [start[tag] for tag in metals]
    even = own[tags[there]]
    return even if begin is None else np.where(np.isfinite(begin[there]), begin[there], even)


def _medium(medium: Any, start: float) -> MediumTable:
    """A medium as the kernel takes it. Raises BadInput for half a curve."""
    from strickle.kernels.freeze_types import MediumTable

    values = []
    for name, plain in (("conductivity", medium.conductivity), ("heat", medium.heat_capacity)):
        at, nodes = getattr(medium, f"{name}_temperature", None), getattr(medium, f"{name}_nodes", None)
        if (at is None) != (nodes is None):
            raise BadInput(f"a medium's {name} has temperatures without values, or values without temperatures", "Give both, or neither")
        values.append(plain if at is None else (np.asarray(at, dtype=float), np.asarray(nodes, dtype=float)))
    return MediumTable(values[0], medium.density, values[1], start)


def _contact(value: float | Gap | None) -> Any:
    """A contact as the kernel takes it."""
    from strickle.kernels.freeze_types import Contact

    if isinstance(value, Gap):
        return Contact(value.early, value.late)
    return np.inf if value is None else value


def on_grid(surface: Mesh, origin: Array) -> KernelMesh:
    """A closed mesh of the metal as the kernel takes it: from the corner of the grid's first cell."""
    from strickle.kernels.freeze_wall import Mesh as Moved

    return Moved(np.asarray(surface.vertices, dtype=float) - np.asarray(origin, dtype=float), np.asarray(surface.faces).astype(np.int64))


def _closed(surface: Mesh, grid: Grid, metals: tuple[int, ...]) -> Mesh:
    """The mesh itself. Raises BadInput for what is no closed outward mesh inside the grid of about the volume of its metal cells."""
    vertices, faces = np.asarray(surface.vertices, dtype=float), np.asarray(surface.faces)
    if not (
        np.isfinite(vertices).all() and faces.ndim == 2 and faces.shape[1] == 3 and len(faces) and faces.min() >= 0 and faces.max() < len(vertices)
    ):
        raise BadInput("the metal's surface is no mesh of triangles", "Give vertices in metres (n, 3) and faces (m, 3)")
    ends = np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1).reshape(-1, 2).astype(np.int64)
    if (np.unique(ends.min(axis=1) * len(vertices) + ends.max(axis=1), return_counts=True)[1] % 2).any():
        raise BadInput("the metal's surface is not closed", "Give the closed mesh of all metal, or none")
    low, high = np.asarray(grid.origin), np.asarray(grid.origin) + np.array(grid.tags.shape) * grid.cell
    if (vertices < low - 1e-3 * grid.cell).any() or (vertices > high + 1e-3 * grid.cell).any():
        raise BadInput("the metal's surface reaches out of the grid", "Give it in metres in the grid's own frame, cut where the grid ends")
    corners = vertices[faces]
    whole = float(np.einsum("ij,ij->", corners[:, 0] - low, np.cross(corners[:, 1] - low, corners[:, 2] - low)) / 6.0)
    cells = int(np.isin(grid.tags, metals).sum()) * grid.cell**3
    if not 0.5 * cells < whole < 1.6 * cells:
        raise BadInput(
            f"the metal's surface holds {whole / max(cells, 1e-30):.2g} times the volume of the metal's cells",
            "Give the outward mesh of all metal, once, in metres; or finer cells where walls are thinner than one",
        )
    return surface


def _end(until: str | float | Below) -> tuple[float | None, float | None]:
    """Seconds to run, and the temperature to wait for. Raises BadInput."""
    if isinstance(until, Below):
        if not (is_number(until.temperature) and np.isfinite(until.temperature) and until.temperature > 0.0):
            raise BadInput("the temperature to wait for is not a positive number", "Give it in kelvin")
        return None, until.temperature
    if until == "solid":
        return None, None
    if isinstance(until, str) or not is_number(until) or not (np.isfinite(until) and until > 0.0):
        raise BadInput(f"{until!r} is no end of a run", 'Give "solid", seconds, or below(kelvin)')
    return float(until), None


def _spec(face: Face) -> FaceSpec:
    """A face as the kernel takes it."""
    from strickle.kernels.freeze_types import FaceSpec

    return FaceSpec(face.kind, face.temperature, face.h, face.emissivity)


def _refused(trouble: Exception) -> BadInput:
    """The kernel's refusal as trouble at the edge."""
    says = str(trouble)
    return BadInput(says[:1].upper() + says[1:], "Correct it and run again")


def _result(
    out: FreezeOut, grid: Grid, moments: Sequence[float], marks: Sequence[float], names: tuple[str, ...], driven: Driven, begun: Array
) -> Freezing:  # fmt: skip
    """The kernel's answer as a result."""
    niyama = np.asarray(out.niyama * np.float32(1e-3))
    niyama.setflags(write=False)
    return Freezing(
        time_to_liquidus=out.time_to_liquidus,
        time_to_coherency=out.time_to_coherency,
        time_to_solidus=out.time_to_solidus,
        time_to_below=out.time_below,
        niyama=niyama,
        gradient=out.gradient,
        cooling_rate=out.cooling_rate,
        temperature=out.temperature,
        snapshot_times=np.array(moments, dtype=float),
        snapshots=np.array(out.snapshots, dtype=float).reshape((len(moments), *grid.tags.shape)),
        time=out.time,
        solid_time=out.solid_time,
        below_time=out.below_time,
        metal_loss=out.metal_loss,
        media_gain=out.media_gain,
        outer_loss=out.outer_loss,
        mark_solid=np.array(marks[: len(out.time_at)], dtype=float),
        mark_times=np.stack(out.time_at) if out.time_at else np.empty((0, 0)),
        cell_volumes=out.volume,
        cell_edge=grid.cell,
        metal_begin=begun,
        balance=out.balance,
        status=out.status,
        steps=out.steps,
        peg_names=names,
        peg_at=driven.at,
        peg_times=out.probe_times,
        peg_temperatures=driven.read(out.probe_temperatures),
    )
