"""What is not known of a plan that stands, and its ends: each is one change of what the freezing takes."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from strickle.base import Outcome, Record, Value, tell
from strickle.cavity import Cavity
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.mould import Mould, MouldAsk
from strickle.pour import PourAsk
from strickle.rigging import Rigging, RiggingAsk, RiserWish
from strickle.stores import Stores
from strickle.trials.cure import Results, find
from strickle.trials.lay import ORDER, Lay, ends
from strickle.trials.runner import Runner

POUR = Value(value=30.0, low=30.0, high=30.0, unit="K", source="house", mark="guess", note="pour either way: what a hand and a thermocouple miss by")
CUT = Value(value=0.1, low=0.1, high=0.1, unit="1", source="house", mark="guess", note="section of a neck or gate as cut, either way")
SAND = Value(
    value=1.0, low=0.75, high=1.35, unit="1", source="house", mark="guess", note="on a sand's conductivity, where the stores give no range of its own"
)
LEAST_SUPERHEAT = 5.0  # K, a cooler pour is no cooler than this over the liquidus
SEEN = 0.02  # a section that came out nearer to what was planned than this was not cut otherwise


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What one freezing takes."""

    results: Results
    stores: Stores


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """One end of something not known. ``cools``: whether it may move how long the mould cools."""

    of: str
    name: str
    changed: str
    cools: bool
    change: Callable[[Case], Case]


def all_ends(base: Case, runner: Runner, lay: Lay) -> tuple[tuple[End, ...], tuple[str, ...]]:
    """The ends in the order of what they usually move, pair by pair; and those that could not be had, with the reason."""
    cut, lacking = _cut(base, runner, lay)
    found = (*_sand(base), *_pour(base), *cut, *_contact(base), *_lot(base), *_critical(base))
    names = {e.of for e in found}
    lacking += tuple(f"{of}: the stores give no range" for of in ("contact", "lot", "critical solid") if of not in names)
    return found, lacking


def _with(stage: str, **fields: object) -> Callable[[Case], Case]:
    """A change of some fields of a stage's result."""

    def change(case: Case) -> Case:
        result: Outcome = dataclasses.replace(case.results[stage], **fields)  # type: ignore[arg-type]
        return dataclasses.replace(case, results={**case.results, stage: result})

    return change


def _constants(**values: float) -> Callable[[Case], Case]:
    """A change of constants of the stores; two underlines stand for a dot."""

    def change(case: Case) -> Case:
        old = case.stores.constants
        new = {name.replace("__", "."): value for name, value in values.items()}
        changed = {name: dataclasses.replace(old[name], value=value) for name, value in new.items()}
        return dataclasses.replace(case, stores=dataclasses.replace(case.stores, constants={**old, **changed}))

    return change


def _sand(base: Case) -> tuple[End, ...]:
    mould = find(base.results, "mould", Mould)
    known, now = base.stores.sands[mould.sand].values["k"], mould.sand_conductivity
    low, high = (known.low, known.high) if known.low < known.high else (now * SAND.low, now * SAND.high)
    words = {low: "a sand that takes less heat", high: "a sand that takes more heat"}
    return tuple(
        End(
            of="sand", name=words[k], cools=True, change=_with("mould", sand_conductivity=k),
            changed=f"sand {tell(k, 'W/(m K)')} instead of {tell(now, 'W/(m K)')}",
        )
        for k in (low, high)
    )  # fmt: skip


def _pour(base: Case) -> tuple[End, ...]:
    now, metal = find(base.results, "melt", Melt).pour_temperature, find(base.results, "metal", Metal)
    out = []
    for name, by in (("a cooler pour", -POUR.value), ("a hotter pour", POUR.value)):
        at = max(now.value + by, min(now.value, metal.liquidus + LEAST_SUPERHEAT))
        span = dataclasses.replace(now, value=at, low=at + now.low - now.value, high=at + now.high - now.value)
        changed = f"metal at {tell(at, 'K')} instead of {tell(now.value, 'K')} as it enters the mould"
        out.append(End(of="pour", name=name, cools=True, change=_with("melt", pour_temperature=span), changed=changed))
    return tuple(out)


def _contact(base: Case) -> tuple[End, ...]:
    early, late = (base.stores.constants.get(name) for name in ("contact.metal_sand", "contact.metal_sand_late"))
    if early is None or late is None or early.low == early.high:
        return ()
    out = []
    for name, one, two in (("a poorer contact with the sand", early.low, late.low), ("a closer contact with the sand", early.high, late.high)):

        def change(case: Case, one: float = one, two: float = two) -> Case:
            return _constants(contact__metal_sand_late=two)(_with("mould", contact=one)(case))

        said = f"contact {tell(one, 'W/(m2 K)')} falling to {tell(two, 'W/(m2 K)')}"
        changed = f"{said} instead of {tell(early.value, 'W/(m2 K)')} to {tell(late.value, 'W/(m2 K)')}"
        out.append(End(of="contact", name=name, cools=True, change=change, changed=changed))
    return tuple(out)


