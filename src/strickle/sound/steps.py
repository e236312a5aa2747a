"""Freeze the closed mould and judge it."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from strickle.base import Array, BadInput, Finding, Grid, Source, Span, Value, Watch, tell
from strickle.cavity import AIR, CHILL, GRAPHITE, METAL_TAGS, RISER, SAND, SLEEVE, Cavity
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.pour import Pour
from strickle.rigging import Rigging
from strickle.sound import rules
from strickle.sound.ask import SoundAsk
from strickle.sound.back import back_of
from strickle.sound.back_findings import back_findings
from strickle.sound.begun import Begun, Beside, begun
from strickle.sound.cooling import APART, Cooled, merged, to_the_knock_out, to_the_touch
from strickle.sound.criteria import MARKS, fields_of, summary
from strickle.sound.feeding import Feeding, marks_for
from strickle.sound.findings import findings_of
from strickle.sound.freezing import on_grid
from strickle.sound.judge import Fields, joints, last_place, late, pools, weakest
from strickle.sound.pegging import asked_for, by_default, driven, told
from strickle.sound.result import Sound
from strickle.sound.void_findings import void_findings
from strickle.sound.voids import closed_voids, feeding_of, reaches
from strickle.stores import Stores

if TYPE_CHECKING:
    from strickle.kernels.freeze_types import Knobs, Near
    from strickle.kernels.freeze_wall import Mesh as KernelMesh


def freeze(
    part: Part,
    pattern: Pattern,
    mould: Mould,
    rigging: Rigging,
    cavity: Cavity,
    metal: Metal,
    melt: Melt,
    stores: Stores,
    ask: SoundAsk,
    watch: Watch,
    pour: Pour | None = None,
) -> Sound:
    """Solve the freezing of the tagged grid with its open tops and outer flask faces, then judge pools, necks and gradients.

    After a solved filling (``pour``) it begins with what that left: metal as warm as it came to lie, heat already in the sand, and no metal
    where none came; else with a full mould as hot as it is poured, in cold sand.

    Raises BadInput when a constant the solve needs is missing from the stores; a solve that does not finish says so in a STOP finding.
    """
    from strickle.kernels.freeze_types import PRESETS

    face, back = rigging.open_pour, None
    if face is None and ask.cover is not None:
        raise BadInput("a cover on the open face is asked for, and a two-part mould has none", "Leave it out, or take --mould open-face")
    constants = _Constants(stores)
    knock_out = _knock_out(ask, metal, constants)
    set_up = _SetUp(mould, cavity, metal, melt, stores.kit.ambient, ask.cover == "dry", constants)
    left = set_up.left(cavity.grid, pour)
    if left is not None:
        cavity = dataclasses.replace(cavity, grid=dataclasses.replace(cavity.grid, tags=left.tags))
    is_whole = left is None or left.empty == 0.0
    tags, merge = merged(cavity.grid.tags, cavity.fraction)
    together = merge == 1 and ask.knock_out and not ask.merged
    touch = cooling = Cooled.none()
    if ask.knock_out:
        touch = to_the_touch(set_up, cavity, knock_out, stores.kit.ambient, constants, watch)
        if together or ask.merged:
            cooling = dataclasses.replace(touch, time=touch.below)
        else:
            cooling = to_the_knock_out(set_up, tags, merge, cavity.cell, knock_out, watch)
    wanted = asked_for(ask.pegs, pattern) or by_default(part, pattern, cavity, cooling.solidus, cooling.edge)
    pegs = driven(wanted, cavity)
    critical = constants("feed.critical_solid").value
    marks = marks_for(critical)
    out = set_up.solve(
        cavity.grid.tags,
        cavity.grid.cell,
        knock_out if together else None,
        PRESETS[ask.preset],
        watch,
        on_grid(rigging.casting, cavity.grid.origin) if is_whole else None,
        marks=(*marks, *MARKS),
        probes=pegs.cells,
        begin=None if left is None else left.temperature,
    )
    fields = Fields(solidus=out.time_to_solidus, tags=cavity.grid.tags, cell=cavity.grid.cell, origin=cavity.grid.origin)
    sand = stores.sands[mould.sand].values["k"]
    time_error, superheat_error = rules.grid_error(part.least_wall, cavity.cell, metal.liquidus - metal.solidus)
    spread = rules.with_error(rules.freezing_spread(mould.sand_conductivity, sand.low, sand.high), time_error)
    threshold = constants("niyama.threshold")
    alone = pools(fields)
    necks = joints(fields, cavity, part, pattern, rigging, alone) if out.status == "done" else ()  # a broken solve judges nothing
    niyama = np.asarray(out.niyama) / 1000.0
    weak, share = weakest(niyama, fields, pattern, threshold.value)
    metal_cells = np.isin(cavity.grid.tags, METAL_TAGS)
    own = np.isin(cavity.grid.tags, METAL_TAGS[:1])
    apart = 0.0 if together else APART
    below = out.below_time if together else cooling.time if out.status == "done" else float("nan")
    noted = np.array(out.time_at[len(marks) :])
    made = fields_of(out, noted, cavity.grid.tags, cavity.cell, metal, constants("air.pressure").value, constants("porosity.critical_pressure").value)
    tear = constants("hot_tear.ratio")
    shown, curves, lost = told(wanted, pegs, out.probe_times, out.probe_temperatures, pattern, cavity)
    result: dict[str, Any] = {
        "last_to_freeze": last_place(fields, pattern, spread),
        "others": tuple(late(p.at, p.time, pattern, spread) for p in alone),
        "time_to_liquidus": float(np.nanmax(np.where(own, out.time_to_liquidus, np.nan))),
        "necks": necks,
        "least_niyama": weak,
        "poor_share": share,
        "riser_time": _band(_last(fields.solidus, cavity.grid.tags == RISER, metal_cells), spread),
        "knock_out_time": _band(below, (spread[0] * (1.0 - apart), spread[1] * (1.0 + apart))),
        "knock_out_temperature": knock_out,
        "touch_time": _band(touch.time, (spread[0] * (1.0 - touch.apart), spread[1] * (1.0 + touch.apart))),
        "touch_temperature": constants("touch.temperature").value,
        "balance_error": float(out.balance),
        "work": set_up.work,
        "time_error": time_error,
        "superheat_error": superheat_error,
        "criteria": summary(made, fields, pattern, metal),
        "pegs": shown,
        "begins": "even" if left is None else "filled",
        "begin_metal": melt.pour_temperature.value if left is None else float(np.nanmean(left.temperature[own])) if own.any() else float("nan"),
        "begin_sand": 0.0 if left is None else left.heat,
    }
    feeding: Feeding | None = None
    heard: tuple[Finding, ...] = ()
    if out.status == "done":
        poured = melt.pour_temperature.value
        feeding = feeding_of(
            cavity,
            out.volume,
            out.time_to_liquidus,
            out.time_to_coherency,
            np.array(marks),
            np.array(out.time_at[: len(marks)]),
            out.time_to_solidus,
            metal,
            poured if left is None else left.temperature[metal_cells],
            critical,
        )
        closes = np.full(metal_cells.shape, np.nan)
        closes[metal_cells] = out.time_at[marks.index(critical)]
        if face is not None:
            back = back_of(feeding, closes, cavity, pattern, face, metal, poured, ask.cover == "dry", stores)
            heard = back_findings(back, metal, pattern.stock * float(pattern.scale[2]))
        else:
            heard = void_findings(feeding, closed_voids(feeding, closes, cavity, rules.SINK.low), reaches(feeding, cavity), metal, pattern)
    return Sound(
        **result,
        back=back,
        feeding=feeding,
        findings=heard
        + findings_of(
            result=result,
            status=out.status,
            pools=alone if back is None else (),  # what an open back loses is told with the back
            part=part,
            pattern=pattern,
            rigging=rigging,
            metal=metal,
            threshold=threshold,
            origin=constants.says(threshold),
            tear=tear,
            lost=lost,
            feeding=feeding,
        ),
        sources=tuple(constants.used) + _method(),
        time_to_solidus=out.time_to_solidus,
        time_to_coherency=out.time_to_coherency,
        time_lose_superheat=out.time_to_liquidus,
        niyama=niyama,
        freezing_time=made.freezing_time,
        arm_spacing=made.arm_spacing,
        dimensionless_niyama=made.dimensionless_niyama,
        hot_tear=made.hot_tear,
        peg_times=out.probe_times,
        peg_temperatures=curves,
    )


def _knock_out(ask: SoundAsk, metal: Metal, constants: _Constants) -> float:
    """The knock-out temperature [K]: the person's own, else the metal's. Raises BadInput for one at which metal is not solid."""
    if ask.knock_out_temperature is None:
        return constants(f"knock_out.{metal.family}").value
    if ask.knock_out_temperature >= metal.solidus:
        raise BadInput(
            f"{metal.name} is not solid at the knock-out temperature asked for",
            f"Give one under {tell(metal.solidus, 'K')}, or leave it out",
        )
    return ask.knock_out_temperature


class _Constants:
    """Constants by name; remembers the sources of those really used."""

    def __init__(self, stores: Stores) -> None:
        self.stores = stores
        self.used: list[Source] = []

    def __call__(self, name: str) -> Value:
        value = self.stores.constants.get(name)
        if value is None:
            raise BadInput(f"the stores hold no {name}", "Restore the package's data files")
        source = self.stores.sources.get(value.source)
        if source is not None and source not in self.used:
            self.used.append(source)
        return value

    def says(self, value: Value) -> str:
        """The citation of a value and how we know it."""
        source = self.stores.sources.get(value.source)
        return f"{source.says if source is not None else value.source} ({value.mark})"


def _method() -> tuple[Source, ...]:
    return (
        Source(
            key="rkl",
            says=(
                "Meyer, Balsara, Aslam, A stabilized Runge-Kutta-Legendre method for explicit super-time-stepping of parabolic and mixed equations,"
                " J. Comput. Phys. 257 (2014)"
            ),
            mark="memory",
        ),
        Source(key="niyama", says="Niyama, Uchida, Morikawa, Saito, AFS Int. Cast Metals J. 7(3), 1982, 52-63", mark="memory"),
    )


class _SetUp:
    """The mould's materials and faces, for any grid of it."""

    def __init__(self, mould: Mould, cavity: Cavity, metal: Metal, melt: Melt, ambient: float, covered: bool, constants: _Constants) -> None:
        from strickle.kernels import freeze as kernel

        self.start = melt.pour_temperature.value
        self.contact = kernel.Contact(mould.contact, min(constants("contact.metal_sand_late").value, mould.contact))
        self.coherency = float(np.interp(-metal.coherency, -metal.curve_temperature, metal.curve_solid))
        self.longest = _longest(cavity, metal, mould)
        self.work = 0.0
        self.table = kernel.metal_table(
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
            lowest=ambient - 20.0,
            highest=self.start + 50.0,
        )
        sand = kernel.MediumTable(mould.sand_conductivity, mould.sand_density, mould.sand_heat, ambient)
        self.media, self.contacts = {SAND: sand}, {SAND: self.contact}
        self._inserts(cavity.grid.tags, ambient, constants)
        flask = kernel.film(constants("flask.film").value, ambient)
        self.top = kernel.film(*open_top(constants("open_top.film").value, metal.emissivity, ambient, covered))
        self.faces = (*[flask] * 5, self.top)

    def left(self, grid: Grid, pour: Pour | None) -> Begun | None:
        """What a solved filling left; None where it was not solved."""
        if pour is None or pour.handed is None:
            return None
        return begun(grid, pour.handed, {tag: _beside(medium) for tag, medium in self.media.items()}, self.start)

    def _inserts(self, tags: Array, ambient: float, constants: _Constants) -> None:
        """What lies in the sand: chills and sleeves, where there are any. They start as warm as the sand."""
        from strickle.kernels import freeze as kernel

        for tag, material in ((CHILL, "chill.steel_k"), (GRAPHITE, "chill.graphite_k"), (SLEEVE, "sleeve.conductivity")):
            if not np.any(tags == tag):
                continue
            stem = material.removesuffix("k").removesuffix("conductivity")
            conductivity, density, heat = (constants(name).value for name in (material, f"{stem}density", f"{stem}heat_capacity"))
            self.media[tag] = kernel.MediumTable(conductivity, density, heat, ambient)
            self.contacts[tag] = self.contact
            if tag != SLEEVE:
                start, late = constants("contact.chill_start").value, constants("contact.chill_late").value
                self.contacts[tag] = kernel.Contact(start, min(start, late))

    def solve(
        self,
        tags: Array,
        cell: float,
        knock_out: float | None,
        knobs: Knobs,
        watch: Watch,
        surface: KernelMesh | None = None,
        *,
        near: Near | None = None,
        heavier: float = 1.0,
        longest: float | None = None,
        marks: Sequence[float] = (),
        probes: Array | None = None,
        begin: Array | None = None,
    ) -> Any:
        """The kernel's answer on ``tags`` (nx, ny, nz) with edge ``cell`` [m], run on to ``knock_out`` [K] where one is given.

        ``heavier`` multiplies the metal's density where the cells hold less of it than there is; the rest is the kernel's.
        """
        from strickle.kernels import freeze as kernel

        table = self.table._replace(density=self.table.density * heavier, potential=self.table.potential / heavier)

        there = set(np.unique(tags).tolist())
        present = [tag for tag in METAL_TAGS if tag in there]
        out = kernel.solve(
            tags,
            cell,
            table,
            {tag: medium for tag, medium in self.media.items() if tag in there},
            metal_start=dict.fromkeys(present, self.start),
            contact={(tag, beside): value for tag in present for beside, value in self.contacts.items() if beside in there},
            faces=self.faces,
            open_faces={AIR: self.top} if np.any(tags == AIR) else None,
            below=knock_out,
            wait_below=knock_out is not None,
            coherency=self.coherency,
            knobs=knobs,
            longest=self.longest if longest is None else longest,
            near=near,
            marks=marks,
            probes=probes,
            watch=watch,
            surface=surface,
            begin=begin,
        )
        self.work += out.work
        return out


