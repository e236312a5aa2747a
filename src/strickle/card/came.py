"""The solved filling made ready to be painted: when metal came to each place, how hot and how fast, in the person's units, and their scales."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import ndimage

from strickle.base import ICE_POINT, Array, Mesh, shown
from strickle.card.palette import banded, nice_step
from strickle.card.picture import Field
from strickle.cavity import METAL_TAGS, PART, Cavity
from strickle.kernels import sight
from strickle.pour import Pour

CAME, UNSOLVED, EMPTY = 0, 1, 2
NOT_YET, NOT_SOLVED, BARE = (0.93, 0.925, 0.91), (0.70, 0.735, 0.77), (1.0, 1.0, 1.0)
HELD = 6  # cells that lie together before they are drawn as anything but metal: single ones are corners that the surface cuts
FLAT = 1.5  # as many cells away counts a cell above or below
STRAY = 0.5  # percent of the cells at a scale's end that may lie beyond it: single drops are hotter, colder or quicker than any stream


@dataclass(frozen=True, slots=True)
class Scale:
    """Bands of a value in the person's units. ``flip``: the lowest value is the darkest. ``under``, ``over``: some values lie beyond the ends."""

    low: float
    step: float
    bands: int
    unit: str
    flip: bool = False
    under: bool = False
    over: bool = False

    @staticmethod
    def of(values: Array, unit: str, *, least: float | None = None, flip: bool = False, most: int = 8) -> Scale:
        """Over all values but strays at the open ends; from ``least`` where that is given."""
        first = float(np.percentile(values, STRAY)) if least is None else least
        last = float(np.percentile(values, 100.0 - STRAY if least is not None else 100.0))
        step = nice_step(max(last - first, 1e-9), most)
        low = step * math.floor(first / step + 1e-9)
        bands = max(1, math.ceil((last - low) / step - 1e-9))
        top = low + bands * step
        return Scale(low, step, bands, unit, flip, bool(values.min() < low - 1e-9), bool(values.max() > top + 1e-9))

    @property
    def span(self) -> float:
        """From the lowest to the highest band's end."""
        return self.step * self.bands

    def colours(self, values: Array) -> Array:
        """Colours (n, 3) in 0..1."""
        within = np.clip(values - self.low, 0.0, self.span)
        return banded(self.span - within if self.flip else within, self.step, self.span)

    def band(self, values: Array) -> Array:
        """Number of the band each value lies in."""
        out: Array = np.clip(np.floor((values - self.low) / self.step), 0, self.bands - 1).astype(np.int64)
        return out

    def ends(self) -> list[str]:
        """The figures between the bands, lowest first."""
        told = [f"{self.low + i * self.step + 0.0:.6g}" for i in range(self.bands + 1)]
        told[0] = f"≤ {told[0]}" if self.under else told[0]
        told[-1] += "+" if self.over else ""
        return told


def degrees(kelvin: Array, units: str) -> Array:
    """Degrees Celsius or Fahrenheit."""
    return np.asarray((kelvin - ICE_POINT) * 1.8 + 32.0 if units == "us" else kelvin - ICE_POINT)


def speeds(metric: Array, units: str) -> Array:
    """m/s or ft/s."""
    return np.asarray(metric / 0.3048 if units == "us" else metric)


