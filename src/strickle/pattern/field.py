"""A crooked parting: a sheet of heights that keeps within the metal, is level elsewhere and nowhere steeper than sand stands.

Everything here is in millimetres in the mould frame, the flask's own parting at z = 0.
"""

from __future__ import annotations

from typing import NamedTuple

import manifold3d
import numpy as np
from scipy import ndimage

from strickle.base import Array, BadInput
from strickle.kernels import raster, sheet
from strickle.pattern import merged
from strickle.pattern.undercut import LEAN, plain

STEP = 0.5  # mm between nodes
NODES = 120_000  # at most; larger parts get a wider step
SUB = 3  # columns looked at each way round a node
STAND = 60.0  # degrees, steepest slope of the parting that sand stands (common practice gives 45 to 60)
EASE = 1.5  # times its fall that the sheet takes to come back to the flask's level, where there is room
MARGIN = 12.0  # mm outside the silhouette in which the parting comes back to the flask's level, at least
FALL = 30.0  # mm in which a free sheet falls back to the flask's level
INSET = 0.3  # mm the sheet keeps off the part's own faces inside the silhouette
CLOSE = 1e-4  # mm
LEVEL = 0.005  # mm off the flask's level that is none
SWEEPS = 4000
SAND_OFF = 0.02  # mm the sheet may be moved in open sand to need fewer triangles
NEAR_OFF = 1e-3  # mm it may be moved beside the silhouette
ALIGNED = 32  # steps: the part of a grid that is used begins at a multiple, so that its triangles are those of the whole


class Field(NamedTuple):
    """The parting as heights at nodes, bilinear between them by triangles; zero outside the grid."""

    step: float
    x: Array  # (nx,)
    y: Array  # (ny,)
    h: Array  # (nx, ny)
    low: Array  # (nx, ny) lowest the metal allows, -inf where there is none
    high: Array  # (nx, ny) highest, +inf
    sand: Array  # (nx - 1, ny - 1) cells not wholly in metal

    @property
    def flat(self) -> bool:
        """Whether the parting lies at z = 0 all over."""
        return not np.any(self.h)


class Slope(NamedTuple):
    """What the moulder cuts."""

    lowest: float  # mm, of the sheet where it meets sand
    highest: float
    steepest: float  # degrees, where it meets sand
    area: float  # mm2 of sand face within the grid
    beyond: float  # mm2 of it that is not level


def lay(whole: manifold3d.Manifold, room: Array | None = None, step: float = STEP, stand: float = STAND) -> Field:
    """The parting of ``whole``; ``room`` (4,) x low, x high, y low, y high is the flask's inside, None = as much as is needed.

    Raises BadInput where the flask leaves too little room for the parting to come back to its level.
    """
    vertices, faces = plain(whole)
    least, most = vertices.min(axis=0), vertices.max(axis=0)
    rise = float(np.tan(np.radians(stand)) / np.sqrt(2.0))  # along the grid; askew to it a triangle then stands no steeper than ``stand``
    wide = max(step, float(np.sqrt(np.prod((most - least)[:2]) / NODES)))
    low, high, _ = _bounds(vertices, faces, *_nodes(least, most, wide, 2 * wide), wide)
    fall = max(float(np.maximum(low, 0.0).max()), float(np.maximum(-high, 0.0).max()))
    margin = _margin(least, most, fall, rise, wide, room)
    step = max(step, float(np.sqrt(np.prod((most - least)[:2] + 2 * margin) / NODES)))
    x, y = _nodes(least, most, step, margin)
    low, high, bare = _bounds(vertices, faces, x, y, step)
    sand = bare[1:, 1:] | bare[:-1, 1:] | bare[1:, :-1] | bare[:-1, :-1]
    kept_low, kept_high = _inset(low, high, bare)
    h = _standing(_taut(kept_low, kept_high, step), kept_low, kept_high, sand, rise * step, step)
    h[np.abs(h) < LEVEL] = 0.0
    return Field(step, x, y, merged.eased(h, _allowed(h, low, high, bare)), low, high, sand)


def _allowed(h: Array, low: Array, high: Array, bare: Array) -> Array:
    """How far each node of the sheet may be moved to need fewer triangles: hardly at the silhouette, more in open sand and in thick metal."""
    rim = ndimage.binary_dilation(bare, np.ones((3, 3))) & ndimage.binary_dilation(~bare, np.ones((3, 3)))
    near = ndimage.binary_dilation(rim, np.ones((3, 3)), iterations=2)
    thick = np.nan_to_num(high - low, posinf=1e3, neginf=0.0)
    out = np.where(bare, SAND_OFF, np.minimum(SAND_OFF, 0.05 * thick))
    return np.asarray(np.where((h == 0) & (near | ~bare), 0.0, np.where(near, NEAR_OFF, out)))


