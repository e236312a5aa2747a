"""Plan a casting: recipe and kit through the stages into the job's folder. One job is one casting."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from strickle.base import BadInput, Finding, Outcome, Trouble, Unwritable, Verdict, Watch, quiet
from strickle.job import stages
from strickle.job.cache import StageCache
from strickle.job.contract import SCHEMA, document, dumps
from strickle.job.files import is_plain, read_file
from strickle.job.folder import MOST_BYTES, STAGES, claim, held, prepare, put, remove, set_aside, swap, unmake, write_bytes
from strickle.job.keys import code_of, digest
from strickle.job.kit import read_kit, stores_with
from strickle.job.lock import locked
from strickle.job.outputs import card_files, field_files, pieces_of, print_files
from strickle.job.progress import Progress
from strickle.job.recipe import PAPERS, UNITS, Recipe, asked, read_recipe, write_recipe
from strickle.job.runner import Runner
from strickle.job.schema import packaged
from strickle.stores import Kit
from strickle.trials import Trail

RESULTS = "results.json"
LATEST = "latest.json"
LOOK_ENDS = "pour"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A planned casting: the answer, what was found, the results by stage, and the folder that holds it all."""

    verdict: Verdict
    findings: tuple[Finding, ...]
    stages: Mapping[str, Outcome]
    folder: Path
    document: Mapping[str, Any]
    kept: tuple[str, ...] = ()  # choices taken from the job's own recipe, as they would be given again
    set_aside: bool = False  # whether cards of the plan before were put into the folder ``earlier``, as this run made none

    @property
    def exit_code(self) -> int:
        """0 planned; 3 planned, but a STOP finding stands."""
        return 3 if any(f.weight == "STOP" for f in self.findings) else 0

    def to_json(self) -> str:
        """The text of results.json."""
        return dumps(self.document)


def plan(
    part: str | Path,
    *,
    out: str | Path | None = None,
    kit: str | Path | Kit | None = None,
    metal: str | None = "a356",
    unit: str | None = None,
    body: str | int | None = None,
    preset: str | None = "shop",
    until: str | None = None,
    fills: bool = True,
    watch: Watch | None = None,
    **asks: Any,
) -> Plan:
    """Plan the casting of a part file; the job folder is ``out``, by default ``<stem>.job`` here.

    ``kit`` is a kit file or a Kit, by default the shop's own; ``until`` the last stage wanted; ``watch`` hears of progress and may raise
    Cancelled; without ``fills`` the filling is not solved. Further ``asks`` are those of the recipe, SI floats and kelvin: use, contraction,
    up, parting, mould, sand, pour_time, stock, fill and cover (open-face moulds), cell, pour, carry, lip, pour_rate, kept_full (yes or no),
    break_at, break_for, filling and window (run or none), crucible, furnace, knock_out, corners (run or none), pegs (name -> point in part
    coordinates), chills (as text or Chill records), marks (as text or Mark records), holes, sleeve; ``units`` metric or us
    and ``paper`` a4 or letter.
    Raises BadInput for input that cannot be used.
    """
    units, paper = asks.pop("units", None), asks.pop("paper", None)
    wishes = asked(metal=metal, unit=unit, body=None if body is None else str(body), preset=preset, **asks)
    return begin(part, out=out, kit=kit, wishes=wishes, units=units, paper=paper, until=until, fills=fills, watch=watch)


def look(part: str | Path, **more: Any) -> Plan:
    """Like ``plan`` without the 3-D solves: everything up to the hydraulics of the pour."""
    return plan(part, until=more.pop("until", None) or LOOK_ENDS, fills=False, **more)