@dataclass(frozen=True, slots=True)
class Filled:
    """The filling on its grid, mould frame; ``state`` (nx, ny, nz) says of every cell what its nearest cell of the cavity is."""

    arrival: Field
    warmth: Field
    speed: Field
    state: Array
    origin: Array
    cell: float
    scales: dict[str, Scale]
    times: Array  # s, sorted, of the part's cells
    reached: Array  # share of the part's volume that metal has reached by then
    end: float  # s, the part is full, or no more comes
    top: float  # m, over it nothing was solved
    part_top: float  # m, over it no metal came to the part
    units: str

    @staticmethod
    def of(pour: Pour, cavity: Cavity, units: str) -> Filled | None:
        """None where the filling was not solved or nothing came."""
        if pour.solution is None or pour.arrival is None or pour.arrival_temperature is None or pour.arrival_speed is None:
            return None
        came = np.isfinite(pour.arrival)
        if not came.any():
            return None
        origin, cell = np.asarray(pour.filling_origin, dtype=float), float(pour.solution.cell)
        tags, share = _sampled(cavity, origin, cell, pour.arrival.shape)
        fields = {
            "arrival": pour.arrival.astype(np.float64),
            "warmth": degrees(pour.arrival_temperature.astype(np.float64), units),
            "speed": _even(speeds(pour.arrival_speed.astype(np.float64), units), came & np.isfinite(pour.arrival_speed)),
        }
        made = {name: Field.of(values, origin, cell) for name, values in fields.items()}
        if any(field is None for field in made.values()):
            return None
        scales = {
            "arrival": Scale.of(fields["arrival"][came], "s", least=0.0),
            "warmth": Scale.of(fields["warmth"][came & np.isfinite(fields["warmth"])], shown(300.0, "K", units)[1], flip=True),
            "speed": Scale.of(fields["speed"][np.isfinite(fields["speed"])], shown(1.0, "m/s", units)[1], least=0.0),
        }
        part = tags == PART
        times, reached = _reached(fields["arrival"], part, share)
        end = float(pour.solution.fill_time)
        return Filled(
            arrival=_sure(made["arrival"]), warmth=_sure(made["warmth"]), speed=_sure(made["speed"]),
            state=_states(came, tags, share, bare=pour.solution.empty_volume > 0.0), origin=origin, cell=cell, scales=scales,
            times=times, reached=reached, end=end if math.isfinite(end) else float(np.nanmax(fields["arrival"])),
            top=_top(came, origin, cell), part_top=_top(came & part if (came & part).any() else came, origin, cell), units=units,
        )  # fmt: skip

    def share(self, time: float) -> float:
        """Share of the part's volume that metal has reached."""
        come = int(np.searchsorted(self.times, time, side="right"))
        return float(self.reached[come - 1]) if come else 0.0

    def states(self, points: Array) -> Array:
        """State at points (n, 3)."""
        at = np.floor((points - self.origin) / self.cell).astype(int)
        at = np.clip(at, 0, np.array(self.state.shape) - 1)
        out: Array = self.state[tuple(at.T)]
        return out


def _on(field: Field, points: Array, where: Array) -> Array:
    """A field at those points (n, 3) that are marked, 0 at the others."""
    out = np.zeros(len(points))
    out[where] = field.at(points[where])
    return out


def _even(values: Array, known: Array) -> Array:
    """A field on the known cells, each the mean of itself and its near neighbours: one cell's speed is an eddy's or a drop's."""
    weight = ndimage.gaussian_filter(known.astype(np.float64), 0.8)
    mean = ndimage.gaussian_filter(np.where(known, values, 0.0), 0.8) / np.maximum(weight, 1e-9)
    return np.where(known, mean, np.nan)


def _sure(field: Field | None) -> Field:
    assert field is not None
    return field


def _sampled(cavity: Cavity, origin: Array, cell: float, shape: tuple[int, ...]) -> tuple[Array, Array]:
    """Tag and metal's share of the cavity at the middles of the filling's cells; 0 outside it."""
    grid = cavity.grid
    at = [np.floor((origin[a] + (np.arange(shape[a]) + 0.5) * cell - grid.origin[a]) / grid.cell).astype(int) for a in range(3)]
    inside = [(one >= 0) & (one < grid.tags.shape[a]) for a, one in enumerate(at)]
    place = np.ix_(*(np.clip(one, 0, grid.tags.shape[a] - 1) for a, one in enumerate(at)))
    there = inside[0][:, None, None] & inside[1][None, :, None] & inside[2][None, None, :]
    return np.where(there, grid.tags[place], 0), np.where(there, cavity.fraction[place], 0.0)


