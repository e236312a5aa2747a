"""The day in order: what to do at each step, said from the results, with the cautions that act there."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from strickle.base import Piece
from strickle.card.places import depths
from strickle.card.safety import HOLDS, Caution
from strickle.card.tell import BEFORE, BOARD, COPE, DRAG, LEAST_WEIGHT, drawn, leaves, turns
from strickle.card.words import band, qty
from strickle.cavity import Cavity
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.pattern import Pattern
from strickle.pour import Pour
from strickle.rigging import Rigging
from strickle.sound import Sound
from strickle.stores import Kit


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything a planned day is told from: a whole plan and the shop."""

    metal: Metal
    pattern: Pattern
    mould: Mould
    rigging: Rigging
    cavity: Cavity
    melt: Melt
    pour: Pour
    sound: Sound
    kit: Kit
    pieces: tuple[Piece, ...]
    units: str

    def say(self, value: float, unit: str, style: str = "") -> str:
        """A value in the person's units."""
        return qty(value, unit, self.units, style)


@dataclass(frozen=True, slots=True)
class Step:
    """One step: a title, what to do, the cautions, whether it stops for a signature, and how long it takes where that is computed."""

    key: str
    title: str
    text: str
    cautions: tuple[Caution, ...]
    hold: bool
    time: str = ""


def weighted(cavity: Cavity) -> bool:
    """Whether weights are laid on the cope."""
    return cavity.hold_down_mass > LEAST_WEIGHT


def _named(pieces: Sequence[Piece]) -> str:
    return ", ".join(p.name for p in pieces)


def _rammed(f: Facts) -> list[Piece]:
    """The pieces that sand is rammed against and that are drawn by hand."""
    return [p for p in f.pieces if drawn(p)]


def _board(f: Facts) -> str:
    """Name of the follow board, or nothing where the joint is flat."""
    return next((p.name for p in f.pieces if p.role == BOARD), "")


def _stock(f: Facts) -> str:
    return f"Set aside {f.say(f.melt.charge_mass, 'kg')} of {f.metal.name}, cut to pot size and clean."


def _pieces(f: Facts) -> str:
    return (
        f"Tick {'it' if len(f.pieces) == 1 else f'all {len(f.pieces)}'} against the list. "
        f"Measure {f.pattern.measure_axis}: {f.say(f.pattern.measure, 'm', 'fine')}. "
        "Print lines filled, dusted with parting."
    )


def _sand(f: Facts) -> str:
    return f"Riddle {f.say(f.cavity.sand_mass, 'kg')} of {f.mould.sand_name}, {f.say(f.kit.sand_mass, 'kg')} on hand."


def _cores(f: Facts) -> str:
    """Cores and their boxes; nothing where there are none."""
    lines = []
    for core in f.pattern.cores:
        way = "box closed, rammed through its open end" if core.rammed == "end" else "each part of the box rammed and struck off, closed on the other"
        vent = f"rod of {f.say(core.vent, 'm', 'drill')} for the vent" if core.vent else "vents scratched to a print"
        lines.append(f"{core.name}: {core.medium_name}, {f.say(core.mass, 'kg')}; {way}; {vent}. Box off straight both ways.")
    return "\n".join(lines)


def _set(f: Facts) -> str:
    """Cores laid in, and what holds them."""
    if not f.pattern.cores:
        return ""
    names = ", ".join(core.name for core in f.pattern.cores)
    up = {v.name.removesuffix("-vent") for v in f.rigging.vents if v.kind == "core"}
    joint = [core.name for core in f.pattern.cores if core.name not in up]
    whose = "" if not up else f" of {', '.join(joint)}"
    ways = [f"vents{whose} led out along the joint"] if joint else []
    ways += [f"that of {', '.join(core.name for core in f.pattern.cores if core.name in up)} must meet the hole in the cope"] if up else []
    return (
        f"Lower {names} into the prints, in this order, straight down. No sand rubbed off; {'; '.join(ways)}. Try the cope on: it must close"
        " without rocking."
    )


