"""The filling solved inside the pour: run on its own grid, and what it says gathered for the person."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from scipy import ndimage

from strickle.base import GRAVITY, Array, Grid, Watch, place_for, tearing_speed
from strickle.cavity import CHILL, FLOW_OFF, GRAPHITE, METAL_TAGS, NECK, PART, RISER, RUNNING, SAND, SLEEVE, Cavity
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.pour.ask import PourAsk
from strickle.pour.box import OPEN, POUR, Box, box_of, own_cell
from strickle.pour.filling import fill
from strickle.pour.hand import interruption
from strickle.pour.handing import Bare, bare_places, empty_of, handed_of
from strickle.pour.hydraulics import basin_of, head_of, steady_flow
from strickle.pour.meeting import meetings
from strickle.pour.mouths import Breath, Filling, Mouth, open_air, poured
from strickle.pour.paper import KEPT
from strickle.pour.relief import skin_of
from strickle.pour.result import Pour
from strickle.pour.rules import STOPS
from strickle.pour.shut_in import Hole, Press, Shut, breath_of, pockets_of, shut_at, vents_of
from strickle.pour.solution import GateSolved, LastPlace, Pocket, Seam, Solution
from strickle.rigging import Rigging
from strickle.stores import Stores

LASTS = 0.05
"""s in all that a speed has to last to count: single drops are quicker."""
FULL, REACHED = 0.998, 0.98
SKINNED, MORE = 8e-3, 2.0
"""m of wall under which the metal's skin has to be pressed in, and how much more head than just that is left to stand in risers."""
FILLS = 0.997
"""Share of the part that is full when it is called full: corners of cells that the surface cuts lack."""
LONGER = 2.5
"""Times the hydraulics' slowest fill time after which the solve ends."""
WHOLE = 0.3
"""Room from which a cell speaks for its place."""
MOST_STEPS = 25_000
NEXT = {"rough": "shop", "shop": "fine", "fine": "fine"}
MOST_LAST = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What the filling is solved for."""

    part: Part
    pattern: Pattern
    mould: Mould
    rigging: Rigging
    cavity: Cavity
    metal: Metal
    melt: Melt
    stores: Stores
    ask: PourAsk

    def on_part(self, at: Array) -> Array:
        """Places (n, 3) or (3,) of the mould as places on the part."""
        return np.asarray(((at - self.pattern.shift) / self.pattern.scale) @ self.pattern.turn)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ran:
    """A solve with its grid; ``lead`` [s] is how long metal takes from the sprue's top to where it comes in; ``breath`` is
    what air leaves by, None where it does not resist.
    """

    box: Box
    filled: Filling
    breath: Breath | None
    lead: float
    part: Array

    @property
    def whole(self) -> Array:
        """Cells of the part that the surface leaves for the most part whole: slivers say nothing of temperature and time."""
        return np.asarray(self.part & (self.filled.room > WHOLE))


class Medium(NamedTuple):
    """What a wall is made of."""

    conductivity: float
    density: float
    heat_capacity: float


class _Ended(Exception):
    """A run that goes nowhere."""


def solve(pour: Pour, q: Question, watch: Watch) -> tuple[Pour, str]:
    """The pour with its filling solved; without, and the reason, where the solve did not come to an end."""
    lasts = pour.fill_time.value - pour.break_time
    cell = own_cell(q.rigging, q.cavity, q.part.least_wall, lasts, q.ask.preset)
    skin = skin_of(q.metal, q.stores).value
    needs = 2.0 * skin / (q.part.least_wall * q.metal.density_liquidus * GRAVITY) if q.part.least_wall < SKINNED else 0.0
    box = box_of(q.rigging, q.cavity, cell, MORE * needs)
    if not (box.bodies == PART).any():
        return pour, "the casting's walls are so thin that no cell of the filling lies for the most part in them"
    ran, why = None, ""
    for knobs in dict.fromkeys((q.ask.preset, NEXT[q.ask.preset])):
        ran, why = _run(pour, q, box, knobs, watch)
        if ran is not None:
            break
    if ran is None:
        return pour, why
    return dataclasses.replace(
        pour,
        solution=solution_of(pour, q, ran),
        arrival=(ran.filled.arrival + ran.lead).astype(np.float32),
        arrival_temperature=ran.filled.arrival_temperature.astype(np.float32),
        arrival_speed=ran.filled.arrival_speed.astype(np.float32),
        filling_origin=np.asarray(box.grid.origin, dtype=float),
        handed=handed_of(q, ran),
    ), ""


def _run(pour: Pour, q: Question, box: Box, knobs: str, watch: Watch) -> tuple[Ran | None, str]:
    """One run, or why it gave nothing."""
    calls = 0

    def heard(share: float, says: str) -> None:
        nonlocal calls
        calls += 1
        if not math.isfinite(share):
            raise _Ended("the speeds ran wild")
        if calls * 10 > MOST_STEPS:
            raise _Ended("it took too many steps")
        watch(share, says)

    mouth, lead = _mouth(pour, q, box)
    breath = breath_of(q.mould, q.stores)
    if breath is not None:
        breath = dataclasses.replace(breath, vents=vents_of(_holes(q), box.bodies == PART, np.asarray(box.grid.origin), box.grid.cell))
    warm, cold = q.melt.pour_temperature.value, q.stores.kit.ambient
    metals, media = (*METAL_TAGS, *box.gates.values()), _media(q, box.grid)
    try:
        filled = fill(
            box.grid,
            dict.fromkeys(metals, q.metal) | media | {POUR: mouth, OPEN: open_air()},
            start=dict.fromkeys(metals, warm) | dict.fromkeys(media, cold),
            until=LONGER * (pour.fill_time.high if math.isfinite(pour.fill_time.high) else 2.0 * pour.fill_time.value) + pour.break_time,
            full=FILLS,
            counts=(PART,),
            preset=knobs,
            contact=q.mould.contact,
            surface=q.rigging.casting,
            friction=0.25 * _constant(q.stores, "loss.friction", 0.0),
            skin={PART: skin_of(q.metal, q.stores).value},  # the running system is pressed by the whole head, and its law knows no skin
            breath=breath,
            stands=STOPS.value,
            gauges=box.gates,
            watch=heard,
            checkpoint=place_for(watch, knobs),
        )
    except _Ended as trouble:
        return None, str(trouble)
    if filled.status not in ("filled", "stands", "done") or not math.isfinite(filled.full):
        return None, filled.status if math.isfinite(filled.full) else "the speeds ran wild"
    part = (box.bodies == PART) & (filled.room > 0.0)
    return Ran(box=box, filled=filled, breath=breath, lead=lead, part=part), ""


def _constant(stores: Stores, name: str, otherwise: float) -> float:
    return stores.constants[name].value if name in stores.constants else otherwise


def _media(q: Question, grid: Grid) -> dict[int, Any]:
    """Sand, and what lies in it where there is any."""
    out: dict[int, Any] = {SAND: Medium(q.mould.sand_conductivity, q.mould.sand_density, q.mould.sand_heat)}
    for tag, stem, conducts in ((CHILL, "chill.steel_", "k"), (GRAPHITE, "chill.graphite_", "k"), (SLEEVE, "sleeve.", "conductivity")):
        names = [f"{stem}{what}" for what in (conducts, "density", "heat_capacity")]
        if np.any(grid.tags == tag) and all(name in q.stores.constants for name in names):
            out[tag] = Medium(*(q.stores.constants[name].value for name in names))
    return out


def _mouth(pour: Pour, q: Question, box: Box) -> tuple[Mouth, float]:
    """Metal as it is poured: the hand's rate under the pressure of the basin, or the flow of the law; and the time it is later."""
    hand, rigging = pour.hand, q.rigging
    assert hand is not None
    goes, begins = hand.likely, basin_of(rigging) / hand.rate.value
    head = head_of(rigging, KEPT[q.ask.kept_full][0])
    most = q.metal.density_liquidus * GRAVITY * max(head.total - box.level, 1e-3)
    at = np.concatenate(([begins], goes.time[goes.time > begins + 1e-9]))
    warm = np.array([goes.temperature_at(t) for t in at])
    if box.by_law:
        flow = np.array([goes.flow_at(t) for t in at])
        sprue = 0.5 * (rigging.sprue.top_area + rigging.sprue.base_area) * rigging.sprue.height
        steady = min(steady_flow(rigging, head, rigging.discharge), hand.rate.value)
        lead = sprue / max(steady, 1e-12)
        flow[-1] = goes.flow[-1]
        late = at > begins + pour.fill_time.value  # a mould that takes longer than was reckoned is not poured at what its risers would take
        flow = np.where(late & (flow > 0.0), np.maximum(flow, steady), flow)
        return poured(flow, times=at - begins, temperature=warm, most=most, shut=True), lead
    stop = interruption(q.ask)
    flow = np.full(len(at), hand.rate.value)
    if stop is not None:
        edges = np.array([t for t in (stop[0], stop[0] + stop[1]) if t > begins])
        at = np.unique(np.concatenate((at, edges)))
        warm = np.array([goes.temperature_at(t) for t in at])
        flow = np.where((at >= stop[0]) & (at < stop[0] + stop[1]), 0.0, hand.rate.value)
    return poured(flow, times=at - begins, temperature=warm, most=most), 0.0


