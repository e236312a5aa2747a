"""The five-spoke handwheel of an old treadle lathe, drawn in code [mm]. Invented for this demo; no such lathe was measured.

The wheel is dished: the rim is widest at z = 0, the hub stands forward of it, and the spokes fall from one to the other. Every section is
widest at the level of its own middle, so the wheel draws from cope and drag along a joint that climbs with the spokes, and along no flat one.
The spokes are bowed, so that they can give a little while the rim pulls in on them, and five, so that no two stand in line (common practice).
The hub is bored for its shaft, the crank boss left solid, to be drilled.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from strickle.base import Array

DRAFT = math.radians(3.0)
SPOKES = 5
RIM = 71.5  # to the middle of the rim's section
SECTION = ((8.5, 0.0), (7.9, 4.0), (7.3, 6.0), (6.1, 7.6), (4.3, 8.5))  # a quarter of the rim's section: off its middle, off the parting
HUB, HUB_HIGH, HUB_LOW = 15.5, 14.0, 11.0  # radius where it is widest, height above and below that
DISH = 12.0  # how far the hub's widest place stands over the rim's
BORE = 14.0  # across the hole for the shaft
CRANK, CRANK_HIGH = 12.0, 10.0  # half-way between two spokes, so that metal is not heaped where one joins
BOW = 9.0  # how far a spoke's middle stands off the straight line
SIDES, RINGS = 96, 19
# along a spoke from hub to rim: share of the way, width in the wheel's plane, height across it
STATIONS = ((0.0, 22.0, 15.0), (0.12, 15.5, 11.5), (0.3, 14.0, 10.5), (0.5, 13.0, 10.0), (0.7, 12.0, 9.5), (0.88, 11.5, 9.0), (1.0, 12.5, 9.5))


def handwheel() -> Any:
    """The handwheel as a manifold3d Manifold: hub with a boss on either side, five bowed oval spokes, rounded rim, one crank boss."""
    import manifold3d as m3

    quarter = np.array(SECTION)
    half = np.vstack([quarter, quarter[::-1] * np.array([-1, 1])])
    rim = m3.CrossSection([np.vstack([half, -half[1:-1]]) + np.array([RIM, 0.0])]).revolve(SIDES)
    spoke = _spoke()
    spokes = [spoke.rotate((0.0, 0.0, 360.0 * k / SPOKES)) for k in range(SPOKES)]
    crank = _boss(CRANK, CRANK_HIGH).translate((RIM, 0.0, 0.0)).rotate((0.0, 0.0, 180.0 / SPOKES))
    hub = (_boss(HUB, HUB_HIGH) + _boss(HUB, HUB_LOW).mirror((0, 0, 1))).translate((0.0, 0.0, DISH))
    bore = m3.Manifold.cylinder(4 * HUB, BORE / 2, circular_segments=SIDES, center=True).translate((0.0, 0.0, DISH))
    return m3.Manifold.batch_boolean([hub, rim, crank, *spokes], m3.OpType.Add) - bore


def _boss(radius: float, height: float) -> Any:
    """A round boss on z = 0 that leans in by the draft, its upper edge broken."""
    import manifold3d as m3

    broken = 0.8
    high = radius - (height - broken) * math.tan(DRAFT)
    outline = [(0.0, 0.0), (radius, 0.0), (high, height - broken), (high - broken, height), (0.0, height)]
    return m3.CrossSection([np.array(outline)]).revolve(SIDES)


def _along(share: float) -> tuple[float, float]:
    """Where the middle line of the first spoke runs: from inside the hub to the middle of the rim, bowed sideways."""
    return 0.4 * HUB + share * (RIM - 0.4 * HUB), BOW * math.sin(math.pi * share)


def _fall(share: float) -> float:
    """Height of that line: level in the hub and in the rim, an easy curve between."""
    way = min(max((share - 0.14) / (0.88 - 0.14), 0.0), 1.0)
    return DISH * (1.0 - way * way * (3.0 - 2.0 * way))


def _spoke() -> Any:
    """One spoke: ovals set square to its middle line, with a skin from each to the next and an end on the first and the last."""
    import manifold3d as m3

    known = np.array(STATIONS)
    rings = np.array([_oval(share, *(float(np.interp(share, known[:, 0], known[:, i])) for i in (1, 2))) for share in np.linspace(0.0, 1.0, RINGS)])
    count = rings.shape[1]
    here = np.arange(count)
    after = np.roll(here, -1)
    faces = [np.column_stack([here[0] + 0 * here[2:], here[2:], here[1:-1]])]
    for k in range(len(rings) - 1):
        low, high = k * count, (k + 1) * count
        faces += [np.column_stack([here + low, after + low, after + high]), np.column_stack([here + low, after + high, here + high])]
    faces.append(faces[0][:, ::-1] + (len(rings) - 1) * count)
    return m3.Manifold(m3.Mesh64(rings.reshape(-1, 3), np.vstack(faces).astype(np.uint64)))


def _oval(share: float, wide: float, high: float) -> Array:
    """Corners (24, 3) of the oval across the spoke at a share of its way; two of them lie at the height of its middle, where it is widest."""
    (x0, y0), (x, y), (x1, y1) = (_along(share + step) for step in (-0.01, 0.0, 0.01))
    length = math.hypot(x1 - x0, y1 - y0)
    across = np.array([-(y1 - y0) / length, (x1 - x0) / length, 0.0])
    turn = np.arange(0, 360, 15)[:, None] * math.pi / 180
    ring: Array = np.array([x, y, _fall(share)]) + wide / 2 * np.cos(turn) * across + high / 2 * np.sin(turn) * np.array([0.0, 0.0, 1.0])
    return ring