def _margin(least: Array, most: Array, fall: float, rise: float, step: float, room: Array | None) -> float:
    """Sand round the silhouette in which the sheet comes back to zero: twice its fall, less where the flask has less."""
    wish, need = max(MARGIN, EASE * fall + 4 * step), fall / rise + 4 * step
    if room is None:
        return wish
    left = min(least[0] - room[0], room[1] - most[0], least[1] - room[2], room[3] - most[1]) - 2 * step
    if left < need:
        raise BadInput(
            f"the flask leaves {max(left, 0.0):.0f} mm of sand beside the part, and a crooked parting that falls {fall:.0f} mm needs {need:.0f} mm",
            "Take a larger flask, or part it flat",
        )
    return float(min(wish, left))


def _nodes(least: Array, most: Array, step: float, margin: float) -> tuple[Array, Array]:
    """Nodes even about the part's middle, with its outermost walls as near to halfway between two of them as may be."""
    out = []
    for a, b in zip(least[:2], most[:2]):
        half = (b - a) / 2 / step
        odd = 0.0 if abs(half % 1.0 - 0.5) < abs((half + 0.5) % 1.0 - 0.5) else 0.5
        count = int(np.ceil(half + margin / step))
        ladder = np.arange(count + 1) + odd
        out.append((a + b) / 2 + step * np.concatenate([-ladder[::-1], ladder[1:] if odd == 0 else ladder]))
    return out[0], out[1]


def _bounds(vertices: Array, faces: Array, x: Array, y: Array, step: float) -> tuple[Array, Array, Array]:
    """Lowest and highest the sheet may lie at each node (-inf, +inf where free), and nodes with sand in or beside their patch."""
    fine = step / SUB
    shape = (SUB * len(x), SUB * len(y))
    origin = np.array([x[0], y[0]]) - step / 2
    start, z, _, _ = raster.columns(vertices, faces, origin, fine, *shape)
    there = np.diff(start) > 1
    under, over = np.full(there.size, -np.inf), np.full(there.size, np.inf)
    under[there], over[there] = z[start[:-1][there]], z[start[1:][there] - 1]
    patches = (len(x), SUB, len(y), SUB)
    bare = ~there.reshape(shape)
    low, high = under.reshape(patches).max(axis=(1, 3)), over.reshape(patches).min(axis=(1, 3))
    open_: Array = np.asarray(bare.reshape(patches).any(axis=(1, 3)))
    low, high = np.where(np.isfinite(low), np.minimum(low, high), low), np.where(np.isfinite(low), np.maximum(low, high), high)
    edge = ndimage.binary_dilation(bare, np.ones((3, 3)))
    pin_low, pin_high = _pins(vertices, faces, x, y, step, edge, origin, fine)
    good = pin_low <= pin_high
    pin_low, pin_high = np.where(good, pin_low, -np.inf), np.where(good, pin_high, np.inf)
    # what the parting line says goes before what the columns beside it say
    joined_low, joined_high = np.maximum(low, pin_low), np.minimum(high, pin_high)
    apart = joined_low > joined_high
    low = np.where(apart, np.where(np.isfinite(pin_low), pin_low, np.minimum(low, pin_high)), joined_low)
    high = np.where(apart, np.where(np.isfinite(pin_high), pin_high, np.maximum(high, pin_low)), joined_high)
    low, high = np.minimum(low, high), np.maximum(low, high)
    return low, high, open_


def lowest(whole: manifold3d.Manifold, x: Array, y: Array, step: float) -> Array:
    """Lowest metal in the patch round each node (nx, ny); +inf where there is none."""
    vertices, faces = plain(whole)
    origin = np.array([x[0], y[0]]) - step / 2
    start, z, _, _ = raster.columns(vertices, faces, origin, step / SUB, SUB * len(x), SUB * len(y))
    there = np.diff(start) > 1
    out = np.full(there.size, np.inf)
    out[there] = z[start[:-1][there]]
    return np.asarray(out.reshape(len(x), SUB, len(y), SUB).min(axis=(1, 3)))


def _inset(low: Array, high: Array, bare: Array) -> tuple[Array, Array]:
    """Bounds a little inside the metal away from the silhouette, so that the sheet does not lie along a face; faces on z = 0 excepted."""
    deep = ~ndimage.binary_dilation(bare, np.ones((3, 3)), iterations=2)
    inset = np.where(deep, np.minimum(INSET, 0.25 * np.nan_to_num(high - low, posinf=0.0, neginf=0.0)), 0.0)
    return np.where(np.abs(low) > 1e-3, low + inset, low), np.where(np.abs(high) > 1e-3, high - inset, high)


