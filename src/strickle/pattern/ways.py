"""The ways a part can lie, none of them worse than another in everything; which is taken, and why the others are not."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strickle.base import Array, Finding, Mesh, Where, tell
from strickle.pattern.directions import Scored, size_of
from strickle.pattern.good import NONE, Good
from strickle.pattern.parting import Lie, choose
from strickle.pattern.result import Way, aimed

MOST = 6  # ways kept
OFFERED, ODD = 0.4, 0.1  # of the score, by which a way may cost more than the best and be worth a thought; one the part does not offer
APART = np.cos(np.radians(10.0))  # ways nearer than this to a better one are the same to a moulder
TOLD = 3  # ways told beside the one taken
# shares of the part's volume, of its size, and of one (evenness, faces, score): differences below these decide nothing and are not told
SAND, LENGTH, SHARE = 1e-3, 0.02, 0.02


class Settled(NamedTuple):
    """What was chosen, the best with the other side up, and all ways, the chosen one first."""

    lie: Lie
    other: Lie | None
    ways: tuple[Way, ...]


def front(costs: Array) -> Array:
    """Which rows (n,) of ``costs`` (n, k), less being better, no other row beats: none is as good in everything and better in something."""
    no_worse = (costs[None, :, :] <= costs[:, None, :]).all(axis=2)
    better = (costs[None, :, :] < costs[:, None, :]).any(axis=2)
    return np.asarray(~np.any(no_worse & better, axis=1))


def spread(costs: Array, steps: Array) -> Array:
    """Rows (n,) that stand when differences below ``steps`` (k,) decide nothing, and of those the ones not beaten by a hair."""
    kept = np.flatnonzero(front(np.round(costs / steps)))
    out = np.zeros(len(costs), dtype=bool)
    out[kept[front(costs[kept])]] = True
    return out


def _steps(mesh: Mesh, volume: float) -> Array:
    """Differences that decide nothing, in the order of ``_costs``."""
    return np.array([SAND * volume, SAND * volume, LENGTH * size_of(mesh), SHARE, SHARE, 1.0, SHARE])


def _shortlist(found: tuple[Scored, ...]) -> list[Scored]:
    """The best by score, well apart."""
    kept: list[Scored] = []
    for one in found:
        near = one.score < found[0].score + (OFFERED if one.own else ODD)
        if near and len(kept) < MOST and all(abs(one.direction @ other.direction) < APART for other in kept):
            kept.append(one)
    return kept


def _costs(lie: Lie, one: Scored, crooked: bool) -> list[float]:
    deep, lesser = max(lie.cope, lie.drag), min(lie.cope, lie.drag)
    sand = max(lie.gap - one.drilled, 0.0), 0.0 if crooked else max(lie.trapped - lie.gap, 0.0)
    return [*sand, deep, -lesser / deep * one.own, lie.up, float(not one.own), one.score]


def settled(
    mesh: Mesh, found: tuple[Scored, ...], volume: float, spots: Array, limits: tuple[float, float], good: Good = NONE, crooked: bool = False
) -> Settled:  # fmt: skip
    """Levels and ways up for the best of the directions ``found``, and which of them is taken.

    ``spots`` (k, 3) places to feed; ``limits`` of pockets, cope and drag; ``good`` faces that must come out good; ``crooked`` where the joint
    shall follow the part, so that what a flat one traps does not count.
    """
    steps = _steps(mesh, volume)
    tried = [(one, choose(mesh, one.direction, volume, spots, limits, False, None, good)) for one in _shortlist(found)]
    costs = np.array([_costs(lies[0], one, crooked) for one, lies in tried])
    kept = [int(i) for i in np.flatnonzero(spread(costs, steps))]
    best, lies = kept[0], tried[kept[0]][1]
    ways = tuple(_way(tried[i][0], tried[i][1][0], costs[i], i == best, _why(*_reasons(costs[i], costs[best], steps))) for i in kept)
    return Settled(lies[0], next((lie for lie in lies if lie.draw @ lies[0].draw < 0), None), ways)


def _way(one: Scored, lie: Lie, costs: Array, chosen: bool, why: str) -> Way:
    undercut, planar, depth = (float(c) for c in costs[:3])
    return Way(
        up=lie.draw + 0.0, level=lie.level, undercut=undercut, planar=planar, depth=depth, even=min(lie.cope, lie.drag) / depth, faces_up=lie.up,
        square=one.square, own=one.own, score=one.score, chosen=chosen, why=why,
    )  # fmt: skip


def _reasons(costs: Array, best: Array, steps: Array) -> tuple[list[str], list[str]]:
    """In what a way is worse than the one taken, and in what better, in words."""
    undercut, planar, depth, uneven, up, crooked, _ = (float(a - b) for a, b in zip(costs, best, strict=True))
    told = (
        (undercut, f"{tell(abs(undercut), 'm3')} {_than(undercut, 'more', 'less')} sand that no parting releases"),
        (planar, f"a flat parting traps {tell(abs(planar), 'm3')} {_than(planar, 'more', 'less')} beside"),
        (depth, f"its deeper half is {tell(abs(depth), 'm')} {_than(depth, 'deeper', 'shallower')}"),
        (0.0 if crooked else uneven, f"its halves are {_than(uneven, 'less', 'more')} alike in depth"),
        (up, f"{_than(up, 'more', 'less')} of the faces marked good looks up, where dross gathers"),
        (2 * crooked, "nothing of the part is square to it" if crooked > 0 else "more of the part is square to it"),
    )
    big = [(more, says) for (more, says), step in zip(told, steps[:-1], strict=True) if abs(more) > step]
    return [says for more, says in big if more > 0], [says for more, says in big if more < 0]


def _than(more: float, much: str, little: str) -> str:
    return much if more > 0 else little


def _why(worse: list[str], better: list[str]) -> str:
    if not (worse or better):
        return "it costs least, all weighed together"
    text = "; ".join(worse) or "it costs more, all weighed together"
    return f"{text}; for it speaks that {' and '.join(better)}" if better else text


def listed(ways: tuple[Way, ...]) -> list[Finding]:
    """The best of the ways beside the one taken, so that the person can overrule; nothing where there is no other."""
    others = [way for way in ways if not way.chosen][:TOLD]
    if not others:
        return []
    taken = next(way for way in ways if way.chosen)
    count = "one other way to lie is" if len(others) == 1 else f"{len(others)} other ways to lie are"
    return [
        Finding(
            code="pattern.ways",
            weight="NOTE",
            says=f"The part is drawn with {aimed(taken)} up, and {count} better in something",
            because=". ".join([f"The one taken: {taken.why}", *(f"With {aimed(way)} up: {way.why}" for way in others)]),
            do=f"To take another, give the side that shall be up, such as --up {aimed(others[0])}, and plan again",
            where=Where(),
            source="looked for by this program: undercut, what a flat parting traps, depth, evenness of the halves, faces marked good",
        )
    ]
