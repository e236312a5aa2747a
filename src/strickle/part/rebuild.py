"""A mesh that does not close, drawn anew from its winding number: metal is where the mesh winds round more than half.

The result says its cell and how sure its volume is; where the winding does not tell inside from outside, the mesh is refused.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strickle.base import Array
from strickle.part.edges import pieces_of
from strickle.part.measure import areas_of, volume_of

ROUGH, FINE = 20_000, 1_500_000  # nodes of the first look and of the grid that is drawn from
FINEST = 250  # cells along the longest side at most
STRIDE = 4  # nodes between those of the coarse field
CLEAR = 0.25  # winding this far from a half on all sides is taken over without looking closer
UNSURE = 0.10  # share of the volume that lies between a winding of a quarter and of three quarters from which a mesh is refused: choice
TURNED = 0.02  # share of the volume that may be wound the wrong way round: choice
SURE = 0.45  # winding this far from a half is handed on to neighbours beyond reach of the mesh
HANDED = 3  # times it is
SMOOTH = 0.03  # cells by which the drawn surface may move when flat runs of triangles are joined
SPECK = 8.0  # cells of volume under which a shell is a flaw of the grid
MARGIN = 3  # empty cells round the mesh
REACH = 1.8  # cells from the mesh within which nodes are looked at closely
MOST_PIECES = 200  # nearly closed pieces of which each is turned by itself
CLOSED = 0.2  # length of the summed area vectors over the area under which a piece is nearly closed


class Rebuilt(NamedTuple):
    """Shells drawn anew, in the file's numbers."""

    vertices: Array
    faces: Array
    cell: float
    low: float  # volume where the winding is more than three quarters, over that where it is more than a half
    high: float  # where it is more than a quarter
    turned: int  # triangles turned before, as their piece stood inside out


def rebuilt(vertices: Array, faces: Array) -> Rebuilt | None:
    """The solid round which these triangles wind, or None where they do not tell one."""
    from strickle.kernels import winding

    faces, turned = _outward(vertices, faces)
    tree = winding.tree_of(vertices, faces)
    low, sides = vertices[faces].min(axis=(0, 1)), np.ptp(vertices[faces].reshape(-1, 3), axis=0)
    cell = _cell(sides, ROUGH)
    count = np.ceil(sides / cell).astype(int) + 2
    looked = winding.at(tree, _nodes(low - 0.5 * cell, cell, tuple(count)))
    if _doubt(looked) is None or (looked < -0.5).sum() > TURNED * (looked > 0.5).sum():
        return None
    cell = _cell(sides, FINE)
    shape = tuple(int(n) for n in np.ceil(sides / cell).astype(int) + 2 * MARGIN + 1)
    origin = low - MARGIN * cell
    return _drawn(vertices, faces, tree, origin, cell, shape, turned)


def _cell(sides: Array, nodes: int) -> float:
    """Edge of the cells that gives about this many nodes in a box."""
    longest = float(sides.max())
    thick = np.maximum(sides, longest / FINEST)
    return max(float(np.cbrt(np.prod(thick) / nodes)), longest / FINEST)


def _nodes(origin: Array, cell: float, shape: tuple[int, ...]) -> Array:
    return np.asarray(origin + cell * np.stack(np.meshgrid(*(np.arange(n) for n in shape), indexing="ij"), -1).reshape(-1, 3))


def _doubt(looked: Array) -> tuple[float, float] | None:
    """Volume of a winding over three quarters and over a quarter, each over that of more than a half; None where they lie far apart."""
    metal = float((looked > 0.5).sum())
    low, high = float((looked > 0.75).sum()), float((looked > 0.25).sum())
    if metal == 0.0 or high - low > UNSURE * metal:
        return None
    return low / metal, high / metal


