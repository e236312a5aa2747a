"""The shop's own kit: the built-in starter kit, and the strict reading and writing of kit.toml."""

from __future__ import annotations

import dataclasses
import difflib
import math
import tomllib
from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

import numpy as np

from strickle.base import BadInput, parse, tell
from strickle.stores.records import Crucible, Flask, Furnace, Kit, SandTest

PLACES = ("outdoors", "open-sided roof", "indoors")
KINDS = ("gas", "electric")
SYSTEMS = ("metric", "us")
LIFTS = ("hand", "bridge", "pins")
WALLS = ("grooved", "smooth")
BAR_LONG, BAR_HIGH = 0.150, 0.025  # m: what of the gauge's bar, 200 mm by 25, can hang over the edge before it tips
APART = 2.0  # longest overhang over the shortest: beyond it the strengths differ more than four times
_NESTED = ("starter", "crucibles", "furnaces", "flasks", "sand_test")
_TABLES: dict[str, tuple[str, type[Crucible] | type[Furnace] | type[Flask]]] = {
    "crucible": ("crucibles", Crucible),
    "furnace": ("furnaces", Furnace),
    "flask": ("flasks", Flask),
}
_MOST = 50
_FIGURES = 12
# What a one-person shop can hold, SI; outside it the entry is taken for a slip of the pen.
_LIMITS: dict[str, tuple[float, float]] = {
    "volume": (1e-5, 0.2),
    "opening": (0.01, 1.0),
    "mass": (0.01, 200.0),
    "heat_capacity": (300.0, 2500.0),
    "power": (50.0, 1e6),
    "efficiency_low": (0.005, 1.0),
    "efficiency_high": (0.005, 1.0),
    "length": (0.05, 3.0),
    "width": (0.05, 3.0),
    "cope": (0.01, 1.0),
    "drag": (0.01, 1.0),
    "bed": (0.02, 3.0),
    "layer": (1e-5, 2e-3),
    "print_error": (-0.05, 0.05),
    "rapping": (0.0, 5e-3),
    "sand_mass": (0.0, 1e5),
    "metal_mass": (0.0, 1e5),
    "fuel_mass": (0.0, 1e4),
    "weights": (0.0, 1e4),
    "lift_limit": (0.5, 100.0),
    "tongs_mass": (0.0, 50.0),
    "pour_rate_low": (0.005, 20.0),
    "pour_rate_high": (0.005, 20.0),
    "heel": (0.0, 0.9),
    "ambient": (233.15, 333.15),
    "contraction": (0.0, 0.05),
    "bars": (0.0, 2.0),
    "bar": (0.01, 0.1),
    "overhangs": (0.005, 1.0),
    "gauge": (0.1, 10.0),
}
_FRIENDLY: dict[str, tuple[tuple[str, float], ...]] = {
    "m": (("mm", 1e3),),
    "m3": (("l", 1e3), ("cm3", 1e6)),
    "W": (("kW", 1e-3),),
    "K": (("degC", 1.0),),
}
Entry = TypeVar("Entry", Crucible, Furnace, Flask)


def starter_kit() -> Kit:
    """The built-in kit: outdoors, two pots, a propane and an electric furnace, three flasks. Invented, and plain to see as such."""
    return Kit(
        place="outdoors",
        ventilated=False,
        crucibles=(
            Crucible(name="small pot", volume=0.45e-3, opening=0.085, mass=0.9),
            Crucible(name="large pot", volume=1.2e-3, opening=0.12, mass=1.7),
        ),
        furnaces=(
            Furnace(name="propane furnace", kind="gas", power=15e3, efficiency_low=0.05, efficiency_high=0.12),
            Furnace(name="electric furnace", kind="electric", power=2e3, efficiency_low=0.35, efficiency_high=0.55),
        ),
        flasks=(
            Flask(name="small flask", length=0.3, width=0.225, cope=0.075, drag=0.075),
            Flask(name="middle flask", length=0.35, width=0.3, cope=0.1, drag=0.09),
            Flask(name="large flask", length=0.4, width=0.35, cope=0.13, drag=0.12),
        ),
        builds_flasks=False,
        bed=np.array([0.22, 0.22, 0.25]),
        layer=0.2e-3,
        print_error=0.0,
        rapping=0.2e-3,
        sand="oil-bonded",
        sand_mass=60.0,
        metal_mass=6.0,
        fuel_mass=9.0,
        weights=30.0,
        thermometer=True,
        lift_limit=10.0,
        tongs_mass=1.2,
        pour_rate_low=0.1,
        pour_rate_high=0.8,
        heel=0.08,
        ambient=293.15,
        starter=True,
    )


