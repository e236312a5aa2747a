"""The command line: what it offers, what it prints, what it never imports for help."""

from __future__ import annotations

import dataclasses
import json
import subprocess
import sys
from pathlib import Path

import pytest

from fakes import cards as fake_cards
from fakes import fakes, finding, stl
from strickle.base import Margin, MissingChoice, Where
from strickle.cli import group, main
from strickle.cli.commands import COMMON, SHAPES
from strickle.cli.commands import STAGES as OFFERED
from strickle.cli.commands import USES as OFFERED_USES
from strickle.job import stages
from strickle.job.export import WHAT
from strickle.job.recipe import CHOICES
from strickle.metal import USES

COMMANDS = ("look", "plan", "resume", "kit", "reckon", "demo", "export", "warm", "doctor")
PLAN = "--out --unit --body --metal --mould --sand --up --contraction --pour --preset --cell --until --kit --units --json --quiet"


@pytest.fixture
def part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr("strickle.job.planning.card_files", fake_cards)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "cube.stl"
    path.write_bytes(stl())
    return path


@pytest.fixture
def log(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    calls: list[str] = []
    monkeypatch.setattr(stages, "STAGES", fakes(calls))
    return calls


def options(command: str) -> set[str]:
    return {o for p in group.commands[command].params for o in p.opts if o.startswith("--")}


def test_commands_and_options_of_the_contract_exist() -> None:
    assert set(COMMANDS) <= set(group.commands)
    for command in ("plan", "look"):
        assert set(PLAN.split()) <= options(command)
    assert {"--what", "--to"} <= options("export")
    assert {"--list", "--json"} <= options("reckon")
    assert {"--set", "--file"} <= options("kit")


def test_lists_kept_for_quick_help_are_those_of_the_job() -> None:
    assert (*stages.ORDER, "card") == OFFERED
    assert SHAPES == WHAT
    assert tuple(USES) == OFFERED_USES
    assert {f"--{c.name.replace('_', '-')}" for c in CHOICES} <= options("plan")


def test_every_option_says_what_it_is_for() -> None:
    for command in group.commands.values():
        assert command.help
        assert all(getattr(p, "help", "") for p in command.params if p.param_type_name == "option")


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_help_imports_nothing_heavy(command: str) -> None:
    code = (
        "import sys\nfrom strickle.cli import main\n"
        f"code = main({[command, '--help'] if command else ['--help']!r})\n"
        "heavy = [m for m in ('numpy', 'numba', 'pint', 'rich', 'scipy', 'tomlkit') if m in sys.modules]\n"
        "print(heavy, code, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[] 0"
    assert "Usage: strickle" in done.stdout


def test_json_on_stdout_is_results_json_and_nothing_else(part: Path, log: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", str(part), "--unit", "mm", "--json"]) == 0
    told = capsys.readouterr()
    assert json.loads(told.out) == json.loads((part.parent / "cube.job" / "results.json").read_text())
    assert "metal: begins" in told.err
    assert main(["plan", str(part), "--unit", "mm", "--json", "--quiet"]) == 0
    assert capsys.readouterr().err == ""


def test_the_answer_in_words(part: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    stop = finding("melt.too_heavy", "STOP", 0.0042)
    monkeypatch.setattr(stages, "STAGES", fakes(findings={"melt": (stop,), "part": (finding("part.thin", "NOTE", 0.0021),)}))
    assert main(["plan", str(part), "--unit", "mm", "--quiet"]) == 3
    words = capsys.readouterr().out
    assert words.startswith("NOT THIS WAY\n")
    assert words.index("melt.too_heavy") < words.index("part.thin")
    assert "4.2 mm" in words
    assert "2.1 mm" in words
    assert "cube.job" in words
    assert max(len(line) for line in words.splitlines()) <= 100
    assert main(["plan", str(part), "--unit", "mm", "--quiet", "--units", "us"]) == 3
    us = capsys.readouterr().out
    assert "0.165 in" in us
    assert " mm" not in us
    assert "mold" in us
    assert "mould" not in us


def test_a_look_is_never_called_castable(part: Path, log: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in (["look"], ["plan", "--until", "mould"]):
        assert main([*arguments, str(part), "--unit", "mm", "--quiet", "--out", arguments[0]]) == 0
        words = capsys.readouterr().out
        assert words.startswith("NOTHING AGAINST IT SO FAR\n")
        assert "no freezing was solved and no change was tried" in " ".join(words.split())
        assert json.loads(Path(arguments[0], "results.json").read_text())["verdict"]["code"] == "castable"
    assert main(["plan", str(part), "--unit", "mm", "--quiet", "--preset", "rough"]) == 0
    words = capsys.readouterr().out
    assert words.startswith("CASTABLE\n")
    assert "rough preset: for looking, not to pour by\n" in words


def test_margins_places_and_measures_as_a_person_reads_them(part: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    cold = dataclasses.replace(
        finding("melt.hot", "MIND", 0.004), margin=Margin(value=-14.8, unit="K", of="a difference"), where=Where(point=(7.49e-11, -7.1e-7, 0.0123))
    )
    monkeypatch.setattr(stages, "STAGES", fakes(findings={"melt": (cold,)}))
    assert main(["plan", str(part), "--unit", "mm", "--quiet"]) == 0
    words = capsys.readouterr().out
    assert "Margin: -14.8 °C (a difference)" in words
    assert "x, y, z = 0, 0, 12.3 mm of the part" in words
    assert "1500.0 mm on the print" in words


def test_metals_are_listed_where_they_are_asked_for(part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from strickle.stores import load

    keys = list(load().metals)
    assert main(["kit", "--metals"]) == 0
    assert [line.split()[0] for line in capsys.readouterr().out.splitlines()] == keys
    assert main(["plan", str(part), "--unit", "mm", "--metal", "aluminium", "--quiet"]) == 2
    told = capsys.readouterr().err
    assert all(key in told for key in keys)
    assert "zinc: za12" in told
    assert set(COMMON.split()) <= set(keys)


def test_resume_goes_on_with_the_recipe_as_it_stands(part: Path, log: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["look", str(part), "--unit", "mm", "--quiet"]) == 0
    recipe = part.parent / "cube.job" / "job.toml"
    recipe.write_text(recipe.read_text() + '\n[cavity]\ncell = "3 mm"\n' if "[cavity]" not in recipe.read_text() else recipe.read_text())
    log.clear()
    assert main(["resume", "cube.job", "--quiet"]) == 0
    assert log[-1] == "sound"
    assert "part" not in log


@pytest.mark.parametrize("what", WHAT)
def test_export(part: Path, log: list[str], capsys: pytest.CaptureFixture[str], what: str) -> None:
    assert main(["plan", str(part), "--unit", "mm", "--quiet"]) == 0
    capsys.readouterr()
    assert main(["export", "cube.job", "--what", what, "--to", "out"]) == 0
    written = [Path(line) for line in capsys.readouterr().out.splitlines()]
    assert written
    assert all(p.stat().st_size > 0 for p in written)
    if what == "csv":
        assert "rigging.yield,1.5,1,," in written[0].read_text()
    if what == "vti":
        from lxml import etree

        image = etree.parse(written[0]).getroot()[0]
        assert image.get("WholeExtent") == "0 4 0 4 0 4"


def test_kit_shows_and_changes(part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["kit"]) == 0
    assert "sand_mass" in capsys.readouterr().out
    assert main(["kit", "--set", "sand_mass=40 lb", "--set", "thermometer=no", "--set", "crucible.1.holds=0.6 l"]) == 0
    assert main(["kit", "path"]) == 0
    path = Path(capsys.readouterr().out.strip())
    assert 'sand_mass = "40 lb" #' in path.read_text()
    assert main(["kit", "--json"]) == 0
    kit = json.loads(capsys.readouterr().out)
    assert kit["sand_mass"] == pytest.approx(40 * 0.45359237)
    assert kit["thermometer"] is False
    assert kit["crucibles"][0]["volume"] == pytest.approx(0.6e-3)
    before = path.read_bytes()
    for wrong in ("sand_mass=40", "sand_mas=40 kg", "crucible.9.holds=1 l", "sand_mass", "flask.name=mine"):
        assert main(["kit", "--set", wrong]) == 2
        told = capsys.readouterr().err
        assert told.count("\n") == 1
        assert "flask" not in wrong or "strickle kit path" in told
    assert path.read_bytes() == before


def test_doctor_and_version(part: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["doctor", "--json"]) in (0, 1)
    assert {"python", "kit", "kernel cache"} <= {c["name"] for c in json.loads(capsys.readouterr().out)}
    assert main(["--version"]) == 0


def test_module_runs_as_a_program() -> None:
    done = subprocess.run([sys.executable, "-m", "strickle", "--help"], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert done.stdout.startswith("Usage: strickle")


def test_a_missing_choice_is_asked_for_on_a_terminal_only(part: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    asked: list[str] = []
    known: list[str] = []

    def before(stage: str, watch: object) -> None:
        if stage == "part" and 'unit = "in"' not in Path("cube.job/job.toml").read_text().replace('# unit = "in"', ""):
            raise MissingChoice("no unit", "Give the unit", ("--unit mm: 60 mm long", "--unit in: 1.5 m long"))
        known.append(stage)

    def choose(says: str, choices: list[str]) -> int:
        asked.append(says)
        return 0 if "for" in says else 1

    monkeypatch.setattr(stages, "STAGES", fakes(before=before))
    monkeypatch.setattr("strickle.cli.work.choose", choose)
    assert main(["plan", str(part)]) == 2
    assert asked == []
    assert not Path("cube.job").exists()
    monkeypatch.setattr("strickle.cli.work.may_ask", lambda: True)
    assert main(["plan", str(part)]) == 0
    assert asked == ["What is the part for?", "no unit."]
    recipe = Path("cube.job/job.toml").read_text()
    assert 'unit = "in"' in recipe
    assert 'use = "general"' in recipe
    assert known[-1] == "sound"
    asked.clear()
    assert main(["plan", str(part)]) == 0
    assert asked == []


def test_warm_tells_what_it_does_in_words() -> None:
    from strickle.job.machine import warm

    told: list[tuple[float, str]] = []
    assert warm(lambda share, says: told.append((share, says))) > 0.0
    shares = [share for share, _ in told]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert not [says for _, says in told if "{" in says]
    assert any(says.startswith("a toy casting: sound") for _, says in told)
