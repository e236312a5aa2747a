"""What the solved times mean: late places, joints that feed, weak gradients."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strickle.base import Array, Record, Span, si
from strickle.cavity import NECK, PART, RISER, Cavity
from strickle.part import HotSpot, Part
from strickle.pattern import Pattern
from strickle.rigging import Rigging, Riser
from strickle.sound.result import Late, NeckJudged, Weak

ALONE = 0.92  # a late place counts as its own when the pass to a later one closes before this share of its time (choice, see rigging notes)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fields(Record):
    """Times of the cavity grid, NaN outside metal."""

    solidus: Array = si("s", "time to solid", shape="(nx, ny, nz)")
    tags: Array = si("1", "cavity tags", shape="(nx, ny, nz)")
    cell: float = si("m", "cell edge")
    origin: Array = si("m", "corner of the first cell", shape="(3,)")

    def place(self, cell: Array) -> Array:
        """Middle of a cell, mould frame [m]."""
        return self.origin + (np.asarray(cell, dtype=float) + 0.5) * self.cell

    def index(self, point: Array) -> tuple[int, int, int]:
        """Cell that holds a point of the mould frame, kept inside the grid."""
        where = np.clip(np.floor((np.asarray(point) - self.origin) / self.cell).astype(int), 0, np.array(self.tags.shape) - 1)
        return int(where[0]), int(where[1]), int(where[2])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pool(Record):
    """A late place of the part that stands alone."""

    cell: Array = si("1", "cell of its peak", shape="(3,)")
    time: float = si("s", "when it is solid")
    closes: float = si("s", "when its last way to a later place closes; 0 for the latest of all")
    volume: float = si("m3", "metal of the part still liquid round it when the way closes")
    area: float = si("m2", "surface of that metal")
    at: Array = si("m", "mould frame", shape="(3,)")


def to_part(pattern: Pattern, point: Array) -> Array:
    """A point of the mould frame in part coordinates [m]."""
    moved = (np.asarray(point) - pattern.shift) / pattern.scale
    return np.asarray(pattern.turn.T @ moved, dtype=float)


def to_mould(pattern: Pattern, point: Array) -> Array:
    """A point of the part in the mould frame [m]."""
    return np.asarray(pattern.scale * (pattern.turn @ np.asarray(point)) + pattern.shift, dtype=float)


def pools(fields: Fields) -> tuple[Pool, ...]:
    """Late places of the part whose way to anything later closes well before they are solid, latest first."""
    from scipy import ndimage

    from strickle.kernels.label import merge_tree

    smooth = _smoothed(fields.solidus)
    inside = np.isfinite(smooth)
    peaks, passes, _ = merge_tree(np.where(inside, smooth, 0.0), inside, ALONE)
    found = []
    for peak, closes in zip(peaks, passes):
        cell = np.array(np.unravel_index(int(peak), smooth.shape))
        time = float(smooth[tuple(cell)])
        if fields.tags[tuple(cell)] != PART:
            continue
        liquid = smooth > max(float(closes), 0.5 * time)
        label, _ = ndimage.label(liquid)
        body = (label == label[tuple(cell)]) & (fields.tags == PART)
        found.append(
            Pool(
                cell=cell,
                time=time,
                closes=float(closes),
                volume=float(np.count_nonzero(body)) * fields.cell**3,
                area=_surface(body) * fields.cell**2,
                at=fields.place(cell),
            )
        )
    return tuple(found)


def _surface(body: Array) -> float:
    """Surface of a body of cells [cells]: staircase faces, two thirds of which is the mean over all slopes."""
    padded = np.pad(body, 1).astype(np.int8)
    faces = sum(int(np.count_nonzero(np.diff(padded, axis=axis))) for axis in range(3))
    return max(faces * 2.0 / 3.0, 1.0)


def _smoothed(times: Array) -> Array:
    """Times with single-cell noise taken out inside the metal (mean over the cell and its six neighbours)."""
    inside = np.isfinite(times)
    value = np.where(inside, times, 0.0)
    count = inside.astype(float)
    total, number = 2.0 * value, 2.0 * count
    for axis in range(3):
        for step in (1, -1):
            total += _moved(value, axis, step)
            number += _moved(count, axis, step)
    return np.where(inside, total / np.where(number > 0, number, 1.0), np.nan)


def _moved(array: Array, axis: int, step: int) -> Array:
    out = np.zeros_like(array)
    take: list[slice] = [slice(None)] * 3
    put: list[slice] = [slice(None)] * 3
    take[axis], put[axis] = (slice(None, -1), slice(1, None)) if step > 0 else (slice(1, None), slice(None, -1))
    out[tuple(put)] = array[tuple(take)]
    return out


def joints(fields: Fields, cavity: Cavity, part: Part, pattern: Pattern, rigging: Rigging, alone: tuple[Pool, ...]) -> tuple[NeckJudged, ...]:
    """Each riser's joint: when the fed place is solid, when the way to the riser closes, when the riser is solid. Worst first."""
    number = {n.name: n.number for n in cavity.names}
    judged = []
    for riser in rigging.risers:
        spot = part.hot_spots[riser.spot]
        mine = (fields.tags == RISER) & (cavity.bodies == number.get(riser.name, -1))
        if not mine.any():
            continue
        riser_time = float(np.nanmax(np.where(mine, fields.solidus, np.nan)))
        fed = _fed(fields, pattern, riser, spot, alone)
        judged.append(_joint(fields, cavity, number, riser, fed, mine, riser_time))
    return tuple(sorted(judged, key=lambda n: n.margin))