def solution_of(pour: Pour, q: Question, ran: Ran) -> Solution:
    """What a run says."""
    filled, box, part = ran.filled, ran.box, ran.part
    cell = box.grid.cell
    room = filled.room[part]
    share = np.nan_to_num(filled.share[part])
    full = _full_time(filled.arrival[part], room) + ran.lead
    warm = filled.arrival_temperature[ran.whole]
    came = np.isfinite(warm)
    coldest = float(np.percentile(warm[came], 1.0)) if came.any() else math.nan
    solid = np.nan_to_num(filled.solid[part])
    speed, where = _wall_speed(filled, ran.whole)
    running = (box.bodies == RUNNING) & (filled.room > 0.0)
    metal = np.nan_to_num(filled.share) * filled.room
    left = (filled.room - metal)[running].sum() / max(filled.room[running].sum(), 1e-12)
    places = bare_places(ran)
    volume, empty = empty_of(q, places)
    return Solution(
        cell=cell,
        cells=int(np.count_nonzero(filled.room > 0.0)),
        across_wall=q.part.least_wall / cell,
        flow_from="law" if box.by_law else "mould",
        status=filled.status,
        fill_time=full,
        ratio=full / pour.fill_time.value,
        gates=_gates(q, ran),
        last=_last(q, ran),
        seams=_seams(q, ran),
        pockets=_pockets(pour, q, ran, places),
        empty_volume=volume,
        empty=empty,
        coldest=coldest,
        stiffest=solid_at(q.metal, coldest),
        solid=float((solid * share * room).sum() / max((share * room).sum(), 1e-12)),
        wall_speed=speed,
        wall_speed_at=q.on_part(box.middle(where)),
        sprue_empty=float(left),
        risen=float(metal[np.isin(box.bodies, (RISER, NECK, FLOW_OFF))].sum()) * cell**3,
        metal_balance=filled.metal_balance,
        heat_balance=filled.heat_balance,
        metal_loss=filled.metal_loss,
        steps=filled.steps,
    )


