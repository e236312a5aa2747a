"""Undercuts filled: what the sand under an overhang would be is printed as pattern, exactly, and told region by region.

A half's overhanging faces, dropped straight to the parting, bound the sand that cannot be released. Each connected patch of them is
closed to a prism and united with the part; faces that need no filling stay as they are, to the last bit.
"""

from __future__ import annotations

from typing import NamedTuple

import manifold3d
import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from strickle.base import Array, BadInput

LEAN = np.sin(np.radians(0.1))  # faces that lean less than this over the sand are walls
REACH = 0.01  # mm a prism goes into the metal over it, so that the two solids overlap
SKIN = 0.05  # mm, mean overhang under which a patch is no undercut: less than a grain
FILM = 1e-4  # mm, the same of what is pared off a core
CRUMB = 0.05  # mm3
MOST = 400  # patches of overhang of a half that are filled: the real parts tried have up to 42, and the time grows with their square


class Filled(NamedTuple):
    """One filled region. Millimetres, mould frame."""

    volume: float
    at: Array  # (3,) middle
    size: Array  # (3,) bounding size
    half: str  # cope | drag | both
    bore: float  # diameter if it is a round hole across the draw, else 0


def halves(whole: manifold3d.Manifold) -> tuple[manifold3d.Manifold, manifold3d.Manifold]:
    """What lies over and under z = 0."""
    over, under = whole.split_by_plane((0.0, 0.0, 1.0), 0.0)
    return over, under


def plain(body: manifold3d.Manifold) -> tuple[Array, Array]:
    """Vertices (n, 3) and faces (m, 3) of a solid."""
    out = body.to_mesh64()
    return np.array(out.vert_properties[:, :3]), np.array(out.tri_verts, dtype=np.int64)


