"""scipy's own time integrators beside ours: the method of lines, heat content as the unknown, the grid's structure told to them.

Half-space and brick are linear: their constant sparse matrix is the Jacobian. Freezing in one dimension (C03) is a tridiagonal system
with its Jacobian by formula (LSODA gets it banded). Freezing in three dimensions is a plate's octant in sand with a contact
resistance; there the reference is the integrator's own run at a far tighter tolerance, so that it is exact in time and shares no code
with us; both grids are the same.

    python bench/peers/scipy_peer.py
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from cases import COLD, KELVIN, MEDIUM, MELT, METAL, SAND, SAND_CAPACITY, Brick, Freezes, HalfSpace, our_rows, peer_row
from scipy import sparse
from scipy.integrate import solve_ivp
from table import Row, clock, tell

from strickle import Grid, MetalData, freeze


def pairs_of(shape: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Neighbours along every axis, numbers in C order."""
    number = np.arange(int(np.prod(shape))).reshape(shape)
    ends = [(np.delete(number, -1, axis=a).ravel(), np.delete(number, 0, axis=a).ravel()) for a in range(len(shape))]
    return np.concatenate([i for i, _ in ends]), np.concatenate([j for _, j in ends])


def exchange(i: np.ndarray, j: np.ndarray, rate: np.ndarray, size: int) -> sparse.csc_matrix:
    """The matrix of d/dt by exchange between neighbours."""
    rows, columns = np.concatenate([i, j, i, j]), np.concatenate([j, i, i, j])
    return sparse.coo_matrix((np.concatenate([rate, rate, -rate, -rate]), (rows, columns)), (size, size)).tocsc()


def half_space(case: HalfSpace, tolerance: float) -> np.ndarray:
    rate = SAND.conductivity / SAND_CAPACITY / case.cell**2
    i, j = pairs_of((case.cells,))
    wall = np.zeros(case.cells)
    wall[0] = 2.0 * rate
    matrix = exchange(i, j, np.full(i.size, rate), case.cells) - sparse.diags(wall, format="csc")
    start = np.full(case.cells, COLD)
    out = solve_ivp(
        lambda _, t: matrix @ t + wall * MELT, (0.0, case.time), start, "BDF", jac=matrix, rtol=tolerance, atol=tolerance, t_eval=[case.time]
    )
    return out.y[:, -1]


def brick(case: Brick, tolerance: float) -> np.ndarray:
    size = int(np.prod(case.shape))
    i, j = pairs_of(case.shape)
    outer = np.zeros(case.shape)
    outer[-1] += 1.0
    outer[:, -1] += 1.0
    outer[:, :, -1] += 1.0
    lost = outer.ravel() * case.to_air / case.cell / case.capacity
    matrix = exchange(i, j, np.full(i.size, case.conductivity / case.capacity / case.cell**2), size) - sparse.diags(lost, format="csc")
    out = solve_ivp(
        lambda _, t: matrix @ t + lost * case.air, (0.0, case.time), np.full(size, case.hot), "BDF", jac=matrix, rtol=tolerance, atol=tolerance,
        t_eval=[case.time],
    )  # fmt: skip
    return out.y[:, -1].reshape(case.shape)


