"""Triangles as they come to closed outward bodies: corners joined, useless triangles dropped, windings and sides put right.

Nothing is patched: a body with open edges is refused, with their number and place.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order, connected_components

from strickle.base import Array, BadInput
from strickle.part.formats import Raw

JOIN = (0.0, 1e-7, 1e-6, 1e-5)  # shares of the diagonal within which corners are joined, the first that closes the mesh
SAID = 1e-6  # shares from which joining is worth telling; below it is the file's own rounding
CRUMB = 1e-7  # share of the largest shell's volume below which a shell is a crumb
MEET = 0.02  # share of the smaller body that must lie in the other before the two are taken for one
MOST_SHELLS = 400


class Body(NamedTuple):
    """A closed outward solid in the file's numbers, and what was done to get it."""

    name: str
    vertices: Array  # (n, 3) float64
    faces: Array  # (m, 3) int64
    volume: float  # after mending
    volume_read: float  # as the triangles stood in the file
    mended: tuple[str, ...]  # in plain words, empty if nothing was
    voids: tuple[Array, ...]  # (3,) middle of each closed hollow


def volume_of(vertices: Array, faces: Array, times: Array | None = None) -> float:
    """Signed volume enclosed by the triangles, each counted ``times`` if that is given."""
    corners = vertices[faces] - vertices[faces].mean(axis=(0, 1))
    each = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6.0
    return float(each.sum() if times is None else each @ times)


def areas_of(vertices: Array, faces: Array) -> Array:
    """Area of each triangle."""
    corners = vertices[faces]
    return np.asarray(0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1))


def area_of(vertices: Array, faces: Array) -> float:
    """Surface of the triangles."""
    return float(areas_of(vertices, faces).sum())


def bodies(raws: tuple[Raw, ...], file: str) -> tuple[Body, ...]:
    """Closed bodies of all objects, in the file's order.

    Disjoint shells are bodies of their own; a shell inside another with its inside outwards is a void of that one; shells that run
    into each other are joined, so that no metal counts twice.  Raises BadInput for an object that does not close.
    """
    out: list[Body] = []
    for raw in raws:
        found = _object(raw, file)
        many = len(found) > 1
        out += [body._replace(name=f"{raw.name}, shell {i}" if many else raw.name) for i, body in enumerate(found, 1)]
    if not out:
        raise BadInput(f"{file} encloses no volume", "Export the part as a solid")
    names: dict[str, int] = {}
    unique = []
    for body in out:
        names[body.name] = names.get(body.name, 0) + 1
        unique.append(body if names[body.name] == 1 else body._replace(name=f"{body.name} ({names[body.name]})"))
    return tuple(unique)


# joining and dropping


