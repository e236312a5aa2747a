"""Arrays the freezing kernel steps over: runs of metal, band-sorted segments of the media, and the faces between them.

The grid is padded by one layer; the pad of each outer face carries a tag of its own (OUTER + 0..5 for x-, x+, y-, y+, z-, z+), so
an outer face and an open surface inside the grid are the same thing: a face towards a boundary tag.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from strickle.kernels.freeze_distance import sweep

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]
Index = NDArray[np.uint64]

OUTER = 250  # first pad tag; tags of cells are below it
NOTHING, METAL, MEDIUM, WALL, FILM = 0, 1, 2, 3, 4
LONGEST = 48  # cells in a media segment
FAR = np.uint16(65535)


class Faces(NamedTuple):
    """Faces where heat leaves the plain laplacian, and the cells beside them."""

    cells: Index  # (n,) metal cells with a medium or a film beside them, metal-box index
    touch: Index  # (f,) metal/medium faces: row in cells
    medium: Index  # (f,) the medium's cell, whole-grid index
    pair: NDArray[np.uint8]  # (f, 2) the tags
    film: Index  # (b,) metal faces under a film: row in cells
    film_tag: Bytes  # (b,)
    film_way: Bytes  # (b,) 0 z-, 1 z+, 2 y-, 3 y+, 4 x-, 5 x+
    wall: Index  # (w,) metal cells at a fixed temperature, metal-box index
    wall_tag: Bytes  # (w,)
    cross: Index  # (c, 2) faces between unlike media, whole-grid index
    cross_pair: NDArray[np.uint8]  # (c, 2)
    open: Index  # (o,) media cells under a wall or film, whole-grid index
    open_pair: NDArray[np.uint8]  # (o, 2) the medium's tag and the boundary's


class Layout(NamedTuple):
    """One grid made ready."""

    tags: Bytes  # (NX, NY, NZ) padded
    shape: tuple[int, int, int]  # padded
    box: tuple[int, int, int]  # first padded cell of the metal's box (one layer of margin included)
    box_shape: tuple[int, int, int]
    metal_bits: Bytes  # (M,)
    run_first: Index
    run_length: Index
    part_first: Index  # the runs again, parted into pieces of cells with metal on all sides and pieces of others
    part_length: Index
    part_inner: NDArray[np.bool_]
    media_bits: Bytes  # (N,)
    faces: Faces
    shell: NDArray[np.uint16]  # (N,)
    seg_first: Index
    seg_length: Index
    seg_tag: Bytes
    seg_full: NDArray[np.bool_]
    seg_reach: NDArray[np.uint16]
    shell_count: NDArray[np.int64]  # segments up to and including each shell
    shell_width: float  # root s
    quick_first: Index  # segments of the media that are stepped on their own
    quick_length: Index
    quick_tag: Bytes


@njit(cache=True, nogil=True)
def _count(tags, kind, counts):
    """Counts of each kind of face."""
    nx, ny, nz = tags.shape
    for x in range(1, nx - 1):
        for y in range(1, ny - 1):
            for z in range(1, nz - 1):
                t = tags[x, y, z]
                k = kind[t]
                if k != METAL and k != MEDIUM:
                    continue
                touched = False
                for d in range(6):
                    q = tags[x + (d == 5) - (d == 4), y + (d == 3) - (d == 2), z + (d == 1) - (d == 0)]
                    kq = kind[q]
                    if k == METAL:
                        if kq == MEDIUM:
                            counts[1] += 1
                            touched = True
                        elif kq == FILM:
                            counts[2] += 1
                            touched = True
                        elif kq == WALL:
                            counts[3] += 1
                    elif kq == MEDIUM:
                        if q != t and d % 2 == 1:
                            counts[4] += 1
                    elif kq in (WALL, FILM):
                        counts[5] += 1
                if touched:
                    counts[0] += 1


@njit(cache=True, nogil=True)
def _fill(
    tags, kind, box, by, bz, media_bits, metal_bits, cells, touch, medium, pair, film, film_tag, film_way, wall, wall_tag, cross, cross_pair,
    opens, open_pair,
):  # fmt: skip
    """Neighbour bits and face lists."""
    nx, ny, nz = tags.shape
    n = np.zeros(6, np.int64)
    for x in range(1, nx - 1):
        for y in range(1, ny - 1):
            for z in range(1, nz - 1):
                t = tags[x, y, z]
                k = kind[t]
                if k != METAL and k != MEDIUM:
                    continue
                p = (x * ny + y) * nz + z
                b = ((x - box[0]) * by + y - box[1]) * bz + z - box[2]
                bits = 0
                touched = False
                for d in range(6):
                    xq, yq, zq = x + (d == 5) - (d == 4), y + (d == 3) - (d == 2), z + (d == 1) - (d == 0)
                    q = tags[xq, yq, zq]
                    kq = kind[q]
                    at = (xq * ny + yq) * nz + zq
                    if k == METAL:
                        if kq == METAL:
                            bits |= 1 << d
                        elif kq == MEDIUM:
                            touch[n[1]], medium[n[1]] = n[0], at
                            pair[n[1], 0], pair[n[1], 1] = t, q
                            n[1] += 1
                            touched = True
                        elif kq == FILM:
                            film[n[2]], film_tag[n[2]], film_way[n[2]] = n[0], q, d
                            n[2] += 1
                            touched = True
                        elif kq == WALL:
                            wall[n[3]], wall_tag[n[3]] = b, q
                            n[3] += 1
                    elif kq == MEDIUM:
                        if q == t:
                            bits |= 1 << d
                        elif d % 2 == 1:
                            cross[n[4], 0], cross[n[4], 1] = p, at
                            cross_pair[n[4], 0], cross_pair[n[4], 1] = t, q
                            n[4] += 1
                    elif kq in (WALL, FILM):
                        opens[n[5]] = p
                        open_pair[n[5], 0], open_pair[n[5], 1] = t, q
                        n[5] += 1
                if k == METAL:
                    metal_bits[b] = bits
                    if touched:
                        cells[n[0]] = b
                        n[0] += 1
                else:
                    media_bits[p] = bits


@njit(cache=True, nogil=True)
def _metal_runs(tags, kind, box, box_shape, first, length, fill):
    """Runs of metal along the last axis; returns how many."""
    n = 0
    bx, by, bz = box_shape
    for x in range(bx):
        for y in range(by):
            inside = False
            for z in range(bz):
                metal = kind[tags[x + box[0], y + box[1], z + box[2]]] == METAL
                if metal and not inside:
                    if fill:
                        first[n] = (x * by + y) * bz + z
                        length[n] = 0
                    n += 1
                if metal and fill:
                    length[n - 1] += np.uint64(1)
                inside = metal
    return n


@njit(cache=True, nogil=True)
def _segments(tags, kind, bits, dist, width, shell, first, length, tag, full, least, fill):
    """Segments of one medium along the last axis, at most LONGEST cells; returns how many."""
    nx, ny, nz = tags.shape
    n = 0
    for x in range(1, nx - 1):
        for y in range(1, ny - 1):
            z = 1
            while z < nz - 1:
                t = tags[x, y, z]
                if kind[t] != MEDIUM:
                    z += 1
                    continue
                start = z
                while z < nz - 1 and tags[x, y, z] == t and z - start < LONGEST:
                    z += 1
                if fill:
                    p = (x * ny + y) * nz + start
                    low = np.float32(np.inf)
                    whole = True
                    for j in range(z - start):
                        low = min(low, dist[x, y, start + j])
                        whole = whole and bits[p + j] == 63
                    s = np.uint16(65535) if low / width > 65000.0 else np.uint16(low / width)
                    for j in range(z - start):
                        shell[p + j] = s
                    first[n], length[n], tag[n], full[n], least[n] = p, z - start, t, whole, s
                n += 1
    return n


@njit(cache=True, nogil=True)
def _reach(first, length, bits, shell, sx, sy, reach):
    """The farthest shell among a segment's own neighbours."""
    for k in range(first.size):
        far = np.uint16(0)
        for p in range(first[k], first[k] + length[k]):
            b = bits[p]
            if b & 1:
                far = max(far, shell[p - 1])
            if b & 2:
                far = max(far, shell[p + 1])
            if b & 4:
                far = max(far, shell[p - sy])
            if b & 8:
                far = max(far, shell[p + sy])
            if b & 16:
                far = max(far, shell[p - sx])
            if b & 32:
                far = max(far, shell[p + sx])
        reach[k] = far


