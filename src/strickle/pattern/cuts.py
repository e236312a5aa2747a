"""Planes that a part may be cut by: where its section is least, beside its ledges and in its middle. Metres; solids in millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array, BadInput, Mesh, Watch
from strickle.pattern.apart import one_solid, split
from strickle.pattern.columns import view
from strickle.pattern.directions import basis, clusters, lighter, score, size_of, surface
from strickle.pattern.splice import Cut

LEVELS = 96
ACROSS = 112
WAYS = 6  # directions that cuts are looked for square to
END = 0.08  # of the length: cuts nearer to an end are not worth a mould
SMALL = 0.05  # of the volume: a casting smaller than this is not worth one
FLAT = 0.04  # of the surface: flats that large give a direction
LEDGE = 0.02  # of the surface: flats that large across the cut are ledges
BESIDE = (8e-3, 14e-3, 22e-3)  # m from a ledge, so that the weld does not run in its corner; farther off where metal freezes late (choices)
ALIKE = 0.03  # of the length: cuts so near to each other count as one
LEAST_WELD = 3e-3  # m: a thinner wall burns through under a hand's torch or arc (common practice)
MOST_ALONG = 2  # cuts square to one direction that are looked at closer
BEST = 6  # cuts kept for a closer look
FACE = 0.15  # weight of the splice face over the part's largest section
CLEAR = 5e-3  # m that a cut keeps off what is to be kept clear


class Candidate(NamedTuple):
    """A cut with what is known of it before anything is rammed."""

    cut: Cut
    why: str
    area: float  # m2 of all splice faces
    cost: float  # less is better: the pieces' own undercut and depth, and the splice


class Kept(NamedTuple):
    """What cuts keep clear of: places (n, 3) and radii (n,) in part coordinates, metres."""

    at: Array
    radius: Array


def candidates(mesh: Mesh, fixed: Sequence[Cut], kept: Kept, watch: Watch) -> tuple[Candidate, ...]:
    """Cuts worth a closer look, best first; with ``fixed`` ones made already. None of them comes near what is ``kept``."""
    light = lighter(mesh)
    whole = one_solid(light)
    found: list[Candidate] = []
    ways = _ways(light)
    largest = 0.0
    for number, normal in enumerate(ways):
        watch(number / len(ways), "looking for places to cut")
        profile = _profile(light, normal)
        largest = max(largest, float(profile[1].max()))
        for level, why in _levels(light, normal, *profile):
            made = _candidate(whole, Cut(at=normal * level, normal=normal), why, fixed, kept, largest)
            if made is not None:
                found.append(made)
    found.sort(key=lambda one: one.cost)
    return tuple(_apart(found, float(np.linalg.norm(np.ptp(mesh.vertices, axis=0))))[:BEST])


def near(cut: Cut, faces: manifold3d.CrossSection, turn: Array, kept: Kept) -> Array:
    """Numbers of the kept places that the cut's faces (in millimetres, seen along its normal) come nearer to than their radius."""
    level = float(turn[2] @ cut.at)
    out = []
    for number, (at, radius) in enumerate(zip(kept.at, kept.radius, strict=True)):
        x, y, z = turn @ at
        if abs(z - level) >= radius:
            continue
        reach = float(np.sqrt(max(radius**2 - (z - level) ** 2, 0.0))) * 1e3
        spot = manifold3d.CrossSection.circle(max(reach, 1e-3), 32).translate((float(x) * 1e3, float(y) * 1e3))
        if not (spot ^ faces).is_empty():
            out.append(number)
    return np.array(out, dtype=int)


def section(whole: manifold3d.Manifold, cut: Cut) -> tuple[manifold3d.CrossSection, Array]:
    """The part's section in a cut [mm], and the rotation that it is seen by."""
    turn = basis(cut.normal)
    return whole.transform(np.column_stack([turn, np.zeros(3)])).slice(float(turn[2] @ cut.at) * 1e3), turn


def thin_at(faces: manifold3d.CrossSection) -> bool:
    """Whether some whole wall of the section is thinner than a hand welds [mm inside]."""
    inset = faces.offset(-LEAST_WELD * 1e3 / 2, manifold3d.JoinType.Round)
    return bool(len(inset.decompose()) < len(faces.decompose()))


def shut(faces: manifold3d.CrossSection) -> int:
    """Openings of a section that a torch comes to from nowhere: where a piece of it has more than one, walls stand between them."""
    holes = [len(piece.to_polygons()) - 1 for piece in faces.decompose()]
    return sum(count for count in holes if count > 1)


def _ways(mesh: Mesh) -> Array:
    """Directions square to which cuts are looked for: the largest flats' and the file's axes."""
    normals, areas = surface(mesh)
    flats = clusters(mesh, WAYS)
    # a facet of something round is no flat
    out = [way for way in flats if areas[np.abs(normals @ way) > np.cos(np.radians(0.5))].sum() > FLAT * areas.sum()]
    for axis in np.eye(3):
        if all(abs(axis @ way) < np.cos(np.radians(5.0)) for way in out):
            out.append(axis)
    return np.array(out)