def _inserts(f: Facts) -> str:
    """Chills and sleeves made ready; nothing where the mould has none."""
    chills = [f"{c.name}, {c.material} {f.say(c.across, 'm')} square, {f.say(c.thick, 'm')} thick, {f.say(c.mass, 'kg')}" for c in f.rigging.chills]
    sleeves = [f"for {s.riser}, wall {f.say(s.wall, 'm')}, {f.say(s.height, 'm')} high, made to the former's taper" for s in f.rigging.sleeves]
    told = [f"Chills: {'; '.join(chills)}. Cleaned, coated, baked, kept warm."] if chills else []
    told += [f"Insulating sleeves: {'; '.join(sleeves)}."] if sleeves else []
    return " ".join(told)


def _laid(f: Facts, half: str) -> str:
    """What is laid against the pattern, or round the risers, before the sand."""
    chills = [c.name for c in f.rigging.chills if c.half == half]
    told = f" Lay the {'chill' if len(chills) == 1 else 'chills'} {', '.join(chills)} tight against the pattern." if chills else ""
    if half == "cope" and chills:
        told += f" Nail or tie {'it' if len(chills) == 1 else 'each'} so that it cannot drop when the cope is lifted and turned; tug it."
    if half == "cope" and f.rigging.sleeves:
        told += f" Slip the sleeves over {', '.join(s.riser for s in f.rigging.sleeves)}."
    return told


def _drag(f: Facts) -> str:
    lower = sorted((p for p in _rammed(f) if p.half != "cope"), key=lambda p: p.role != "pattern")
    bare = "" if any(p.role == "pattern" for p in lower) else "No pattern in the drag. "
    mark = "Mark the flask's left and near walls; places are counted from these, upside down too. "
    if board := _board(f):
        whole = _named([p for p in _rammed(f) if p.role == "pattern"])
        flat = _named([p for p in lower if p.role != "pattern"])
        seat = f"Stand the {board} in the turned-over cope frame, ram sand round it, strike level with its brim. {whole} in its seat. "
        first = f"{mark}{seat}{f'Lay {flat} in place. ' if flat else ''}Dust. Drag frame on. "
        laid = _laid(f, "drag").lstrip()
        ram = f"Riddled sand on the faces, ram in layers to {f.say(f.mould.flask.drag, 'm')}, strike off, turn both over"
        return f"{first}{f'{laid} ' if laid else ''}{ram}; cope frame and {board} off, straight up."
    first = f"{mark}Lay {_named(lower)} on the board in place, parting face down. " if lower else ""
    sand = "Riddled sand on the faces, ram" if lower else "Ram it level on the board"
    laid = _laid(f, "drag").lstrip()
    return f"{bare}{first}{f'{laid} ' if laid else ''}{sand} in layers to {f.say(f.mould.flask.drag, 'm')}, strike off, turn over."


def _cope(f: Facts) -> str:
    # set as they stand on each other: the pattern, what is fixed to it, then what goes up to the cope top, the last out first
    upper = sorted((p for p in _rammed(f) if p.half == "cope"), key=lambda p: (p.role != "pattern", leaves(p) == BEFORE, -p.order))
    if _board(f):  # the pattern lies in the drag already
        upper = [p for p in upper if p.role != "pattern"]
    stand = f" Set {_named(upper)}." if upper else ""
    stopped = " Stop the pattern's screw holes with wax." if _board(f) and f.pattern.holes else ""
    return f"Dust the parting.{stopped}{stand}{_laid(f, 'cope')} Ram to {f.say(f.mould.flask.cope, 'm')}, strike off.{_vents(f)}"


