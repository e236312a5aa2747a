"""The state of a freezing run: everything by tag, by face and by cell, made ready before the first step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from strickle.kernels import freeze_steps as steps
from strickle.kernels.freeze_guard import freezing_time, long_axis_last, refuse
from strickle.kernels.freeze_media import content, laws
from strickle.kernels.freeze_media_steps import media_sum
from strickle.kernels.freeze_setup import FILM, MEDIUM, METAL, NOTHING, OUTER, WALL, Layout, lay_out
from strickle.kernels.freeze_tables import Floats, MetalTable, Refused
from strickle.kernels.freeze_types import LIQUIDUS_OFFSET, Contact, FaceSpec, Knobs, MediumTable, Near
from strickle.kernels.freeze_wall import Mesh, Shape, free_of, plain, shaped

RUNAWAY = 20.0  # K of heat content past all that the mould began with, from which a run is held to have diverged
MUSH_NODES = 1025  # of the freezing range, at which the opening of a gap is tabulated
STIR = 0.01  # K off its medium's start from which a cell counts as having begun otherwise
QUICK = 0.35  # a medium whose explicit limit is under this share of the slowest one's is stepped on its own
SAFE_MEDIA = 0.9  # share of the explicit limit of the media
SAFE_QUICK = 0.45  # the same within a medium stepped on its own: none of its waves may turn sign, since what its faces give is added besides
FOURIER = 0.045  # step times diffusivity over dx2 that a skin is taken to be stepped by where its load on a cell is reckoned
LIQUIDUS, COHERENCY, SOLIDUS, BELOW, BEFORE, AT, AFTER = range(7)


class Spots(NamedTuple):
    """Cells by their places in the flat fields."""

    outer: NDArray[np.int64]  # in the media's field
    inner: NDArray[np.int64]  # in the metal's field
    is_metal: NDArray[np.bool_]
    is_known: NDArray[np.bool_]  # metal or medium
    tag: NDArray[np.uint8]


class State:
    """One problem, made ready to step."""

    def __init__(
        self,
        tags: NDArray[np.uint8],
        cell: float,
        metal: MetalTable | None,
        media: Mapping[int, MediumTable],
        metal_start: Mapping[int, float],
        contact: Mapping[tuple[int, int], float | Contact],
        faces: Sequence[FaceSpec],
        open_faces: Mapping[int, FaceSpec],
        knobs: Knobs,
        surface: Mesh | None = None,
        begin: Floats | None = None,
        coherency: float = 0.25,
    ) -> None:
        tags = np.asarray(tags)
        refuse(tags, cell, metal, media, metal_start, contact, faces, open_faces, begin)
        self.cell, self.metal, self.knobs, self.coherency = float(cell), metal, knobs, coherency
        self.axes = long_axis_last(tags, list(metal_start))
        inner = np.ascontiguousarray(tags.transpose(self.axes))
        self.limits = () if begin is None or not np.isfinite(begin).any() else (float(np.nanmin(begin)), float(np.nanmax(begin)))
        self._tables(media, metal_start, contact, [faces[2 * a + side] for a in self.axes for side in (0, 1)], open_faces)
        with np.errstate(divide="ignore", invalid="ignore"):
            diffusivity = np.where(self.kind == MEDIUM, self.conductivity / self.capacity, 0.0)
        own = None if begin is None else np.where(np.isfinite(begin), begin, self.start[tags]).transpose(self.axes)
        stirred = None if own is None else (np.abs(own - self.start[inner]) > STIR) & (self.kind == MEDIUM)[inner]
        quick = _quick(diffusivity * self.law.steepest)
        self.layout: Layout = lay_out(inner, self.kind, self.cell, diffusivity, self.start, self.ambient, quick, stirred)
        self.own = None if own is None else np.pad(own, 1, constant_values=np.nan)
        if surface is None or not (self.kind == METAL)[self.layout.tags].any():
            self.shape: Shape = plain(self.layout)
        else:
            turned = Mesh(np.asarray(surface.vertices, dtype=float)[:, list(self.axes)], np.asarray(surface.faces, dtype=np.int64))
            if np.linalg.det(np.eye(3)[list(self.axes)]) < 0.0:
                turned = Mesh(turned.vertices, np.ascontiguousarray(turned.faces[:, ::-1]))
            self.shape = shaped(self.layout, self.kind, quick, turned, self.cell, self.contact)
            self.layout = free_of(self.layout, self.shape.odd)
        self._media_arrays(diffusivity)
        self._metal_arrays()
        self.time, self.count, self.stages, self.out = 0.0, 0, 0, 0.0
        self.worst = 0.0

    # ------------------------------------------------------------------ setting up

    def _tables(
        self,
        media: Mapping[int, MediumTable],
        metal_start: Mapping[int, float],
        contact: Mapping[tuple[int, int], float | Contact],
        outer: Sequence[FaceSpec],
        open_faces: Mapping[int, FaceSpec],
    ) -> None:
        """Everything by tag."""
        self.kind = np.full(256, NOTHING, np.uint8)
        self.conductivity, self.capacity, self.start, self.ambient, self.h, self.emissivity = np.zeros((6, 256))
        self.contact, self.gap = np.zeros((2, 256, 256))
        beyond = [spec.temperature for spec in (*outer, *open_faces.values()) if spec.kind != "adiabatic"]
        known = [*metal_start.values(), *(medium.start for medium in media.values()), *beyond, *self.limits]
        coldest, hottest = min(known, default=293.15), max(known, default=293.15)
        self.law = laws(media, coldest, hottest)
        ends = [float(content(self.law, tag, np.array([t]))[0]) for tag in media for t in (coldest, hottest)]
        self.bounds = min([0.0, *ends]) - RUNAWAY, max([hottest, *ends]) + RUNAWAY
        for tag in media:
            self.kind[tag] = MEDIUM
        self.conductivity[:], self.capacity[:], self.start[:] = self.law.conductivity, self.law.capacity, self.law.start
        for tag, temperature in metal_start.items():
            self.kind[tag], self.start[tag] = METAL, temperature
        boundaries = {OUTER + i: spec for i, spec in enumerate(outer)} | dict(open_faces)
        for tag, spec in boundaries.items():
            self.kind[tag] = {"adiabatic": NOTHING, "fixed": WALL, "film": FILM}[spec.kind]
            self.ambient[tag], self.h[tag], self.emissivity[tag] = spec.temperature, spec.h, spec.emissivity
            if spec.kind == "film" and spec.h == 0.0 and spec.emissivity == 0.0:
                self.kind[tag] = NOTHING
        for (one, two), value in contact.items():
            early, late = value if isinstance(value, Contact) else (value, value)
            self.contact[one, two] = self.contact[two, one] = 1.0 / early
            self.gap[one, two] = self.gap[two, one] = 1.0 / late - 1.0 / early

    def _media_arrays(self, diffusivity: Floats) -> None:
        """Media temperatures, face conductances and the explicit limit."""
        faces, dx = self.layout.faces, self.cell
        self.flat_tags = tags = self.layout.tags.reshape(-1)
        self.old = self.start[tags]
        if self.own is not None:
            for tag in np.flatnonzero(self.kind == MEDIUM):
                mine = tags == tag
                self.old[mine] = content(self.law, int(tag), self.own.reshape(-1)[mine])
        self.new = self.old.copy()
        law, curved = self.law, bool(self.law.curved.any())
        self.flow = self.old.copy() if curved or self.layout.quick_first.size else None
        self.work_cells = np.empty_like(self.old) if self.layout.quick_first.size else np.empty(0)
        is_medium = self.kind == MEDIUM
        self.per_area = np.where(is_medium, 1.0 / np.where(is_medium, self.capacity * dx, 1.0), 0.0)
        self.half = half = np.where(is_medium, 0.5 * dx / np.where(is_medium, self.conductivity, 1.0), 0.0)
        pair = faces.pair
        form = self.shape
        self.skin_heat = form.skin * dx * (self.capacity * law.mean)[pair[:, 1]]
        self.skin = self.start[pair[:, 1]].copy() if self.own is None else self.own.reshape(-1)[faces.medium.astype(np.int64)].copy()
        self.skin_begin = self.skin.copy()
        self.rest, self.gaps = self.contact[pair[:, 0], pair[:, 1]], self.gap[pair[:, 0], pair[:, 1]]
        self.near = np.where(form.skin > 0.0, form.skin, 2.0 * form.touch_medium) * half[pair[:, 1]]
        behind = np.maximum((form.touch_medium - 0.5 * form.skin) * dx, 1e-12)
        self.beyond = self.conductivity[pair[:, 1]] / behind
        self.onward = np.zeros_like(self.beyond)
        self.away, self.film_away = form.touch_metal * dx, form.film_metal * dx
        pair = faces.cross_pair
        apart = np.isin(pair, self.layout.quick_tag).all(axis=1)  # faces between two media that are stepped on their own
        self.apart, self.apart_pair, self.apart_rest = faces.cross[apart], pair[apart], self.contact[pair[:, 0], pair[:, 1]][apart]
        self.cross, self.cross_pair = faces.cross[~apart], pair[~apart]
        self.cross_rest = self.contact[self.cross_pair[:, 0], self.cross_pair[:, 1]]
        self.kind_wall = self.kind == WALL
        self.factor0 = diffusivity / dx**2
        self.media_begin = 0.0
        self._media_limit(diffusivity)
        if self.own is not None:
            self.media_begin = self._media_heat(self.layout.seg_first.size)

    def _media_limit(self, diffusivity: Floats) -> None:
        """The explicit limit of the media; cells that the wall cuts small are foreseen and set none."""
        faces, dx, form, half = self.layout.faces, self.cell, self.shape, self.half
        steep = self.factor0 * self.law.steepest
        best_ratio = np.maximum(self.law.steepest, 1.0)
        cross_u = self._across(self.cross_pair, self.cross_rest, best_ratio)
        pair = faces.open_pair
        open_gk = best_ratio[pair[:, 0]] / half[pair[:, 0]] if faces.open.size else np.empty(0)
        hottest = max(float(self.start.max()), float(self.ambient.max()), *self.limits, 0.0)
        lin = self.h + 4.0 * self.emissivity * steps.SIGMA * hottest**3
        film_u = open_gk * lin[pair[:, 1]] / (open_gk + lin[pair[:, 1]] + 1e-300)
        open_u = np.where(self.kind_wall[pair[:, 1]], open_gk, film_u)
        best = float(self.metal.conductivity.max()) if self.metal is not None else 1.0
        met = 1.0 / np.maximum(self.rest + self.near / best_ratio[faces.pair[:, 1]] + self.away / best, 1e-30)
        kap = self.skin_heat / (FOURIER * dx**2 / np.maximum(diffusivity[faces.pair[:, 1]], 1e-30))
        on = self.beyond * best_ratio[faces.pair[:, 1]]
        touch_u = form.touch_area * np.where(form.skin > 0.0, on * (1.0 - on / (kap + met + on)), met)
        cells = np.concatenate([faces.medium, self.cross.reshape(-1), faces.open]).astype(np.int64)
        pairs = np.concatenate([faces.pair[:, 1], self.cross_pair.reshape(-1), faces.open_pair[:, 0]])
        loads = np.concatenate([touch_u, np.repeat(cross_u, 2), open_u]) * self.per_area[pairs]
        there = np.flatnonzero(np.bincount(self.layout.seg_tag, minlength=256))
        rate = 6.0 * float(steep[there].max()) if there.size else 0.0
        quick = np.unique(self.layout.quick_tag)
        self.quick_rate = self._quick_rate(steep, best_ratio)
        self.small = np.zeros(0, np.uint64)
        if cells.size:
            at, where = np.unique(cells, return_inverse=True)
            tag, share = self.layout.tags.reshape(-1)[at], self.shape.medium_share
            apart = np.isin(tag, quick)
            links = np.where(apart, 0.0, np.bitwise_count(self.layout.media_bits[at]) * steep[tag])
            loaded = np.bincount(where.reshape(-1), weights=loads)
            own = np.where(apart, 0.0, self.factor0[tag])
            small = (own > 0.0) & ((links + loaded) * share[at] > 6.0 * steep[tag]) & np.isin(at, self.shape.odd)
            self.small = at[small].astype(np.uint64)
            rate = max(rate, float(((links + loaded) * share[at])[~small].max(initial=0.0)))
        self.media_limit = SAFE_MEDIA / rate if rate > 0.0 else np.inf
        self.small_links = np.bitwise_count(self.layout.media_bits[self.small.astype(np.int64)]).astype(np.float64)
        self.kept = np.zeros(self.small.size)
        self.small_first, self.small_face = _by_cell(self.small, faces.medium)
        ends = self.cross.T.reshape(-1)
        self.small_side_first, at_end = _by_cell(self.small, ends)
        self.small_side = np.roll(ends, ends.size // 2)[at_end].astype(np.uint64)
        self.small_side_u = np.tile(cross_u, 2)[at_end]

    def _across(self, pair: NDArray[np.uint8], rest: Floats, best: Floats) -> Floats:
        """Conductance [W/(m2 K)] of faces between two media at its greatest; ``best`` (256,) multiplies their conductivities."""
        one, other = self.half[pair[:, 0]] / best[pair[:, 0]], self.half[pair[:, 1]] / best[pair[:, 1]]
        return np.asarray(1.0 / np.maximum(rest + one + other, 1e-300), dtype=np.float64)

    def _quick_rate(self, steep: Floats, best: Floats) -> float:
        """The explicit limit of the media stepped on their own: a cell that the wall cuts small has less to warm."""
        lay, rate = self.layout, 0.0
        for first, length, tag in zip(lay.quick_first.astype(np.int64), lay.quick_length.astype(np.int64), lay.quick_tag, strict=True):
            cells = slice(first, first + length)
            links = np.bitwise_count(lay.media_bits[cells]) * self.shape.medium_share[cells]
            rate = max(rate, float(steep[tag]) * max(6.0, float(links.max(initial=0.0))))
        if self.apart.size:
            at, where = np.unique(self.apart.astype(np.int64), return_inverse=True)
            loads = np.repeat(self._across(self.apart_pair, self.apart_rest, best), 2) * self.per_area[self.apart_pair.reshape(-1)]
            own = np.bitwise_count(lay.media_bits[at]) * steep[lay.tags.reshape(-1)[at]]
            rate = max(rate, float(((own + np.bincount(where.reshape(-1), weights=loads)) * self.shape.medium_share[at]).max()))
        return rate

    def _media_heat(self, band: int) -> float:
        """Heat of the media over their start [J]: the first ``band`` segments, those stepped on their own, and the skins."""
        lay, law = self.layout, self.law
        gain = media_sum(self.old, self.shape.medium_share, lay.seg_first, lay.seg_length, lay.seg_tag, band, self.start, law.capacity)
        gain += media_sum(
            self.old, self.shape.medium_share, lay.quick_first, lay.quick_length, lay.quick_tag, lay.quick_first.size, self.start, law.capacity
        )
        skins = self.shape.touch_area * self.skin_heat * (self.skin - self.skin_begin)
        return float(gain) * self.cell**3 + float(skins.sum()) * self.cell**2

    def _metal_arrays(self) -> None:
        """Metal heat contents, work arrays and what the stage count needs."""
        lay, faces = self.layout, self.layout.faces
        size = lay.metal_bits.size
        self.y0, self.ya, self.yb, self.w = np.zeros((4, size))
        self.u_start = self.y0
        cells, walls = faces.cells.size, faces.wall.size
        self.a, self.b, self.whole = np.zeros(cells), np.zeros(cells), np.zeros(cells)
        self.opening, self.opened, self.mush_inverse = np.zeros(2), np.zeros(faces.touch.size), 1.0
        self.store = 0.0
        self.touch_u, self.film_u, self.film_a = 1.0 / np.maximum(self.rest + self.near, 1e-9), np.zeros(faces.film.size), np.zeros(faces.film.size)
        self.wall_w, self.wall_whole = np.zeros(walls), np.zeros(walls)
        self.metal_cells = int(lay.run_length.sum())
        if self.metal is None or not self.metal_cells:
            self.metal_cells = 0
            return
        table = self.metal
        bx, by, bz = lay.box_shape
        x, y, z = lay.box
        own = lay.tags[x : x + bx, y : y + by, z : z + bz].reshape(-1)
        self.is_metal = (self.kind == METAL)[own]
        by_tag = np.where(self.kind == METAL, table.u_at(self.start), 0.0)
        self.y0[:] = by_tag[own]
        if self.own is not None:
            mine = self.own[x : x + bx, y : y + by, z : z + bz].reshape(-1)
            self.y0[self.is_metal] = table.u_at(mine[self.is_metal])
        self.u_start = self.y0.copy()
        self.low, self.high = float(self.y0[self.is_metal].min()), float(self.y0[self.is_metal].max())
        mush = np.linspace(table.solidus, table.liquidus, MUSH_NODES)
        solid = read(table, table.solid, table.u_at(mush))
        self.opening = np.clip((solid - self.coherency) / max(1.0 - self.coherency, 1e-9), 0.0, 1.0)
        self.mush_inverse = 1.0 / float(mush[1] - mush[0])
        self.store = self.metal_cells * table.density * table.heat * (self.high - min(self.low, 0.0) + 1.0) * self.cell**3
        self.most = np.inf
        self.inverse = 1.0 / table.step
        u_wall = table.u_at(self.ambient[faces.wall_tag])
        self.wall_w = read(table, table.potential, u_wall)
        links = np.bitwise_count(lay.metal_bits).astype(np.int64)
        if walls:
            np.add.at(links, faces.wall.astype(np.int64), 2)
        sections = links.astype(float)
        for end in (0, 1):
            np.add.at(sections, self.shape.along[:, end].astype(np.int64), self.shape.along_more)
        self.links = float((sections * self.shape.metal_share).max())
        self.slope_w = np.diff(table.potential) / table.step
        self.pot_slope = self.slope_w
        self.pot_base = table.potential[:-1] - self.slope_w * (table.least + table.step * np.arange(self.slope_w.size))
        self.slope_t = np.diff(table.temperature) / table.step
        self.metal_per = np.array([1.0 / self.cell**2, 1.0 / (table.density * table.heat * self.cell)])
        steps.potentials(self.y0, self.w, lay.run_first, lay.run_length, table.least, self.inverse, self.pot_base, self.pot_slope)

    def watch_for(self, coherency: float, below: float | None, solid: Sequence[float] = ()) -> None:
        """The heat contents whose passing is noted; ``solid``: fractions solid to be noted besides."""
        self.gradient, self.times = np.zeros(0), np.zeros((0, 0))
        if not all(0.0 < share < 1.0 for share in solid):
            raise Refused("a fraction solid to be marked must lie between 0 and 1")
        if not self.metal_cells or self.metal is None:
            return
        table = self.metal
        if not 0.0 < coherency < 1.0:
            raise Refused("the fraction solid at coherency must lie between 0 and 1")
        width = table.liquidus - table.solidus
        marks = [table.liquidus + LIQUIDUS_OFFSET, np.nan, table.solidus, np.nan if below is None else below]
        marks += [table.solidus + share * width for share in (0.15, 0.10, 0.05)]
        u = np.where(np.isnan(marks), -np.inf, table.u_at(np.nan_to_num(np.array(marks))))
        u = np.concatenate([u, [table.u_at_solid(share) for share in solid]])
        u[COHERENCY] = table.u_at_solid(coherency)
        u[SOLIDUS] = 0.0
        self.order = np.argsort(-u, kind="stable")
        self.levels = np.ascontiguousarray(u[self.order])
        self.below_u = float(u[BELOW])
        first = self.y0[self.is_metal]
        self.times = np.full((u.size, first.size), np.nan)
        self.gradient = np.full(first.size, np.nan)
        passed = self.levels[:, None] >= first[None, :]
        self.reached = passed.sum(axis=0).astype(np.uint8)
        self.times[passed] = 0.0
        self.critical = int(np.flatnonzero(self.order == AT)[0])

    def probe(self, probes: NDArray[np.int64] | None, near: Near | None) -> None:
        """The cells whose temperatures are noted, and those that are waited for, found in the padded fields."""
        size = [n - 2 for n in np.array(self.layout.shape)[np.argsort(self.axes)]]
        cells = np.zeros((0, 3), np.int64) if probes is None else np.asarray(probes, dtype=np.int64).reshape(-1, 3)
        if (cells < 0).any() or (cells >= size).any():
            raise Refused("a cell whose temperature is to be noted lies outside the grid")
        if near is not None and near.cells.shape != tuple(size):
            raise Refused("the cells to wait for are not those of the grid")
        self.probes, self.waited = self._spots(cells), None if near is None else self._spots(np.argwhere(near.cells))
        self.near_limit, self.near_time = np.nan if near is None else near.temperature, np.nan
        self.near_high, self.near_when = np.nan, 0.0
        self.probe_times: list[float] = []
        self.probe_temperatures: list[Floats] = []

    def _spots(self, cells: NDArray[np.int64]) -> Spots:
        """Cells (m, 3) of the caller's grid as places in the fields of media and metal."""
        x, y, z = (cells[:, list(self.axes)] + 1).T
        tag = self.layout.tags[x, y, z]
        own = self.kind[tag]
        _, ny, nz = self.layout.shape
        (x0, y0, z0), (_, by, bz) = self.layout.box, self.layout.box_shape
        is_metal = own == METAL
        inner = np.where(is_metal, ((x - x0) * by + y - y0) * bz + z - z0, 0)
        return Spots((x * ny + y) * nz + z, inner, is_metal, (own == MEDIUM) | is_metal, tag)

    def _temperatures_at(self, spots: Spots) -> Floats:
        """Temperature [K] at the spots now; NaN in cells of no material."""
        start, (c1, c2, c3) = self.start[spots.tag], self.law.warm[spots.tag].T
        x = self.old[spots.outer] - start
        value = start + x * (1.0 + x * (c1 + x * (c2 + x * c3)))
        if self.metal is not None and spots.is_metal.any():
            inside = spots.inner[spots.is_metal]
            value[spots.is_metal] = read(self.metal, self.metal.temperature, self.y0[inside])
        value[~spots.is_known] = np.nan
        return np.asarray(value)

    def guess(self) -> float:
        """Rough freezing time [s], which sets the greatest step."""
        assert self.metal is not None
        start = float(self.metal.temperature_at(self.high))
        media = (self.conductivity, self.capacity, self.start)
        return freezing_time(
            self.metal,
            self.metal_cells,
            self.cell,
            start,
            self.layout.faces,
            self.rest + self.near,
            media,
            self.kind,
            self.ambient,
            self.h,
            self.emissivity,
        )