def _lot(base: Case) -> tuple[End, ...]:
    """The alloy lot: its shrinkage, and with it the ends of its freezing range where the stores have a range of them."""
    metal = find(base.results, "metal", Metal)
    record = base.stores.metals.get(metal.metal)
    if record is None:
        return ()
    values = record.values
    shrinkage, top, bottom = values["shrinkage"], values["liquidus"], values["solidus"]
    if shrinkage.low == shrinkage.high and top.low == top.high and bottom.low == bottom.high:
        return ()
    narrow = (shrinkage.low, top.low - top.value, bottom.high - bottom.value)
    wide = (shrinkage.high, top.high - top.value, bottom.low - bottom.value)
    out = []
    for name, (share, at_top, at_bottom) in (("a lot that shrinks less", narrow), ("a lot that shrinks more", wide)):
        curve = metal.curve_temperature + np.interp(-metal.curve_temperature, [-metal.liquidus, -metal.solidus], [at_top, at_bottom])
        if not np.all(np.diff(curve) < 0):
            continue
        fields = {
            "shrinkage": share,
            "curve_temperature": curve,
            "liquidus": float(curve[0]),
            "solidus": float(curve[-1]),
            "coherency": float(np.interp(-metal.coherency, -metal.curve_temperature, curve)),
        }
        changed = (
            f"shrinkage {tell(share, '1', '%')} instead of {tell(metal.shrinkage, '1', '%')}, freezing from {tell(float(curve[0]), 'K')}"
            f" to {tell(float(curve[-1]), 'K')} instead of {tell(metal.liquidus, 'K')} to {tell(metal.solidus, 'K')}"
        )
        out.append(End(of="lot", name=name, cools=False, change=_with("metal", **fields), changed=changed))
    return tuple(out)


def _critical(base: Case) -> tuple[End, ...]:
    now = base.stores.constants.get("feed.critical_solid")
    if now is None or now.low == now.high:
        return ()
    words = ((now.low, "a mush that passes on less"), (now.high, "a mush that passes on more"))
    return tuple(
        End(
            of="critical solid", name=name, cools=False, change=_constants(feed__critical_solid=at),
            changed=f"metal is passed on till {tell(at, '1', '%')} solid instead of {tell(now.value, '1', '%')}",
        )
        for at, name in words
    )  # fmt: skip


def _cut(base: Case, runner: Runner, lay: Lay) -> tuple[tuple[End, ...], tuple[str, ...]]:
    """Necks and gates laid anew with other sections: their formers are cut or worn so. What was really laid is told."""
    rigging = find(base.results, "rigging", Rigging)
    if not rigging.risers and not rigging.ingates:
        return (), ()
    out, lacking = [], []
    for name, by in (("necks and gates cut smaller", -CUT.value), ("necks and gates cut larger", CUT.value)):
        laid = _laid(rigging, runner, lay, 1.0 + by)
        if laid is None:
            lacking.append(f"{name}: they could not be laid so in the mould that stands")
            continue
        told = [f"{what} {tell(new, 'm2')} instead of {tell(old, 'm2')} together" for what, old, new in _sections(rigging, laid[0]) if old > 0]

        def change(case: Case, rigging: Rigging = laid[0], cavity: Cavity = laid[1]) -> Case:
            return dataclasses.replace(case, results={**case.results, "rigging": rigging, "cavity": cavity})

        out.append(End(of="cut", name=name, cools=False, change=change, changed=", ".join(told)))
    return tuple(out), tuple(lacking)


def _sections(one: Rigging, other: Rigging) -> tuple[tuple[str, float, float], ...]:
    necks, gates = ([sum(r.neck.area for r in a.risers) for a in (one, other)], [sum(g.area for g in a.ingates) for a in (one, other)])
    return ("necks", *necks), ("gates", *gates)  # type: ignore[return-value]


def _laid(rigging: Rigging, runner: Runner, lay: Lay, factor: float) -> tuple[Rigging, Cavity] | None:
    """Rigging and rough grid with sections ``factor`` times as large, in the flask that stands; None where they come out otherwise.

    Where ingates of that size lie otherwise, the necks alone are changed.
    """
    wishes = {w.spot: w for w in lay.ask.risers}
    for spot in (r.spot for r in rigging.risers):
        old = wishes.get(spot, RiserWish(spot=spot))
        forced = None if old.neck_area is None else old.neck_area * factor
        wishes[spot] = dataclasses.replace(old, neck=old.neck * factor, neck_area=forced)
    necks = dataclasses.replace(lay.ask, risers=tuple(wishes.values()))
    for ask in (dataclasses.replace(necks, pour_time=rigging.pour_time / factor), necks):
        other = at_rough(runner, lay, ask)
        found = other.run("rigging")
        assert isinstance(found, Rigging)
        same = len(found.risers) == len(rigging.risers) and len(found.ingates) == len(rigging.ingates)
        moved = any(old > 0 and abs(new / old - 1.0) > SEEN for _, old, new in _sections(rigging, found))
        if found.room_wanted is None and not ends(found) and same and moved:
            cavity = other.run("cavity")
            assert isinstance(cavity, Cavity)
            return found, cavity
    return None


def at_rough(runner: Runner, lay: Lay, rigging: RiggingAsk) -> Runner:
    """A runner with that rigging in the flask that stands, on the rough grid, the mould full at once."""
    mould = runner.ask("mould")
    pour = runner.ask("pour")
    assert isinstance(mould, MouldAsk)
    assert isinstance(pour, PourAsk)
    asks: Mapping[str, Record] = {
        "mould": mould if lay.room is None else dataclasses.replace(mould, room=lay.room),
        "rigging": rigging,
        "cavity": lay.fine(True),
        "pour": dataclasses.replace(pour, filling="none"),
    }
    return runner.variant(asks=asks)


def base_case(runner: Runner, lay: Lay) -> Case:
    """What stands, on the rough grid."""
    rough = at_rough(runner, lay, lay.ask)
    taken = {stage: rough.run(stage) for stage in ORDER[: ORDER.index("sound")] if stage in lay.results}
    return Case(results=taken, stores=runner.stores)
