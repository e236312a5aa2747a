"""How much draft a wall gets: the rule, and how far each edge of a section goes out for it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from shapely import STRtree, linestrings, points

from strickle.base import Array, BadInput
from strickle.pattern import rules
from strickle.pattern.layers import SNAP
from strickle.pattern.sections import aways, enclosed
from strickle.stores import Stores

HAIR = 1e-4  # mm a section is drawn in before it grows, so that walls with draft of their own stay bare
LEAST = np.radians(0.01)  # draft of faces that get none: what rounding needs to come free
ON_FACE = 0.03  # mm from a kept face that an edge of a section is still on it
DATUMS = ("parting", "mid-plane")
MOST = float(np.radians(30.0))
STANDS = np.sin(np.radians(5.0))  # faces that lean more are never reached by draft and need no keeping


class DraftRule(NamedTuple):
    """How much draft, in radians and metres."""

    outside: float = float(np.radians(2.0))
    pocket: float = float(np.radians(3.0))  # walls of sand that metal surrounds
    steepest: float = float(np.radians(5.0))  # low walls, and the far end of high ones
    extra: float = 0.15e-3  # taper that a wall gets beyond its angle, at ``steepest`` from its far end
    layer: float = 0.4e-3
    datum: str = "parting"  # the far end keeps its size | "mid-plane": right size at half height
    layered: bool = False  # layer lines lie across the draw
    across: float = float(np.radians(1.0))  # added where they do

    @property
    def angles(self) -> tuple[float, float]:
        """Angle used on outside walls and in pockets [rad]."""
        more = self.across if self.layered else 0.0
        return self.outside + more, self.pocket + more


def rule_of(stores: Stores, *, datum: str = "parting", layered: bool = False, outside: float | None = None, pocket: float | None = None) -> DraftRule:
    """The rule by the stores' data, with angles [rad] of the person's own where they are given: low walls never get less than those."""
    names = ("outside", "pocket", "steepest", "extra", "layer", "across")
    values = {name: rules.constant(stores, f"draft.{name}").value for name in names}
    values |= {name: angle for name, angle in (("outside", outside), ("pocket", pocket)) if angle is not None}
    values["steepest"] = max(values["steepest"], values["outside"], values["pocket"])
    return DraftRule(**values, datum=datum, layered=layered)


class Rates:
    """How far each edge of a section goes out over a stretch of height."""

    def __init__(self, rule: DraftRule, kept: Array) -> None:
        if rule.datum not in DATUMS:
            raise BadInput(f"draft from {rule.datum!r} is not known", f"Take one of: {', '.join(DATUMS)}")
        if not all(0.0 <= angle <= MOST for angle in rule.angles):
            raise BadInput(f"draft of more than {np.degrees(MOST):.0f} or less than 0 degrees is asked for", "Most patterns take 1 to 5 degrees")
        if not 5e-5 <= rule.layer <= 5e-3:
            raise BadInput("the layers of the draft are too thin or too thick", "Give the print's layer height, or about 0.4 mm")
        self.angles = rule.angles
        self.steepest = max(rule.steepest, *self.angles)
        self.extra = rule.extra * 1e3
        self.layer = rule.layer * 1e3
        self.kept = kept
        self.tree = STRtree(linestrings(kept[:, :, :2])) if len(kept) else None

    def _kink(self, slope: Array) -> Array:
        """Height from the far end at which a wall passes from the steepest to its own slope (tangent)."""
        more = np.tan(self.steepest) - slope
        return np.where(more > 1e-6, self.extra / np.maximum(more, 1e-6), 0.0)

    def slopes(self, every: list[Array], level: float) -> list[Array]:
        """Tangent of the draft of each edge."""
        out = []
        for ring, shut in zip(every, enclosed(every)):
            slope = np.full(len(ring), np.tan(max(self.angles[shut], LEAST)))
            if self.tree is not None:
                along = np.roll(ring, -1, axis=0) - ring
                pairs = self.tree.query(points(ring + along / 2), predicate="dwithin", distance=ON_FACE)
                run = self.kept[pairs[1], 1] - self.kept[pairs[1], 0]
                edge = along[pairs[0]]
                turned = np.abs(edge[:, 0] * run[:, 1] - edge[:, 1] * run[:, 0])
                same = turned < 0.2 * np.hypot(*edge.T) * np.hypot(run[:, 0], run[:, 1])
                same &= self.kept[pairs[1], 0, 2] < level - SNAP
                slope[pairs[0][same]] = np.tan(LEAST)
            out.append(slope)
        return out

    def ages(self, every: list[Array], slopes: list[Array], part: list[Array], below: list[Array] | None, height: float) -> list[Array]:
        """Height from the far end that the growth of each edge speaks of; infinite where the part's own draft is enough."""
        out = []
        for slope, near, far in zip(slopes, aways(every, part), aways(every, below or [])):
            grown = np.maximum(near - 2 * HAIR, 0.0)
            kink = self._kink(slope)
            age = np.where(grown < kink * np.tan(self.steepest), grown / np.tan(self.steepest), np.inf)
            if below is not None:
                age = np.where(far > grown + 0.9 * slope * height, np.inf, age)
            age[slope <= 2 * np.tan(LEAST)] = np.inf
            out.append(age)
        return out

    def breaks(self, slopes: list[Array], ages: list[Array], height: float) -> float:
        """Height after which the first wall changes its slope, if that is within ``height``."""
        slope, age = np.concatenate(slopes), np.concatenate(ages)
        left = self._kink(slope) - age
        left = left[(left > 0.25 * self.layer) & (left < height - 0.25 * self.layer)]
        return float(left.min()) if left.size else height

    def steps(self, slopes: list[Array], ages: list[Array], height: float) -> list[Array]:
        """How far each edge goes out over ``height``."""
        out = []
        for slope, age in zip(slopes, ages):
            young = np.clip(self._kink(slope) - age, 0.0, height)
            out.append(young * np.tan(self.steepest) + (height - young) * slope)
        return out


def segments(kept: Array | None, side: float) -> Array:
    """Kept faces as seen along the draw (k, 2, 3): ends of each in plan, with the height of its foot."""
    if kept is None or len(kept) == 0:
        return np.zeros((0, 2, 3))
    tri = np.array(kept, dtype=float)
    cross = np.cross(tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0])
    tri = tri[np.abs(cross[:, 2]) < STANDS * np.linalg.norm(cross, axis=1)]
    tri[:, :, 2] *= side
    sides = np.roll(tri, -1, axis=1) - tri
    longest = np.argmax(np.hypot(sides[:, :, 0], sides[:, :, 1]), axis=1)
    i = np.arange(len(tri))
    ends = np.stack([tri[i, longest], tri[i, (longest + 1) % 3]], axis=1)
    ends[:, :, 2] = tri[:, :, 2].min(axis=1)[:, None]
    return np.asarray(ends)
