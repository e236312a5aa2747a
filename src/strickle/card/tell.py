"""Tables of the card: numbers, quantities, pieces, findings, as rows of words in the person's units."""

from __future__ import annotations

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

LEAST_WEIGHT = 0.05  # hold-down masses below this [kg] are told as none


def subtitle(metal: Metal, part: Part, mould: Mould | None, melt: Melt | None, units: str) -> str:
    """The line under the title."""
    items = [metal.name, size(tuple(part.extents), units)]
    if mould is not None:
        items.append(mould.sand_name)
    if melt is not None:
        items.append(f"{melt.furnace}, {melt.pot}")
    return " · ".join(items)


def numbers(melt: Melt | None, pour: Pour | None, cavity: Cavity | None, sound: Sound | None, units: str) -> list[tuple[str, str, str]]:
    """The large figures: (what, figures, unit); only what is known."""
    rows: list[tuple[str, str, str]] = []
    if melt is not None:
        rows.append(("Metal to charge", *shown(melt.charge_mass, "kg", units)))
        rows.append(("Take from furnace at", *parts(melt.lift_temperature, "K", units)))
        rows.append(("At the mould", *parts(melt.pour_temperature, "K", units)))
    if pour is not None:
        rows.append(("Pour within", *parts(pour.fill_time, "s", units)))
    if cavity is not None:
        weight = shown(cavity.hold_down_mass, "kg", units) if cavity.hold_down_mass > LEAST_WEIGHT else ("none", "needed")
        rows.append(("Weight on the cope", *weight))
        rows.append(("Sand, rammed", *shown(cavity.sand_mass, "kg", units)))
    if sound is not None:
        rows.append(("Leave untouched for", *shown(sound.riser_time.high, "s", units)))
        rows.append(("Knock out after", *shown(sound.knock_out_time.high, "s", units)))
    return rows


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
        rows.append(("Pour rate by hand", qty(pour.rate, "kg/s", units)))
        rows.append(("Ingate speed", f"{shown(pour.gate_speed, 'm/s', units)[0]} of at most {qty(pour.critical_speed, 'm/s', units)}"))
        rows.append(("Stays fluid", f"{band(pour.fluid_margin, '1', units)} times the pour"))
    if sound is not None:
        rows.append(("Last place solid", band(sound.last_to_freeze.time, "s", units)))
    if mould is not None:
        f = mould.flask
        rows.append(("Flask inside", size((f.length, f.width), units)))
        rows.append(("Cope, drag", f"{shown(f.cope, 'm', units)[0]}, {qty(f.drag, 'm', units)} high"))
    if rigging is not None:
        rows.append(("Part over poured", qty(rigging.yield_, "1", units, "%")))
    if pattern is not None:
        rows.append(("Contraction", f"{qty(pattern.contraction.value, '1', units, '%')} ({band(pattern.contraction, '1', units, '%')})"))
        rows.append(("Pattern measures", f"{qty(pattern.measure, 'm', units, 'fine')} for {qty(pattern.measure_part, 'm', units, 'fine')}"))
    rows.append(("Metal freezes", band(Span(value=metal.liquidus, low=metal.solidus, high=metal.liquidus), "K", units)))
    if len(rows) % 3:
        rows.append(("Least wall", qty(part.least_wall, "m", units)))
    return rows


def _way(draw: Array) -> str:
    """A drawing direction in words."""
    x, y, z = (float(v) for v in np.asarray(draw) / max(float(np.linalg.norm(draw)), 1e-12))
    if abs(z) > 0.985:
        return "up" if z > 0 else "down"
    if abs(z) < 0.17:
        return "level"
    return f"aslant {x:+.2f} {y:+.2f} {z:+.2f}"


def turns(pieces: Sequence[Piece]) -> dict[int, int]:
    """Turn 1, 2, 3 ... of each order in which pieces leave the sand."""
    return {order: i + 1 for i, order in enumerate(sorted({p.order for p in pieces if p.touches_sand}))}


def piece_rows(pieces: Sequence[Piece], units: str) -> list[list[str]]:
    """Printed pieces in the order they are drawn: order, name, half, draw, size, note."""
    ordered = sorted(pieces, key=lambda p: (not p.touches_sand, p.order, p.name))
    ranks = turns(pieces)
    return [
        [
            str(ranks[p.order]) if p.touches_sand else "–",
            p.name,
            p.half,
            _way(p.draw),
            size(tuple(p.extents), units).rsplit(" ", 1)[0],
            render(p.note, units),
        ]
        for p in ordered
    ]


def _margin(finding: Finding, units: str) -> str:
    margin = finding.margin
    if margin is None:
        return ""
    if margin.low is not None and margin.high is not None:
        told = f"{qty(margin.value, margin.unit, units)} ({band(Span(value=margin.value, low=margin.low, high=margin.high), margin.unit, units)})"
    else:
        told = qty(margin.value, margin.unit, units)
    return f"{margin.of}: {told}"


def _where(finding: Finding, units: str) -> str:
    where = finding.where
    if where is None:
        return ""
    if where.point is not None:
        factor, name, places = (1 / 0.0254, "in", 2) if units == "us" else (1e3, "mm", 0)
        told = ", ".join(f"{float(v) * factor:.{places}f}" for v in where.point)
        return f"at {told.replace('-0,', '0,')} {name} on the part"
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
            "chance": "" if f.chance is None else f"chance {qty(f.chance.low, '1', units, '%')} to {qty(f.chance.high, '1', units, '%')}",
        }
        for f in findings
    ]
