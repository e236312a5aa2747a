"""Faces that must come out good: how far they look up where dross gathers, and how much of the parting line runs over them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strickle.base import Array


class Good(NamedTuple):
    """Faces that must come out good."""

    corners: Array  # (k, 3, 3)
    normals: Array  # (k, 3)
    areas: Array  # (k,)

    def up(self, draw: Array) -> float:
        """How far they look up with ``draw`` up: 0 all down, a quarter upright, 1 all up; 0 where none is marked.

        Dross and gas rise, so that what must be good is cast down or at least upright (common practice). The square makes two opposite
        faces better off upright than one of them up.
        """
        if not self.areas.size:
            return 0.0
        return float(self.areas @ ((1.0 + self.normals @ draw) / 2) ** 2 / self.areas.sum())

    def seam(self, draw: Array, level: float) -> float:
        """Length of the parting line across them [m]."""
        if not self.areas.size:
            return 0.0
        over = self.corners @ draw - level
        crossed = (over.min(axis=1) < -1e-6) & (over.max(axis=1) > 1e-6)
        length = 0.0
        for z, corners in zip(over[crossed], self.corners[crossed]):
            ends = []
            for i, j in ((0, 1), (1, 2), (2, 0)):
                if (z[i] < 0) != (z[j] < 0):
                    share = z[i] / (z[i] - z[j])
                    ends.append(corners[i] + share * (corners[j] - corners[i]))
            length += float(np.linalg.norm(ends[0] - ends[1])) if len(ends) == 2 else 0.0
        return length


def good(triangles: Array) -> Good:
    """Faces from the corners of their triangles (k, 3, 3) [m]."""
    cross = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    twice = np.linalg.norm(cross, axis=1)
    kept = twice > 0
    return Good(triangles[kept], cross[kept] / twice[kept, None], twice[kept] / 2)


NONE = Good(np.zeros((0, 3, 3)), np.zeros((0, 3)), np.zeros(0))
