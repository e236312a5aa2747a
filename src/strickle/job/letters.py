"""Raised letters for a pattern: text in the packaged font as flat outlines, and outlines as bodies whose sides lean in so that they draw."""

from __future__ import annotations

import functools
import math
from importlib.resources import files
from io import BytesIO
from typing import Any

import numpy as np

from strickle.base import Array, BadInput

FONT = "AtkinsonHyperlegibleNext-Bold.ttf"  # bold: a stroke under about 1.5 mm tears out of the sand with the pattern (common practice)
FLAT = 0.02  # how far a chord may lie off its curve [mm]
LEAST_EDGE = 0.1  # corners nearer to each other than this are one [mm]: finer than any print, and no edge turns over as the outline grows


def text(line: str, cap: float, spacing: float = 0.0) -> Any:
    """One line of text as a manifold3d CrossSection [mm]: its middle at x = 0, its base line at y = 0, capitals ``cap`` high.

    ``spacing`` is added between letters [mm]; kerning is left out. Raises BadInput for an empty line and for a sign the font has not.
    """
    import manifold3d as m3

    if not line.strip():
        raise BadInput("The lettering is empty", "Give at least one letter")
    missing = [sign for sign in line if sign not in _names()]
    if missing:
        raise BadInput(f"The lettering {line!r} holds {missing[0]!r}, which the packaged font has not", "Leave it out or write it in other signs")
    size = cap / _capital()
    at, contours = 0.0, []
    for sign in line:
        advance, glyph = _glyph(sign, FLAT / size)
        contours += [size * contour + np.array([at, 0.0]) for contour in glyph]
        at += size * advance + spacing
    whole = m3.CrossSection(contours, m3.FillRule.NonZero) if contours else m3.CrossSection()
    return whole.simplify(FLAT).translate((-(at - spacing) / 2, 0.0))


def raised(outline: Any, height: float, draft: float, sunk: float = 0.0) -> Any:
    """A manifold3d Manifold whose face at z = ``height`` is the outline and whose sides lean out by ``draft`` [rad] down to z = -``sunk``."""
    import manifold3d as m3

    top = [_sparse(np.asarray(contour, dtype=float)) for contour in outline.to_polygons()]
    top = [contour for contour in top if len(contour) >= 3]
    foot = [_grown(contour, (height + sunk) * math.tan(draft)) for contour in top]
    caps = np.asarray(m3.triangulate(top), dtype=np.int64)
    count = sum(map(len, top))
    vertices = np.vstack([np.column_stack([np.vstack(ring), np.full(count, z)]) for ring, z in ((top, height), (foot, -sunk))])
    faces, first = [caps, caps[:, ::-1] + count], 0
    for contour in top:
        here = first + np.arange(len(contour))
        after = np.roll(here, -1)
        faces += [np.column_stack([here, here + count, after + count]), np.column_stack([here, after + count, after])]
        first += len(contour)
    return m3.Manifold(m3.Mesh(vertices.astype(np.float32), np.vstack(faces).astype(np.uint32)))


def _sparse(contour: Array) -> Array:
    """The contour (n, 2) without corners that lie nearer than LEAST_EDGE to the one kept before."""
    kept = [contour[0]]
    for corner in contour[1:]:
        if np.hypot(*(corner - kept[-1])) >= LEAST_EDGE:
            kept.append(corner)
    if len(kept) > 1 and np.hypot(*(kept[-1] - kept[0])) < LEAST_EDGE:
        kept.pop()
    return np.array(kept)


def _grown(contour: Array, by: float) -> Array:
    """The contour (n, 2) with every edge moved out by ``by``, corner for corner; material lies to the left of an edge, so a hole closes in."""
    edge = np.roll(contour, -1, axis=0) - contour
    edge /= np.linalg.norm(edge, axis=1, keepdims=True)
    out = np.column_stack([edge[:, 1], -edge[:, 0]])
    before = np.roll(out, 1, axis=0)
    moved: Array = contour + by * (before + out) / (1.0 + np.sum(before * out, axis=1, keepdims=True))
    return moved


@functools.cache
def _font() -> Any:
    from fontTools.ttLib import TTFont

    return TTFont(BytesIO(files("strickle.card").joinpath("fonts", FONT).read_bytes()))


@functools.cache
def _names() -> dict[str, str]:
    return {chr(code): name for code, name in _font().getBestCmap().items()}


@functools.cache
def _capital() -> float:
    """Height of a capital H as a share of the letter size."""
    return float(max(np.vstack(_glyph("H", 0.01)[1])[:, 1]))


@functools.lru_cache(512)
def _glyph(sign: str, flat: float) -> tuple[float, tuple[Array, ...]]:
    """A sign's advance and its contours, curves as chords that lie within ``flat`` of them; all as shares of the letter size."""
    from fontTools.pens.basePen import decomposeQuadraticSegment
    from fontTools.pens.recordingPen import DecomposingRecordingPen

    font, glyphs = _font(), _font().getGlyphSet()
    units = float(font["head"].unitsPerEm)
    glyph = glyphs[_names()[sign]]
    pen = DecomposingRecordingPen(glyphs)
    glyph.draw(pen)
    contours: list[list[Array]] = []
    for verb, points in pen.value:
        corners = [np.asarray(p, dtype=float) / units for p in points if p is not None]
        if verb == "moveTo":
            contours.append(corners)
        elif verb == "lineTo":
            contours[-1] += corners
        elif verb == "qCurveTo":
            if points[-1] is None:
                raise ValueError(f"{FONT}: a contour of {sign!r} has no corner")
            for bend, end in decomposeQuadraticSegment(corners):
                contours[-1] += _chords(contours[-1][-1], np.asarray(bend), np.asarray(end), flat)
    return glyph.width / units, tuple(np.array(contour) for contour in contours)


def _chords(start: Array, bend: Array, end: Array, flat: float) -> list[Array]:
    """Points along a quadratic arc after its start. The chord of 1/n of it lies |start - 2 bend + end| / (4 n^2) off at most."""
    count = max(1, math.ceil(math.sqrt(float(np.hypot(*(start - 2 * bend + end))) / (4 * flat))))
    return [(1 - t) ** 2 * start + 2 * t * (1 - t) * bend + t**2 * end for t in np.arange(1, count + 1) / count]
