"""Trade formulas of running and feeding: falls, flow, sprue, fill time, freezing time, riser size."""

from __future__ import annotations

import math

from strickle.base import GRAVITY, BadInput, Input, Output, Relation, falling_speed, rule

_GROOVER = "Groover, Fundamentals of Modern Manufacturing, 4th ed., Hoboken 2010, ch. 10"
_GHOSH = "Ghosh & Mallik, Manufacturing Science, New Delhi 1986, ch. 2 (from memory)"
_RAO = "Rao, Manufacturing Technology: Foundry, Forming and Welding, New Delhi 1998 (from memory, unverified)"
_CAMPBELL = "Campbell, Complete Casting Handbook, Oxford 2011 (from memory, unverified)"
_TORRICELLI = f"Torricelli 1644, as in {_GROOVER}, pouring calculations"
_CHVORINOV = f"Chvorinov 1940, as in {_GROOVER}, solidification time"

_HEIGHT = Input(name="height", unit="m", says="height the metal falls", low=0.0)
_FALL = Input(name="height", unit="m", says="height the metal falls", low=1e-3)
_DENSITY = Input(name="density", unit="kg/m3", says="density of the liquid metal", low=1500.0, high=20000.0)
_MODULUS = Input(name="modulus", unit="m", says="volume over cooled surface", low=1e-4, high=0.2)
_EXPONENT = Input(name="exponent", unit="1", says="power of the modulus in the freezing time", default=2.0, low=1.5, high=2.0)
_SLIMNESS = Input(name="height_to_diameter", unit="1", says="riser height over its diameter", default=1.0, low=0.5, high=3.0)
_RISER = (Output(name="diameter", unit="m", says="riser diameter"), Output(name="height", unit="m", says="riser height"))
_BASE_AREA = Input(name="base_area", unit="m2", says="section at the sprue's base", low=1e-6)


@rule(
    name="fall_speed",
    says="Speed of metal after a free fall",
    inputs=(_HEIGHT,),
    outputs=(Output(name="speed", unit="m/s", says="speed at the bottom"),),
    formula="speed = sqrt(2 g height)",
    source=_TORRICELLI,
    example='--height "20 cm"',
)
def fall_speed(height: float) -> float:
    """Speed [m/s] after falling ``height`` [m].

    >>> round(fall_speed(0.20), 4)
    1.9809
    """
    return falling_speed(height)


@rule(
    name="flow_rate",
    says="Metal through the base of a full sprue",
    inputs=(
        _HEIGHT,
        _BASE_AREA,
        Input(name="discharge", unit="1", says="discharge coefficient; 1 = no losses", default=1.0, low=0.3, high=1.0),
    ),
    outputs=(Output(name="flow", unit="m3/s", says="volume flow"),),
    formula="flow = discharge * base_area * sqrt(2 g height)",
    source=_TORRICELLI,
    example='--height "20 cm" --base_area "2.5 cm2"',
)
def flow_rate(height: float, base_area: float, discharge: float = 1.0) -> float:
    """Flow [m3/s] under ``height`` [m] of metal.

    >>> round(flow_rate(0.20, 2.5e-4) * 1e6, 1)
    495.2
    """
    return discharge * base_area * falling_speed(height)


@rule(
    name="fill_time_top",
    says="Time to fill a mould whose gate stands above the metal",
    inputs=(Input(name="volume", unit="m3", says="metal the mould takes", low=1e-9), _FALL, _BASE_AREA),
    outputs=(Output(name="time", unit="s", says="time to fill"),),
    formula="time = volume / (base_area * sqrt(2 g height))",
    source=f"{_GROOVER}; {_GHOSH}",
    example='--volume "1560 cm3" --height "20 cm" --base_area "2.5 cm2"',
)
def fill_time_top(volume: float, height: float, base_area: float) -> float:
    """Time [s] to fill ``volume`` [m3] without back pressure.

    >>> round(fill_time_top(1560e-6, 0.20, 2.5e-4), 2)
    3.15
    """
    return volume / (base_area * falling_speed(height))