def begin(
    part: str | Path,
    *,
    out: str | Path | None = None,
    kit: str | Path | Kit | None = None,
    wishes: Mapping[str, str],
    units: str | None = None,
    paper: str | None = None,
    until: str | None = None,
    fills: bool = True,
    about: str = "",
    watch: Watch | None = None,
    stopped: Callable[[], bool] = lambda: False,
) -> Plan:
    """Plan with the choices as recipe text: those in ``wishes`` are set, those an existing recipe holds stay.

    ``about`` is a line on the part that a new recipe opens with.
    """
    path = Path(part)
    data = _part_bytes(path)
    _check(until, units, paper)
    own = kit if isinstance(kit, Kit) else None if kit is None else read_kit(Path(kit))
    folder = Path(f"{path.stem}.job") if out is None else Path(out)
    with locked(folder):
        made = claim(folder, path.name, data)
        old = Recipe(file=path.name) if made is not None else read_recipe(folder / "job.toml")
        recipe = dataclasses.replace(old, units=units or old.units, paper=paper or old.paper, asked={**old.asked, **wishes})
        recipe = recipe if own is None else dataclasses.replace(recipe, kit="kit.toml")
        with _put_back(folder, made):
            if own is not None:
                from strickle.stores.kit import write_kit

                write_bytes(folder / "kit.toml", write_kit(own).encode())
            write_recipe(folder / "job.toml", recipe, about)
            plain = Recipe(file=path.name)
            kept = tuple(
                f"{name.replace('_', '-')} {text}" for name, text in old.asked.items() if name not in wishes and old.value(name) != plain.value(name)
            )
            return dataclasses.replace(_run(folder, recipe, data, until, watch, stopped, fills), kept=kept)


@contextmanager
def _put_back(folder: Path, made: tuple[str, ...] | None) -> Iterator[None]:
    """Where what is asked cannot be used, the folder is left as it was; ``made`` names what a new one may lose, None an old one.

    Where only the disk is full, a plan that was begun keeps its finished stages, to go on from. Recipe and kit of an old job are copied
    first, so that it takes no room to put them back.
    """
    before: dict[str, Path] = {}
    bare = made is None and not (folder / "kit.toml").exists()
    try:
        for name in ("job.toml", "kit.toml") if made is None else ():
            if (folder / name).exists():
                before[name] = held(folder / name, read_file(folder / name, MOST_BYTES))
        yield
    except BadInput as trouble:
        if made is not None and not (isinstance(trouble, Unwritable) and (folder / "job.toml").exists()):
            unmake(folder, made)
        elif made is None:
            for name, old in before.items():
                put(folder / name, old)
            if bare:
                remove(folder / "kit.toml")
        raise
    finally:
        for old in before.values():
            old.unlink(missing_ok=True)


def resume(
    folder: str | Path,
    *,
    units: str | None = None,
    paper: str | None = None,
    until: str | None = None,
    watch: Watch | None = None,
    stopped: Callable[[], bool] = lambda: False,
) -> Plan:
    """Go on with a job as its recipe stands now; finished stages that are still fresh are read back."""
    folder = Path(folder)
    _check(until, units, paper)
    recipe = read_recipe(folder / "job.toml")
    with locked(folder):
        data = _part_bytes(folder / recipe.file, links=False)
        wished = dataclasses.replace(recipe, units=units or recipe.units, paper=paper or recipe.paper)
        with _put_back(folder, None):
            if wished != recipe:
                write_recipe(folder / "job.toml", wished)
            return _run(folder, wished, data, until, watch, stopped)


def load(folder: str | Path) -> Plan:
    """A finished job read back, without running anything. Raises BadInput when there is none or it is damaged."""
    folder = Path(folder)
    path = folder / RESULTS
    try:
        doc = json.loads(read_file(path, MOST_BYTES, links=False))
        _of_this_form(doc, path)
        findings = tuple(_finding(one) for one in doc["findings"])
        verdict = Verdict(**doc["verdict"])
    except FileNotFoundError:
        raise BadInput(f"{folder} holds no finished job", "Run: strickle resume with this folder") from None
    except OSError as trouble:
        raise BadInput(f"{path} cannot be read ({trouble.strerror})", "Mend that, or run: strickle resume with this folder") from None
    except (ValueError, KeyError, TypeError, RecursionError):
        raise BadInput(f"{path} is damaged or not of this version", "Run: strickle resume with this folder") from None
    return Plan(verdict=verdict, findings=findings, stages=_Stored(folder / STAGES), folder=folder, document=doc)


