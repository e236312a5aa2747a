"""What the true surface of the metal does to a staircase of cells: wall distances, areas, volumes and a thin node of medium at each face.

At each face of the staircase the surface stands ``offset`` cells outward of the face and looks along a normal whose component across
the face is g.  Derived from the divergence theorem between staircase and wall, exact for planes: the wall is g / 2 + offset from the
medium's centre and g / 2 - offset from the metal's, the medium's cell gains g offset of volume and the metal's loses it.  Areas: g a
face, brought to the mesh's own area place by place; a sharp edge that sticks out gets EDGE cells of area a unit of length more, since
five-point links carry too little of the flux round it.  The first cell of a medium takes up heat too slowly by about dx2 / (16 a t);
half its wall distance becomes a node of its own, and capacity is moved to or from the cell behind so that the next order vanishes for
every wall position.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

from strickle.kernels.freeze_setup import MEDIUM, METAL, NOTHING, OUTER, Layout
from strickle.kernels.freeze_tables import Refused
from strickle.kernels.wall import look, normals_of

Floats = NDArray[np.float64]
LEAST_G = 0.02  # component of the normal across a face
EDGE = 0.25  # cells of area a unit length of a right-angled edge: tuned on one plate of 60 x 60 x 20 mm (reference set)
SHARP = 0.5  # rad between two faces from which an edge is sharp
SAMPLES = 4.0  # samples of the surface a cell
METAL_VOLUME = (0.5, 2.5)
MEDIUM_VOLUME = (0.35, 3.0)
ON_PLANE = 1e-3  # cells within which a triangle lies on an outer face
FOUND = 0.2  # share of the staircase's faces that must find the mesh within a cell: else it is another body's
SQUARE = 6.0  # power of the normal's component with which a wall's thickness along it is counted
LEAST_SECTION, SMALL_SECTION = 0.3, 0.02  # of a cell's face: no link is made thinner, and no smaller change is counted
NEAR_FILM = 0.05  # cells, least distance of the metal's centre from a surface to the air
NEAR_WALL = 0.02  # cells, least distance of a medium's centre from the wall
NEAR_TIGHT = 0.12  # the same where the contact is near perfect: the first cell would take up more than its share
TIGHT = 1.0 / 2000.0  # m2 K/W, contact from which on it is near perfect


class Mesh(NamedTuple):
    """A closed outward mesh of the metal [m], in the frame whose origin is the corner of cell (0, 0, 0)."""

    vertices: Floats
    faces: NDArray[np.int64]


class Shape(NamedTuple):
    """Coefficients of the staircase; without a mesh those of the plain scheme."""

    touch_area: Floats  # (f,) share of dx2
    touch_metal: Floats  # (f,) cells from the metal's centre to the wall
    touch_medium: Floats  # (f,) cells from the medium's centre to the wall; the skin included
    skin: Floats  # (f,) cells, thickness of the skin node; 0 for none
    film_area: Floats  # (b,)
    film_metal: Floats  # (b,)
    metal_share: Floats  # (M,) 1 / volume of each metal cell
    medium_share: NDArray[np.float32]  # (N,) 1 / volume of each medium cell
    odd: NDArray[np.int64]  # medium cells whose volume is not 1, rising
    along: NDArray[np.uint64]  # (l, 2) neighbouring metal cells beside a wall along which the metal is thicker or thinner than a cell
    along_more: Floats  # (l,) by how much the section between them is more than a cell's face


def plain(layout: Layout) -> Shape:
    """The staircase as it stands."""
    touch, film = layout.faces.touch.size, layout.faces.film.size
    half = np.full(touch, 0.5)
    cells = layout.metal_bits.size
    share, none = np.ones(layout.media_bits.size, np.float32), np.zeros(0, np.int64)
    return Shape(
        np.ones(touch), half, half, np.zeros(touch), np.ones(film), np.full(film, 0.5), np.ones(cells), share, none,
        np.zeros((0, 2), np.uint64), np.zeros(0),
    )  # fmt: skip


def free_of(layout: Layout, odd: NDArray[np.int64]) -> Layout:
    """The layout with no segment held to be wholly plain that has a cell of another volume."""
    first = layout.seg_first.astype(np.int64)
    some = np.searchsorted(odd, first + layout.seg_length.astype(np.int64)) > np.searchsorted(odd, first)
    return layout._replace(seg_full=layout.seg_full & ~some)


@njit(cache=True, nogil=True)
def _drop(points, amounts, out):
    """Add amounts (n,) at points (n, 3) [cells, cell centres at whole numbers], shared among the eight cells round each."""
    nx, ny, nz = out.shape
    for p in range(points.shape[0]):
        x, y, z = points[p, 0], points[p, 1], points[p, 2]
        i, j, k = int(np.floor(x)), int(np.floor(y)), int(np.floor(z))
        for c in range(8):
            a, b, d = i + (c & 1), j + ((c >> 1) & 1), k + ((c >> 2) & 1)
            if 0 <= a < nx and 0 <= b < ny and 0 <= d < nz:
                share = (1.0 - abs(x - a)) * (1.0 - abs(y - b)) * (1.0 - abs(z - d))
                out[a, b, d] += share * amounts[p]


@njit(cache=True, nogil=True)
def _read(points, field, out):
    """Values of a field at points, from the eight cells round each."""
    nx, ny, nz = field.shape
    for p in range(points.shape[0]):
        x, y, z = points[p, 0], points[p, 1], points[p, 2]
        i, j, k = int(np.floor(x)), int(np.floor(y)), int(np.floor(z))
        total = 0.0
        for c in range(8):
            a, b, d = i + (c & 1), j + ((c >> 1) & 1), k + ((c >> 2) & 1)
            if 0 <= a < nx and 0 <= b < ny and 0 <= d < nz:
                total += (1.0 - abs(x - a)) * (1.0 - abs(y - b)) * (1.0 - abs(z - d)) * field[a, b, d]
        out[p] = total


@njit(cache=True, nogil=True)
def _spread(vertices, faces, out):
    """The area of triangles [cells2], dropped in small pieces."""
    nx, ny, nz = out.shape
    for f in range(faces.shape[0]):
        a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
        ux, uy, uz, vx, vy, vz = b[0] - a[0], b[1] - a[1], b[2] - a[2], c[0] - a[0], c[1] - a[1], c[2] - a[2]
        area = 0.5 * np.sqrt((uy * vz - uz * vy) ** 2 + (uz * vx - ux * vz) ** 2 + (ux * vy - uy * vx) ** 2)
        edge = (ux - vx) ** 2 + (uy - vy) ** 2 + (uz - vz) ** 2
        longest = np.sqrt(max(ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz, edge))
        n = max(1, int(np.ceil(longest * SAMPLES)))
        amount = area / (n * n)
        for i in range(n):
            for j in range(n - i):
                for up in range(2):
                    if up and i + j >= n - 1:
                        continue
                    s, t = (i + 1.0 / 3.0 + up / 3.0) / n, (j + 1.0 / 3.0 + up / 3.0) / n
                    x, y, z = a[0] + s * ux + t * vx, a[1] + s * uy + t * vy, a[2] + s * uz + t * vz
                    p, q, r = int(np.floor(x)), int(np.floor(y)), int(np.floor(z))
                    if p < 0 or q < 0 or r < 0 or p > nx - 2 or q > ny - 2 or r > nz - 2:
                        continue
                    fx, fy, fz = x - p, y - q, z - r
                    low, high = amount * (1.0 - fx), amount * fx
                    out[p, q, r] += low * (1.0 - fy) * (1.0 - fz)
                    out[p, q, r + 1] += low * (1.0 - fy) * fz
                    out[p, q + 1, r] += low * fy * (1.0 - fz)
                    out[p, q + 1, r + 1] += low * fy * fz
                    out[p + 1, q, r] += high * (1.0 - fy) * (1.0 - fz)
                    out[p + 1, q, r + 1] += high * (1.0 - fy) * fz
                    out[p + 1, q + 1, r] += high * fy * (1.0 - fz)
                    out[p + 1, q + 1, r + 1] += high * fy * fz


def _edges(vertices: Floats, faces: NDArray[np.int64], medium: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Points along the sharp edges that stick out into a medium, and the area [cells2] that each stands for.

    ``medium``: cells of a medium on the padded grid. An edge that has none on both its sides (an open top, an outer face) has no such flux.
    """
    face, _, _ = normals_of(vertices, faces)
    ends = np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1).reshape(-1, 2)
    order = np.lexsort(np.sort(ends, axis=1).T)
    ends, owner = ends[order], order // 3
    pair = np.flatnonzero((np.sort(ends[1:], axis=1) == np.sort(ends[:-1], axis=1)).all(axis=1))
    one, other = owner[pair], owner[pair + 1]
    angle = np.arccos(np.clip((face[one] * face[other]).sum(axis=1), -1.0, 1.0))
    across = vertices[faces[other]].mean(axis=1) - vertices[ends[pair, 0]]
    out = (across * face[one]).sum(axis=1) < 0.0
    keep = (angle > SHARP) & out
    a, b = vertices[ends[pair[keep], 0]], vertices[ends[pair[keep], 1]]
    if not len(a):
        return np.zeros((0, 3)), np.zeros(0)
    length = np.linalg.norm(b - a, axis=1)
    count = np.maximum(1, np.ceil(2.0 * length)).astype(np.int64)
    row = np.repeat(np.arange(len(a)), count)
    t = (np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count) + 0.5) / count[row]
    points = a[row] + t[:, None] * (b - a)[row]
    wet = _holds(medium, points + face[one[keep]][row]) & _holds(medium, points + face[other[keep]][row])
    amounts = EDGE * length[row] / count[row] * angle[keep][row] / (0.5 * np.pi)
    return points[wet], amounts[wet]