@rule(
    name="fill_time_bottom",
    says="Time to fill a mould from below, its own metal holding the flow back",
    inputs=(
        Input(name="mould_area", unit="m2", says="level section of the mould", low=1e-8),
        Input(name="mould_height", unit="m", says="height of the mould above the gate, at most the head", low=0.0),
        Input(name="gate_area", unit="m2", says="section of the gate", low=1e-8),
        Input(name="head", unit="m", says="metal height over the gate", low=1e-4),
    ),
    outputs=(Output(name="time", unit="s", says="time to fill"),),
    formula="time = 2 mould_area / (gate_area sqrt(2 g)) * (sqrt(head) - sqrt(head - mould_height))",
    source=_GHOSH,
    relations=(Relation(says="mould_height <= head", holds=lambda v: v["mould_height"] <= v["head"]),),
    example='--mould_area "1250 cm2" --mould_height "15 cm" --gate_area "5 cm2" --head "15 cm"',
)
def fill_time_bottom(mould_area: float, mould_height: float, gate_area: float, head: float) -> float:
    """Time [s] to fill from below; infinite where the mould stands higher than the head.

    >>> round(fill_time_bottom(0.125, 0.15, 5e-4, 0.15), 2)
    43.72
    """
    if mould_height > head:
        return math.inf
    rise = mould_height / (math.sqrt(head) + math.sqrt(head - mould_height))  # the difference of the roots, without its rounding
    return 2.0 * mould_area / (gate_area * math.sqrt(2.0 * GRAVITY)) * rise


@rule(
    name="sprue_base_area",
    says="Section at the sprue's base for a wanted flow",
    inputs=(Input(name="flow", unit="m3/s", says="wanted volume flow", low=1e-7), _FALL),
    outputs=(Output(name="area", unit="m2", says="section at the base"),),
    formula="area = flow / sqrt(2 g height)",
    source=_TORRICELLI,
    example='--flow "1 L/s" --height "175 mm"',
)
def sprue_base_area(flow: float, height: float) -> float:
    """Section [m2] that passes ``flow`` [m3/s] after a fall of ``height`` [m].

    >>> round(sprue_base_area(1e-3, 0.175) * 1e6, 1)
    539.7
    """
    return flow / falling_speed(height)


@rule(
    name="sprue_taper_area",
    says="Section further down that the falling stream just fills",
    inputs=(
        Input(name="top_area", unit="m2", says="section at the sprue's top", low=1e-7),
        Input(name="head_above_top", unit="m", says="metal kept over the sprue's top", low=1e-4),
        Input(name="height", unit="m", says="how far below the top", low=0.0),
    ),
    outputs=(Output(name="area", unit="m2", says="section there"),),
    formula="area = top_area * sqrt(head_above_top / (head_above_top + height))",
    source="continuity with Torricelli's law; as in " + _CAMPBELL,
    example='--top_area "200 mm2" --head_above_top "40 mm" --height "160 mm"',
)
def sprue_taper_area(top_area: float, head_above_top: float, height: float) -> float:
    """Section [m2] of the stream ``height`` [m] below the top.

    >>> round(1.0 / sprue_taper_area(1.0, 0.04, 0.16), 6)
    2.236068
    """
    return top_area * math.sqrt(head_above_top / (head_above_top + height))


@rule(
    name="sprue_top_gauge_pressure",
    says="Pressure at the top of a straight sprue running full without losses: below zero it drinks air",
    inputs=(_HEIGHT, _DENSITY),
    outputs=(Output(name="pressure", unit="Pa", says="gauge pressure at the sprue's top"),),
    formula="pressure = -density g height",
    source="Bernoulli's law; as in " + _CAMPBELL,
    example='--height "160 mm" --density "2385 kg/m3"',
)
def sprue_top_gauge_pressure(height: float, density: float) -> float:
    """Gauge pressure [Pa] at the top of a full straight sprue.

    >>> round(sprue_top_gauge_pressure(0.16, 2385.0), 1)
    -3743.5
    """
    return -density * GRAVITY * height