def _pins(vertices: Array, faces: Array, x: Array, y: Array, step: float, edge: Array, origin: Array, fine: float) -> tuple[Array, Array]:
    """What the parting line itself allows at the nodes round it: not under where a wall begins to lean in below, nor over where it does above.

    Edges between a face that looks up and one that does not bound the sheet from above, those of faces that look down from below; only
    those beside sand (``edge``, fine columns) count. Vertical walls between leave the sheet free.
    """
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    along = cross[:, 2] / np.maximum(np.linalg.norm(cross, axis=1), 1e-300)
    kind = np.where(along > LEAN, 1, np.where(along < -LEAN, -1, 0))
    ends = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    order = np.argsort(ends[:, 0] * np.int64(len(vertices)) + ends[:, 1], kind="stable")
    ends, side = ends[order], np.tile(kind, 3)[order]
    pair = (ends[:-1] == ends[1:]).all(axis=1)
    first, least, most = ends[:-1][pair], np.minimum(side[:-1], side[1:])[pair], np.maximum(side[:-1], side[1:])[pair]
    out = []
    for chosen, sign in (((least < 0) & (most >= 0), -1.0), ((most > 0) & (least <= 0), 1.0)):
        points = _samples(vertices[first[chosen]], step / 2)
        spot = np.floor((points[:, :2] - origin) / fine).astype(np.int64)
        ok = ((spot >= 0) & (spot < edge.shape)).all(axis=1)
        points, spot = points[ok], spot[ok]
        points = points[edge[spot[:, 0], spot[:, 1]]]
        out.append(sign * _nearest(points, x, y, step, sign))
    return out[0], out[1]


def _samples(edges: Array, every: float) -> Array:
    """Points (k, 3) along edges (n, 2, 3), no farther apart than ``every`` and even about each middle."""
    if not len(edges):
        return np.zeros((0, 3))
    span = edges[:, 1] - edges[:, 0]
    count = np.maximum(np.ceil(np.linalg.norm(span[:, :2], axis=1) / every).astype(np.int64), 1)
    owner = np.repeat(np.arange(len(edges)), count)
    share = (np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + 0.5) / count[owner]
    return np.asarray(edges[owner, 0] + share[:, None] * span[owner])


def _nearest(points: Array, x: Array, y: Array, step: float, sign: float) -> Array:
    """``sign`` times the height of the sample nearest to each node among those in the cells round it, the least of equals; +inf where none."""
    at = (points[:, :2] - [x[0], y[0]]) / step
    cell = np.floor(at).astype(np.int64)
    nodes, far, value = [], [], []
    for di in (0, 1):
        for dj in (0, 1):
            i, j = cell[:, 0] + di, cell[:, 1] + dj
            nodes.append(i * len(y) + j)
            far.append(np.round(np.hypot(at[:, 0] - i, at[:, 1] - j), 3))
            value.append(sign * points[:, 2])
    node, distance, height = np.concatenate(nodes), np.concatenate(far), np.concatenate(value)
    order = np.lexsort((height, distance, node))
    kept, first = np.unique(node[order], return_index=True)
    out = np.full(len(x) * len(y), np.inf)
    out[kept] = height[order][first]
    return out.reshape(len(x), len(y))


def _taut(low: Array, high: Array, step: float) -> Array:
    """The sheet drawn taut between its bounds and zero at the border, from coarse to fine."""
    h = np.zeros((0, 0))
    for skip in (8, 4, 2, 1):
        bound = low[::skip, ::skip].copy(), high[::skip, ::skip].copy()
        for part in bound:
            part[0], part[-1], part[:, 0], part[:, -1] = 0.0, 0.0, 0.0, 0.0
        h = np.zeros(bound[0].shape) if not h.size else np.repeat(np.repeat(h, 2, axis=0), 2, axis=1)[: bound[0].shape[0], : bound[0].shape[1]]
        h = np.ascontiguousarray(np.clip(h, bound[0], bound[1]))
        sheet.taut(h, np.ascontiguousarray(bound[0]), np.ascontiguousarray(bound[1]), (skip * step / FALL) ** 2, SWEEPS, CLOSE)
    return h


def _standing(free: Array, low: Array, high: Array, sand: Array, rise: float, step: float) -> Array:
    """The taut sheet with no step over ``rise`` where there is sand, as near to its bounds as that allows."""
    low, high = low.copy(), high.copy()
    for part in (low, high):
        part[0], part[-1], part[:, 0], part[:, -1] = 0.0, 0.0, 0.0, 0.0
    over = sheet.capped(np.where(np.isfinite(high), high, 1e9), sand, rise)
    under = -sheet.capped(np.where(np.isfinite(low), -low, 1e9), sand, rise)
    middle = (over + under) / 2  # where the bounds quarrel
    under, over = np.minimum(under, middle), np.maximum(over, middle)
    h = np.clip(free, under, over)
    if np.any(h != free):
        sheet.taut(h, under, over, (step / FALL) ** 2, SWEEPS, CLOSE)
    eased = (sheet.capped(h, sand, rise) - sheet.capped(-h, sand, rise)) / 2
    return np.asarray(np.clip(eased, under, over))


