"""Cuts looked for and rated: each set of cuts is laid and rammed in figures, casting by casting, and held against the part as one."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence

import numpy as np

from strickle.base import BadInput, Finding, Margin, Mesh, Outcome, Record, Watch, quiet, ranked, tell
from strickle.metal import Metal, MetalAsk
from strickle.metal.steps import joined
from strickle.mould import Mould, together
from strickle.part import Part
from strickle.pattern import Apart, Cut, Mark, PatternAsk
from strickle.pattern.steps import cut_apart, cut_findings, look_for_cuts, marks_of, splice_sources
from strickle.trials.division import Casting, DivideAsk, Division, TriedCut, stands
from strickle.trials.runner import Runner

EASIER, SAME = 0.9, 1.02  # of a measure as one: clearly less, and no more (choice of this program)
CHANCE, SHARE = 0.02, 1e-3  # chance and share of the part's volume under which nothing is to be gained
SPLICE = 0.1  # weight of the splices' faces over the part's surface
GAIN = 0.9  # a further cut must bring the cost under this share
LOW = 0.1  # chance of the sand's failing under which it gives no reason to cut
HARD = 0.5  # chance of the sand's failing above which a further cut is looked for
NO_WORSE = 1.05  # cost of a cut that gains nothing by itself, but may with a second
MOST = 4
TO_BE_BUILT = "a flask to be built"  # the mould's name for one


def divide(runner: Runner, ask: DivideAsk, watch: Watch) -> Division:
    """Cut the part as asked, or where every casting is easier than the part as one.

    Raises BadInput for cuts that cannot be made, and what the stages raise.
    """
    if not 1 <= ask.most <= MOST:
        raise BadInput(f"{ask.most} cuts at the most are asked for", f"Give one to {MOST}")
    metal, own = runner.run("metal"), runner.ask("metal")
    assert isinstance(metal, Metal)
    assert isinstance(own, MetalAsk)
    told = [*joined(metal, own.use, ask.splice.kind, runner.stores)]
    if stops := [f for f in told if f.weight == "STOP"]:
        return _division((), None, None, (), (), stops)
    part = runner.run("part")
    assert isinstance(part, Part)
    cuts = ask.cuts
    made = cut_apart(part, cuts, ask.splice, metal.family, runner.stores) if cuts else None  # what cannot be cut is told at once
    results = {"metal": metal, "part": part} | {stage: runner.run(stage) for stage in ("pattern", "mould")}
    whole = stands("as one", results)
    tried: tuple[TriedCut, ...] = ()
    if made is None and _eases(whole):
        return _division((), None, whole, (), (), [*told, _eased(whole)])
    if made is None:
        tried = _search(runner, results, whole, ask, watch)
        good = [one for one in tried if one.easier]
        if not good:
            return _division((), None, whole, (), tried, [*told, _none(tried)])
        cuts = good[0].cuts
        made = cut_apart(part, cuts, ask.splice, metal.family, runner.stores)
    castings, any_of = _rated(runner, results, made, watch)
    one = _tried(cuts, "it was asked for", whole, castings, any_of, made, part)
    told += cut_findings(part, cuts, made, ask.clear, ask.splice, _marks(runner))
    told += [_harder(one)] if ask.cuts and not one.easier else []
    return _division(cuts, made, whole, castings, tried or (one,), told)


def _division(
    cuts: tuple[Cut, ...],
    made: Apart | None,
    whole: Casting | None,
    castings: tuple[Casting, ...],
    tried: tuple[TriedCut, ...],
    told: Sequence[Finding],
) -> Division:
    return Division(
        cuts=cuts, apart=made, whole=whole, castings=castings, tried=tried, findings=tuple(ranked(list(told))), sources=splice_sources()
    )  # fmt: skip


def _search(runner: Runner, results: Mapping[str, Outcome], whole: Casting, ask: DivideAsk, watch: Watch) -> tuple[TriedCut, ...]:
    """Sets of cuts rated, those with every casting easier first, then by cost; a further cut only where it gains."""
    part, metal = results["part"], results["metal"]
    assert isinstance(part, Part)
    assert isinstance(metal, Metal)
    tried: list[TriedCut] = []
    fixed: tuple[Cut, ...] = ()
    for turn in range(ask.most):
        fresh: list[tuple[TriedCut, tuple[Casting, ...]]] = []
        found = look_for_cuts(part, fixed, ask.clear, watch, _marks(runner))
        for number, (cut, why, _) in enumerate(found):
            watch((turn + (number + 1) / (len(found) + 1)) / ask.most, "ramming the castings of a cut in figures")
            try:
                made = cut_apart(part, (*fixed, cut), ask.splice, metal.family, runner.stores)
                castings, any_of = _rated(runner, results, made, watch)
            except BadInput:  # a casting of it that cannot be moulded
                continue
            fresh.append((_tried((*fixed, cut), why, whole, castings, any_of, made, part), castings))
        fresh.sort(key=lambda pair: (not pair[0].easier, pair[0].cost))
        if not fresh:
            break
        best, castings = fresh[0]
        before = min((one.cost for one in tried if one.easier), default=np.inf)
        if turn and (not best.easier or best.cost > GAIN * before):
            tried += [one for one, _ in fresh]
            break
        tried = [one for one, _ in fresh] + tried
        if best.easier and not any(one.sand_chance > HARD or one.stops for one in castings):
            break
        if not best.easier and best.cost > NO_WORSE:
            break
        fixed = best.cuts
    return tuple(tried)


def _rated(runner: Runner, results: Mapping[str, Outcome], made: Apart, watch: Watch) -> tuple[tuple[Casting, ...], float]:
    """Each casting patterned and rammed as it would lie by itself, and the chance that the sand of any fails.

    Its walls and late places are not measured for this.
    """
    part = results["part"]
    assert isinstance(part, Part)
    mould, out, moulds = runner.ask("mould"), [], []
    for name, mesh, marks in zip(made.names, made.meshes, marks_of(made.meshes, _marks(runner)), strict=True):
        pattern = bare(runner.ask("pattern"), marks)
        watch(0.5, f"ramming {name} in figures")
        own = dict(results) | {"part": as_part(part, mesh)}
        own["pattern"] = runner.once("pattern", own, pattern, runner.stores, quiet)
        own["mould"] = runner.once("mould", own, mould, runner.stores, quiet)
        out.append(stands(name, own))
        moulds.append(own["mould"])
    return tuple(out), together([one for one in moulds if isinstance(one, Mould)])[0].any


def bare(ask: Record, marks: tuple[Mark, ...]) -> Record:
    """What is asked of the pattern, without what only holds for the part as one; of the marks those on the casting."""
    only = {"up": None, "parting": None, "marks": marks}
    return dataclasses.replace(ask, **only)


def _marks(runner: Runner) -> tuple[Mark, ...]:
    """The marked faces of the part as one."""
    ask = runner.ask("pattern")
    assert isinstance(ask, PatternAsk)
    return ask.marks


def as_part(part: Part, mesh: Mesh) -> Part:
    """The part's record with the shape of one casting of it."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    volume, area = float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum()) / 6, float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()) / 2
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    return dataclasses.replace(
        part,
        mesh=mesh,
        extents=high - low,
        volume=volume,
        area=area,
        triangles=len(mesh.faces),
        modulus=volume / area,
        face_wall=np.full(len(mesh.faces), np.nan),
        hot_spots=tuple(spot for spot in part.hot_spots if (low <= spot.at).all() and (spot.at <= high).all()),
        holes=(),
    )


