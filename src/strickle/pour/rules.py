"""Trade formulas of filling: what surface tension lets through, how the stream flows, how far metal runs."""

from __future__ import annotations

import math

from strickle.base import GRAVITY, Input, Output, Relation, Value, rule, tearing_speed

STOPS = Value(value=0.3, low=0.15, high=0.5, unit="1", source="flemings", mark="memory", note="fraction solid at which a front stands")
KNITS = Value(value=10.0, low=0.0, high=30.0, unit="K", source="house", mark="guess", note="superheat with which two fronts knit")
EMPTY_TELLS, EMPTY_STOPS = 5e-4, 2e-3
"""Share of the part's volume left empty from which that is told, and from which it stops."""
EMPTY_MUCH = 0.02
"""Share from which it stops however coarse the cells are."""
ACROSS_WALL = 3.0
"""Cells across a wall from which the solve is believed on it."""
SPRUE_EMPTY = 0.05
"""Share of sprue and runner that may be empty at the end."""
_CAMPBELL = "Campbell, Complete Casting Handbook, Oxford 2011 (from memory, unverified)"
_TENSION = Input(name="surface_tension", unit="N/m", says="surface tension of the liquid metal", low=0.1, high=4.0)
_DENSITY = Input(name="density", unit="kg/m3", says="density of the liquid metal", low=1500.0, high=20000.0)
_PRESSURE = Input(name="pressure", unit="Pa", says="metal pressure at the place", low=1.0)


def too_coarse(across_wall: float, stiffest: float, margin: float, empty: float) -> bool:
    """Whether the share ``empty`` that a solve leaves of a part is a doubt of its cells alone: walls too thin for them, metal that could still
    flow (``stiffest`` its fraction solid), and a law of channels that has it flow long enough at the least (``margin``).

    >>> [too_coarse(c, s, m, e) for c, s, m, e in ((1.4, 0.0, 3.0, 0.004), (3.1, 0.0, 3.0, 0.004), (1.4, 0.2, 3.0, 0.004), (1.4, 0.0, 0.9, 0.004))]
    [True, False, False, False]
    """
    return across_wall < ACROSS_WALL and stiffest <= STOPS.low and margin >= 1.0 and empty < EMPTY_MUCH


@rule(
    name="critical_gate_speed",
    says="Speed above which the metal front tears its own skin and folds it in",
    inputs=(_TENSION, _DENSITY),
    outputs=(Output(name="speed", unit="m/s", says="critical speed"),),
    formula="speed = 2 (surface_tension g / density)^(1/4)",
    source=_CAMPBELL,
    example='--surface_tension "1.05 N/m" --density "2385 kg/m3"',
)
def critical_gate_speed(surface_tension: float, density: float) -> float:
    """Critical speed [m/s].

    >>> round(critical_gate_speed(1.05, 2385.0), 4)
    0.5127
    """
    return tearing_speed(surface_tension, density)


@rule(
    name="oxide_drop_height",
    says="Fall that already gives the critical speed; also the height of a resting drop",
    inputs=(_TENSION, _DENSITY),
    outputs=(Output(name="height", unit="m", says="height"),),
    formula="height = 2 sqrt(surface_tension / (density g))",
    source=_CAMPBELL,
    example='--surface_tension "1.05 N/m" --density "2385 kg/m3"',
)
def oxide_drop_height(surface_tension: float, density: float) -> float:
    """Height [m].

    >>> round(oxide_drop_height(1.05, 2385.0) * 1e3, 3)
    13.398
    """
    return 2.0 * math.sqrt(surface_tension / (density * GRAVITY))


@rule(
    name="least_slot",
    says="Thinnest slot that a pressure pushes metal into against surface tension",
    inputs=(_TENSION, _PRESSURE),
    outputs=(Output(name="width", unit="m", says="slot width"),),
    formula="width = 2 surface_tension / pressure",
    source="Young and Laplace's law for a slot that is not wetted",
    example='--surface_tension "1.05 N/m" --pressure "1050 Pa"',
)
def least_slot(surface_tension: float, pressure: float) -> float:
    """Slot width [m].

    >>> round(least_slot(1.05, 2385 * 9.81 * 0.04487784) * 1e3, 4)
    2.0
    """
    return 2.0 * surface_tension / pressure


