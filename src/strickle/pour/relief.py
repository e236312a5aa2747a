"""Relief reached: which letters, ribs and edges the pressure fills while the metal is liquid, and what would save the others."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from strickle.base import GRAVITY, Array, Finding, Margin, Mesh, Span, Where, tell
from strickle.metal import Metal
from strickle.pattern import Pattern
from strickle.pour.detail import edges, normals, strokes
from strickle.pour.press import BEST, LIKELY, WORST, Arrival, gate_reach, pressures, radii, reached_share, sheet_speed
from strickle.pour.result import Relief
from strickle.rigging import Ingate
from strickle.stores import Stores

CAME, SHARP, LOST = 0.7, 0.9, 0.3
"""Share reached from which a letter is held to have come out, from which it is sharp, under which it is lost: guesses of this program."""
MOST_HEAD, MOST_SIZE = 1.0, 10.0
"""m of metal, and times as large: beyond them nothing is proposed."""
SOME, FINER = 0.05, 0.6
"""Share of what stands out that is lost, from which it is told by itself where it is finer than this times the middle of all."""
NODES = 6
"""Widths at which the time to freezing is solved; between them it goes as a power of the width."""
LAW = "Young and Laplace's law, Bernoulli's for the pressure; skin: Campbell, Complete Casting Handbook, 2011 (from memory)"
OPEN_UP = 0.99
"""Upward component of a normal from which a face at the very top of an open mould is the poured back."""


class Press(NamedTuple):
    """What the verdict needs to know of the pour beside the places themselves."""

    tension: Span  # N/m, effective surface tension with the skin
    density: float  # kg/m3, liquid metal
    liquid: Callable[[float], float]  # time [s] that a wall of so many metres stays liquid
    body: float  # s, that of the thinnest wall, for edges
    arrives: Callable[[Array], Arrival]  # how the metal comes to places (n, 3) [m], mould frame
    pattern: Pattern

    def on_part(self, at: Array) -> Array:
        """Places of the mould as places on the part."""
        return np.asarray(((at - self.pattern.shift) / self.pattern.scale) @ self.pattern.turn)


def skin_of(metal: Metal, stores: Stores) -> Span:
    """Effective surface tension [N/m] of the metal with its oxide skin; another metal than aluminium has a share more than clean."""
    if metal.family == "aluminium":
        datum = stores.constants["fill.gamma_skin"]
        return Span(value=datum.value, low=datum.low, high=datum.high)
    datum, clean = stores.constants["fill.gamma_skin_other"], metal.surface_tension
    return Span(value=datum.value * clean, low=datum.low * clean, high=datum.high * clean)


def sheet_arrival(mesh: Mesh, level: float, fall_speed: float, rate: Span, time: float, density: float, tension: Span) -> Callable[[Array], Arrival]:
    """How metal comes to places of an open face: poured over its middle at ``rate`` [kg/s], standing at ``level`` [m] after ``time`` [s].

    WORST is the slowest hand with the strongest skin.
    """
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    middle, lowest = 0.5 * (low + high)[:2], float(low[2])

    def arrives(at: Array) -> Arrival:
        away = np.hypot(at[:, 0] - middle[0], at[:, 1] - middle[1])
        cases = ((rate.low, tension.high), (rate.value, tension.value), (rate.high, tension.low))
        speed = np.stack([sheet_speed(away, fall_speed, flow, density, gamma) for flow, gamma in cases], axis=1)
        head = level - at[:, 2]
        return Arrival(head, speed, time * np.clip(head / max(level - lowest, 1e-9), 0.0, 1.0))

    return arrives


def gate_arrival(ingates: tuple[Ingate, ...], gate_speed: float, level: float, height: Array, waits: Array) -> Callable[[Array], Arrival]:
    """How metal comes to places of a closed mould whose free level is ``level`` [m]; ``waits`` [s] is given at each ``height`` [m], rising.

    WORST: it arrives at rest. LIKELY: the stream has spread on its way from the nearest ingate. BEST: it still has its speed in the ingate.
    """

    def arrives(at: Array) -> Arrival:
        likely = np.zeros(len(at))
        for ingate in ingates:
            likely = np.maximum(likely, gate_reach(np.linalg.norm(at - ingate.at, axis=1), gate_speed, ingate.width))
        best = np.full(len(at), gate_speed if ingates else 0.0)
        wait = np.interp(at[:, 2], height, waits) if len(height) else np.zeros(len(at))
        return Arrival(level - at[:, 2], np.stack([np.zeros(len(at)), likely, best], axis=1), wait)

    return arrives


def relief_of(mesh: Mesh, open_top: bool, press: Press) -> Relief | None:
    """The verdict on a cavity's mesh; None where it has no surface. With ``open_top`` its level top is the poured back."""
    normal, area = normals(mesh.vertices, mesh.faces)
    if not float(area.sum()) > 0.0:
        return None
    high = mesh.vertices[mesh.faces][:, :, 2].min(axis=1)
    back = (normal[:, 2] > OPEN_UP) & (high > mesh.vertices[:, 2].max() - 1e-5)
    in_sand = ~back if open_top else np.ones(len(area), bool)
    fine, edge = strokes(mesh.vertices, mesh.faces, in_sand), edges(mesh.vertices, mesh.faces, in_sand)
    at_edges, law = press.arrives(edge.at), None
    on_edges = pressures(at_edges, np.full(len(edge.at), press.body), press.density)
    told = _told(edge.length, at_edges, on_edges, press)
    if len(fine.at):
        law = Law(fine.width, fine.height, fine.area, press.arrives(fine.at), press)
        told = _told(fine.area, law.arrival, law.pressure, press) | law.facts()
    return Relief(
        **told,
        area=float(fine.area.sum()),
        skin=press.tension,
        at=fine.at,
        at_part=press.on_part(fine.at),
        widths=fine.width,
        heights=fine.height,
        pressures=law.pressure if law is not None else np.empty((0, 3)),
        shares=law.shares() if law is not None else np.empty((0, 3)),
        edge_at=edge.at,
        edge_at_part=press.on_part(edge.at),
        edge_drawn=edge.drawn,
        edge_radii=np.maximum(_bounded(radii(on_edges, press.tension), at_edges.head[:, None]), edge.drawn[:, None]),
    )


