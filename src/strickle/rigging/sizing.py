"""Sizes before solids: choke, sprue, runner, ingates and basin for a pour one hand can make, and a riser's first guess."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strickle.base import Finding, Margin, Record, Source, si, tearing_speed, tell, word
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import HotSpot, Part
from strickle.rigging.ask import RiggingAsk, RiserWish
from strickle.rigging.basin import LEAN
from strickle.rigging.losses import LOSS_SOURCES, discharge_first, discharge_full, mean_head, speed, sprue_loss
from strickle.rigging.rules import riser_volume_efficiency, sprue_taper_area
from strickle.stores import Kit

LEAST_CHOKE = math.pi / 4.0 * 0.008**2
"""m2. A round choke of 8 mm: a thinner one is blocked by a crumb of sand and cannot be drawn whole (common practice)."""
ALUMINIUM = 2380.0
"""kg/m3 of the melt the kit's pouring rates are stated for."""
UNHURRIED = 0.25
"""Design pour time over the thinnest wall's fluid time: slow enough for calm gates, with a margin of four against a misrun."""
HURRY = 1.0 / 1.5
"""Pour time over fluid time above which the person is told; the pour room judges by the same margin of one and a half."""
STILL_FLUID = 0.35
"""Share of the freezing heat gone when a thin section stops flowing: 0.3 to 0.5, Flemings 1974 (from memory)."""
REACH = 0.95
"""Share of the metal height in a half-full basin that a part may reach up to."""
GATE_MARGIN = 0.9
"""Design gate speed over the critical speed."""
RUNNER_RATIO = 2.0
"""Runner section over choke, unpressurised 1:2 (common practice)."""
TAPER_ALLOWANCE = 1.15
"""Sprue top over the ideal taper: 10 to 20 % for losses, Campbell 2003 (from memory)."""
CUP_FLOW = 0.25 / ALUMINIUM
"""m3/s: a slower pour takes a round cup over the sprue, a faster one a long basin beside it (common practice)."""
LEAST_CUP = 0.040
"""m across the rim of a cup: a pot's lip finds it (common practice)."""
BASIN_HOLDS = 1.0
"""s of flow that a long basin holds: 1 to 1.5 s lets the hand waver, more is metal melted for nothing (common practice)."""
BASIN_LONG = 1.6
"""length over width of a long basin at its rim."""
RISER_TIME = 1.25
"""Wished freezing time of a riser over that of what it feeds: a little over the 1.2 the verdict asks for."""
ROUND_BODY = 0.746
"""Freezing time of a cylinder over a plate of the same modulus in sand (143.4 s over 192.3 s, sand-controlled, exact)."""
NECK = 1.1
"""Neck modulus over that of the spot."""
SHORT_NECK = 0.8
"""A short neck between two hot bodies may be this much thinner (guess; the freezing solve judges)."""
SLIM = 1.5
"""Riser height over diameter for the first guess."""
SLOW = 0.6  # of the slowest steady pour: a mould that takes less is minded, between this and the whole it is noted (a choice)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sizes(Record):
    """Sections and sizes of the running system."""

    pour_time: float = si("s", "time to fill at the design flow")
    flow: float = si("m3/s", "mean flow while filling")
    peak_flow: float = si("m3/s", "flow at the start, before the rising metal holds it back")
    head: float = si("m", "effective metal height over the ingates, the rising metal counted")
    discharge: float = si("1", "discharge coefficient of the full system")
    choke_area: float = si("m2", "least section: the sprue's base")
    sprue_top_area: float = si("m2", "section at the cope top")
    sprue_base_area: float = si("m2", "section at the well")
    runner_area: float = si("m2", "section of the runner")
    ingate_area: float = si("m2", "flow section of all ingates together")
    gate_speed: float = si("m/s", "highest speed in the ingates, first metal counted")
    critical_speed: float = si("m/s", "speed above which the front is torn")
    thin_speed: float = si("m/s", "the same in an ingate of a few millimetres", default=0.0)
    fluid_time: float = si("s", "how long the thinnest wall stays fluid, first guess by the sand law")
    basin_depth: float = si("m", "metal kept over the sprue's top")
    basin_width: float = si("m", "across, at the rim")
    basin_length: float = si("m", "along, at the rim; as long as wide it is a round cup")
    findings: tuple[Finding, ...] = word("limits that clash", inner=True, default=())
    sources: tuple[Source, ...] = word("rules used", inner=True, default=())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiserSize(Record):
    """First guess of one riser; the freezing solve judges it."""

    diameter: float = si("m", "at the foot of its body")
    height: float = si("m", "least; an open riser is carried up to the cope top")
    neck_area: float = si("m2", "section of its neck")
    modulus: float = si("m", "volume over cooled surface, side and open top")
    why: str = word("what decided the size: freezing time, volume to feed, least or greatest size")


