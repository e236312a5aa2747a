"""Chances that the sand does not stand the draw, of bodies that share one sand, one hand and one day.

Shared variables are log-normal about their median (the tilt half-normal) and taken on one fixed Sobol set, so every answer is repeatable
and smooth. For a given set of shared values a body breaks with chance Phi(ln U / s), s the scatter from body to body; any-of-n is the
mean over the set of one less the product of what stands. Medians come from the stores; their spreads are below, all memory or guess but
for the strength, whose spread is the sand's own.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr, ndtri

from strickle.base import Array, BadInput, Source
from strickle.mould import draw_law as law
from strickle.mould.draw_bodies import Body, Half
from strickle.mould.draw_cake import Cake
from strickle.mould.draw_lean import towards_tip
from strickle.mould.draw_ledges import Ledge
from strickle.mould.rules import FLEXURAL, bar_strength, constant
from strickle.mould.several import failing
from strickle.stores import Kit, SandRecord, Stores

SPREADS: dict[str, float] = {
    "adhesion": 0.5, "friction": 0.2, "pressure": 0.4, "left": 0.6, "clearance": 0.5, "strain": 0.4, "zone": 0.6, "speed": 0.6, "jerk": 0.5,
    "bond": 0.5,
}  # fmt: skip
"""Standard deviation of the logarithm: pressure, friction, clearance and strain from memory; adhesion and left fitted; the rest guessed."""
NAMES = ("strength", "adhesion", "friction", "pressure", "left", "tilt", "clearance", "strain", "zone", "speed", "jerk", "bond")
KINDS = ("pocket", "edge", "hanging", "handling")
DRAWN = frozenset({"tilt", "speed", "jerk", "clearance"})  # change from draw to draw; the rest is one shop's, known or not
SHOPS, DRAWS = 64, 32
POINTS, FEW, DIMENSIONS = 4096, 1024, 13
LOCAL_STRENGTH, LOCAL_DRAG = 0.15, 0.25  # body to body, of the logarithm; guess
GROOVED = 2.0  # bond to a grooved wall over that to a smooth one; guess
SHEAR = 2.25  # over tensile strength; memory
GAUGED = 0.25  # spread of the drag once a pocket gauge has told it; guess
MEASURED = 0.15  # spread shared by a mould of a strength measured on three bars; guess
BRIDGE = 0.2  # tilt with a bridge or guide pins [deg]; guess


class Shared(NamedTuple):
    """The variables one mould shares, each (n,), SI; tilt in radians, ``left`` a share of ``pressure``."""

    strength: Array
    adhesion: Array
    friction: Array
    pressure: Array
    left: Array
    tilt: Array
    clearance: Array
    strain: Array
    zone: Array
    speed: Array
    jerk: Array
    bond: Array


class Sand(NamedTuple):
    """Medians, spreads and what is fixed."""

    median: Mapping[str, float]
    spread: Mapping[str, float]
    density: float
    passage: float  # permeability [m2]
    local_strength: float = LOCAL_STRENGTH
    local_drag: float = LOCAL_DRAG
    relief: float = 0.65
    lifted: bool = False  # the cope goes up from a whole pattern, and its sand hangs from it
    measured: bool = False  # the strength, by three bars of this sand
    gauged: bool = False  # the drag, by a pocket gauge in this sand

    @property
    def local(self) -> float:
        """Scatter of ln U from body to body."""
        return math.hypot(self.local_strength, self.local_drag)


class Group(NamedTuple):
    """Bodies alike."""

    body: Body
    many: int
    members: tuple[int, ...]
    length: float  # of the half's pattern


class Use(NamedTuple):
    """Utilisations of one body, each (n,)."""

    pull: Array
    tilt: Array
    hang: Array
    weakest: int  # layer at which most of the set pulls hardest


class Chances(NamedTuple):
    """Chances by kind, all of one mould, and any of them."""

    pocket: float
    edge: float
    hanging: float
    handling: float
    any: float


@functools.cache
def normals() -> Array:
    """The fixed set (n, 13) of standard normal values; the Sobol points moved to the middles of their cells."""
    from scipy.stats import qmc

    points = qmc.Sobol(DIMENSIONS, scramble=False).random(POINTS) + 0.5 / POINTS
    return np.asarray(ndtri(np.clip(points, 1e-6, 1.0 - 1e-6)))


def shared(sand: Sand, points: int = POINTS) -> Shared:
    """The shared variables on the first ``points`` of the fixed set; of 1, their medians."""
    out = []
    for i, name in enumerate(NAMES):
        out.append(_value(name, sand, np.zeros(1) if points == 1 else normals()[:points, i]))
    return Shared(*out)


def _value(name: str, sand: Sand, normal: Array) -> Array:
    """A shared variable at standard normal values (n,)."""
    middle = sand.median[name]
    return np.asarray(middle * ndtri((1.0 + ndtr(normal)) / 2.0) if name == "tilt" else middle * np.exp(sand.spread[name] * normal))


def sand_of(record: SandRecord, stores: Stores, used: list[Source], *, rough: bool = False, lifted: bool = False) -> Sand:
    """What is known of the sand, the hand and the flask from the stores and the kit; measured values of the kit over the books'.

    ``rough``: layer lines of the print lie open across the draw. ``lifted``: the cope is lifted off a whole pattern that stays in the drag.
    """
    kit = stores.kit
    names = {
        "adhesion": "adhesion_dusted", "friction": "friction_rough" if rough else "friction",
        "pressure": "wall_pressure", "left": "left_after_rapping", "tilt": "tilt",
        "clearance": "clearance", "strain": "strain", "zone": "zone", "speed": "speed", "jerk": "jerk", "bond": "wall_bond",
    }  # fmt: skip
    median = {name: constant(stores, f"draw.{key}", used).value for name, key in names.items()}
    spread = {**SPREADS, "tilt": 0.0}
    tensile = record.values.get("green_tensile")
    density, afs = record.values.get("density"), record.values.get("permeability")
    if tensile is None or density is None:
        raise BadInput(
            f"sand {record.key} has no {'green_tensile' if tensile is None else 'density'}", "Choose another sand, or give it in the stores"
        )
    median["strength"], spread["strength"] = tensile.value, math.log(tensile.high / tensile.low) / 3.29
    sticks, usual = record.values.get("adhesion"), constant(stores, "draw.adhesion", used)
    if sticks is not None:
        median["adhesion"] *= sticks.value / usual.value
    if kit.lift != "hand":
        median["tilt"] = math.radians(BRIDGE)
    if not kit.rapped:
        median["left"], spread["left"] = 1.0, 0.2
    grooved = kit.flask_walls == "grooved"
    median["bond"] *= GROOVED if grooved else 1.0
    relief = constant(stores, "draw.relief", used).value if grooved else 1.0
    passage = (20.0 if afs is None else afs.value) * constant(stores, "air.permeability_of_afs", used).value
    return _measured(Sand(median, spread, density.value, passage, relief=relief, lifted=lifted), kit, record.key)


def _measured(sand: Sand, kit: Kit, key: str) -> Sand:
    """The sand with what three bars and a pocket gauge have told of it, where they were made of this sand."""
    test = kit.sand_test
    if test is None or key != kit.sand:
        return sand
    median, spread = dict(sand.median), dict(sand.spread)
    bars = np.array([bar_strength(float(reach), test.bar, sand.density)[1] for reach in test.overhangs])
    median["strength"], spread["strength"] = float(np.exp(np.log(bars).mean())), MEASURED
    local = max(0.05, float(np.log(bars).std(ddof=1)))
    if test.gauge is not None:
        drag = median["adhesion"] + median["friction"] * median["left"] * median["pressure"]
        factor = median["strength"] / (4.0 * test.gauge) / drag
        median["adhesion"], median["left"] = median["adhesion"] * factor, median["left"] * factor
        spread.update(adhesion=GAUGED, left=GAUGED, friction=0.05, pressure=0.05)
    return sand._replace(median=median, spread=spread, local_strength=local, measured=True, gauged=test.gauge is not None)


def grouped(half: Half) -> list[Group]:
    """Bodies of a half that are alike within about 3 % put together."""
    found: dict[tuple[float, ...], list[int]] = {}
    for i, body in enumerate(half.bodies):
        sizes = (body.depth, body.width, float(body.area[-1]), float(body.area.min()), float((body.contact * body.thick).sum()))
        marks = tuple(round(math.log(max(size, 1e-12)) / 0.03) for size in sizes)
        turn = (round(float(body.draft.mean()) / 0.003), round(float(body.lean.mean()) / 0.003))
        found.setdefault((*marks, *turn, float(body.side.sum() > 1e-9), float(body.is_through)), []).append(i)
    return [Group(half.bodies[members[0]], len(members), tuple(members), half.length) for members in found.values()]


def use(body: Body, length: float, sand: Sand, given: Shared, least_draft: float = 0.0) -> Use:
    """Utilisations of one body under the shared variables; ``least_draft`` lays more draft [tangent] on a body that has less."""
    column = [np.asarray(v)[:, None] for v in given]
    strength, adhesion, friction = column[0], column[1], column[2]
    left = column[4] * column[3]
    draft = np.maximum(body.draft, least_draft)[None, :]
    drag = law.wall_drag(adhesion, friction, left, strength, body.depth / body.width, draft, SHEAR * strength)
    suck = adhesion + (0.0 if body.is_through else law.AIR * column[9] * body.depth / sand.passage)
    rubbed = drag * (body.contact * body.thick)[None, :]
    force = np.cumsum(rubbed + suck * body.ceiling[None, :], axis=1)
    force[:, :-1] -= rubbed[:, :-1] / 2.0  # the section lies in the middle of its layer, the root at the end of the last
    above = np.cumsum(body.area * body.thick)
    hangs = sand.lifted and body.half == "cope"  # the cope goes up and its sand hangs from it; else the pattern goes up out of sand that stands
    force += (1.0 if hangs else -1.0) * sand.density * law.GRAVITY * above[None, :]
    side = np.cumsum(body.side * body.thick)
    raised = law.corner(body.width, given.zone, body.is_fin)[:, None]
    own = slice(body.own, None)
    pulls = law.pull_off(force[:, own], body.area[None, own], side[None, own], strength, SHEAR * strength, raised)
    pull = pulls.max(axis=1)
    gives = left[:, 0] * body.width * given.strain / (2.0 * given.strength) + law.SEAT
    leans = law.tilted(
        given.tilt,
        given.clearance,
        given.strain,
        pull,
        gives,
        body.depth,
        body.width,
        towards_tip(np.maximum(body.lean, least_draft)[own], body.thick[own]),
        max(length, body.depth),
    )
    hang = np.zeros_like(pull)
    if not side[-1] > 0.0:  # free of other sand on all sides
        hang = law.side_jerk(body.depth, body.width, sand.density, given.jerk, FLEXURAL * given.strength)
    if body.half == "cope":
        long = float((above[own] / (body.area[own] + 0.5 * SHEAR * side[own])).max())  # of a plain bar that hangs as hard
        hang = np.maximum(hang, law.hang(long, 1.0, sand.density, given.jerk, given.strength))
    return Use(pull, leans, hang, body.own + int(np.argmax(pulls.mean(axis=0))))


def breaks(utilisation: Array, local: float) -> Array:
    """Chance of a break for each set of shared values.

    >>> float(breaks(np.array([1.0]), 0.29)[0])
    0.5
    """
    return np.asarray(ndtr(np.log(np.maximum(utilisation, 1e-9)) / local))


def edges(half: Half, sand: Sand, given: Shared, sharpest: float = 90.0, least_draft: float = 0.0) -> Array:
    """Utilisation (n,) of the edges of one half: the parting edge under drag and under a pattern that leans, the ``sharpest`` edge [deg]."""
    strength = given.strength
    drag = np.minimum(given.adhesion + given.friction * given.left * given.pressure, SHEAR * strength)
    worst = law.edge(drag, strength, sharpest)
    draft = max(half.draft, least_draft)
    for lift in np.linspace(0.0, half.depth, 9)[1:-1]:
        into = law.interference(given.tilt, given.clearance, float(lift), half.depth, draft, max(half.length, half.depth))
        worst = np.maximum(worst, law.rim(into, drag, strength, half.depth, half.length))
    return worst


def handled(cake: Cake, sand: Sand, given: Shared) -> tuple[Array, Array]:
    """Utilisations (n,) of bending and of dropping out of one half that is lifted."""
    short, long = sorted((cake.length, cake.width))
    if cake.bars > 0.0:
        short, long = sorted((min(short, cake.bars), long))
    flexural = FLEXURAL * given.strength
    bend = law.cake_bend(short, long, cake.net, cake.load, sand.density, given.jerk, flexural, sand.relief)
    return bend, law.cake_drop(short, long, cake.weight, sand.density, given.jerk, given.bond)


def standing(
    halves: tuple[Half, ...], groups: list[Group], cake: Cake | None, sand: Sand, given: Shared, sharp: Mapping[str, float], least_draft: float = 0.0,
    ledges: tuple[Ledge, ...] = (),
) -> dict[str, Array]:  # fmt: skip
    """Chance (n,) that all of one kind stands, for each set of shared values: pocket, edge, hanging, handling."""
    stands = {name: np.ones(len(given.strength)) for name in KINDS}
    for group in groups:
        found = use(group.body, group.length, sand, given, least_draft)
        stands["pocket"] *= (1.0 - breaks(np.maximum(found.pull, found.tilt), sand.local)) ** group.many
        stands["hanging"] *= (1.0 - breaks(found.hang, sand.local)) ** group.many
    for ledge in ledges:
        stands["hanging"] *= 1.0 - breaks(law.ledge(ledge.reach, ledge.thick, sand.density, given.jerk, FLEXURAL * given.strength), sand.local)
    for half in halves:
        stands["edge"] *= 1.0 - breaks(edges(half, sand, given, sharp.get(half.name, 90.0), least_draft), sand.local)
    if cake is not None:
        for found_use in handled(cake, sand, given):
            stands["handling"] *= 1.0 - breaks(found_use, sand.local)
    return stands


def table(stands: Mapping[str, Array]) -> Array:
    """What ``standing`` gives as rows (4, n) in the order of ``KINDS``."""
    return np.array([stands[name] for name in KINDS])


def crossed(sand: Sand) -> Shared:
    """The shared variables of ``SHOPS`` shops, each drawing ``DRAWS`` times (shops by draws, flat): the first points of the set, crossed."""
    out = []
    for i, name in enumerate(NAMES):
        by_draw = name in DRAWN
        normal = _evened(normals()[: DRAWS if by_draw else SHOPS, i])
        flat = np.tile(normal, SHOPS) if by_draw else np.repeat(normal, DRAWS)
        out.append(_value(name, sand, flat))
    return Shared(*out)


def _evened(normal: Array) -> Array:
    """The same order with the values spread evenly over the normal distribution: few points of the set leave its tails out."""
    rank = np.argsort(np.argsort(normal))
    return np.asarray(ndtri((rank + 0.5) / len(normal)))


def chances(
    halves: tuple[Half, ...], groups: list[Group], cake: Cake | None, sand: Sand, given: Shared, sharp: Mapping[str, float], least_draft: float = 0.0,
    ledges: tuple[Ledge, ...] = (),
) -> Chances:  # fmt: skip
    """Chances of one mould, dependent through what it shares."""
    stands = standing(halves, groups, cake, sand, given, sharp, least_draft, ledges)
    return Chances(*failing(table(stands)).tolist())
