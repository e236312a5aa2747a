"""What answers each place that two halves cannot release: a core, a loose piece, or metal that is taken out later.

By itself the program drills round holes that a drill makes, leaves small places to the file, takes a loose piece where what hangs over comes off
upright and is small and shallow, and a core for the rest. The person's word goes before. An answer that cannot be built is filled, and told.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import manifold3d

from strickle.pattern import chamber, rules
from strickle.pattern.core_body import Body, PrintRule, place_cores, upright_body
from strickle.pattern.core_box import Box, box, fallen, swept
from strickle.pattern.core_way import is_bent
from strickle.pattern.loose import DRAGS, LoosePiece, Parted, fitted, separate
from strickle.pattern.places import Found, Place, find, upright
from strickle.pattern.taper import DraftRule
from strickle.pattern.undercut import plain, withdrawn
from strickle.stores import Stores

WAYS = ("best", "core", "loose", "fill")
BORES = ("sand", "core")
MOST = 8  # cores made without being asked for
UNTRIED = ("a core so thin breaks", "so many cores are made only where they are asked for")
"""Why a place that a core would make is filled unasked without one being tried."""


class Limits(NamedTuple):
    """Where one answer gives way to the next. Millimetres, mm3."""

    drill: float  # round holes to this wide are drilled
    file: float  # places to this volume are filed out
    loose_deep: float  # loose pieces to this depth
    loose_volume: float
    thin: float  # cores under this width are not made by themselves
    bore_least: float  # holes along the draw from this width may be cored
    bore_deep: float  # and from this depth over their width


class Choice(NamedTuple):
    """The answer to one place, and why."""

    place: Place
    way: str  # core | loose | drill | fill
    why: str


class Plan(NamedTuple):
    """Answers before draft: what is drafted, and what is done with it after."""

    base: manifold3d.Manifold  # to be drafted: cored and filled places are solid in it, loose pieces are off
    whole: manifold3d.Manifold
    choices: tuple[Choice, ...]
    loose: tuple[LoosePiece, ...]
    volume: float  # mm3 of all places

    def of(self, *ways: str) -> tuple[Place, ...]:
        """The places answered in one of these ways."""
        return tuple(choice.place for choice in self.choices if choice.way in ways)


class Made(NamedTuple):
    """A core with its box."""

    body: Body
    box: Box
    faced: manifold3d.Manifold  # sheets of metal before the faces of its prints that let its box open


class Answered(NamedTuple):
    """Answers after draft."""

    metal: manifold3d.Manifold  # what is cast
    drawn: manifold3d.Manifold  # what the sand is rammed round: metal, rooms of cores, loose pieces
    printed: manifold3d.Manifold  # the same without loose pieces: it falls into the halves
    cores: tuple[Made, ...]
    loose: tuple[LoosePiece, ...]
    choices: tuple[Choice, ...]
    filled: float  # mm3 of places that stay filled


def limits(stores: Stores) -> Limits:
    """The limits by the stores' data."""
    lengths = ("pattern.drill_width", "loose.deep", "core.least_width", "core.bore_least")
    drill, deep, thin, bore = (rules.constant(stores, name).value * 1e3 for name in lengths)
    file, most = (rules.constant(stores, name).value * 1e9 for name in ("pattern.fill_least", "loose.volume"))
    return Limits(drill, file, deep, most, thin, bore, rules.constant(stores, "core.bore_deep").value)


def print_rule(stores: Stores) -> PrintRule:
    """Sizes of prints by the stores' data."""
    full, clearance, least = (
        rules.constant(stores, name).value * 1e3 for name in ("core_print.diameter", "core_print.clearance", "core_print.least")
    )
    outside, pocket = (rules.constant(stores, f"draft.{name}").value for name in ("outside", "pocket"))
    bare = PrintRule()
    return bare._replace(full=full, clearance=clearance, least=least, draft=DraftRule(outside=outside, pocket=pocket, layer=bare.draft.layer))