def _vents(f: Facts) -> str:
    """Pricking, as deep as each vent goes below the cope top."""
    pricked = [v for v in f.rigging.vents if v.kind == "pricked"]
    unit = "in" if f.units == "us" else "mm"
    all_of = dict(depths(f.rigging, f.mould, f.units))
    rods = [f"{v.name} {f.say(v.diameter, 'm', 'drill')} wide, {all_of[v.name]} {unit} deep" for v in f.rigging.vents if v.kind == "core"]
    led = f" With a rod, down to the print of its core: {'; '.join(rods)}." if rods else ""
    if not pricked:
        return led
    told = [(v.name, all_of[v.name]) for v in pricked]
    deep = "; ".join(f"{d} {unit} {', '.join(n for n, other in told if other == d)}" for d in dict.fromkeys(d for _, d in told))
    where = "through the plate's holes" if any(p.role == "plate" for p in f.pieces) else "at the places in the table"
    return f" Now the vents, {where}: wire {f.say(pricked[0].diameter, 'm', 'drill')}, tape on it at the depth: {deep}.{led}"


def _draw(f: Facts) -> str:
    said = {BEFORE: "Before opening, up through the cope top", DRAG: "From the drag", COPE: "From the cope"}
    lines, number, opened = [], 0, False
    for when, groups in turns(f.pieces).items():
        told = [f"{number + i}. {_named(group)}" for i, group in enumerate(groups, start=1)]
        number += len(groups)
        if when != BEFORE and not opened:
            stays = ": the pattern stays in the drag" if _board(f) else ""
            lines.append(f"Cope off, turned over{stays}. Rap, then draw.")
            opened = True
        lines.append(f"{said[when]}: {'; '.join(told)}.")
    barred = [one for one in f.pattern.lifts if one.bars]
    if barred:
        lines.append(f"By bars across their screws, straight up: {', '.join(one.piece for one in barred)}.")
    return "\n".join(lines)


def _open(f: Facts) -> list[str]:
    """What must be open at the cope top."""
    more = [("risers", bool(f.rigging.risers)), ("vents", bool(f.rigging.vents))]
    return ["sprue", *(word for word, there in more if there)]


def _close(f: Facts) -> str:
    weights = " Weights ready, not yet on." if weighted(f.cavity) else ""
    top = ", ".join(_open(f)).capitalize()
    return f"All {len(f.pieces)} pieces lie outside, ticked. No loose sand in the cavity. {top} open. Cope on, pins home.{weights}"


def _clothing(f: Facts) -> str:
    return "Dressed before anything is hot; whoever helps, too."


def _light(f: Facts) -> str:
    told = f"{f.melt.furnace}, {f.melt.pot}."
    if f.melt.fuel == "propane":
        return f"{told} Propane for this melt: {band(f.melt.fuel_mass, 'kg', f.units)}; {f.say(f.kit.fuel_mass, 'kg')} on hand."
    return f"{told} Energy for this melt: {band(f.melt.energy, 'J', f.units)}."


def _charge(f: Facts) -> str:
    return f"Warm the pieces at the furnace, then {f.say(f.melt.charge_mass, 'kg')} into the pot one by one."


def _melt(f: Facts) -> str:
    return f"To {band(f.melt.lift_temperature, 'K', f.units)}; skim, read, write it down."


def _lift(f: Facts) -> str:
    return (
        f"Pot, metal and tongs weigh {f.say(f.melt.gross_mass, 'kg')}; your limit is {f.say(f.kit.lift_limit, 'kg')}. "
        f"Tray and moulds take the whole pot, {f.say(f.melt.tray_mass, 'kg')}."
    )


def _weights(f: Facts) -> str:
    if not weighted(f.cavity):
        return "The cope's own sand holds it down; still pin or clamp the flask."
    return f"Now lay {f.say(f.cavity.hold_down_mass, 'kg')} on the cope, clear of sprue and risers; {f.say(f.kit.weights, 'kg')} on hand."