def sand_heat(time: float, effusivity: float, contact: float, drive: float) -> float:
    """Heat [J/m2] that deep sand takes in ``time`` [s] from metal held ``drive`` [K] hotter, through ``contact`` [W/(m2 K)].

    Exact for constant metal temperature: Carslaw and Jaeger, Conduction of Heat in Solids, 1959, half-space with surface resistance.

    >>> round(sand_heat(120.0, 1008.464, 1e9, 640.0) / 1e6, 3)
    7.978
    """
    x = contact * math.sqrt(time) / effusivity
    tail = math.exp(x * x) * math.erfc(x) if x < 5.0 else (1.0 - 0.5 / x**2 + 0.75 / x**4) / (x * math.sqrt(math.pi))
    return drive * effusivity * (2.0 * math.sqrt(time / math.pi) - effusivity / contact * (1.0 - tail))


def _fluid_time(wall: float, metal: Metal, ambient: float, mould: Mould | None) -> float:
    """First guess [s] of how long a wall between two sand faces flows, poured at the middle of the metal's window."""
    effusivity, contact = 1018.0, 600.0  # rammed silica sand, from memory, where no mould is given
    if mould is not None:
        effusivity = math.sqrt(mould.sand_conductivity * mould.sand_density * mould.sand_heat)
        contact = mould.contact
    superheat = max(0.5 * (metal.pour_low + metal.pour_high) - metal.liquidus, 10.0)
    stops = float(np.interp(STILL_FLUID, metal.curve_solid, metal.curve_temperature))
    sensible = metal.liquid_heat * (superheat + metal.liquidus - stops)
    wanted = 0.5 * wall * metal.density_liquidus * (sensible + STILL_FLUID * metal.latent_heat)
    low, high = 0.0, 1e5
    for _ in range(80):
        middle = 0.5 * (low + high)
        if sand_heat(middle, effusivity, contact, metal.liquidus + 0.3 * superheat - ambient) < wanted:
            low = middle
        else:
            high = middle
    return high


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sections(Record):
    """Sections of one trial choke and what they pass."""

    top: float = si("m2", "sprue top")
    depth: float = si("m", "basin depth")
    cup: bool = word("a round cup over the sprue")
    ingate: float = si("m2", "all ingates")
    discharge: float = si("1", "full system")
    first: float = si("m3/s", "first metal")
    peak: float = si("m3/s", "full system, mould empty")
    mean: float = si("m3/s", "while the mould fills")


def _sections(choke: float, cope_height: float, rise: float, critical: float) -> _Sections:
    """Everything that follows from one choke under a cope of this height: with a cup where the flow is small, else with a basin."""
    small = _with_basin(choke, cope_height, rise, critical, True)
    return small if small.peak < CUP_FLOW else _with_basin(choke, cope_height, rise, critical, False)


