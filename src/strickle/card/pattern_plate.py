"""The drawing, full size, by which a board is drilled as a pattern plate: where halves and formers sit on it, and the holes to drill."""

from __future__ import annotations

import numpy as np

from strickle.base import Array
from strickle.card.slices import level, solid
from strickle.card.svg import Sheet, path
from strickle.card.words import qty, say
from strickle.mould import Mould
from strickle.pattern import Pattern
from strickle.rigging import Rigging

EDGE = 18.0  # mm round the flask's inside
ROW, LETTERS, BADGE = 5.2, 3.4, 2.6  # mm
UNDER = 0.1  # mm from the joint that outlines are taken
CROSS = 4.0  # mm of a hole's middle lines beyond its rim
NOTES = (
    "Seen from the cope's side, full size; print it without scaling and measure the ruled 100 mm (3.937 in).",
    "Whole lines: drag pieces, under the board. Broken lines: cope pieces, on it. The frame is the inside of the flask.",
    "Drill the holes square through the board; set halves that meet on pins through it, screw others from behind, glue formers by their outlines.",
    "Pieces that leave the cope upwards stay loose: stand them on their outline while ramming, draw them first.",
)


def plate_drawing(pattern: Pattern, rigging: Rigging, mould: Mould, title: str, units: str) -> bytes | None:
    """The drawing as SVG; None where no flat board can part the pattern: a crooked joint or an open mould."""
    if pattern.sheet is not None or rigging.open_pour is not None:
        return None
    low, high = mould.box[[0, 2]] * 1e3, mould.box[[1, 3]] * 1e3
    wide, deep = high - low
    drilled = _drilled(pattern)
    rows = [
        f"{i}   {qty(x - low[0] * 1e-3, 'm', units)}   {qty(y - low[1] * 1e-3, 'm', units)}   {qty(across, 'm', units)}   {use}"
        for i, (x, y, across, use) in enumerate(drilled, 1)
    ]
    foot = ROW * (len(NOTES) + max(len(rows), 1) + 5)
    sheet = Sheet(max(wide, 190.0) + 2 * EDGE, deep + 2 * EDGE + foot, f"Pattern plate of {title}")
    left, top = (sheet.width - wide) / 2, EDGE

    def on(points: Array) -> list[tuple[float, float]]:
        return [(float(left + x - low[0]), float(top + high[1] - y)) for x, y in np.asarray(points)[:, :2]]

    sheet.shape(path([on(np.array([low, [high[0], low[1]], high, [low[0], high[1]]]))]), thick=0.5)
    for x, y in ((left + wide / 2, top), (left, top + deep / 2)):
        flat = x == left
        sheet.rule(x, y, left + wide if flat else x, y if flat else top + deep, thick=0.1, dash="6 2 1 2")
    named = []
    for piece in (*pattern.pieces, *rigging.pieces):
        if piece.role not in ("pattern", "former", "loose piece"):
            continue
        for half, height in (("drag", -UNDER), ("cope", UNDER)):
            if piece.half not in (half, "both"):
                continue
            shape = level(solid(piece.mesh), height * 1e-3)
            if shape.is_empty:
                continue
            rings = [ring for one in getattr(shape, "geoms", [shape]) for ring in (one.exterior, *one.interiors)]
            sheet.shape(path([on(np.array(ring.coords) * 1e3) for ring in rings]), thick=0.3, dash="" if half == "drag" else "2.4 1.2")
            at = shape.representative_point()
            named.append((piece.name, on(np.array([[at.x, at.y]]) * 1e3)[0]))
    taken: list[float] = []
    for name, (x, y) in sorted(named, key=lambda one: one[1][1]):
        while any(abs(y - other) < BADGE for other in taken):
            y += 0.5 * BADGE
        taken.append(y)
        sheet.text(x, y, name, BADGE, anchor="middle")
    for i, (x, y, across, _) in enumerate(drilled, 1):
        (cx, cy), r = on(np.array([[x, y]]) * 1e3)[0], float(across) * 500
        sheet.circle(cx, cy, r, thick=0.25, fill="#ffffff")
        sheet.rule(cx - r - CROSS, cy, cx + r + CROSS, cy, thick=0.15)
        sheet.rule(cx, cy - r - CROSS, cx, cy + r + CROSS, thick=0.15)
        sheet.text(cx + r + 1.2, cy - r - 1.6, str(i), LETTERS, bold=True)
    y = top + deep + 2 * ROW
    sheet.rule(EDGE, y - 0.6 * ROW, EDGE + 100.0, y - 0.6 * ROW, thick=0.4)
    for x in (EDGE, EDGE + 100.0):
        sheet.rule(x, y - 0.9 * ROW, x, y - 0.3 * ROW, thick=0.4)
    y += 0.6 * ROW
    head = "hole   from the left   from the front   across   for" if rows else "No half has holes: fasten them by their outlines."
    for words, bold in ((f"Pattern plate: {title}", True), *((say(note, units), False) for note in NOTES), (head, True), *((r, False) for r in rows)):
        sheet.text(EDGE, y, words, LETTERS, bold=bold)
        y += ROW
    return sheet.written()


def _drilled(pattern: Pattern) -> list[tuple[float, float, float, str]]:
    """Holes through the board: x, y, width [m] and what for: pins of halves that meet; where none do, the lifting screws."""
    out = {(round(float(h.at[0]), 6), round(float(h.at[1]), 6), h.width, "a pin") for h in pattern.holes if h.use == "dowel"}
    if not out:
        out = {(round(float(h.at[0]), 6), round(float(h.at[1]), 6), h.width, "a screw") for h in pattern.holes if h.use == "lift"}
    return sorted(out)