def _quick(diffusivity: Floats) -> NDArray[np.bool_]:
    """Media (256,) that conduct so well beside the slowest that their explicit limit must not set the step of all."""
    some = diffusivity > 0.0
    if not some.any():
        return np.zeros(256, np.bool_)
    return np.asarray(some & (diffusivity > diffusivity[some].min() / QUICK))


def _by_cell(cells: NDArray[np.uint64], at: NDArray[np.integer]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Which of ``at`` are each of the rising ``cells``: where each cell's begin, and their places in ``at``."""
    if not cells.size or not at.size:
        return np.zeros(cells.size + 1, np.int64), np.zeros(0, np.int64)
    home = np.searchsorted(cells, at)
    mine = np.flatnonzero((home < cells.size) & (cells[np.minimum(home, cells.size - 1)] == at))
    mine = mine[np.argsort(home[mine], kind="stable")]
    return np.searchsorted(home[mine], np.arange(cells.size + 1)), mine


def read(table: MetalTable, values: Floats, u: Floats) -> Floats:
    """Values of an even table at heat contents u, going on with the end slopes."""
    x = (u - table.least) / table.step
    i = np.clip(np.nan_to_num(np.floor(x)), 0, values.size - 2).astype(np.int64)
    return np.asarray(values[i] + (x - i) * (values[i + 1] - values[i]))