class Lines:
    """Metal that freezes in sand as a system of ordinary equations. The unknown is heat content over ``scale`` in metal, kelvin in sand."""

    def __init__(self, tags: np.ndarray, cell: float, nodes: tuple[np.ndarray, np.ndarray], solid: float, liquid: float, contact: float) -> None:
        self.metal = (tags == METAL).ravel()
        self.heats, self.temperatures = nodes
        self.slopes = np.diff(self.temperatures) / np.diff(self.heats)
        self.solid, self.liquid, self.cell = solid, liquid, cell
        self.i, self.j = pairs_of(tags.shape)
        self.resistance = np.where(self.metal[self.i] != self.metal[self.j], 1.0 / contact if np.isfinite(contact) else 0.0, 0.0)
        self.scale = np.where(self.metal, self.heats[2] / 100.0, SAND_CAPACITY)
        self.size = tags.size

    def _state(self, y: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Temperature, its slope against the unknown, and the conductance of each pair [W/(m3 K)]."""
        heat = y * self.scale
        mush = np.clip(heat / self.heats[2], 0.0, 1.0)
        place = np.clip(np.searchsorted(self.heats, heat, side="right") - 1, 0, len(self.slopes) - 1)
        t = np.where(self.metal, np.interp(heat, self.heats, self.temperatures), y)
        slope = np.where(self.metal, self.slopes[place] * self.scale, 1.0)
        k = np.where(self.metal, self.solid + (self.liquid - self.solid) * mush, SAND.conductivity)
        half = 0.5 * self.cell
        return t, slope, 1.0 / (self.resistance + half / k[self.i] + half / k[self.j]) / self.cell

    def rate(self, _: float, y: np.ndarray) -> np.ndarray:
        t, _, g = self._state(y)
        flow = g * (t[self.j] - t[self.i])
        return (np.bincount(self.i, flow, self.size) - np.bincount(self.j, flow, self.size)) / self.scale

    def _slopes(self, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What a kelvin in the one cell does to the other, by pair and way; the slow change of conductance is left to the iteration."""
        _, slope, g = self._state(y)
        return g * slope[self.j], g * slope[self.i]

    def jacobian(self, _: float, y: np.ndarray) -> sparse.csc_matrix:
        from_j, from_i = self._slopes(y)
        rows, columns = np.concatenate([self.i, self.j, self.i, self.j]), np.concatenate([self.j, self.i, self.i, self.j])
        values = np.concatenate([from_j, from_i, -from_i, -from_j])
        return sparse.coo_matrix((values / self.scale[rows], (rows, columns)), (self.size, self.size)).tocsc()

    def banded(self, _: float, y: np.ndarray) -> np.ndarray:
        """The same for a column of cells, as LSODA wants it."""
        from_j, from_i = self._slopes(y)
        out = np.zeros((3, self.size))
        out[0, 1:], out[2, :-1] = from_j / self.scale[:-1], from_i / self.scale[1:]
        out[1, :-1] -= from_i / self.scale[:-1]
        out[1, 1:] -= from_j / self.scale[1:]
        return out

    def go(self, start: np.ndarray, end: float, method: str, tolerance: float, last: int | None = None) -> Any:
        """Integrate to ``end`` or until cell ``last`` is solid."""
        events = []
        if last is not None:
            events = [lambda _, y: y[last]]
            events[0].terminal, events[0].direction = True, -1
        how = {"jac": self.banded, "lband": 1, "uband": 1} if method == "LSODA" else {"jac": self.jacobian}
        return solve_ivp(self.rate, (0.0, end), start, method, rtol=tolerance, atol=tolerance, events=events, **how)


def freezes(case: Freezes, method: str, tolerance: float) -> float:
    metal, sand = case.cells
    tags = np.r_[np.full(metal, METAL, np.uint8), np.full(sand, MEDIUM, np.uint8)]
    lines = Lines(tags, case.cell, case.nodes(), case.solid, case.liquid, np.inf)
    start = np.where(lines.metal, case.nodes()[0][2] / lines.scale, COLD)
    out = lines.go(start, 2.0 * case.exact(), method, tolerance, case.last)
    return float(out.t_events[0][0])


@dataclass
class Plate:
    """An octant of a plate 60 x 60 x 20 mm in sand; time to solidus of every metal cell, percent off a far tighter run."""

    cell: float = 0.005
    pour: float = 690.0 + KELVIN
    liquidus: float = 614.0 + KELVIN
    solidus: float = 557.0 + KELVIN
    contact: float = 1000.0
    density: float = 2450.0
    latent: float = 389e3
    heat: float = 1080.0
    solid: float = 150.0
    liquid: float = 80.0
    tight: float = 1e-7
    end: float = 200.0

    @property
    def tags(self) -> np.ndarray:
        tags = np.full([round(v / self.cell) for v in (0.100, 0.100, 0.060)], MEDIUM, np.uint8)
        tags[tuple(slice(round(v / self.cell)) for v in (0.030, 0.030, 0.010))] = METAL
        return tags

    def lines(self) -> Lines:
        mush = self.density * (self.latent + self.heat * (self.liquidus - self.solidus))
        heats = np.array([-400.0, 0.0, 0.0, 400.0]) * self.density * self.heat + np.array([0.0, 0.0, mush, mush])
        temperatures = np.array([self.solidus - 400.0, self.solidus, self.liquidus, self.liquidus + 400.0])
        return Lines(self.tags, self.cell, (heats, temperatures), self.solid, self.liquid, self.contact)

    def peer(self, tolerance: float) -> np.ndarray:
        """Times from the dense steps of BDF: crossing of the solidus inside the step by its own polynomial."""
        lines = self.lines()
        start = np.where(lines.metal, lines.heats[2] + self.density * self.heat * (self.pour - self.liquidus), 0.0) / lines.scale
        start[~lines.metal] = COLD
        out = solve_ivp(lines.rate, (0.0, self.end), start, "BDF", jac=lines.jacobian, rtol=tolerance, atol=tolerance, dense_output=True)
        times = np.full(lines.size, np.nan)
        for cell in np.flatnonzero(lines.metal):
            times[cell] = self._crossing(out, cell)
        return times[lines.metal]

    @staticmethod
    def _crossing(out: Any, cell: int) -> float:
        at = int(np.argmax(out.y[cell] <= 0.0))
        low, high = out.t[at - 1], out.t[at]
        piece = out.sol.interpolants[at - 1]
        for _ in range(50):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if piece(middle)[cell] > 0.0 else (low, middle)
        return high

    @cached_property
    def exact(self) -> np.ndarray:
        return self.peer(self.tight)

    def error(self, times: np.ndarray) -> float:
        """Of the worst cell, percent."""
        off = 100.0 * (times / self.exact - 1.0)
        return float(off[np.argmax(np.abs(off))])

    def ours(self, preset: str) -> np.ndarray:
        data = MetalData.plain(
            solidus=self.solidus, liquidus=self.liquidus, latent_heat=self.latent, solid_heat=self.heat, liquid_heat=self.heat,
            solid_conductivity=self.solid, liquid_conductivity=self.liquid, density=self.density,
        )  # fmt: skip
        tags = self.tags
        told = freeze(
            Grid(tags=tags, cell=self.cell, origin=np.zeros(3)), {METAL: data, MEDIUM: SAND}, start={METAL: self.pour, MEDIUM: COLD},
            contact={(METAL, MEDIUM): self.contact}, preset=preset,
        )  # fmt: skip
        return told.time_to_solidus[tags == METAL]


def main() -> int:
    half, block, front, plate = HalfSpace(), Brick(), Freezes(), Plate()
    rows = our_rows(half, "K") + [peer_row(f"BDF, tolerance {x:g}", half, "K", lambda x=x: half_space(half, x), 3) for x in (1e-2, 1e-4)]
    tell(f"C05 half-space of sand, {half.cells} cells", rows)
    rows = our_rows(block, "K") + [peer_row(f"BDF, tolerance {x:g}", block, "K", lambda x=x: brick(block, x), 3) for x in (1e-2, 1e-4)]
    tell(f"C10 brick with a film, {' x '.join(str(n) for n in block.shape)} cells", rows)
    rows = our_rows(front, "%")
    for method, tolerance in (("LSODA", 1e-3), ("LSODA", 1e-5), ("BDF", 1e-3), ("BDF", 1e-5), ("Radau", 1e-3)):
        rows.append(peer_row(f"{method}, tolerance {tolerance:g}", front, "%", lambda m=method, x=tolerance: freezes(front, m, x)))
    tell(f"C03 metal freezing against sand, {sum(front.cells)} cells", rows)
    rows = []
    for preset in ("rough", "shop", "fine"):
        spent, times = clock(lambda p=preset: plate.ours(p), 5)
        rows.append(Row(f"ours {preset}", plate.error(times), "%", spent, ours=True))
    for tolerance in (1e-2, 1e-3, 1e-4):
        spent, times = clock(lambda x=tolerance: plate.peer(x), 1)
        rows.append(Row(f"BDF, tolerance {tolerance:g}", plate.error(times), "%", spent))
    tell(f"Plate in sand, {plate.tags.size} cells; worst cell's time to solidus against BDF at {plate.tight:g}", rows)
    return 0


if __name__ == "__main__":
    sys.exit(main())