def lay_out(
    tags: Bytes, kind: Bytes, cell: float, diffusivity: Floats, start: Floats, ambient: Floats, quick: NDArray[np.bool_],
    stirred: NDArray[np.bool_] | None = None,
) -> Layout:  # fmt: skip
    """Make a grid ready to step.

    ``tags`` (nx, ny, nz), the last axis the one runs go along; ``kind`` (256,) NOTHING, METAL, MEDIUM, WALL or FILM by tag;
    ``diffusivity`` (256,) [m2/s] and ``start`` (256,) [K] of the media; ``ambient`` (256,) [K] of walls and films: where it is not
    the medium's start, heat may enter from the first moment; ``quick`` (256,) media that are stepped on their own; ``stirred``
    (nx, ny, nz) cells that do not begin at their medium's start.
    """
    padded = _padded(tags)
    box, box_shape = _metal_box(padded, kind)
    faces, media_bits, metal_bits = _faces(padded, kind, box, box_shape)

    corner = np.array(box, dtype=np.int64)
    none = np.empty(0, np.uint64)
    count = _metal_runs(padded, kind, corner, box_shape, none, none, False)
    run_first, run_length = np.empty(count, np.uint64), np.empty(count, np.uint64)
    _metal_runs(padded, kind, corner, box_shape, run_first, run_length, True)

    parts = _parted(run_first, run_length, metal_bits)
    dist, width = _distance(padded, kind, cell, np.where(quick, 0.0, diffusivity), start, ambient, faces, quick, stirred)
    shell = np.full(padded.size, FAR, np.uint16)
    empty = (none, none, np.empty(0, np.uint8), np.empty(0, np.bool_), np.empty(0, np.uint16))
    count = _segments(padded, kind, media_bits, dist, np.float32(width), shell, *empty, False)
    first, length = np.empty(count, np.uint64), np.empty(count, np.uint64)
    tag, full, least = np.empty(count, np.uint8), np.empty(count, np.bool_), np.empty(count, np.uint16)
    _segments(padded, kind, media_bits, dist, np.float32(width), shell, first, length, tag, full, least, True)
    own = quick[tag]
    apart = first[own], length[own], tag[own]
    for at, cells in zip(apart[0].astype(np.int64), apart[1].astype(np.int64), strict=True):
        shell[at : at + cells] = 0
    first, length, tag, full, least = (values[~own] for values in (first, length, tag, full, least))
    count = first.size
    order = np.argsort(least, kind="stable")
    first, length = first[order], length[order]
    reach = np.empty(count, np.uint16)
    sx, sy = padded.shape[1] * padded.shape[2], padded.shape[2]
    _reach(first.astype(np.int64), length.astype(np.int64), media_bits, shell, sx, sy, reach)
    near = least[least < FAR]
    shells = np.cumsum(np.bincount(near, minlength=1)).astype(np.int64)
    return Layout(
        tags=padded,
        shape=padded.shape,
        box=box,
        box_shape=box_shape,
        metal_bits=metal_bits,
        run_first=run_first,
        run_length=run_length,
        part_first=parts[0],
        part_length=parts[1],
        part_inner=parts[2],
        media_bits=media_bits,
        faces=faces,
        shell=shell,
        seg_first=first,
        seg_length=length,
        seg_tag=tag[order],
        seg_full=full[order],
        seg_reach=reach,
        shell_count=shells,
        shell_width=width,
        quick_first=apart[0],
        quick_length=apart[1],
        quick_tag=apart[2],
    )