def _nearest(word: str, known: Iterable[str]) -> str:
    names = sorted(known)
    close = difflib.get_close_matches(word, names, 3, 0.5)
    return f"Did you mean {' or '.join(close)}" if close else f"Known here: {', '.join(names)}"


def _si(text: str, unit: str, what: str = "value") -> float:
    """Text in SI. A number of few digits comes out as few: "0.45 l" is 0.00045 and not a hair more."""
    value = parse(text, unit, what)
    return value if sum(map(str.isdigit, text)) > _FIGURES else float(f"{value:.{_FIGURES}g}")


def _number(what: str, unit: str, given: Any) -> float:
    """``given`` in SI. A bare number stands only for a share."""
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise BadInput(f"kit: {what} is not a number with a unit", 'Write it as text, such as "220 mm"')
    if not isinstance(given, str):
        if unit != "1":
            raise BadInput(f"kit: {what} = {given} has no unit", 'Write it as text with a unit, such as "220 mm", "1.2 kg", "20 degC"')
        value = float(given)
    else:
        value = _si(given, unit, f"kit: {what}")
    low, high = _LIMITS[what.rpartition(".")[2].partition("[")[0]]
    if not (math.isfinite(value) and low <= value <= high):
        raise BadInput(f"kit: {what} = {given!r} is out of all reason", f"It should lie between {tell(low, unit)} and {tell(high, unit)}")
    return value


def _word(what: str, given: Any, choices: Iterable[str] = ()) -> str:
    if not isinstance(given, str) or not 0 < len(given.strip()) <= 80 or not given.isprintable():
        raise BadInput(f"kit: {what} must be one short line of text", "Put it in quotes")
    known = tuple(choices)
    if known and given not in known:
        raise BadInput(f"kit: {what} = {given!r} is not known", f"Take one of: {', '.join(known)}")
    return given


def _sands() -> tuple[str, ...]:
    from strickle.stores.load import known_sands

    return known_sands()


def _field(what: str, item: dataclasses.Field[Any], given: Any) -> Any:
    """One entry of the file as the record wants it."""
    unit, shape = item.metadata["unit"], item.metadata["shape"]
    if shape:
        if not isinstance(given, list) or len(given) != 3:
            like = '["50 mm", "52 mm", "55 mm"]' if item.name == "overhangs" else '["220 mm", "220 mm", "250 mm"]'
            raise BadInput(f"kit: {what} wants three sizes", f"Write it as {like}")
        return np.array([_number(f"{what}[{i}]", unit, size) for i, size in enumerate(given)])
    if unit is not None:
        return _number(what, unit, given)
    if item.type == "bool":
        if not isinstance(given, bool):
            raise BadInput(f"kit: {what} is a yes or no", "Write true or false")
        return given
    choices: dict[str, Callable[[], tuple[str, ...]]] = {
        "place": lambda: PLACES,
        "kind": lambda: KINDS,
        "units": lambda: SYSTEMS,
        "sand": _sands,
        "lift": lambda: LIFTS,
        "flask_walls": lambda: WALLS,
    }
    return _word(what, given, choices.get(item.name, tuple)())


def _fields(kind: type, given: Mapping[str, Any], where: str, more: tuple[str, ...] = ()) -> dict[str, Any]:
    """The entries of one table, each checked; an unknown key is refused with the nearest known one."""
    known = {item.name: item for item in dataclasses.fields(kind) if item.name not in _NESTED}
    for key in given:
        if key not in known and key not in more:
            raise BadInput(f"kit: {where}{key} is not a known entry", _nearest(key, [*known, *more]))
    return {key: _field(where + key, known[key], value) for key, value in given.items() if key in known}


