"""The filling solver's face: plain arrays in, a run that can be advanced, looked at, saved and restored."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strickle.kernels.fill_cells import CAVITY, OPEN, POURED, PRESSED, SOLID, number
from strickle.kernels.fill_front import closed_air
from strickle.kernels.fill_heat import held_heat
from strickle.kernels.fill_openings import openings, wall_area, widths
from strickle.kernels.fill_run import DONE, FILLED, STUCK, TIMED, WILD, Rule, Run, Work
from strickle.kernels.fill_state import (
    CLIPPED,
    HARDEST,
    HEAT_IN,
    HEAT_OUT,
    HEAT_SPRAY,
    HEAT_WALL,
    INFLOW,
    OUTFLOW,
    POCKETS,
    SHUT,
    SOLVES,
    SPRAY,
    STEPS,
    SWALLOWED,
    TIME,
)  # fmt: skip

__all__ = [
    "CAVITY", "DONE", "FILLED", "OPEN", "POURED", "PRESETS", "PRESSED", "SOLID", "STUCK", "TIMED", "WILD", "Filler", "Heat", "Inlet", "Knobs",
    "Still", "openings", "widths",
]  # fmt: skip
THIN = 0.5
"""Room of a cell under which it does not part the air beside it from the wall."""
Floats = NDArray[np.float64]
SLOT = 0.006
"""m. Sections wider than this and a third are entered without resistance of the metal's skin; between, it fades."""


@dataclass(frozen=True)
class Knobs:
    """How far metal may go in a step, in cells, in the body and at the surface; what may be left of a cell's balance."""

    bulk: float
    skin: float
    tolerance: float


PRESETS = {"rough": Knobs(1.8, 0.9, 4e-3), "shop": Knobs(1.8, 0.9, 1e-3), "fine": Knobs(0.9, 0.5, 1e-4)}


@dataclass(frozen=True)
class Heat:
    """Heat tables by heat content, even steps, and what the walls are made of, by place of the box."""

    low: float
    width: float
    temperature: Floats
    solid: Floats
    holds: float
    """J/(m3 K): density times the heat capacity that turns heat content into kelvin."""
    conducts: float
    contact: Floats
    soak: Floats
    cold: Floats
    drag: float
    stands: float


@dataclass(frozen=True)
class Inlet:
    """Metal that is poured in: moments, the flow from each on [m3/s], its heat content there, and the most it may press [Pa]."""

    times: Floats
    flow: Floats
    heat: Floats
    limit: float = math.inf
    shut: bool = False
    """Whether no air leaves there while metal comes in."""


@dataclass(frozen=True)
class Still:
    """Air that must get away: sand's passage [m2/(s Pa)] over the way it goes [m], vents [m2] by place of the box, the open air."""

    passage: float
    way: float
    vents: Floats | None = None
    pressure: float = 101325.0
    density: float = 1.2


def _beside(cells: Any, values: Floats, kinds: Any) -> Floats:
    """Mean over the walls beside each cell of a property given by place of the box; a cut cell without any takes its own place's."""
    flat = values.ravel()
    total, count = np.zeros(cells.m), np.zeros(cells.m)
    for side in (cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp):
        is_wall = kinds[side] == SOLID
        total += np.where(is_wall, flat[cells.full[side]], 0.0)
        count += is_wall
    own = flat[cells.full]
    return np.where(count > 0.0, total / np.maximum(count, 1.0), own)


def _reached(cells: Any, area: Floats) -> Floats:
    """Wall that air in each cell leaves through, over the cell's face: its own, and that behind neighbours too thin to part it from the wall."""
    thin = np.where((cells.vol > 0.0) & (cells.vol < THIN) & (cells.kind == CAVITY), area, 0.0)
    out = area.copy()
    for side in (cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp):
        out += thin[side]
    return out


