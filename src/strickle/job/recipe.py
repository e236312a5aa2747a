"""The recipe: what was asked of a job, as text a person can read and edit. ``job.toml`` is read strictly and its comments are kept."""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from strickle.base import ICE_POINT, BadInput, Record, declared, parse, shown
from strickle.job.files import is_plain, read_file
from strickle.job.folder import write_bytes
from strickle.job.points import CHILL_EXAMPLE, EXAMPLE, MARK_EXAMPLE, read_chills, read_marks, read_points, write_chills, write_marks, write_points
from strickle.job.stages import STAGES
from strickle.metal import USES

SCHEMA = 1
MOST_BYTES = 1 << 20
UNITS = ("metric", "us")
PAPERS = ("a4", "letter")
_ANGLE = re.compile(r"[a-df-z°]", re.IGNORECASE)  # some unit is named, and not only a power of ten
_EXAMPLES = {
    "body": "1", "metal": "a319", "sand": "green", "parting": "12 mm", "pour_time": "6 s", "crucible": "large pot", "furnace": "electric furnace",
    "knock_out": "250 degC", "undercuts": "core,fill", "pegs": EXAMPLE, "chills": CHILL_EXAMPLE, "marks": MARK_EXAMPLE, "sleeve": "12 mm",
    "lip": "60 mm", "pour_rate": "0.3 kg/s", "kept_full": "no", "break_at": "2 s", "break_for": "1 s",
    "draft_outside": "2 deg", "draft_pockets": "3 deg",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One thing a person may ask: its name outside, and the stage's ask and field it sets.

    ``among`` lists the words allowed, ``low`` and ``high`` [SI] bound a quantity: what lies outside is a slip of the pen. ``measured`` is
    the SI unit of a quantity that may stand in place of the words; ``points`` means named points, ``chills`` named blocks, ``marks`` marked faces,
    ``angle`` a quantity that is written with its unit, degrees as a rule.
    """

    name: str
    stage: str
    field: str
    among: tuple[str, ...] = ()
    low: float = -1e6
    high: float = 1e6
    measured: str = ""
    points: bool = False
    chills: bool = False
    marks: bool = False
    angle: bool = False

    @property
    def unit(self) -> str | None:
        """SI unit of the field, None for words."""
        unit: str | None = _field(self.stage, self.field).metadata["unit"]
        return unit

    @property
    def is_vector(self) -> bool:
        """Whether three numbers are meant."""
        return bool(_field(self.stage, self.field).metadata["shape"])

    @property
    def says(self) -> str:
        """Plain words from the ask's own declaration."""
        return re.sub(r"\bNone = ", "left out: ", str(_field(self.stage, self.field).metadata["says"]))

    @property
    def example(self) -> str:
        """A lawful value, to show how it is written."""
        if self.is_vector:
            return "0,0,1"
        own = _EXAMPLES.get(self.name)
        return own or {"m": "2 mm", "s": "20 s", "K": "720 degC", "1": "1.3 %"}.get(self.unit or "", self.among[0] if self.among else self.name)

    def read(self, text: Any) -> Any:
        """Text from a file or the command line as the value the ask holds (SI). Raises BadInput naming the choice."""
        what = f"{self.stage}.{self.field}"
        if self.points:
            return read_points(text, what)
        if self.chills:
            return read_chills(text, what)
        if self.marks:
            return read_marks(text, what)
        if self.is_vector:
            parts = [p for p in str(text).replace("[", "").replace("]", "").split(",") if p.strip()]
            if len(parts) != 3:
                raise BadInput(f"{what}: {text!r} is not a direction", "Give three numbers, such as 0,0,1")
            vector = np.array([self._within(parse(p.strip(), self.unit or "1", what), p, what) for p in parts])
            if not np.linalg.norm(vector) > 0:
                raise BadInput(f"{what}: {text!r} has no direction", "Give three numbers, such as 0,0,1")
            return vector
        if self.unit is not None:
            if isinstance(text, bool) or not isinstance(text, str | int | float):
                raise BadInput(f"{what}: {text!r} is not a number with a unit", 'Give it as text, such as "12 mm"')
            if self.angle and not _ANGLE.search(str(text)):
                raise BadInput(f"{what}: {str(text).strip()!r} is an angle without its unit", f'Give it with that, such as "{self.example}"')
            if self.angle:
                try:
                    angle = parse(str(text), self.unit, what)
                except BadInput:
                    raise BadInput(f"{what}: {str(text).strip()!r} is no angle", f'Give degrees, such as "{self.example}"') from None
                return self._within(angle, text, what)
            return self._within(parse(str(text), self.unit, what), text, what)
        if isinstance(text, bool) or not isinstance(text, str | int) or not str(text).strip():
            raise BadInput(f"{what}: {text!r} is not a word", "Give it as text in quotes")
        word = str(text).strip()
        if self.measured and word not in self.among:
            try:
                return self._within(parse(word, self.measured, what), word, what)
            except BadInput as trouble:
                raise BadInput(trouble.says, f"Give {', '.join(self.among)}, or a quantity such as 250 g") from None
        if self.among and word not in self.among:
            raise BadInput(f"{what}: {word!r} is not known", f"Give one of {', '.join(self.among)}")
        return word

    def _within(self, value: float, text: Any, what: str) -> float:
        """The value, or BadInput where it is out of all reason."""
        if self.angle and not self.low <= value <= self.high:
            low, high = (f"{np.degrees(end):.3g} deg" for end in (self.low, self.high))
            raise BadInput(f"{what}: {str(text).strip()!r} is out of all reason", f"Give it with its unit, between {low} and {high}")
        if not self.low <= value <= self.high:
            style = "%" if self.unit == "1" and not self.is_vector else ""
            low, high = (" ".join(shown(end, self.unit or self.measured or "1", style=style)).strip() for end in (self.low, self.high))
            raise BadInput(f"{what}: {str(text).strip()!r} is out of all reason", f"It should lie between {low} and {high}")
        return value

    def write(self, value: Any) -> str:
        """An SI value or word as text that ``read`` takes back unchanged."""
        if self.points:
            return write_points(value)
        if self.chills:
            return write_chills(value)
        if self.marks:
            return write_marks(value)
        if self.is_vector:
            if isinstance(value, str):
                return value
            try:
                return ",".join(repr(float(v)) for v in np.asarray(value, dtype=float).ravel())
            except (TypeError, ValueError):
                raise BadInput(f"{self.name}: {value!r} is not a direction", "Give three numbers, such as 0, 0, 1") from None
        if self.unit is None:
            return f"{value!r} {self.measured}" if self.measured and isinstance(value, float) else str(value)
        if isinstance(value, str):
            return value
        if self.angle:
            return f"{float(value)!r} rad"
        return repr(float(value)) if self.unit == "1" else f"{float(value)!r} {self.unit}"


CHOICES: tuple[Choice, ...] = (
    Choice(name="unit", stage="part", field="unit", among=("mm", "cm", "m", "in")),
    Choice(name="body", stage="part", field="body"),
    Choice(name="use", stage="metal", field="use", among=tuple(USES)),
    Choice(name="metal", stage="metal", field="metal"),
    Choice(name="contraction", stage="metal", field="contraction", low=0.0, high=0.03),
    Choice(name="up", stage="pattern", field="up"),
    Choice(name="parting", stage="pattern", field="parting", low=-1e3, high=1e3),
    Choice(name="joint", stage="pattern", field="joint", among=("best", "flat", "crooked")),
    Choice(name="draft", stage="pattern", field="draft", among=("added", "unfilled", "none")),
    Choice(name="draft_outside", stage="pattern", field="draft_outside", low=0.0, high=math.radians(15.0), angle=True),
    Choice(name="draft_pockets", stage="pattern", field="draft_pockets", low=0.0, high=math.radians(15.0), angle=True),
    Choice(name="draft_from", stage="pattern", field="draft_from", among=("far", "middle")),
    Choice(name="fillets", stage="pattern", field="fillets", among=("added", "none")),
    Choice(name="undercuts", stage="pattern", field="undercuts"),
    Choice(name="bores", stage="pattern", field="bores", among=("sand", "core")),
    Choice(name="core_sand", stage="pattern", field="core_sand", among=("silicate", "resin", "oil-baked")),
    Choice(name="stock", stage="pattern", field="stock", low=0.0, high=0.05),
    Choice(name="marks", stage="pattern", field="marks", marks=True),
    Choice(name="holes", stage="pattern", field="holes", among=("drilled", "cast")),
    Choice(name="mould", stage="mould", field="kind", among=("two-part", "open-face")),
    Choice(name="sand", stage="mould", field="sand"),
    Choice(name="sand_ways", stage="mould", field="sand_ways", among=("auto", "run", "none")),
    Choice(name="pour_time", stage="rigging", field="pour_time", low=0.2, high=300.0),
    Choice(name="fill", stage="rigging", field="fill", among=("level", "proud"), measured="kg", low=1e-3, high=60.0),
    Choice(name="chills", stage="rigging", field="chills", chills=True),
    Choice(name="sleeve", stage="rigging", field="sleeve", low=3e-3, high=0.05),
    Choice(name="cell", stage="cavity", field="cell", low=0.2e-3, high=20e-3),
    Choice(name="pour", stage="melt", field="pour", low=100.0 + ICE_POINT, high=1700.0 + ICE_POINT),
    Choice(name="carry", stage="melt", field="carry", low=0.0, high=600.0),
    Choice(name="crucible", stage="melt", field="crucible"),
    Choice(name="furnace", stage="melt", field="furnace"),
    Choice(name="lip", stage="pour", field="lip", low=0.0, high=0.5),
    Choice(name="pour_rate", stage="pour", field="rate", low=0.005, high=20.0),
    Choice(name="kept_full", stage="pour", field="kept_full", among=("yes", "no")),
    Choice(name="break_at", stage="pour", field="break_at", low=0.0, high=600.0),
    Choice(name="break_for", stage="pour", field="break_for", low=0.0, high=600.0),
    Choice(name="filling", stage="pour", field="filling", among=("run", "none")),
    Choice(name="window", stage="pour", field="window", among=("run", "none")),
    Choice(name="preset", stage="sound", field="preset", among=("rough", "shop", "fine")),
    Choice(name="cover", stage="sound", field="cover", among=("none", "dry")),
    Choice(name="knock_out", stage="sound", field="knock_out_temperature", low=30.0 + ICE_POINT, high=1000.0 + ICE_POINT),
    Choice(name="corners", stage="sound", field="corners", among=("run", "none")),
    Choice(name="pegs", stage="sound", field="pegs", points=True),
)
BY_NAME: Mapping[str, Choice] = {c.name: c for c in CHOICES}
_BY_PLACE: Mapping[tuple[str, str], Choice] = {(c.stage, c.field): c for c in CHOICES}


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """What was asked: the part's file, the person's units and paper, the kit if it is the job's own, and the asks as text by choice name."""

    file: str
    units: str | None = None
    paper: str | None = None
    kit: str | None = None
    asked: Mapping[str, str] = dataclasses.field(default_factory=dict)

    def value(self, name: str) -> Any:
        """A choice as an SI value or word; the ask's default where nothing was asked."""
        choice = BY_NAME[name]
        if name in self.asked:
            return choice.read(self.asked[name])
        default = _field(choice.stage, choice.field).default
        return None if default is dataclasses.MISSING else default

    def asks(self, data: bytes) -> dict[str, Record]:
        """The asks of all stages; ``data`` are the bytes of the part's file. Raises BadInput for a value that cannot be read."""
        given: dict[str, dict[str, Any]] = {stage.name: {} for stage in STAGES}
        for name in self.asked:
            choice = BY_NAME[name]
            given[choice.stage][choice.field] = self.value(name)
        given["pattern"]["open_face"] = self.value("mould") == "open-face"
        if "stock" in self.asked and not given["pattern"]["open_face"]:
            raise BadInput(
                "stock on the poured face is asked for, and a two-part mould has no poured face", "Leave it out, or take --mould open-face"
            )
        if given["pattern"].get("draft") == "none" and (own := [name for name in ("draft_outside", "draft_pockets") if name in self.asked]):
            raise BadInput(f"{own[0]} is asked for, and no draft is to be added", "Leave one of them out")
        if "kept_full" in self.asked and given["pattern"]["open_face"]:
            raise BadInput("a basin kept full or not is asked for, and an open-face mould has none", "Leave it out, or take --mould two-part")
        given["part"] |= {"data": data, "name": self.file, "sand": self.value("sand")}
        return {stage.name: stage.ask(**given[stage.name]) for stage in STAGES}


def asked(**values: Any) -> dict[str, str]:
    """Choices given as SI values or as text, as the text a recipe holds. None means not asked. Raises BadInput for an unknown name."""
    out: dict[str, str] = {}
    for name, value in values.items():
        choice = BY_NAME.get(name)
        if choice is None:
            raise BadInput(f"{name!r} is not something to ask of a plan", f"Give one of {', '.join(sorted(BY_NAME))}")
        if value is None:
            continue
        text = choice.write(value)
        choice.read(text)
        out[name] = text
    return out


def read_recipe(path: Path) -> Recipe:
    """``job.toml`` as a Recipe. Raises BadInput for what it does not know or cannot read, naming the place."""
    import tomllib

    try:
        doc = tomllib.loads(read_file(path, MOST_BYTES, links=False).decode())
    except FileNotFoundError:
        raise BadInput(f"{path.parent} holds no job", "Give a folder that strickle plan has made") from None
    except (ValueError, RecursionError) as trouble:  # among them what tomllib and the decoder say
        says = "it is nested too deep" if isinstance(trouble, RecursionError) else str(trouble)
        raise BadInput(f"{path} cannot be read: {says}", "Mend that line") from None
    except OSError as trouble:
        raise BadInput(f"{path} cannot be read ({trouble.strerror})", "Give a folder that strickle plan has made") from None
    if doc.pop("schema", SCHEMA) != SCHEMA:
        raise BadInput(f"{path} was written by another version of strickle", "Plan the part again in a new folder")
    units, paper, kit = doc.pop("units", None), doc.pop("paper", None), doc.pop("kit", None)
    if units is not None and units not in UNITS:
        raise BadInput(f"{path}: units {units!r} is not known", "Give metric or us")
    if paper is not None and paper not in PAPERS:
        raise BadInput(f"{path}: paper {paper!r} is not known", "Give a4 or letter")
    file = doc.get("part", {}).pop("file", None) if isinstance(doc.get("part"), dict) else None
    if not isinstance(file, str) or not is_plain(file):
        raise BadInput(f"{path}: part.file does not name the part's file", "Give the name of the file in the job's folder")
    if kit is not None and (not isinstance(kit, str) or not is_plain(kit)):
        raise BadInput(f"{path}: kit does not name a file in the job's folder", "Give the file's name, or remove the line")
    found: dict[str, str] = {}
    for section, entries in doc.items():
        if not isinstance(entries, dict):
            raise BadInput(f"{path}: {section!r} is not known", _places())
        for key, value in entries.items():
            choice = _BY_PLACE.get((section, key))
            if choice is None:
                raise BadInput(f"{path}: {section}.{key} is not known", _places())
            choice.read(value)
            found[choice.name] = str(value)
    return Recipe(file=file, units=units, paper=paper, kit=kit, asked=found)


def write_recipe(path: Path, recipe: Recipe, about: str = "") -> None:
    """Write or update ``job.toml``: values that changed are changed, comments and order of the file that is there are kept.

    A new file opens with the line ``about``, as a comment.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    if path.exists():
        try:
            doc = tomlkit.parse(read_file(path, MOST_BYTES, links=False).decode())
        except (ValueError, RecursionError, TOMLKitError) as trouble:
            raise BadInput(f"{path} cannot be changed: {trouble or 'nested too deep'}", "Mend that line") from None
    else:
        doc = tomlkit.parse(_fresh(recipe, about))
    for name, value in (("units", recipe.units), ("paper", recipe.paper), ("kit", recipe.kit)):
        if value is not None and doc.get(name) != value:
            doc[name] = value
        elif value is None:
            doc.pop(name, None)
    for choice in CHOICES:
        section: Any = doc.setdefault(choice.stage, tomlkit.table()) if choice.name in recipe.asked else doc.get(choice.stage, {})
        if choice.name in recipe.asked:
            if str(section.get(choice.field, "")) != recipe.asked[choice.name]:
                section[choice.field] = recipe.asked[choice.name]
        else:
            section.pop(choice.field, None)
    write_bytes(path, tomlkit.dumps(doc).encode())


def _fresh(recipe: Recipe, about: str) -> str:
    lines = [f"# {about}"] if about else []
    lines += [
        "# What was asked of this job. Take the # from a line, or change one, and run: strickle resume, with this folder's name.",
        f"schema = {SCHEMA}",
    ]
    lines += [f'units = "{recipe.units}"'] if recipe.units else []
    lines += [f'paper = "{recipe.paper}"'] if recipe.paper else []
    lines += [f'kit = "{recipe.kit}"'] if recipe.kit else []
    for stage in dict.fromkeys(choice.stage for choice in CHOICES):
        lines += ["", f"[{stage}]"]
        if stage == "part":
            lines.append(f"file = {_quoted(recipe.file)}")
        for choice in (c for c in CHOICES if c.stage == stage):
            among = f" ({' | '.join(choice.among)})" if choice.among and "|" not in choice.says else ""
            given = choice.name in recipe.asked
            entry = f"{choice.field} = {_quoted(recipe.asked[choice.name] if given else choice.example)}"
            lines.append(f"{'' if given else '# '}{entry}   # {choice.says}{among}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    import tomlkit

    return tomlkit.string(text).as_string()


def _places() -> str:
    return "Known are " + ", ".join(f"{c.stage}.{c.field}" for c in CHOICES)


def _field(stage: str, name: str) -> dataclasses.Field[Any]:
    ask = next(s.ask for s in STAGES if s.name == stage)
    return next(f for f in declared(ask) if f.name == name)
