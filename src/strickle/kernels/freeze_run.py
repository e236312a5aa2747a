"""The time loop of the freezing solver; space loops are in freeze_steps."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from strickle.kernels import freeze_media_steps as media
from strickle.kernels import freeze_steps as steps
from strickle.kernels.freeze_media import flows, warmths
from strickle.kernels.freeze_setup import MEDIUM
from strickle.kernels.freeze_state import AFTER, BEFORE, BELOW, COHERENCY, LIQUIDUS, SAFE_QUICK, SOLIDUS, State, read
from strickle.kernels.freeze_tables import Floats, Refused
from strickle.kernels.freeze_types import FreezeOut

SAFE_METAL = 0.85  # share of the limit of a super-step
CHECK_EVERY = 64  # super-steps between heat balances
BREATH = 2e7  # metal cell updates between calls of the watch, about a twelfth of a second
LITTLE = 1e-6  # of the metal's heat: where less has passed, the balance is told as a share of this
MEDIA_WORK = 10.0  # a media segment of some 40 cells against one metal cell


class Run(State):
    """One problem being computed."""

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
            last = self.slope_w.size - 1
            i, j = (min(max(int((end - self.metal.least) * self.inverse), 0), last) for end in self.allowed)
            alpha, slope = float(self.slope_w[i : j + 1].max()), float(self.slope_t[i : j + 1].max())
        load = float(self.b.max()) * self.metal_per[1] * slope if self.b.size else 0.0
        ratio = dt * (self.links * alpha * self.metal_per[0] + 0.5 * load) / SAFE_METAL
        if not math.isfinite(ratio):
            return 3  # it has diverged, which the loop sees
        s = math.ceil(0.5 * (math.sqrt(1.0 + 8.0 * ratio) - 1.0))
        return max(3, s + 1 - s % 2)

    def _metal_step(self, dt: float) -> None:
        """Metal over ``dt`` against surroundings held still; the result is in ``self.ya``, what it was in ``self.y0``."""
        table, lay, faces = self.metal, self.layout, self.layout.faces
        assert table is not None
        if self.small.size:
            media.foresee(
                self.old, self.small, self.small_links, self.kept, self.small_first, self.small_face, self.small_side_first, self.small_side,
                self.small_side_u, lay.media_bits, self.shape.medium_share, self.flat_tags, self.factor0 * dt, dt, self.per_area,
                self.shape.touch_area, self.skin_heat, self.skin, self.beyond, self.touch_u, faces.touch, faces.cells, self.y0, table.least,
                self.inverse, table.temperature, lay.shape[1] * lay.shape[2], lay.shape[2],
            )  # fmt: skip
        steps.couple(
            self.y0, faces.cells, faces.touch, faces.medium, faces.pair, self.rest, self.gaps, self.near, self.away, self.shape.touch_area,
            self.skin_heat, self.skin, self.beyond, faces.film, faces.film_tag, self.film_away, self.shape.film_area, self.shape.metal_share,
            self.ambient, self.h, self.emissivity, self.old, self.start, self.law.warm, self.law.ratio, dt, table.least, self.inverse,
            table.temperature, table.conductivity, table.solidus, self.mush_inverse, self.opening, self.opened, self.a, self.b, self.touch_u,
            self.onward, self.film_u, self.film_a,
        )  # fmt: skip
        sx, sy = lay.box_shape[1] * lay.box_shape[2], lay.box_shape[2]
        for wary in (False, True):
            s = self._stage_count(dt, wary)
            other = steps.metal_step(
                self.y0, self.ya, self.yb, self.w, lay.metal_bits, self.shape.metal_share, self.shape.along, self.shape.along_more,
                lay.run_first, lay.run_length, lay.part_first, lay.part_length, lay.part_inner, sx, sy, faces.cells, self.a, self.b,
                self.whole, faces.wall, self.wall_w, self.wall_whole, table.least, self.inverse, table.temperature,
                self.pot_base, self.pot_slope, self.metal_per, dt, s,
            )  # fmt: skip
            if other:
                self.ya, self.yb = self.yb, self.ya
            self.stages += s
            self.work += s * self.metal_cells
            low, high = steps.extent(self.ya, lay.run_first, lay.run_length)
            if self.allowed[0] <= low and high <= self.allowed[1]:
                break
            steps.potentials(self.y0, self.w, lay.run_first, lay.run_length, table.least, self.inverse, self.pot_base, self.pot_slope)
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
        potential = self.old if self.flow is None else self.flow
        factor = self.factor0 * dt
        if self.flow is not None:
            flows(self.old, self.flow, lay.seg_first, lay.seg_length, lay.seg_tag, self.band, self.start, self.law.flow)
        media.media_step(
            self.old, potential, self.new, lay.media_bits, self.shape.medium_share, lay.shell, lay.seg_first, lay.seg_length, lay.seg_tag,
            lay.seg_full, lay.seg_reach, self.band, shell, factor, sx, sy,
        )  # fmt: skip
        if self.quick_rate > 0.0:
            times = int(np.ceil(dt * self.quick_rate / SAFE_QUICK))
            media.quick_step(
                self.old, self.new, potential, self.work_cells, lay.media_bits, self.shape.medium_share, lay.quick_first, lay.quick_length,
                lay.quick_tag, factor, self.start, self.law.flow, times, sx, sy, self.apart, self.apart_pair, self.apart_rest, self.half,
                self.per_area, self.law.warm, self.law.ratio, dt,
            )  # fmt: skip
        wall_rate = 0.0 if self.metal is None else 2.0 * self.metal.density * self.metal.heat / self.cell
        self.out += media.exchange(
            self.old, self.new, self.shape.medium_share, lay.shell, shell, dt, self.per_area, self.start, self.law.warm, self.law.ratio,
            faces.touch, faces.medium, faces.pair, self.shape.touch_area, self.skin_heat, self.skin, self.touch_u, self.onward, self.whole,
            faces.film, self.film_u, self.film_a, self.wall_w, self.wall_whole, wall_rate, self.cross, self.cross_pair, self.cross_rest,
            self.half, faces.open, faces.open_pair, self.kind_wall, self.ambient, self.h, self.emissivity,
        )  # fmt: skip
        media.look_back(self.old, self.new, self.small, self.kept)
        self.old, self.new = self.new, self.old
        self.work += MEDIA_WORK * self.band

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
        guess = min(self.guess(), np.inf if until is None else until) if self.metal_cells else float(until or 0.0)
        longest = max(200.0 * guess, until or 0.0, max(moments, default=0.0)) + 1.0 if longest is None else longest
        first, cap = self._pace(guess)
        pending = sorted(set(moments))
        taken: dict[float, Floats] = {}
        self.work, self.band = 0.0, 0
        last_call, status = -np.inf, "done"
        self._note()
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
            self._note()
            if (self.metal_cells and not np.isfinite(self.most)) or (self.count % CHECK_EVERY == 0 and not self._holds()):
                status = "diverged"
                break
        status = status if self._holds() else "diverged"
        if watch is not None:
            watch(1.0, "freezing")
        return self._answer(status, [taken.get(m) for m in moments])

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
        cool = self.high <= (min(self.below_u, 0.0) if wait_below else 0.0)
        return cool and (self.waited is None or np.isfinite(self.near_time))

    def _note(self) -> None:
        """Note the temperatures of the probes now, and whether the cells waited for are cool; they cool for good once the metal is solid."""
        if self.probes.outer.size:
            self.probe_times.append(self.time)
            self.probe_temperatures.append(self._temperatures_at(self.probes))
        if self.waited is None or np.isfinite(self.near_time):
            return
        was, when = self.near_high, self.near_when
        self.near_when = self.time
        self.near_high = float(np.nanmax(self._temperatures_at(self.waited))) if self.waited.is_known.any() else -np.inf
        if self.near_high <= self.near_limit and (not self.metal_cells or self.high <= 0.0):
            share = (was - self.near_limit) / (was - self.near_high) if was > self.near_limit else 1.0
            self.near_time = when + share * (self.time - when)

    def _share(self, until: float | None, wait_below: bool) -> float:
        """Share of the work done, as far as can be told."""
        if until is not None:
            return min(1.0, self.time / until) if until > 0.0 else 1.0
        lay = self.layout
        goal = min(self.below_u, 0.0) if wait_below else 0.0
        lost = steps.metal_sum(self.y0, self.u_start, self.shape.metal_share, lay.run_first, lay.run_length)
        whole = steps.metal_sum(np.full_like(self.y0, goal), self.u_start, self.shape.metal_share, lay.run_first, lay.run_length)
        return float(min(max(lost / whole, 0.0), 0.99)) if whole > 0.0 else 0.99

    def _heats(self) -> tuple[float, float, float]:
        """Metal loss, media gain, loss to the outside [J]."""
        lay, volume = self.layout, self.cell**3
        loss = 0.0
        if self.metal_cells and self.metal is not None:
            loss = (
                steps.metal_sum(self.y0, self.u_start, self.shape.metal_share, lay.run_first, lay.run_length)
                * self.metal.density
                * self.metal.heat
                * volume
            )
        gain = self._media_heat(self.band) - self.media_begin
        return loss, gain, self.out * self.cell**2

    def _balance(self) -> float:
        """Closure error now; remembers the worst."""
        loss, gain, out = self._heats()
        scale = max(abs(loss), abs(gain), abs(out), LITTLE * self.store)
        error = abs(loss - gain - out) / scale if scale > 0.0 else 0.0
        self.worst = error if not np.isfinite(error) else max(self.worst, error)
        return self.worst

    def _holds(self) -> bool:
        """Whether heat closes and no medium is past all that the mould began with, which nothing that conducts can be."""
        low, high = self.bounds
        return bool(np.isfinite(self._balance()) and low < self.old.min() and self.old.max() < high)

    # ------------------------------------------------------------------ answering

    def _home(self) -> NDArray[np.int64]:
        """Place of each metal cell, in the order of the runs, in the caller's grid laid out flat."""
        lay = self.layout
        inner = np.array(np.unravel_index(np.flatnonzero(self.is_metal), lay.box_shape)) + np.array(lay.box)[:, None] - 1
        outward = np.argsort(self.axes)
        return np.asarray(np.ravel_multi_index(tuple(inner[outward]), self._shape()))

    def _shape(self) -> tuple[int, ...]:
        """Shape of the caller's grid."""
        return tuple(self.layout.shape[axis] - 2 for axis in np.argsort(self.axes))

    def _centred(self, times: Floats) -> Floats:
        """When the front stands in the middle of a cell: a cell's heat passes a mark when it is at its near face, half a cell before.

        The front moves towards later neighbours, by one cell in the difference of their times.
        """
        box = np.full(self.layout.box_shape, np.nan)
        box.reshape(-1)[self.is_metal] = times
        square = np.zeros_like(box)
        for axis in range(3):
            step = np.diff(box, axis=axis)
            step[np.isnan(step)] = 0.0
            edge = np.zeros_like(np.take(box, [0], axis=axis))
            onward, back = np.concatenate([step, edge], axis=axis), np.concatenate([edge, -step], axis=axis)
            square += np.maximum(np.maximum(onward, back), 0.0) ** 2
        return np.asarray((box + 0.5 * np.sqrt(square)).reshape(-1)[self.is_metal])

    def _spread(self, values: Floats, home: NDArray[np.int64], kind: type = np.float64) -> Floats:
        """Values by metal cell on the caller's grid, NaN elsewhere."""
        whole: Floats = np.full(self._shape(), np.nan, kind)
        whole.reshape(-1)[home] = values
        whole.setflags(write=False)
        return whole

    def _temperatures(self) -> Floats:
        """Temperature of every cell now, on the caller's grid."""
        lay, outward = self.layout, np.argsort(self.axes)
        inside = (slice(1, -1),) * 3
        field = np.array(self.old.reshape(lay.shape)[inside].transpose(outward), order="C")
        tags = lay.tags[inside].transpose(outward)
        if self.law.curved.any():
            warmths(field, np.ascontiguousarray(tags), self.law.curved, self.start, self.law.warm)
        field[(self.kind != MEDIUM)[tags]] = np.nan
        if self.metal_cells and self.metal is not None:
            field.reshape(-1)[self._home()] = read(self.metal, self.metal.temperature, self.y0[self.is_metal])
        field.setflags(write=False)
        return field

    def _answer(self, status: str, snapshots: Sequence[Floats | None]) -> FreezeOut:
        """Everything on the caller's grid."""
        if not np.isfinite(self._balance()):
            status = "diverged"
        loss, gain, out = self._heats()
        self.new, self.flow = np.empty(0), None
        last = self._temperatures()
        noted: tuple[Floats, ...] = ()
        volume, times, gradient = np.empty(0), self.times, self.gradient
        home, rows, solid_time, below_time = np.zeros(0, np.int64), np.full((7, 0), np.nan), np.nan, np.nan
        if self.metal_cells:
            home = self._home()
            volume = 1.0 / self.shape.metal_share[self.is_metal]
        self._let_go()
        if self.metal_cells and self.metal is not None:
            times[self.order] = times.copy()
            width = self.metal.liquidus - self.metal.solidus
            with np.errstate(divide="ignore", invalid="ignore"):
                rate = 0.1 * width / (times[AFTER] - times[BEFORE])
                niyama = gradient / np.sqrt(rate)
            niyama[~np.isfinite(niyama)] = np.nan
            times[LIQUIDUS] = self._centred(times[LIQUIDUS])
            rows = np.array([times[LIQUIDUS], times[COHERENCY], times[SOLIDUS], times[BELOW], gradient, rate, niyama])
            solid_time, below_time = float(times[SOLIDUS].max()), float(times[BELOW].max())
            turn = np.argsort(home)
            noted = tuple(np.ascontiguousarray(row[turn]) for row in times[AFTER + 1 :])
            volume = volume[turn]
            del turn, rate, niyama
        del times, gradient
        never = np.broadcast_to(np.nan, self._shape())
        fields = [self._spread(row, home) for row in rows[:4]] + [self._spread(row, home, np.float32) for row in rows[4:]]
        return FreezeOut(
            time_to_liquidus=fields[0],
            time_to_coherency=fields[1],
            time_to_solidus=fields[2],
            time_below=fields[3],
            gradient=fields[4],
            cooling_rate=fields[5],
            niyama=fields[6],
            temperature=last,
            snapshots=tuple(never if s is None else s for s in snapshots),
            time=self.time,
            solid_time=solid_time,
            below_time=below_time,
            metal_loss=loss,
            media_gain=gain,
            outer_loss=out,
            balance=self.worst,
            time_at=noted,
            volume=volume,
            status=status,
            steps=self.count,
            stages=self.stages,
            work=self.work,
            probe_times=np.array(self.probe_times),
            probe_temperatures=np.array(self.probe_temperatures).reshape((len(self.probe_times), self.probes.outer.size)).T,
            near_time=self.near_time,
        )

    def _let_go(self) -> None:
        """Give back what is held by cell: nothing is stepped any more."""
        none, index, short = np.empty(0), np.empty(0, np.uint64), np.empty(0, np.uint8)
        self.old = self.new = self.work_cells = self.y0 = self.ya = self.yb = self.w = self.u_start = none
        self.flow, self.own, self.flat_tags = None, None, short
        self.times, self.gradient = np.empty((0, 0)), none
        self.layout = self.layout._replace(
            tags=short, media_bits=short, metal_bits=short, shell=np.empty(0, np.uint16), seg_first=index, seg_length=index, seg_tag=short
        )
        self.shape = self.shape._replace(metal_share=none, medium_share=np.empty(0, np.float32))