class Filler:
    """A cavity being filled, by plain arrays over a box (nx, ny, nz).

    ``skin`` [N/m] pull of the metal's skin, one for all or by place;
    ``kind`` SOLID .. POURED, its outer two layers never CAVITY; ``room`` and ``sides`` open shares of cells and of their low faces.
    """

    def __init__(
        self, kind: NDArray[np.uint8], room: Floats, sides: tuple[Floats, Floats, Floats], cell: float, *, density: float,
        gravity: Sequence[float], knobs: Knobs, fastest: float, friction: float = 0.0, pressed: Floats | None = None, inlet: Inlet | None = None,
        heat: Heat | None = None, skin: float | Floats = 0.0, still: Still | None = None, came_at: float = 0.0,
    ) -> None:  # fmt: skip
        self.shape: tuple[int, int, int] = (kind.shape[0], kind.shape[1], kind.shape[2])
        self.cell = cell
        self.cells = cells = number(kind, room, sides)
        m = cells.m
        faces, axes, signs, beyond = self._mouth()
        open_area = sum(
            float(side[faces[axes == axis]].sum()) for axis, side in enumerate((cells.ax, cells.ay, cells.az))
        ) * cell * cell  # fmt: skip
        speed = np.full(len(faces), 1.0 / open_area if open_area > 0.0 else 0.0)
        given = inlet if inlet is not None else Inlet(np.zeros(1), np.zeros(1), np.zeros(1))
        none = np.zeros(2)
        kinds = cells.kind
        passage = np.zeros(m)
        area = wall_area(cells)
        bore = np.zeros(m)
        if still is not None:
            passage = _reached(cells, area) * cell * cell * still.passage / still.way / cell**3
            if still.vents is not None:
                bore = still.vents.ravel()[cells.full] / cell**3
        hold = np.zeros(m)
        if np.max(skin) > 0.0:
            pull = np.broadcast_to(np.asarray(skin, dtype=float), kind.shape).ravel()[cells.full]
            wide = widths(np.where(kind == CAVITY, room, 0.0), cell, SLOT * 4.0 / 3.0).ravel()[cells.full]
            fade = np.clip((SLOT * 4.0 / 3.0 - wide) / (SLOT / 3.0), 0.0, 1.0)
            hold = np.where(kinds == CAVITY, 2.0 * pull / np.maximum(wide, 1e-9) * fade, 0.0)
        at = np.stack(np.unravel_index(cells.full[: cells.n], kind.shape))
        presses = density * cell * float(np.abs(np.asarray(gravity)) @ (np.ptp(at, axis=1) + 1)) + max(
            given.limit if math.isfinite(given.limit) else 0.0, 0.0 if pressed is None else float(pressed.max(initial=0.0))
        )  # fmt: skip
        rule = Rule(
            cell, knobs.skin, knobs.bulk, 0.05, knobs.tolerance, fastest, presses, density, float(gravity[0]), float(gravity[1]), float(gravity[2]),
            friction, heat is not None, 0.0 if heat is None else heat.low, 1.0 if heat is None else heat.width,
            1.0 if heat is None else heat.holds, 0.0 if heat is None else heat.conducts / heat.holds, 0.0 if heat is None else heat.drag,
            1.0 if heat is None else heat.stands, given.limit, bool(hold.any()), still is not None, 0.0 if still is None else still.pressure,
            1.0 if still is None else still.density,
        )  # fmt: skip
        one = np.ones(m)
        contact, soak, cold = (one, one, one) if heat is None else (_beside(cells, values, kinds) for values in (heat.contact, heat.soak, heat.cold))
        work = Work(
            area, contact, soak, cold, hold, passage, bore, np.ones(m), np.zeros(m), np.zeros(m), np.zeros(m),
            none if heat is None else heat.temperature, none if heat is None else heat.solid, faces, axes, signs, beyond, speed,
            given.times.astype(float), given.flow.astype(float), given.heat.astype(float),
        )  # fmt: skip
        self.run = Run(cells, rule, work, came_at)
        self.run.flow.tally[SHUT] = float(given.shut)
        if pressed is not None:
            self.run.flow.gas[:] = np.where(kinds == PRESSED, pressed.ravel()[cells.full], 0.0)
        self.room = float(cells.vol[: cells.n].sum()) * cell**3
        self.asked = np.zeros(0, np.uint8)

    def _mouth(self) -> tuple[Any, Any, Any, Any]:
        """Faces through which metal is poured: their owners, axes, signs and the cells beyond."""
        cells = self.cells
        lists: list[tuple[int, int, int, int]] = []
        for axis, (low, opening) in enumerate(((cells.xm, cells.ax), (cells.ym, cells.ay), (cells.zm, cells.az))):
            for c in np.flatnonzero(opening > 0.0):
                a = low[c]
                if cells.kind[c] == POURED:
                    lists.append((int(c), axis, -1, int(c)))
                elif cells.kind[a] == POURED:
                    lists.append((int(c), axis, 1, int(a)))
        table = np.array(lists, dtype=np.int64).reshape(-1, 4)
        return table[:, 0].astype(np.int32), table[:, 1].copy(), table[:, 2].astype(np.float64), table[:, 3].astype(np.int32)

    def put(self, share: Floats, heat: Floats) -> None:
        """Metal there at the start: share of each cell and its heat content [K], (nx, ny, nz)."""
        self.run.put(share, heat)
        self.asked = self._digest()

    def advance(self, until: float, most: int, full: float) -> int:
        """Step until a moment [s], so many steps, or so full; returns why it ended."""
        return self.run.advance(until, most, full)

    def tally(self) -> dict[str, float]:
        """Sums of the run: volumes in m3, heat in units of J over ``holds`` (K m3), and counts."""
        t, size = self.run.flow.tally, self.cell**3
        volumes = {"inflow": INFLOW, "outflow": OUTFLOW, "spray": SPRAY, "swallowed": SWALLOWED}
        heats = {"heat_in": HEAT_IN, "heat_out": HEAT_OUT, "heat_spray": HEAT_SPRAY, "heat_wall": HEAT_WALL}
        counts = {"time": TIME, "steps": STEPS, "solves": SOLVES, "hardest": HARDEST, "cut": CLIPPED, "pockets": POCKETS}
        return {
            **{name: float(t[place]) * size for name, place in (volumes | heats).items()},
            **{name: float(t[place]) for name, place in counts.items()},
        }

    def metal(self) -> float:
        """Metal in the cavity [m3]."""
        n = self.cells.n
        return float((self.run.flow.f[:n] * self.cells.vol[:n]).sum()) * self.cell**3  # no matrix product: its threads spin on

    def share_of(self, some: NDArray[np.int32]) -> float:
        """Metal over room in the cells ``some`` (numbers)."""
        room = self.cells.vol[some]
        return float((self.run.flow.f[some] * room).sum() / max(room.sum(), 1e-300))

    def field(self, name: str, empty: float = math.nan) -> Floats:
        """A field of the flow by name, in the box (nx, ny, nz)."""
        return self.run.box(getattr(self.run.flow, name), self.shape, empty)

    def work_field(self, name: str, empty: float = math.nan) -> Floats:
        """A field of the work by name, in the box."""
        return self.run.box(getattr(self.run.work, name), self.shape, empty)

    def rooms(self) -> Floats:
        """Open share of each cell, in the box."""
        return self.run.box(self.cells.vol, self.shape, 0.0)

    def gauge(self, inside: NDArray[np.int32]) -> tuple[float, float]:
        """Mean and highest speed [m/s] of the liquid among the cells ``inside`` (numbers)."""
        s, cells = self.run.flow, self.cells
        wet = inside[s.liquid[inside] == 1]
        if not wet.size:
            return 0.0, 0.0
        total = np.zeros(wet.size)
        for speed, high in ((s.u, cells.xp), (s.v, cells.yp), (s.w, cells.zp)):
            total += (0.5 * (speed[wet] + speed[high[wet]])) ** 2
        root = np.sqrt(total)
        return float(root.mean()), float(root.max())

    def numbers_of(self, chosen: NDArray[np.bool_]) -> NDArray[np.int32]:
        """Numbers of the cavity cells of the box that are chosen."""
        found = self.cells.numbers[np.flatnonzero(chosen.ravel())]
        return found[found < self.cells.n]

    def closed_air(self, most: int = 64) -> tuple[Floats, Floats]:
        """Pockets of air without a way out: volume [m3] (k,) and middle, in cells of the box (k, 3)."""
        room, place = np.zeros(most), np.zeros((most, 3))
        count = int(closed_air(self.cells, self.run.flow, room, place))
        return room[:count] * self.cell**3, place[:count] + 0.5

    @property
    def time(self) -> float:
        """Moment of the run [s]."""
        return float(self.run.flow.tally[TIME])

    def balance(self) -> tuple[float, float]:
        """Metal and heat that cannot be accounted for, as shares of what came in."""
        return self.run.balance()

    def heat_lost(self) -> float:
        """Heat the metal has lost [K m3]: what came less what it holds, what left and what went into spray."""
        t = self.run.flow.tally
        held = held_heat(self.cells, self.run.flow)[1]
        return float(self.run.began[1] + t[HEAT_IN] - held - t[HEAT_OUT] - t[HEAT_SPRAY]) * self.cell**3

    def mark(self) -> NDArray[np.uint8]:
        """What tells the question of this run from another's: a digest of all that was given and put in."""
        return self.asked

    def _digest(self) -> NDArray[np.uint8]:
        w, c = self.run.work, self.cells
        all_of = hashlib.sha256(repr((self.shape, c.n, *(float(v) for v in self.run.rule))).encode())
        given = (
            c.full, c.vol, c.ax, c.ay, c.az, c.kind, w.area, w.hold, w.leak, w.bore, w.contact, w.soak, w.cold, w.hot, w.frozen, w.inlet_face,
            w.inlet_time, w.inlet_flow, w.inlet_heat, self.run.flow.gas, self.run.flow.f, self.run.flow.e,
        )  # fmt: skip
        for values in given:
            all_of.update(np.ascontiguousarray(values).tobytes())
        return np.frombuffer(all_of.digest(), dtype=np.uint8)

    def saved(self) -> dict[str, Any]:
        """What a later run needs to go on."""
        return self.run.saved()

    def restore(self, kept: dict[str, Any]) -> None:
        """Go on from what was saved of the same cavity."""
        self.run.restore(kept)


