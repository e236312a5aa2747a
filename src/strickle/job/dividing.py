"""A part cast in pieces: cut, a sibling job for each casting, each planned like any job, and the comparison in the parent's folder."""

from __future__ import annotations

import dataclasses
import math
import os
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from strickle.base import BadInput, Mesh, Watch, parse, quiet, tell
from strickle.job import stages
from strickle.job.cache import StageCache
from strickle.job.castings import castings_document
from strickle.job.contract import dumps
from strickle.job.files import kind_of, read_file
from strickle.job.folder import CASTINGS, MOST_BYTES, SPLICES, STAGES, held, prepare, put, swap
from strickle.job.kit import read_kit, stores_with
from strickle.job.lock import locked
from strickle.job.planning import LOOK_ENDS, Plan, begin, load
from strickle.job.points import read_cuts, read_places, write_marks
from strickle.job.progress import Progress
from strickle.job.recipe import Recipe, read_recipe
from strickle.job.runner import Runner
from strickle.job.threemf import stl, threemf
from strickle.pattern import Apart, Mark, SpliceAsk
from strickle.trials import Casting, DivideAsk, Division
from strickle.trials.division import stands

HANDED_DOWN = (
    "use", "metal", "contraction", "draft", "mould", "sand", "cover", "sleeve", "pour", "carry", "crucible", "furnace", "lip", "kept_full",
    "knock_out", "filling", "window", "corners", "preset", "joint", "draft_outside", "draft_pockets", "draft_from", "fillets", "bores",
    "core_sand", "holes", "sand_ways",
)  # fmt: skip
"""Choices of the parent that a casting's own job takes over; of those that name places of the whole part only the marks on the casting are,
and the answers to undercuts where they are one word for all."""
MOST_STOCK = 0.02  # m
SHARE = 0.3  # of the progress that the cutting takes


@dataclass(frozen=True, slots=True, kw_only=True)
class Divided:
    """What became of a part that was to be cast in pieces: castings.json, and the plan of each casting."""

    document: Mapping[str, Any]
    plans: tuple[Plan, ...]
    folder: Path

    @property
    def exit_code(self) -> int:
        """3 where a STOP finding stands, of the splice or of a casting's plan; else 0."""
        own = any(one["weight"] == "STOP" for one in self.document["findings"])
        return 3 if own or any(plan.exit_code for plan in self.plans) else 0


def divide(
    folder: str | Path,
    *,
    at: str | None = None,
    clear: str | None = None,
    cuts: int = 2,
    join: str = "weld",
    stock: str | None = None,
    bevel: str = "filed",
    to: str | Path | None = None,
    until: str | None = None,
    units: str | None = None,
    paper: str | None = None,
    watch: Watch | None = None,
    stopped: Callable[[], bool] = lambda: False,
) -> Divided:
    """Cut the part of a job and plan each casting in a job folder of its own, beside the parent's or in ``to``.

    ``at`` holds the cuts as text (None = looked for, ``cuts`` at the most), ``clear`` places they keep off, ``until`` the last stage wanted of
    each casting. castings.json is written before the first plan and after each. Raises BadInput for cuts that cannot be made and for folders
    that hold something else; then nothing was written.
    """
    folder = Path(folder)
    recipe = read_recipe(folder / "job.toml")
    ask = _asked(at, clear, cuts, join, stock, bevel)
    own = read_kit(folder / recipe.kit, links=False) if recipe.kit else read_kit()
    told = units or recipe.units or own.units
    progress = Progress(_part_of(watch or quiet, 0.0, SHARE), units=told, table=stages.STAGES[:4], stopped=stopped)
    with locked(folder):
        data = read_file(folder / recipe.file, MOST_BYTES, links=False)
        runner = Runner(stores_with(own), recipe.asks(data), cache=StageCache(folder / STAGES), watch=progress, table=stages.STAGES)
        division = _divided(runner, ask, progress)
    files = _files(division.apart, Path(recipe.file).stem)
    places = _places(folder, to, Path(recipe.file).stem, files)
    marks = _marks(division.apart, recipe)
    plates = {name: body for plate in (division.apart.plates if division.apart else ()) for name, body in _plate(plate.name, plate.mesh).items()}
    plans: list[Plan] = []

    def written() -> dict[str, Any]:
        """castings.json with what is planned so far; the others as they were rated."""
        rows = _rows(division, plans)
        matched = _matched(division, rows)
        own = [plan.document for plan in plans] + [None] * (len(places) - len(plans))
        folders = [Path(os.path.relpath(place.resolve(), folder.resolve())).as_posix() for place in places.values()]
        doc = castings_document(
            matched,
            part=recipe.file,
            data=data,
            units=told,
            join=join,
            castings=list(zip(rows, folders, own, strict=True)),
            whole=_results(folder),
            plates=[f"{SPLICES}/{name}" for name in sorted(plates)],
            says=_says(matched, rows),
        )
        _write(folder, doc, plates)
        return doc

    doc = written()  # whoever stops in the middle of the plans has it
    for number, (name, place) in enumerate(places.items()):
        heard = _part_of(watch or quiet, SHARE + (1 - SHARE) * number / len(places), (1 - SHARE) / len(places))
        wishes = _wishes(recipe, marks[name])
        plans.append(_planned(folder, recipe, place, files[name], wishes, until, told, paper or recipe.paper, heard, stopped))
        doc = written()
    return Divided(document=doc, plans=tuple(plans), folder=folder)


