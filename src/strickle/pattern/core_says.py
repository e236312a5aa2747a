"""What the pattern room tells of cores and loose pieces."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from strickle.base import Array, Finding, Margin, Value, Where, tell
from strickle.pattern.answers import UNTRIED, Answered, Choice
from strickle.pattern.core import Core, Loose

HELD = {"across": "across the draw", "upright": "along the draw", "round": "round a place open on several sides"}
MOST = 6  # places that stay filled are told one by one, the largest first; all of them are counted where their volume is told
BIG = 5e-6  # m3 from which on a place is no work for a mill and a file (choice of this program)
WIDER = 1.5  # times what a straight core as wide as the widest opening makes, from which on a hollow is a chamber (choice of this program)
OnPart = Callable[[Array], Array]
"""A place of the mould [m] as a place on the part [m]."""


def told(answered: Answered, cores: tuple[Core, ...], loose: tuple[Loose, ...], limits: tuple[Value, Value], on_part: OnPart) -> tuple[Finding, ...]:
    """Findings on every core and loose piece, and on answers that could not be built; ``limits`` on slenderness held at both ends and at one."""
    whys = {id(choice.place): choice.why for choice in answered.choices}
    out = []
    for core, made in zip(cores, answered.cores):
        why = whys.get(id(made.body.place), "places that one core makes")
        if (faced := float(made.faced.volume())) > 0.0:
            why += f"; so that its box opens, {tell(faced * 1e-9, 'm3')} of metal stays before its prints, thinner than their room"
        out.append(_core(core, why, on_part))
        if (one := _slender(core, limits, on_part)) is not None:
            out.append(one)
        if core.vent == 0.0:
            out.append(_unvented(core, on_part))
        if (one := _chamber(core, max((p.thick for p in made.body.prints), default=0.0) * 1e-3, on_part)) is not None:
            out.append(one)
    chosen = [choice for choice in answered.choices if choice.way == "loose"]
    out += [_loose(piece, choice, on_part) for piece, choice in zip(loose, chosen)]
    left = [choice for choice in answered.choices if choice.way == "fill" and (", but " in choice.why or choice.why in UNTRIED)]
    return (*out, *(_not_built(choice, on_part) for choice in left[:MOST]))


def no_bore(least: Value, deep: Value) -> Finding:
    """Cores were asked for in holes along the draw, and there is none that takes one."""
    return Finding(
        code="pattern.no_bore",
        weight="NOTE",
        says="Cores are asked for in holes along the draw, and no hole takes one",
        because=f"on a flat joint a hole is cored from {tell(least.value, 'm')} wide and deeper than {tell(deep.value, '1')} times its width,"
        " if it goes through and is not filled for the drill",
        do="Leave such holes to the sand; with --holes cast a hole that would be drilled stays; or draw the part another way with --up",
        source="Common practice",
    )


def _where(at: Array, on_part: OnPart, body: str = "") -> Where:
    x, y, z = (float(v) for v in on_part(at))
    return Where(point=(x, y, z), body=body)


def _core(core: Core, why: str, on_part: OnPart) -> Finding:
    if core.prints:
        held = f"{core.prints} {'print' if core.prints == 1 else 'prints'} hold it"
    else:
        held = "it lies in the sand where it leaves the part's outline" if core.bearing > 0.0 else "nothing holds it in the sand"
    if core.print_length:
        held += f", the shortest {tell(core.print_length, 'm')} long in the sand"
    return Finding(
        code="pattern.core",
        weight="NOTE",
        says=(
            f"{core.name} of {core.medium_name}, {tell(core.mass, 'kg')}, lies {HELD[core.lies]} and makes {tell(core.metal_volume, 'm3')} of hollow"
        ),
        because=f"{why}; {held}, with {tell(core.clearance, 'm')} of room on every side, {tell(core.clearance_volume, 'm3')} in all: what metal runs"
        " into it is a fin to knock off, no part of the casting reckoned",
        do=(
            f"Print {core.box[0]} and {core.box[1]}, make the core before the mould, dry it through, and set it as number {core.set_order}"
            " before closing; or give another answer with --undercuts, or --bores for a hole along the draw"
        ),
        where=_where(core.at, on_part, core.name),
        margin=Margin(value=core.metal_volume / core.volume, unit="1", of="what the core forms over the whole core"),
        source="Length of prints: Modern Mechanical Engineering, vol. I; clearance from memory, unverified",
    )


def _slender(core: Core, limits: tuple[Value, Value], on_part: OnPart) -> Finding | None:
    limit = limits[0] if core.prints > 1 else limits[1]
    if core.slenderness <= limit.value:
        return None
    ends = "between its prints" if core.prints > 1 else "from its one print"
    return Finding(
        code="pattern.core_slender",
        weight="MIND",
        says=f"{core.name} is {tell(core.slenderness, '1')} times as long {ends} as it is wide: a chance that it breaks or sags",
        because=f"{tell(core.span, 'm')} over {tell(core.width, 'm')}; up to {tell(limit.value, '1')} is held to stand unsupported",
        do="Ram a wire or rod into it that ends short of both ends, beside the vent, and handle it lying"
        if core.metal_volume > BIG
        else "Ram a wire or rod into it that ends short of both ends, beside the vent, handle it lying; or drill the hole: --undercuts fill",
        where=_where(core.at, on_part, core.name),
        margin=Margin(value=core.slenderness, unit="1", of="length over width in the metal", high=limit.high),
        source="Slenderness of cores without support: from memory, unverified",
    )


def _unvented(core: Core, on_part: OnPart) -> Finding:
    return Finding(
        code="pattern.core_vent",
        weight="MIND",
        says=f"No straight rod makes a vent through {core.name}, which gives off up to {tell(core.gas_volume, 'm3')} of gas, measured cold",
        because="Its prints do not lie across from each other; gas that cannot leave by a print blows through the metal",
        do="Scratch vents into the parting of its box from the thickest place to a print, and lead them on to the outside of the mould",
        where=_where(core.at, on_part, core.name),
        margin=Margin(value=core.gas_volume / core.volume, unit="1", of="gas, cold, over the core's own volume"),
        source="Gas of core binders: from memory, unverified",
    )


def _chamber(core: Core, way: float, on_part: OnPart) -> Finding | None:
    """Sand that must leave a chamber by openings narrower than it; ``way`` [m] is the widest."""
    straight = np.pi / 4.0 * way**2 * core.span
    if straight <= 0.0 or core.metal_volume < WIDER * straight:
        return None
    held = "gassed silicate sand stays hard after the pour" if core.medium == "silicate" else "its binder is loosened by heat, by aluminium's least"
    return Finding(
        code="pattern.core_out",
        weight="MIND",
        says=f"{core.name} makes a chamber of {tell(core.metal_volume, 'm3')} that opens {tell(way, 'm')} wide at most: sand may stay in it",
        because=f"a straight core of that width would make {tell(straight, 'm3')}; {held}",
        do=(
            "When the casting is cold, break the sand up with a rod and shake it out by every opening, then look into it with a light;"
            " a second opening helps, plugged after, and so does a core sand that falls apart (--core-sand oil-baked)"
        ),
        where=_where(core.at, on_part, core.name),
        margin=Margin(value=straight / core.metal_volume, unit="1", of="what a straight core as wide as the widest opening makes over the chamber"),
        source="Common practice",
    )


def _loose(piece: Loose, choice: Choice, on_part: OnPart) -> Finding:
    return Finding(
        code="pattern.loose_piece",
        weight="NOTE",
        says=f"{piece.name}, {tell(piece.volume, 'm3')}, comes off the {piece.half} half and is drawn after it",
        because=f"{choice.why}; moved {tell(piece.travel, 'm')} sideways into the hollow and lifted out, it cuts no sand",
        do=(
            "Set it on its key without glue; ram gently round it first so that it cannot shift. When its half is out, move it inward and lift it;"
            " or give another answer with --undercuts"
        ),
        where=_where(piece.at, on_part, piece.name),
        margin=Margin(value=piece.travel, unit="m", of="the way it is moved sideways before it is lifted"),
        source="Loose pieces: common practice; sizes a choice of this program",
    )


def _not_built(choice: Choice, on_part: OnPart) -> Finding:
    told_ = choice.place.told
    volume = told_.volume * 1e-9
    return Finding(
        code="pattern.not_answered",
        weight="MIND",
        says=f"A place of {tell(volume, 'm3')} that sand cannot release stays filled: {choice.why}",
        because="No core was tried there; --undercuts core asks for one"
        if choice.why in UNTRIED
        else "What is built is proved by moving the solids, and this could not be",
        do="Turn the part with --up, or draw the place with a straight way out; or machine it out of the casting"
        if volume > BIG
        else "Machine it out of the casting, turn the part with --up, or draw the place with a straight way out",
        where=_where(told_.at * 1e-3, on_part),
        margin=Margin(value=volume, unit="m3", of="metal that stays where there should be none"),
    )
