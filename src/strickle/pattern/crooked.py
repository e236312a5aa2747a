"""A part on a crooked parting: whether it is worth it, whether the sand draws, and what stays undercut all the same. Millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import manifold3d
import numpy as np
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from strickle.base import Array, BadInput
from strickle.pattern.columns import View
from strickle.pattern.field import Field, block
from strickle.pattern.undercut import CRUMB as DUST
from strickle.pattern.undercut import MOST, Filled, overhangs, patches, plain, prism, region

SHARE = 0.01  # of the part's volume that a crooked parting must save (choice of this program)
LEAST = 100.0  # mm3 that it must save
SPECK = 1e-3  # mm3: rounding of the library, told to nobody
ALIKE = 0.25  # mm: heights of the outer edge that are one


class Saving(NamedTuple):
    """Sand that cannot be released [mm3], parted one way and the other."""

    flat: float  # at z = 0
    best: float  # at the best flat level of all
    crooked: float
    gap: float  # of each: between metal and metal, wherever it parts
    volume: float  # of the part

    @property
    def saved(self) -> float:
        """What the crooked parting releases that no flat one does. Holes across the draw are gaps and count for neither."""
        return max(min(self.flat, self.best) - self.crooked, 0.0)

    @property
    def worth(self) -> bool:
        """More than 1 % of the part and 100 mm3 saved: what is less is filed or filled sooner than a follow board is printed."""
        return self.saved > SHARE * self.volume and self.saved > LEAST


def heights(field: Field, x: Array, y: Array) -> Array:
    """Height of the sheet over points (n,), (n,); zero outside the grid."""
    at = np.stack([(x - field.x[0]) / field.step, (y - field.y[0]) / field.step])
    return np.asarray(ndimage.map_coordinates(field.h, at, order=1, cval=0.0))


def outline(field: Field) -> float:
    """Height at which most of the part's outer edge parts; zero where half of it or more parts at no one height.

    A flask's level laid there keeps the sand round the part level, where the runner comes.
    """
    beds, _ = ndimage.label(field.sand)
    outer = np.isin(beds, np.setdiff1d(np.concatenate([beds[0], beds[-1], beds[:, 0], beds[:, -1]]), [0]))
    touched = np.zeros(field.h.shape, dtype=bool)
    for i in (slice(None, -1), slice(1, None)):
        for j in (slice(None, -1), slice(1, None)):
            touched[i, j] |= outer
    seen = np.sort(field.h[touched & (np.isfinite(field.low) | np.isfinite(field.high))])
    if not seen.size:
        return 0.0
    count = np.searchsorted(seen, seen + 2 * ALIKE, "right") - np.arange(seen.size)
    first = int(np.argmax(count))
    level = float(np.median(seen[first : first + count[first]]))
    return level if count[first] > 0.5 * seen.size and abs(level) > ALIKE else 0.0


def possible(seen: View) -> float:
    """Most that any crooked parting can save over the best flat one [mm3]: looked at before the sheet is laid."""
    levels = np.linspace(float(np.nanmin(seen.low)), float(np.nanmax(seen.high)), 65)
    return float(seen.trapped(np.append(levels, 0.0)).min()) - seen.gap


def saving(seen: View, field: Field, volume: float) -> Saving:
    """Sand trapped flat and crooked, by the columns of ``seen`` (millimetres); ``volume`` of the part."""
    levels = np.linspace(float(np.nanmin(seen.low)), float(np.nanmax(seen.high)), 65)
    there = np.isfinite(seen.low) & np.isfinite(seen.high)
    i, j = np.nonzero(there)
    h = heights(field, seen.origin[0] + (i + 0.5) * seen.cell, seen.origin[1] + (j + 0.5) * seen.cell)
    off = np.maximum(seen.low[there] - h, 0.0) + np.maximum(h - seen.high[there], 0.0)
    crooked = seen.gap + float(off.sum()) * seen.cell**2
    return Saving(float(seen.trapped(np.zeros(1))[0]), float(seen.trapped(levels).min()), crooked, seen.gap, volume)


def boxed(whole: manifold3d.Manifold, field: Field, room: Array | None = None, cover: float = 10.0) -> Array:
    """A box (6,) x low, x high, y low, y high, z low, z high round part and sheet; ``room`` (4,) is the flask's inside in plan."""
    low_x, low_y, low_z, high_x, high_y, high_z = whole.bounding_box()
    plan = [min(field.x[0], low_x) - 1, max(field.x[-1], high_x) + 1, min(field.y[0], low_y) - 1, max(field.y[-1], high_y) + 1]
    floor, top = min(low_z, float(field.h.min()), 0.0) - cover, max(high_z, float(field.h.max()), 0.0) + cover
    return np.array([*(plan if room is None else room), floor, top])


