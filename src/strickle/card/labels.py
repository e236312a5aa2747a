"""Labels on a drawing: placed so that none covers another, a leader, a figure, a dimension or an outline; proved before they are handed back.

Places are tried on a raster of the sheet: over sand costs nothing, over metal or thin lines something, over an outline, another label or a
figure is refused. A label that finds no place is replaced by a number, whose words stand in the key beside the drawing: nothing is drawn over
anything, nothing lost. What was placed is tested again by exact geometry (``Proof``), without the raster.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from strickle.base import Array
from strickle.card.lettering import wide
from strickle.card.proof import Box, Written

PAD, GRAIN, FINE, STEP, GAP = 0.9, 1.0, 0.5, 1.5, 0.6
NEAR = 1.5  # a leader shorter than this [mm] would hide under its own label


@dataclass(frozen=True, slots=True)
class Label:
    """Words with the point they speak of [mm on the sheet].

    ``leader`` False for words that name a region by standing in it; ``stays`` is that region. ``key`` holds the words a number stands for.
    """

    words: str
    at: tuple[float, float]
    leader: bool = True
    bold: bool = False
    size: float = 3.0
    stays: Box | None = None
    key: str = ""


@dataclass(frozen=True, slots=True)
class Placed:
    """A label with the box it takes and where its leader meets the box."""

    label: Label
    box: Box
    foot: tuple[float, float]
    cost: float = 0.0

    def written(self) -> Written:
        """As it is proved."""
        label = self.label
        leader = (*label.at, *self.foot) if label.leader else None
        return Written(label.words, self.box, label.size, label.bold, plate=label.leader, leader=leader, stays=label.stays)


class Ground:
    """What lies under the labels: a cost for every millimetre of the sheet."""

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        self.cost = np.zeros((int(height / GRAIN) + 1, int(width / GRAIN) + 1))
        self.shut = np.zeros((int(height / FINE) + 3, int(width / FINE) + 3), dtype=bool)
        self.walls: list[Any] = []

    def area(self, shape: Any, cost: float) -> None:
        """Lay a cost on a shapely area given in sheet millimetres."""
        import shapely

        rows, cols = np.indices(self.cost.shape)
        inside = shapely.contains_xy(shape, (cols.ravel() + 0.5) * GRAIN, (rows.ravel() + 0.5) * GRAIN)
        self.cost += cost * inside.reshape(self.cost.shape)

    def line(self, x1: float, y1: float, x2: float, y2: float, cost: float) -> None:
        """Lay a cost along a line."""
        steps = max(2, int(2 * np.hypot(x2 - x1, y2 - y1) / GRAIN))
        t = np.linspace(0.0, 1.0, steps)
        rows = np.clip(((y1 + t * (y2 - y1)) / GRAIN).astype(int), 0, self.cost.shape[0] - 1)
        cols = np.clip(((x1 + t * (x2 - x1)) / GRAIN).astype(int), 0, self.cost.shape[1] - 1)
        self.cost[rows, cols] += cost

    def wall(self, lines: Any) -> None:
        """Lines (shapely, sheet millimetres) that no label may cover."""
        import shapely

        if lines.is_empty:
            return
        self.walls.append(lines)
        points = shapely.get_coordinates(shapely.segmentize(lines, 0.4 * FINE))
        rows = np.clip((points[:, 1] / FINE).astype(int) + 1, 0, self.shut.shape[0] - 1)
        cols = np.clip((points[:, 0] / FINE).astype(int) + 1, 0, self.shut.shape[1] - 1)
        self.shut[rows, cols] = True

    def covered(self, boxes: Array) -> Array:
        """Which boxes (n, 4) come to lie on a wall, or so near it that it is as good as on it."""
        table = np.zeros((self.shut.shape[0] + 1, self.shut.shape[1] + 1), dtype=np.int64)
        table[1:, 1:] = self.shut.astype(np.int64).cumsum(0).cumsum(1)
        low = np.clip((boxes[:, :2] / FINE).astype(int), 0, None)
        high = (boxes[:, 2:] / FINE).astype(int) + 3
        c0, r0 = np.minimum(low[:, 0], table.shape[1] - 1), np.minimum(low[:, 1], table.shape[0] - 1)
        c1, r1 = np.minimum(high[:, 0], table.shape[1] - 1), np.minimum(high[:, 1], table.shape[0] - 1)
        out: Array = (table[r1, c1] - table[r0, c1] - table[r1, c0] + table[r0, c0]) > 0
        return out

    def sums(self, boxes: Array) -> Array:
        """Cost under each box (n, 4)."""
        table = np.zeros((self.cost.shape[0] + 1, self.cost.shape[1] + 1))
        table[1:, 1:] = self.cost.cumsum(0).cumsum(1)
        c0, r0 = (np.clip((boxes[:, k] / GRAIN).astype(int), 0, s - 1) for k, s in ((0, table.shape[1]), (1, table.shape[0])))
        c1, r1 = (np.clip(np.ceil(boxes[:, k] / GRAIN).astype(int), 0, s - 1) for k, s in ((2, table.shape[1]), (3, table.shape[0])))
        out: Array = table[r1, c1] - table[r0, c1] - table[r1, c0] + table[r0, c0]
        return out

    def along(self, x: Array, y: Array, at: tuple[float, float]) -> Array:
        """Mean cost times length under lines from (x, y) to one point."""
        t = np.linspace(0.0, 1.0, 24)[:, None]
        cols = np.clip(((x + t * (at[0] - x)) / GRAIN).astype(int), 0, self.cost.shape[1] - 1)
        rows = np.clip(((y + t * (at[1] - y)) / GRAIN).astype(int), 0, self.cost.shape[0] - 1)
        out: Array = np.minimum(self.cost[rows, cols], 3.0).mean(axis=0) * np.hypot(x - at[0], y - at[1])
        return out


def _through(x1: Any, y1: Any, x2: Any, y2: Any, low_x: Any, low_y: Any, high_x: Any, high_y: Any) -> Array:
    """Which lines (x1, y1) to (x2, y2) pass through which boxes grown by half a millimetre; all broadcast."""
    first, last = 0.0, 1.0
    for a, d, low, high in ((x1, x2 - x1, low_x - 0.5, high_x + 0.5), (y1, y2 - y1, low_y - 0.5, high_y + 0.5)):
        d = np.where(np.abs(d) < 1e-9, 1e-9, d)
        t, s = (low - a) / d, (high - a) / d
        first, last = np.maximum(first, np.minimum(t, s)), np.minimum(last, np.maximum(t, s))
    out: Array = np.asarray(first < last)
    return out


def _crossed(x1: Array, y1: Array, at: tuple[float, float], other: Placed) -> Array:
    """Which leaders cross another label's leader."""
    (px, py), (qx, qy) = other.label.at, other.foot
    dx, dy = at[0] - x1, at[1] - y1
    ex, ey = qx - px, qy - py
    cross = dx * ey - dy * ex
    safe = np.where(np.abs(cross) < 1e-9, 1.0, cross)
    t = ((px - x1) * ey - (py - y1) * ex) / safe
    s = ((px - x1) * dy - (py - y1) * dx) / safe
    out: Array = (np.abs(cross) > 1e-9) & (t > 0) & (t < 1) & (s > 0) & (s < 1)
    return out