@rule(
    name="edge_radius",
    says="Roundness left on an outer edge where surface tension holds against the pressure",
    inputs=(_TENSION, _PRESSURE),
    outputs=(Output(name="radius", unit="m", says="edge radius"),),
    formula="radius = surface_tension / pressure",
    source="Young and Laplace's law for a long edge",
    example='--surface_tension "1.05 N/m" --pressure "1050 Pa"',
)
def edge_radius(surface_tension: float, pressure: float) -> float:
    """Edge radius [m].

    >>> round(edge_radius(1.05, 2385 * 9.81 * 0.04487784) * 1e3, 4)
    1.0
    """
    return surface_tension / pressure


@rule(
    name="entry_head",
    says="Height of metal it takes to push metal into a slot against surface tension",
    inputs=(_TENSION, _DENSITY, Input(name="width", unit="m", says="width of the slot", low=1e-5, high=0.02)),
    outputs=(Output(name="head", unit="m", says="metal over the slot's middle"),),
    formula="head = 2 surface_tension / (density g width)",
    source="Young and Laplace's law for a slot that is not wetted",
    example='--surface_tension "1.05 N/m" --density "2385 kg/m3" --width "2 mm"',
)
def entry_head(surface_tension: float, density: float, width: float) -> float:
    """Head [m].

    >>> round(entry_head(1.05, 2385.0, 0.002) * 1e3, 5)
    44.87784
    """
    return 2.0 * surface_tension / (density * GRAVITY * width)


@rule(
    name="reynolds_number",
    says="Reynolds number of metal in a round channel: over about 2300 the stream is turbulent, as nearly every sprue and runner is",
    inputs=(
        Input(name="flow", unit="m3/s", says="volume flow", low=0.0),
        Input(name="diameter", unit="m", says="inside diameter", low=1e-4, high=1.0),
        _DENSITY,
        Input(name="viscosity", unit="Pa s", says="of the liquid metal; 0.0012 for aluminium at pouring heat", default=0.0012, low=1e-4, high=0.1),
    ),
    outputs=(Output(name="number", unit="1", says="Reynolds number"), Output(name="speed", unit="m/s", says="mean speed")),
    formula="number = density speed diameter / viscosity; speed = 4 flow / (pi diameter^2)",
    source="Reynolds 1883, as in Kalpakjian & Schmid, Manufacturing Engineering and Technology (from memory); "
    "viscosity: Assael et al., J. Phys. Chem. Ref. Data 35, 2006 (from memory, unverified)",
    example='--flow "10 l/min" --diameter "10 mm" --density "2700 kg/m3" --viscosity "4 mPa s"',
)
def reynolds_number(flow: float, diameter: float, density: float, viscosity: float = 0.0012) -> tuple[float, float]:
    """Reynolds number and mean speed [m/s].

    >>> [round(v, 2) for v in reynolds_number(0.01 / 60, 0.010, 2700.0, 0.004)]
    [14323.94, 2.12]
    """
    speed = 4.0 * flow / (math.pi * diameter**2)
    return density * speed * diameter / viscosity, speed