def plan(whole: manifold3d.Manifold, wishes: Sequence[str], bores: str, limit: Limits, rule: PrintRule | None = None) -> Plan:
    """Choose an answer for every place; ``wishes`` one of ``WAYS`` for each place, largest first, or one for all. ``rule`` of the prints
    tells whether a box opens for a hole with chambers.

    Raises BadInput for a surface too rough to draw.
    """
    found = find(whole)
    stands = upright(whole, limit.bore_least, limit.bore_deep) if bores == "core" else ()
    if not found.places and not stands:
        return Plan(found.filled, whole, (), (), found.volume)
    choices, loose, rest, off = _choose(whole, found, wishes, limit)
    choices, stands = _chambers(whole, choices, stands, limit, rule or PrintRule())
    choices += [Choice(place, "core", "it goes along the draw and a core is asked for there") for place in stands]
    base = found.filled
    if loose:
        prisms = [one for one in found.prisms if not any(one is piece.place.prism for piece in loose)]
        shared = [c.place.prism for c in choices if c.way != "loose"]  # what fills another place as well is kept there
        prisms += [p.place.prism - p.place.solid - p.shape for p in loose if any(p.place.prism is one for one in shared)]
        base = manifold3d.Manifold.batch_boolean([off, *prisms], manifold3d.OpType.Add)
    for place in (choice.place for choice in choices if choice.place.upright):
        base = base + place.solid
    return Plan(base, rest, tuple(choices), tuple(loose), found.volume)


_Chosen = tuple[list[Choice], list[LoosePiece], manifold3d.Manifold, manifold3d.Manifold]


def _choose(whole: manifold3d.Manifold, found: Found, wishes: Sequence[str], limit: Limits) -> _Chosen:
    """Answers to the places, the loose pieces, the part as it stays for cores, and the part with loose pieces off."""
    choices: list[Choice] = []
    loose: list[LoosePiece] = []
    off, cores = whole, 0
    for i, place in enumerate(found.places):
        wish = (wishes[i] if i < len(wishes) else "best") if len(wishes) != 1 else wishes[0]
        choice, parted = _answer(off, place, wish, limit)
        if choice.way == "core" and wish == "best":
            cores += 1
            if cores > MOST:
                choice = Choice(place, "fill", UNTRIED[1])
        if parted is not None:
            loose.append(parted.piece)
            off = parted.main
        choices.append(choice)
    return choices, loose, off if loose else whole, off


def _chambers(
    whole: manifold3d.Manifold, choices: list[Choice], stands: tuple[Place, ...], limit: Limits, rule: PrintRule
) -> tuple[list[Choice], tuple[Place, ...]]:
    """The choices with cored places that open into a hole along the draw joined to that hole, and what is left of the holes to core.

    A hole that no box makes with its chambers is left to the mould's sand: were it filled for a core that fails, it would stay filled.
    """
    cored = [choice.place for choice in choices if choice.way == "core" and choice.place.is_open]
    holes = upright(whole, max(limit.bore_least, limit.thin), 0.0) if cored else ()
    for place, parts in chamber.joined(whole, cored, holes) if holes else []:
        if isinstance(box(upright_body(place, rule), 0.0), str):
            continue
        first = next(i for i, choice in enumerate(choices) if choice.place is parts[0])
        choices[first] = Choice(place, "core", "it is wider than the hole along the draw that leads to it; one core makes both")
        choices = [choice for choice in choices if not any(choice.place is part for part in parts)]
        stands = tuple(one for one in stands if float((one.solid ^ place.solid).volume()) < 0.5 * one.told.volume)
    return choices, stands


def _answer(whole: manifold3d.Manifold, place: Place, wish: str, limit: Limits) -> tuple[Choice, Parted | None]:
    """One place's answer, and the part with a piece cut off where that is it."""
    told, asked = place.told, wish != "best"
    if wish == "fill":
        return Choice(place, "fill", "so asked"), None
    if not asked and 0 < told.bore <= limit.drill:
        return Choice(place, "drill", "a drill makes it better than sand"), None
    if not asked and told.bore == 0 and told.volume <= limit.file:
        return Choice(place, "fill", "a file takes it out sooner than a core is made"), None
    small = told.bore == 0 and told.volume <= limit.loose_volume and _depth(place) <= limit.loose_deep
    if wish == "loose" or (not asked and small):
        parted = separate(whole, place)
        if not isinstance(parted, str):
            if fitted(parted.piece, parted.main).drags < DRAGS:
                return Choice(place, "loose", "so asked" if asked else "it is small and shallow, and the hollow beside it lets the piece out"), parted
            parted = "the hollow beside it does not let the piece out"
        if wish == "loose":
            return Choice(place, "fill", f"a loose piece was asked for, but {parted}"), None
    if not asked and min(told.size) < limit.thin:
        return Choice(place, "fill", UNTRIED[0]), None
    return Choice(place, "core", "so asked" if asked else "sand of the mould cannot be drawn there"), None