def _outward(vertices: Array, faces: Array) -> tuple[Array, int]:
    """Nearly closed pieces turned that stand inside out and in no other piece; and the number of their triangles."""
    count, own = pieces_of(faces, len(vertices))
    corners = vertices[faces]
    vectors = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    summed = np.linalg.norm([np.bincount(own, vectors[:, axis], count) for axis in range(3)], axis=0)
    nearly = summed <= CLOSED * np.bincount(own, np.linalg.norm(vectors, axis=1), count)
    own = np.where(nearly[own], own, count)  # what is open by far counts as one piece
    _, own = np.unique(own, return_inverse=True)
    count = int(own.max()) + 1
    if count > MOST_PIECES:
        own, count = np.zeros(len(faces), np.int64), 1
    low, high = np.empty((count, 3)), np.empty((count, 3))
    for i in range(count):
        low[i], high[i] = corners[own == i].min(axis=(0, 1)), corners[own == i].max(axis=(0, 1))
    out, turned = faces.copy(), 0
    for i in range(count):
        mine = own == i
        if volume_of(vertices, faces[mine]) >= 0.0 or np.linalg.norm(vectors[mine].sum(axis=0)) > CLOSED * areas_of(vertices, faces[mine]).sum():
            continue
        held = (low <= low[i]).all(axis=1) & (high >= high[i]).all(axis=1)
        if held.sum() == 1:
            out[mine] = out[mine][:, ::-1]
            turned += int(mine.sum())
    return out, turned


def _field(vertices: Array, faces: Array, tree: object, origin: Array, cell: float, shape: tuple[int, ...]) -> tuple[Array, Array]:
    """Winding (nx, ny, nz) float32 and distance from the mesh [cells] at each node: closely by the mesh and by holes, coarsely elsewhere."""
    from strickle.kernels import skin, winding

    distance = skin.distances((vertices - origin) / cell, faces, shape, REACH)  # type: ignore[arg-type]
    blocks = tuple(-(-(n - 1) // STRIDE) for n in shape)
    coarse = winding.at(tree, _nodes(origin, cell * STRIDE, tuple(n + 1 for n in blocks))).reshape([n + 1 for n in blocks])  # type: ignore[arg-type]
    around = np.stack([coarse[i : i + blocks[0], j : j + blocks[1], k : k + blocks[2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    plain = (around > 0.5 + CLEAR).all(axis=0) | (around < 0.5 - CLEAR).all(axis=0)
    field = np.where(around[0] > 0.5, 1.0, 0.0).astype(np.float32)
    for axis in range(3):
        field = np.repeat(field, STRIDE, axis=axis)
        plain = np.repeat(plain, STRIDE, axis=axis)
    pad = [(0, max(n - m, 0)) for n, m in zip(shape, field.shape)]
    field = np.pad(field, pad, mode="edge")[: shape[0], : shape[1], : shape[2]]
    plain = np.pad(plain, pad, mode="constant")[: shape[0], : shape[1], : shape[2]]
    plain &= distance >= REACH
    field = np.ascontiguousarray(field)
    known = plain | (distance < 1.0)
    asked = distance < 1.0
    field[asked] = winding.at(tree, origin + cell * np.argwhere(asked))  # type: ignore[arg-type]
    for _ in range(HANDED):
        _hand_on(field, known)
    field[~known] = winding.at(tree, origin + cell * np.argwhere(~known))  # type: ignore[arg-type]
    return field, distance


def _hand_on(field: Array, known: Array) -> None:
    """Give nodes that are not known the value of a neighbour that is, where it is surely metal or surely none: a node a cell or more away
    from the mesh has no triangle between itself and its neighbours.
    """
    for axis in range(3):
        values, told = np.moveaxis(field, axis, 0), np.moveaxis(known, axis, 0)
        for here, there in ((slice(1, None), slice(None, -1)), (slice(None, -1), slice(1, None))):
            take = ~told[here] & told[there] & (np.abs(values[there] - 0.5) > SURE)
            values[here][take] = values[there][take]
            told[here] |= take


def _drawn(vertices: Array, faces: Array, tree: object, origin: Array, cell: float, shape: tuple[int, ...], turned: int) -> Rebuilt | None:
    import manifold3d

    from strickle.kernels import skin

    field, distance = _field(vertices, faces, tree, origin, cell, shape)
    for axis in range(3):
        edge = np.moveaxis(field, axis, 0)
        edge[0], edge[-1] = 0.0, 0.0
    spread = _doubt(field)
    if spread is None:
        return None
    points, drawn = skin.skin(field, distance)
    solid = manifold3d.Manifold(manifold3d.Mesh64(points, drawn.astype(np.uint64)))
    if solid.status() != manifold3d.Error.NoError:
        return None
    kept = [shell for shell in solid.simplify(SMOOTH).decompose() if abs(shell.volume()) > SPECK]
    if not kept:
        return None
    mesh = manifold3d.Manifold.compose(kept).to_mesh64()
    made = np.array(mesh.vert_properties[:, :3], np.float64) * cell + origin
    return Rebuilt(made, np.array(mesh.tri_verts, np.int64), cell, *spread, turned)
