"""Tables of the card: numbers, quantities, pieces, findings, as rows of words in the person's units."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np

from strickle.base import Array, Finding, Piece, Span, render, shown
from strickle.card.words import band, electric, parts, qty, size
from strickle.cavity import Cavity
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.pour import Pour
from strickle.rigging import Rigging
from strickle.sound import Sound
from strickle.stores import Kit

FEW_RISERS = 3  # told one by one on the card; all are in results.json
LEAST_WEIGHT = 0.05  # hold-down masses below this [kg] are told as none


def subtitle(metal: Metal, part: Part, mould: Mould | None, melt: Melt | None, units: str) -> str:
    """The line under the title."""
    items = [metal.name, size(tuple(part.extents), units)]
    if mould is not None:
        items.append(mould.sand_name)
    if melt is not None:
        items.append(f"{melt.furnace}, {melt.pot}")
    items.append("for a use where nobody is hurt if it breaks")  # any other use ends the plan
    return " · ".join(items)


def numbers(melt: Melt | None, pour: Pour | None, cavity: Cavity | None, sound: Sound | None, units: str) -> list[tuple[str, str, str]]:
    """The large figures: (what, figures, unit); only what is known."""
    rows: list[tuple[str, str, str]] = []
    if melt is not None:
        rows.append(("Metal to charge", *shown(melt.charge_mass, "kg", units)))
        rows.append(("Take from furnace at", *parts(melt.lift_temperature, "K", units)))
        rows.append(("At the mould", *parts(melt.pour_temperature, "K", units)))
    if pour is not None:
        rows.append(("Pour for", *parts(pour.pour_time, "s", units)))
    if cavity is not None:
        weight = shown(cavity.hold_down_mass, "kg", units) if cavity.hold_down_mass > LEAST_WEIGHT else ("none", "needed")
        rows.append(("Weight on the cope", *weight))
    if sound is not None:
        rows.append(("Leave untouched for", *shown(sound.riser_time.high, "s", units)))
        known = math.isfinite(sound.knock_out_time.high)
        rows.append(("Knock out after", *(shown(sound.knock_out_time.high, "s", units) if known else ("not", "computed"))))
        if math.isfinite(sound.touch_time.high):
            rows.append((f"Left shut, under {qty(sound.touch_temperature, 'K', units)} after", *shown(sound.touch_time.high, "s", units)))
    return rows


MAIN = ("At the mould", "Metal to charge", "Knock out after")  # printed largest, to be read from a step away


def largest(rows: Sequence[tuple[str, str, str]]) -> tuple[list[tuple[str, str, str]], list[tuple[str, str, str]]]:
    """The figures printed largest, and the rest."""
    first = [row for name in MAIN for row in rows if row[0] == name]
    return first, [row for row in rows if row[0] not in MAIN]


def quantities(
    metal: Metal, part: Part, pattern: Pattern | None, mould: Mould | None, rigging: Rigging | None, cavity: Cavity | None, melt: Melt | None,
    pour: Pour | None, sound: Sound | None, kit: Kit, units: str,
) -> list[tuple[str, str]]:  # fmt: skip
    """Everything else to have ready or to know, as (what, how much)."""
    rows: list[tuple[str, str]] = []
    if melt is not None:
        rows.append(("Poured into the mould", qty(melt.poured_mass, "kg", units)))
        rows.append(("Left in the pot", qty(melt.heel_mass, "kg", units)))
        rows.append(("Lost as dross", band(melt.loss, "1", units, "%")))
        rows.append(("Lifted", f"{qty(melt.gross_mass, 'kg', units)} of {qty(kit.lift_limit, 'kg', units)} allowed"))
        rows.append(("Tray must hold", qty(melt.tray_mass, "kg", units)))
        rows.append(("Pot inside, needed", qty(melt.pot_needed_volume, "m3", units)))
        if melt.fuel == "propane":
            rows.append(("Propane", band(melt.fuel_mass, "kg", units)))
        else:
            rows.append(("Electricity", electric(melt.energy)))
        rows.append(("Time to melt", band(melt.melt_time, "s", units)))
    if pour is not None:
        rows.append(("Part fills in", band(pour.fill_time, "s", units)))
        rows.append(("Pour rate at first", qty(pour.rate, "kg/s", units)))
        rows.append(("Ingate speed", f"{shown(pour.gate_speed, 'm/s', units)[0]} of at most {qty(pour.critical_speed, 'm/s', units)}"))
        rows.append(("Stays fluid", f"{band(pour.fluid_margin, '1', units)} times the filling"))
        if pour.solution is not None:
            solved = pour.solution
            rows.append(("Heat in the solved filling", f"accounted for {accounted(solved.heat_balance, units)}"))
    if sound is not None:
        rows.append(("Last place solid", band(sound.last_to_freeze.time, "s", units)))
        rows += _pipes(sound, rigging, units)
    if cavity is not None:
        rows.append(("Sand, rammed", qty(cavity.sand_mass, "kg", units)))
    if mould is not None:
        f = mould.flask
        high = f"{shown(f.cope, 'm', units)[0]} + {qty(f.drag, 'm', units)}"
        rows.append(("Flask, cope + drag", f"{shown(f.length, 'm', units)[0]} × {shown(f.width, 'm', units)[0]}, {high}"))
    if rigging is not None:
        rows.append(("Part over poured", qty(rigging.yield_, "1", units, "%")))
    if pattern is not None:
        rows.append(("Contraction", f"{qty(pattern.contraction.value, '1', units, '%')} ({band(pattern.contraction, '1', units, '%')})"))
        rows.append(("Pattern measures", f"{qty(pattern.measure, 'm', units, 'fine')} for {qty(pattern.measure_part, 'm', units, 'fine')}"))
    rows.append(("Metal freezes", band(Span(value=metal.liquidus, low=metal.solidus, high=metal.liquidus), "K", units)))
    if len(rows) % 3:
        rows.append(("Least wall", qty(part.least_wall, "m", units)))
    return rows


def _pipes(sound: Sound, rigging: Rigging | None, units: str) -> list[tuple[str, str]]:
    """How deep each of the first risers pipes and until when it feeds the part; nothing where no pools were followed."""
    if sound.feeding is None or rigging is None:
        return []
    bodies = {body.name: body for body in sound.feeding.bodies}
    rows = []
    for riser in rigging.risers[:FEW_RISERS]:
        body = bodies.get(riser.name)
        if body is None or not math.isfinite(body.pipe_depth):
            continue
        (deep, unit), (high, whole) = (shown(v, "m", units) for v in (min(body.pipe_depth, riser.height), riser.height))
        fed = f"feeds till {qty(body.fed_until, 's', units)}" if math.isfinite(body.fed_until) else "feeds the part nothing"
        pipe = f"{deep}{'' if unit == whole else f' {unit}'} of {high} {whole}" if body.pipe_depth > 0.0 else "nothing"
        rows.append((f"{riser.name[:1].upper()}{riser.name[1:]} pipes", f"{pipe}, {fed}"))
    return rows


LEAST_TOLD = 1e-6  # of a balance; what is better is told as this


def accounted(balance: float, units: str) -> str:
    """How well a solve adds up, in words.

    >>> accounted(-0.0031, "metric"), accounted(4e-16, "metric")
    ('within 0.31%', 'to better than 0.0001%')
    """
    if not math.isfinite(balance):
        return "not known how well"
    return f"{'within' if abs(balance) >= LEAST_TOLD else 'to better than'} {qty(max(abs(balance), LEAST_TOLD), '1', units, '%')}"


def _way(draw: Array) -> str:
    """A drawing direction in words."""
    x, y, z = (float(v) for v in np.asarray(draw) / max(float(np.linalg.norm(draw)), 1e-12))
    if abs(z) > 0.985:
        return "up" if z > 0 else "down"
    if abs(z) < 0.17:
        return "level"
    return f"aslant {x:+.2f} {y:+.2f} {z:+.2f}"


BOARD, BOX = "board", "core box"
BEFORE, DRAG, COPE = "before opening", "from the drag", "from the cope"


def leaves(piece: Piece) -> str:
    """When a piece leaves: out through the cope top before the mould is opened, or after that out of the drag or the cope."""
    if piece.half != "cope":
        return DRAG
    return BEFORE if float(piece.draw[2]) > 0 else COPE


def drawn(piece: Piece) -> bool:
    """Whether a piece is drawn from the mould by hand: it is rammed in, and is no follow board or core box."""
    return piece.touches_sand and piece.role not in (BOARD, BOX)


def turns(pieces: Sequence[Piece]) -> dict[str, list[list[Piece]]]:
    """When they leave -> the pieces drawn as one, in their order; only those drawn by hand."""
    out: dict[str, list[list[Piece]]] = {}
    for when in (BEFORE, DRAG, COPE):
        own = [p for p in pieces if drawn(p) and leaves(p) == when]
        alike = [[p for p in own if p.order == order] for order in sorted({p.order for p in own})]
        if alike:
            out[when] = alike
    return out


def piece_rows(pieces: Sequence[Piece], units: str) -> list[list[str]]:
    """Printed pieces in the order they are drawn: order, name, half, draw, size, note."""
    ranked = [sorted(group, key=lambda p: p.name) for groups in turns(pieces).values() for group in groups]
    numbered = [(str(i), p) for i, group in enumerate(ranked, start=1) for p in group]
    numbered += [("–", p) for p in pieces if not drawn(p)]
    return [[rank, p.name, p.half, _way(p.draw), size(tuple(p.extents), units).rsplit(" ", 1)[0], _note(p, units)] for rank, p in numbered]


def _note(piece: Piece, units: str) -> str:
    """A piece's note; its pilot hole is told as the drill it takes."""
    return render(re.sub(r"(hole \{\{q:[^|}]+\|m)\}\}", r"\1|drill}}", piece.note), units)