def _tried(cuts: tuple[Cut, ...], why: str, whole: Casting, castings: Sequence[Casting], any_of: float, made: Apart, part: Part) -> TriedCut:
    """The worst casting's measures over those of the part as one."""
    floor = SHARE * whole.volume
    shares = np.array(
        [
            (
                (one.sand_chance + CHANCE) / (whole.sand_chance + CHANCE),
                one.depth / whole.depth,
                _flask(one, whole),
                (one.undercut + floor) / (whole.undercut + floor),
            )
            for one in castings
        ]
    )
    freed = np.array([set(one.stops) < set(whole.stops) for one in castings])
    gained = (shares <= SAME).all(axis=1) & ((shares < EASIER).any(axis=1) | freed)
    stops = all(set(one.stops) <= set(whole.stops) for one in castings)
    worst = shares.max(axis=0)
    splices = sum(splice.area for splice in made.splices) / part.area
    return TriedCut(
        cuts=cuts,
        why=why,
        castings=len(castings),
        easier=bool(gained.all()) and stops,
        sand_chance=float(worst[0]),
        any_chance=any_of,
        depth=float(worst[1]),
        flask=float(worst[2]),
        undercut=float(worst[3]),
        cost=float(worst.mean()) + SPLICE * splices,
    )


def _flask(one: Casting, whole: Casting) -> float:
    """What a casting's flask holds over what that of the part as one does; one at hand is no harder than one that is not."""
    share = one.sand / whole.sand
    return min(share, 1.0) if whole.flask == TO_BE_BUILT and one.flask != TO_BE_BUILT else share


def _eases(whole: Casting) -> bool:
    """Whether the part as one gives no reason to cut it: the sand stands, nothing is undercut and nothing stops it."""
    return whole.sand_chance < LOW and whole.undercut <= SHARE * whole.volume and not whole.stops


def _eased(whole: Casting) -> Finding:
    return Finding(
        code="trials.no_need",
        weight="NOTE",
        says="Nothing asks for a cut: the part is moulded well as one",
        because=(
            f"The chance that the sand fails is {tell(whole.sand_chance, '1', '%')}, no sand is trapped and nothing stops its pattern or mould;"
            " every weld costs work and strength"
        ),
        do="Cast it as one, or give a cut of your own with --at",
        margin=Margin(value=LOW - whole.sand_chance, unit="1", of="chance under which nothing asks for a cut, less the chance that the sand fails"),
    )


def _worse(one: TriedCut) -> str:
    """What a cut leaves harder, in words."""
    names = {"sand_chance": "the sand's chance to fail", "depth": "the draw's depth", "flask": "the flask", "undercut": "the undercut"}
    worst = max(names, key=lambda name: float(getattr(one, name)))
    share = float(getattr(one, worst))
    if share > SAME:
        return f"{names[worst]} of one casting is {tell(share, '1')} times that of the part as one"
    return "no casting gains as much as a tenth, or one is stopped by what does not stop the part as one"


def _none(tried: Sequence[TriedCut]) -> Finding:
    best = f"Of {len(tried)} sets of cuts the best leaves it no easier: {_worse(tried[0])}" if tried else "No flat cut keeps clear of what it must"
    return Finding(
        code="trials.no_cut",
        weight="NOTE",
        says="No cut was found that makes every casting easier than the part as one",
        because=best,
        do="Cast it as one, or give a cut of your own with --at",
        margin=Margin(value=tried[0].cost, unit="1", of="cost of the best cuts over that of the part as one") if tried else None,
    )


def _harder(one: TriedCut) -> Finding:
    return Finding(
        code="trials.cut_harder",
        weight="MIND",
        says="The cuts asked for do not make every casting easier than the part as one",
        because=_worse(one)[:1].upper() + _worse(one)[1:],
        do="Leave out --at to have cuts looked for, or cast it as one",
        margin=Margin(value=one.cost, unit="1", of="cost of the cuts over that of the part as one"),
    )
