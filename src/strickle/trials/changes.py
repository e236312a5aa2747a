"""Changes to the mould that may cure a finding of the freezing, in order of ease for the moulder, the smaller of a kind first."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from strickle.base import Array, Finding, Record, tell
from strickle.melt import Melt, MeltAsk
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.rigging import Chill, Rigging, RiggingAsk, RiserWish
from strickle.trials.cure import Results, find
from strickle.trials.runner import Runner

POUR_STEPS = (20.0, 40.0)  # K hotter or cooler
NECK_STEPS = (1.3, 1.8)  # on the neck's area as it stands
RISER_STEPS = (1.15, 1.35)  # on the riser's diameter as it stands
HIGHER_STEPS = (0.025, 0.05)  # m on the cope, and so on every riser
CHILL_STEPS = (1.0, 1.6)  # thickness over that of the metal at it
CHILL_WIDE = 1.5  # edge over that thickness
CHILL_LEAST, CHILL_MOST, CHILL_WIDEST = 0.010, 0.030, 0.050  # m thick, and edge
SLEEVE_STEPS = (0.010, 0.015)  # m wall
GATE_CLEAR = 0.030  # m round an ingate that is kept from the next try
PLACES = 2  # sides of the part on which a chill is tried

KINDS: Mapping[str, tuple[str, ...]] = {
    "sound.neck_short": ("hotter", "neck", "riser", "chill", "sleeve", "ingate"),
    "sound.neck_close": ("neck", "riser", "chill", "sleeve"),
    "sound.riser_short": ("riser", "higher", "chill", "sleeve", "ingate"),
    "sound.pipe_reaches": ("cooler", "riser", "higher", "sleeve"),
    "sound.cavity": ("cooler", "neck", "riser", "higher", "chill", "sleeve", "ingate"),
    "sound.cut_off": ("cooler", "neck", "riser", "chill", "sleeve", "ingate"),
    "sound.weak_gradient": ("hotter", "chill", "sleeve"),
}
"""Kinds of change by code of the finding, easiest first. Padding and coring out change the part and are not run."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change: its kind, its words from the results after it, and what is asked anew; ``room`` [m] is the box the flask must hold.

    ``series`` names the changes that differ in size only; ``pieces``: how many things are set together.
    """

    kind: str
    words: Callable[[Results], str]
    asks: Mapping[str, Record]
    room: Array | None = None
    series: str = ""
    pieces: int = 1


def changes(code: str, findings: Sequence[Finding], results: Results, runner: Runner, ask: RiggingAsk, room: Array | None) -> Iterator[Change]:
    """Changes that may cure ``findings``, all of one code; ``ask`` and ``room`` are those of the mould that stands."""
    makers = {
        "hotter": lambda: _pour(results, runner, 1.0),
        "cooler": lambda: _pour(results, runner, -1.0),
        "neck": lambda: _risers("neck", NECK_STEPS, findings, results, ask),
        "riser": lambda: _risers("riser", RISER_STEPS, findings, results, ask),
        "sleeve": lambda: _risers("sleeve", SLEEVE_STEPS, findings, results, ask),
        "higher": lambda: _higher(results, ask),
        "chill": lambda: _chills(findings, results, ask),
        "ingate": lambda: _ingate(results, ask),
    }
    for kind in KINDS[code]:
        for change in makers[kind]():
            keep = change.room if change.room is not None else room
            yield dataclasses.replace(change, kind=kind, room=keep, series=f"{kind} {change.series}")


def _pour(results: Results, runner: Runner, way: float) -> Iterator[Change]:
    metal, now, ask = find(results, "metal", Metal), find(results, "melt", Melt).pour_temperature.value, runner.ask("melt")
    if not isinstance(ask, MeltAsk):
        return
    before = now
    for step in POUR_STEPS:
        to = min(max(now + way * step, metal.pour_low), metal.pour_high)
        if abs(to - before) < 5.0:
            return
        before = to
        yield Change(kind="", words=lambda after, to=to: f"pour at {tell(to, 'K')} at the mould", asks={"melt": dataclasses.replace(ask, pour=to)})  # type: ignore[misc]


def _fed_by(findings: Sequence[Finding], results: Results) -> list[int]:
    """Hot spots whose risers the findings name; all risers' where they name none."""
    risers = find(results, "rigging", Rigging).risers
    named = {f.where.body for f in findings if f.where is not None}
    return [r.spot for r in risers if r.name in named] or [r.spot for r in risers]