class _Choices:
    """Every place tried for one label, with what the ground and the figures make of it; other labels come on top."""

    def __init__(self, label: Label, ground: Ground, hard: Sequence[Box], points: Sequence[tuple[float, float]]) -> None:
        self.label = label
        w, h = wide(label.words, label.size, label.bold) + 2 * PAD, label.size + 2 * PAD * 0.7
        x, y = np.meshgrid(np.arange(0.5, ground.width - w - 0.5, STEP), np.arange(0.5, ground.height - h - 0.5, STEP))
        self.boxes = np.column_stack([x.ravel(), y.ravel(), x.ravel() + w, y.ravel() + h])
        self.fx, self.fy = np.clip(label.at[0], self.boxes[:, 0], self.boxes[:, 2]), np.clip(label.at[1], self.boxes[:, 1], self.boxes[:, 3])
        reach = np.hypot(self.fx - label.at[0], self.fy - label.at[1])
        self.cost = ground.sums(self.boxes) + 0.9 * reach
        if label.leader:
            self.cost += 30.0 * (reach < 3.0) + 1.6 * ground.along(self.fx, self.fy, label.at)
            self.cost[reach < NEAR] = np.inf
        self.cost[ground.covered(self.boxes)] = np.inf
        if label.stays is not None:
            x0, y0, x1, y1 = label.stays
            self.cost[(self.boxes[:, 0] < x0) | (self.boxes[:, 1] < y0) | (self.boxes[:, 2] > x1) | (self.boxes[:, 3] > y1)] = np.inf
        for box in hard:
            self.cost[self._shut(box)] = np.inf
        for px, py in points:
            self.cost[self._touch((px, py, px, py), 1.0)] = np.inf
        self.taken: dict[tuple[object, ...], Array] = {}

    def _touch(self, box: Box, gap: float) -> Array:
        b = self.boxes
        out: Array = (b[:, 0] - gap < box[2]) & (box[0] < b[:, 2] + gap) & (b[:, 1] - gap < box[3]) & (box[1] < b[:, 3] + gap)
        return out

    def _shut(self, box: Box) -> Array:
        """Places on a box, and those whose leader runs through it."""
        shut = self._touch(box, GAP)
        if self.label.leader:
            shut |= _through(self.fx, self.fy, *self.label.at, *box)
        return shut

    def _by(self, other: Placed) -> Array:
        """Places (their numbers) that another label takes; kept, for the orders that are tried bring it back to the same place."""
        key = (other.box, other.foot, other.label.at, other.label.leader)
        if key not in self.taken:
            shut = self._shut(other.box)
            if other.label.leader:
                shut |= _through(*other.label.at, *other.foot, *self.boxes.T)
                if self.label.leader:
                    shut |= _crossed(self.fx, self.fy, self.label.at, other)
            self.taken[key] = np.flatnonzero(shut)
        return self.taken[key]

    def best(self, others: Sequence[Placed]) -> Placed | None:
        """The cheapest place beside the others, None where there is none."""
        if not len(self.boxes):
            return None
        cost = self.cost.copy()
        for other in others:
            cost[self._by(other)] = np.inf
        pick = int(np.argmin(cost))
        if not np.isfinite(cost[pick]):
            return None
        x0, y0, x1, y1 = (float(v) for v in self.boxes[pick])
        return Placed(self.label, (x0, y0, x1, y1), (float(self.fx[pick]), float(self.fy[pick])), float(cost[pick]))


