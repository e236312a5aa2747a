"""The time loop of the freezing solver; space loops are in freeze_steps."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from strickle.kernels import freeze_steps as steps
from strickle.kernels.freeze_guard import freezing_time, long_axis_last, refuse
from strickle.kernels.freeze_setup import FILM, MEDIUM, METAL, NOTHING, OUTER, WALL, Layout, lay_out
from strickle.kernels.freeze_tables import Floats, MetalTable, Refused
from strickle.kernels.freeze_types import LIQUIDUS_OFFSET, FaceSpec, FreezeOut, Knobs, MediumTable

SAFE_MEDIA = 0.9  # share of the explicit limit of the media
SAFE_METAL = 0.85  # share of the limit of a super-step
CHECK_EVERY = 64  # super-steps between heat balances
BREATH = 2e7  # cell updates between calls of the watch, about a twentieth of a second
LIQUIDUS, COHERENCY, SOLIDUS, BELOW, BEFORE, AT, AFTER = range(7)


class Run:
    """One problem being computed."""

    def __init__(
        self,
        tags: NDArray[np.uint8],
        cell: float,
        metal: MetalTable | None,
        media: Mapping[int, MediumTable],
        metal_start: Mapping[int, float],
        contact: Mapping[tuple[int, int], float],
        faces: Sequence[FaceSpec],
        open_faces: Mapping[int, FaceSpec],
        knobs: Knobs,
    ) -> None:
        tags = np.asarray(tags)
        refuse(tags, cell, metal, media, metal_start, contact, faces, open_faces)
        self.cell, self.metal, self.knobs = float(cell), metal, knobs
        self.axes = long_axis_last(tags, list(metal_start))
        inner = np.ascontiguousarray(tags.transpose(self.axes))
        self._tables(media, metal_start, contact, [faces[2 * a + side] for a in self.axes for side in (0, 1)], open_faces)
        with np.errstate(divide="ignore", invalid="ignore"):
            diffusivity = np.where(self.kind == MEDIUM, self.conductivity / self.capacity, 0.0)
        self.layout: Layout = lay_out(inner, self.kind, self.cell, diffusivity, self.start, self.ambient)
        self._media_arrays(diffusivity)
        self._metal_arrays()
        self.time, self.count, self.stages, self.out = 0.0, 0, 0, 0.0
        self.worst = 0.0

    # ------------------------------------------------------------------ setting up

    def _tables(
        self,
        media: Mapping[int, MediumTable],
        metal_start: Mapping[int, float],
        contact: Mapping[tuple[int, int], float],
        outer: Sequence[FaceSpec],
        open_faces: Mapping[int, FaceSpec],
    ) -> None:
        """Everything by tag."""
        self.kind = np.full(256, NOTHING, np.uint8)
        self.conductivity, self.capacity, self.start, self.ambient, self.h, self.emissivity = np.zeros((6, 256))
        self.contact = np.zeros((256, 256))
        for tag, medium in media.items():
            self.kind[tag] = MEDIUM
            self.conductivity[tag], self.capacity[tag] = medium.conductivity, medium.density * medium.heat
            self.start[tag] = medium.start
        for tag, temperature in metal_start.items():
            self.kind[tag], self.start[tag] = METAL, temperature
        boundaries = {OUTER + i: spec for i, spec in enumerate(outer)} | dict(open_faces)
        for tag, spec in boundaries.items():
            self.kind[tag] = {"adiabatic": NOTHING, "fixed": WALL, "film": FILM}[spec.kind]
            self.ambient[tag], self.h[tag], self.emissivity[tag] = spec.temperature, spec.h, spec.emissivity
            if spec.kind == "film" and spec.h == 0.0 and spec.emissivity == 0.0:
                self.kind[tag] = NOTHING
        for (one, two), value in contact.items():
            self.contact[one, two] = self.contact[two, one] = 0.0 if value is None else 1.0 / value

    def _media_arrays(self, diffusivity: Floats) -> None:
        """Media temperatures, face conductances and the explicit limit."""
        faces, dx = self.layout.faces, self.cell
        self.old = self.start[self.layout.tags].reshape(-1)
        self.new = self.old.copy()
        self.old_is_start = True
        is_medium = self.kind == MEDIUM
        self.per_area = np.where(is_medium, 1.0 / np.where(is_medium, self.capacity * dx, 1.0), 0.0)
        half = np.where(is_medium, 0.5 * dx / np.where(is_medium, self.conductivity, 1.0), 0.0)
        pair = faces.pair
        self.rest = self.contact[pair[:, 0], pair[:, 1]] + half[pair[:, 1]]
        pair = faces.cross_pair
        self.cross_u = 1.0 / (self.contact[pair[:, 0], pair[:, 1]] + half[pair[:, 0]] + half[pair[:, 1]])
        pair = faces.open_pair
        self.open_gk = 1.0 / half[pair[:, 0]] if faces.open.size else np.empty(0)
        self.kind_wall = self.kind == WALL
        self.factor0 = diffusivity / dx**2

        hottest = max(float(self.start.max()), float(self.ambient.max()))
        lin = self.h + 4.0 * self.emissivity * steps.SIGMA * hottest**3
        pair = faces.open_pair
        film_u = self.open_gk * lin[pair[:, 1]] / (self.open_gk + lin[pair[:, 1]] + 1e-300)
        open_u = np.where(self.kind_wall[pair[:, 1]], self.open_gk, film_u)
        best = float(self.metal.conductivity.max()) if self.metal is not None else 1.0
        touch_u = 1.0 / (self.rest + 0.5 * dx / best)
        cells = np.concatenate([faces.medium, faces.cross.reshape(-1), faces.open]).astype(np.int64)
        pairs = np.concatenate([faces.pair[:, 1], faces.cross_pair.reshape(-1), faces.open_pair[:, 0]])
        loads = np.concatenate([touch_u, np.repeat(self.cross_u, 2), open_u]) * self.per_area[pairs]
        there = np.flatnonzero(np.bincount(self.layout.seg_tag, minlength=256))
        rate = 6.0 * float(self.factor0[there].max()) if there.size else 0.0
        if cells.size:
            at, where = np.unique(cells, return_inverse=True)
            links = np.bitwise_count(self.layout.media_bits[at]) * self.factor0[self.layout.tags.reshape(-1)[at]]
            rate = max(rate, float((links + np.bincount(where, weights=loads)).max()))
        self.media_limit = SAFE_MEDIA / rate if rate > 0.0 else np.inf

    def _metal_arrays(self) -> None:
        """Metal heat contents, work arrays and what the stage count needs."""
        lay, faces = self.layout, self.layout.faces
        size = lay.metal_bits.size
        self.y0, self.ya, self.yb, self.w, self.l0 = np.zeros((5, size))
        self.u_start = self.y0
        cells, walls = faces.cells.size, faces.wall.size
        self.a, self.b, self.whole = np.zeros(cells), np.zeros(cells), np.zeros(cells)
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
        self.u_start = self.y0.copy()
        self.low, self.high = float(by_tag[self.kind == METAL].min()), float(by_tag[self.kind == METAL].max())
        self.most = np.inf
        self.inverse = 1.0 / table.step
        u_wall = table.u_at(self.ambient[faces.wall_tag])
        self.wall_w = _read(table, table.potential, u_wall)
        links = np.bitwise_count(lay.metal_bits).astype(np.int64)
        if walls:
            np.add.at(links, faces.wall.astype(np.int64), 2)
        self.links = float(links.max())
        self.slope_w = np.diff(table.potential) / table.step
        self.slope_t = np.diff(table.temperature) / table.step
        self.metal_per = np.array([1.0 / self.cell**2, 1.0 / (table.density * table.heat * self.cell)])
        steps.potentials(self.y0, self.w, lay.run_first, lay.run_length, table.least, self.inverse, table.potential)

    def watch_for(self, coherency: float, below: float | None) -> None:
        """The heat contents whose passing is noted."""
        self.gradient = np.zeros(0)
        if not self.metal_cells or self.metal is None:
            return
        table = self.metal
        if not 0.0 < coherency < 1.0:
            raise Refused("the fraction solid at coherency must lie between 0 and 1")
        width = table.liquidus - table.solidus
        marks = [table.liquidus + LIQUIDUS_OFFSET, np.nan, table.solidus, np.nan if below is None else below]
        marks += [table.solidus + share * width for share in (0.15, 0.10, 0.05)]
        u = np.where(np.isnan(marks), -np.inf, table.u_at(np.nan_to_num(np.array(marks))))
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

    # ------------------------------------------------------------------ one super-step

    def _stage_count(self, dt: float, wary: bool) -> int:
        """Odd number of stages that keeps a super-step of ``dt`` stable."""
        assert self.metal is not None
        if wary or not np.isfinite(self.most):
            alpha, slope = float(self.slope_w.max()), float(self.slope_t.max())
            self.allowed = (-np.inf, np.inf)
        else:
            room = 3.0 * self.most + 2.0 * self.metal.step
            self.allowed = (self.low - room, self.high + room)
            i, j = np.clip((np.array(self.allowed) - self.metal.least) * self.inverse, 0, self.slope_w.size - 1).astype(int)
            alpha, slope = float(self.slope_w[i : j + 1].max()), float(self.slope_t[i : j + 1].max())
        load = float(self.b.max()) * self.metal_per[1] * slope if self.b.size else 0.0
        ratio = dt * (self.links * alpha * self.metal_per[0] + 0.5 * load) / SAFE_METAL
        s = int(np.ceil(0.5 * (np.sqrt(9.0 + 16.0 * ratio) - 1.0)))
        return max(3, s + 1 - s % 2)

    def _metal_step(self, dt: float) -> None:
        """Metal over ``dt`` against surroundings held still; the result is in ``self.ya``, what it was in ``self.y0``."""
        table, lay, faces = self.metal, self.layout, self.layout.faces
        assert table is not None
        steps.couple(
            self.y0, faces.cells, faces.touch, faces.medium, self.rest, 0.5 * self.cell, faces.film, faces.film_tag, self.ambient, self.h,
            self.emissivity, self.old, table.least, self.inverse, table.temperature, table.conductivity, self.a, self.b, self.touch_u,
            self.film_u, self.film_a,
        )  # fmt: skip
        sx, sy = lay.box_shape[1] * lay.box_shape[2], lay.box_shape[2]
        for wary in (False, True):
            s = self._stage_count(dt, wary)
            other = steps.metal_step(
                self.y0, self.ya, self.yb, self.w, self.l0, lay.metal_bits, lay.run_first, lay.run_length, sx, sy, faces.cells, self.a,
                self.b, self.whole, faces.wall, self.wall_w, self.wall_whole, table.least, self.inverse, table.temperature,
                table.potential, self.metal_per, dt, s,
            )  # fmt: skip
            if other:
                self.ya, self.yb = self.yb, self.ya
            self.stages += s
            self.work += s * self.metal_cells
            low, high = steps.extent(self.ya, lay.run_first, lay.run_length)
            if self.allowed[0] <= low and high <= self.allowed[1]:
                break
            steps.potentials(self.y0, self.w, lay.run_first, lay.run_length, table.least, self.inverse, table.potential)
        self.low, self.high, self.most = steps.crossings(
            self.y0, self.ya, lay.metal_bits, lay.run_first, lay.run_length, sx, sy, self.levels, self.reached, self.times, self.gradient,
            self.critical, self.time, dt, self.cell, table.least, self.inverse, table.temperature,
        )  # fmt: skip

    def _media_step(self, dt: float) -> None:
        """Media over ``dt`` with the heat the metal gave."""
        lay, faces = self.layout, self.layout.faces
        reach = self.knobs.band * 2.0 * np.sqrt(self.time + dt) + lay.shell_width
        limit = min(int(reach / lay.shell_width), lay.shell_count.size - 1)
        self.band = int(lay.shell_count[limit]) if lay.shell_count.size else 0
        sx, sy = lay.shape[1] * lay.shape[2], lay.shape[2]
        shell = np.uint16(max(limit, 0))
        steps.media_step(
            self.old, self.new, lay.media_bits, lay.shell, lay.seg_first, lay.seg_length, lay.seg_tag, lay.seg_full, lay.seg_reach, self.band,
            shell, self.factor0 * dt, sx, sy,
        )  # fmt: skip
        wall_rate = 0.0 if self.metal is None else 2.0 * self.metal.density * self.metal.heat / self.cell
        self.out += steps.exchange(
            self.old, self.new, lay.shell, shell, dt, self.per_area, faces.touch, faces.medium, faces.pair, self.touch_u, self.whole, faces.film,
            self.film_u, self.film_a, self.wall_w, self.wall_whole, wall_rate, faces.cross, faces.cross_pair, self.cross_u, faces.open,
            faces.open_pair, self.open_gk, self.kind_wall, self.ambient, self.h, self.emissivity,
        )  # fmt: skip
        self.old, self.new = self.new, self.old
        self.work += 0.4 * self.band * 40

    # ------------------------------------------------------------------ the loop

    def go(
        self,
        until: float | None,
        wait_below: bool,
        moments: Sequence[float],
        longest: float | None,
        most_steps: int,
        watch: Callable[[float, str], None] | None,
    ) -> FreezeOut:
        """Step until what was asked has come to pass."""
        if until is None and not self.metal_cells:
            raise Refused("without metal the run needs an end in seconds")
        guess = self._guess() if until is None else until
        longest = max(200.0 * guess, 1.0) if longest is None else longest
        first, cap = self._pace(guess)
        pending = sorted(set(moments))
        taken: dict[float, Floats] = {}
        self.work, self.band = 0.0, 0
        last_call, status = -np.inf, "done"
        while True:
            while pending and self.time >= pending[0] * (1.0 - 1e-12):
                taken[pending.pop(0)] = self._temperatures()
            asked_done = self._reached(until, wait_below)
            if asked_done and not pending:
                break
            if self.time >= longest or self.count >= most_steps:
                status = "stopped at the longest time" if self.time >= longest else "stopped at the most steps"
                break
            if watch is not None and self.work - last_call > BREATH:
                last_call = self.work
                watch(self._share(until, wait_below), "freezing")
            calm = self.metal_cells > 0 and self.high <= 0.0
            dt = min(max(self.knobs.growth * self.time, first), (4.0 if calm else 1.0) * cap, self.media_limit)
            ends = pending[:1] + ([until] if until is not None and not asked_done else []) + [longest]
            left = min(ends) - self.time
            dt = left / max(1, int(np.ceil(left / dt - 1e-9))) if left < 3.0 * dt else dt
            if self.metal_cells:
                self._metal_step(dt)
            self._media_step(dt)
            if self.metal_cells:
                self.y0, self.ya = self.ya, self.y0
            self.time = min(ends) if abs(self.time + dt - min(ends)) < 1e-9 * dt else self.time + dt
            self.count += 1
            if self.count % CHECK_EVERY == 0 and not np.isfinite(self._balance()):
                status = "diverged"
                break
        if watch is not None:
            watch(1.0, "freezing")
        return self._answer(status, [taken.get(m) for m in moments])

    def _guess(self) -> float:
        """Rough freezing time [s], which sets the greatest step."""
        assert self.metal is not None
        start = float(self.start[self.kind == METAL].max())
        media = (self.conductivity, self.capacity, self.start)
        return freezing_time(
            self.metal,
            self.metal_cells,
            self.cell,
            start,
            self.layout.faces,
            self.rest,
            media,
            self.kind,
            self.ambient,
            self.h,
            self.emissivity,
        )

    def _pace(self, guess: float) -> tuple[float, float]:
        """First and greatest super-step [s]."""
        cap = self.knobs.share * guess
        if not self.metal_cells:
            return min(0.05, 0.25 * self.media_limit, cap), cap
        quick = 0.7 * self.cell**2 / float(self.slope_w.max())
        return min(0.05, quick, 0.2 * cap), cap

    def _reached(self, until: float | None, wait_below: bool) -> bool:
        """Whether the end asked for has come."""
        if until is not None:
            return self.time >= until * (1.0 - 1e-12)
        return self.high <= (min(self.below_u, 0.0) if wait_below else 0.0)

    def _share(self, until: float | None, wait_below: bool) -> float:
        """Share of the work done, as far as can be told."""
        if until is not None:
            return min(1.0, self.time / until) if until > 0.0 else 1.0
        lay = self.layout
        goal = min(self.below_u, 0.0) if wait_below else 0.0
        lost = steps.metal_sum(self.y0, self.u_start, lay.run_first, lay.run_length)
        whole = steps.metal_sum(np.full_like(self.y0, goal), self.u_start, lay.run_first, lay.run_length)
        return float(min(max(lost / whole, 0.0), 0.99)) if whole > 0.0 else 0.99

    def _heats(self) -> tuple[float, float, float]:
        """Metal loss, media gain, loss to the outside [J]."""
        lay, volume = self.layout, self.cell**3
        loss = 0.0
        if self.metal_cells and self.metal is not None:
            loss = steps.metal_sum(self.y0, self.u_start, lay.run_first, lay.run_length) * self.metal.density * self.metal.heat * volume
        gain = steps.media_sum(self.old, lay.seg_first, lay.seg_length, lay.seg_tag, self.band, self.start, self.capacity) * volume
        return loss, gain, self.out * self.cell**2

    def _balance(self) -> float:
        """Closure error now; remembers the worst."""
        loss, gain, out = self._heats()
        scale = max(abs(loss), abs(gain), abs(out))
        error = abs(loss - gain - out) / scale if scale > 0.0 else 0.0
        self.worst = error if not np.isfinite(error) else max(self.worst, error)
        return self.worst

    # ------------------------------------------------------------------ answering

    def _outward(self, inner: Floats) -> Floats:
        """An inner padded field in the caller's axis order."""
        return np.ascontiguousarray(inner[1:-1, 1:-1, 1:-1].transpose(np.argsort(self.axes)))

    def _metal_field(self, values: Floats) -> Floats:
        """A metal field on the caller's grid, NaN elsewhere."""
        lay = self.layout
        whole = np.full(lay.shape, np.nan)
        if self.metal_cells:
            x, y, z = lay.box
            bx, by, bz = lay.box_shape
            whole[x : x + bx, y : y + by, z : z + bz] = np.where(self.is_metal, values, np.nan).reshape(lay.box_shape)
        return self._outward(whole)

    def _temperatures(self) -> Floats:
        """Temperature of every cell now."""
        lay = self.layout
        field = np.where((self.kind == MEDIUM)[lay.tags], self.old.reshape(lay.shape), np.nan)
        if self.metal_cells and self.metal is not None:
            x, y, z = lay.box
            bx, by, bz = lay.box_shape
            metal = (self.kind == METAL)[lay.tags[x : x + bx, y : y + by, z : z + bz]]
            part = field[x : x + bx, y : y + by, z : z + bz]
            part[metal] = _read(self.metal, self.metal.temperature, self.y0.reshape(lay.box_shape)[metal])
        return self._outward(field)

    def _answer(self, status: str, snapshots: Sequence[Floats | None]) -> FreezeOut:
        """Everything on the caller's grid."""
        self._balance()
        loss, gain, out = self._heats()
        blank = self._metal_field(np.full(self.y0.size, np.nan))
        fields = dict.fromkeys(("liquidus", "coherency", "solidus", "below", "gradient", "rate", "niyama"), blank)
        solid_time = below_time = np.nan
        if self.metal_cells and self.metal is not None:
            times = np.empty_like(self.times)
            times[self.order] = self.times
            width = self.metal.liquidus - self.metal.solidus
            with np.errstate(divide="ignore", invalid="ignore"):
                rate = 0.1 * width / (times[AFTER] - times[BEFORE])
                niyama = self.gradient / np.sqrt(rate)
            niyama[~np.isfinite(niyama)] = np.nan
            rows = (times[LIQUIDUS], times[COHERENCY], times[SOLIDUS], times[BELOW], self.gradient, rate, niyama)
            fields = {name: self._metal_field(row) for name, row in zip(fields, rows, strict=True)}
            solid_time = float(times[SOLIDUS][self.is_metal].max())
            below_time = float(times[BELOW][self.is_metal].max())
        last = self._temperatures()
        never = np.full_like(last, np.nan)
        return FreezeOut(
            time_to_liquidus=fields["liquidus"],
            time_to_coherency=fields["coherency"],
            time_to_solidus=fields["solidus"],
            time_below=fields["below"],
            gradient=fields["gradient"],
            cooling_rate=fields["rate"],
            niyama=fields["niyama"],
            temperature=last,
            snapshots=tuple(never if s is None else s for s in snapshots),
            time=self.time,
            solid_time=solid_time,
            below_time=below_time,
            metal_loss=loss,
            media_gain=gain,
            outer_loss=out,
            balance=self.worst,
            status=status,
            steps=self.count,
            stages=self.stages,
        )


def _read(table: MetalTable, values: Floats, u: Floats) -> Floats:
    """Values of an even table at heat contents u, going on with the end slopes."""
    x = (u - table.least) / table.step
    i = np.clip(np.floor(x), 0, values.size - 2).astype(np.int64)
    return np.asarray(values[i] + (x - i) * (values[i + 1] - values[i]))
