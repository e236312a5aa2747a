"""The freezing solver's door for checks, experiments and the sound room: any tagged grid, any materials, any faces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from strickle.base import Array, BadInput, Grid, Mesh, Record, Watch, si, word

if TYPE_CHECKING:
    from strickle.kernels.freeze_tables import MetalTable
    from strickle.kernels.freeze_types import FaceSpec, FreezeOut, MediumTable
    from strickle.kernels.freeze_wall import Mesh as KernelMesh

FACES = ("x-", "x+", "y-", "y+", "z-", "z+")
PRESETS = ("rough", "shop", "fine")


class MetalLike(Protocol):
    """What the solver reads of a metal. The metal room's result has it all; MetalData serves where there is only data."""

    @property
    def curve_temperature(self) -> Array:
        """K, falling."""
        ...

    @property
    def curve_solid(self) -> Array:
        """Fraction solid along it."""
        ...

    @property
    def latent_heat(self) -> float:
        """J/kg over the whole range."""
        ...

    @property
    def solid_heat_temperature(self) -> Array:
        """K, nodes."""
        ...

    @property
    def solid_heat(self) -> Array:
        """J/(kg K) at the nodes."""
        ...

    @property
    def liquid_heat(self) -> float:
        """J/(kg K)."""
        ...

    @property
    def solid_conductivity_temperature(self) -> Array:
        """K, nodes."""
        ...

    @property
    def solid_conductivity(self) -> Array:
        """W/(m K) at the nodes."""
        ...

    @property
    def liquid_conductivity(self) -> float:
        """W/(m K)."""
        ...

    @property
    def density_solidus(self) -> float:
        """kg/m3."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MetalData(Record):
    """A metal by its bare data, under the names the metal room uses."""

    curve_temperature: Array = si("K", "freezing curve, falling", shape="(n,)")
    curve_solid: Array = si("1", "fraction solid along it, rising 0 to 1", shape="(n,)")
    latent_heat: float = si("J/kg", "heat of solidification over the whole range")
    solid_heat_temperature: Array = si("K", "nodes of the solid's heat capacity", shape="(k,)")
    solid_heat: Array = si("J/(kg K)", "heat capacity of the solid at the nodes", shape="(k,)")
    liquid_heat: float = si("J/(kg K)", "heat capacity of the liquid")
    solid_conductivity_temperature: Array = si("K", "nodes of the solid's conductivity", shape="(j,)")
    solid_conductivity: Array = si("W/(m K)", "conductivity of the solid at the nodes", shape="(j,)")
    liquid_conductivity: float = si("W/(m K)", "conductivity of the liquid")
    density_solidus: float = si("kg/m3", "solid at the solidus: the solver's one constant density")
    shrinkage: float = si("1", "volume lost on solidification; only feeding asks for it", default=0.0)
    density_liquidus: float = si("kg/m3", "liquid at the liquidus; only feeding asks for it", default=float("nan"))
    density_slope: float = si("kg/(m3 K)", "change of the liquid's density with temperature; only feeding asks for it", default=0.0)

    @classmethod
    def plain(
        cls, *, solidus: float, liquidus: float, latent_heat: float, solid_heat: float, liquid_heat: float, solid_conductivity: float,
        liquid_conductivity: float, density: float, shrinkage: float = 0.0, density_slope: float = 0.0,
    ) -> MetalData:  # fmt: skip
        """A metal with one value for each property and a fraction solid that is linear between liquidus and solidus [K].

        ``density`` [kg/m3] is that of the solid at the solidus; the liquid at the liquidus is lighter by the ``shrinkage``.
        """
        return cls(
            curve_temperature=np.array([liquidus, solidus]),
            curve_solid=np.array([0.0, 1.0]),
            latent_heat=latent_heat,
            solid_heat_temperature=np.array([solidus]),
            solid_heat=np.array([solid_heat]),
            liquid_heat=liquid_heat,
            solid_conductivity_temperature=np.array([solidus]),
            solid_conductivity=np.array([solid_conductivity]),
            liquid_conductivity=liquid_conductivity,
            density_solidus=density,
            shrinkage=shrinkage,
            density_liquidus=density * (1.0 - shrinkage),
            density_slope=density_slope,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MediumData(Record):
    """Sand, core, chill, sleeve or board. Where curves over temperature are given they rule; level outside their nodes."""

    conductivity: float = si("W/(m K)", "heat conductivity")
    density: float = si("kg/m3", "as rammed")
    heat_capacity: float = si("J/(kg K)", "heat capacity")
    conductivity_temperature: Array | None = si("K", "nodes of the conductivity", shape="(k,)", default=None)
    conductivity_nodes: Array | None = si("W/(m K)", "conductivity at them", shape="(k,)", default=None)
    heat_temperature: Array | None = si("K", "nodes of the heat capacity", shape="(m,)", default=None)
    heat_nodes: Array | None = si("J/(kg K)", "heat capacity at them", shape="(m,)", default=None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gap(Record):
    """A contact in which a gap opens: one conductance while the metal at it is fluid, falling with its fraction solid to another."""

    early: float = si("W/(m2 K)", "up to coherency")
    late: float = si("W/(m2 K)", "from the solidus on")


def gap(early: float, late: float) -> Gap:
    """A contact of ``early`` [W/(m2 K)] up to coherency of the metal at it, falling with its fraction solid to ``late`` at the solidus."""
    return Gap(early=early, late=late)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Face(Record):
    """What lies beyond an outer face or an open surface. Made by ``adiabatic``, ``fixed`` and ``film``."""

    kind: str = word("adiabatic | fixed | film")
    temperature: float = si("K", "beyond the face", default=293.15)
    h: float = si("W/(m2 K)", "film conductance", default=0.0)
    emissivity: float = si("1", "of the surface, towards surroundings at that temperature", default=0.0)


adiabatic = Face(kind="adiabatic")


def fixed(temperature: float) -> Face:
    """A face held at ``temperature`` [K]."""
    return Face(kind="fixed", temperature=temperature)


def film(h: float, temperature: float, emissivity: float = 0.0) -> Face:
    """A face that loses heat by a film ``h`` [W/(m2 K)] and by radiation to surroundings at ``temperature`` [K]."""
    return Face(kind="film", temperature=temperature, h=h, emissivity=emissivity)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Below(Record):
    """An end of the run: all metal below a temperature (and solid)."""

    temperature: float = si("K", "all metal below it")


def below(temperature: float) -> Below:
    """Run until every metal cell is solid and below ``temperature`` [K]."""
    return Below(temperature=temperature)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Freezing(Record):
    """How a tagged grid froze. Cell arrays have the grid's index order; NaN outside the metal and where it did not come to pass."""

    time_to_liquidus: Array = si("s", "superheat gone: read at the liquidus + 1 K, where the crossing is sharp", shape="(nx, ny, nz)")
    time_to_coherency: Array = si("s", "crystals lock, at the fraction solid asked", shape="(nx, ny, nz)")
    time_to_solidus: Array = si("s", "the whole cell solid; the front is then at the cell's far face", shape="(nx, ny, nz)")
    time_to_below: Array = si("s", "below the temperature asked for in ``until``", shape="(nx, ny, nz)")
    niyama: Array = si("1", "gradient over root of cooling rate near the solidus, in root(K s) per millimetre", shape="(nx, ny, nz)")
    gradient: Array = si("1", "temperature gradient near the solidus, in kelvin per metre", shape="(nx, ny, nz)")
    cooling_rate: Array = si("1", "cooling rate there, in kelvin per second", shape="(nx, ny, nz)")
    temperature: Array = si("K", "every cell, at the end", shape="(nx, ny, nz)")
    snapshot_times: Array = si("s", "moments asked", shape="(k,)")
    snapshots: Array = si("K", "every cell at the moments asked; NaN where the run ended before", shape="(k, nx, ny, nz)")
    time: float = si("s", "last moment computed")
    solid_time: float = si("s", "the last metal cell solid, NaN if not all are")
    below_time: float = si("s", "all metal below the temperature asked, NaN if not")
    metal_loss: float = si("J", "heat lost by the metal")
    media_gain: float = si("J", "heat gained by the media")
    outer_loss: float = si("J", "heat lost through walls and films")
    mark_solid: Array = si("1", "fractions solid asked for in ``marks``", shape="(j,)")
    mark_times: Array = si("s", "when each metal cell, in the grid's index order, passed them", shape="(j, m)")
    cell_volumes: Array = si("1", "metal in each metal cell, in cells: 1 but where it is cut by a ``surface``", shape="(m,)")
    balance: float = si("1", "worst closure error of the heat balance at any check")
    status: str = word("done, or why it stopped before what was asked")
    steps: int = word("super-steps taken")


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
    solid at which crystals lock (0.25 where None, common practice); ``marks``: fractions solid whose moments are noted besides, as
    ``feed`` needs them; ``longest`` [s] ends a run that does not get there, and ``status`` says so; ``surface``: the closed mesh of all
    metal, in the grid's own frame [m]: with it wall distances, areas and volumes are those of the mesh (cells are metal where their
    centre lies in it), without it those of the staircase of cells; ``begin`` (nx, ny, nz) [K]: starting temperature of single cells, NaN
    where the tag's own holds.

    Raises BadInput for a question that makes no sense, and whatever ``watch`` raises.
    """
    from strickle.kernels import freeze as kernel

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
            knobs=kernel.PRESETS[preset],
            longest=longest,
            watch=watch,
            surface=None if surface is None else on_grid(_closed(surface), grid.origin),
            begin=None if begin is None else np.asarray(begin, dtype=float),
        )
    except kernel.Refused as trouble:
        raise _refused(trouble) from trouble
    return _result(out, grid, snapshots, marks)


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


def _closed(surface: Mesh) -> Mesh:
    """The mesh itself. Raises BadInput for what is no closed mesh of triangles."""
    vertices, faces = np.asarray(surface.vertices, dtype=float), np.asarray(surface.faces)
    if not (
        np.isfinite(vertices).all() and faces.ndim == 2 and faces.shape[1] == 3 and len(faces) and faces.min() >= 0 and faces.max() < len(vertices)
    ):
        raise BadInput("the metal's surface is no mesh of triangles", "Give vertices in metres (n, 3) and faces (m, 3)")
    ends = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1).reshape(-1, 2), axis=1)
    if (np.unique(ends, axis=0, return_counts=True)[1] % 2).any():
        raise BadInput("the metal's surface is not closed", "Give the closed mesh of all metal, or none")
    return surface


def _end(until: str | float | Below) -> tuple[float | None, float | None]:
    """Seconds to run, and the temperature to wait for. Raises BadInput."""
    if isinstance(until, Below):
        if not (np.isfinite(until.temperature) and until.temperature > 0.0):
            raise BadInput("the temperature to wait for is not a positive number", "Give it in kelvin")
        return None, until.temperature
    if until == "solid":
        return None, None
    if isinstance(until, str) or not (np.isfinite(until) and until > 0.0):
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


def _result(out: FreezeOut, grid: Grid, moments: Sequence[float], marks: Sequence[float]) -> Freezing:
    """The kernel's answer as a result."""
    return Freezing(
        time_to_liquidus=out.time_to_liquidus,
        time_to_coherency=out.time_to_coherency,
        time_to_solidus=out.time_to_solidus,
        time_to_below=out.time_below,
        niyama=out.niyama * 1e-3,
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
        balance=out.balance,
        status=out.status,
        steps=out.steps,
    )