def _told(weight: Array, arrival: Arrival, pressure: Array, press: Press) -> dict[str, Any]:
    """What works at the middle place of those given, with nothing said of relief."""
    unknown = _span(np.full(3, np.nan))
    told: dict[str, Any] = dict.fromkeys(("reached", "head_saves", "size_saves", "pressure", "speed", "entry_width", "edge_radius"), unknown)
    told |= dict.fromkeys(("width", "height", "liquid", "head", "wait"), math.nan) | dict.fromkeys(("sharp", "rounded", "lost"), 0.0)
    if len(weight):
        middle = _middle(pressure[:, LIKELY], weight)
        radius = radii(pressure[middle : middle + 1], press.tension)[0]
        told |= {"pressure": _span(pressure[middle]), "speed": _span(arrival.speed[middle]), "head": float(arrival.head[middle])}
        told |= {"wait": float(arrival.wait[middle]), "entry_width": _down(2.0 * radius)}
        told |= {"edge_radius": _down(_bounded(radius, arrival.head[middle]))}
    return told


def _bounded(radius: Array, head: Array | float) -> Array:
    """Roundness is no larger than the metal over the place is deep: then all the side is round."""
    return np.minimum(radius, np.maximum(head, 0.0))


class Law:
    """Places with their width, height [m], area [m2] and arrival, under one pour: what is reached, and under which change."""

    def __init__(self, width: Array, height: Array, area: Array, arrival: Arrival, press: Press) -> None:
        self.width, self.height, self.arrival, self.press = width, height, arrival, press
        self.weight = area / area.sum()
        self.knots = np.geomspace(width.min(), max(min(MOST_SIZE * width.max(), 0.03), 1.01 * width.min()), NODES)
        self.times = np.array([press.liquid(float(w)) for w in self.knots])
        self.pressure = pressures(arrival, self.liquid(width), press.density)

    def liquid(self, width: Array) -> Array:
        """How long [s] metal of each width [m] stays liquid."""
        return np.asarray(np.exp(np.interp(np.log(width), np.log(self.knots), np.log(np.maximum(self.times, 1e-9)))))

    def shares(self, size: float = 1.0, head: float | None = None) -> Array:
        """Share reached (n, 3) with everything ``size`` times as large, or under ``head`` [m] instead of the metal's own."""
        arrival = self.arrival if head is None else self.arrival._replace(head=np.full(len(self.width), head))
        same = size == 1.0 and head is None
        pressure = self.pressure if same else pressures(arrival, self.liquid(size * self.width), self.press.density)
        bent = radii(pressure, self.press.tension)
        return reached_share(size * self.width[:, None], size * self.height[:, None], bent)

    def facts(self) -> dict[str, Any]:
        """What is reached in all, and what would save it."""
        shares = self.shares()
        likely, width = shares[:, LIKELY], _half(self.width, self.weight)
        return {
            "reached": _span(self.weight @ shares),
            "sharp": float(self.weight[likely >= SHARP].sum()),
            "rounded": float(self.weight[(likely < SHARP) & (likely >= LOST)].sum()),
            "lost": float(self.weight[likely < LOST].sum()),
            "width": width,
            "height": _half(self.height, self.weight),
            "liquid": float(self.liquid(np.array([width]))[0]),
            "head_saves": self.head_saves(),
            "size_saves": self.size_saves(),
        }

    def head_saves(self) -> Span:
        """Metal over the places [m] with which CAME of the relief is reached."""

        def share(head: float) -> Array:
            return np.asarray(self.weight @ self.shares(head=head))

        return _down(np.array([_least(share, column, 0.0, MOST_HEAD) for column in range(3)]))

    def size_saves(self) -> Span:
        """Times as large as which CAME of it is reached."""

        def share(size: float) -> Array:
            return np.asarray(self.weight @ self.shares(size=size))

        return _down(np.array([_least(share, column, 1.0 / MOST_SIZE, MOST_SIZE) for column in range(3)]))


