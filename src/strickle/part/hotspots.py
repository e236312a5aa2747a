"""Late places of the part: a coarse freeze of the bare part in sand, and the merge tree of its freezing times.

Place and order come from the freeze, size from the largest ball of metal at the spot; both are needed, as even walls have maxima too
and a junction is hotter than its ball.  The spot's modulus is that of a plate that takes as long, found by freezing plates with the
same solver, metal and sand.
"""

from __future__ import annotations

import functools
import pickle
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from scipy import ndimage

from strickle.base import Array, BadInput, Source, Span, Watch, tell
from strickle.metal import Metal
from strickle.part import rules
from strickle.part.result import HotSpot
from strickle.part.walls import Walls
from strickle.stores import SandRecord, Stores

NEARLY = 0.9  # fraction solid at which the field for the merge tree is read: after it hardly any metal flows
SMOOTH = 0.7  # cells
CORE = 0.97  # of the peak's time: the metal that is as late as the peak, in which its ball is sought
APART = 0.98  # a pass this near the peak makes no peak of its own
FINEST = 0.25e-3  # m, least cell
WALL_CELLS = 2.5  # cells across the least wall ...
MOST_TIMES = 2  # ... as long as the metal takes no more than this many times the cells asked for
MOST_SPOTS = 12
MOST_TRIED = 150  # places in the core of a spot from which the deepest is taken
PLATES = np.array([0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0]) * 1e-3  # m, half thickness
PLATE_CELLS = 12
METAL, SAND = 1, 2


class Bare(NamedTuple):
    """The bare freeze."""

    times: Array  # (nx, ny, nz) s, solid; NaN outside metal
    nearly: Array  # (nx, ny, nz) s, NEARLY solid
    cell: float  # m
    origin: Array  # (3,) m
    status: str


class Setting(NamedTuple):
    """Metal and sand as the solver takes them, from the stores."""

    table: object
    medium: object
    contact: float  # W/(m2 K)
    start: float  # K
    diffusivity: float  # m2/s, of the sand
    constant: float  # s/m2, time of a plate over its modulus squared if the sand alone rules
    shrinkage: Span  # volume lost from pour to solid
    sources: tuple[Source, ...]


def setting(metal: Metal, stores: Stores, sand_key: str | None = None) -> Setting:
    """What the bare freeze runs on: the sand by key or the kit's, the middle of the metal's pouring window.

    Raises BadInput for a sand that the stores do not have.
    """
    from strickle.kernels import freeze

    sand = stores.sands.get(sand_key or stores.kit.sand)
    if sand is None:
        raise BadInput(f"sand {sand_key or stores.kit.sand!r} is not in the stores", f"Known: {', '.join(stores.sands)}")
    k, density, heat = (sand.values[name].value for name in ("k", "density", "heat_capacity"))
    contact = stores.constants["contact.metal_sand"]
    start = 0.5 * (metal.pour_low + metal.pour_high)
    ambient = stores.kit.ambient
    table = freeze.metal_table(
        metal.curve_temperature,
        metal.curve_solid,
        latent_heat=metal.latent_heat,
        solid_heat_temperature=metal.solid_heat_temperature,
        solid_heat=metal.solid_heat,
        liquid_heat=metal.liquid_heat,
        solid_conductivity_temperature=metal.solid_conductivity_temperature,
        solid_conductivity=metal.solid_conductivity,
        liquid_conductivity=metal.liquid_conductivity,
        density=metal.density_solidus,
        lowest=ambient - 20.0,
        highest=start + 50.0,
    )
    given = metal.latent_heat + metal.liquid_heat * max(start - metal.liquidus, 0.0)
    front = 0.5 * (metal.liquidus + metal.solidus) - ambient
    constant = np.pi / 4.0 * (metal.density_solidus * given / front) ** 2 / (k * density * heat)
    liquid = abs(metal.density_slope) * max(start - metal.liquidus, 0.0) / metal.density_liquidus
    lost = metal.shrinkage + liquid
    return Setting(
        table,
        freeze.MediumTable(k, density, heat, ambient),
        contact.value,
        start,
        k / (density * heat),
        float(constant),
        Span(value=lost, low=metal.shrinkage, high=1.2 * lost),
        _sources(sand, stores),
    )


def _sources(sand: SandRecord, stores: Stores) -> tuple[Source, ...]:
    keys = [sand.values[name].source for name in ("k", "density", "heat_capacity")] + [stores.constants["contact.metal_sand"].source]
    return tuple(stores.sources[key] for key in dict.fromkeys(keys) if key in stores.sources)