def _parted(first: Index, length: Index, bits: Bytes) -> tuple[Index, Index, NDArray[np.bool_]]:
    """Runs parted where cells with metal on all six sides meet others: first cells, lengths, and whether a piece is of the former."""
    size = length.astype(np.int64)
    run = np.repeat(np.arange(size.size), size)
    cell = first.astype(np.int64)[run] + np.arange(run.size) - np.repeat(np.cumsum(size) - size, size)
    inner = bits[cell] == 63
    begins = np.flatnonzero(np.concatenate([[True], (run[1:] != run[:-1]) | (inner[1:] != inner[:-1])])) if run.size else np.zeros(0, np.int64)
    ends = np.append(begins[1:], run.size)
    return cell[begins].astype(np.uint64), (ends - begins).astype(np.uint64), inner[begins]


def _padded(tags: Bytes) -> Bytes:
    """The grid with one layer of pad tags; the pad's edges belong to no cell's face."""
    out = np.empty((tags.shape[0] + 2, tags.shape[1] + 2, tags.shape[2] + 2), np.uint8)
    out[0], out[-1] = OUTER, OUTER + 1
    out[:, 0], out[:, -1] = OUTER + 2, OUTER + 3
    out[:, :, 0], out[:, :, -1] = OUTER + 4, OUTER + 5
    out[1:-1, 1:-1, 1:-1] = tags
    return out


