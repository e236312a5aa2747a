"""The filling solver's door for checks, experiments and the pour room: any tagged grid, any metal, any ends."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from strickle.base import GRAVITY, Array, BadInput, Grid, Mesh, Watch, quiet
from strickle.pour.given import as_asked, as_ruled
from strickle.pour.mouths import Breath, Filling, LiquidData, Mouth

if TYPE_CHECKING:
    from strickle.kernels.fill import Filler
    from strickle.kernels.freeze_tables import MetalTable

FACES = ("x-", "x+", "y-", "y+", "z-", "z+")
PAD = 2
CHUNK = 10
"""Steps between looks at cancel, record and air."""
STANDS = 0.5
"""Share solid at which metal no longer flows (common practice: 0.15-0.5 for a free front)."""
DRAG = 2.0e3
"""1/s. Pull of the mush on what flows through it, at half the share at which it stands (guess)."""
COLDER, HOTTER = 200.0, 50.0
"""K of table under the solidus and over the hottest metal."""
STILL = 0.5
"""s without noticeable gain after which metal is said to stand."""
WHOLE = 0.9995
"""Share of the cavity from which no more metal finds room in it."""
PASSES = 1e-3
"""Share of the cavity that has to stay of what comes in, while ten times as much leaves at open ends."""


def fill(
    grid: Grid,
    materials: Mapping[int, Any],
    *,
    start: Mapping[int, float] | None = None,
    ends: Mapping[str, Mouth] | None = None,
    until: float,
    full: float = 0.995,
    counts: Sequence[int] = (),
    preset: str = "shop",
    contact: float | Mapping[int, float] = 2000.0,
    begin: Array | None = None,
    surface: Mesh | None = None,
    gravity: Sequence[float] = (0.0, 0.0, -GRAVITY),
    friction: float = 0.0,
    skin: float | Mapping[int, float] = 0.0,
    stands: float = STANDS,
    breath: Breath | None = None,
    gauges: Mapping[str, int] | None = None,
    watch: Watch = quiet,
    checkpoint: Path | None = None,
) -> Filling:
    """Fill the cavity of a tagged grid.

    ``materials``: tag -> the metal (the metal room's result, MetalData, or LiquidData for a run without heat; its cells are the cavity), a
    MediumData or any tag without an entry (wall), or a Mouth; ``ends``: outer face "x-" ... "z+" -> Mouth, wall where absent;
    ``start``: tag -> K for the metal (as it comes in) and media; without it nothing cools; ``begin`` (nx, ny, nz): share of metal there at the
    start; ``until`` [s] and ``full`` (share of the cavity, or of the metal tags that ``counts`` names) end the run, as does metal that gains no more
    and whose pour does not start again, unless ``full`` is above one;
    ``contact``: metal to wall [W/(m2 K)], one for all or tag -> value; ``surface``: the closed mesh of the cavity in the grid's frame [m]: cells and
    faces are then open as far as the mesh says, and metal tags only where the mesh has room count;
    ``friction``: the wall's drag coefficient (Fanning's, a quarter of Darcy's); ``skin`` [N/m], one for all or
    metal tag -> value: pull of the metal's skin, felt in sections under
    8 mm; ``stands``: fraction solid at which metal no longer flows; ``breath``: air shut in presses back and leaks; without it air never resists;
    ``gauges``: name -> tag whose metal's speed is recorded; ``checkpoint``: file to which the run is saved now and then and from which it goes on.

    Raises BadInput for a question that makes no sense, and whatever ``watch`` raises.
    """
    from strickle.kernels import fill as kernel

    as_asked(grid, materials, start, ends, until, full, preset, begin, surface, watch)
    as_ruled(grid, materials, contact, gravity, friction, skin, stands, breath, gauges, checkpoint)
    metal, cavity = _metal(materials)
    kind, room, sides, mouth_of = _box(grid, materials, ends or {}, cavity, surface, kernel)
    if not (kind == kernel.CAVITY).any():
        raise BadInput("the grid has no cavity", "Give the metal's tag to the cells that metal may fill")
    density = metal.density if isinstance(metal, LiquidData) else _liquid(metal)
    heated = (
        _heated(grid, materials, metal, cavity, start, contact, mouth_of, stands, kernel) if start and not isinstance(metal, LiquidData) else None
    )
    filler = kernel.Filler(
        kind, room, sides, grid.cell, density=density, gravity=gravity, knobs=kernel.PRESETS[preset],
        fastest=_fastest(grid, mouth_of, gravity, density), friction=friction, pressed=_pressures(kind, mouth_of),
        inlet=_inlet(mouth_of, heated, kernel), heat=None if heated is None else heated.tables,
        skin=_pull(grid, skin), still=_still(breath, kernel), came_at=0.0 if heated is None else heated.comes,
    )  # fmt: skip
    share = np.zeros(grid.tags.shape) if begin is None else np.asarray(begin, dtype=float)
    filler.put(_padded(share, 0.0), np.full(kind.shape, 0.0 if heated is None else heated.comes))
    if not isinstance(counts, Sequence) or set(counts) - set(cavity):
        raise BadInput("what is to count as full names a tag that is no metal", "Name metal tags under counts, or none")
    wanted = _Wanted(filler, full, np.isin(_padded(grid.tags, 0), list(counts)) if len(counts) else None)
    record = Noted(filler, {name: _padded(grid.tags == tag, False) for name, tag in (gauges or {}).items()}, grid)
    changes = max([_resumes(mouth) for mouth, _ in mouth_of.values() if mouth.kind == "poured"], default=0.0)
    status = _run(filler, record, until, wanted, changes, watch, checkpoint)
    return _told(filler, record, heated, status)


def _metal(materials: Mapping[int, Any]) -> tuple[Any, list[int]]:
    """The one metal and its tags."""
    tags = [tag for tag, m in materials.items() if isinstance(m, LiquidData) or hasattr(m, "curve_temperature")]
    if not tags:
        raise BadInput("no metal is given", "Give a tag a metal, MetalData, or LiquidData for a run without heat")
    if len({id(materials[tag]) for tag in tags}) > 1:
        raise BadInput("two different metals are given", "Give every metal tag the same metal: one casting is one alloy")
    return materials[tags[0]], tags


def _pull(grid: Grid, skin: float | Mapping[int, float]) -> float | Array:
    """Pull of the metal's skin [N/m], for all or by place of the padded box."""
    if not isinstance(skin, Mapping):
        return skin
    out = np.zeros(grid.tags.shape)
    for tag, value in skin.items():
        out[grid.tags == tag] = value
    return _padded(out, 0.0)


def _liquid(metal: Any) -> float:
    """Density of the liquid [kg/m3]; the solid's where the metal does not say."""
    density = float(getattr(metal, "density_liquidus", math.nan))
    return density if math.isfinite(density) else float(metal.density_solidus)


def _resumes(mouth: Mouth) -> float:
    """The last moment [s] at which a pour goes on after it had stopped."""
    again = (mouth.flow[1:] > 0.0) & (mouth.flow[:-1] <= 0.0)
    return float(mouth.times[1:][again].max(initial=0.0))


def _padded(values: Array, empty: Any) -> Array:
    return np.pad(values, PAD, constant_values=empty)


def _box(grid: Grid, materials: Mapping[int, Any], ends: Mapping[str, Mouth], cavity: list[int], surface: Mesh | None, kernel: Any) -> Any:
    """Kinds, open shares and mouths of the padded box."""
    tags = _padded(grid.tags.astype(np.int64), -1)
    inside = np.isin(tags, cavity)
    names = {"open": kernel.OPEN, "held": kernel.PRESSED, "poured": kernel.POURED}
    mouth_of: dict[int, tuple[Mouth, Array]] = {}
    if surface is None:
        room = inside.astype(float)
        sides = (np.ones(tags.shape),) * 3
    else:
        origin = np.asarray(grid.origin) - PAD * grid.cell
        room, *open_sides = kernel.openings(surface.vertices, surface.faces, origin, grid.cell, tags.shape)
        inside = (room > 0.0) & (tags >= 0) & ~np.isin(tags, [t for t, m in materials.items() if isinstance(m, Mouth)])
        sides = tuple(open_sides)
    kind = np.where(inside, kernel.CAVITY, kernel.SOLID).astype(np.uint8)
    number = 0
    for tag, mouth in materials.items():
        if isinstance(mouth, Mouth):
            where = tags == tag
            kind[where] = names[mouth.kind]
            mouth_of[number] = (mouth, where)
            number += 1
    for face, mouth in ends.items():
        axis, is_high = "xyz".index(face[0]), face[1] == "+"
        at = tags.shape[axis] - PAD if is_high else PAD - 1
        where = np.zeros(tags.shape, dtype=bool)
        where[tuple(at if a == axis else slice(PAD, -PAD) for a in range(3))] = True
        kind[where] = names[mouth.kind]
        mouth_of[number] = (mouth, where)
        number += 1
    if surface is not None:
        sides = _mouths_open(kind, room, sides, kernel)
    return kind, room, sides, mouth_of


def _mouths_open(kind: Array, room: Array, sides: Any, kernel: Any) -> Any:
    """The face of a mouth where the surface ends just there: as open as the cell behind it and that cell's far side make it, straight between."""
    out = []
    for axis, side in enumerate(sides):
        old, side = side, side.copy()
        low = [slice(None)] * 3
        high = [slice(None)] * 3
        low[axis], high[axis] = slice(None, -1), slice(1, None)
        lo, hi = tuple(low), tuple(high)
        ends_low = (kind[lo] >= kernel.OPEN) & (kind[hi] == kernel.CAVITY)
        ends_high = (kind[hi] >= kernel.OPEN) & (kind[lo] == kernel.CAVITY)
        part = side[hi]
        far_low, far_high = np.zeros_like(part), np.zeros_like(part)
        before = [slice(None)] * 3
        before[axis] = slice(None, -1)
        far_high[:] = old[tuple(before)]
        after = [slice(None)] * 3
        after[axis] = slice(1, None)
        far_low[tuple(before)] = old[hi][tuple(after)]
        part[ends_low] = np.maximum(part[ends_low], np.clip(2.0 * room[hi] - far_low, 0.0, 1.0)[ends_low])
        part[ends_high] = np.maximum(part[ends_high], np.clip(2.0 * room[lo] - far_high, 0.0, 1.0)[ends_high])
        out.append(side)
    return tuple(out)


def _pressures(kind: Array, mouth_of: Any) -> Array:
    out = np.zeros(kind.shape)
    for mouth, where in mouth_of.values():
        if mouth.kind == "held":
            out[where] = mouth.pressure
    return out


def _fastest(grid: Grid, mouth_of: Any, gravity: Sequence[float], density: float) -> float:
    """No metal can be faster than a fall through the whole box under the highest pressure, with room for what the grid does [m/s]."""
    size = np.array(grid.tags.shape) * grid.cell
    fall = float(np.abs(np.asarray(gravity)) @ size)
    press = max([m.pressure for m, _ in mouth_of.values() if math.isfinite(m.pressure)], default=0.0)
    return 2.0 * math.sqrt(2.0 * (fall + max(press, 0.0) / density)) + 5.0


def _still(breath: Breath | None, kernel: Any) -> Any:
    if breath is None:
        return None
    return kernel.Still(breath.passage, breath.way, None if breath.vents is None else _padded(breath.vents, 0.0))


@dataclass(frozen=True)
class Heated:
    """Heat of a run: the kernel's tables, the metal's own, and heat content as it comes in."""

    tables: Any
    table: MetalTable
    holds: float
    comes: float


def _heated(
    grid: Grid, materials: Mapping[int, Any], metal: Any, cavity: list[int], start: Mapping[int, float], contact: float | Mapping[int, float],
    mouth_of: Any, stands: float, kernel: Any,
) -> Heated:  # fmt: skip
    pour = start.get(cavity[0])
    if pour is None:
        raise BadInput("no temperature is given for the metal", "Give one in kelvin under the metal's tag in ``start``")
    hottest = max([pour, *(float(np.nanmax(m.temperature)) for m, _ in mouth_of.values() if np.isfinite(m.temperature).any())])
    table = _table(metal, hottest)
    tags = _padded(grid.tags.astype(np.int64), -1)
    soak, cold, touch = (np.full(tags.shape, v) for v in (1000.0, 293.15, 2000.0))
    media = [(tag, m) for tag, m in materials.items() if hasattr(m, "heat_capacity")]
    for tag, medium in media:
        here = tags == tag
        soak[here] = math.sqrt(medium.conductivity * medium.density * medium.heat_capacity)
        if tag not in start:
            raise BadInput(f"no starting temperature is given for tag {tag}", "Give one in kelvin for the metal and every medium")
        cold[here] = start[tag]
    if media:  # beyond the grid and in cut cells: the first medium
        beyond = (tags < 0) | np.isin(tags, cavity)
        first = media[0][1]
        soak[beyond] = math.sqrt(first.conductivity * first.density * first.heat_capacity)
        cold[beyond] = start[media[0][0]]
    if isinstance(contact, Mapping):
        for tag, value in contact.items():
            touch[tags == tag] = value
    else:
        touch[:] = contact
    holds = _liquid(metal) * table.heat
    tables = kernel.Heat(
        table.least, table.step, table.temperature, table.solid, holds, float(metal.liquid_conductivity), touch, soak, cold, DRAG, stands
    )
    return Heated(tables, table, holds, float(table.u_at(pour)))


def _table(metal: Any, hottest: float) -> MetalTable:
    """The metal's heat content against temperature, of the liquid's density."""
    from strickle.kernels.freeze_tables import Refused, metal_table

    try:
        return metal_table(
            metal.curve_temperature, metal.curve_solid, latent_heat=metal.latent_heat, solid_heat_temperature=metal.solid_heat_temperature,
            solid_heat=metal.solid_heat, liquid_heat=metal.liquid_heat, solid_conductivity_temperature=metal.solid_conductivity_temperature,
            solid_conductivity=metal.solid_conductivity, liquid_conductivity=metal.liquid_conductivity, density=_liquid(metal),
            lowest=float(np.min(metal.curve_temperature)) - COLDER, highest=max(hottest, float(np.max(metal.curve_temperature))) + HOTTER,
        )  # fmt: skip
    except Refused as trouble:
        raise BadInput(f"the metal cannot be used: {trouble}", "Look at its freezing curve, heat capacities and conductivities") from trouble


def _inlet(mouth_of: Any, heated: Heated | None, kernel: Any) -> Any:
    poured = [mouth for mouth, _ in mouth_of.values() if mouth.kind == "poured"]
    if not poured:
        return None
    if len(poured) > 1:
        raise BadInput("metal is poured in at two mouths", "Give one poured mouth; others may be held or open")
    mouth = poured[0]
    comes = 0.0 if heated is None else heated.comes
    warm = np.array([comes if heated is None or not math.isfinite(t) else float(heated.table.u_at(t)) for t in mouth.temperature])
    return kernel.Inlet(mouth.times, mouth.flow, warm, mouth.pressure, mouth.shut)


class Noted:
    """What is noted while the run goes on."""

    def __init__(self, filler: Filler, gauges: Mapping[str, Array], grid: Grid) -> None:
        self.filler, self.grid = filler, grid
        self.names = tuple(gauges)
        self.cells = [filler.numbers_of(np.asarray(where)) for where in gauges.values()]
        self.rows: list[tuple[float, ...]] = []
        self.pockets: list[tuple[float, float, Array]] = []
        self.metal, self.since = filler.metal(), filler.time
        """Metal at the last noticeable gain, and its moment."""
        self.most, self.when, self.left = self.metal, self.since, 0.0
        """The most metal there was, when it was, and what had left by then."""
        self.look()

    def look(self) -> None:
        """Note this moment."""
        if abs(self.filler.metal() - self.metal) > 1e-4 * self.filler.room:
            self.metal, self.since = self.filler.metal(), self.filler.time
        told = self.filler.tally()
        if self.filler.metal() > self.most + PASSES * self.filler.room:
            self.most, self.when, self.left = self.filler.metal(), self.filler.time, told["outflow"]
        if self.rows and told["time"] <= self.rows[-1][0]:
            return
        speeds = [self.filler.gauge(cells) for cells in self.cells]
        self.rows.append((told["time"], self.filler.metal(), told["inflow"], *(v for pair in speeds for v in pair)))
        for volume, at in zip(*self.filler.closed_air(), strict=True):
            place = np.asarray(self.grid.origin) + (at - PAD) * self.grid.cell
            if not any(
                np.linalg.norm(place - old) < 0.5 * (6.0 * before / math.pi) ** (1.0 / 3.0) + 2.0 * self.grid.cell for _, before, old in self.pockets
            ):
                self.pockets.append((told["time"], float(volume), place))

    def passes(self) -> bool:
        """Whether for a while metal has left at open ends while no more of it stayed: it only passes through."""
        gone = self.filler.tally()["outflow"] - self.left
        return self.filler.time - self.when > STILL and gone > 10.0 * PASSES * self.filler.room

    def saved(self) -> dict[str, Array]:
        """For a run that is taken up again."""
        pockets = np.array([(when, volume, *at) for when, volume, at in self.pockets]).reshape(-1, 5)
        return {"rows": np.array(self.rows), "pockets": pockets, "gained": np.array([self.metal, self.since, self.most, self.when, self.left])}

    def restore(self, kept: dict[str, Array]) -> None:
        """Go on from what was saved."""
        self.rows = [tuple(row) for row in kept["rows"].tolist()]
        self.pockets = [(float(row[0]), float(row[1]), row[2:]) for row in kept["pockets"]]
        self.metal, self.since, self.most, self.when, self.left = (float(v) for v in kept["gained"])


class _Wanted:
    """How full is full: a share of the cavity, or of some of its cells."""

    def __init__(self, filler: Filler, full: float, counted: Array | None) -> None:
        self.filler, self.full = filler, full
        self.cells = None if counted is None else filler.numbers_of(counted)

    @property
    def of_all(self) -> float:
        """Share of the cavity after which a step may end."""
        return self.full if self.cells is None or self.full > 1.0 else WHOLE

    def share(self) -> float:
        """What is full of what counts."""
        if self.cells is None:
            return self.filler.metal() / self.filler.room
        return self.filler.share_of(self.cells)


def _run(filler: Filler, record: Noted, until: float, wanted: _Wanted, changes: float, watch: Watch, checkpoint: Path | None) -> str:
    """Step to an end; ``changes`` [s]: when a stopped pour goes on for the last time, before which metal that stands may yet move."""
    from strickle.kernels.fill import FILLED, STUCK, TIMED, WILD
    from strickle.pour.keep import Keeper

    full = wanted.full
    keeper = Keeper(checkpoint, filler, record)
    keeper.resume()
    while True:
        why = filler.advance(until, CHUNK, wanted.of_all)
        record.look()
        share = wanted.share()
        watch(min(max(share / full, filler.time / until), 1.0), f"filling: {filler.time:.1f} s poured, {share:.0%} full")
        if why == FILLED or share >= full:
            keeper.done()
            return "filled"
        if why == TIMED:
            keeper.done()
            return "done"
        if why == STUCK:
            return "the pressure was not found: take a coarser grid or the preset fine"
        if why == WILD:
            return "the speeds ran wild: take the preset fine"
        if full <= 1.0 and record.passes():
            keeper.done()
            return "stands"
        if full <= 1.0 and filler.time - max(record.since, changes) > STILL and record.rows[-1][2] - record.rows[-2][2] <= 1e-6 * filler.room:
            keeper.done()
            return "stands"
        keeper.keep()


def _told(filler: Filler, record: Noted, heated: Heated | None, status: str) -> Filling:
    from strickle.pour.told import told

    return told(filler, record, heated, status)