def _profile(mesh: Mesh, normal: Array) -> tuple[Array, Array]:
    """Levels along a direction [m] and the section there [m2]."""
    turned = mesh.vertices @ basis(normal).T
    low, high = float(turned[:, 2].min()), float(turned[:, 2].max())
    levels = low + (high - low) * (np.arange(LEVELS) + 0.5) / LEVELS
    return levels, view(turned, mesh.faces, ACROSS).section(levels)


def _levels(mesh: Mesh, normal: Array, levels: Array, areas: Array) -> list[tuple[float, str]]:
    """Heights along the normal that a cut is tried at, with the reason."""
    low, high = levels[0], levels[-1]
    inner = slice(int(END * LEVELS), LEVELS - int(END * LEVELS))
    out = [(float(low + high) / 2, "it halves the part")]
    own, at = areas[inner], levels[inner]
    if own.size and own.min() < 0.98 * own.max():
        band = np.flatnonzero(own <= own.min() * 1.02)
        runs = np.split(band, np.flatnonzero(np.diff(band) > 1) + 1)
        longest = max(runs, key=len)
        out.append((float(at[longest].mean()), "the part's section is least there"))
        dips = [i for i in range(2, len(own) - 2) if own[i] < 0.9 * min(own[:i].max(), own[i + 1 :].max()) and own[i] <= own[i - 2 : i + 3].min()]
        out += [(float(at[i]), "the part is waisted there") for i in dips[:: max(len(dips) // 3, 1)]]
    normals, faces = surface(mesh)
    flat = np.flatnonzero(np.abs(normals @ normal) > 0.999)
    heights = np.round((mesh.vertices[mesh.faces[flat]].mean(axis=1) @ normal) / 1e-4) * 1e-4
    for height in np.unique(heights):
        if faces[flat][heights == height].sum() < LEDGE * faces.sum() or not low < height < high:
            continue
        sides = [height - BESIDE[0], height + BESIDE[0]]
        cut = min(sides, key=lambda place: float(np.interp(place, levels, areas, left=np.inf, right=np.inf)))
        out += [(float(height + np.sign(cut - height) * far), "a ledge stands beside it") for far in BESIDE]
    span = END * (high - low)
    return [(level, why) for level, why in out if low + span < level < high - span]


def _candidate(whole: manifold3d.Manifold, cut: Cut, why: str, fixed: Sequence[Cut], kept: Kept, largest: float) -> Candidate | None:
    """The cut rated by its pieces; None where it comes near what is kept, through walls too thin or walled in, or leaves a casting too small."""
    faces, turn = section(whole, cut)
    if faces.is_empty() or thin_at(faces) or shut(faces) or near(cut, faces, turn, kept).size:
        return None
    try:
        pieces, _ = split(whole, (*fixed, cut))
    except BadInput:
        return None
    if min(piece.volume() for piece in pieces) < SMALL * whole.volume():
        return None
    area = float(faces.area()) * 1e-6
    costs = [cost(piece) for piece in pieces]
    return Candidate(cut, why, area, max(costs) + FACE * area / max(largest, 1e-12))


def _plain(piece: manifold3d.Manifold) -> tuple[Array, Array]:
    """Corners [m] and faces of a piece, without slivers that have no direction."""
    out = piece.to_mesh64()
    vertices, faces = np.array(out.vert_properties[:, :3]) * 1e-3, np.array(out.tri_verts, dtype=np.int64)
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    return vertices, faces[np.linalg.norm(np.cross(b - a, c - a), axis=1) > 0]


def cost(piece: manifold3d.Manifold) -> float:
    """What the best of a casting's own directions costs: its undercut and how deep it is drawn over its size."""
    vertices, faces = _plain(piece)
    mesh = Mesh(vertices=vertices, faces=faces)
    normals, areas = surface(mesh)
    volume = float(piece.volume()) * 1e-9
    size = size_of(mesh)
    return min(score(mesh, way, volume, size, normals, areas, True).undercut_score for way in _ways(mesh))


def _apart(found: Sequence[Candidate], size: float) -> list[Candidate]:
    """The candidates, of those alike only the best, and few square to one direction."""
    out: list[Candidate] = []
    for one in found:
        if sum(bool(abs(one.cut.normal @ other.cut.normal) > np.cos(np.radians(5.0))) for other in out) == MOST_ALONG:
            continue
        same = [
            other
            for other in out
            if abs(one.cut.normal @ other.cut.normal) > np.cos(np.radians(5.0))
            and abs(float(other.cut.normal @ (one.cut.at - other.cut.at))) < ALIKE * size
        ]
        if not same:
            out.append(one)
    return out