def notes(rows: Sequence[Sequence[str]]) -> list[list[str]]:
    """The notes of ``piece_rows`` as (names, what), in order; what the same pieces share is said once."""
    owners: dict[str, list[str]] = {}
    for row in rows:
        for clause in (c.strip() for c in re.split(r"; (?!drawn with it)", row[5].rstrip("."))):
            if clause and row[1] not in owners.setdefault(clause, []):
                owners[clause].append(row[1])
    shared: dict[str, list[str]] = {}
    for clause, names in owners.items():
        shared.setdefault(", ".join(names), []).append(clause)
    return [[names, "; ".join(clauses)] for names, clauses in shared.items()]


def _margin(finding: Finding, units: str) -> str:
    margin = finding.margin
    if margin is None or not math.isfinite(margin.value):
        return ""
    step = "step" if margin.unit == "K" else ""  # a margin is always a difference, never a temperature
    told = qty(margin.value, margin.unit, units, step)
    if margin.low is not None and margin.high is not None:
        told += f" ({band(Span(value=margin.value, low=margin.low, high=margin.high), margin.unit, units, step)})"
    return f"{margin.of}: {told}"


def _where(finding: Finding, units: str) -> str:
    where = finding.where
    if where is None:
        return ""
    if where.point is not None:
        factor, name, places = (1 / 0.0254, "in", 2) if units == "us" else (1e3, "mm", 0)
        told = ", ".join(f"{round(float(v) * factor, places) + 0.0:.{places}f}" for v in where.point)
        return f"at {told} {name} on the part"
    return where.body or (f"{len(where.faces)} faces of the part" if where.faces else "")


def _sentence(text: str) -> str:
    """With a capital and a full stop."""
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def finding_rows(findings: Sequence[Finding], units: str) -> list[dict[str, str]]:
    """Findings, heaviest first, in the person's units."""
    return [
        {
            "weight": f.weight,
            "says": _sentence(render(f.says, units)),
            "because": _sentence(render(f.because, units)),
            "do": _sentence(render(f.do, units)),
            "margin": render(_margin(f, units), units),
            "where": _where(f, units),
            "chance": "" if f.chance is None else f"chance {f.chance.says}",
        }
        for f in findings
    ]
