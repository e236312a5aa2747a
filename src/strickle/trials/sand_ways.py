"""Other ways to make the mould beside the one asked for: each is run through pattern and mould, and told by its sand's chances and its cost.

What can be compared is what the rooms can make: a way that is already taken, or that a room refuses for this part, has no row.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from strickle.base import Array, BadInput, Finding, Margin, Outcome, Piece, Value, Watch, declared, quiet, tell
from strickle.metal import Metal, MetalAsk
from strickle.metal.steps import joined
from strickle.mould import Mould, MouldAsk, SandWay, together
from strickle.part import Part
from strickle.pattern import Pattern, PatternAsk, SpliceAsk, aimed
from strickle.pattern.rules import constant
from strickle.pattern.steps import cut_apart, look_for_cuts, marks_of
from strickle.stores import SandRecord, Stores
from strickle.trials.cure import Results, find
from strickle.trials.dividing import as_part, bare
from strickle.trials.moulding import BAY, MORE, MOST_LYING
from strickle.trials.runner import Runner

DOUBTFUL = 0.25
"""Chance of any failure from which on the ways are run unasked: the one at which the trade's rule on pockets was fitted."""
GAIN = 0.05
"""Of the chance of any failure: less is no gain."""
TOLD = ("mould.sand_tears", "mould.sand_hangs", "mould.half_sags", "mould.draw_chance")
"""STOPs that the chances of a row tell already."""
AS_IS, HALF, CUT = "as is", "half size", "cut in pieces"
CODE = "mould.sand_ways"


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way: what is changed, and with what the stages are run; None = as it is."""

    name: str
    says: str
    ask: PatternAsk | None = None
    part: Part | None = None
    stores: Stores | None = None
    size: float = 1.0


def wants_ways(runner: Runner, results: Results, whole: bool) -> bool:
    """Whether the ways are run: a two-part mould whose sand may well fail in a ``whole`` plan, or asked for."""
    ask, mould = runner.ask("mould"), results.get("mould")
    if not isinstance(mould, Mould) or mould.kind != "two-part" or mould.sand_ways or not isinstance(ask, MouldAsk) or ask.sand_ways == "none":
        return False
    return ask.sand_ways == "run" or (whole and mould.sand_chances.any >= DOUBTFUL)


def compare(runner: Runner, results: dict[str, Outcome], room: Array | None, watch: Watch) -> tuple[Finding, ...]:
    """Run the ways and put the mould with them in ``results``; gives what is told of them. Raises what ``watch`` raises."""
    mould = find(results, "mould", Mould)
    parts = ["sand ways", *(results[stage].key for stage in ("metal", "part", "pattern", "mould")), runner.ask("pattern"), runner.ask("mould")]

    def make() -> Outcome:
        rows = run_ways(runner, results, room, watch)
        return dataclasses.replace(mould, sand_ways=rows, findings=(*mould.findings, *told(rows)))

    made = runner.keep("mould", parts, make)
    results["mould"] = made
    return tuple(f for f in made.findings if f.code == CODE)


def run_ways(runner: Runner, results: Results, room: Array | None, watch: Watch) -> tuple[SandWay, ...]:
    """The mould that stands and every other way that can be run; ``room`` [m] is the box its flask was asked to hold."""
    part, pattern, metal, mould = (find(results, *one) for one in (("part", Part), ("pattern", Pattern), ("metal", Metal), ("mould", Mould)))
    asked, wish = runner.ask("pattern"), runner.ask("mould")
    assert isinstance(asked, PatternAsk)
    assert isinstance(wish, MouldAsk)
    rows = [row(Way(name=AS_IS, says="the mould as it is planned"), pattern, mould, metal)]
    todo = list(ways(part, pattern, mould, asked, runner.stores))
    for number, way in enumerate(todo):
        watch(number / len(todo), f"comparing ways to make the mould: {way.name}")
        if way.name == CUT:
            cut = _cut(runner, part, metal, asked, wish)
            rows += [cut] if cut is not None else []
            continue
        stores = way.stores or runner.stores
        given: dict[str, Outcome] = {"part": way.part or part, "metal": metal, "pattern": pattern}
        try:
            if way.ask is not None or way.part is not None:
                given["pattern"] = runner.once("pattern", given, way.ask or asked, stores, quiet)
            held = None if room is None else room * way.size
            after = runner.once("mould", given, dataclasses.replace(wish, room=held), stores, quiet)
        except BadInput:
            continue  # the rooms refuse this way for this part
        if not _is_other(way, pattern, find(given, "pattern", Pattern)):
            continue
        rows.append(row(way, find(given, "pattern", Pattern), find({"mould": after}, "mould", Mould), metal))
    return tuple(rows)


def _cut(runner: Runner, part: Part, metal: Metal, asked: PatternAsk, wish: MouldAsk) -> SandWay | None:
    """The part cut by the plane that looks best and welded again, with the chance that the sand of any casting fails; none where it is not cut."""
    own = runner.ask("metal")
    assert isinstance(own, MetalAsk)
    splice = SpliceAsk()
    if any(f.weight == "STOP" for f in joined(metal, own.use, splice.kind, runner.stores)):
        return None
    rows: list[SandWay] = []
    moulds: list[Mould] = []
    try:
        found = look_for_cuts(part, (), np.zeros((0, 3)), quiet, asked.marks)
        if not found:
            return None
        made = cut_apart(part, (found[0][0],), splice, metal.family, runner.stores)
        for mesh, marks in zip(made.meshes, marks_of(made.meshes, asked.marks), strict=True):
            given: dict[str, Outcome] = {"part": as_part(part, mesh), "metal": metal}
            given["pattern"] = runner.once("pattern", given, bare(asked, marks), runner.stores, quiet)
            after = runner.once("mould", given, dataclasses.replace(wish, room=None), runner.stores, quiet)
            moulds.append(find({"mould": after}, "mould", Mould))
            rows.append(row(Way(name=CUT, says=""), find(given, "pattern", Pattern), moulds[-1], metal))
    except BadInput:
        return None  # a casting of it cannot be moulded
    likely, low, high = together(moulds)
    largest = max(rows, key=lambda r: r.flask.length * r.flask.width)
    return dataclasses.replace(
        rows[0],
        says=f"cut by a plane into {len(rows)} castings and welded (strickle divide shows them; chances that any of them fails)",
        chances=likely,
        low=low,
        high=high,
        flask=largest.flask,
        metal=sum(r.metal for r in rows),
        pieces=sum(r.pieces for r in rows),
        print_volume=sum(r.print_volume for r in rows),
        castings=len(rows),
        stops=tuple(dict.fromkeys(code for r in rows for code in r.stops)),
    )


def _is_other(way: Way, before: Pattern, after: Pattern) -> bool:
    """Whether the rooms made anything of the change: a joint that stays flat and holes that are not there to be cored have no row."""
    if way.name == "follow board":
        return after.sheet is not None
    return way.name != "cored" or len(after.pieces) != len(before.pieces) or len(after.cavity.vertices) != len(before.cavity.vertices)


def ways(part: Part, pattern: Pattern, mould: Mould, asked: PatternAsk, stores: Stores) -> Iterator[Way]:
    """The ways open to this part in this shop, those that change the pattern first."""
    yield Way(name=HALF, says="the same part at half size, in the flask it then takes", part=halved(part), ask=halved_ask(asked), size=0.5)
    yield from _lying(asked, pattern)
    yield from _drafted(asked, stores)
    yield from _jointed(asked, pattern)
    yield from _cored(asked)
    yield from _sanded(mould, stores)
    kit = stores.kit
    if kit.lift == "hand":
        lifted = dataclasses.replace(stores, kit=dataclasses.replace(kit, lift="bridge"))
        yield Way(name="straight lift", says="lifted straight, with a bridge or guide pins", stores=lifted)
    if not 0.0 < kit.bars <= BAY and min(mould.flask.length, mould.flask.width) > 1.3 * BAY:
        barred = dataclasses.replace(stores, kit=dataclasses.replace(kit, bars=BAY))
        yield Way(name="bars", says=f"bars across the cope every {tell(BAY, 'm')}", stores=barred)
    yield Way(name=CUT, says="cut by a plane into castings that are welded")


def _lying(asked: PatternAsk, pattern: Pattern) -> Iterator[Way]:
    """The best of the other ways to lie that the pattern room found, where the person gave none."""
    for way in [way for way in pattern.ways if not way.chosen][:MOST_LYING] if asked.up is None else ():
        up = aimed(way)
        yield Way(name=f"{up} up", says=f"drawn with {up} up (--up {up})", ask=dataclasses.replace(asked, up=way.up))


def _drafted(asked: PatternAsk, stores: Stores) -> Iterator[Way]:
    """Draft where there is none, else more of it than the rule gives."""
    if asked.draft == "none":
        yield Way(name="more draft", says="draft added to the walls", ask=dataclasses.replace(asked, draft="added"))
        return
    steeper = {}
    for name in ("outside", "pocket", "steepest"):
        rule = constant(stores, f"draft.{name}")
        steeper[f"draft.{name}"] = dataclasses.replace(rule, value=rule.value + MORE, low=rule.low + MORE, high=rule.high + MORE)
    pocket = math.degrees(steeper["draft.pocket"].value)
    says = f"{math.degrees(MORE):.0f} degrees more draft on walls that want it, {pocket:.0f} in pockets"
    yield Way(name="more draft", says=says, ask=asked, stores=dataclasses.replace(stores, constants={**stores.constants, **steeper}))


def _jointed(asked: PatternAsk, pattern: Pattern) -> Iterator[Way]:
    """The other kind of joint."""
    if pattern.sheet is None:
        yield Way(name="follow board", says="parted on a crooked joint, with a follow board", ask=dataclasses.replace(asked, joint="crooked"))
    else:
        yield Way(name="flat joint", says="parted flat, what that traps being filled", ask=dataclasses.replace(asked, joint="flat"))


def _cored(asked: PatternAsk) -> Iterator[Way]:
    """Deep holes along the draw cored, where the pattern room makes cores."""
    if "bores" in {f.name for f in declared(type(asked))} and getattr(asked, "bores", "core") != "core":
        more: dict[str, Any] = {"bores": "core"}
        yield Way(name="cored", says="its deep holes along the draw cored", ask=dataclasses.replace(asked, **more))


def _sanded(mould: Mould, stores: Stores) -> Iterator[Way]:
    """The same kind of sand as strong as the books allow."""
    record = stores.sands.get(mould.sand)
    tensile = record.values.get("green_tensile") if record is not None else None
    if record is None or tensile is None or not tensile.high > tensile.value:
        return
    factor = tensile.high / tensile.value
    test = stores.kit.sand_test
    if test is not None:  # what was measured is strengthened alike: a bar's reach goes with the root of its strength
        test = dataclasses.replace(test, overhangs=test.overhangs * math.sqrt(factor))
    strong = dataclasses.replace(
        stores,
        sands={**stores.sands, record.key: _stronger(record, tensile, factor)},
        kit=dataclasses.replace(stores.kit, sand_test=test),
    )
    yield Way(name="stronger sand", says=f"the same sand {tell(factor, '1')} times as strong, the most that is told of its kind", stores=strong)


def _stronger(record: SandRecord, tensile: Value, factor: float) -> SandRecord:
    grown = dataclasses.replace(tensile, value=tensile.value * factor, low=tensile.low * factor, high=tensile.high * factor)
    return dataclasses.replace(record, values={**record.values, "green_tensile": grown})


def halved(part: Part) -> Part:
    """The part at half its size, with what was measured on it; times of the bare freeze go with size squared."""
    spots = tuple(
        dataclasses.replace(s, at=s.at / 2, time=s.time / 4, modulus=s.modulus / 2, radius=s.radius / 2, loss=s.loss / 2) for s in part.hot_spots
    )
    holes = tuple(dataclasses.replace(h, at=h.at / 2, radius=h.radius / 2, depth=h.depth / 2) for h in part.holes)
    return dataclasses.replace(
        part, mesh=dataclasses.replace(part.mesh, vertices=part.mesh.vertices / 2), extents=part.extents / 2, volume=part.volume / 8,
        area=part.area / 4, least_wall=part.least_wall / 2, median_wall=part.median_wall / 2, least_wall_at=part.least_wall_at / 2,
        face_wall=part.face_wall / 2, modulus=part.modulus / 2, hot_spots=spots, bare_times=part.bare_times / 4, bare_cell=part.bare_cell / 2,
        bare_origin=part.bare_origin / 2, holes=holes, findings=(), key=f"half of {part.key}",
    )  # fmt: skip


def halved_ask(asked: PatternAsk) -> PatternAsk:
    """The wishes on the pattern for the part at half its size: lengths halved."""
    return dataclasses.replace(
        asked, parting=None if asked.parting is None else asked.parting / 2, stock=None if asked.stock is None else asked.stock / 2
    )


def row(way: Way, pattern: Pattern, mould: Mould, metal: Metal) -> SandWay:
    """What a way comes to."""
    stops = dict.fromkeys(f.code for outcome in (pattern, mould) for f in outcome.stops if f.code not in TOLD)
    return SandWay(
        name=way.name, says=way.says, chances=mould.sand_chances, low=mould.sand_low, high=mould.sand_high, flask=mould.flask,
        metal=_volume(pattern) * metal.density_liquidus, pieces=len(pattern.pieces), print_volume=sum(_printed(p) for p in pattern.pieces),
        stops=tuple(stops),
    )  # fmt: skip


def _volume(pattern: Pattern) -> float:
    """Volume of the cavity [m3]."""
    a, b, c = (pattern.cavity.vertices[pattern.cavity.faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def _printed(piece: Piece) -> float:
    return float(piece.volume)


def told(rows: Sequence[SandWay]) -> tuple[Finding, ...]:
    """Which way helps most, with its chance before and after and what it costs; nothing where only one was run."""
    here, others = rows[0], [r for r in rows[1:] if r.name != HALF]
    if not others:
        return ()
    best = min(others, key=lambda r: (bool(set(r.stops) - set(here.stops)), r.chances.any))  # none that stops where this way does not
    before, after = here.chances.any, best.chances.any
    count = f"{len(others)} {'way was' if len(others) == 1 else 'ways were'} run through pattern and mould beside it"
    margin = Margin(
        value=1.0 - after, unit="1", of="chance that all of the sand stands, the best way", low=1.0 - best.high.any, high=1.0 - best.low.any
    )
    if before - after < GAIN or set(best.stops) - set(here.stops):
        return (
            Finding(
                code="mould.sand_ways",
                weight="NOTE",
                says=f"No single change that was run makes the sand stand much better: {count}",
                because=f"the chance that something of it fails stays at {tell(after, '1', '%')} or more, from {tell(before, '1', '%')}",
                do="Take two of them together, or change the part: less depth, wider pockets, a core",
                margin=margin,
                source="drawmodel",
            ),
        )
    return (
        Finding(
            code="mould.sand_ways",
            weight="NOTE",
            says=f"Of what was run, this helps the sand most: {best.says}",
            because=f"the chance that something fails falls from {tell(before, '1', '%')} to {tell(after, '1', '%')}; {count}",
            do=f"Weigh it against what it costs: {_cost(here, best)}",
            margin=margin,
            source="drawmodel",
        ),
    )


def _cost(here: SandWay, there: SandWay) -> str:
    """What a way costs more than the one that stands."""
    out = []
    more = there.metal - here.metal
    if abs(more) > 0.005 * here.metal:
        out.append(f"{tell(abs(more), 'kg')} {'more' if more > 0 else 'less'} metal")
    if there.castings > here.castings:
        out.append(f"{there.castings} castings and the weld between them")
    if there.pieces != here.pieces:
        out.append(f"{there.pieces} printed pieces in place of {here.pieces}")
    if (there.flask.length, there.flask.width, there.flask.cope, there.flask.drag) != (
        here.flask.length,
        here.flask.width,
        here.flask.cope,
        here.flask.drag,
    ):
        out.append(f"{there.flask.name}, {tell(there.flask.length, 'm')} by {tell(there.flask.width, 'm')} inside")
    return "; ".join(out) or "nothing in metal, print or flask"
