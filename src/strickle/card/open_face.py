"""What the card says otherwise where the mould is an open face: its day, its figures, its quantities."""

from __future__ import annotations

from collections.abc import Sequence

from strickle.base import shown
from strickle.card.order import DAY, Facts, Row
from strickle.card.words import UNKNOWN, band, qty
from strickle.mould import Mould
from strickle.rigging import OpenPour, Rigging
from strickle.sound import Sound


def _stop(pour: OpenPour, units: str) -> str:
    """Where to stop, in words."""
    level = pour.level.value
    if abs(level) < 5e-5:
        return "level with the rim"
    return f"{qty(abs(level), 'm', units, 'fine')} {'over' if level > 0 else 'under'} the rim"


def rise(mould: Mould) -> float:
    """How much one end of the frame may stand over the other [m]."""
    return mould.tilt * max(mould.flask.length, mould.flask.width)


def _poured(f: Facts) -> OpenPour:
    assert f.rigging.open_pour is not None
    return f.rigging.open_pour


def _names(f: Facts) -> str:
    return ", ".join(p.name for p in f.pieces)


def _drag(f: Facts) -> str:
    return (
        f"Mark the frame's left and near walls; places are counted from these, upside down too. Lay {_names(f)} on the board in place, back down."
        f" Riddled sand on the faces, ram in layers to {f.say(f.mould.flask.drag, 'm')}, strike off. Prick the sand all over with thin wire, never"
        " as deep as the pattern. Second board on, turn over: the back now lies level with the sand."
    )


def _draw(f: Facts) -> str:
    return (
        f"Bed the frame on dry sand. Spirit level both ways on the struck face: within {f.say(rise(f.mould), 'm', 'fine')} over its length."
        f" Rap, then draw {_names(f)} straight up."
    )


def _look(f: Facts) -> str:
    return (
        f"{'The piece lies' if len(f.pieces) == 1 else f'All {len(f.pieces)} pieces lie'} outside, ticked. No loose sand in the impression, its rim"
        " whole all round, its sand as dry as the heap. Still level. From here on nothing is laid or leaned over it."
    )


def _pour(f: Facts) -> str:
    pour = _poured(f)
    return (
        f"Metal at {band(f.melt.pour_temperature, 'K', f.units)}. Lip low, gently on one flat place until the floor is covered, then steadily to the"
        f" far corners: {band(f.pour.pour_time, 's', f.units)}. Stop {_stop(pour, f.units)}: {band(pour.mass, 'kg', f.units)} in all."
        + (" Skim, then lay on the warm dry cover." if _covered(f) else " Skim the back while it is liquid.")
    )


def _covered(f: Facts) -> bool:
    return f.sound.back is not None and f.sound.back.covered


def _wait(f: Facts) -> str:
    return f"Untouched and level at least {f.say(f.sound.riser_time.high, 's')}: until the last metal is solid. A dull back says nothing of that."


def _after(f: Facts) -> str:
    back = f.sound.back
    deep = f" It sinks up to {f.say(back.deepest.high, 'm', 'fine')} in places." if back is not None else ""
    stock = f"Machine {f.say(f.pattern.stock, 'm', 'fine')} off the back.{deep}" if f.pattern.stock > 0 else f"Dress the back.{deep}"
    return f"{stock} Weigh, measure, tick below what came out."


_OTHER = {
    "drag": ("Ram the one frame", _drag),
    "draw": ("Level, then draw", _draw),
    "close": ("Look into the mould", _look),
    "pour": ("Pour", _pour),
    "wait": ("Leave it", _wait),
    "after": ("Clean and look", _after),
}


def rows() -> tuple[Row, ...]:
    """The day of an open-face mould: no cope, nothing to close, no weights."""
    return tuple((key, *_OTHER.get(key, (title, text))) for key, title, text in DAY if key != "cope")


def figures(told: Sequence[tuple[str, str, str]], rigging: Rigging | None, units: str) -> list[tuple[str, str, str]]:
    """The large figures with how much to pour and where to stop in place of the weights."""
    if rigging is None or rigging.open_pour is None:
        return list(told)
    pour = rigging.open_pour
    level = pour.level.value
    stop = ("level", "with the rim") if abs(level) < 5e-5 else shown(abs(level), "m", units, "fine")
    own = [("Pour in all", *shown(pour.mass.value, "kg", units)), ("Stop under the rim" if level < -5e-5 else "Stop over the rim", *stop)]
    named = {"Pour for": "At your pour rates, for"}
    return [row for name, *rest in told for row in (own if name.startswith("Weight on") else [(named.get(name, name), rest[0], rest[1])])]


def amounts(told: Sequence[tuple[str, str]], mould: Mould | None, rigging: Rigging | None, sound: Sound | None, units: str) -> list[tuple[str, str]]:
    """The quantities without what an open face does not have, and with what it has."""
    if mould is None or mould.kind != "open-face":
        return list(told)
    frame = f"{shown(mould.flask.length, 'm', units)[0]} × {qty(mould.flask.width, 'm', units)}, {qty(mould.flask.drag, 'm', units)} high"
    own = {"Flask, cope + drag": ("Drag frame only", frame), "Pour rate at first": ("Pour rate", ""), "Ingate speed": ("", "")}
    out = [(own[name][0], own[name][1] or value) if name in own else (name, value) for name, value in told]
    out = [(name, value) for name, value in out if name and value != UNKNOWN]
    out.append(("Level over its length", qty(rise(mould), "m", units, "fine")))
    if rigging is not None and rigging.open_pour is not None:
        out.append(("Proud it bears", qty(rigging.open_pour.bears, "m", units, "fine")))
    if sound is not None and sound.back is not None:
        out.append(("Back sinks", band(sound.back.deepest, "m", units, "fine")))
    return out
