"""Does the sand stand the draw: bodies between the pattern's walls, edges, what hangs, and the cope as it is lifted.

The model and its numbers are the study "drawmodel": linear elastic formulas on measured bodies, log-normal guesses, fitted to the trade's
rule that a pocket is not deeper than wide. Good for ranking causes and cures; its chances are no frequencies.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from strickle.base import Array, Mesh
from strickle.mould import draw_chance as chance
from strickle.mould import draw_law as law
from strickle.mould.draw_bodies import Body, Half, halves
from strickle.mould.draw_cake import Cake
from strickle.mould.draw_chance import Chances, Group, Sand, Shared
from strickle.mould.draw_edges import Edge, sharpest
from strickle.mould.draw_ledges import Ledge, ledges
from strickle.mould.draw_map import face_chances
from strickle.mould.draw_sheet import Sheet, laid_flat
from strickle.mould.draw_tilt import leaning
from strickle.mould.result import Leaning, SandBody, SandLedge
from strickle.mould.rules import FLEXURAL
from strickle.mould.several import banded

CLEAN, LIKELY = 0.1, 0.4  # below the first it draws clean, above the second it is likely to tear
STRONGEST = 8.0  # most that strength is raised in search of what would be enough, times
KINDEST = 1.645  # spreads from the median to the value that 95 of 100 do not pass
MORE_DRAFT = math.tan(math.radians(3.0))  # design's lever: this much draft
SHALLOWER = 0.75  # and this depth, thickness kept
SOUGHT = 12  # most groups whose own strength is sought


class Stood(NamedTuple):
    """How the sand of one mould stands."""

    bodies: tuple[SandBody, ...]  # worst first
    chances: Chances
    governs: str
    enough: float | None
    sharp: dict[str, Edge]
    face_tear: Array
    low: Chances  # that one shop in ten stays under
    high: Chances  # that one in ten goes over
    leaning: tuple[Leaning, ...]
    ledges: tuple[SandLedge, ...]
    draws: Array  # (4, n) chance that all of each kind stands, for each draw
    shops: Array  # (4, k, d) and for shops and their draws


class _Case(NamedTuple):
    """One mould as the chances take it."""

    halves: tuple[Half, ...]
    groups: list[Group]
    cake: Cake | None
    sharp: dict[str, float]
    ledges: tuple[Ledge, ...] = ()

    def chances(self, sand: Sand, given: Shared, least_draft: float = 0.0) -> Chances:
        return chance.chances(self.halves, self.groups, self.cake, sand, given, self.sharp, least_draft, self.ledges)

    def standing(self, sand: Sand, given: Shared) -> Array:
        """Chance (4, n) that all of each kind stands, for each set of shared values."""
        return chance.table(chance.standing(self.halves, self.groups, self.cake, sand, given, self.sharp, 0.0, self.ledges))


def stand(
    cavity: Mesh, cake: Cake | None, sand: Sand, middles: Array | None = None, sheet: Sheet | None = None, normals: Array | None = None
) -> Stood:
    """Judge the sand round a cavity (mould frame, metres); ``middles`` and ``normals`` (m, 3) of the part's faces in the same frame, for the map.

    ``sheet`` is a parting that is not flat; bodies and faces are then looked at as it is laid flat, and their places put back.
    """
    level = laid_flat(cavity, sheet)
    found = halves(level)
    sharp = sharpest(cavity, sheet)
    case = _Case(found, [], cake, {name: edge.angle for name, edge in sharp.items()}, ledges(level))
    for half in found:
        case.groups.extend(chance.grouped(half))
    given = chance.shared(sand)
    draws, shops = case.standing(sand, given), case.standing(sand, chance.crossed(sand)).reshape(-1, chance.SHOPS, chance.DRAWS)
    told, low, high = (Chances(*five.tolist()) for five in banded(draws, shops))
    records: list[SandBody] = []
    on_faces: list[tuple[Body, float]] = []
    judged = sorted(((_one(group, sand, given), group) for group in case.groups), key=lambda pair: -pair[0])
    halves_of = {half.name: half for half in found}
    for rank, (share, group) in enumerate(judged):
        doubtful = share > CLEAN and rank < SOUGHT
        enough = _strength(functools.partial(_one, group), sand) if doubtful else None
        one = _record(group, share, enough, sand, doubtful and enough is None)
        for number in group.members:
            body = halves_of[group.body.half].bodies[number]
            records.append(dataclasses.replace(one, at=_raised(body.at, sheet)))
            on_faces.append((body, share))
    tear = np.zeros(0 if middles is None else len(middles))
    if middles is not None and on_faces:
        tear = face_chances(_lowered(middles, sheet), [body for body, _ in on_faces], [share for _, share in on_faces], normals)
    governs, most = "nothing needed", None
    if told.any > CLEAN:
        governs = _governs(case, sand)
        most = _strength(lambda s, g: case.chances(s, g).any, sand)
    shelves = tuple(_shelf(ledge, sand, given, sheet) for ledge in case.ledges)
    return Stood(
        tuple(records), told, governs, most, sharp, tear, low, high, _leaning(case, sand, sheet), shelves, draws, shops
    )  # fmt: skip


def _raised(at: Array, sheet: Sheet | None) -> Array:
    """A place of the mould laid flat, put back."""
    return at if sheet is None else at + np.array([0.0, 0.0, float(sheet.heights(at[None, :2])[0])])


def _lowered(points: Array, sheet: Sheet | None) -> Array:
    """Places (m, 3) as they lie where the parting is laid flat."""
    return points if sheet is None else points - np.column_stack([np.zeros((len(points), 2)), sheet.heights(points[:, :2])])


def _leaning(case: _Case, sand: Sand, sheet: Sheet | None) -> tuple[Leaning, ...]:
    return tuple(dataclasses.replace(one, at=_raised(one.at, sheet)) for one in leaning(case.groups, sand))


def _shelf(ledge: Ledge, sand: Sand, given: Shared, sheet: Sheet | None) -> SandLedge:
    """What is told of one shelf."""
    middle = chance.shared(sand, 1)
    use, uses = (law.ledge(ledge.reach, ledge.thick, sand.density, some.jerk, FLEXURAL * some.strength) for some in (middle, given))
    share = float(chance.breaks(uses, sand.local).mean())
    return SandLedge(at=_raised(ledge.at, sheet), half=ledge.half, reach=ledge.reach, thick=ledge.thick, use=float(use[0]), chance=share)


def _one(group: Group, sand: Sand, given: Shared) -> float:
    """Chance that one body of a group tears or falls."""
    found = chance.use(group.body, group.length, sand, given)
    return float(chance.breaks(np.maximum(np.maximum(found.pull, found.tilt), found.hang), sand.local).mean())


def _record(group: Group, share: float, enough: float | None, sand: Sand, no_strength: bool) -> SandBody:
    """What is told of one body; where no strength helps it is the lean of the pattern that tears it, whatever the medians say."""
    body = group.body
    found = chance.use(body, group.length, sand, chance.shared(sand, 1))
    pull, tilt, hang = float(found.pull[0]), float(found.tilt[0]), float(found.hang[0])
    governs = "hanging" if hang > max(pull, tilt) else "tilt" if no_strength or tilt > 1.001 * pull else "pull-off"
    return SandBody(
        at=body.at, half=body.half, depth=body.depth, width=body.width, neck_area=float(body.area[found.weakest]), use=pull, kind=body.kind,
        chance=share, tilt=tilt, hang=hang, governs=governs, strength_enough=enough, through=body.is_through,
    )  # fmt: skip


def _strength(share: Callable[[Sand, Shared], float], sand: Sand) -> float | None:
    """Median green tensile strength [Pa] at which a chance falls to 10 %; None where no strength up to ``STRONGEST`` times does it.

    Strain at the break is held, so that stiffer sand does not bend farther: what technique governs, strength does not mend.
    """
    given = chance.shared(sand, chance.FEW)

    def at(factor: float) -> float:
        stronger = sand._replace(median={**sand.median, "strength": sand.median["strength"] * factor})
        return share(stronger, given._replace(strength=given.strength * factor))

    if at(1.0) <= CLEAN:
        return sand.median["strength"]
    low, high = 1.0, STRONGEST
    if at(high) > CLEAN:
        return None
    for _ in range(6):
        middle = math.sqrt(low * high)
        low, high = (low, middle) if at(middle) <= CLEAN else (middle, high)
    return sand.median["strength"] * high


def _governs(case: _Case, sand: Sand) -> str:
    """Which lever lowers the chance of any failure most: each is set to a kind value, the others left."""
    given = chance.shared(sand, chance.FEW)

    def kind(name: str, sign: float) -> Array:
        return np.full_like(given.strength, sand.median[name] * math.exp(sign * KINDEST * sand.spread[name]))

    steady = np.minimum(given.tilt, math.radians(chance.BRIDGE) * given.tilt / max(sand.median["tilt"], 1e-9))
    levers = {
        "sand": case.chances(sand, given._replace(strength=kind("strength", 1.0), adhesion=kind("adhesion", -1.0))).any,
        "technique": case._replace(cake=None)
        .chances(sand, given._replace(tilt=steady, left=kind("left", -1.0), speed=kind("speed", -1.0), jerk=kind("jerk", -1.0)))
        .any,
        "design": _eased(case).chances(sand, given, MORE_DRAFT).any,
    }
    return min(levers, key=lambda name: levers[name])


def _eased(case: _Case) -> _Case:
    """The same part a quarter less deep, as far as its sand goes."""
    groups = [group._replace(body=group.body._replace(thick=group.body.thick * SHALLOWER)) for group in case.groups]
    cake = None if case.cake is None else case.cake._replace(net=case.cake.thick - SHALLOWER * (case.cake.thick - case.cake.net))
    return case._replace(groups=groups, cake=cake)