def _crucible(given: Mapping[str, Any], where: str) -> Crucible:
    """A pot from what it holds to the brim or its inside sizes; never from a label. ``water`` is an older word for ``holds``."""
    sizes = ("holds", "top", "bottom", "height")
    if "water" in given:
        if "holds" in given:
            raise BadInput(f"kit: {where}holds and {where}water say the same", "Keep holds and delete the other")
        given = {"holds" if key == "water" else key: value for key, value in given.items()}
    rest = {key: value for key, value in given.items() if key not in sizes}
    if "volume" in rest:
        raise BadInput(f"kit: {where}volume is not asked for", "Give holds, or top, bottom and height of the inside")
    got = _fields(Crucible, rest, where, sizes)
    name = got.get("name", "a pot")
    inside = [key for key in sizes[1:] if key in given]
    if "holds" in given:
        volume = got["volume"] = _number(where + "volume", "m3", given["holds"])
        got.setdefault("opening", round((4 * volume / (1.25 * math.pi)) ** (1 / 3), 4))
    elif len(inside) == 3:
        top, bottom = (_number(where + "opening", "m", given[key]) for key in ("top", "bottom"))
        height = _number(where + "opening", "m", given["height"])
        got["volume"] = float(f"{frustum(top, bottom, height):.12g}")
        got.setdefault("opening", top)
    else:
        raise BadInput(
            f"kit: {name!r} has no size, and a label misleads: makers number pots by the brass, the aluminium or even the gold they hold",
            'Fill it cold to the brim with fine dry sand, measure the sand in a jug and write holds = "1.2 l", or give inside top, bottom, height',
        )
    return _whole(Crucible, got, where)


def frustum(top: float, bottom: float, height: float) -> float:
    """Volume [m3] of a pot that tapers from ``top`` to ``bottom`` diameter over ``height`` [m].

    >>> round(frustum(0.1, 0.1, 0.1) * 1e6, 1)
    785.4
    """
    return math.pi * height / 12 * (top**2 + top * bottom + bottom**2)


def _furnace(given: Mapping[str, Any], where: str) -> Furnace:
    got = _fields(Furnace, given, where)
    usual = {"gas": (0.05, 0.12), "electric": (0.35, 0.55)}.get(got.get("kind", ""), (0.05, 0.12))
    got.setdefault("efficiency_low", min(usual[0], got.get("efficiency_high", 1.0)))
    got.setdefault("efficiency_high", max(usual[1], got["efficiency_low"]))
    if got["efficiency_low"] > got["efficiency_high"]:
        raise BadInput(f"kit: {where}efficiency_low is above efficiency_high", "Exchange them")
    return _whole(Furnace, got, where)


def _whole(kind: type[Entry], got: Mapping[str, Any], where: str) -> Entry:
    for item in dataclasses.fields(kind):
        if item.name not in got and item.default is dataclasses.MISSING:
            raise BadInput(f"kit: {where}{item.name} is missing", f"It says: {item.metadata['says']}")
    return kind(**got)


def _table(key: str, entries: Any) -> tuple[Any, ...]:
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries) or not 0 < len(entries) <= _MOST:
        raise BadInput(f"kit: {key} must be one or more tables", f"Start each with a line [[{key}]], at most {_MOST} of them")
    build: dict[str, Callable[[Mapping[str, Any], str], Any]] = {
        "crucible": _crucible,
        "furnace": _furnace,
        "flask": lambda given, where: _whole(Flask, _fields(Flask, given, where), where),
    }
    made = tuple(build[key](entry, f"{key}[{i}].") for i, entry in enumerate(entries, 1))
    names = [item.name for item in made]
    if len(set(names)) != len(names):
        raise BadInput(f"kit: two {key} tables have the same name", "Give each its own name")
    return made


def read_kit(text: str, base: Kit) -> Kit:
    """The kit written in ``text`` (TOML); what it leaves out is taken from ``base``.

    Raises BadInput, in one line, for broken TOML, an unknown entry, a missing unit or a size out of all reason.
    """
    if len(text) > 200_000:
        raise BadInput("kit: the file is far too long for a kit", "Start from the one that 'strickle kit' writes")
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # among them what tomllib says
        raise BadInput(f"kit: the file is not TOML: {str(error) or 'nested too deep'}", "Mend that line; text goes in quotes") from None
    known = [item.name for item in dataclasses.fields(Kit) if item.name not in _NESTED]
    got: dict[str, Any] = {}
    plain = {}
    for key, value in data.items():
        if key in _TABLES:
            got[_TABLES[key][0]] = _table(key, value)
        elif key == "sand_test":
            got[key] = _sand_test(value)
        elif key in known:
            plain[key] = value
        else:
            raise BadInput(f"kit: {key} is not a known entry", _nearest(key, [*known, *_TABLES, "sand_test"]))
    got.update(_fields(Kit, plain, ""))
    got.setdefault("name", "your kit" if base.starter else base.name)
    made = dataclasses.replace(base, starter=False, **got)
    if made.pour_rate_low > made.pour_rate_high:
        raise BadInput("kit: pour_rate_low is above pour_rate_high", "Exchange them")
    return made


