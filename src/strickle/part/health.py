"""Closed triangles to bodies: shells told apart, turned outward, put together with their voids, united where they run into each other."""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from strickle.base import Array, BadInput
from strickle.part.edges import edges_of, pairs_of
from strickle.part.lighten import Lightened, lightened
from strickle.part.measure import areas_of, volume_of
from strickle.part.mend import ANEW, PATCH, Sound, sound
from strickle.part.patch import Work
from strickle.part.raw import NOWHERE, Bore, Raw
from strickle.part.rebuild import rebuilt

CRUMB = 1e-7  # share of the largest shell's volume below which a shell is a crumb
MEET = 0.02  # share of the smaller body that must lie in the other before the two are taken for one
MOST_SHELLS = 400
MOST_PAIRS = 4000  # of shells whose boxes overlap that are compared


class Deep(NamedTuple):
    """What was done to a body beyond joining and turning."""

    patches: int = 0  # triangles that close holes
    patched: float = 0.0  # their share of the surface
    cell: float = 0.0  # of the grid it was drawn anew on, 0 if it was not
    low: float = 1.0  # volume where the mesh winds more than three quarters over that where it winds more than a half
    high: float = 1.0  # the same of a quarter
    light: Lightened | None = None


class Body(NamedTuple):
    """A closed outward solid in the file's numbers, and what was done to get it."""

    name: str
    vertices: Array  # (n, 3) float64
    faces: Array  # (m, 3) int64
    volume: float  # after mending
    volume_read: float  # as the triangles stood in the file
    mended: tuple[str, ...]  # in plain words, empty if nothing was
    voids: tuple[Array, ...]  # (3,) middle of each closed hollow
    deep: Deep = Deep()
    holes: tuple[Bore, ...] = ()
    refused: BadInput | None = None  # why it cannot be used; its corners are then as read, and it has no faces


def bodies(raws: tuple[Raw, ...], file: str) -> tuple[Body, ...]:
    """Closed bodies of all objects, in the file's order.

    Disjoint shells are bodies of their own; a shell inside another with its inside outwards is a void of that one; shells that run
    into each other are joined, so that no metal counts twice.  An object that cannot be mended is listed as refused beside the others;
    raises BadInput where there is no other.
    """
    out: list[Body] = []
    work = Work()
    for raw in raws:
        try:
            found = _object(raw, file, work)
        except BadInput as trouble:
            found = [Body(raw.name, raw.vertices, raw.faces[:0], 0.0, 0.0, (), (), refused=trouble)]
        many = len(found) > 1
        out += [body._replace(name=f"{raw.name}, shell {i}" if many else raw.name, holes=raw.holes) for i, body in enumerate(found, 1)]
    if not out:
        raise BadInput(f"{file} encloses no volume", "Export the part as a solid")
    if (first := out[0].refused) is not None and all(body.refused is not None for body in out):
        raise first
    names: dict[str, int] = {}
    unique = []
    for body in out:
        names[body.name] = names.get(body.name, 0) + 1
        unique.append(body if names[body.name] == 1 else body._replace(name=f"{body.name} ({names[body.name]})"))
    return tuple(unique)


# shells


class _Shell(NamedTuple):
    vertices: Array
    faces: Array
    volume: float
    read: float  # as it stood in the file
    low: Array
    high: Array
    patches: int = 0
    patched: float = 0.0  # area of the patches
    anew: bool = False


def _shells(whole: Sound) -> list[_Shell]:
    """Pieces joined through edges of two triangles, each with corners of its own, in the order of their first triangle."""
    vertices, faces, times = whole.vertices, whole.faces, whole.times
    one, other, _ = pairs_of(edges_of(faces, len(vertices)))
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
        read = volume_of(points, own, times[picked]) + float(whole.more[picked].sum())
        shell = _Shell(points, own, volume_of(points, own), read, points.min(axis=0), points.max(axis=0))
        kind = whole.kind[picked]
        if kind.any():
            patch = kind == PATCH
            shell = shell._replace(patches=int(patch.sum()), patched=float(areas_of(points, own)[patch].sum()), anew=bool((kind == ANEW).any()))
        out.append((int(picked[0]), shell))
    return [shell for _, shell in sorted(out, key=lambda pair: pair[0])]