def _asked(at: str | None, clear: str | None, cuts: int, join: str, stock: str | None, bevel: str) -> DivideAsk:
    given = None if stock is None else parse(stock, "m", "stock")
    if given is not None and not 0 <= given <= MOST_STOCK:
        raise BadInput(f"stock: {stock!r} is out of all reason", f"It should lie between 0 and {tell(MOST_STOCK, 'm')}")
    more = {} if clear is None else {"clear": read_places(clear, "clear")}
    return DivideAsk(
        cuts=() if at is None else read_cuts(at, "at"), most=cuts, splice=SpliceAsk(kind=join, stock=given, bevel=bevel), **more
    )  # fmt: skip


def _divided(runner: Runner, ask: DivideAsk, watch: Watch) -> Division:
    from strickle.trials.dividing import divide as cut

    return cut(runner, ask, watch)


def _part_of(watch: Watch, first: float, share: float) -> Watch:
    return lambda done, says: watch(first + share * done, says)


def _files(made: Apart | None, stem: str) -> dict[str, bytes]:
    """The castings' part files by name: 3MF, which carries its unit, in the parent's own coordinates."""
    if made is None:
        return {}
    return {
        name: threemf(f"{stem} {name}", mesh.vertices * 1e3, mesh.faces, "one casting of a part that is cast in pieces")
        for name, mesh in zip(made.names, made.meshes, strict=True)
    }


def _places(folder: Path, to: str | Path | None, stem: str, files: Mapping[str, bytes]) -> dict[str, Path]:
    """The castings' folders by name. Raises BadInput where one holds anything but the very same casting."""
    home = folder.resolve().parent if to is None else Path(to)
    inside = home.resolve()
    if any((place / "job.toml").exists() for place in (inside, *inside.parents)):
        raise BadInput(f"{home} lies in a job's own folder", "Give another folder with --to")
    places = {name: home / f"{stem}-{name}.job" for name in files}
    for name, place in places.items():
        kind = kind_of(place)
        if kind is None or (kind == "a folder" and not any(place.iterdir())):
            continue
        try:
            there = read_file(place / read_recipe(place / "job.toml").file, MOST_BYTES, links=False) if kind == "a folder" else b""
        except (OSError, BadInput):
            there = b""
        if there != files[name]:
            raise BadInput(f"{place} is there already and holds something else", "Give another folder with --to, or remove that one")
    return places


def _marks(made: Apart | None, recipe: Recipe) -> dict[str, tuple[Mark, ...]]:
    """The parent's marks by the casting that they lie on."""
    if made is None:
        return {}
    from strickle.pattern.steps import marks_of

    return dict(zip(made.names, marks_of(made.meshes, recipe.value("marks")), strict=True))