@rule(
    name="modulus",
    says="Modulus of a body: what sets its freezing time",
    inputs=(
        Input(name="volume", unit="m3", says="volume", low=0.0),
        Input(name="area", unit="m2", says="surface that gives heat to the mould", low=1e-12),
    ),
    outputs=(Output(name="modulus", unit="m", says="volume over surface"),),
    formula="modulus = volume / area",
    source=_CHVORINOV,
    example='--volume "187.5 cm3" --area "267.5 cm2"',
)
def modulus(volume: float, area: float) -> float:
    """Volume over surface [m].

    >>> round(modulus(187.5e-6, 267.5e-4) * 1e3, 2)
    7.01
    """
    return volume / area


@rule(
    name="mould_constant",
    says="Mould constant from one measured freezing time",
    inputs=(Input(name="time", unit="s", says="measured freezing time", low=0.0), _MODULUS, _EXPONENT),
    outputs=(Output(name="constant", unit="s/m^n", says="time for each length to the exponent"),),
    formula="constant = time / modulus^exponent",
    source=_CHVORINOV,
    example='--time "1.6 min" --modulus "7.01 mm"',
)
def mould_constant(time: float, modulus: float, exponent: float = 2.0) -> float:
    """Mould constant [s/m^exponent].

    >>> round(mould_constant(96.0, 187.5 / 267.5 / 100) / 60e4, 2)
    3.26
    """
    return float(time / modulus**exponent)


@rule(
    name="freezing_time",
    says="Time to freeze right through by the modulus rule (round bodies are a third quicker)",
    inputs=(
        Input(name="mould_constant", unit="s/m^n", says="time for each length to the exponent, such as 3.5 min/cm2", low=0.0),
        _MODULUS,
        _EXPONENT,
    ),
    outputs=(Output(name="time", unit="s", says="time to freeze"),),
    formula="time = mould_constant * modulus^exponent",
    source=_CHVORINOV,
    example='--mould_constant "3.5 min/cm2" --modulus "16.67 mm"',
)
def freezing_time(mould_constant: float, modulus: float, exponent: float = 2.0) -> float:
    """Time [s] to freeze.

    >>> round(freezing_time(3.5 * 60e4, 0.1 / 6) / 60, 2)
    9.72
    """
    return float(mould_constant * modulus**exponent)


def _free_cylinder(modulus: float, slimness: float) -> float:
    """Diameter [m] of a cylinder cooled on side and both ends that has ``modulus`` [m]."""
    return modulus * (4.0 + 2.0 / slimness)


@rule(
    name="riser_size_modulus",
    says="Riser that freezes in a wished time beside what it feeds (cylinder cooled on its side and both ends)",
    inputs=(
        Input(name="casting_modulus", unit="m", says="modulus of what it feeds", low=1e-4, high=0.2),
        Input(name="casting_time", unit="s", says="freezing time of what it feeds", default=1.0, low=1e-3),
        Input(name="riser_time", unit="s", says="wished freezing time of the riser", default=1.44, low=1e-3),
        _EXPONENT,
        _SLIMNESS,
    ),
    outputs=(*_RISER, Output(name="modulus", unit="m", says="riser modulus")),
    formula="modulus = casting_modulus (riser_time / casting_time)^(1/exponent); diameter = modulus (4 + 2 / height_to_diameter)",
    source=f"{_GROOVER}, riser design; factor 1.2 on the modulus: {_CAMPBELL}",
    relations=(Relation(says="riser_time >= casting_time", holds=lambda v: v["riser_time"] >= v["casting_time"]),),
    example='--casting_modulus "7.01 mm" --casting_time "1.6 min" --riser_time "2 min"',
)
def riser_size_modulus(
    casting_modulus: float, casting_time: float = 1.0, riser_time: float = 1.44, exponent: float = 2.0, height_to_diameter: float = 1.0
) -> tuple[float, float, float]:
    """Diameter, height and modulus [m] of the riser.

    >>> [round(v * 1e3, 2) for v in riser_size_modulus(187.5 / 267.5 / 100, 1.6, 2.0)]
    [47.02, 47.02, 7.84]
    """
    wished = casting_modulus * (riser_time / casting_time) ** (1.0 / exponent)
    diameter = _free_cylinder(wished, height_to_diameter)
    return diameter, height_to_diameter * diameter, wished


