"""The pages: every public noun is in the glossary, every page is in the navigation, names outside are the program's own, commands shown are real."""

from __future__ import annotations

import dataclasses
import html.parser
import importlib
import inspect
import json
import re
import shlex
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import click
import pytest

import strickle
from strickle.cli import group
from strickle.job.reckon import find, rules
from strickle.job.schema import schema
from strickle.job.stages import STAGES

HOME = Path(__file__).resolve().parents[2]
DOCS = HOME / "docs"
ROOMS = ("base", "stores", "metal", "part", "pattern", "mould", "rigging", "cavity", "melt", "pour", "sound", "card", "trials")
PAGES = sorted(DOCS.rglob("*.md"))
# Plain English: words that mean here what they mean anywhere.
ORDINARY_WORDS = """
a above after asked at axis b bad be because before below between builds built c capacity choice chosen cold data date deep deepest default
do doubtful down edge edges error example factor fast file finer folder for force formula from function gain given hand heavy height held
high hold holed in is json judged kept kind last least left length likely limit line list load lose lost low make mean missing most
name names needed needs no not note number of off one opening order others out outer outside own pictures place point poor quiet radius
range rate ratio recommended role says self set share side size slope slow small spacing stands step steps thin time times title to too top
under until up wanted way what where why width worked
"""
ORDINARY = frozenset(ORDINARY_WORDS.split())


def tool(name: str) -> ModuleType:
    if str(HOME / "tools") not in sys.path:
        sys.path.append(str(HOME / "tools"))
    return importlib.import_module(name)


def words(name: str) -> list[str]:
    """The words of a name: HotSpot, hot_spot, hot-spot alike."""
    return [word.lower() for word in re.findall(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])", name)]


def forms(word: str) -> set[str]:
    """A word and what it is the plural or a form of."""
    out = {word, word.removesuffix("s"), word.removesuffix("es")}
    if word.endswith("ies"):
        out.add(f"{word[:-3]}y")
    if word.endswith("ed"):
        out |= {word[:-1], word[:-2]}
    return out


def records() -> Iterator[type]:
    """Every dataclass that a room's door or strickle itself offers."""
    seen: set[type] = set()
    for name in ("strickle", *(f"strickle.{room}" for room in ROOMS)):
        module = importlib.import_module(name)
        for public in module.__all__:
            kind = getattr(module, public)
            if inspect.isclass(kind) and dataclasses.is_dataclass(kind) and kind not in seen:
                seen.add(kind)
                yield kind


def nouns() -> dict[str, set[str]]:
    """Every word of a public name, with where it stands."""
    found: dict[str, set[str]] = {}

    def add(name: str, where: str) -> None:
        for word in words(name):
            found.setdefault(word, set()).add(where)

    for name in strickle.__all__:
        add(name, f"strickle.{name}")
    for kind in records():
        add(kind.__name__, kind.__name__)
        for item in dataclasses.fields(kind):
            add(item.name, f"{kind.__name__}.{item.name}")
    for rule in rules():
        add(rule.name, f"rule {rule.name}")
        for given in (*rule.inputs, *rule.outputs):
            add(given.name, f"{given.name} of rule {rule.name}")
    for name, command in group.commands.items():
        add(name, f"command {name}")
        for parameter in command.params:
            for option in parameter.opts:
                add(option, f"{option} of {name}")
    for stage in STAGES:
        add(f"{stage.name} {stage.verb}", f"stage {stage.name}")
    for code in tool("generate").codes():
        add(code, f"finding {code}")
    return found


def entries() -> dict[str, str]:
    """Headwords and other names of each entry of the glossary, with its text."""
    out = {}
    for line in (DOCS / "glossary.md").read_text(encoding="utf-8").splitlines():
        if line.startswith("**"):
            head, colon, text = line.partition(":")
            assert colon, f"no meaning stands behind {line!r}"
            for one in re.findall(r"\*+([^*]+)\*+", head):
                out[one.lower()] = text.strip()
            for one in re.findall(r"\*\*([^*]+)\*\*", text):  # a second headword in the same line
                out.setdefault(one.lower(), text.strip())
    return out


def test_every_public_noun_is_in_the_glossary() -> None:
    known = {word for head in entries() for word in words(head)}
    text = (DOCS / "glossary.md").read_text(encoding="utf-8")
    known |= {word for name in re.findall(r"(?<!\*)\*([^*\n]+)\*(?!\*)", text) for word in words(name)}
    missing = {word: sorted(where)[:3] for word, where in nouns().items() if not forms(word) & (known | ORDINARY)}
    assert not missing, f"write an entry in docs/glossary.md for: {json.dumps(missing, indent=1)}"
    assert len(nouns()) > 350


def test_every_record_has_an_entry_of_its_own() -> None:
    heads = " ".join(sorted(word for head in entries() for word in words(head))).split()
    for kind in records():
        for word in words(kind.__name__):
            assert forms(word) & ({*heads} | ORDINARY), kind.__name__