def _least(share: Callable[[float], Array], column: int, low: float, high: float) -> float:
    """The least argument for which a column of ``share`` is CAME, looked up again at the end; infinite where the highest does not do."""
    if share(high)[column] < CAME:
        return math.inf
    if share(low)[column] >= CAME:
        return low
    for _ in range(24):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if share(middle)[column] >= CAME else (middle, high)
    return high if share(high)[column] >= CAME else math.inf


def _middle(value: Array, weight: Array) -> int:
    """Number of the place with the weighted median."""
    order = np.argsort(value, kind="stable")
    total = np.cumsum(weight[order])
    return int(order[int(np.searchsorted(total, 0.5 * total[-1]))])


def _half(value: Array, weight: Array) -> float:
    return float(value[_middle(value, weight)])


def _span(band: Array) -> Span:
    """A band that rises from WORST to BEST."""
    return Span(value=float(band[LIKELY]), low=float(band[WORST]), high=float(band[BEST]))


def _down(band: Array) -> Span:
    """A band that falls from WORST to BEST."""
    return Span(value=float(band[LIKELY]), low=float(band[BEST]), high=float(band[WORST]))


def _edges_told(relief: Relief, wall: float, edge: str, because: str) -> Finding:
    """The finding where nothing stands out finely."""
    thin = wall < relief.entry_width.value
    return Finding(
        code="pour.relief",
        weight="MIND" if thin else "NOTE",
        says=f"Edges come out round by {edge}"
        + (f"; the thinnest wall, {tell(wall, 'm')}, is a slot that metal has a chance not to enter" if thin else ""),
        because=because,
        do="Thicken that wall or give it more head" if thin else "Round the part's edges by that much where it matters that they all come alike",
        margin=Margin(value=wall / relief.entry_width.value, unit="1", of="thinnest wall over the narrowest slot that metal enters")
        if math.isfinite(wall)
        else None,
        source=LAW,
    )