def _holds(mask: NDArray[np.bool_], points: Floats) -> NDArray[np.bool_]:
    """Whether the cell that holds each point (n, 3) [cells] is one of the mask; points off the grid are not."""
    cell = np.round(points).astype(np.int64)
    inside = ((cell >= 0) & (cell < np.array(mask.shape))).all(axis=1)
    found = np.zeros(len(points), np.bool_)
    found[inside] = mask[tuple(cell[inside].T)]
    return found


class _Sides(NamedTuple):
    """Every face of the metal's staircase, on the padded grid."""

    cell: NDArray[np.int64]  # (s, 3) metal cell
    way: NDArray[np.int64]  # (s,) 0 z-, 1 z+, 2 y-, 3 y+, 4 x-, 5 x+
    beyond: NDArray[np.int64]  # (s, 3) the cell on the other side


_STEP = np.array([[0, 0, -1], [0, 0, 1], [0, -1, 0], [0, 1, 0], [-1, 0, 0], [1, 0, 0]])


def _sides(metal: NDArray[np.bool_]) -> _Sides:
    found = []
    for step in _STEP:
        axis, sign = int(np.flatnonzero(step)[0]), int(step.sum())
        found.append(np.argwhere(metal & ~np.roll(metal, -sign, axis=axis)))
    cell = np.vstack(found)
    way = np.repeat(np.arange(6), [len(some) for some in found])
    return _Sides(cell, way, cell + _STEP[way])