@rule(
    name="riser_size_shape_factor",
    says="Riser from the share of the casting's volume that goes with the casting's shape factor (steel, side riser)",
    inputs=(
        Input(name="length", unit="m", says="longest side of the casting", low=1e-3),
        Input(name="width", unit="m", says="middle side", low=1e-3),
        Input(name="thickness", unit="m", says="shortest side", low=1e-4),
        Input(name="casting_volume", unit="m3", says="volume fed; 0 = length x width x thickness", default=0.0, low=0.0),
        Input(
            name="volume_ratio", unit="1", says="riser over casting volume off a chart of your own; 0 = by the curve", default=0.0, low=0.0, high=1.5
        ),
        _SLIMNESS,
    ),
    outputs=(
        *_RISER,
        Output(name="shape_factor", unit="1", says="(length + width) / thickness"),
        Output(name="volume_ratio", unit="1", says="riser volume over casting volume"),
    ),
    formula="shape_factor = (length + width) / thickness; volume_ratio = 2.51 / shape_factor^0.74; "
    "diameter = (4 volume_ratio casting_volume / (pi height_to_diameter))^(1/3)",
    source="shape factor: Bishop, Myskowski & Pellini, AFS Trans. 63, 1955; curve: Feeding and Risering Guidelines for Steel Castings, Steel "
    "Founders' Society of America, 2001 (from memory, unverified; it lies 2 % under the one chart point that could be read, 0.575 at 7.5). "
    "A textbook example (Rao, Manufacturing Technology, from memory) takes 0.575 at a shape factor of 10, where the curve gives 0.457: a riser "
    "8 % wider; give volume_ratio to follow a chart of your own",
    relations=(
        Relation(says="length >= width >= thickness", holds=lambda v: v["length"] >= v["width"] >= v["thickness"]),
        Relation(says="2 <= shape factor <= 20", holds=lambda v: 2.0 <= (v["length"] + v["width"]) / v["thickness"] <= 20.0),
    ),
    example='--length "25 cm" --width "12.5 cm" --thickness "5 cm"',
)
def riser_size_shape_factor(
    length: float, width: float, thickness: float, casting_volume: float = 0.0, volume_ratio: float = 0.0, height_to_diameter: float = 1.0
) -> tuple[float, float, float, float]:
    """Diameter and height [m], shape factor, riser over casting volume.

    >>> [round(v, 4) for v in riser_size_shape_factor(0.25, 0.25, 0.05, volume_ratio=0.575)]
    [0.1318, 0.1318, 10.0, 0.575]
    >>> round(riser_size_shape_factor(0.25, 0.125, 0.05)[3], 3)
    0.565
    """
    factor = (length + width) / thickness
    ratio = volume_ratio or 2.51 / factor**0.74
    fed = casting_volume or length * width * thickness
    diameter = (4.0 * ratio * fed / (math.pi * height_to_diameter)) ** (1.0 / 3.0)
    return diameter, height_to_diameter * diameter, factor, ratio


# freezing constant, shrinkage constant, relative freezing rate by metal
_CAINE = {
    "steel": (0.10, 0.03, 1.00),
    "aluminium": (0.10, 0.03, 1.08),
    "cast iron": (0.04, 0.017, 1.00),
    "brass": (0.04, 0.017, 1.00),
    "aluminium bronze": (0.24, 0.017, 1.00),
    "silicon bronze": (0.24, 0.017, 1.00),
}