def basin_volume(width: float, length: float, depth: float) -> float:
    """Metal [m3] in a basin with round ends, ``width`` and ``length`` [m] at its rim, sides leaning in by 10 degrees.

    >>> round(basin_volume(0.040, 0.040, 0.0268) * 1e6, 1)
    26.3
    """
    spine = max(length - width, 0.0)
    widths = (width, width - depth * math.tan(LEAN), width - 2.0 * depth * math.tan(LEAN))
    rim, middle, floor = (w * spine + math.pi / 4.0 * w * w for w in widths)
    return depth / 6.0 * (rim + 4.0 * middle + floor)


def _basin_size(found: _Sections) -> tuple[float, float]:
    """Width and length [m] at the rim."""
    top_width = math.sqrt(4.0 * found.top / math.pi)
    if found.cup:
        width = max(LEAST_CUP, 2.5 * top_width)
        return width, width
    low, high = top_width, 0.5
    for _ in range(60):
        middle = 0.5 * (low + high)
        if basin_volume(middle, BASIN_LONG * middle, found.depth) < BASIN_HOLDS * found.mean:
            low = middle
        else:
            high = middle
    return high, BASIN_LONG * high


def _with_basin(choke: float, cope_height: float, rise: float, critical: float, cup: bool) -> _Sections:
    """The sections with a cup or a basin on the sprue."""
    depth = 0.03
    top = choke
    for _ in range(8):
        # the taper law wants more top for a shallow basin, and a wide top wants a deep basin; half full it must not drink air yet
        top = TAPER_ALLOWANCE * choke / sprue_taper_area(1.0, 0.5 * depth, cope_height)
        depth = 2.0 * math.sqrt(4.0 * top / math.pi)
        depth = min(max(depth, 0.025), 0.030) if cup else max(depth, 0.030)
    head = cope_height + depth
    loss = sprue_loss(choke, top, cope_height)
    first = discharge_first(loss) * choke * speed(head)
    ingate = max(first / (GATE_MARGIN * critical), choke)
    discharge = discharge_full(loss, choke, RUNNER_RATIO * choke, ingate)
    return _Sections(
        top=top,
        depth=depth,
        cup=cup,
        ingate=ingate,
        discharge=discharge,
        first=first,
        peak=discharge * choke * speed(head),
        mean=discharge * choke * speed(mean_head(head, rise)),
    )


def _choke_for(time: float, volume: float, cope_height: float, rise: float, critical: float) -> float:
    """Choke [m2] that fills ``volume`` in ``time``; both losses and basin follow the choke, so it is found by halving."""
    low, high = 1e-7, 0.02
    for _ in range(60):
        middle = math.sqrt(low * high)
        if _sections(middle, cope_height, rise, critical).mean * time < volume:
            low = middle
        else:
            high = middle
    return high