def bare_cell(vertices: Array, faces: Array, volume: float, wall: Walls, cells: int) -> float:
    """Cell [m] for about ``cells`` metal cells, finer where the least wall needs it, such that walls come near whole numbers of cells.

    A wall of whole cells along the axes keeps its thickness wherever it lies on the grid; another gains or loses up to half a cell.
    """
    from strickle.part.measure import areas_of

    cell = min((volume / cells) ** (1.0 / 3.0), max(wall.least / WALL_CELLS, (volume / (MOST_TIMES * cells)) ** (1.0 / 3.0)))
    tried = cell * np.linspace(1.02, 0.82, 41)
    good = np.isfinite(wall.face) & (wall.face > 1.5 * cell)
    if good.any():
        thick, weight = wall.face[good], areas_of(vertices, faces)[good]
        count = thick[:, None] / tried
        cell = float(tried[int(np.argmin(weight @ (np.abs(count - np.round(count)) / count)))])
    return float(max(cell, FINEST))


def bare_freeze(vertices: Array, faces: Array, volume: float, area: float, cell: float, own: Setting, watch: Watch) -> Bare:
    """Freeze the part alone in plenty of sand on cells of edge ``cell`` [m]."""
    from strickle.kernels import freeze, raster

    modulus = volume / area
    wait = 6.0 * own.constant * modulus**2  # the thickest places take longer than the mean
    pad = int(np.clip(np.ceil(2.5 * np.sqrt(4.0 * own.diffusivity * wait) / cell), 4, 40))
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    inner = np.ceil((high - low) / cell).astype(np.int64)
    shape = tuple(int(n) + 2 * pad for n in inner)
    origin = (low + high) / 2.0 - 0.5 * cell * np.array(shape)
    fraction = raster.fractions(vertices, faces, origin, cell, shape)  # type: ignore[arg-type]
    metal = raster.inside(fraction)
    if not metal.any():
        metal = fraction >= 0.5 * fraction.max()
    tags = np.where(metal, METAL, SAND).astype(np.uint8)
    out = freeze.solve(
        tags,
        cell,
        own.table,  # type: ignore[arg-type]
        {SAND: own.medium},  # type: ignore[dict-item]
        metal_start={METAL: own.start},
        contact={(METAL, SAND): own.contact},
        coherency=NEARLY,
        knobs=freeze.PRESETS["rough"],
        longest=200.0 * wait + 100.0,
        watch=lambda share, says: watch(0.3 + 0.6 * share, says),
    )
    return Bare(out.time_to_solidus, out.time_to_coherency, cell, origin, out.status)


def plate_modulus(own: Setting) -> Callable[[float], float]:
    """Modulus [m] of the plate that is solid after a time [s], by freezing plates with the same solver; straight in logarithms.

    Just the plates that stand beside a time asked for are frozen.
    """
    alike, last = _Alike(own), len(PLATES) - 1
    log_m = np.log(PLATES)

    def modulus(time: float) -> float:
        x = np.log(max(time, 1e-6))
        near = int(np.searchsorted(PLATES, np.sqrt(max(time, 1e-6) / own.constant))) - 1  # a guess of where to begin, after Chvorinov
        low = min(max(near, 0), last - 1)
        while low > 0 and x < np.log(_plate_time(alike, low)):
            low -= 1
        while low < last - 1 and x > np.log(_plate_time(alike, low + 1)):
            low += 1
        t, m = np.log([_plate_time(alike, low), _plate_time(alike, low + 1)]), log_m[low : low + 2]
        slope = 0.5 if x >= t[1] else (m[1] - m[0]) / (t[1] - t[0])
        return float(np.exp(m[1] + slope * (x - t[1])))

    return modulus


class _Alike:
    """A setting that is alike to another where all that a plate's freezing takes of it is, to the last bit."""

    def __init__(self, own: Setting) -> None:
        self.own = own
        self._bytes = pickle.dumps((own.table, own.medium, own.contact, own.start, own.diffusivity, own.constant))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Alike) and self._bytes == other._bytes

    def __hash__(self) -> int:
        return hash(self._bytes)


@functools.lru_cache(maxsize=128)
def _plate_time(alike: _Alike, number: int) -> float:
    """Seconds to solid of one of the plates; kept, as every part of a metal and sand asks for them."""
    from strickle.kernels import freeze

    own, half = alike.own, float(PLATES[number])
    cell = half / PLATE_CELLS
    wait = 2.0 * own.constant * half**2 + 2.0 * half * own.table.density * 6e5 / (own.contact * 500.0)  # type: ignore[attr-defined]
    sand = int(np.clip(np.ceil(3.0 * np.sqrt(4.0 * own.diffusivity * wait) / cell), 20, 1200))
    tags = np.full((PLATE_CELLS + sand, 1, 1), SAND, np.uint8)
    tags[:PLATE_CELLS] = METAL
    out = freeze.solve(
        tags,
        cell,
        own.table,  # type: ignore[arg-type]
        {SAND: own.medium},  # type: ignore[dict-item]
        metal_start={METAL: own.start},
        contact={(METAL, SAND): own.contact},
        coherency=NEARLY,
        knobs=freeze.PRESETS["rough"],
        longest=200.0 * wait + 100.0,
    )
    return float(out.solid_time)