@rule(
    name="riser_size_freezing_ratio",
    says="Least riser by the freezing-ratio hyperbola",
    inputs=(
        Input(name="casting_volume", unit="m3", says="volume fed", low=1e-9),
        Input(name="casting_area", unit="m2", says="its cooled surface", low=1e-8),
        Input(name="metal", unit="text", says=", ".join(_CAINE), default="aluminium"),
        Input(name="a", unit="1", says="freezing constant; 0 = a, b and c by the metal", default=0.0, low=0.0, high=0.5),
        Input(name="b", unit="1", says="shrinkage constant, where a is given", default=0.03, low=0.0, high=0.1),
        Input(name="c", unit="1", says="relative freezing rate, where a is given", default=1.0, low=0.8, high=1.2),
        _SLIMNESS,
    ),
    outputs=(
        *_RISER,
        Output(name="freezing_ratio", unit="1", says="riser modulus over casting modulus"),
        Output(name="volume_ratio", unit="1", says="riser volume over casting volume"),
    ),
    formula="freezing_ratio = a / (volume_ratio - b) + c, met by a cylinder cooled on its side and both ends",
    source=f"Caine, Trans. AFS 1949; constants by metal as in {_RAO}",
    example='--casting_volume "3125 cm3" --casting_area "1750 cm2" --metal steel',
)
def riser_size_freezing_ratio(
    casting_volume: float,
    casting_area: float,
    metal: str = "aluminium",
    a: float = 0.0,
    b: float = 0.03,
    c: float = 1.0,
    height_to_diameter: float = 1.0,
) -> tuple[float, float, float, float]:
    """Diameter and height [m], freezing ratio and volume ratio on the hyperbola. Raises BadInput for a metal without constants.

    >>> [round(v, 4) for v in riser_size_freezing_ratio(3125e-6, 1750e-4, "steel")]
    [0.1285, 0.1285, 1.1989, 0.5327]
    """
    if not a:
        key = metal.strip().lower().replace("_", " ").replace("aluminum", "aluminium")
        if key not in _CAINE:
            raise BadInput(f"no freezing constants are stored for {metal!r}", f"Stored: {', '.join(_CAINE)}; or give a, b and c")
        a, b, c = _CAINE[key]
    casting_modulus = casting_volume / casting_area

    def ratios(diameter: float) -> tuple[float, float]:
        return (
            diameter / (4.0 + 2.0 / height_to_diameter) / casting_modulus,
            math.pi / 4.0 * height_to_diameter * diameter**3 / casting_volume,
        )

    low = (4.0 * b * casting_volume / (math.pi * height_to_diameter)) ** (1.0 / 3.0)
    high = low + 20.0 * (casting_modulus + casting_volume ** (1.0 / 3.0))
    for _ in range(200):
        middle = 0.5 * (low + high)
        x, y = ratios(middle)
        if (x - c) * (y - b) < a:
            low = middle
        else:
            high = middle
    return high, height_to_diameter * high, *ratios(high)


@rule(
    name="riser_volume_efficiency",
    says="Riser volume that can give what the casting and the riser themselves lose",
    inputs=(
        Input(name="casting_volume", unit="m3", says="volume fed", low=0.0),
        Input(name="shrinkage", unit="1", says="volume lost on freezing", low=0.0, high=0.1),
        Input(name="efficiency", unit="1", says="share of the riser that can flow out of it", default=0.14, low=0.1, high=0.8),
    ),
    outputs=(Output(name="volume", unit="m3", says="riser volume"),),
    formula="volume = casting_volume * shrinkage / (efficiency - shrinkage)",
    source="volume requirement; plain cylinder 14 %: " + _CAMPBELL,
    relations=(Relation(says="shrinkage < efficiency", holds=lambda v: v["shrinkage"] < v["efficiency"]),),
    example='--casting_volume "500 cm3" --shrinkage "7 %"',
)
def riser_volume_efficiency(casting_volume: float, shrinkage: float, efficiency: float = 0.14) -> float:
    """Riser volume [m3]; infinite where the riser cannot even feed itself.

    >>> round(riser_volume_efficiency(1.0, 0.07), 4), round(riser_volume_efficiency(1.0, 0.03), 3)
    (1.0, 0.273)
    """
    return casting_volume * shrinkage / (efficiency - shrinkage) if efficiency > shrinkage else math.inf