@rule(
    name="hydraulic_jump",
    says="Where fast shallow metal on a runner's floor goes over into slow deep metal: the depth behind the jump and the head churned away in it",
    inputs=(
        Input(name="depth", unit="m", says="depth of the stream before the jump", low=1e-5, high=1.0),
        Input(name="speed", unit="m/s", says="its speed", low=1e-3, high=20.0),
    ),
    outputs=(
        Output(name="depth_behind", unit="m", says="depth behind the jump"),
        Output(name="froude_number", unit="1", says="speed over that of a shallow wave"),
        Output(name="loss", unit="m", says="head lost in the jump"),
    ),
    formula="froude_number = speed / sqrt(g depth); depth_behind = depth (sqrt(1 + 8 froude_number^2) - 1) / 2; "
    "loss = (depth_behind - depth)^3 / (4 depth depth_behind)",
    source="Bélanger's equation, as in Chow, Open-Channel Hydraulics, New York 1959 (from memory, computed again): a flat, level, wide floor, "
    "wall friction and surface tension left out",
    relations=(Relation(says="froude number > 1", holds=lambda v: v["speed"] * v["speed"] > GRAVITY * v["depth"]),),
    example='--depth "5 mm" --speed "0.6 m/s"',
)
def hydraulic_jump(depth: float, speed: float) -> tuple[float, float, float]:
    """Depth behind the jump [m], Froude number, head lost [m]; a stream below a Froude number of 1 jumps nowhere and keeps its depth.

    >>> [round(v, 4) for v in hydraulic_jump(1.0, 2.0 * 9.81**0.5)]
    [2.3723, 2.0, 0.2723]
    """
    froude = speed / math.sqrt(GRAVITY * depth)
    behind = depth * max(0.5 * (math.sqrt(1.0 + 8.0 * froude**2) - 1.0), 1.0)
    return behind, froude, (behind - depth) ** 3 / (4.0 * depth * behind)


@rule(
    name="slosh_period",
    says="Time of one swing of metal to and fro in a box-shaped ladle or basin: shaken in this time, it climbs out",
    inputs=(
        Input(name="length", unit="m", says="inside, along the swing", low=1e-3, high=5.0),
        Input(name="depth", unit="m", says="depth of the metal", low=1e-4, high=5.0),
    ),
    outputs=(Output(name="period", unit="s", says="period of the first swing"),),
    formula="period = 2 pi / sqrt(g k tanh(k depth)); k = pi / length",
    source="linear wave theory, as in Lamb, Hydrodynamics, 6th ed., Cambridge 1932 (from memory, computed again): small swings between upright walls",
    example='--length "120 mm" --depth "80 mm"',
)
def slosh_period(length: float, depth: float) -> float:
    """Period [s].

    >>> round(slosh_period(0.2, 0.1), 4)
    0.5285
    """
    number = math.pi / length
    return 2.0 * math.pi / math.sqrt(GRAVITY * number * math.tanh(number * depth))


@rule(
    name="fluidity_length",
    says="How far metal runs in a thin round channel before it stops, the wall's conductance holding the heat back",
    inputs=(
        Input(name="density", unit="kg/m3", says="liquid metal", low=1500.0, high=20000.0),
        Input(name="radius", unit="m", says="radius of the channel", low=1e-4, high=0.02),
        Input(name="speed", unit="m/s", says="metal speed", low=0.0),
        Input(name="latent_heat", unit="J/kg", says="heat of freezing, or the share of it lost when the metal stops", low=0.0),
        Input(name="heat_capacity", unit="J/(kg K)", says="of the liquid", low=1.0),
        Input(name="superheat", unit="K", says="over the liquidus", low=0.0, high=400.0, step=True),
        Input(name="conductance", unit="W/(m2 K)", says="metal to mould", low=1.0),
        Input(name="drive", unit="K", says="metal over mould temperature", low=1.0, step=True),
    ),
    outputs=(Output(name="length", unit="m", says="length run"),),
    formula="length = density radius speed (latent_heat + heat_capacity superheat) / (2 conductance drive)",
    source="Flemings, Solidification Processing, New York 1974 (from memory, unverified); too long for sand and too short in its rise with superheat",
    example=(
        '--density "2385 kg/m3" --radius "4 mm" --speed "1 m/s" --latent_heat "397 kJ/kg" --heat_capacity "1080 J/kg/K" '
        '--superheat "60 degC" --conductance "500 W/m2/K" --drive "640 degC"'
    ),
)
def fluidity_length(
    density: float,
    radius: float,
    speed: float,
    latent_heat: float,
    heat_capacity: float,
    superheat: float,
    conductance: float,
    drive: float,
) -> float:
    """Length [m].

    >>> round(fluidity_length(2385.0, 0.004, 1.0, 397e3, 1080.0, 60.0, 500.0, 640.0), 3)
    6.884
    """
    return density * radius * speed * (latent_heat + heat_capacity * superheat) / (2.0 * conductance * drive)