def _depth(place: Place) -> float:
    """How far a place reaches into the part along its way out; infinite where it has none."""
    reach = plain(place.solid)[0] @ place.out
    return float(reach.max() - reach.min()) if place.out.any() else float("inf")


def answer(made: Plan, eased: manifold3d.Manifold, rule: PrintRule, vent: float) -> Answered:
    """Cores, boxes and loose pieces on the drafted part ``eased``; what cannot be built stays filled and its choice says why."""
    metal = printed = eased
    choices = list(made.choices)
    wanted, dropped = list(made.of("core")), list(made.of("fill", "drill"))
    cores: list[Made] = []
    while wanted:
        laid = place_cores(eased, made.whole, tuple(wanted), tuple(dropped), rule)
        boxes = [(body, box(body, vent_width(body, vent))) for body in laid.bodies]
        bad = [one for place, why in laid.failed for one in _given_up(place, wanted, why)]
        bad += [one for body, made_ in boxes if isinstance(made_, str) for one in _given_up(body.place, wanted, made_)]
        if not bad and max(withdrawn(laid.drawn)) > max(withdrawn(eased)) + DRAGS:
            bad = [(place, "its prints would not draw") for place in wanted]
        if not bad:
            cores = [_made(body, one, laid.metal) for body, one in boxes if not isinstance(one, str)]
            faced = [core.faced for core in cores if not core.faced.is_empty()]
            metal = swept(manifold3d.Manifold.batch_boolean([laid.metal, *faced], manifold3d.OpType.Add)) if faced else laid.metal
            printed = laid.drawn
            break
        for place, why in bad:
            if place in wanted:
                wanted.remove(place)
                dropped.append(place)
                choices = [c._replace(way="fill", why=f"a core was chosen, but {why}") if c.place is place else c for c in choices]
    pieces = tuple(fitted(piece, printed) for piece in made.loose)
    every = [piece.shape for piece in pieces]
    metal, drawn = ((manifold3d.Manifold.batch_boolean([one, *every], manifold3d.OpType.Add) if every else one) for one in (metal, printed))
    filled = sum(c.place.told.volume for c in choices if c.way in ("fill", "drill"))
    return Answered(metal, drawn, printed, tuple(cores), pieces, tuple(choices), filled)


def _made(body: Body, one: Box, metal: manifold3d.Manifold) -> Made:
    """A core as its box makes it; what was pared off it against the ``metal`` is metal, no room of the core."""
    faced = fallen(body, one.core, metal) if one.added < 0.0 else manifold3d.Manifold()
    room = body.room if faced.is_empty() else swept(body.room - faced)
    return Made(body._replace(made=one.core, room=room), one, faced)


def _parts(place: Place, wanted: list[Place]) -> list[Place]:
    """The places that a core, which may be shared, was made for."""
    return [p for p in wanted if p is place or (p.solid ^ place.solid).volume() > 0.5 * p.told.volume]


def _given_up(place: Place, wanted: list[Place], why: str) -> list[tuple[Place, str]]:
    """Of the places whose core cannot be made those that are given up, and why.

    Where it was to be shared, those with ends of their own are tried again without those that are open on several sides, else the largest alone.
    """
    parts = _parts(place, wanted)
    if len(parts) < 2:
        return [(part, why) for part in parts]
    own = [part for part in parts if not part.is_open]
    kept = own if 0 < len(own) < len(parts) else [max(parts, key=lambda part: part.told.volume)]
    why = f"it would share the core of the place beside it, and {why}"
    return [(part, why) for part in parts if not any(part is one for one in kept)]


def vent_width(body: Body, share: float) -> float:
    """Width of a core's vent [mm]: a share of its width, for rods to be had; 0 where no rod goes along it."""
    if not body.prints or is_bent(body.prints):
        return 0.0
    return min(max(round(share * min(one.thick for one in body.prints) * 2) / 2, 2.0), 6.0)