def _of_this_form(doc: Any, path: Path) -> None:
    """Raises BadInput for results of another schema, ValueError for what is not of this one."""
    form = doc.get("schema") if isinstance(doc, dict) else None
    if isinstance(form, int) and form != SCHEMA:
        age = "a later" if form > SCHEMA else "an earlier"
        raise BadInput(
            f"{path} was written by {age} version of strickle (schema {form:.6g}; this one reads {SCHEMA})",
            "Run: strickle resume with this folder, which plans it anew" if form < SCHEMA else "Read it with that version, or plan the part anew",
        )
    import jsonschema

    if not jsonschema.Draft202012Validator(json.loads(packaged())).is_valid(doc):
        raise ValueError("not by the schema")


def _check(until: str | None, units: str | None, paper: str | None = None) -> None:
    if until is not None and until not in (*stages.ORDER, "card"):
        raise BadInput(f"{until!r} is not a stage", f"Give one of {', '.join(stages.ORDER)}")
    if units is not None and units not in UNITS:
        raise BadInput(f"units {units!r} is not known", "Give metric or us")
    if paper is not None and paper not in PAPERS:
        raise BadInput(f"paper {paper!r} is not known", "Give a4 or letter")


def _run(folder: Path, recipe: Recipe, data: bytes, until: str | None, watch: Watch | None, stopped: Callable[[], bool], fills: bool = True) -> Plan:
    from strickle.trials.steps import plan_through

    kit = read_kit(folder / recipe.kit, links=False) if recipe.kit else read_kit()
    stores = stores_with(kit)
    units = recipe.units or kit.units
    progress = Progress(watch or quiet, units=units, table=stages.STAGES, stopped=stopped)
    cache = StageCache(folder / STAGES)
    runner = Runner(stores, recipe.asks(data), cache=cache, watch=progress, table=stages.STAGES)
    preset = str(recipe.value("preset"))
    last = None if until == "card" else until
    trail = plan_through(runner, until=last, preset=preset, watch=progress, fills=fills)
    progress(1.0, "writing the job's folder")
    return _write(folder, trail, runner, cache, units=units, paper=recipe.paper or "", preset=preset, until=last)