def told_of(relief: Relief, wall: float, depth: float, metal: Metal) -> Finding:
    """The one finding of detail. ``wall`` [m] is the thinnest wall that sand bounds on both sides, ``depth`` that of an open pool; infinite else."""
    radius, skin, speed = relief.edge_radius, relief.skin, relief.speed
    is_open = math.isfinite(depth)
    pool = math.sqrt(skin.value / (metal.density_liquidus * GRAVITY))
    shallow = (
        f"; the metal, {tell(depth, 'm')} deep, is shallower than its capillary length of {tell(pool, 'm')}: its surface rules, so this law judges it"
        " and not a splash"
        if depth < pool
        else ""
    )
    because = (
        f"{tell(max(relief.head, 0.0), 'm')} of {metal.name}, arriving at {tell(speed.low, 'm/s')} to {tell(speed.high, 'm/s')}"
        + (" when poured over the middle" if is_open else "")
        + f", press with {tell(relief.pressure.low, 'Pa')} to {tell(relief.pressure.high, 'Pa')} against a skin of {tell(skin.low, 'N/m')} to"
        f" {tell(skin.high, 'N/m')} that wets nothing{shallow}"
    )
    edge = f"{tell(radius.low, 'm', 'fine')} to {tell(radius.high, 'm', 'fine')}"
    if not relief.area > 0.0:
        return _edges_told(relief, wall, edge, because)
    reached = relief.reached
    gone, sure = reached.high < LOST, reached.low >= CAME
    worst = relief.at_part[int(np.argmin(relief.shares[:, LIKELY] * relief.widths))]
    verdict = (
        "it comes out"
        if sure
        else "there is a high chance that it comes out as lumps or not at all"
        if gone
        else "whether it comes out is doubtful: there is a chance that it does not"
    )
    frozen = (
        f"; it stays liquid for {tell(relief.liquid, 's', 'fine')} and the whole head is there after {tell(relief.wait, 's', 'fine')}"
        if relief.liquid < relief.wait
        else ""
    )
    return Finding(
        code="pour.relief",
        weight="NOTE" if sure else "MIND",
        says=f"What stands out finely, about {tell(relief.width, 'm', 'fine')} wide and {tell(relief.height, 'm', 'fine')} high, is filled to "
        f"between {tell(reached.low, '1', '%')} and {tell(reached.high, '1', '%')}, edges round by {edge}: {verdict}",
        because=because + frozen,
        do=_cure(relief, is_open) if not sure else "Pour the first metal over it, without a stop" if is_open else "Keep the basin full to the end",
        where=Where(point=(float(worst[0]), float(worst[1]), float(worst[2]))),
        margin=Margin(value=reached.value, low=reached.low, high=reached.high, unit="1", of="share of what stands out finely that metal fills"),
        source=LAW,
    )


def finest_of(relief: Relief) -> tuple[Finding, ...]:
    """Told by itself: what is lost of the relief while coarser relief beside it comes out, as small letters under a large one."""
    if not len(relief.widths) or relief.reached.high < LOST or relief.lost < SOME:
        return ()
    lost = np.flatnonzero(relief.shares[:, LIKELY] < LOST)
    width, height = float(np.median(relief.widths[lost])), float(np.median(relief.heights[lost]))
    if width > FINER * relief.width:
        return ()
    best = float(np.median(relief.shares[lost, BEST]))
    bent = radii(np.median(relief.pressures[lost], axis=0)[None, :], relief.skin)
    size = _least(lambda s: reached_share(np.full((1, 1), s * width), np.full((1, 1), s * height), bent)[0], LIKELY, 1.0, MOST_SIZE)
    wider = f"Make its strokes {tell(size, '1')} times as wide and as high, or" if size < math.inf else "Make it coarser, or"
    worst = relief.at_part[lost[int(np.argmin(relief.widths[lost]))]]
    return (
        Finding(
            code="pour.relief_lost",
            weight="MIND",
            says=f"The finest of what stands out, {tell(relief.lost, '1', '%')} of it, about {tell(width, 'm', 'fine')} wide and"
            f" {tell(height, 'm', 'fine')} high, has a high chance to come out as lumps or not at all",
            because=f"metal fills {tell(best, '1', '%')} of it at best, whatever the coarser relief beside it does",
            do=f"{wider} leave it out and cut or stamp it into the casting",
            where=Where(point=(float(worst[0]), float(worst[1]), float(worst[2]))),
            margin=Margin(value=1.0 - relief.lost, unit="1", of="share of what stands out finely that is not lost"),
            source=LAW,
        ),
    )


def _cure(relief: Relief, is_open: bool) -> str:
    """What would save the relief by the same law: with the likely skin, or with the strongest where it comes out with the likely one."""
    likely = relief.reached.value < CAME
    size, head = ((span.value if likely else span.high) for span in (relief.size_saves, relief.head_saves))
    ways = []
    if 1.01 <= size < math.inf:
        ways.append(f"strokes {tell(size, '1')} times as wide and as high")
    if max(relief.head, 0.0) < head < math.inf:
        ways.append(f"{tell(head, 'm')} of metal over it, " + ("as in a two-part mould with a high cope" if is_open else "by a higher cope"))
    first = (
        "Pour the first metal over it, briskly and without a stop, and round its edges"
        if is_open
        else "Lay it low in the mould and near an ingate, keep the basin full, and round its edges"
    )
    skin = "likely" if likely else "strongest"
    return f"{first}; {', or '.join(ways)}, may help (reckoned with the {skin} skin)" if ways else f"{first}: that may help"