def _risers(what: str, steps: Sequence[float], findings: Sequence[Finding], results: Results, ask: RiggingAsk) -> Iterator[Change]:
    spots = _fed_by(findings, results)
    if not spots:
        return
    for step in steps:
        wishes = {w.spot: w for w in ask.risers}
        for spot in spots:
            old = wishes.get(spot, RiserWish(spot=spot))
            if what == "neck":
                forced = None if old.neck_area is None else old.neck_area * step
                new = dataclasses.replace(old, neck=old.neck * step, neck_area=forced)
            elif what == "riser":
                new = dataclasses.replace(old, size=old.size * step)
            else:
                new = dataclasses.replace(old, sleeve=step)
            wishes[spot] = new
        yield Change(
            kind="",
            words=lambda after, step=step: _riser_words(what, step, spots, after),  # type: ignore[misc]
            asks={"rigging": dataclasses.replace(ask, risers=tuple(wishes.values()))},
        )


def _riser_words(what: str, step: float, spots: Sequence[int], after: Results) -> str:
    rigging = find(after, "rigging", Rigging)
    told = []
    for riser in (r for r in rigging.risers if r.spot in spots):
        if what == "neck":
            told.append(f"the neck of {riser.name} {tell(riser.neck.area, 'm2')} in section")
        elif what == "riser":
            told.append(f"{riser.name} {tell(riser.diameter, 'm')} across and {tell(riser.height, 'm')} high")
        else:
            told.append(f"a dry insulating sleeve of {tell(step, 'm')} round {riser.name}")
    return " and ".join(told) or "risers that find no place"


def _higher(results: Results, ask: RiggingAsk) -> Iterator[Change]:
    mould = find(results, "mould", Mould)
    if not find(results, "rigging", Rigging).risers:
        return
    for step in HIGHER_STEPS:
        room = np.array(mould.room_for_rigging, dtype=float)
        room[5] += step
        yield Change(
            kind="",
            words=lambda after: f"a cope of {tell(find(after, 'mould', Mould).flask.cope, 'm')}, the risers as high as it",
            asks={"rigging": ask},
            room=room,
        )


def _chills(findings: Sequence[Finding], results: Results, ask: RiggingAsk) -> Iterator[Change]:
    """One chill at each finding's place, on the sides of the part that lie nearest and are free."""
    part, rigging, pattern = find(results, "part", Part), find(results, "rigging", Rigging), find(results, "pattern", Pattern)
    taken = [*(r.neck.at for r in rigging.risers), *(gate.at for gate in rigging.ingates)]
    held = [pattern.turn.T @ ((np.asarray(at) - pattern.shift) / pattern.scale) for at in taken]
    points = [np.asarray(f.where.point, dtype=float) for f in findings if f.where is not None and f.where.point is not None]
    offers = [free_sides(part, point, held) for point in points]
    for number in range(PLACES):
        for step in CHILL_STEPS:
            chills, names = list(ask.chills), {chill.name for chill in ask.chills}
            for offer in (o for o in offers if number < len(o)):
                at, wall = offer[number]
                thick = min(max(step * wall, CHILL_LEAST), CHILL_MOST)
                name = next(n for n in (f"chill-{i}" for i in range(1, len(names) + 2)) if n not in names)
                names.add(name)
                across = min(CHILL_WIDE * thick, CHILL_WIDEST)
                chills.append(Chill(name=name, at=at, across=round(across, 3), thick=round(thick, 3)))
            new = chills[len(ask.chills) :]
            if new:
                words = " and ".join(_chill_words(chill) for chill in new)
                asks = {"rigging": dataclasses.replace(ask, chills=tuple(chills))}
                yield Change(kind="", words=lambda after, words=words: words, asks=asks, series=str(number), pieces=len(new))  # type: ignore[misc]


