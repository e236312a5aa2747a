"""The closed formula of pull-off against the cheapest break surface of the whole body, found as a maximum flow."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.csgraph import maximum_flow

from strickle.mould import draw_law as law

STRENGTH, SHEAR, DRAG = 8e3, 18e3, 1.2e3
UNIT = 1e-5  # newtons in one unit of flow


def factor(wide: int, long: int, high: int, cell: float) -> float:
    """How many times the drag on all four walls the body stands: no cut between wall and root is cheaper."""
    number = np.arange(wide * long * high).reshape(wide, long, high)
    source, sink = number.size, number.size + 1
    face = cell**2 / UNIT
    rows, columns, room = [], [], []

    def join(a, b, much):
        rows.extend([a, b])
        columns.extend([b, a])
        room.extend([much, much])

    for axis, strength in ((0, SHEAR), (1, SHEAR), (2, STRENGTH)):
        one, two = np.take(number, range(number.shape[axis] - 1), axis), np.take(number, range(1, number.shape[axis]), axis)
        for a, b in zip(one.ravel(), two.ravel(), strict=True):
            join(a, b, round(strength * face))
    for a in number[:, :, 0].ravel():  # root
        rows.append(a)
        columns.append(sink)
        room.append(round(STRENGTH * face))
    walls = np.zeros(number.shape)
    walls[0] += 1
    walls[-1] += 1
    walls[:, 0] += 1
    walls[:, -1] += 1
    on = np.flatnonzero(walls.ravel())

    def stands(times: float) -> bool:
        loads = np.round(times * DRAG * face * walls.ravel()[on]).astype(int)
        data = np.array([*room, *loads], dtype=np.int32)
        graph = sparse.csr_matrix((data, ([*rows, *([source] * len(on))], [*columns, *on])), shape=(sink + 1, sink + 1), dtype=np.int32)
        return bool(maximum_flow(graph, source, sink).flow_value >= loads.sum() - len(on))

    low, high_end = 0.0, 10.0
    for _ in range(14):
        middle = (low + high_end) / 2
        low, high_end = (middle, high_end) if stands(middle) else (low, middle)
    return low


@pytest.mark.parametrize(("wide", "long", "high"), [(6, 6, 15), (6, 6, 6), (6, 10, 12)])
def test_closed_pocket(wide: int, long: int, high: int):
    cell = 2e-3
    around, section, depth = 2 * (wide + long) * cell, wide * long * cell**2, high * cell
    closed = float(law.pull_off(np.asarray(around * depth * DRAG), np.asarray(section), np.asarray(0.0), STRENGTH, SHEAR, 1.0))
    assert factor(wide, long, high, cell) == pytest.approx(1 / closed, rel=0.02)
