"""A mesh made to close: corners joined, triangles turned, holes closed with patches, or the whole drawn anew. Each step only where the
one before does not do.
"""

from __future__ import annotations

from typing import NamedTuple, NoReturn

import numpy as np

from strickle.base import Array, BadInput
from strickle.part.edges import edges_of, joined, pieces_of, wound, wrong_edges
from strickle.part.lighten import Lightened, lightened
from strickle.part.measure import areas_of, volume_of
from strickle.part.patch import Work, patched
from strickle.part.raw import Raw
from strickle.part.rebuild import Rebuilt, rebuilt

JOIN = (0.0, 1e-7, 1e-6, 1e-5)  # shares of the diagonal within which corners are joined, the first that closes the mesh
SAID = 1e-6  # shares from which joining is worth telling; below it is the file's own rounding
LOOSE = 0.01  # share of the surface up to which triangles that belong to no solid are left out
MOST_OPEN = 200  # open pieces that are patched one by one; more of them is crumbled
OWN, PATCH, ANEW = 0, 1, 2


class Sound(NamedTuple):
    """A mesh that closes, in the file's numbers."""

    vertices: Array
    faces: Array
    times: Array  # (m,) how often each triangle stood so in the file
    more: Array  # (m,) volume as read beyond what the triangles tell
    kind: Array  # (m,) int8: OWN, PATCH or ANEW
    said: list[str]
    drawn: Rebuilt | None = None
    light: Lightened | None = None


class _Near(NamedTuple):
    """A try that did not close."""

    vertices: Array
    faces: Array
    times: Array
    turned: Array
    wrong: Array  # (k, 2) ends of wrong edges
    share: float


def sound(raw: Raw, file: str, work: Work) -> Sound:
    """The object's triangles, closed, and fewer where there are very many; spends of the file's ``work``.

    Raises BadInput where that would be guesswork.
    """
    if (light := lightened(raw, file)) is None:
        return _closed(raw, file, work)
    out = _closed(raw._replace(vertices=light.vertices, faces=light.faces), file, work)
    return out._replace(times=out.times / (1.0 + light.change), light=light)


def _closed(raw: Raw, file: str, work: Work) -> Sound:
    diagonal = float(np.linalg.norm(np.ptp(raw.vertices, axis=0))) if len(raw.vertices) else 0.0
    if diagonal == 0.0:
        raise BadInput(f"{file}: {raw.name} has no size", "Export the part again")
    best: _Near | None = None
    for share in JOIN:
        vertices, faces, times = joined(raw.vertices, raw.faces, share * diagonal)
        if not len(faces):
            break
        edges = edges_of(faces, len(vertices))
        faces, turned = wound(faces, edges)
        if turned.any():
            edges = edges_of(faces, len(vertices))
        wrong = wrong_edges(edges)
        if not wrong.any():
            said = _told(raw, faces, turned, share)
            return Sound(vertices, faces, np.where(turned, -times, times), np.zeros(len(faces)), np.zeros(len(faces), np.int8), said)
        if best is None or wrong.sum() < len(best.wrong):
            best = _Near(vertices, faces, times, turned, edges.ends[wrong], share)
    if best is None:
        raise BadInput(f"{file}: {raw.name} has no triangle with an area", "Export the part again")
    return _mended(raw, best, file, work)


def _told(raw: Raw, faces: Array, turned: Array, share: float) -> list[str]:
    said = []
    if share >= SAID:
        said.append("corners that nearly met joined")
    if dropped := len(raw.faces) - len(faces):
        said.append(f"{dropped} triangles without area or given twice dropped")
    if turned.any():
        said.append(f"{int(turned.sum())} triangles turned that faced the wrong way")
    return said


def _mended(raw: Raw, near: _Near, file: str, work: Work) -> Sound:
    """Open pieces patched one by one; what cannot be patched is drawn anew together, or left out where it is next to nothing."""
    vertices, faces = near.vertices, near.faces
    said = _told(raw, faces, near.turned, near.share)
    times = np.where(near.turned, -near.times, near.times)
    count, own = pieces_of(faces, len(vertices))
    bad = np.zeros(len(vertices), bool)
    bad[near.wrong] = True
    is_open = np.zeros(count, bool)
    is_open[own[bad[faces].sum(axis=1) >= 2]] = True
    stays = ~is_open[own]
    pool = np.zeros(len(faces), bool)
    patches, more, hung = [], np.zeros(len(faces)), 0
    crumbled = is_open.sum() > MOST_OPEN
    for piece in np.flatnonzero(is_open).tolist() if not crumbled else ():
        mine = np.flatnonzero(own == piece)
        closing = patched(vertices, faces[mine], work)
        if closing is None:
            pool[mine] = True
            continue
        stays[mine[closing.kept]] = True
        hung += int((~closing.kept).sum())
        patches.append(closing.patches)
        more[mine[closing.kept][0]] += closing.more
    if crumbled:
        pool = is_open[own]
    area = areas_of(vertices, faces)
    if stays.any() and area[pool].sum() < LOOSE * area.sum():
        hung += int(pool.sum())
        pool[:] = False
    if hung:
        said.append(f"{hung} loose triangles that enclose nothing dropped")
    new = np.vstack(patches) if patches else np.zeros((0, 3), np.int64)
    out = Sound(
        vertices,
        np.vstack([faces[stays], new]),
        np.concatenate([times[stays], np.ones(len(new))]),
        np.concatenate([more[stays], np.zeros(len(new))]),
        np.repeat(np.array([OWN, PATCH], np.int8), [int(stays.sum()), len(new)]),
        said,
    )
    return _with_drawn(raw, near, out, pool, times, file, work) if pool.any() else out


def _with_drawn(raw: Raw, near: _Near, rest: Sound, pool: Array, times: Array, file: str, work: Work) -> Sound:
    """The rest with what is drawn anew of the triangles in ``pool``."""
    if work.drawn <= 0:
        raise BadInput(f"{file}: {raw.name} is one of too many broken objects", "Save the object you need in a file of its own, or repair it")
    work.drawn -= 1
    made = rebuilt(near.vertices, near.faces[pool])
    if made is None:
        _refuse(raw, near, file)
    if made.turned:
        rest.said.append(f"{made.turned} triangles turned that stood inside out")
    read = volume_of(near.vertices, near.faces[pool], times[pool])
    many = len(made.faces)
    return Sound(
        np.vstack([rest.vertices, made.vertices]),
        np.vstack([rest.faces, made.faces + len(rest.vertices)]),
        np.concatenate([rest.times, np.full(many, read / volume_of(made.vertices, made.faces))]),
        np.concatenate([rest.more, np.zeros(many)]),
        np.concatenate([rest.kind, np.full(many, ANEW, np.int8)]),
        rest.said,
        made,
    )


def _refuse(raw: Raw, near: _Near, file: str) -> NoReturn:
    at = near.vertices[near.wrong[0, 0]]
    raise BadInput(
        f"{file}: {raw.name} is not closed: {len(near.wrong)} edges do not have metal on one side only, the first near "
        f"({at[0]:.4g}, {at[1]:.4g}, {at[2]:.4g}) in the file's numbers, and too much is missing or turned to tell inside from outside",
        "Close it in the program that made the mesh and export it as one solid",
    )