def _chill_words(chill: Chill) -> str:
    place = ", ".join(tell(float(v), "m") for v in chill.at)
    return (
        f"a steel chill {tell(chill.across, 'm')} square and {tell(chill.thick, 'm')} thick against the part at {place} (part coordinates),"
        " clean, rust-free, coated, warm and dry"
    )  # fmt: skip


def free_sides(part: Part, point: Array, held: Sequence[Array]) -> list[tuple[Array, float]]:
    """Places on the part's surface [m] seen from ``point`` in it along its axes, nearest first, each with the metal's thickness [m] there.

    Left out are places within a thickness of ``held``, where risers and ingates join.
    """
    found = []
    for axis in range(3):
        away = {sign: _reach(part.mesh.vertices, part.mesh.faces, point, axis, sign) for sign in (-1.0, 1.0)}
        wall = away[-1.0] + away[1.0]
        for sign, reach in away.items():
            if not np.isfinite(wall):
                continue
            at = np.array(point, dtype=float)
            at[axis] += sign * reach
            if all(float(np.linalg.norm(at - other)) > max(wall, CHILL_LEAST) for other in held):
                found.append((reach, axis, sign, at, wall))
    return [(at, wall) for _, _, _, at, wall in sorted(found, key=lambda f: f[:3])]


def _reach(vertices: Array, faces: Array, point: Array, axis: int, sign: float) -> float:
    """Distance [m] along an axis from a point to the surface; infinite where nothing is met."""
    one, two = (axis + 1) % 3, (axis + 2) % 3
    a, b, c = (vertices[faces[:, i]] - point for i in range(3))
    u, v = b - a, c - a
    turn = u[:, one] * v[:, two] - u[:, two] * v[:, one]
    with np.errstate(divide="ignore", invalid="ignore"):
        s = (-a[:, one] * v[:, two] + a[:, two] * v[:, one]) / turn
        t = (-a[:, two] * u[:, one] + a[:, one] * u[:, two]) / turn
        depth = sign * (a[:, axis] + s * u[:, axis] + t * v[:, axis])
        hit = (np.abs(turn) > 1e-15) & (s >= -1e-9) & (t >= -1e-9) & (s + t <= 1.0 + 1e-9) & (depth > 0.0)
    return float(depth[hit].min()) if hit.any() else float("inf")


def _ingate(results: Results, ask: RiggingAsk) -> Iterator[Change]:
    """The ingates elsewhere: faces round those that stand are kept free."""
    part, rigging, pattern = find(results, "part", Part), find(results, "rigging", Rigging), find(results, "pattern", Pattern)
    if not rigging.ingates:
        return
    middles = part.mesh.vertices[part.mesh.faces].mean(axis=1)
    laid = pattern.scale * (middles @ pattern.turn.T) + pattern.shift
    near = np.zeros(len(middles), dtype=bool)
    for gate in rigging.ingates:
        near |= np.linalg.norm(laid - gate.at, axis=1) < GATE_CLEAR + 0.5 * gate.width
    marked = tuple(sorted({*ask.marked, *(int(i) for i in np.flatnonzero(near))}))
    if len(marked) == len(ask.marked):
        return

    def words(after: Results) -> str:
        gates = find(after, "rigging", Rigging).ingates
        places = [pattern.turn.T @ ((np.asarray(g.at) - pattern.shift) / pattern.scale) for g in gates]
        return "ingates moved to " + " and ".join(", ".join(tell(float(v), "m") for v in at) for at in places) + " (part coordinates)"

    yield Change(kind="", words=words, asks={"rigging": dataclasses.replace(ask, marked=marked)})