def steepness(h: Array, sand: Array, step: float) -> float:
    """Steepest triangle of the sheet over sand, as a tangent."""
    rise = _triangles(h)
    return float(np.where(sand[..., None], rise, 0.0).max()) / step if rise.size else 0.0


def _triangles(h: Array) -> Array:
    """Rise over one step of both triangles of each cell (nx - 1, ny - 1, 2), its diagonals as those of ``merged.triangles``."""
    a, b, c, d = h[:-1, :-1], h[1:, :-1], h[1:, 1:], h[:-1, 1:]
    i, j = np.ogrid[: a.shape[0], : a.shape[1]]
    main = (i + j) % 2 == 0
    first = np.where(main, np.hypot(b - a, c - b), np.hypot(b - a, d - a))
    second = np.where(main, np.hypot(d - a, c - d), np.hypot(c - d, c - b))
    return np.stack([first, second], axis=-1)


def facts(field: Field) -> Slope:
    """Fall, steepest slope and area of the sand face."""
    rise = _triangles(field.h)
    touched = np.zeros(field.h.shape, dtype=bool)
    for i in (slice(None, -1), slice(1, None)):
        for j in (slice(None, -1), slice(1, None)):
            touched[i, j] |= field.sand
    area = 0.5 * field.step**2 * np.sqrt(1.0 + (rise / field.step) ** 2)
    own = np.where(field.sand[..., None], area, 0.0)
    steepest = float(np.degrees(np.arctan(steepness(field.h, field.sand, field.step))))
    seen = field.h[touched]
    return Slope(float(seen.min()), float(seen.max()), steepest, float(own.sum()), float(own[rise > 1e-6].sum()))


def block(field: Field, box: Array, side: float = -1.0, h: Array | None = None) -> manifold3d.Manifold:
    """What lies under the sheet (``side`` -1) or over it (+1) within ``box`` (6,) x low, x high, y low, y high, z low, z high.

    ``h`` (nx, ny) stands in place of the field's own heights. Outside the grid the sheet is level at zero. Raises BadInput where the
    sheet leaves the box.
    """
    h = field.h if h is None else h
    x, y, h = level_round(field.x, field.y, h)
    if h.min() <= box[4] or h.max() >= box[5] or x[0] <= box[0] or x[-1] >= box[1] or y[0] <= box[2] or y[-1] >= box[3]:
        raise BadInput("the crooked parting does not fit the flask", "Take a larger flask, or part it flat")
    nx, ny = h.shape
    number = np.arange(nx * ny).reshape(nx, ny)
    points = np.stack([*np.meshgrid(x, y, indexing="ij"), h], axis=-1).reshape(-1, 3)
    n = nx * ny
    far = float(box[4] if side < 0 else box[5])
    corners = np.array([[box[i], box[2 + j], z] for z in (0.0, far) for i, j in ((0, 0), (1, 0), (1, 1), (0, 1))])
    sides = (number[:, 0], number[-1, :], number[::-1, -1], number[0, ::-1])  # counter-clockwise from above
    flat: list[Array] = []
    for k, line in enumerate(sides):
        p, q = n + k, n + (k + 1) % 4
        flat.append(np.stack([np.full(len(line) - 1, p), line[1:], line[:-1]], 1))
        flat.append(np.array([[p, q, line[-1]]]))
    skirt = [[n + k, n + 4 + k, n + 4 + (k + 1) % 4] for k in range(4)] + [[n + k, n + 4 + (k + 1) % 4, n + (k + 1) % 4] for k in range(4)]
    foot = [[n + 4, n + 6, n + 5], [n + 4, n + 7, n + 6]]
    shell = np.concatenate([merged.triangles(h), *flat, np.array(skirt), np.array(foot)])
    shell = shell if side < 0 else shell[:, ::-1]
    made = manifold3d.Manifold(manifold3d.Mesh64(np.concatenate([points, corners]), np.ascontiguousarray(shell, dtype=np.uint64)))
    if made.is_empty() or made.volume() <= 0:
        raise BadInput("the crooked parting does not close", "Part it flat")
    return made


def level_round(x: Array, y: Array, h: Array) -> tuple[Array, Array, Array]:
    """The part of the grid in which the sheet is not level at zero, with level nodes round it; three nodes in the middle where none is."""
    out = []
    for axis in (0, 1):
        bent = np.flatnonzero(np.any(h != 0, axis=1 - axis))
        first, last = (int(bent[0]), int(bent[-1])) if bent.size else (h.shape[axis] // 2, h.shape[axis] // 2)
        out.append(slice(max(first - 1, 0) // ALIGNED * ALIGNED, last + 2))
    return x[out[0]], y[out[1]], h[out[0], out[1]]