def test_the_stop_list_hides_no_word_of_the_trade() -> None:
    heads = {head for head in entries() if " " not in head}
    assert not heads & ORDINARY, sorted(heads & ORDINARY)
    used = {form for word in nouns() for form in forms(word)}
    idle = ORDINARY - used
    assert len(idle) < 12, f"words nobody uses: {sorted(idle)}"


def test_the_glossary_is_in_order_and_says_something() -> None:
    text = (DOCS / "glossary.md").read_text(encoding="utf-8")
    letters = re.findall(r"^## (\w)$", text, re.MULTILINE)
    assert letters == sorted(letters)
    for part in re.split(r"^## ", text, flags=re.MULTILINE)[1:]:
        for head in re.findall(r"^\*\*([^*]+)\*\*", part, re.MULTILINE):
            assert head[0].upper() == part[0], f"{head} stands under {part[0]}"
    heads = re.findall(r"^\*\*([^*]+)\*\*", text, re.MULTILINE)
    assert len(heads) == len(set(heads)), sorted({head for head in heads if heads.count(head) > 1})
    thin = [head for head, said in entries().items() if len(said) < 12 and not said.startswith(("see ", "day/"))]
    assert not thin


def navigation() -> set[str]:
    return set(re.findall(r": ([\w/-]+\.md)$", (HOME / "mkdocs.yml").read_text(encoding="utf-8"), re.MULTILINE))


def test_every_page_is_in_the_navigation() -> None:
    assert navigation() == {path.relative_to(DOCS).as_posix() for path in PAGES}


def test_every_room_has_its_page_with_the_same_parts() -> None:
    for room in (*(stage.name for stage in STAGES), "card", "trials", "kit", "job"):
        text = (DOCS / "day" / f"{room}.md").read_text(encoding="utf-8")
        assert "## What you do" in text, room
        assert "## What it cannot do" in text, room
        if room in {stage.name for stage in STAGES}:
            for part in ("What is asked", "How it is found", "What it gives", "What it may find"):
                assert f"## {part}" in text, f"{room}: {part}"
            assert all(f"<!-- made: {made} -->" in text for made in ("asks", "gives", "findings")), room


def test_every_caution_stands_on_a_page_of_the_day() -> None:
    book = tomllib.loads((HOME / "src/strickle/card/safety.toml").read_text(encoding="utf-8"))
    text = "\n".join(path.read_text(encoding="utf-8") for path in (DOCS / "day").glob("*.md"))
    assert not [one["key"] for one in book["caution"] if one["text"] not in text]


def test_every_stored_value_stands_on_the_sources_page() -> None:
    text = (DOCS / "sources.md").read_text(encoding="utf-8")
    data = HOME / "src/strickle/stores/data"
    books = {name: tomllib.loads((data / f"{name}.toml").read_text(encoding="utf-8")) for name in ("metals", "sands", "shop", "sources")}
    for group_of in books["shop"].values():
        assert all(f"| `{name}` |" in text for name in group_of)
    for book in ("metals", "sands"):
        for entry in books[book].values():
            section = text.split(f"\n### {entry['name']}\n")[1].split("\n##")[0]
            assert all(f"| `{name}` |" in section for name in entry["values"]), entry["name"]
    assert all(f"| `{key}` |" in text for key in books["sources"])


def test_every_rule_stands_on_the_calculators_page() -> None:
    text = (DOCS / "calculators.md").read_text(encoding="utf-8")
    for rule in rules():
        assert re.search(rf"\b{rule.name}\b", text), rule.name
        assert all(f"`--{given.name}`" in text for given in rule.inputs), rule.name


def contract() -> str:
    return (DOCS / "contract.md").read_text(encoding="utf-8")


def section(title: str) -> str:
    return contract().split(f"\n## {title}\n")[1].split("\n## ")[0]


def options(command: str) -> set[str]:
    return {option for parameter in group.commands[command].params for option in parameter.opts[:1] if option.startswith("--")}


def test_the_contract_names_the_commands_and_their_options() -> None:
    assert set(re.findall(r"^\| `strickle (\w+)", section("Commands"), re.MULTILINE)) == set(group.commands)
    told = section("Options")
    for command in group.commands:
        part = next(block for block in re.split(r"\n(?=`)", told) if f"`{command}`" in block.splitlines()[0])
        assert set(re.findall(r"^\| `(--[\w-]+)", part, re.MULTILINE)) == options(command), command


def test_the_contract_names_the_exit_codes() -> None:
    told = {int(code) for code in re.findall(r"^\| (\d+) \|", section("Exit codes"), re.MULTILINE)}
    errors = {kind.exit_code for kind in (strickle.BadInput, strickle.MissingChoice, strickle.Cancelled, strickle.Trouble)}
    assert told == {0, 3} | errors