def overhangs(vertices: Array, faces: Array, side: float) -> Array:
    """Numbers of the faces of a half that lean over its own sand; ``side`` +1 cope, -1 drag."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    length = np.linalg.norm(cross, axis=1)
    far = np.abs(vertices[faces][:, :, 2]).max(axis=1) > 1e-6
    return np.flatnonzero((cross[:, 2] * side < -LEAN * length) & (length > 1e-12) & far)


def patches(faces: Array, chosen: Array) -> list[Array]:
    """The chosen faces in groups that hang together by edges."""
    tri = faces[chosen]
    edges = np.sort(np.concatenate([tri[:, [0, 1]], tri[:, [1, 2]], tri[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(tri)), 3)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    same = np.all(edges[order][1:] == edges[order][:-1], axis=1)
    i, j = owner[order][:-1][same], owner[order][1:][same]
    count, label = connected_components(coo_array((np.ones(len(i)), (i, j)), shape=(len(tri), len(tri))), directed=False)
    return [chosen[label == k] for k in range(count)]


def prism(vertices: Array, tri: Array, side: float, skin: float = SKIN) -> manifold3d.Manifold | None:
    """The patch ``tri`` (k, 3) dropped to z = 0 as a solid; None where it is thinner than ``skin``, a grain, or does not close."""
    used, back = np.unique(tri, return_inverse=True)
    local = back.reshape(-1, 3)
    top = vertices[used].copy()
    a, b, c = (top[local[:, i]] for i in range(3))
    plan = 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    edges = np.concatenate([local[:, [0, 1]], local[:, [1, 2]], local[:, [2, 0]]])
    keys = edges[:, 0] * len(used) + edges[:, 1]
    rim = edges[~np.isin(keys, edges[:, 1] * len(used) + edges[:, 0])]
    outline = float(np.linalg.norm((top[rim[:, 0]] - top[rim[:, 1]])[:, :2], axis=1).sum())
    area = float(np.abs(plan).sum())
    if area < 1e-3 or 2 * area < skin * outline:
        return None
    foot = top.copy()
    foot[:, 2] = 0.0
    top[:, 2] += side * REACH
    n = len(used)
    u, v = rim[:, 0], rim[:, 1]
    walls = np.concatenate([np.stack([u, v, v + n], 1), np.stack([u, v + n, u + n], 1)])
    # the patch looks towards the sand; as the prism's end in the metal it is turned over
    shell = np.concatenate([local[:, ::-1], local + n, walls])
    if len(rim) == 0:
        return None
    built = manifold3d.Manifold(manifold3d.Mesh64(np.concatenate([top, foot]), np.ascontiguousarray(shell, dtype=np.uint64)))
    return None if built.is_empty() or built.volume() <= 0 else built


def shadow(half: manifold3d.Manifold, side: float) -> list[manifold3d.Manifold]:
    """Prisms under every overhang of a half that lies over (side +1) or under (-1) z = 0.

    Raises BadInput where more than ``MOST`` patches of its surface hang over the sand.
    """
    if half.is_empty():
        return []
    vertices, faces = plain(half)
    chosen = overhangs(vertices, faces, side)
    if chosen.size == 0:
        return []
    found: list[manifold3d.Manifold] = []
    for group in patches(faces, chosen):
        if (made := prism(vertices, faces[group], side)) is None:
            continue
        found.append(made)
        if len(found) > MOST:
            raise BadInput(
                f"the part's surface is too rough to draw: more than {MOST} patches of it hang over the sand",
                "Smooth the mesh in the program that made it, or give another direction with --up",
            )
    return found


def over(half: manifold3d.Manifold, side: float) -> list[manifold3d.Manifold]:
    """Prisms from every overhang of a half, as in ``shadow``, away from z = 0 to its far end: what of it hangs over sand lies in them."""
    if half.is_empty():
        return []
    far = max(abs(half.bounding_box()[2]), abs(half.bounding_box()[5]))
    vertices, faces = plain(half)
    chosen = overhangs(vertices, faces, side)
    moved = vertices - np.array([0.0, 0.0, side * far])
    made = [prism(moved, faces[group][:, ::-1], -side, FILM) for group in patches(faces, chosen)] if chosen.size else []
    return [one.translate((0.0, 0.0, side * far)) for one in made if one is not None]


def fill(whole: manifold3d.Manifold) -> tuple[manifold3d.Manifold, tuple[Filled, ...], float]:
    """The solid with every undercut filled to the parting z = 0, the regions filled, and their volume [mm3].

    Raises BadInput where more than ``MOST`` patches of a half hang over the sand.
    """
    over, under = halves(whole)
    prisms = shadow(over, 1.0) + shadow(under, -1.0)
    if not prisms:
        return whole, (), 0.0
    every = manifold3d.Manifold.batch_boolean(prisms, manifold3d.OpType.Add)
    more = every - whole  # the union is left to whoever needs it: the library makes it then
    regions = [region(piece) for piece in more.decompose() if piece.volume() > CRUMB]
    regions.sort(key=lambda r: -r.volume)
    return whole + every, tuple(regions), max(float(more.volume()), 0.0)


def region(piece: manifold3d.Manifold) -> Filled:
    """What a filled region is: where, how big, and whether a drill makes it again."""
    low_x, low_y, low_z, high_x, high_y, high_z = piece.bounding_box()
    low, high = np.array([low_x, low_y, low_z]), np.array([high_x, high_y, high_z])
    half = "cope" if low_z > -1e-3 else "drag" if high_z < 1e-3 else "both"
    return Filled(float(piece.volume()), (low + high) / 2, high - low, half, _bore(piece))


def _bore(piece: manifold3d.Manifold) -> float:
    """Diameter if the piece is close to a round bar lying across the draw, else 0."""
    vertices, faces = plain(piece)
    centres = vertices[faces].mean(axis=1)
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    areas = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    flat = centres[:, :2] - np.average(centres[:, :2], axis=0, weights=areas)
    _, axes = np.linalg.eigh((flat * areas[:, None]).T @ flat)
    wide, tall = float(np.ptp(vertices[:, :2] @ axes[:, 0])), float(np.ptp(vertices[:, 2]))
    if tall <= 0 or not 0.9 < wide / tall < 1.1:
        for i in range(2):  # a short bore is wider than long
            wide = float(np.ptp(vertices[:, :2] @ axes[:, i]))
            if 0.9 < wide / tall < 1.1:
                break
        else:
            return 0.0
    along = float(np.prod(np.ptp(vertices[:, :2] @ axes, axis=0)) / wide)
    share = float(piece.volume()) / (np.pi / 4 * wide * tall * along)
    return (wide + tall) / 2 if 0.88 < share < 1.08 else 0.0


def withdrawn(whole: manifold3d.Manifold) -> tuple[float, ...]:
    """Sand [mm3] the halves drag along when drawn 1 mm and 5 mm (cope, drag in turn, those there are)."""
    sides = [(half, side) for half, side in zip(halves(whole), (1.0, -1.0)) if not half.is_empty()]
    return tuple(caught(half, side, lift) for half, side in sides for lift in (1.0, 5.0))


def caught(piece: manifold3d.Manifold, side: float, lift: float) -> float:
    """Sand [mm3] that a half would drag along when drawn ``lift`` mm out towards the parting; side +1 cope, -1 drag."""
    moved = piece.translate((0.0, 0.0, -side * lift))
    low_x, low_y, low_z, high_x, high_y, high_z = piece.bounding_box()
    room = manifold3d.Manifold.cube((high_x - low_x + 2, high_y - low_y + 2, max(high_z, -low_z) + 1))
    room = room.translate((low_x - 1, low_y - 1, 0.0 if side > 0 else -(max(high_z, -low_z) + 1)))
    return max(float(((moved ^ room) - piece).volume()), 0.0)