def _sand_test(entry: Any) -> SandTest:
    """What three bars of the person's own sand told."""
    if not isinstance(entry, dict):
        raise BadInput("kit: sand_test must be one table", "Start it with a line [sand_test]")
    got = _fields(SandTest, entry, "sand_test.")
    for name in ("date", "overhangs"):
        if name not in got:
            raise BadInput(f"kit: sand_test.{name} is missing", 'Write the day, and the three overhangs as ["50 mm", "52 mm", "55 mm"]')
    test, low, high = SandTest(**got), float(min(got["overhangs"])), float(max(got["overhangs"]))
    if high > BAR_LONG * test.bar / BAR_HIGH:
        raise BadInput(
            f"kit: sand_test.overhangs: a bar that reaches {tell(high, 'm')} over the edge is none of {tell(BAR_LONG, 'm')}",
            "Measure from the table's edge to the far end of the bar, as it stands when it breaks",
        )
    if high > APART * low:
        raise BadInput(
            f"kit: sand_test.overhangs: {tell(low, 'm')} and {tell(high, 'm')} cannot be of one sand",
            "Ram the three bars alike and slide each slowly; make those again that broke at a crack",
        )
    return test


def _text(value: float, unit: str) -> str:
    """``value`` as a person writes it, in a unit that reads back to the very same number."""
    if unit == "1":
        return repr(value)
    offset = -273.15 if unit == "K" else 0.0
    for name, factor in _FRIENDLY.get(unit, ((unit, 1.0),)):
        for places in (3, 6, 9):
            text = f"{value * factor + offset:.{places}f}".rstrip("0").rstrip(".") + f" {name}"
            if _si(text, unit) == value:
                return text
    return f"{value!r} {unit}"


def _entry(item: dataclasses.Field[Any], value: Any) -> Any:
    unit = item.metadata["unit"]
    if item.metadata["shape"]:
        return [_text(float(size), unit) for size in value]
    if unit is None or unit == "1":
        return value
    return _text(value, unit)


def write_kit(kit: Kit) -> str:
    """``kit`` as TOML with a comment at each entry; ``read_kit`` gives the very same kit back, but not as a starter."""
    import tomlkit

    document = tomlkit.document()
    document.add(tomlkit.comment("The shop as it stands. Sizes are inside sizes; every size needs a unit."))
    lists = {field: key for key, (field, _) in _TABLES.items()}
    for item in dataclasses.fields(Kit):
        value = getattr(kit, item.name)
        if item.name in _NESTED:
            continue
        if value is None:
            document.add(tomlkit.comment(f'{item.name} = "1.3 %"   # {item.metadata["says"]}'))
            continue
        entry = tomlkit.item(_entry(item, value))
        entry.comment(item.metadata["says"])
        document.add(item.name, entry)
    if kit.sand_test is not None:
        document.add("sand_test", _written(kit.sand_test))
    else:
        for line in ("[sand_test]   # your own sand: three bars over a table's edge", 'date = "2 May"', 'overhangs = ["50 mm", "52 mm", "55 mm"]'):
            document.add(tomlkit.comment(line))
    for field, key in lists.items():
        tables = tomlkit.aot()
        for record in getattr(kit, field):
            tables.append(_written(record))
        document.add(key, tables)
    return tomlkit.dumps(document)


def _written(record: Any) -> Any:
    """One table with a comment at each entry; what is not known is left out."""
    import tomlkit

    table = tomlkit.table()
    for item in dataclasses.fields(record):
        value = getattr(record, item.name)
        if value is None:
            continue
        entry = tomlkit.item(_entry(item, value))
        entry.comment(item.metadata["says"])
        table.add("holds" if item.name == "volume" else item.name, entry)
    return table
