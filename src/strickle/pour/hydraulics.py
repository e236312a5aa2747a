"""How fast the mould fills and how hard the sprue is pulled: the rigging as built."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from strickle.base import GRAVITY, Array, Record, falling_speed, si, tapered_stream
from strickle.cavity import FLOW_OFF, INGATE, NECK, PART, RISER, RUNNING, Cavity
from strickle.rigging import Rigging
from strickle.stores import Stores


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layers(Record):
    """Metal to be filled, by level above the ingates."""

    running: float = si("m3", "sprue, well, runner and ingates, filled first")
    level: Array = si("m", "height of each layer's middle over the parting", shape="(n,)")
    volume: Array = si("m3", "metal of part, necks, risers and flow-offs in it", shape="(n,)")

    @property
    def total(self) -> float:
        """All metal [m3] until the part is full."""
        return self.running + float(self.volume.sum())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Head(Record):
    """Metal standing over the running system."""

    sprue: float = si("m", "sprue's height from the parting to the basin's floor")
    basin: float = si("m", "metal kept in the basin")

    @property
    def total(self) -> float:
        """Metal height [m] over the parting."""
        return self.sprue + self.basin


def basin_of(rigging: Rigging) -> float:
    """Metal [m3] in the basin, none where there is no basin."""
    return rigging.basin.volume if any(region.name == "basin" for region in rigging.regions) else 0.0


def layers_of(cavity: Cavity, rigging: Rigging) -> Layers:
    """The cavity's metal by level, up to the part's own top; what is over that in risers fills later and does not matter to thin walls."""
    cell = cavity.grid.cell**3
    running = max(float(cavity.fraction[np.isin(cavity.grid.tags, (RUNNING, INGATE))].sum()) * cell - basin_of(rigging), 0.0)
    level, volume, top = _by_level(cavity)
    return Layers(running=running, level=level[:top], volume=volume[:top])


def layers_over(cavity: Cavity) -> Layers:
    """What fills after the part: risers and flow-offs over the part's own top, by level."""
    level, volume, top = _by_level(cavity)
    return Layers(running=0.0, level=level[top:], volume=volume[top:])


def _by_level(cavity: Cavity) -> tuple[Array, Array, int]:
    """Level [m] and metal [m3] of each layer of the grid, and the first layer over the part."""
    grid = cavity.grid
    tags = grid.tags
    volume = np.where(np.isin(tags, (PART, NECK, RISER, FLOW_OFF)), cavity.fraction, 0.0).sum(axis=(0, 1)) * grid.cell**3
    part = np.flatnonzero((tags == PART).any(axis=(0, 1)))
    level = float(grid.origin[2]) + (np.arange(len(volume)) + 0.5) * grid.cell
    return level, volume, int(part[-1]) + 1 if part.size else 0


def head_of(rigging: Rigging, full: float = 1.0) -> Head:
    """The head with the basin filled to the share ``full``."""
    return Head(sprue=rigging.sprue.height, basin=full * rigging.basin.depth)


def first_flow(rigging: Rigging, head: Head, stores: Stores) -> float:
    """Flow [m3/s] while only the sprue holds it back: the first metal, the fastest of the pour."""
    *_, (_, _, loss) = _stream(rigging, stores)
    return rigging.sprue.base_area * falling_speed(head.total) / math.sqrt(1.0 + loss)


def steady_flow(rigging: Rigging, head: Head, discharge: float, level: float = 0.0) -> float:
    """Flow [m3/s] with everything full and metal standing at ``level`` [m] over the parting."""
    return discharge * rigging.choke_area * falling_speed(max(head.total - max(level, 0.0), 0.0))


def passes(layers: Layers, rigging: Rigging, head: Head, discharge: float, most: float = math.inf) -> Iterator[tuple[float, float]]:
    """Duration [s] and flow [m3/s] of each step until the part is full: the running system first, then level by level from below.

    The last is endless where the metal that pushes stands no higher. ``most`` [m3/s] is what the hand can pour.
    """
    flow = max(min(steady_flow(rigging, head, discharge), most), 1e-12)
    yield layers.running / flow, flow
    for level, volume in zip(layers.level, layers.volume, strict=True):
        flow = min(steady_flow(rigging, head, discharge, float(level)), most)
        if flow <= 0.0:
            yield math.inf, 0.0
            return
        yield float(volume) / flow, flow


def topping(over: Layers, rigging: Rigging, head: Head, discharge: float, most: float = math.inf) -> Iterator[tuple[float, float]]:
    """The same from the part full until risers and flow-offs stand full.

    The push falls to nothing at the very top, so each layer is passed at the mean of its flows below and above: exact for level metal,
    since time goes with the difference of the roots of what is left to rise.
    """
    half = 0.5 * (float(over.level[1] - over.level[0]) if len(over.level) > 1 else 0.0)
    for level, volume in zip(over.level, over.volume, strict=True):
        if volume <= 0.0:
            continue
        ends = (float(level) - half, float(level) + half)
        flow = min(0.5 * sum(steady_flow(rigging, head, discharge, end) for end in ends), most)
        if flow <= 0.0:
            yield math.inf, 0.0
            return
        yield float(volume) / flow, flow


def fill_time(layers: Layers, rigging: Rigging, head: Head, discharge: float, most: float = math.inf) -> float:
    """Time [s] until the part is full; infinite where it stands higher than the metal that pushes it."""
    return sum(long for long, _ in passes(layers, rigging, head, discharge, most))


def topping_time(over: Layers, rigging: Rigging, head: Head, discharge: float, most: float = math.inf) -> float:
    """Time [s] from the part full until risers and flow-offs stand full; infinite where they stand higher than the metal that pushes them."""
    return sum(long for long, _ in topping(over, rigging, head, discharge, most))


def least_pressure(rigging: Rigging, head: Head, density: float, stores: Stores) -> float:
    """Lowest gauge pressure [Pa] along the sprue as built, with the first metal's flow; at its foot it is zero by then.

    Source: Bernoulli's law with the entrance and friction losses of ``tapered_stream``.
    """
    stream = _stream(rigging, stores)
    base = falling_speed(head.total) ** 2 / (2.0 * GRAVITY) / (1.0 + stream[-1][2])
    return min(density * GRAVITY * (head.basin + depth - base * (moving + loss)) for depth, moving, loss in stream)


def _stream(rigging: Rigging, stores: Stores) -> tuple[tuple[float, float, float], ...]:
    sprue = rigging.sprue
    entrance, friction = stores.constants["loss.entrance_sharp"].value, stores.constants["loss.friction"].value
    return tapered_stream(sprue.top_area, sprue.base_area, sprue.height, entrance, friction)