def _metal_box(padded: Bytes, kind: Bytes) -> tuple[tuple[int, int, int], tuple[int, int, int]]:
    """First cell and shape of the box around the metal, with one layer of margin; a box of no cells without metal."""
    metal = (kind == METAL)[padded]
    if not metal.any():
        return (0, 0, 0), (1, 1, 1)
    spans = []
    for axis in range(3):
        others = tuple(i for i in range(3) if i != axis)
        at = np.flatnonzero(metal.any(axis=others))
        spans.append((int(at[0]) - 1, int(at[-1]) + 2))
    return (spans[0][0], spans[1][0], spans[2][0]), (spans[0][1] - spans[0][0], spans[1][1] - spans[1][0], spans[2][1] - spans[2][0])


def _faces(padded: Bytes, kind: Bytes, box: tuple[int, int, int], box_shape: tuple[int, int, int]) -> tuple[Faces, Bytes, Bytes]:
    """Face lists and the two sets of neighbour bits."""
    n = np.zeros(6, np.int64)
    _count(padded, kind, n)
    faces = Faces(
        cells=np.empty(n[0], np.uint64),
        touch=np.empty(n[1], np.uint64),
        medium=np.empty(n[1], np.uint64),
        pair=np.empty((n[1], 2), np.uint8),
        film=np.empty(n[2], np.uint64),
        film_tag=np.empty(n[2], np.uint8),
        film_way=np.empty(n[2], np.uint8),
        wall=np.empty(n[3], np.uint64),
        wall_tag=np.empty(n[3], np.uint8),
        cross=np.empty((n[4], 2), np.uint64),
        cross_pair=np.empty((n[4], 2), np.uint8),
        open=np.empty(n[5], np.uint64),
        open_pair=np.empty((n[5], 2), np.uint8),
    )
    media_bits = np.zeros(padded.size, np.uint8)
    metal_bits = np.zeros(box_shape[0] * box_shape[1] * box_shape[2], np.uint8)
    _fill(padded, kind, np.array(box, np.int64), box_shape[1], box_shape[2], media_bits, metal_bits, *faces)
    return faces, media_bits, metal_bits


def _distance(
    padded: Bytes, kind: Bytes, cell: float, diffusivity: Floats, start: Floats, ambient: Floats, faces: Faces, quick: NDArray[np.bool_],
    stirred: NDArray[np.bool_] | None,
) -> tuple[NDArray[np.float32], float]:  # fmt: skip
    """Diffusion distance [root s] of each medium cell from the nearest place where heat enters, and the width of one shell."""
    media = np.flatnonzero((kind == MEDIUM) & (diffusivity > 0.0))
    slow = np.zeros(256, np.float32)
    slow[media] = cell / np.sqrt(diffusivity[media])
    dist = np.where(((kind == METAL) | quick)[padded], np.float32(0.0), np.float32(np.inf)).astype(np.float32)
    if stirred is not None:
        dist[1:-1, 1:-1, 1:-1][stirred] = 0.0
    flat = dist.reshape(-1)
    pair = faces.open_pair
    flat[faces.open[ambient[pair[:, 1]] != start[pair[:, 0]]]] = 0.0
    pair = faces.cross_pair
    flat[faces.cross[start[pair[:, 0]] != start[pair[:, 1]]].reshape(-1)] = 0.0
    present = np.flatnonzero(np.bincount(padded.reshape(-1), minlength=256)[:OUTER])
    plain = int((kind[present] != METAL).sum()) <= 1  # one medium and no void: two sweeps are enough
    for _ in range(12):
        changed = sweep(dist, padded, slow, False)
        changed = sweep(dist, padded, slow, True) or changed
        if plain or not changed:
            break
    width = 2.0 * float(slow.max()) if media.size else 1.0
    return dist, width
