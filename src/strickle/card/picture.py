"""Pictures of the casting, whole and cut open, coloured by when each place is solid."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from strickle.base import Array, Mesh
from strickle.card.lettering import wide
from strickle.card.palette import banded, nice_step
from strickle.card.png import png
from strickle.card.section import Bodies
from strickle.card.slices import Plane, half
from strickle.card.svg import Sheet
from strickle.card.words import say
from strickle.cavity import NECK, PART, RISER, Cavity
from strickle.kernels import shade, sight
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.rigging import Rigging
from strickle.sound import Sound

GREY = np.array([0.80, 0.81, 0.82])
ACROSS, DOWN = 1000, 750
BAR = 50.0  # mm, the legend's colours
MINUTES = 240.0  # from here on the legend counts in minutes
LATE = 0.4  # the scale begins at nought unless the first place is solid later than this share of the last
LEAST_POOR = 0.01  # share of the part's cells under the gradient's limit, below which nothing is hatched: a few cells prove nothing
SIZE = 2.9  # mm, letters of the legend


@dataclass(frozen=True, slots=True)
class Field:
    """A field on a grid, made ready to be sampled: unknown cells near the metal filled from their neighbours."""

    values: Array
    seen: Array
    origin: Array
    cell: float
    low: float
    top: float
    step: float
    over: bool

    @staticmethod
    def of(values: Array, origin: Array, cell: float, count: Array | None = None) -> Field | None:
        """None where the field knows nothing. ``count`` marks the cells whose times the scale spans; all of them if None."""
        known = np.isfinite(values)
        if not known.any():
            return None
        ends = known if count is None or not (known & count).any() else known & count
        top, first = float(values[ends].max()), float(values[ends].min())
        first = first if first > LATE * top else 0.0  # where nothing is early the scale begins late, so that the colours still tell places apart
        where = np.nonzero(known)
        low = np.array([max(0, int(w.min()) - 4) for w in where])
        high = np.array([int(w.max()) + 5 for w in where])
        cut = tuple(slice(a, b) for a, b in zip(low, high, strict=True))
        filled = np.ascontiguousarray(np.where(known, values, 0.0)[cut])
        seen = np.ascontiguousarray(known[cut].astype(np.uint8))
        for _ in range(3):
            shade.grown(filled, seen, filled)
        step = 60.0 * nice_step((top - first) / 60.0) if top >= MINUTES else nice_step(top - first)
        over = bool(values[known].max() > top * 1.001)
        return Field(filled, seen, np.asarray(origin) + low * cell, cell, step * math.floor(first / step), max(top, 1e-9), step, over)

    def at(self, points: Array) -> Array:
        """Values at points (n, 3): trilinear over known cells, the nearest known cell where none is about."""
        out = np.empty(len(points))
        shade.sample(self.values, self.seen, self.origin, self.cell, np.ascontiguousarray(points), out)
        lost = np.isnan(out)
        if lost.any():
            from scipy.spatial import cKDTree

            cells = np.argwhere(self.seen == 1)
            _, near = cKDTree(cells).query((points[lost] - self.origin) / self.cell - 0.5)
            out[lost] = self.values[tuple(cells[near].T)]
        return out

    @property
    def bands(self) -> int:
        """How many bands the scale has."""
        return max(1, math.ceil((self.top - self.low) / self.step - 1e-9))

    def colours(self, times: Array) -> Array:
        """Colours (n, 3) of times: those of their band."""
        return banded(np.maximum(times - self.low, 0.0), self.step, self.top - self.low)

    def painter(self, inward: float, poor: Field | None) -> Callable[[Array, Array], tuple[Array, Array, Array]]:
        """Colours, bands and marks of surface points, read a little under the skin so that the sand's cells play no part."""

        def paint(points: Array, normals: Array) -> tuple[Array, Array, Array]:
            inside = points - inward * normals
            times = self.at(inside)
            band = np.clip(np.floor((times - self.low) / self.step), 0, self.bands - 1).astype(np.int64)
            marks = poor.at(inside) > 0.5 if poor is not None else np.zeros(len(points), dtype=bool)
            return self.colours(times), band, marks

        return paint


def poorly_fed(sound: Sound, cavity: Cavity) -> Field | None:
    """Where the part freezes with too little gradient to draw metal after it: 1 there, 0 in other metal. None where that is hardly anywhere."""
    mine = np.isfinite(sound.niyama) & (cavity.grid.tags == PART)
    count = round(float(sound.poor_share) * int(mine.sum())) if math.isfinite(sound.poor_share) else 0
    if count < LEAST_POOR * int(mine.sum()) or count == 0:
        return None
    limit = np.partition(sound.niyama[mine], count - 1)[count - 1]
    marks = np.where(mine & (sound.niyama <= limit), 1.0, np.where(np.isfinite(sound.time_to_solidus), 0.0, np.nan))
    return Field.of(marks, cavity.grid.origin, cavity.grid.cell)


def _still(*args: Any, **kind: Any) -> Array:
    draw: Any = sight.still  # kernels carry no type hints
    out: Array = draw(*args, **kind)
    return out