def _joined(vertices: Array, faces: Array, reach: float) -> tuple[Array, Array, Array]:
    """Corners within ``reach`` made one; triangles that collapse or come twice dropped; how often each of the rest stood in the file."""
    if reach > 0.0:
        from scipy.spatial import cKDTree

        pairs = cKDTree(vertices).query_pairs(reach, output_type="ndarray")
        count = len(vertices)
        graph = coo_matrix((np.ones(len(pairs), bool), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
        _, label = connected_components(graph, directed=False)
        _, first, inverse = np.unique(label, return_index=True, return_inverse=True)
        vertices = vertices[first]
    else:
        plain = np.ascontiguousarray(vertices + 0.0)  # -0.0 becomes 0.0
        keys = plain.view([("", plain.dtype)] * 3).ravel()
        _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
        vertices = plain[first]
    faces = inverse.ravel()[faces]
    flat = (faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 2] == faces[:, 0])
    faces, times = _once(faces[~flat])
    return vertices, faces, times


def _once(faces: Array) -> tuple[Array, Array]:
    """One of each triangle with the times it stood in the file, its own way round less the other; pairs that cancel go both."""
    if not len(faces):
        return faces, np.zeros(0)
    order = np.argsort(faces, axis=1)
    ranked = np.take_along_axis(faces, order, axis=1)
    _, first, inverse, counts = np.unique(ranked, axis=0, return_index=True, return_inverse=True, return_counts=True)
    if counts.max() == 1:
        return faces, np.ones(len(faces))
    odd = (order[:, 1] - order[:, 0]) % 3 == 1
    net = np.zeros(len(first), np.int64)
    np.add.at(net, inverse.ravel(), np.where(odd, 1, -1))
    keep = np.sort(first[(counts == 1) | (net != 0)])
    return faces[keep], (net[inverse.ravel()] * np.where(odd, 1, -1))[keep].astype(np.float64)


class _Edges(NamedTuple):
    """Undirected edges of a mesh."""

    face: Array  # (3m,) face of each half-edge
    forward: Array  # (3m,) whether it runs from the lower to the higher corner
    number: Array  # (3m,) its edge
    halves: Array  # (k,) half-edges on each edge
    net: Array  # (k,) forward minus backward
    ends: Array  # (k, 2)


def _edges(faces: Array, corners: int) -> _Edges:
    a = faces.ravel()
    b = np.roll(faces, -1, axis=1).ravel()
    low, high = np.minimum(a, b), np.maximum(a, b)
    keys, number, count = np.unique(low * np.int64(corners) + high, return_inverse=True, return_counts=True)
    forward = a < b
    net = np.bincount(number.ravel(), np.where(forward, 1.0, -1.0), len(keys)).astype(np.int64)
    return _Edges(np.repeat(np.arange(len(faces)), 3), forward, number.ravel(), count, net, np.column_stack([keys // corners, keys % corners]))


def _pairs(edges: _Edges) -> tuple[Array, Array, Array]:
    """Faces that share an edge of exactly two, and whether they run it the same way (then one is wound wrongly)."""
    order = np.argsort(edges.number, kind="stable")
    start = np.concatenate([[0], np.cumsum(edges.halves)[:-1]])
    two = start[edges.halves == 2]
    one, other = order[two], order[two + 1]
    return edges.face[one], edges.face[other], edges.forward[one] == edges.forward[other]


# windings


def _wound(faces: Array, edges: _Edges) -> tuple[Array, Array]:
    """Triangles turned so that neighbours agree, the smaller share of each shell; and which were turned."""
    one, other, same = _pairs(edges)
    if not same.any():
        return faces, np.zeros(len(faces), bool)
    count = len(faces)
    graph = coo_matrix((np.ones(len(one)), (one, other)), shape=(count, count)).tocsr()
    graph = graph + graph.T
    flag = coo_matrix((same + 1.0, (one, other)), shape=(count, count)).tocsr()
    flag = flag.maximum(flag.T)
    shells, label = connected_components(graph, directed=False)
    turn = np.zeros(count, bool)
    for shell in range(shells):
        first = int(np.flatnonzero(label == shell)[0])
        order, before = breadth_first_order(graph, first, directed=False)
        rest = order[1:]
        if not len(rest):  # a triangle without neighbours
            continue
        flips = np.asarray(flag[rest, before[rest]]).ravel() > 1.5
        for face, flip in zip(rest.tolist(), flips.tolist()):
            turn[face] = turn[before[face]] ^ flip
        if 2 * int(turn[order].sum()) > len(order):
            turn[order] = ~turn[order]
    out = faces.copy()
    out[turn] = out[turn][:, ::-1]
    return out, turn


def _closed(raw: Raw, file: str) -> tuple[Array, Array, Array, list[str]]:
    """The object's triangles with corners joined and windings agreeing, and how often each stood so in the file.

    Raises BadInput if they do not close.
    """
    diagonal = float(np.linalg.norm(np.ptp(raw.vertices, axis=0)))
    if diagonal == 0.0:
        raise BadInput(f"{file}: {raw.name} has no size", "Export the part again")
    best: tuple[int, Array, Array] | None = None
    for share in JOIN:
        vertices, faces, times = _joined(raw.vertices, raw.faces, share * diagonal)
        if not len(faces):
            break
        edges = _edges(faces, len(vertices))
        faces, turned = _wound(faces, edges)
        if turned.any():
            edges = _edges(faces, len(vertices))
        wrong = (edges.halves % 2 == 1) | (edges.net != 0)
        if not wrong.any():
            said = []
            if share >= SAID:
                said.append("corners that nearly met joined")
            if dropped := len(raw.faces) - len(faces):
                said.append(f"{dropped} triangles without area or given twice dropped")
            if turned.any():
                said.append(f"{int(turned.sum())} triangles turned that faced the wrong way")
            return vertices, faces, np.where(turned, -times, times), said
        if best is None or wrong.sum() < best[0]:
            where = vertices[edges.ends[wrong]].reshape(-1, 3)
            best = int(wrong.sum()), where, wrong
    if best is None:
        raise BadInput(f"{file}: {raw.name} has no triangle with an area", "Export the part again")
    at = best[1][0]
    raise BadInput(
        f"{file}: {raw.name} is not closed: {best[0]} edges do not have metal on one side only, the first near "
        f"({at[0]:.4g}, {at[1]:.4g}, {at[2]:.4g}) in the file's numbers",
        "Close the holes in the program that made the mesh; holes are not patched here",
    )


# shells


class _Shell(NamedTuple):
    vertices: Array
    faces: Array
    volume: float
    read: float  # as it stood in the file
    low: Array
    high: Array


def _shells(vertices: Array, faces: Array, times: Array) -> list[_Shell]:
    """Pieces joined through edges of two triangles, each with corners of its own, in the order of their first triangle."""
    one, other, _ = _pairs(_edges(faces, len(vertices)))
    graph = coo_matrix((np.ones(len(one), bool), (one, other)), shape=(len(faces), len(faces)))
    count, label = connected_components(graph, directed=False)
    order = np.argsort(label, kind="stable")
    bounds = np.searchsorted(label[order], np.arange(count + 1))
    out = []
    for i in range(count):
        picked = np.sort(order[bounds[i] : bounds[i + 1]])
        own = faces[picked]
        used, renumbered = np.unique(own, return_inverse=True)
        points = vertices[used]
        own = renumbered.reshape(-1, 3)
        read = volume_of(points, own, times[picked])
        out.append((int(picked[0]), _Shell(points, own, volume_of(points, own), read, points.min(axis=0), points.max(axis=0))))
    return [shell for _, shell in sorted(out, key=lambda pair: pair[0])]


def _turned(shell: _Shell) -> _Shell:
    return shell._replace(faces=np.ascontiguousarray(shell.faces[:, ::-1]), volume=-shell.volume)


def _solid(vertices: Array, faces: Array) -> object:
    """The library's solid, or None if it does not take the mesh."""
    import manifold3d

    mesh = manifold3d.Mesh64(np.array(vertices, np.float64, order="C"), np.array(faces, np.uint64, order="C"))
    solid = manifold3d.Manifold(mesh)
    return solid if solid.status() == manifold3d.Error.NoError else None


def _holds(outer: _Shell, inner: _Shell) -> bool:
    """Whether a corner of ``inner`` lies inside ``outer`` (both closed): solid angle seen from it."""
    if (inner.low < outer.low).any() or (inner.high > outer.high).any():
        return False
    point = inner.vertices[int(np.argmax(inner.vertices[:, 0]))] - 1e-9 * (inner.high - inner.low)
    a, b, c = (outer.vertices[outer.faces[:, i]] - point for i in range(3))
    la, lb, lc = (np.linalg.norm(x, axis=1) for x in (a, b, c))
    top = np.einsum("ij,ij->i", a, np.cross(b, c))
    below = la * lb * lc + np.einsum("ij,ij->i", a, b) * lc + np.einsum("ij,ij->i", b, c) * la + np.einsum("ij,ij->i", c, a) * lb
    return abs(float(np.arctan2(top, below).sum())) > np.pi  # half of the full turn's 2 pi


def _object(raw: Raw, file: str) -> list[Body]:
    """Bodies of one object."""
    vertices, faces, times, said = _closed(raw, file)
    shells = _shells(vertices, faces, times)
    if len(shells) > MOST_SHELLS:
        raise BadInput(f"{file}: {raw.name} falls into {len(shells)} separate shells, more than the {MOST_SHELLS} that are read", "Export one part")
    most = max(abs(shell.volume) for shell in shells)
    kept = [shell for shell in shells if abs(shell.volume) > CRUMB * most]
    if most == 0.0 or not kept:
        return []
    if len(kept) < len(shells):
        said.append(f"{len(shells) - len(kept)} crumbs without volume dropped")
    home = _homes(kept)
    groups: dict[int, list[_Shell]] = {}
    read: dict[int, float] = {}
    turned = 0
    void = [False] * len(kept)
    for i in sorted(range(len(kept)), key=lambda i: -abs(kept[i].volume)):
        shell, outer = kept[i], home[i]
        void[i] = outer >= 0 and not void[outer] and (shell.volume > 0.0) != (kept[outer].volume > 0.0)
        top = outer if void[i] else i
        outward = (shell.volume > 0.0) != void[i]
        turned += not outward and not void[i]
        groups.setdefault(top, []).append(shell if outward else _turned(shell))
        read[top] = read.get(top, 0.0) + shell.read
    groups = dict(sorted(groups.items()))
    if turned:
        said.append(f"{turned} shells turned that stood inside out")
    return _joined_bodies(raw.name, groups, read, said, file)


def _homes(shells: list[_Shell]) -> list[int]:
    """The smallest shell that holds each, -1 if none does."""
    homes = []
    for i, inner in enumerate(shells):
        holders = [j for j, outer in enumerate(shells) if j != i and abs(outer.volume) > abs(inner.volume) and _holds(outer, inner)]
        homes.append(min(holders, key=lambda j: abs(shells[j].volume)) if holders else -1)
    return homes


def _stacked(shells: list[_Shell]) -> tuple[Array, Array]:
    offsets = np.cumsum([0] + [len(shell.vertices) for shell in shells[:-1]])
    return np.vstack([shell.vertices for shell in shells]), np.vstack([shell.faces + o for shell, o in zip(shells, offsets)])


def _joined_bodies(name: str, groups: dict[int, list[_Shell]], read: dict[int, float], said: list[str], file: str) -> list[Body]:
    """Bodies from shells with their voids; those that run into each other become one."""
    meshes = {key: _stacked(shells) for key, shells in groups.items()}
    solids = {key: _solid(*mesh) for key, mesh in meshes.items()}
    for key, solid in solids.items():
        if solid is None:
            at = meshes[key][0].mean(axis=0)
            raise BadInput(
                f"{file}: {name} closes only by surfaces that run along each other, near ({at[0]:.4g}, {at[1]:.4g}, {at[2]:.4g})",
                "Repair it in the program that made the mesh",
            )
    out = []
    for cluster in _meetings(list(groups), groups, solids):
        own = list(said)
        vertices, faces = meshes[cluster[0]]
        if len(cluster) > 1:
            vertices, faces = _union([solids[key] for key in cluster])
            own.append(f"{len(cluster)} shells that run into each other made one")
        hollows = tuple((shell.low + shell.high) / 2.0 for key in cluster for shell in groups[key] if shell.volume < 0.0)
        out.append(Body(name, vertices, faces, volume_of(vertices, faces), sum(read[key] for key in cluster), tuple(own), hollows))
    return out


def _union(solids: list[object]) -> tuple[Array, Array]:
    """One mesh of several solids of the library."""
    whole = solids[0]
    for solid in solids[1:]:
        whole = whole + solid  # type: ignore[operator]
    mesh = whole.to_mesh64()  # type: ignore[attr-defined]
    return np.array(mesh.vert_properties[:, :3], np.float64, order="C"), np.array(mesh.tri_verts, np.int64, order="C")


def together(found: tuple[Body, ...]) -> Body | None:
    """All bodies as one, or None where they do not hang together."""
    solids = [_solid(body.vertices, body.faces) for body in found]
    vertices, faces = _union(solids)
    hollows = tuple(at for body in found for at in body.voids)
    if len(_shells(vertices, faces, np.ones(len(faces)))) != 1 + len(hollows):
        return None
    said = (*dict.fromkeys(word for body in found for word in body.mended), f"{len(found)} bodies taken as one")
    return Body("all", vertices, faces, volume_of(vertices, faces), sum(body.volume_read for body in found), said, hollows)


def _meetings(keys: list[int], groups: dict[int, list[_Shell]], solids: dict[int, object]) -> list[list[int]]:
    """Clusters of bodies that lie in each other; touching alone joins nothing."""
    count = len(keys)
    meets = np.eye(count, dtype=bool)
    for i in range(count):
        for j in range(i + 1, count):
            a, b = groups[keys[i]][0], groups[keys[j]][0]
            if (a.low >= b.high).any() or (b.low >= a.high).any():
                continue
            common = (solids[keys[i]] ^ solids[keys[j]]).volume()  # type: ignore[operator]
            meets[i, j] = common > MEET * min(abs(a.volume), abs(b.volume))
    _, label = connected_components(coo_matrix(meets), directed=False)
    out: dict[int, list[int]] = {}
    for key, group in zip(keys, label.tolist()):
        out.setdefault(group, []).append(key)
    return list(out.values())