def size_running(
    poured_volume: float,
    least_wall: float,
    cope_height: float,
    height_above_gate: float,
    metal: Metal,
    kit: Kit,
    ask: RiggingAsk,
    mould: Mould | None = None,
    thin_speed: float = 0.0,
) -> Sizes:
    """Running system for ``poured_volume`` [m3] under a cope of ``cope_height`` [m]; the basin stands on the cope.

    ``height_above_gate`` [m] is how far the part reaches above its ingates. The pour aims at a quarter of the time the thinnest wall allows, as
    far as a steady hand can; the choke is never under 8 mm across. Limits that clash are findings. ``mould`` gives the sand,
    ``thin_speed`` [m/s] what metal bears in ingates of a few millimetres.

    Sources: Torricelli's law with published loss coefficients (see ``losses``); Campbell's critical speed and taper (from memory).
    """
    critical = tearing_speed(metal.surface_tension, metal.density_liquidus)
    rise = min(height_above_gate, REACH * (cope_height + 0.015))
    fastest, slowest = kit.pour_rate_high / ALUMINIUM, kit.pour_rate_low / ALUMINIUM
    fluid = _fluid_time(least_wall, metal, kit.ambient, mould)
    floor = _sections(LEAST_CHOKE, cope_height, rise, critical)
    surge = floor.peak / floor.mean  # start over mean, nearly the same for every choke
    hand_fast, hand_slow = poured_volume * surge / fastest, poured_volume * surge / slowest
    wish = ask.pour_time if ask.pour_time is not None else UNHURRIED * fluid
    time = min(max(wish, hand_fast), hand_slow)
    choke = max(_choke_for(time, poured_volume, cope_height, rise, critical), LEAST_CHOKE)
    found = _sections(choke, cope_height, rise, critical)
    time = poured_volume / found.mean
    width, length = _basin_size(found)
    findings = (*_clashes(height_above_gate, cope_height, time, fluid, found, fastest, ask, metal), *_sinking(found, slowest, ask))
    return Sizes(
        pour_time=time,
        flow=found.mean,
        peak_flow=found.peak,
        head=mean_head(cope_height + found.depth, rise),
        discharge=found.discharge,
        choke_area=choke,
        sprue_top_area=found.top,
        sprue_base_area=choke,
        runner_area=RUNNER_RATIO * choke,
        ingate_area=found.ingate * ask.gate_section,
        gate_speed=found.first / (found.ingate * ask.gate_section),
        critical_speed=critical,
        thin_speed=max(thin_speed, critical),
        fluid_time=fluid,
        basin_depth=found.depth,
        basin_width=width,
        basin_length=length,
        findings=findings,
        sources=(
            *LOSS_SOURCES,
            Source(key="campbell-speed", says="Critical gate speed, sprue taper: Campbell, Complete Casting Handbook, 2011", mark="memory"),
            Source(key="hand-pour", says="Least choke, runner ratio, pouring cup and basin size: common practice", mark="common practice"),
        ),
    )


def _sinking(found: _Sections, slowest: float, ask: RiggingAsk) -> tuple[Finding, ...]:
    """A mould that takes less, as it fills, than the hand pours steadily."""
    if found.mean >= slowest or ask.pour_time is not None:
        return ()
    return (
        Finding(
            code="rigging.pour_slower",
            weight="MIND" if found.mean < SLOW * slowest else "NOTE",
            says=f"The mould takes {tell(found.mean * ALUMINIUM, 'kg/s')} on the whole, less than you pour steadily"
            f" ({tell(slowest * ALUMINIUM, 'kg/s')} by the kit)",
            because="it takes less and less as metal rises in it, and a smaller choke would take longer still to give the same",
            do="Fill the basin at once, then tip a little at a time so that it stays between half full and the brim: never empty, never over",
            margin=Margin(value=found.mean / slowest, unit="1", of="flow over the whole pour over the slowest steady hand pour"),
        ),
    )