def _wishes(recipe: Recipe, marks: tuple[Mark, ...]) -> dict[str, str]:
    """What a casting's own job takes over from the parent's."""
    wishes = {name: recipe.asked[name] for name in HANDED_DOWN if name in recipe.asked}
    if "undercuts" in recipe.asked and "," not in recipe.asked["undercuts"]:
        wishes["undercuts"] = recipe.asked["undercuts"]
    return wishes | ({"marks": write_marks(marks)} if marks else {})


def _planned(
    folder: Path,
    recipe: Recipe,
    place: Path,
    data: bytes,
    wishes: Mapping[str, str],
    until: str | None,
    units: str,
    paper: str | None,
    watch: Watch,
    stopped: Callable[[], bool],
) -> Plan:
    about = f"One casting of {recipe.file}, which is cast in pieces; the parent's folder is {folder.name}."
    with tempfile.TemporaryDirectory() as shelf:
        part = Path(shelf) / f"{place.stem}.3mf"
        part.write_bytes(data)
        return begin(
            part, out=place, kit=folder / recipe.kit if recipe.kit else None, wishes=wishes, units=units, paper=paper, until=until,
            fills=until != LOOK_ENDS, about=about, watch=watch, stopped=stopped,
        )  # fmt: skip


def _rows(division: Division, plans: Sequence[Plan]) -> tuple[Casting, ...]:
    """Each casting as its own plan has it; as it was rated where that ended before the mould, or is still to come."""
    made = [stands(rated.name, plan.stages) if "mould" in plan.stages else rated for rated, plan in zip(division.castings, plans, strict=False)]
    return (*made, *division.castings[len(made) :])


def _matched(division: Division, rows: Sequence[Casting]) -> Division:
    """The splices with how far their faces may differ by the spread of the two castings' contraction."""
    if division.apart is None:
        return division
    spread = {row.name: row.spread for row in rows}
    splices = tuple(
        dataclasses.replace(one, mismatch=one.span * max(spread.get(name, 0.0) for name in one.castings)) for one in division.apart.splices
    )
    return dataclasses.replace(division, apart=dataclasses.replace(division.apart, splices=splices))


def _results(folder: Path) -> Mapping[str, Any] | None:
    """The results of the part as one, where it was planned."""
    try:
        return load(folder).document
    except BadInput:
        return None


def _says(division: Division, rows: Sequence[Casting]) -> str:
    """The division in one sentence."""
    if not rows or division.whole is None:
        stop = next((f for f in division.findings if f.weight == "STOP"), None)
        first = stop or next((f for f in division.findings if f.code in ("trials.no_cut", "trials.no_need")), None)
        return f"{first.says}." if first is not None else "It is not cast in pieces."
    one, worst = division.whole, max(rows, key=lambda row: row.sand_chance)
    deepest, largest = max(row.depth for row in rows), max(rows, key=lambda row: row.sand)
    any_of = next((t.any_chance for t in division.tried if t.cuts == division.cuts), math.nan)
    all_of = f" ({tell(any_of, '1', '%')} that any of them does)" if any_of == any_of else ""
    flask = f"{tell(largest.length, 'm')} by {tell(largest.width, 'm')} instead of {tell(one.length, 'm')} by {tell(one.width, 'm')}"
    return (
        f"In {len(rows)} castings the chance that the sand fails is at most {tell(worst.sand_chance, '1', '%')} each{all_of} instead of"
        f" {tell(one.sand_chance, '1', '%')}, the deepest draw {tell(deepest, 'm')} instead of {tell(one.depth, 'm')}, the largest flask {flask}."
    )


def _plate(name: str, mesh: Mesh) -> dict[str, bytes]:
    vertices = mesh.vertices * 1e3
    note = "Outline of a splice face: lay it on one face, turn it over for the other, and mark outline and pins"
    return {f"{name}.3mf": threemf(name, vertices, mesh.faces, note), f"{name}.stl": stl(name, vertices, mesh.faces, "flat")}


def _write(folder: Path, doc: Mapping[str, Any], plates: Mapping[str, bytes]) -> None:
    """Plates and castings.json into the parent's folder, the latter last."""
    with locked(folder):
        prepare(folder / SPLICES, plates)
        fresh = held(folder / CASTINGS, dumps(doc).encode())
        swap(folder / SPLICES)
        put(folder / CASTINGS, fresh)