def _beside(medium: Any) -> Beside:
    """A medium of the kernel as the filling's heat is laid into it."""
    capacity = medium.density * medium.heat
    return Beside(capacity=capacity, diffusivity=medium.conductivity / capacity, cold=medium.start)


def open_top(film: float, emissivity: float, ambient: float, covered: bool) -> tuple[float, float, float]:
    """What an open surface loses heat by: film [W/(m2 K)], surroundings [K], emissivity; a dry cover lets through what conducts.

    >>> [round(v, 2) for v in open_top(9.0, 0.3, 293.15, True)]
    [5.0, 293.15, 0.0]
    """
    if not covered:
        return film, ambient, emissivity
    return 1.0 / (rules.COVER_THICK.value / rules.COVER_CONDUCTIVITY.value + 1.0 / rules.COVER_FILM.value), ambient, 0.0


def _longest(cavity: Cavity, metal: Metal, mould: Mould) -> float:
    """A time no honest freezing of this metal takes: a hundred times Chvorinov's time of the whole, an hour at the least [s]."""
    effusivity = mould.sand_conductivity * mould.sand_density * mould.sand_heat
    modulus = cavity.metal_volume / max(cavity.mesh_area, 1e-9)
    step = metal.density_solidus * metal.latent_heat / max(metal.solidus - 293.15, 1.0)
    return max(3600.0, 100.0 * (np.pi / 4.0) * (modulus * step) ** 2 / effusivity)


def _band(time: float, spread: tuple[float, float]) -> Span:
    return Span(value=time, low=time * spread[0], high=time * spread[1])


def _last(times: Array, risers: Array, metal: Array) -> float:
    """When the last riser is solid; without risers, when the last metal is."""
    mine = times[risers] if risers.any() else times[metal]
    return float(np.nanmax(mine)) if np.isfinite(mine).any() else float("nan")
