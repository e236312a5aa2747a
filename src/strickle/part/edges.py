"""How triangles hang together: corners joined, useless triangles dropped, edges, neighbours, windings made to agree."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order, connected_components

from strickle.base import Array

CROWD = 100  # corners within reach of one corner, in the mean, from which joining is given up


def joined(vertices: Array, faces: Array, reach: float) -> tuple[Array, Array, Array]:
    """Corners within ``reach`` made one; triangles that collapse or come twice dropped; how often each of the rest stood in the file."""
    if reach > 0.0:
        from scipy.spatial import cKDTree

        tree, count = cKDTree(vertices), len(vertices)
        if tree.count_neighbors(tree, reach) > CROWD * count:
            return vertices, faces[:0], np.zeros(0)  # finer than what is joined: nothing would be left of it
        pairs = tree.query_pairs(reach, output_type="ndarray")
        graph = coo_matrix((np.ones(len(pairs), bool), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
        _, label = connected_components(graph, directed=False)
        _, first, inverse = np.unique(label, return_index=True, return_inverse=True)
        vertices = vertices[first]
    else:
        plain = np.ascontiguousarray(vertices + 0.0)  # -0.0 becomes 0.0
        order = np.lexsort((plain[:, 2], plain[:, 1], plain[:, 0]))
        new = np.ones(len(plain), bool)
        new[1:] = (plain[order[1:]] != plain[order[:-1]]).any(axis=1)
        inverse = np.empty(len(plain), np.int64)
        inverse[order] = np.cumsum(new) - 1
        vertices = plain[order[new]]
    faces = inverse.ravel()[faces]
    flat = (faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 2] == faces[:, 0])
    faces, times = once(faces[~flat])
    return vertices, faces, times


def once(faces: Array) -> tuple[Array, Array]:
    """One of each triangle with the times it stood in the file, its own way round less the other; pairs that cancel go both."""
    if not len(faces):
        return faces, np.zeros(0)
    if _all_once(faces):
        return faces, np.ones(len(faces))
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


def _all_once(faces: Array) -> bool:
    """Whether no two triangles have the same three corners."""
    low, high = faces.min(axis=1), faces.max(axis=1)
    span = np.int64(high.max() + 1)
    outer = low * span + high
    order = np.argsort(outer)
    outer = outer[order]
    again = outer[1:] == outer[:-1]
    if not again.any():
        return True
    some = np.zeros(len(faces), bool)
    some[1:] |= again
    some[:-1] |= again
    few = order[some]
    left = np.column_stack([low[few], high[few], faces[few].sum(axis=1)])
    return len(np.unique(left, axis=0)) == len(left)


class Edges(NamedTuple):
    """Undirected edges of a mesh."""

    face: Array  # (3m,) face of each half-edge
    forward: Array  # (3m,) whether it runs from the lower to the higher corner
    number: Array  # (3m,) its edge
    halves: Array  # (k,) half-edges on each edge
    net: Array  # (k,) forward minus backward
    ends: Array  # (k, 2)


def edges_of(faces: Array, corners: int) -> Edges:
    """Every edge once, with the half-edges on it."""
    a = faces.ravel()
    b = np.roll(faces, -1, axis=1).ravel()
    low, high = np.minimum(a, b), np.maximum(a, b)
    keys, number, count = np.unique(low * np.int64(corners) + high, return_inverse=True, return_counts=True)
    forward = a < b
    net = np.bincount(number.ravel(), np.where(forward, 1.0, -1.0), len(keys)).astype(np.int64)
    return Edges(np.repeat(np.arange(len(faces)), 3), forward, number.ravel(), count, net, np.column_stack([keys // corners, keys % corners]))


def pairs_of(edges: Edges) -> tuple[Array, Array, Array]:
    """Faces that share an edge of exactly two, and whether they run it the same way (then one is wound wrongly)."""
    order = np.argsort(edges.number, kind="stable")
    start = np.concatenate([[0], np.cumsum(edges.halves)[:-1]])
    two = start[edges.halves == 2]
    one, other = order[two], order[two + 1]
    return edges.face[one], edges.face[other], edges.forward[one] == edges.forward[other]


def wound(faces: Array, edges: Edges) -> tuple[Array, Array]:
    """Triangles turned so that neighbours agree, the smaller share of each shell; and which were turned."""
    one, other, same = pairs_of(edges)
    if not same.any():
        return faces, np.zeros(len(faces), bool)
    count = len(faces)
    links = coo_matrix((same + 1.0, (one, other)), shape=(count, count))
    shells, label = connected_components(links, directed=False)
    _, first = np.unique(label, return_index=True)
    # one search over all shells: each hangs by its first triangle on a root that turns nothing
    rows, columns = np.concatenate([one, np.full(shells, count)]), np.concatenate([other, first])
    graph = coo_matrix((np.concatenate([same + 1.0, np.ones(shells)]), (rows, columns)), shape=(count + 1, count + 1)).tocsr()
    graph = graph.maximum(graph.T).tocsr()
    order, before = breadth_first_order(graph, count, directed=False)
    rest = order[1:]
    flips = np.asarray(graph[rest, before[rest]]).ravel() > 1.5
    turn = np.zeros(count + 1, bool)
    for face, flip in zip(rest.tolist(), flips.tolist(), strict=True):
        turn[face] = turn[before[face]] ^ flip
    turn = turn[:count]
    turn ^= (2 * np.bincount(label, turn, shells) > np.bincount(label, minlength=shells))[label]
    out = faces.copy()
    out[turn] = out[turn][:, ::-1]
    return out, turn


def wrong_edges(edges: Edges) -> Array:
    """Which edges do not have as many triangles running one way as the other."""
    return np.asarray((edges.halves % 2 == 1) | (edges.net != 0))


def closes(vertices: Array, faces: Array) -> bool:
    """Whether every edge has its triangles in pairs that run it both ways, once windings are made to agree."""
    if not len(faces):
        return False
    edges = edges_of(faces, len(vertices))
    turned, which = wound(faces, edges)
    if which.any():
        edges = edges_of(turned, len(vertices))
    return not wrong_edges(edges).any()


def pieces_of(faces: Array, corners: int) -> tuple[int, Array]:
    """Number of pieces and the piece of each triangle, where triangles that share a corner hang together."""
    first = np.repeat(np.arange(len(faces)), 3)
    graph = coo_matrix((np.ones(len(first), bool), (first, len(faces) + faces.ravel())), shape=(len(faces) + corners,) * 2)
    _, label = connected_components(graph, directed=False)
    _, own = np.unique(label[: len(faces)], return_inverse=True)
    return int(own.max(initial=-1)) + 1, own