def _write(folder: Path, trail: Trail, runner: Runner, cache: StageCache, *, units: str, paper: str, preset: str, until: str | None) -> Plan:
    """Everything into the folder, results.json last."""
    printed = print_files(trail.results, units, runner.stores.kit.bed)
    drawn = _cards(folder, trail, runner, units, paper) if until is None else _Cards(key="", files={})
    made = {"print": printed, "fields": field_files(trail.results, units), "cards": drawn.files}
    files = {kind: [f"{kind}/{name}" for name in sorted(some)] for kind, some in made.items()}
    pieces = {name: f"print/{name}.3mf" for piece in pieces_of(trail.results) for name in ([p.name for p in piece.parts] or [piece.name])}
    doc = document(trail, units=units, seconds=runner.seconds, files=files, pieces=pieces, preset=preset, until=until)
    text = dumps(doc).encode()
    keys = {stage: result.key for stage, result in trail.results.items()}
    sums = {name: hashlib.sha256(data).hexdigest() for name, data in drawn.files.items()}
    latest = json.dumps({"stages": keys, "card": drawn.key, "cards": sums}).encode()
    last = {folder / STAGES / LATEST: latest, folder / RESULTS: text}
    ready: dict[Path, Path] = {}
    try:
        for kind, some in made.items():
            prepare(folder / kind, some)
        for path, data in last.items():
            ready[path] = held(path, data)
    except Unwritable:  # the last plan's files still stand
        for waiting in (*(folder / f".new-{kind}" for kind in made), *ready.values()):
            remove(waiting)
        raise
    aside = set_aside(folder) if not drawn.files else None
    (folder / RESULTS).unlink(missing_ok=True)
    for kind in made:
        swap(folder / kind, aside / kind if aside is not None and kind != "fields" else None)
    for path, fresh in ready.items():
        put(path, fresh)
    cache.touched.add(Path(LATEST).stem)
    cache.prune()
    return Plan(verdict=trail.verdict, findings=trail.findings, stages=dict(trail.results), folder=folder, document=doc, set_aside=aside is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cards:
    """Card files with the key of what they were written from."""

    key: str
    files: dict[str, bytes]


def _cards(folder: Path, trail: Trail, runner: Runner, units: str, paper: str) -> _Cards:
    """The cards; those in the folder are kept where they were written from the same results."""
    kit = runner.stores.kit
    keys = [result.key for result in trail.results.values()]
    key = digest(code_of("card"), code_of("job"), keys, trail.verdict, trail.because, kit, units, paper)
    try:
        latest = json.loads(read_file(folder / STAGES / LATEST, MOST_BYTES, links=False))
        if latest["card"] == key and latest["cards"] and all(map(is_plain, latest["cards"])):
            kept = {name: read_file(folder / "cards" / name, MOST_BYTES, links=False) for name in latest["cards"]}
            if all(hashlib.sha256(data).hexdigest() == latest["cards"][name] for name, data in kept.items()):
                return _Cards(key=key, files=kept)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        pass
    return _Cards(key=key, files=card_files(trail, kit, units, paper))


class _Stored(Mapping[str, Outcome]):
    """Stage results of a job on disk, read when asked for."""

    def __init__(self, folder: Path) -> None:
        self._cache = StageCache(folder)
        try:
            told = json.loads(read_file(folder / LATEST, MOST_BYTES, links=False))["stages"].items()
            self._keys = {stage: str(key) for stage, key in told if stage in stages.ORDER and str(key).isalnum()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
            self._keys = {}

    def __getitem__(self, stage: str) -> Outcome:
        kept = self._cache.keyed(stage, self._keys[stage])
        if kept is None:
            raise Trouble(f"the result of stage {stage} is damaged or missing", "Run: strickle resume with this folder")
        return kept.outcome

    def __iter__(self) -> Iterator[str]:
        return iter(self._keys)

    def __len__(self) -> int:
        return len(self._keys)


def _finding(data: Mapping[str, Any]) -> Finding:
    from strickle.base import Chance, Margin, Where

    rest = {k: v for k, v in data.items() if k not in ("stage", "chance", "where", "margin")}
    where, margin, chance = data["where"], data["margin"], data["chance"]
    nan = float("nan")
    return Finding(
        **rest,
        chance=None if chance is None else Chance(**chance),
        margin=None if margin is None else Margin(**{**margin, "value": nan if margin["value"] is None else margin["value"]}),
        where=None
        if where is None
        else Where(
            point=None if where["point"] is None else _point(where["point"]),
            faces=tuple(where["faces"]),
            body=where["body"],
        ),
    )


def _point(values: list[float | None]) -> tuple[float, float, float]:
    x, y, z = (float("nan") if v is None else v for v in values)
    return x, y, z


def part_of(folder: Path) -> bytes:
    """The bytes of a job's part file. Raises BadInput where there is none."""
    return _part_bytes(folder / read_recipe(folder / "job.toml").file, links=False)


def _part_bytes(path: Path, *, links: bool = True) -> bytes:
    try:
        data = read_file(path, MOST_BYTES, links=links)
    except FileNotFoundError:
        raise BadInput(f"{path} is not there", "Give the part's file") from None
    except (OSError, ValueError) as trouble:
        says = getattr(trouble, "strerror", None) or str(trouble)
        raise BadInput(f"{path} cannot be read ({says})", "Give the part's own file") from None
    if not data:
        raise BadInput(f"{path} is empty", "Export the part again")
    return data