def _clashes(
    height_above_gate: float,
    cope_height: float,
    time: float,
    fluid: float,
    found: _Sections,
    fastest: float,
    ask: RiggingAsk,
    metal: Metal,
) -> tuple[Finding, ...]:
    """Findings where hand, wall, choke and head want different things."""
    out: list[Finding] = []
    reach = REACH * (cope_height + 0.5 * found.depth)
    if height_above_gate > reach:
        out.append(
            Finding(
                code="rigging.head_short",
                weight="STOP",
                says=f"The part reaches {tell(height_above_gate, 'm')} above its ingates, metal stands only {tell(reach, 'm')}",
                because="metal rises no higher than the metal in a half-full basin that pushes it, and creeps over the last of the way",
                do=f"Take a cope {tell(height_above_gate - reach + 0.01, 'm')} higher, or turn the part so that it lies lower",
                margin=Margin(value=reach / height_above_gate, unit="1", of="metal height over the part's height above the ingates"),
                source="Bernoulli's law",
            )
        )
    if time > HURRY * fluid:
        out.append(
            Finding(
                code="rigging.pour_too_slow",
                weight="MIND",
                says=f"The pour takes {tell(time, 's', 'fine')}, and the thinnest wall flows for about {tell(fluid, 's', 'fine')}",
                because=f"the hand gives at most {tell(fastest, 'm3/s')}, and {metal.name} loses its heat to both sand faces of the wall",
                do="Thicken the thinnest wall, pour hotter inside the metal's window, or pour with a second person and pot",
                margin=Margin(value=fluid / time, unit="1", of="fluid time of the thinnest wall over the pour time"),
                source="sand law: Carslaw and Jaeger 1959; Flemings 1974 (from memory)",
            )
        )
    if found.peak > 1.02 * fastest:
        out.append(
            Finding(
                code="rigging.choke_floor",
                weight="MIND",
                says=f"The smallest choke passes {tell(found.peak, 'm3/s')}, the hand keeps up with {tell(fastest, 'm3/s')}",
                because=f"under {tell(cope_height, 'm')} of cope even a choke {tell(0.008, 'm')} across runs faster than a steady pour",
                do="Take a lower cope, or start with the basin full and expect its level to sink",
                margin=Margin(value=fastest / found.peak, unit="1", of="fastest hand pour over the choke's flow"),
                source="Torricelli's law with losses",
            )
        )
    if ask.pour_time is not None and abs(time / ask.pour_time - 1.0) > 0.05:
        out.append(
            Finding(
                code="rigging.pour_asked",
                weight="MIND",
                says=f"The pour takes {tell(time, 's', 'fine')}, not the {tell(ask.pour_time, 's', 'fine')} asked for",
                because=f"the hand pours neither faster nor slower than the kit says, and the choke is never under {tell(0.008, 'm')} across",
                do="Leave the pour time to the rule, or change the pouring rates in the kit if you have timed them",
                margin=Margin(value=time / ask.pour_time, unit="1", of="pour time over the time asked for"),
                source="the kit's pouring rates",
            )
        )
    return tuple(out)


def size_riser(spot: HotSpot, part: Part, metal: Metal, wish: RiserWish | None = None) -> RiserSize:
    """First guess of an open round riser for ``spot``: it shall freeze after the spot and hold enough metal to give.

    The spot's modulus is that of a plate; a round riser of the same modulus freezes sooner and is made thicker for it. The volume fed
    is the part's share of this spot, at most what lies within 4.5 thicknesses (feeding distance, from memory). ``wish`` comes last.

    Sources: Campbell, Complete Casting Handbook, 2011, modulus and volume rules (from memory); round-body factor computed.
    """
    modulus = spot.modulus * math.sqrt(RISER_TIME / ROUND_BODY)
    diameter = modulus * (4.0 * SLIM + 1.0) / SLIM
    why = "freezing time"
    fed = part.volume / max(1, sum(1 for other in part.hot_spots if other.needs_feed))
    thickness = 2.0 * spot.modulus
    fed = min(fed, math.pi * (4.5 * thickness) ** 2 * thickness)
    volume = riser_volume_efficiency(fed, min(metal.shrinkage, 0.1))
    by_volume = (4.0 * volume / (math.pi * SLIM)) ** (1.0 / 3.0)
    if by_volume > diameter:
        diameter, why = by_volume, "volume to feed"
    if diameter < 0.016:
        diameter, why = 0.016, "least size"
    if wish is not None:
        diameter *= wish.size
    if diameter > 0.080:
        diameter, why = 0.080, "greatest size"
    neck = 4.0 * NECK * SHORT_NECK * spot.modulus
    neck = min(max(neck, 0.006), 0.8 * diameter)
    area = math.pi / 4.0 * neck**2
    if wish is not None:
        area = wish.neck_area if wish.neck_area is not None else area * wish.neck
    return RiserSize(diameter=diameter, height=SLIM * diameter, neck_area=area, modulus=diameter * SLIM / (4.0 * SLIM + 1.0), why=why)