def _pieces(vertices: Array, faces: Array) -> tuple[int, tuple[Array, ...]]:
    """How many solids a clean mesh falls into, and the middle of each closed hollow in them; crumbs left out."""
    many = len(faces)
    pieces = _shells(Sound(vertices, faces, np.ones(many), np.zeros(many), np.zeros(many, np.int8), []))
    least = CRUMB * max((abs(piece.volume) for piece in pieces), default=0.0)
    hollows = tuple((piece.low + piece.high) / 2.0 for piece in pieces if piece.volume < -least)
    return sum(piece.volume > least for piece in pieces), hollows


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


def _object(raw: Raw, file: str, work: Work) -> list[Body]:
    """Bodies of one object."""
    whole = sound(raw, file, work)
    said = whole.said
    shells = _shells(whole)
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
    turned: list[int] = []
    void = [False] * len(kept)
    for i in sorted(range(len(kept)), key=lambda i: -abs(kept[i].volume)):
        shell, outer = kept[i], home[i]
        void[i] = outer >= 0 and not void[outer] and (shell.volume > 0.0) != (kept[outer].volume > 0.0)
        top = outer if void[i] else i
        outward = (shell.volume > 0.0) != void[i]
        if not outward and not void[i]:
            turned.append(i)
        groups.setdefault(top, []).append(shell if outward else _turned(shell))
        read[top] = read.get(top, 0.0) + shell.read
    groups = dict(sorted(groups.items()))
    if turned:
        said.append(f"{len(turned)} shells turned that stood inside out")
    inner = {i for i, outer in enumerate(home) if outer >= 0 and not void[i]}
    return _joined_bodies(raw.name, _Sorted(groups, read, frozenset(turned), frozenset(inner)), said, file, whole)


class _Sorted(NamedTuple):
    """Shells as metal with its voids, by the number of the outer shell."""

    groups: dict[int, list[_Shell]]
    read: dict[int, float]
    turned: frozenset[int]  # outer shells that stood inside out
    inner: frozenset[int]  # outer shells that lie in another


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


def _joined_bodies(name: str, found: _Sorted, said: list[str], file: str, whole: Sound) -> list[Body]:
    """Bodies from shells with their voids; those that run into each other become one.

    Raises BadInput where one that stood inside out runs into one that did not: it may be a cut as well as metal.
    """
    groups, read = found.groups, found.read
    meshes = {key: _stacked(shells) for key, shells in groups.items()}
    solids = {key: _solid(*mesh) for key, mesh in meshes.items()}
    drawn = {key: Deep() for key in groups}
    if whole.drawn is not None:
        deep = Deep(cell=whole.drawn.cell, low=whole.drawn.low, high=whole.drawn.high)
        drawn |= {key: deep for key, shells in groups.items() if any(shell.anew for shell in shells)}
    anew = {key for key, solid in solids.items() if solid is None}
    for key, solid in solids.items():
        if solid is None:
            at = meshes[key][0].mean(axis=0)
            made = rebuilt(*meshes[key])
            solids[key] = None if made is None else _solid(made.vertices, made.faces)
            if made is None or solids[key] is None:
                raise BadInput(
                    f"{file}: {name} closes only by surfaces that run along each other, near ({at[0]:.4g}, {at[1]:.4g}, {at[2]:.4g})",
                    "Repair it in the program that made the mesh",
                )
            meshes[key] = made.vertices, made.faces
            drawn[key] = Deep(cell=made.cell, low=made.low, high=made.high)
    out = []
    for cluster in _meetings(list(groups), groups, solids, f"{file}: {name}"):
        own = list(said)
        vertices, faces = meshes[cluster[0]]
        hollows = tuple((shell.low + shell.high) / 2.0 for shell in groups[cluster[0]] if shell.volume < 0.0)
        if len(cluster) > 1:
            if 0 < sum(key in found.turned for key in cluster) < len(cluster):
                at = next(groups[key][0] for key in cluster if key in found.turned)
                low = (at.low + at.high) / 2.0
                raise BadInput(
                    f"{file}: {name} has a shell that stands inside out, near ({low[0]:.4g}, {low[1]:.4g}, {low[2]:.4g}), and runs into one that "
                    "does not: it may be meant as a hole or as metal",
                    "Cut it off or unite it in the program that made the mesh",
                )
            vertices, faces = _union([solids[key] for key in cluster])
            within = sum(key in found.inner for key in cluster)
            if within:
                own.append(f"{within} shells that lie in another and face the same way taken as metal, not as hollows")
            if within < len(cluster) - 1:
                own.append(f"{len(cluster)} shells that run into each other made one")
        if len(cluster) > 1 or cluster[0] in anew:  # what is hollow in one may be filled by another, and several may close one in
            _, hollows = _pieces(vertices, faces)
        patched = [(shell.patches, shell.patched) for key in cluster for shell in groups[key]]
        deep = _both([drawn[key] for key in cluster])
        if any(patches for patches, _ in patched):
            area = sum(float(areas_of(shell.vertices, shell.faces).sum()) for key in cluster for shell in groups[key])
            deep = deep._replace(patches=sum(patches for patches, _ in patched), patched=sum(size for _, size in patched) / area)
        light = lightened(Raw(name, vertices, faces, "", NOWHERE), file)  # heavy still where it had to be mended first
        if light is not None:
            vertices, faces = light.vertices, light.faces
        deep = deep._replace(light=light or whole.light)
        out.append(Body(name, vertices, faces, volume_of(vertices, faces), sum(read[key] for key in cluster), tuple(own), hollows, deep))
    return out