def hot_spots(vertices: Array, faces: Array, bare: Bare, median_wall: float, own: Setting, modulus: Callable[[float], float]) -> tuple[HotSpot, ...]:
    """Late places, hottest first, each judged: is it fed by a thicker neighbour, and is its loss worth feeding."""
    from strickle.kernels import label

    mask = np.isfinite(bare.nearly)
    smooth = smoothed(bare.nearly, mask)
    cells, saddles, _ = label.merge_tree(smooth, mask, APART)
    values = smooth.ravel()[cells]
    out = []
    for number, saddle, value in list(zip(cells, saddles, values))[:MOST_SPOTS]:
        peak = np.array(np.unravel_index(int(number), mask.shape))
        core, depth = _core(vertices, faces, bare, smooth, peak, float(value))
        place, radius = largest_ball(vertices, faces, core, max(depth, bare.cell))
        time = _solid_time(bare, peak)
        out.append(_judged(place, time, radius, float(saddle / value), median_wall, own.shrinkage.value, modulus(time)))
    return tuple(out)


def _core(vertices: Array, faces: Array, bare: Bare, smooth: Array, peak: Array, value: float) -> tuple[Array, float]:
    """The deepest place (3,) [m] of the metal that is about as late as the peak and hangs together with it, and its depth [m].

    Among places of nearly equal depth the one nearest the peak.
    """
    from strickle.kernels import distance

    late = ndimage.label(smooth > CORE * value, structure=np.ones((3, 3, 3)))[0]
    own = np.argwhere(late == late[tuple(peak)])
    away = np.linalg.norm(own - peak, axis=1)
    own = own[np.argsort(away, kind="stable")]
    own = own[:: len(own) // MOST_TRIED + 1]
    points = bare.origin + (own + 0.5) * bare.cell
    depth, _ = distance.nearest(points, vertices, faces)
    first = int(np.flatnonzero(depth >= 0.95 * depth.max())[0])
    return np.array(points[first]), float(depth[first])


def smoothed(field: Array, mask: Array) -> Array:
    """The field smoothed inside the mask alone (no value leaks in from outside it); 0 outside."""
    whole = ndimage.gaussian_filter(np.where(mask, field, 0.0), SMOOTH, mode="constant")
    weight = ndimage.gaussian_filter(mask.astype(float), SMOOTH, mode="constant")
    return np.where(mask, whole / np.maximum(weight, 1e-12), 0.0)


def _solid_time(bare: Bare, index: Array) -> float:
    """Latest time to solid in the cells round the peak [s]; NaN where none of them is solid when the run stops."""
    near = bare.times[tuple(slice(max(int(i) - 1, 0), int(i) + 2) for i in index)]
    return float(np.nanmax(near)) if np.isfinite(near).any() else float("nan")


def largest_ball(vertices: Array, faces: Array, start: Array, reach: float) -> tuple[Array, float]:
    """Middle and radius [m] of the largest ball of metal that a climb from ``start`` finds within 1.5 times ``reach`` [m]."""
    from strickle.kernels import distance

    reach *= 1.5
    corners = vertices[faces]
    near = (corners.min(axis=1) <= start + 3.0 * reach).all(axis=1) & (corners.max(axis=1) >= start - 3.0 * reach).all(axis=1)
    some = faces[near] if near.any() else faces
    ways = np.array([(i, j, k) for i in (-1, 0, 1) for j in (-1, 0, 1) for k in (-1, 0, 1) if (i, j, k) != (0, 0, 0)], float)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    at, best = start, float(distance.nearest(start[None], vertices, some)[0][0])
    step = 0.25 * reach
    while step > 0.005 * reach:
        tried = at + min(step, 0.9 * best) * ways  # inside the ball that is known to be metal
        tried = tried[np.linalg.norm(tried - start, axis=1) <= reach]
        far = distance.nearest(tried, vertices, some)[0] if len(tried) else np.zeros(1)
        top = int(np.argmax(far))
        if far[top] > best * (1.0 + 1e-6):
            at, best = tried[top], float(far[top])
        else:
            step *= 0.5
    return np.array(at), best


def _judged(place: Array, time: float, radius: float, saddle: float, median_wall: float, shrinkage: float, modulus: float) -> HotSpot:
    """Verdict on one spot."""
    loss = rules.loss_depth(shrinkage, radius)
    fed = saddle > rules.FED
    worth = rules.worth_feeding(loss, radius, median_wall)
    ball = f"its largest ball of metal is {tell(2.0 * radius, 'm')} across, a loss of {tell(loss, 'm')} a face if nothing feeds it"
    if fed:
        why = f"fed by a thicker neighbour: the way to it stays open for {tell(saddle, '1', '%')} of its own time; {ball}"
    elif worth:
        alone = "no way to a hotter place stays open long enough" if saddle else "nothing in the part freezes later"
        why = f"{alone}, and {ball}, which is worth feeding"
    else:
        why = f"even thickness: {ball}, which is left as it is"
    return HotSpot(at=place, time=time, modulus=modulus, radius=radius, saddle=saddle, needs_feed=worth and not fed, why=why, loss=loss)