def _top(where: Array, origin: Array, cell: float) -> float:
    """Upper end [m] of the highest cell that is marked."""
    return float(origin[2] + (int(np.nonzero(where)[2].max()) + 1) * cell)


def _reached(arrival: Array, part: Array, share: Array) -> tuple[Array, Array]:
    """Times [s] at which metal comes to cells of the part, sorted, and the share of its volume reached by then."""
    came = part & np.isfinite(arrival)
    order = np.argsort(arrival[came])
    volume = np.where(came, np.maximum(share, 1e-3), share)
    return arrival[came][order], np.cumsum(volume[came][order]) / max(float(volume[part].sum()), 1e-12)


def _states(came: Array, tags: Array, share: Array, *, bare: bool) -> Array:
    """CAME, UNSOLVED or EMPTY of each cell; sand's cells take that of the nearest other."""
    state = np.full(came.shape, 255, dtype=np.uint8)
    state[came] = CAME
    for value, where in ((EMPTY, (tags == PART) & bare), (UNSOLVED, np.isin(tags, METAL_TAGS) & (tags != PART))):
        groups, count = ndimage.label(where & ~came & (share > 0.3))
        if count:
            large = np.flatnonzero(np.bincount(groups.ravel()) >= HELD)
            state[np.isin(groups, large[large > 0])] = value
    sides = (1.0, 1.0, FLAT)  # layers are let be: what stands over the solved metal is parted from it by a level
    nearest = ndimage.distance_transform_edt(state == 255, sampling=sides, return_distances=False, return_indices=True)
    out: Array = state[tuple(nearest)]
    return out


class Pane:
    """The casting, whole or cut, seen from one side with the filling on its surface: painted as often as asked."""

    def __init__(self, mesh: Mesh, turn: Array, filled: Filled, across: int, down: int) -> None:
        self.filled, self.across, self.down = filled, across, down
        make: Any = sight.Sight  # kernels carry no type hints
        self.sight: Any = make(mesh.vertices, mesh.faces, turn, across, down)
        inside = self.sight.points - 0.5 * filled.cell * self.sight.normals
        self.state = filled.states(inside)
        self.glow: Array | None = None
        came = self.state == CAME
        self.other = [(self.state == state, state, np.array(colour, np.float32)) for state, colour in ((UNSOLVED, NOT_SOLVED), (EMPTY, BARE))]
        self.arrival, self.warmth, self.speed = (_on(field, inside, came) for field in (filled.arrival, filled.warmth, filled.speed))

    def has(self, state: int) -> bool:
        """Whether more than a speck of what is seen is in a state."""
        return int(np.count_nonzero(self.state == state)) > 1e-3 * self.state.size

    def field(self, name: str, hatched: Array | None = None) -> Array:
        """The picture of a field, RGBA. ``hatched`` (k,) marks further samples."""
        values, scale = getattr(self, name), self.filled.scales[name]
        return self._picture(scale.colours(values), scale.band(values), hatched)

    def moment(self, time: float) -> Array:
        """The picture at a moment: metal that has come, coloured by how hot it came, over what is not reached yet."""
        if self.glow is None:
            self.glow = self.filled.scales["warmth"].colours(self.warmth).astype(np.float32)
        here = self.arrival <= time
        return self._picture(np.where(here[:, None], self.glow, np.array(NOT_YET, np.float32)), here.astype(np.int64), None)

    def _picture(self, colours: Array, band: Array, hatched: Array | None) -> Array:
        marks = self.state == EMPTY
        for where, state, colour in self.other:
            colours[where] = colour
            band[where] = -state
        if hatched is not None:
            marks = marks | (hatched & (self.state == CAME))
        out: Array = self.sight.painted(colours, band, marks.astype(np.uint8))
        return out

    def places(self, points: Array) -> tuple[Array, Array]:
        """Where points (n, 3) lie in the picture, as shares across and down (n, 2), and which of them metal hides (n,)."""
        at, hidden = self.sight.places(points, 3.0 * self.filled.cell)
        return at / np.array([self.across, self.down]), hidden