def solid_at(metal: Metal, temperature: float) -> float:
    """Fraction solid [1] of the metal at a temperature [K]."""
    return float(np.interp(-temperature, -np.asarray(metal.curve_temperature), np.asarray(metal.curve_solid))) if math.isfinite(temperature) else 0.0


def _full_time(arrival: Array, room: Array) -> float:
    """When FULL of what metal reaches has been reached [s]; NaN where that is not about all: corners of cut cells are let be."""
    come = np.isfinite(arrival)
    reached = float(room[come].sum())
    if not reached > REACHED * float(room.sum()):
        return math.nan
    order = np.argsort(arrival[come])
    at = int(np.searchsorted(np.cumsum(room[come][order]), FULL * reached))
    return float(arrival[come][order][min(at, int(come.sum()) - 1)])


def _gates(q: Question, ran: Ran) -> tuple[GateSolved, ...]:
    filled = ran.filled
    long = np.diff(filled.times, append=filled.times[-1])
    critical = {ingate.name: ingate.critical for ingate in q.rigging.ingates}
    least = tearing_speed(q.metal.surface_tension, q.metal.density_liquidus)
    mean = _mean_speeds(q, ran)
    out = []
    for k, name in enumerate(filled.gauge_names):
        limit = max(critical.get(name, 0.0), least)
        over = float(long[mean[k] > limit].sum())
        out.append(
            GateSolved(
                name=name, highest=_lasting(mean[k], long), local=_lasting(filled.gauge_most[k], long), critical=limit, over=over,
            )
        )  # fmt: skip
    return tuple(out)


def _mean_speeds(q: Question, ran: Ran) -> Array:
    """Mean speeds in the ingates (n, k): as solved, or on cells too coarse for the choke what is poured over their sections, shared out as solved."""
    filled = ran.filled
    if not ran.box.by_law or len(filled.times) < 3:
        return filled.gauge_mean
    area = {ingate.name: ingate.area for ingate in q.rigging.ingates}
    section = np.array([area.get(name, math.nan) for name in filled.gauge_names])[:, None]
    mean = np.trapezoid(filled.gauge_mean, filled.times, axis=1)[:, None] * section
    share = mean / max(float(np.nansum(mean)), 1e-30)
    begun = np.maximum.accumulate(filled.gauge_mean > 0.0, axis=1)
    return np.asarray(np.where(begun, np.nan_to_num(share * np.gradient(filled.inflow, filled.times) / section), 0.0))