def _tried(choices: Sequence[_Choices], order: Sequence[int]) -> tuple[float, dict[int, Placed]]:
    """One placing in a given order, improved twice; its cost with a label left out counted as a great deal."""
    placed: dict[int, Placed] = {}
    for _ in range(3):
        before = dict(placed)
        for i in order:
            found = choices[i].best([p for j, p in placed.items() if j != i])
            if found is not None:
                placed[i] = found
        if {i: p.box for i, p in before.items()} == {i: p.box for i, p in placed.items()}:
            break
    cost = 1e4 * (len(choices) - len(placed)) + sum(done.cost for done in placed.values())
    return cost, placed


def place(labels: Sequence[Label], ground: Ground, hard: Sequence[Box]) -> tuple[list[Placed], list[Label]]:
    """Place every label that finds room; the rest is handed back second.

    Several orders are tried, since who comes first takes the best place.
    """
    usual = list(range(len(labels)))
    orders = [usual, *(sorted(usual, key=lambda i, k=k, s=s: s * labels[i].at[k]) for k in (1, 0) for s in (1, -1))]  # type: ignore[misc]
    points = [label.at for label in labels if label.leader]
    choices = [_Choices(label, ground, hard, [p for p in points if p != label.at]) for label in labels]
    _, placed = min((_tried(choices, order) for order in orders), key=lambda tried: tried[0])
    return [placed[i] for i in usual if i in placed], [label for i, label in enumerate(labels) if i not in placed]


def place_all(labels: Sequence[Label], ground: Ground, hard: Sequence[Box]) -> tuple[list[Placed], list[tuple[str, str]]]:
    """Place the labels, by a number where the words find no room; second the key, (number, words), the number empty where even that found none."""
    trial, widest = list(labels), "8" if len(labels) < 10 else "88"
    placed, left = place(trial, ground, hard)
    turns = 0
    while left and any(not label.key for label in trial) and turns < 4:
        turns += 1
        out = {id(label) for label in left if not label.key}
        crowded = any(label.key for label in left)  # not even a number found room: the others make some
        trial = [_numbered(label, widest) if not label.key and (crowded or id(label) in out) else label for label in trial]
        placed, left = place(trial, ground, hard)
    key, count, done = [], 0, []
    for one in placed:  # numbers run in the order of the labels
        if one.label.key:
            count += 1
            key.append((str(count), one.label.key))
            one = replace(one, label=replace(one.label, words=str(count)))
        done.append(one)
    return done, [*key, *(("", label.key or label.words) for label in left)]


def _numbered(label: Label, number: str) -> Label:
    """A number in a label's place; the words go to the key."""
    return replace(label, words=number, key=label.words, bold=True, leader=True, stays=None, size=3.2)