def bodies(solid: manifold3d.Manifold) -> list[manifold3d.Manifold]:
    """The bodies a solid falls into, largest first; dust of the library's rounding left out, hollows kept with the largest.

    The library's own way builds every speck of dust as a solid, which takes seconds where a sheet runs along a face; it is taken where
    the bodies built here do not keep the volume, as slivers that touch themselves may be built otherwise than they were.
    """
    vertices, faces = plain(solid)
    if not len(faces):
        return []
    n = len(vertices)
    links = coo_array((np.ones(2 * len(faces)), (faces[:, [0, 1]].ravel(), faces[:, [1, 2]].ravel())), shape=(n, n))
    count, label = connected_components(links, directed=False)
    if count == 1:
        return [solid]
    owner = label[faces[:, 0]]
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    volume = np.bincount(owner, np.einsum("ij,ij->i", a, np.cross(b, c)) / 6, count)
    kept = np.flatnonzero(volume > SPECK)
    kept = kept[np.argsort(-volume[kept], kind="stable")]
    out = []
    for k, body in enumerate(kept):
        own = faces[np.isin(owner, [body, *np.flatnonzero(volume < -SPECK)]) if k == 0 else owner == body]
        used, back = np.unique(own, return_inverse=True)
        shell = np.ascontiguousarray(back.reshape(-1, 3), dtype=np.uint64)
        out.append(manifold3d.Manifold(manifold3d.Mesh64(np.ascontiguousarray(vertices[used]), shell)))
    whole = float(solid.volume())
    if abs(sum(float(p.volume()) for p in out) - whole) > 1e-7 * whole + count * SPECK * 0.01:
        every = sorted((p for p in solid.decompose() if abs(p.volume()) > SPECK), key=lambda p: -float(p.volume()))
        hollows = [p for p in every if p.volume() < 0]
        out = every[: len(every) - len(hollows)]
        out[:1] = [manifold3d.Manifold.compose([out[0], *hollows])] if hollows and out else out[:1]
    return out


def _shadows(whole: manifold3d.Manifold, field: Field, side: float, far: float) -> list[manifold3d.Manifold]:
    """Prisms from every face of ``whole`` that leans over the sand of that side as far as ``far``, faces wholly beyond the sheet left out."""
    vertices, faces = plain(whole)
    shifted = vertices - [0.0, 0.0, far]
    chosen = overhangs(shifted, faces, side)
    if not chosen.size:
        return []
    out: list[manifold3d.Manifold] = []
    for group in patches(faces, chosen):
        corners = vertices[np.unique(faces[group])]
        if float((side * corners[:, 2]).max()) <= _least(field, corners, side) + 1e-4:
            continue
        if (made := prism(shifted, faces[group], side)) is not None:
            out.append(made.translate((0.0, 0.0, far)))
        if len(out) > MOST:
            raise BadInput(
                f"the part's surface is too rough to draw: more than {MOST} patches of it hang over the sand",
                "Smooth the mesh in the program that made it, or give another direction with --up",
            )
    return out


def _least(field: Field, corners: Array, side: float) -> float:
    """Least height of the sheet on that side of z = 0 within the bounds in plan of ``corners`` (n, 3)."""
    spans = []
    for axis, line in enumerate((field.x, field.y)):
        first = int(np.searchsorted(line, corners[:, axis].min())) - 1
        last = int(np.searchsorted(line, corners[:, axis].max())) + 1
        spans.append(slice(max(first, 0), max(min(last, len(line)), max(first, 0) + 1)))
    return float((side * field.h[spans[0], spans[1]]).min())


class Remains(NamedTuple):
    """What the crooked parting does not release."""

    filled: manifold3d.Manifold  # the part with it filled
    regions: tuple[Filled, ...]
    volume: float  # mm3


def remains(whole: manifold3d.Manifold, field: Field, box: Array) -> Remains:
    """Overhangs of each half over its own sand, down to the sheet and not to z = 0, with the part filled there.

    Raises BadInput where more than ``MOST`` patches of its surface hang over the sand.
    """
    low, high = float(box[4]), float(box[5])
    cope, drag = _shadows(whole, field, 1.0, low), _shadows(whole, field, -1.0, high)
    if not cope and not drag:
        return Remains(whole, (), 0.0)
    under = block(field, box)
    add = manifold3d.Manifold.batch_boolean
    rooms = ([add(cope, manifold3d.OpType.Add) - under] if cope else []) + ([add(drag, manifold3d.OpType.Add) ^ under] if drag else [])
    every = add(rooms, manifold3d.OpType.Add)
    out = whole + every
    regions = sorted((region(p) for p in bodies(every - whole) if p.volume() > DUST), key=lambda r: -r.volume)
    return Remains(out, tuple(regions), max(float(out.volume() - whole.volume()), 0.0))


def dragged(whole: manifold3d.Manifold, field: Field, box: Array, lifts: Sequence[float]) -> float:
    """Most sand [mm3] that comes along where the pattern, all of it in one piece, and its sand are drawn ``lifts`` apart.

    The cope is lifted off the pattern, and the pattern out of the drag. ``box`` (6,) must hold the whole.

    Raises BadInput where it does not.
    """
    low_x, low_y, low_z, high_x, high_y, high_z = whole.bounding_box()
    if not (box[0] < low_x and high_x < box[1] and box[2] < low_y and high_y < box[3] and box[4] < low_z and high_z < box[5]):
        raise BadInput("the part does not fit the flask", "Take a larger flask")
    sand = [(block(field, box, side) - whole, side) for side in (1.0, -1.0)]
    return max(float((whole.translate((0.0, 0.0, -side * lift)) ^ room).volume()) for room, side in sand for lift in lifts)