def camera(plane: Plane, turn: float, elevation: float) -> Array:
    """The view of something cut by a plane, turned to its left and from above [rad]."""
    out: Array = sight.view(math.atan2(plane.along[1], plane.along[0]) + turn, elevation)
    return out


def _draw(mesh: Mesh, turn: Array, field: Field | None, poor: Field | None = None, marked: Array | None = None) -> Array:
    if field is None or marked is not None:
        colours = np.broadcast_to(GREY, (len(mesh.faces), 3))
        return _still(mesh.vertices, mesh.faces, turn, ACROSS, DOWN, colours=colours, marked_faces=marked)
    return _still(mesh.vertices, mesh.faces, turn, ACROSS, DOWN, paint_points=field.painter(0.5 * field.cell, poor))


@dataclass(frozen=True, slots=True)
class Pictures:
    """PNG bytes of the casting whole and cut; what the colours mean; the sheet with both and their legend."""

    whole: bytes
    cut: bytes | None
    sheet: bytes
    says: str


def pictures(
    part: Part,
    pattern: Pattern | None,
    rigging: Rigging | None,
    cavity: Cavity | None,
    sound: Sound | None,
    bodies: Bodies | None,
    plane: Plane | None,
    units: str,
) -> Pictures:
    """The casting as far as it is known: with freezing times where they were solved, else the part in the bare coarse freeze."""
    field: Field | None = None
    poor: Field | None = None
    caught: Array | None = None
    hatch = ""
    if rigging is not None:
        mesh, says = rigging.casting, "casting with its rigging; freezing was not computed"
        if sound is not None and cavity is not None:
            field = Field.of(sound.time_to_solidus, cavity.grid.origin, cavity.grid.cell, np.isin(cavity.grid.tags, (PART, RISER, NECK)))
            says = "when each place is solid, in this mould"
            poor = poorly_fed(sound, cavity)
            hatch = "hatched: little to draw metal after it, chance of fine holes" if poor is not None else ""
    else:
        mesh, field = part.mesh, Field.of(part.bare_times, part.bare_origin, part.bare_cell)
        says = "when each place is solid, the part alone in sand, coarse" if field is not None else "the part; freezing was not computed"
        bodies = None
        if pattern is not None and pattern.undercut_faces:
            caught = np.zeros(len(mesh.faces), dtype=np.uint8)
            caught[list(pattern.undercut_faces)] = 1
            field, says = None, "the part; hatched faces hold it in the sand"
    says = say(says, units)
    plane = plane or Plane(np.zeros(3), np.array([1.0, 0.0, 0.0]), ())
    whole = _draw(mesh, camera(plane, math.radians(28.0), math.radians(33.0)), field, poor, caught)
    inside = half(bodies.casting, plane) if bodies is not None and field is not None else None
    cut = _draw(inside, camera(plane, math.radians(14.0), math.radians(20.0)), field, poor) if inside is not None else None
    first, second = png(whole), png(cut) if cut is not None else None
    return Pictures(first, second, _sheet(first, second, field, says, hatch), says)


def _sheet(whole: bytes, cut: bytes | None, field: Field | None, says: str, hatch: str) -> bytes:
    """Both pictures side by side over the legend."""
    said = 2.0 + BAR + 6.0 + max(wide(says, SIZE), wide(hatch, SIZE)) + 0.5
    across, high = max(said, 124.0 if cut is not None else 66.0), 46.5
    sheet = Sheet(across, high + (5.2 if field is None else 10.2 if not hatch else 14.0), "Casting, " + says)
    if cut is None:
        sheet.picture(across / 2 - 31, 0, 62, high, whole)
    else:
        sheet.picture(across / 2 - 62, 0, 62, high, whole)
        sheet.picture(across / 2, 0, 62, high, cut)
        sheet.text(across - 0.5, high + 2.2, "cut open on A–A", SIZE, anchor="end")
    if field is None:
        sheet.text(across / 2, high + 2.4, says, SIZE, anchor="middle")
        return sheet.written()
    bands, minutes = field.bands, field.top >= MINUTES
    x0, y0, w, h = 2.5, high + 0.6, BAR, 3.4
    for i in range(bands):
        r, g, b = field.colours(np.array([field.low + (i + 0.5) * field.step]))[0]
        sheet.box(x0 + w * i / bands, y0, w / bands, h, fill=f"#{int(255 * r):02x}{int(255 * g):02x}{int(255 * b):02x}", thick=0.18, r=0.0)
    for i in range(0, bands + 1, 1 if bands <= 6 else 2):
        value = (field.low + i * field.step) / (60.0 if minutes else 1.0)
        first, last = "≤ " if i == 0 and field.low > 0 else "", "+" if field.over and i == bands else ""
        sheet.text(x0 + w * i / bands, y0 + h + 2.3, f"{first}{value:.3g}{last}", SIZE, anchor="middle")
    sheet.text(x0 + w + 6.0, y0 + h / 2, f"{'min' if minutes else 's'} after the pour", SIZE)
    sheet.text(x0 + w + 6.0, y0 + h + 2.3, says, SIZE)
    if hatch:
        sheet.text(x0 + w + 6.0, y0 + h + 6.0, hatch, SIZE)
    return sheet.written()
