"""The state of a freezing run: everything by tag, by face and by cell, made ready before the first step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from strickle.kernels import freeze_steps as steps
from strickle.kernels.freeze_guard import freezing_time, long_axis_last, refuse
from strickle.kernels.freeze_media import content, laws
from strickle.kernels.freeze_media_steps import media_sum
from strickle.kernels.freeze_setup import FILM, MEDIUM, METAL, NOTHING, OUTER, WALL, Layout, lay_out
from strickle.kernels.freeze_tables import Floats, MetalTable, Refused
from strickle.kernels.freeze_types import LIQUIDUS_OFFSET, Contact, FaceSpec, Knobs, MediumTable
from strickle.kernels.freeze_wall import Mesh, Shape, free_of, plain, shaped

STIR = 0.01  # K off its medium's start from which a cell counts as having begun otherwise
QUICK = 0.35  # a medium whose explicit limit is under this share of the slowest one's is stepped on its own
SAFE_MEDIA = 0.9  # share of the explicit limit of the media
FOURIER = 0.045  # step times diffusivity over dx2 that cells cut by the wall shall bear: at 0.061 the smallest, made larger, took up 5 % too much
LIQUIDUS, COHERENCY, SOLIDUS, BELOW, BEFORE, AT, AFTER = range(7)


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
            self.shape = shaped(self.layout, self.kind, turned, self.cell, self.contact)
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
        self.law = laws(media, min(known, default=293.15), max(known, default=293.15))
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
        tags = self.layout.tags.reshape(-1)
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
        self.cross_rest = self.contact[pair[:, 0], pair[:, 1]]
        self.kind_wall = self.kind == WALL
        self.factor0 = diffusivity / dx**2
        self.media_begin = 0.0
        self._media_limit(diffusivity)
        if self.own is not None:
            self.media_begin = self._media_heat(self.layout.seg_first.size)

    def _media_limit(self, diffusivity: Floats) -> None:
        """The explicit limit of the media; cells that the wall cuts small are made larger where they alone would set it."""
        faces, dx, form, half = self.layout.faces, self.cell, self.shape, self.half
        steep = self.factor0 * self.law.steepest
        best_ratio = np.maximum(self.law.steepest, 1.0)
        pair = faces.cross_pair
        cross_u = 1.0 / np.maximum(self.cross_rest + half[pair[:, 0]] / best_ratio[pair[:, 0]] + half[pair[:, 1]] / best_ratio[pair[:, 1]], 1e-300)
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
        cells = np.concatenate([faces.medium, faces.cross.reshape(-1), faces.open]).astype(np.int64)
        pairs = np.concatenate([faces.pair[:, 1], faces.cross_pair.reshape(-1), faces.open_pair[:, 0]])
        loads = np.concatenate([touch_u, np.repeat(cross_u, 2), open_u]) * self.per_area[pairs]
        there = np.flatnonzero(np.bincount(self.layout.seg_tag, minlength=256))
        rate = 6.0 * float(steep[there].max()) if there.size else 0.0
        quick = np.unique(self.layout.quick_tag)
        self.quick_rate = 6.0 * float(steep[quick].max()) if quick.size else 0.0
        if cells.size:
            at, where = np.unique(cells, return_inverse=True)
            tag = self.layout.tags.reshape(-1)[at]
            links = np.where(np.isin(tag, quick), 0.0, np.bitwise_count(self.layout.media_bits[at]) * steep[tag])
            rates = links + np.bincount(where.reshape(-1), weights=loads)
            own = np.where(np.isin(tag, quick), 0.0, self.factor0[tag])
            if self.shape.odd.any():  # a few small cells would set the step of all: they are made larger
                bearable = SAFE_MEDIA / np.maximum(rates * FOURIER / np.maximum(own, 1e-30), 1e-300)
                self.shape.medium_share[at] = np.where(own > 0.0, np.minimum(self.shape.medium_share[at], bearable), self.shape.medium_share[at])
            rate = max(rate, float((rates * self.shape.medium_share[at]).max()))
        self.media_limit = SAFE_MEDIA / rate if rate > 0.0 else np.inf

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
        self.y0, self.ya, self.yb, self.w, self.l0 = np.zeros((5, size))
        self.u_start = self.y0
        cells, walls = faces.cells.size, faces.wall.size
        self.a, self.b, self.whole = np.zeros(cells), np.zeros(cells), np.zeros(cells)
        self.opening = np.zeros(2)
        self.touch_u, self.film_u, self.film_a = np.zeros(faces.touch.size), np.zeros(faces.film.size), np.zeros(faces.film.size)
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
        self.opening = np.clip((table.solid - self.coherency) / max(1.0 - self.coherency, 1e-9), 0.0, 1.0)
        self.most = np.inf
        self.inverse = 1.0 / table.step
        u_wall = table.u_at(self.ambient[faces.wall_tag])
        self.wall_w = read(table, table.potential, u_wall)
        links = np.bitwise_count(lay.metal_bits).astype(np.int64)
        if walls:
            np.add.at(links, faces.wall.astype(np.int64), 2)
        self.links = float((links * self.shape.metal_share).max())
        self.slope_w = np.diff(table.potential) / table.step
        self.slope_t = np.diff(table.temperature) / table.step
        self.metal_per = np.array([1.0 / self.cell**2, 1.0 / (table.density * table.heat * self.cell)])
        steps.potentials(self.y0, self.w, lay.run_first, lay.run_length, table.least, self.inverse, table.potential)

    def watch_for(self, coherency: float, below: float | None, solid: Sequence[float] = ()) -> None:
        """The heat contents whose passing is noted; ``solid``: fractions solid to be noted besides."""
        self.gradient = np.zeros(0)
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
        size = self.y0.size
        self.times = np.full((u.size, size), np.nan)
        self.gradient = np.full(size, np.nan)
        passed = (self.levels[:, None] >= self.y0[None, :]) & self.is_metal[None, :]
        self.reached = passed.sum(axis=0).astype(np.uint8)
        self.times[passed] = 0.0
        self.critical = int(np.flatnonzero(self.order == AT)[0])

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


def read(table: MetalTable, values: Floats, u: Floats) -> Floats:
    """Values of an even table at heat contents u, going on with the end slopes."""
    x = (u - table.least) / table.step
    i = np.clip(np.floor(x), 0, values.size - 2).astype(np.int64)
    return np.asarray(values[i] + (x - i) * (values[i + 1] - values[i]))