def test_the_contract_names_what_python_offers() -> None:
    rows = re.findall(r"^\| (`.*?) \|", section("Python"), re.MULTILINE)
    assert {name for row in rows for name in re.findall(r"`(\w+)`", row)} == set(strickle.__all__)
    plan = next(line for line in section("Python").splitlines() if line.startswith("| `Plan`"))
    named = set(re.findall(r"`(\w+)(?:\(\))?`", plan)) - {"Plan"}
    assert named == {name for name in dir(strickle.Plan) if not name.startswith("_")}


def test_the_contract_names_the_top_of_the_results() -> None:
    top = re.search(r"^Top: (.*?)\. ", section("results.json"), re.MULTILINE | re.DOTALL)
    assert top is not None
    assert set(re.findall(r"`(\w+)`", top[1])) == set(schema()["required"])
    text = section("results.json")
    for part in (schema()["properties"]["verdict"], schema()["$defs"]["finding"]):
        assert all(f"`{name}`" in text for name in part["required"])


def commands() -> Iterator[tuple[str, str]]:
    """Every command line shown on a page or in the README."""
    for path in (*PAGES, HOME / "README.md"):
        for block in re.findall(r"^```\w*\n(.*?)^```", path.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL):
            for line in block.splitlines():
                if re.match(r"(\$ )?strickle \w", line):
                    yield path.name, line.removeprefix("$ ").strip()


@pytest.mark.parametrize(("page", "line"), sorted(set(commands())))
def test_commands_shown_are_commands_that_exist(page: str, line: str) -> None:
    name, *given = shlex.split(line, comments=True)[1:]
    command = group.commands[name]
    context = command.make_context(name, given)
    if name == "reckon" and not context.params["listed"]:
        rule = find(context.params["rule"])
        asked = [word[2:] for word in (*context.params["inputs"], *context.args) if word.startswith("--")]
        assert set(asked) <= {one.name for one in rule.inputs}
    if name in ("plan", "look"):
        from strickle.job.recipe import BY_NAME

        for key, text in context.params.items():
            if key in BY_NAME and text is not None:
                BY_NAME[key].read(text)
    assert isinstance(command, click.Command)


def test_what_the_pages_show_is_what_the_commands_print() -> None:
    examples = tool("examples")
    shown = {}
    for path in PAGES:
        shown.update(
            {name: body.strip() for _, name, body in re.findall(r"(<!-- made: run ([\w-]+) -->)(.*?)<!-- end -->", path.read_text(), re.DOTALL)}
        )
    assert set(shown) == set(examples.RUNS)
    for name, body in shown.items():
        assert body == examples.output(name), f"tools/generate.py --examples: {name}"


class Loads(html.parser.HTMLParser):
    """What a page fetches by itself when it is opened, and what it links to."""

    def __init__(self) -> None:
        super().__init__()
        self.fetched: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag in ("script", "img", "iframe", "source", "video", "audio", "embed") and given.get("src"):
            self.fetched.append(str(given["src"]))
        if tag == "link" and given.get("href"):
            self.fetched.append(str(given["href"]))
        if tag == "a" and given.get("href"):
            self.links.append(str(given["href"]))


def test_the_site_is_built_without_a_warning_and_loads_nothing_from_elsewhere(tmp_path: Path) -> None:
    pytest.importorskip("mkdocs")
    made = subprocess.run(
        [sys.executable, "-m", "mkdocs", "build", "--strict", "--site-dir", str(tmp_path / "site")],
        cwd=HOME, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    assert "WARNING" not in made.stderr, made.stderr
    pages = sorted((tmp_path / "site").rglob("*.html"))
    assert len(pages) >= len(PAGES)
    for page in pages:
        found = Loads()
        found.feed(page.read_text(encoding="utf-8"))
        assert not [one for one in found.fetched if "//" in one], page.name
        for one in found.fetched + found.links:
            target = one.partition("#")[0].partition("?")[0]
            if target and "//" not in one and page.name != "404.html" and not one.startswith("mailto:"):
                assert (page.parent / target).exists(), f"{page.name} links to {one}, which is not there"
    for sheet in (tmp_path / "site").rglob("*.css"):
        assert not re.search(r"(url\(\s*[\"']?|@import\s+[\"'])(https?:)?//", sheet.read_text(encoding="utf-8")), sheet.name


def test_no_page_names_a_machine_or_a_way_to_pour_that_is_not_safe() -> None:
    for path in PAGES:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"(?<![\w.])/(work|root|tmp|home)/", text), path.name
        for sentence in re.split(r"(?<=[.!?|])\s", text):
            if re.search(r"\bwater\b", sentence, re.IGNORECASE) and path.name not in ("sources.md", "calculators.md"):
                assert re.search(r"first aid|burned skin", sentence, re.IGNORECASE), f"{path.name}: {sentence}"
