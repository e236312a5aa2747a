"""What the peers are measured on: data, exact answers, one way of reading a field, and our own runs. SI and kelvin.

C03, C05 and C10 carry the names of the project's list of checks. H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, 2nd ed.,
Oxford 1959: sections 2.4 (half-space), 3.11 and 5.6 (slab with a film, product for the brick), 11.2 (freezing between two zones).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import erf, erfc, exp, pi, sqrt

import numpy as np
from scipy.optimize import brentq
from table import Row, clock

from strickle import Grid, MediumData, MetalData, film, fixed, freeze

KELVIN = 273.15
MELT, COLD = 660.0 + KELVIN, 20.0 + KELVIN
METAL, MEDIUM = 1, 10
SAND = MediumData(conductivity=0.6, density=1500.0, heat_capacity=1130.0)
SAND_CAPACITY = SAND.density * SAND.heat_capacity


@dataclass(frozen=True, slots=True)
class HalfSpace:
    """C05: a face at 660 degC into sand at 20 degC; read at 10 mm after 120 s."""

    cell: float = 0.0005
    length: float = 0.080
    depth: float = 0.010
    time: float = 120.0

    @property
    def cells(self) -> int:
        return round(self.length / self.cell)

    def exact(self) -> float:
        """Kelvin."""
        return COLD + (MELT - COLD) * erfc(self.depth / (2.0 * sqrt(SAND.conductivity / SAND_CAPACITY * self.time)))

    def error(self, field: np.ndarray) -> float:
        """Kelvin off, of cell values along the depth."""
        return float(np.interp(self.depth, (np.arange(self.cells) + 0.5) * self.cell, field)) - self.exact()

    def ours(self, preset: str) -> np.ndarray:
        grid = Grid(tags=np.full((self.cells, 1, 1), MEDIUM, np.uint8), cell=self.cell, origin=np.zeros(3))
        told = freeze(grid, {MEDIUM: SAND}, start={MEDIUM: COLD}, faces={"x-": fixed(MELT)}, until=self.time, preset=preset)
        return told.temperature[:, 0, 0]


@dataclass(frozen=True, slots=True)
class Brick:
    """C10: 40 x 60 x 100 mm from 500 degC in air at 20 degC with a film, after 60 s; an eighth of it is computed."""

    cell: float = 0.0025
    sides: tuple[float, float, float] = (0.040, 0.060, 0.100)
    conductivity: float = 20.0
    capacity: float = 4e6
    h: float = 1000.0
    hot: float = 500.0 + KELVIN
    air: float = 20.0 + KELVIN
    time: float = 60.0

    @property
    def shape(self) -> tuple[int, int, int]:
        x, y, z = (round(0.5 * s / self.cell) for s in self.sides)
        return x, y, z

    @property
    def to_air(self) -> float:
        """From the middle of an outer cell [W/(m2 K)]."""
        return 1.0 / (1.0 / self.h + 0.5 * self.cell / self.conductivity)

    def exact(self) -> tuple[float, float]:
        """Centre and middle of the 60 x 100 mm face, kelvin."""
        parts = [self._slab(0.5 * s) for s in self.sides]
        centre = parts[0][0] * parts[1][0] * parts[2][0]
        face = parts[0][1] * parts[1][0] * parts[2][0]
        return self.air + (self.hot - self.air) * centre, self.air + (self.hot - self.air) * face

    def _slab(self, half: float) -> tuple[float, float]:
        """What is left of the excess in the middle and at the face of a slab cooled on both sides."""
        biot, fourier = self.h * half / self.conductivity, self.conductivity / self.capacity * self.time / half**2
        middle = face = 0.0
        for n in range(40):
            z = brentq(lambda x: x * np.sin(x) - biot * np.cos(x), n * pi, (n + 0.5) * pi)
            share = 4.0 * np.sin(z) / (2.0 * z + np.sin(2.0 * z)) * exp(-z * z * fourier)
            middle, face = middle + share, face + share * np.cos(z)
        return middle, face

    def error(self, field: np.ndarray) -> float:
        """The worse of centre and face, kelvin off; ``field`` begins at the centre. The field is even about it, so it is carried on square."""
        inner = field
        for _ in range(3):
            inner = (9.0 * inner[0] - inner[1]) / 8.0
        skin = (9.0 * field[-1, 0] - field[-1, 1]) / 8.0
        skin = (9.0 * skin[0] - skin[1]) / 8.0
        inside = 2.0 * self.conductivity / self.cell
        face = (inside * skin + self.h * self.air) / (inside + self.h)
        off = np.array([inner, face]) - self.exact()
        return float(off[np.argmax(np.abs(off))])

    def ours(self, preset: str) -> np.ndarray:
        grid = Grid(tags=np.full(self.shape, MEDIUM, np.uint8), cell=self.cell, origin=np.zeros(3))
        medium = MediumData(conductivity=self.conductivity, density=1000.0, heat_capacity=self.capacity / 1000.0)
        cooled = {name: film(self.h, self.air) for name in ("x+", "y+", "z+")}
        return freeze(grid, {MEDIUM: medium}, start={MEDIUM: self.hot}, faces=cooled, until=self.time, preset=preset).temperature


@dataclass(frozen=True, slots=True)
class Freezes:
    """C03: a metal at its melting point against sand in perfect contact: when 10 mm are solid. ``width`` kelvin stand for a sharp point."""

    cell: float = 0.0005
    metal: float = 0.020
    sand: float = 0.080
    depth: float = 0.010
    width: float = 0.005
    density: float = 2550.0
    latent: float = 396e3
    solid: float = 211.0
    liquid: float = 91.0
    solid_heat: float = 1190.0
    liquid_heat: float = 1080.0

    @property
    def cells(self) -> tuple[int, int]:
        """Of metal and of sand; the metal comes first."""
        return round(self.metal / self.cell), round(self.sand / self.cell)

    @property
    def last(self) -> int:
        """The cell whose far face is at the depth asked: it is solid when the front is there."""
        return self.cells[0] - round(self.depth / self.cell)

    def exact(self) -> float:
        """Seconds."""
        diffusivity = self.solid / (self.density * self.solid_heat)
        b_solid = sqrt(self.solid * self.density * self.solid_heat)
        b_sand = sqrt(SAND.conductivity * SAND_CAPACITY)

        def gap(z: float) -> float:
            face = (b_solid * MELT / erf(z) + b_sand * COLD) / (b_solid / erf(z) + b_sand)
            drawn = b_solid * (MELT - face) * exp(-z * z) / (sqrt(pi) * erf(z))
            return drawn - self.density * self.latent * sqrt(diffusivity) * z

        return (self.depth / (2.0 * brentq(gap, 1e-6, 1.0, xtol=1e-14))) ** 2 / diffusivity

    def error(self, time: float) -> float:
        """Percent off."""
        return 100.0 * (time / self.exact() - 1.0)

    def nodes(self) -> tuple[np.ndarray, np.ndarray]:
        """Heat content above the solidus [J/m3] and temperature [K] at the corners of their line, outermost far beyond use."""
        mush = self.density * (self.latent + 0.5 * (self.solid_heat + self.liquid_heat) * self.width)
        below, above = 500.0, 200.0
        heat = np.array([-self.density * self.solid_heat * below, 0.0, mush, mush + self.density * self.liquid_heat * above])
        return heat, MELT - self.width + np.array([-below, 0.0, self.width, self.width + above])

    def conductivity_at(self, heat: np.ndarray) -> np.ndarray:
        """W/(m K) of metal, linear in what is solid."""
        return np.interp(heat, self.nodes()[0][1:3], [self.solid, self.liquid])

    def ours(self, preset: str) -> float:
        metal, sand = self.cells
        data = MetalData.plain(
            solidus=MELT - self.width, liquidus=MELT, latent_heat=self.latent, solid_heat=self.solid_heat, liquid_heat=self.liquid_heat,
            solid_conductivity=self.solid, liquid_conductivity=self.liquid, density=self.density,
        )  # fmt: skip
        tags = np.r_[np.full(metal, METAL, np.uint8), np.full(sand, MEDIUM, np.uint8)].reshape(-1, 1, 1)
        told = freeze(
            Grid(tags=tags, cell=self.cell, origin=np.zeros(3)), {METAL: data, MEDIUM: SAND}, start={METAL: MELT, MEDIUM: COLD},
            until=1.15 * self.exact(), preset=preset,
        )  # fmt: skip
        return float(told.time_to_solidus[self.last, 0, 0])


def our_rows(case: HalfSpace | Brick | Freezes, unit: str, presets: tuple[str, ...] = ("rough", "shop", "fine"), times: int = 5) -> list[Row]:
    """Our own runs of a case, one a preset."""
    rows = []
    for preset in presets:
        spent, found = clock(lambda p=preset: case.ours(p), times)
        rows.append(Row(f"ours {preset}", case.error(found), unit, spent, ours=True))
    return rows


def peer_row(name: str, case: HalfSpace | Brick | Freezes, unit: str, run: Callable[[], np.ndarray | float], times: int = 1) -> Row:
    """One run of a peer."""
    spent, found = clock(run, times)
    return Row(name, case.error(found), unit, spent)