def _pour(f: Facts) -> str:
    end = "every riser and the basin stand full" if f.rigging.risers else "the basin stands full"
    return (
        f"{_weights(f)} Metal at {band(f.melt.pour_temperature, 'K', f.units)}. Lip low, basin filled at once and kept full, without a stop "
        f"until {end}: {band(f.pour.pour_time, 's', f.units)}, at first about {f.say(f.pour.rate, 'kg/s')}, less as the metal rises. "
        f"The part itself is full after {band(f.pour.fill_time, 's', f.units)}."
    )


def _wait(f: Facts) -> str:
    what = "Weights stay on" if weighted(f.cavity) else "The mould stays untouched"
    last = "the last riser" if f.rigging.risers else "the last metal"
    return f"{what} at least {f.say(f.sound.riser_time.high, 's')}: until {last} is solid."


def _knock_out(f: Facts) -> str:
    first = f"Not before {f.say(f.sound.knock_out_time.high, 's')} after the pour (computed {band(f.sound.knock_out_time, 's', f.units)})."
    if not math.isfinite(f.sound.touch_time.high):
        return first
    cool = f"under {f.say(f.sound.touch_temperature, 'K')} only after {band(f.sound.touch_time, 's', f.units)}"
    return f"{first} Left shut, metal and the sand next to it are {cool}."


def _after(f: Facts) -> str:
    return "Saw off the rigging. Weigh, measure, tick below what came out."


Row = tuple[str, str, Callable[[Facts], str]]
DAY: tuple[Row, ...] = (
    ("rules", "Before the day", lambda f: f"Planned for casting {f.kit.place if f.kit.place != 'open-sided roof' else 'under an open-sided roof'}."),
    ("stock", "Sort the metal", _stock),
    ("pieces", "Check the printed pieces", _pieces),
    ("sand", "Make ready the sand", _sand),
    ("cores", "Make the cores", _cores),
    ("inserts", "Make ready inserts", _inserts),
    ("drag", "Ram the drag", _drag),
    ("cope", "Ram the cope", _cope),
    ("draw", "Draw", _draw),
    ("set", "Set the cores", _set),
    ("close", "Close the mould", _close),
    ("site", "Look at the place", lambda f: "Mould level, one short step from the furnace."),
    ("clothing", "Dress", _clothing),
    ("light", "Light up", _light),
    ("charge", "Charge", _charge),
    ("melt", "Melt", _melt),
    ("lift", "Before lifting", _lift),
    ("pour", "Pour", _pour),
    ("wait", "Leave it", _wait),
    ("knock-out", "Knock out", _knock_out),
    ("after", "Clean and look", _after),
)


_TIMES: dict[str, Callable[[Facts], str]] = {
    "melt": lambda f: band(f.melt.melt_time, "s", f.units),
    "pour": lambda f: band(f.pour.pour_time, "s", f.units),
    "wait": lambda f: f.say(f.sound.riser_time.high, "s"),
    "knock-out": lambda f: f"after {f.say(f.sound.knock_out_time.high, 's')}",
}


def day(facts: Facts, cautions: tuple[Caution, ...], rows: tuple[Row, ...] = DAY) -> tuple[Step, ...]:
    """The steps of the day with the cautions whose conditions hold; a step with nothing to do is left out."""
    titles = {"pour": "Weights on, pour"} if weighted(facts.cavity) else {}
    return tuple(
        Step(
            key, titles.get(key, title), text(facts), tuple(c for c in cautions if c.step == key), key in HOLDS,
            _TIMES[key](facts) if key in _TIMES else "",
        )
        for key, title, text in rows
        if text(facts)
    )  # fmt: skip


def blanks(cavity: Cavity | None) -> tuple[str, ...]:
    """What is written down while it happens."""
    off = ("Weights off",) if cavity is not None and weighted(cavity) else ()
    return (*_BLANKS[:8], *off, *_BLANKS[8:])


_BLANKS = ("Weather", "Sand batch", "Metal lot", "Charged", "Lifted at", "Poured at", "Pour took", "Left over", "Opened", "Weighs", "Poured by")