def warm() -> None:
    """Compile: a small box filled from below, with heat, skin and air."""
    kind = np.zeros((10, 9, 12), np.uint8)
    kind[2:8, 2:7, 2:10] = CAVITY
    kind[4:6, 4:6, 1] = POURED
    kind[4, 4, 10] = OPEN
    one = np.ones(kind.shape)
    table = np.linspace(0.0, 1000.0, 101)
    heat = Heat(0.0, 10.0, table, np.clip((900.0 - table) / 300.0, 0.0, 1.0), 2.6e6, 80.0, 2000.0 * one, 1000.0 * one, 293.0 * one, 2e3, 0.5)
    filler = Filler(
        kind, one, (one, one, one), 2e-3, density=2400.0, gravity=(0.0, 0.0, -9.81), knobs=PRESETS["rough"], fastest=10.0,
        inlet=Inlet(np.zeros(1), np.full(1, 1e-5), np.full(1, 1000.0), 3000.0), heat=heat, skin=1.0, still=Still(1e-6, 0.03),
        friction=0.003, came_at=1000.0,
    )  # fmt: skip
    filler.put(np.zeros(kind.shape), one)
    filler.advance(1.0, 5, 2.0)
    filler.closed_air()
    filler.gauge(filler.numbers_of(kind == CAVITY))
    kept = filler.saved()
    filler.restore(kept)
    corners = np.array([[x, y, z] for x in (0.0, 1.0) for y in (0.0, 1.0) for z in (0.0, 1.0)])
    faces = np.array(
        [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]]
    )
    openings(corners, faces, np.full(3, -0.5), 0.25, (8, 8, 8))