def _both(deeps: list[Deep]) -> Deep:
    """What was done to several bodies, told of their union."""
    lights = [deep.light for deep in deeps if deep.light is not None]
    return Deep(
        sum(deep.patches for deep in deeps),
        max(deep.patched for deep in deeps),
        max(deep.cell for deep in deeps),
        min(deep.low for deep in deeps),
        max(deep.high for deep in deeps),
        max(lights, key=lambda light: light.moved) if lights else None,
    )


def unravelled(body: Body, file: str) -> Body | None:
    """A closed body that runs through itself, drawn anew so that no metal counts twice; None where its windings do not tell metal."""
    made = rebuilt(body.vertices, body.faces)
    if made is None:
        return None
    solids, hollows = _pieces(made.vertices, made.faces)
    if solids != 1:
        return None  # it falls apart: no single body
    deep = _both([body.deep, Deep(cell=made.cell, low=made.low, high=made.high)])
    return body._replace(vertices=made.vertices, faces=made.faces, volume=volume_of(made.vertices, made.faces), voids=hollows, deep=deep)


def _union(solids: list[object]) -> tuple[Array, Array]:
    """One mesh of several solids of the library."""
    whole = solids[0]
    for solid in solids[1:]:
        whole = whole + solid  # type: ignore[operator]
    mesh = whole.to_mesh64()  # type: ignore[attr-defined]
    return np.array(mesh.vert_properties[:, :3], np.float64, order="C"), np.array(mesh.tri_verts, np.int64, order="C")


def together(found: tuple[Body, ...]) -> Body | None:
    """All bodies as one, or None where they do not hang together or one of them cannot be used."""
    if any(body.refused is not None for body in found):
        return None
    solids = [_solid(body.vertices, body.faces) for body in found]
    vertices, faces = _union(solids)
    pieces, hollows = _pieces(vertices, faces)
    if pieces != 1:
        return None
    said = (*dict.fromkeys(word for body in found for word in body.mended), f"{len(found)} bodies taken as one")
    read, deep, holes = sum(body.volume_read for body in found), _both([body.deep for body in found]), [one for body in found for one in body.holes]
    return Body("all", vertices, faces, volume_of(vertices, faces), read, said, hollows, deep, tuple(holes))


def _meetings(keys: list[int], groups: dict[int, list[_Shell]], solids: dict[int, object], name: str) -> list[list[int]]:
    """Clusters of bodies that lie in each other; touching alone joins nothing. Raises BadInput where too many would have to be compared."""
    home = list(range(len(keys)))
    compared = 0
    for i, j in itertools.combinations(range(len(keys)), 2):
        a, b = groups[keys[i]][0], groups[keys[j]][0]
        if home[i] == home[j] or (a.low >= b.high).any() or (b.low >= a.high).any():
            continue
        compared += 1
        if compared > MOST_PAIRS:
            raise BadInput(
                f"{name}: its {len(keys)} shells lie among each other in more than {MOST_PAIRS} pairs", "Unite them in the program that made them"
            )
        common = (solids[keys[i]] ^ solids[keys[j]]).volume()  # type: ignore[operator]
        if common > MEET * min(abs(a.volume), abs(b.volume)):
            old, new = home[j], home[i]
            home = [new if one == old else one for one in home]
    out: dict[int, list[int]] = {}
    for key, one in zip(keys, home, strict=True):
        out.setdefault(one, []).append(key)
    return list(out.values())
