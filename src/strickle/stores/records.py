"""What the stores hold: published data as typed SI records, and the shop's own kit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from strickle.base import Array, Record, Source, Value, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FreezingCurve(Record):
    """Temperature against fraction solid, published or computed outside."""

    temperature: Array = si("K", "falling from liquidus to solidus", shape="(n,)")
    solid: Array = si("1", "fraction solid at those temperatures, 0 to 1", shape="(n,)")
    source: str = word("source key")
    mark: str = word("how we know it")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MetalRecord(Record):
    """One alloy as published. ``values`` maps a field (``liquidus``, ``latent_heat``, ...) to its datum; see stores/data."""

    key: str = word("short name used on the command line, e.g. a356")
    name: str = word("trade name of the alloy")
    family: str = word("aluminium | zinc | copper | tin | iron")
    values: Mapping[str, Value] = word("published data by field name")
    curve: FreezingCurve | None = word("freezing curve, if one is known", default=None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SandRecord(Record):
    """One moulding medium. ``values``: k, density, heat_capacity, green_tensile, green_shear, adhesion, permeability, loose_density."""

    key: str = word("short name, e.g. oil-bonded")
    name: str = word("what the trade calls it")
    values: Mapping[str, Value] = word("published or guessed data by field name")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crucible(Record):
    """A pot by its inside: volume from inside sizes or from what it holds to the brim (dry sand, measured cold), never by its label."""

    name: str = word("what you call it")
    volume: float = si("m3", "inside volume to the brim")
    opening: float = si("m", "inside diameter at the top")
    mass: float = si("kg", "empty mass")
    heat_capacity: float = si("J/(kg K)", "of the pot's own material", default=1000.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Furnace(Record):
    """What melts."""

    name: str = word("what you call it")
    kind: str = word("gas | electric")
    power: float = si("W", "burner or element power")
    efficiency_low: float = si("1", "least share of the heat that reaches the metal")
    efficiency_high: float = si("1", "most share of the heat that reaches the metal")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Flask(Record):
    """A two-part flask by its inside sizes."""

    name: str = word("what you call it")
    length: float = si("m", "inside, along x")
    width: float = si("m", "inside, along y")
    cope: float = si("m", "height of the cope")
    drag: float = si("m", "height of the drag")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SandTest(Record):
    """The person's own sand, as three bars slid over a table edge and a pocket gauge have told it."""

    date: str = word("day of the test")
    bar: float = si("m", "height of the rammed bar, as it stands on the table", default=0.025)
    overhangs: Array = si("m", "how far each of the three bars reached over the edge when it broke", shape="(3,)")
    gauge: float | None = si("1", "depth over width of the first pocket of the gauge that tore, if it was rammed", default=None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kit(Record):
    """The shop as it stands."""

    place: str = word("outdoors | open-sided roof | indoors")
    ventilated: bool = word("indoors: mechanical extraction to outside and a CO alarm, both confirmed")
    crucibles: tuple[Crucible, ...] = word("pots at hand")
    furnaces: tuple[Furnace, ...] = word("furnaces at hand")
    flasks: tuple[Flask, ...] = word("flasks at hand")
    builds_flasks: bool = word("whether a flask can be knocked up from boards to any size wanted")
    bed: Array = si("m", "printer's build space", shape="(3,)")
    layer: float = si("m", "print layer")
    print_error: float = si("1", "what a print comes out short: drawn length over printed length, minus one")
    rapping: float = si("m", "how much rapping widens the mould across the draw, both sides together")
    sand: str = word("sand key in use")
    sand_mass: float = si("kg", "sand on hand")
    metal_mass: float = si("kg", "metal on hand of the chosen kind")
    fuel_mass: float = si("kg", "propane on hand")
    weights: float = si("kg", "weights for the cope on hand")
    thermometer: bool = word("a sheathed thermocouple is at hand")
    lift_limit: float = si("kg", "most this person lifts and pours, pot and metal and tongs together")
    tongs_mass: float = si("kg", "tongs or shank")
    pour_rate_low: float = si("kg/s", "slowest steady hand pour of aluminium")
    pour_rate_high: float = si("kg/s", "fastest steady hand pour of aluminium")
    heel: float = si("1", "share of the charge left in the pot")
    ambient: float = si("K", "air and sand temperature")
    contraction: float | None = si("1", "the person's own measured contraction, if any", default=None)
    lift: str = word("how the pattern is lifted: hand | bridge | pins", default="hand")
    rapped: bool = word("the pattern is rapped before it is drawn", default=True)
    flask_walls: str = word("inside of the flasks: grooved | smooth", default="grooved")
    bars: float = si("m", "distance between the bars of the cope; 0 without any", default=0.0)
    sand_test: SandTest | None = word("the sand's strength as you measured it", default=None)
    units: str = word("metric | us", default="metric")
    name: str = word("what you call the shop", default="starter kit")
    starter: bool = word("true while this is the built-in kit", default=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stores(Record):
    """Everything published plus the shop's own."""

    metals: Mapping[str, MetalRecord] = word("alloys by key")
    sands: Mapping[str, SandRecord] = word("moulding media by key")
    constants: Mapping[str, Value] = word("constants of the rules by dotted name, e.g. fuel.propane_lhv")
    sources: Mapping[str, Source] = word("citations by key")
    kit: Kit = word("the shop")
