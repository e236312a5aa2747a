"""The maker's plate of an old treadle lathe, drawn in code [mm]. Invented for this demo, the words on it too; no such maker is known.

The back is flat and lies at z = 0, the parting; border, bosses and letters stand up from the face with a lean that draws.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from strickle.job.letters import raised, text

DRAFT = math.radians(3.0)
LEAN = math.radians(10.0)  # low relief tears at the edge first, so it leans more than the sides (common practice)
LONG, WIDE, THICK = 120.0, 72.0, 6.0
CORNER = 9.0
BORDER = 4.0
RELIEF = 1.4
SUNK = 0.3  # what stands on the face begins a little under it, so that the two are one body
LINES = (("TREADLE", 14.0, 12.0), ("LATHE No. 7", 10.0, -5.5), ("1911", 10.0, -22.0))  # words, height of the capitals, base line
SPACING = 1.6  # beyond the usual, so that the sand between two letters stands
BOSSES, BOSS, DIMPLE = (40.0, -17.3), 6.5, 2.2  # where the two bosses stand left and right; their radius and that of the mark to drill by


def plate() -> Any:
    """The plate as a manifold3d Manifold: blank, border, two bosses with a mark to drill by, three lines of letters."""
    import manifold3d as m3

    marks = [m3.Manifold.cylinder(DIMPLE, 0.0, DIMPLE, 32).translate((x, BOSSES[1], THICK + RELIEF - DIMPLE / 2)) for x in (-BOSSES[0], BOSSES[0])]
    bosses = [m3.CrossSection.circle(BOSS, 64).translate((x, BOSSES[1])) for x in (-BOSSES[0], BOSSES[0])]
    relief = [_border(), *(raised(outline, RELIEF, LEAN, SUNK) for outline in bosses), lettering()]
    whole = m3.Manifold.batch_boolean([blank(), *(body.translate((0.0, 0.0, THICK)) for body in relief)], m3.OpType.Add)
    return m3.Manifold.batch_boolean([whole, *marks], m3.OpType.Subtract)


def blank() -> Any:
    """The plate without anything on its face; the sides lean in from the back."""
    return raised(_outline(THICK * math.tan(DRAFT)), THICK, DRAFT)


def lettering() -> Any:
    """The letters, their foot a little under z = 0."""
    import manifold3d as m3

    lines = [raised(text(words, cap, SPACING).translate((0.0, base)), RELIEF, LEAN, SUNK) for words, cap, base in LINES]
    return m3.Manifold.batch_boolean(lines, m3.OpType.Add)


def _border() -> Any:
    inset = THICK * math.tan(DRAFT) + (RELIEF + SUNK) * math.tan(LEAN)
    return raised(_outline(inset) - _outline(inset + BORDER), RELIEF, LEAN, SUNK)


def _outline(inset: float) -> Any:
    """The plate's outline with rounded corners, drawn in by ``inset``."""
    import manifold3d as m3

    radius = CORNER - inset if inset < CORNER - 1.0 else 1.0
    turn = np.arange(0, 91, 10) * math.pi / 180
    corner = radius * np.column_stack([np.cos(turn), np.sin(turn)])
    places = [(LONG / 2 - inset - radius, WIDE / 2 - inset - radius)] * 4
    quarter = [(1, 0, 0, 1), (0, -1, 1, 0), (-1, 0, 0, -1), (0, 1, -1, 0)]
    signs = [(1, 1), (-1, 1), (-1, -1), (1, -1)]
    points = [corner @ np.array([[a, c], [b, d]]) + np.array(place) * sign for (a, b, c, d), place, sign in zip(quarter, places, signs, strict=True)]
    return m3.CrossSection([np.vstack(points)])