def _fed(fields: Fields, pattern: Pattern, riser: Riser, spot: HotSpot, alone: tuple[Pool, ...]) -> tuple[Array, float]:
    """Cell and time of the place the riser is there to feed: a pool of its own near the hot spot, else the hot spot's own cell.

    Times rise all the way from a fed place through the neck to the riser, so one fixed place must stand for what is fed: the hottest
    place of the bare part. Where the rigged part keeps a late pool there, that pool is what starves.
    """
    at = to_mould(pattern, spot.at)
    close = [p for p in alone if is_near(p, at, riser, spot)]
    if close:
        latest = max(close, key=lambda p: p.time)
        return latest.cell, latest.time
    cell = np.array(fields.index(at))
    if fields.tags[tuple(cell)] != PART:
        own = np.argwhere(fields.tags == PART)
        away = np.linalg.norm((own + 0.5) * fields.cell + fields.origin - at, axis=1)
        cell = own[int(np.argmin(away))]
    return cell, float(fields.solidus[tuple(cell)])


def is_near(pool: Pool, at: Array, riser: Riser, spot: HotSpot) -> bool:
    """Whether a pool lies where this riser is meant to feed: round its hot spot, or between that and the neck."""
    reach = max(3.0 * spot.radius, float(np.linalg.norm(riser.neck.at - at)) + spot.radius)
    return float(np.linalg.norm(pool.at - at)) <= reach


def _joint(
    fields: Fields, cavity: Cavity, number: dict[str, int], riser: Riser, fed: tuple[Array, float], mine: Array, riser_time: float
) -> NeckJudged:
    """The neck closes when its last way does: the lesser of its earliest whole section and the widest path from the fed place."""
    from strickle.kernels.passes import last_way

    cell, fed_time = fed
    neck = (fields.tags == NECK) & (cavity.bodies == number.get(riser.name.replace("riser", "neck"), -1))
    late = mine & (fields.solidus >= 0.999 * riser_time)
    way = last_way(fields.solidus, cell, late)
    closing = _sections(fields, neck, riser)
    neck_time = max(closing if way >= 0.98 * fed_time else min(closing, way), 0.0)
    return NeckJudged(
        riser=riser.name,
        feeds=riser.spot,
        fed_time=fed_time,
        neck_time=neck_time,
        riser_time=riser_time,
        margin=min(neck_time, riser_time) / fed_time if fed_time > 0 else 0.0,
    )


def _sections(fields: Fields, neck: Array, riser: Riser) -> float:
    """Least over the neck's sections of the latest time in each: when its first section is wholly solid."""
    cells = np.argwhere(neck)
    if not len(cells):
        return float("inf")
    times = fields.solidus[neck]
    along = riser.at - riser.neck.at
    along = np.array([0.0, 0.0, 1.0]) if riser.kind == "top" else np.array([along[0], along[1], 0.0])
    along = along / max(float(np.linalg.norm(along)), 1e-12)
    depth = ((cells + 0.5) * fields.cell) @ along
    layer = np.floor((depth - depth.min()) / fields.cell).astype(int)
    last = np.full(layer.max() + 1, -np.inf)
    np.maximum.at(last, layer, times)
    whole = last[np.isfinite(last)]
    return float(whole.min()) if len(whole) else float("inf")


def last_place(fields: Fields, pattern: Pattern, spread: tuple[float, float]) -> Late:
    """The part's own last place."""
    mine = np.where(fields.tags == PART, fields.solidus, np.nan)
    if not np.isfinite(mine).any():
        raise ValueError("no cell of the part froze")
    cell = np.array(np.unravel_index(int(np.nanargmax(mine)), mine.shape))
    return late(fields.place(cell), float(np.nanmax(mine)), pattern, spread)


def late(at: Array, time: float, pattern: Pattern, spread: tuple[float, float]) -> Late:
    """A late place with its band."""
    return Late(at=at, at_part=to_part(pattern, at), time=Span(value=time, low=time * spread[0], high=time * spread[1]))


def weakest(niyama: Array, fields: Fields, pattern: Pattern, threshold: float) -> tuple[Weak, float]:
    """The weak gradient of the part and the share of it under the threshold.

    A single cell proves nothing, so the value given is that below which one part in a hundred of the metal lies, at its least cell.
    """
    mine = np.where(fields.tags == PART, niyama, np.nan)
    known = np.isfinite(mine)
    if not known.any():
        return Weak(at=fields.origin, at_part=to_part(pattern, fields.origin), value=float("nan")), float("nan")
    value = float(np.nanpercentile(mine, 1.0))
    cell = np.array(np.unravel_index(int(np.nanargmin(mine)), mine.shape))
    at = fields.place(cell)
    share = float(np.count_nonzero(mine[known] < threshold)) / int(np.count_nonzero(known))
    return Weak(at=at, at_part=to_part(pattern, at), value=value), share