def _lasting(speed: Array, long: Array) -> float:
    """The speed passed for LASTS in all."""
    order = np.argsort(-speed)
    at = int(np.searchsorted(np.cumsum(long[order]), LASTS))
    return float(speed[order][min(at, len(order) - 1)])


def _last(q: Question, ran: Ran) -> tuple[LastPlace, ...]:
    """The latest place, and others that are the latest far around."""
    arrival = np.where(ran.whole, ran.filled.arrival, np.nan)
    there = np.argwhere(np.isfinite(arrival))
    if not len(there):
        return ()
    times = arrival[tuple(there.T)]
    apart = 0.2 * float(np.linalg.norm(np.ptp(ran.box.middle(there), axis=0)))
    order = np.argsort(-times)
    chosen: list[tuple[Array, int]] = []
    late = float(np.percentile(times, 90.0))
    for one in order:
        at = ran.box.middle(there[one])
        if times[one] < late or len(chosen) == MOST_LAST:
            break
        if all(np.linalg.norm(at - other) > apart for other, _ in chosen):
            chosen.append((at, int(one)))
    warm = ran.filled.arrival_temperature[tuple(there.T)]
    return tuple(
        LastPlace(at=at, at_part=q.on_part(at), time=float(times[one]) + ran.lead, temperature=float(warm[one])) for at, one in chosen
    )  # fmt: skip


def _seams(q: Question, ran: Ran) -> tuple[Seam, ...]:
    cell = ran.box.grid.cell
    return tuple(
        Seam(
            at=(at := ran.box.middle(one.at)),
            at_part=q.on_part(at),
            time=one.time + ran.lead,
            area=one.faces * cell * cell,
            colder=one.colder,
            warmer=one.warmer,
            solid=solid_at(q.metal, one.colder),
        )
        for one in meetings(ran.filled.arrival, ran.filled.arrival_temperature, ran.whole, cell)
    )


def _holes(q: Question) -> list[Hole]:
    """Vents that open into the cavity."""
    return [Hole(np.asarray(v.at), 0.25 * math.pi * v.diameter**2) for v in q.rigging.vents if v.kind == "open"]


def _pockets(pour: Pour, q: Question, ran: Ran, places: list[Bare]) -> tuple[Pocket, ...]:
    """Air that was shut in; what stays of it as the solve left it, where air resists in it, else by the law."""
    grid, head = ran.box.grid, head_of(q.rigging, KEPT[q.ask.kept_full][0])
    press = Press(density=q.metal.density_liquidus, level=head.total, liquid=pour.fluid_time.value)
    seen = pockets_of(ran.filled, ran.part, np.asarray(grid.origin), grid.cell, ran.breath, press, _holes(q))
    stays = [one for one in places if one.by_air]
    out = []
    for one in seen:
        reach = (6.0 * one.volume / math.pi) ** (1.0 / 3.0) + grid.cell
        mine = [other for other in stays if np.linalg.norm(other.at - one.at) < reach]
        stays = [other for other in stays if all(other is not taken for taken in mine)]
        left = one.left if ran.breath is None else sum(other.volume for other in mine)
        out.append(_pocket(q, one, one.time + ran.lead, left))
    for other in stays:  # air that was first seen as part of a larger place
        made = shut_at(other.at, ran.filled.time, other.volume, ran.filled.time, ran.breath, press, _holes(q), grid.cell)
        out.append(_pocket(q, made, made.time + ran.lead, other.volume))
    return tuple(sorted(out, key=lambda pocket: (-pocket.left, -pocket.volume)))


def _pocket(q: Question, one: Shut, time: float, left: float) -> Pocket:
    return Pocket(
        at=one.at, at_part=q.on_part(one.at), time=time, volume=one.volume, left=left, through_sand=one.through_sand,
        through_vents=one.through_vents, vent=one.vent,
    )  # fmt: skip


def _wall_speed(filled: Filling, part: Array) -> tuple[float, Array]:
    """Speed that one part in a hundred of the metal beside walls passes on arrival, and the cell of the highest."""
    walls = part & ndimage.binary_dilation(filled.room <= 0.0) & np.isfinite(filled.arrival_speed)
    if not walls.any():
        return math.nan, np.full(3, math.nan)
    speed = np.where(walls, filled.arrival_speed, -1.0)
    return float(np.percentile(filled.arrival_speed[walls], 99.0)), np.array(np.unravel_index(int(np.argmax(speed)), speed.shape), dtype=float)