def shaped(layout: Layout, kind: NDArray[np.uint8], quick: NDArray[np.bool_], mesh: Mesh, cell: float, contact: Floats) -> Shape:
    """Coefficients for the metal's true surface; ``mesh`` in the layout's axis order, ``contact`` (256, 256) [m2 K/W] by pair of tags.

    ``quick`` (256,): media that conduct far better than the rest.
    """
    corner = np.maximum(np.array(layout.box) - 1, 0)  # all is done in a window round the metal
    end = np.minimum(np.array(layout.box) + np.array(layout.box_shape) + 1, layout.shape)
    tags = layout.tags[tuple(slice(a, b) for a, b in zip(corner, end, strict=True))]
    shape = (tags.shape[0], tags.shape[1], tags.shape[2])
    metal = (kind == METAL)[tags]
    sides = _sides(metal)
    vertices = np.ascontiguousarray(mesh.vertices / cell + 0.5 - corner)  # the window's first cell has its centre at the origin
    faces = np.ascontiguousarray(mesh.faces, np.int64)
    corners = vertices[faces]
    whole = float(np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6.0)
    low = np.where(sides.way[:, None] % 2 == 1, sides.cell, sides.beyond)
    points = sides.cell + 0.5 * _STEP[sides.way]
    towards = np.where(sides.way % 2 == 1, 1.0, -1.0)
    seen = look(vertices, faces, points, towards, 2 - sides.way // 2, low, shape)
    found = np.isfinite(seen.offset)
    if found.mean() < FOUND:
        raise Refused("the metal's surface is not where the metal's cells are: give the mesh in the grid's frame, in metres")
    across = np.abs(np.take_along_axis(seen.normal, (2 - sides.way // 2)[:, None], axis=1)[:, 0])
    g = np.where(found, np.clip(across, LEAST_G, 1.0), 1.0)
    psi = np.where(found, np.clip(seen.offset, -0.5 * g, 0.5 * g), 0.0)
    at = np.where(found[:, None], seen.nearest, points)
    wet = kind[tags[tuple(sides.beyond.T)]] != NOTHING
    seen_faces = faces[~_blank(vertices, faces, kind, 0.5 - corner, np.array(layout.shape) - 1.5 - corner)]
    area = g.copy()
    area[wet] = _areas(vertices, faces, seen_faces, at[wet], g[wet], np.array(layout.box) - corner, layout.box_shape, (kind == MEDIUM)[tags])

    volume = 1.0 - _cut(sides, g * psi, np.where(found[:, None], seen.normal, towards[:, None] * np.abs(_STEP[sides.way])), shape)
    own = np.clip(volume[metal], *METAL_VOLUME)
    cut = volume[metal] != 1.0
    if cut.any():  # what the clip and the edges left over goes to the cut cells
        ratio = (whole - (~cut).sum()) / own[cut].sum()
        own[cut] *= ratio if 0.7 < ratio < 1.4 else 1.0
    volume[metal] = own

    least = np.where(contact[tags[tuple(sides.cell.T)], tags[tuple(sides.beyond.T)]] < TIGHT, NEAR_TIGHT, NEAR_WALL)
    away = np.maximum(0.5 * g + psi, least)
    thick, gamma = _skins(kind, quick, tags, sides, g, away)
    b = thick
    medium = kind[tags[tuple(sides.beyond.T)]] == MEDIUM
    rows = tuple(sides.beyond[medium].T)
    np.add.at(volume, rows, (g * psi - area * b - g * gamma)[medium])
    behind = sides.beyond + _STEP[sides.way]
    np.add.at(volume, tuple(behind[medium].T), (g * gamma)[medium])
    sand = (kind == MEDIUM)[tags]
    volume[sand] = np.clip(volume[sand], *MEDIUM_VOLUME)
    links = _along(sides, g, psi, metal, corner, layout)
    return _gathered(layout, sides, corner, area, 0.5 * g - psi, away, b, volume, metal, links)


def _cut(sides: _Sides, part: Floats, normal: Floats, shape: tuple[int, int, int]) -> Floats:
    """Volume [cells] each metal cell loses to the wall at its faces, ``part`` = g offset of each.

    The parts add where one plane cuts the cell; across a sharp edge, where the normals turn, what both would take is taken once.
    """
    axis = 2 - sides.way // 2
    cell, row = np.unique(np.ravel_multi_index(tuple(sides.cell.T), shape), return_inverse=True)
    row = row.reshape(-1)
    a, n = np.zeros((3, len(cell))), np.zeros((3, 3, len(cell)))
    np.add.at(a, (axis, row), part)
    for k in range(3):
        np.add.at(n, (axis, np.full_like(axis, k), row), normal[:, k])
    n /= np.maximum(np.sqrt((n**2).sum(axis=1, keepdims=True)), 1e-12)
    total = a.sum(axis=0)
    turn = {(i, j): 1.0 - np.abs((n[i] * n[j]).sum(axis=0)) for i, j in ((0, 1), (0, 2), (1, 2))}
    for (i, j), t in turn.items():
        total -= t * a[i] * a[j]
    total += turn[0, 1] * turn[0, 2] * turn[1, 2] * a[0] * a[1] * a[2]
    out = np.zeros(shape)
    out.reshape(-1)[cell] = total
    return out


def _along(
    sides: _Sides, g: Floats, psi: Floats, metal: NDArray[np.bool_], corner: NDArray[np.int64], layout: Layout
) -> tuple[NDArray[np.uint64], Floats]:
    """Links of metal along walls that lie square to an axis: the section between two cells is as thick as the metal there, not a cell's face.

    Along a slanting wall the staircase's links are right as they are (they carry the component of a straight profile), so the more a
    wall slants the less is put on.
    """
    axis = 2 - sides.way // 2
    more = np.zeros((3, *metal.shape), np.float32)
    thick = -g * psi * g**SQUARE
    for along in range(3):
        mine = axis != along
        np.add.at(more[along], tuple(sides.cell[mine].T), thick[mine])
    box, shape = np.array(layout.box), layout.box_shape
    pairs, extra = [np.zeros((0, 2), np.uint64)], [np.zeros(0)]
    for along in range(3):
        low, high = [slice(None)] * 3, [slice(None)] * 3
        low[along], high[along] = slice(None, -1), slice(1, None)
        e = 0.5 * (more[along][tuple(low)] + more[along][tuple(high)])
        e = np.where(metal[tuple(low)] & metal[tuple(high)], np.maximum(e, LEAST_SECTION - 1.0), 0.0)
        at = np.argwhere(np.abs(e) > SMALL_SECTION)
        one = np.ravel_multi_index(tuple((at + corner - box).T), shape).astype(np.uint64)
        step = np.zeros(3, np.int64)
        step[along] = 1
        two = np.ravel_multi_index(tuple((at + step + corner - box).T), shape).astype(np.uint64)
        pairs.append(np.stack([one, two], axis=1))
        extra.append(e[tuple(at.T)].astype(np.float64))
    return np.ascontiguousarray(np.concatenate(pairs)), np.concatenate(extra)


def _skins(kind: NDArray[np.uint8], quick: NDArray[np.bool_], tags: NDArray[np.uint8], sides: _Sides, g: Floats, d: Floats) -> tuple[Floats, Floats]:
    """Thickness of the skin and capacity to move to the cell behind, a unit of g, for centres ``d`` from the wall; all in cells.

    A ``quick`` medium (256,) warms through a cell within a step or so: it has no skin, which would only bind the step.
    """
    thick = np.where(quick[tags[tuple(sides.beyond.T)]], 0.0, 0.5 * d)
    behind = sides.beyond + _STEP[sides.way]
    inside = ((behind >= 0) & (behind < np.array(tags.shape))).all(axis=1)
    behind = np.where(inside[:, None], behind, sides.beyond)
    own, next_one = tags[tuple(sides.beyond.T)], tags[tuple(behind.T)]
    alike = inside & (own == next_one) & (kind[own] == MEDIUM) & ~quick[own]
    gamma = (g**2 / 8.0 - (d - thick) ** 2) / (2.0 * g)
    return thick, np.where(alike, gamma, 0.0)


def _blank(vertices: Floats, faces: NDArray[np.int64], kind: NDArray[np.uint8], low: Floats, high: Floats) -> NDArray[np.bool_]:
    """Triangles on an outer face of the grid, at ``low`` and ``high`` (3,), through which nothing passes, as of a body cut by its mirror plane."""
    found = np.zeros(len(faces), np.bool_)
    for number, (axis, plane) in enumerate((a, p) for a in range(3) for p in (low[a], high[a])):
        if kind[OUTER + number] == NOTHING:
            found |= (np.abs(vertices[:, axis] - plane) < ON_PLANE)[faces].all(axis=1)
    return found


def _areas(
    vertices: Floats, faces: NDArray[np.int64], seen: NDArray[np.int64], at: Floats, g: Floats, box: NDArray[np.int64], size: tuple[int, int, int],
    medium: NDArray[np.bool_],
) -> Floats:  # fmt: skip
    """Area [cells2] of each face: g brought to the area of the mesh's triangles ``seen`` place by place, and to its sum."""
    margin = 4
    corner = box - margin
    shape = tuple(n + 2 * margin for n in size)
    true = np.zeros(shape)
    _spread(vertices - corner, seen, true)
    edge_points, edge_areas = _edges(vertices, faces, medium)
    _drop(np.ascontiguousarray(edge_points - corner), edge_areas, true)
    total = float(true.sum())
    wished = ndimage.gaussian_filter(true, 1.0, mode="constant", truncate=3.0)
    points = np.ascontiguousarray(at - corner)
    area, ratio = g.copy(), np.ones_like(g)
    for _ in range(2):
        stair = np.zeros(shape)
        _drop(points, area, stair)
        have = ndimage.gaussian_filter(stair, 1.0, mode="constant", truncate=3.0)
        one, other = np.empty(len(g)), np.empty(len(g))
        _read(points, wished, one)
        _read(points, have, other)
        ratio = np.clip(ratio * one / np.maximum(other, 1e-12), 0.5, 2.0)
        area = g * ratio
    return np.asarray(area * (total / area.sum()))


def _gathered(
    layout: Layout, sides: _Sides, corner: NDArray[np.int64], area: Floats, metal_away: Floats, medium_away: Floats, skin: Floats,
    volume: Floats, metal: NDArray[np.bool_], links: tuple[NDArray[np.uint64], Floats],
) -> Shape:  # fmt: skip
    """The coefficients in the order of the layout's lists; ``corner`` of the window that the sides and volumes are told in."""
    lists = layout.faces
    _, ny, nz = layout.shape
    whole = ((sides.cell + corner) @ np.array([ny * nz, nz, 1])).astype(np.int64)
    key = whole * 6 + sides.way
    order = np.argsort(key)
    sorted_key = key[order]
    box, (_, by, bz) = layout.box, layout.box_shape

    def out_of(inner: NDArray[np.int64]) -> NDArray[np.int64]:
        x, y, z = inner // (by * bz), (inner // bz) % by, inner % bz
        return np.asarray(((x + box[0]) * ny + y + box[1]) * nz + z + box[2])

    home = out_of(lists.cells[lists.touch].astype(np.int64)) if lists.touch.size else np.zeros(0, np.int64)
    apart = lists.medium.astype(np.int64) - home
    way = np.select([apart == -1, apart == 1, apart == -nz, apart == nz, apart == -ny * nz], [0, 1, 2, 3, 4], 5)
    rows = order[np.searchsorted(sorted_key, home * 6 + way)] if home.size else np.zeros(0, np.int64)
    over = out_of(lists.cells[lists.film].astype(np.int64)) if lists.film.size else np.zeros(0, np.int64)
    films = order[np.searchsorted(sorted_key, over * 6 + lists.film_way)] if over.size else np.zeros(0, np.int64)
    inner = tuple(slice(b - c, b - c + n) for b, c, n in zip(box, corner, layout.box_shape, strict=True))
    metal_share = np.where(metal[inner], 1.0 / volume[inner], 1.0).reshape(-1)
    changed = np.argwhere((np.abs(volume - 1.0) > 1e-12) & ~metal)
    odd = ((changed + corner) @ np.array([ny * nz, nz, 1])).astype(np.int64)
    share = np.ones(layout.media_bits.size, np.float32)
    share[odd] = 1.0 / volume[tuple(changed.T)]
    return Shape(
        touch_area=area[rows],
        touch_metal=metal_away[rows],
        touch_medium=medium_away[rows],
        skin=skin[rows],
        film_area=area[films],
        film_metal=np.maximum(metal_away[films], NEAR_FILM),
        metal_share=np.ascontiguousarray(metal_share),
        medium_share=share,
        odd=odd,
        along=links[0],
        along_more=links[1],
    )
