"""Names that break lines, terminals, units and cards; paths deeper than the system takes; files that are no files."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from bench_job import refused

import strickle
from fakes import stl
from strickle.base import render, tell
from strickle.cli import main
from strickle.job.files import escaped, is_plain

STRANGE = [
    "e\u0301cluse \u00fc.stl",
    "\u05de\u05e9\u05e7\u05d5\u05dc\u05ea.stl", "\u0648\u0632\u0646.stl", "\U0001f469\u200d\U0001f527 wheel \U0001f528.stl",
    "#sys.exit.stl", "*bold* _it_ $x$ @ref <lab>.stl", 'a"b\'c.stl', "a;rm -rf b.stl", "%s %n {0}.stl", "[red]x[bold].stl", "  two  .stl", "-out.stl",
]  # fmt: skip


@pytest.mark.parametrize("name", STRANGE)
def test_strange_names_are_kept_as_they_are(quick, place, capsys, name):
    Path(name).write_bytes(stl())
    assert main(["plan", f"./{name}", "--unit", "mm", "--quiet"]) == 0
    capsys.readouterr()
    folder = Path(f"{name[:-4]}.job")
    assert (folder / name).read_bytes() == stl()
    quick.clear()
    assert main(["resume", "--quiet", "--", str(folder)]) == 0
    assert quick == []
    assert main(["export", "--what", "csv", "--to", "out", "--", str(folder)]) == 0


@pytest.mark.parametrize(
    "name", ["a\nb.stl", "a\x1b[2Jb.stl", "a\tb.stl", "a\u202egpj.stl", "a\u2028b.stl", os.fsdecode(b"a\xff.stl"), "{{q:x|m}}.stl", "a\\b.stl"]
)
def test_names_that_break_a_line_are_refused_and_shown_written_out(quick, place, capsys, name):
    Path(name).write_bytes(stl())
    line = refused(capsys, "plan", name, "--unit", "mm", "--quiet")
    assert "Rename" in line
    assert [p.name for p in place.iterdir() if p.is_dir()] == []
    assert "not there" in refused(capsys, "plan", f"no {name}", "--unit", "mm", "--quiet")


@pytest.mark.parametrize("name", ["job.toml", "RESULTS.json", "kit.toml", "print", ".lock", ".stages", ".part-abcdefgh"])
def test_a_part_may_not_take_the_name_of_what_a_job_keeps(quick, place, capsys, name):
    (place / name).write_bytes(stl())
    assert "cannot be the name" in refused(capsys, "plan", name, "--out", "a.job", "--quiet")
    assert not (place / "a.job").exists()


def test_names_are_written_out_or_left():
    assert escaped("a\x1b[2J\r\n\u202eb\udcff\u0085") == "a\\x1b[2J\\r\\n\\u202eb\\udcff\\x85"
    for name in ("wheel.stl", "\u05de\u05e9.stl", "\U0001f469\u200d\U0001f527.stl"):
        assert escaped(name) == name
        assert is_plain(name)
    assert not is_plain("\u00e9" * 128)


def test_a_token_of_units_in_a_name_is_not_reckoned():
    for text in (
        "{{q:abc|m}}",
        "{{q:|m}}",
        "{{q:1|",
        "{{q:nan|K}}",
        "{{q:inf|K}}",
        "{{q:1e999|m}}",
        "{{q:infinite|m}}",
        "{{q:1|no unit}}",
        "{{q:-|s}}",
    ):
        for system in ("metric", "us"):
            assert isinstance(render(text, system), str)
    assert render(tell(0.012, "m")) == "12 mm"


@pytest.mark.parametrize("length", [252, 300, 5000])
def test_names_longer_than_the_system_takes(quick, place, capsys, length):
    name = "x" * (length - 4) + ".stl"
    if length <= 255:
        Path(name).write_bytes(stl())
        assert main(["plan", name, "--unit", "mm", "--quiet"]) == 0
        assert main(["plan", name, "--unit", "mm", "--quiet", "--out", "short"]) == 0
    else:
        assert len(refused(capsys, "plan", name, "--quiet")) < 2100
    for arguments in (
        ["plan", "cube.stl", "--out", name * 2],
        ["resume", name],
        ["export", name, "--what", "stl", "--to", "o"],
        ["kit", "--file", name * 20],
    ):
        assert main([*arguments, "--quiet"] if arguments[0] in ("plan", "resume") else arguments) == 2
    assert "mistake" not in capsys.readouterr().err


def test_paths_deeper_than_the_system_takes(quick, place, capsys):
    deep = "/".join(["d" * 200] * 25)
    refused(capsys, "plan", "cube.stl", "--unit", "mm", "--out", deep, "--quiet")
    assert "cannot be" in refused(capsys, "plan", f"{deep}/cube.stl", "--quiet")
    near = "/".join(["d" * 200] * 10)
    assert main(["plan", "cube.stl", "--unit", "mm", "--out", near, "--quiet"]) == 0


# what is no ordinary file

KILL = 120


def told(arguments: list[str], **more) -> subprocess.CompletedProcess[str]:
    """A command in a process of its own, ended by force if it waits."""
    return subprocess.run(
        [sys.executable, "-m", "strickle", *arguments],
        capture_output=True,
        text=True,
        timeout=KILL,
        stdin=more.pop("stdin", subprocess.DEVNULL),
        **more,
    )


@pytest.mark.parametrize("what", ["pipe.stl", "/dev/zero", "/dev/stdin", "/dev/urandom", "/dev/full", "folder"])
def test_pipes_and_devices_are_refused_and_not_waited_for(place, what):
    os.mkfifo("pipe.stl")
    Path("folder").mkdir()
    (place / "cube.stl").write_bytes(stl())
    for arguments in (["plan", what], ["plan", "cube.stl", "--kit", what], ["look", what, "--json"], ["resume", what], ["kit", "--file", what]):
        done = told(arguments)
        assert done.returncode == 2, (arguments, done.stderr)
        assert len(done.stderr.splitlines()) == 1, done.stderr
    assert sorted(p.name for p in place.iterdir()) == ["cube.stl", "folder", "pipe.stl"]


@pytest.mark.parametrize("name", ["job.toml", "results.json", "cube.stl", ".lock", "kit.toml"])
def test_a_pipe_in_a_jobs_folder_is_not_waited_for(quick, place, name):
    strickle.plan("cube.stl", unit="mm")
    path = place / "cube.job" / name
    path.unlink(missing_ok=True)
    os.mkfifo(path)
    for arguments in (
        ["resume", "cube.job", "--until", "part"],
        ["export", "cube.job", "--what", "json", "--to", "o"],
        ["plan", "cube.stl", "--unit", "furlong"],
    ):
        done = told(arguments)
        assert "Traceback" not in done.stderr
        assert done.returncode in (0, 2), done.stderr


def test_a_file_that_grows_is_read_no_further_than_the_limit(place, monkeypatch):
    from strickle.job.files import read_file

    big = place / "big.stl"
    with big.open("wb") as out:
        out.truncate(3 << 30)
    with pytest.raises(OSError, match="larger than 1024 MB"):
        read_file(big, 1 << 30)
    (place / "small").write_bytes(b"x" * 100)
    real = os.fstat

    class Lying:
        st_mode, st_size = real(os.open("small", os.O_RDONLY)).st_mode, 10

    monkeypatch.setattr(os, "fstat", lambda _: Lying)
    with pytest.raises(OSError, match="larger"):
        read_file(place / "small", 50)


@pytest.mark.parametrize(
    "unit", ["m**9**9**9**9", "m^9^9^9^9", "m**(9**9**9**9)", "m**99999999", "m**-9e9", "(" * 60 + "m", "m" + "*m" * 35, "9" * 70 + " m"]
)
def test_units_that_are_reckoned_for_ever_are_refused(unit):
    done = told(["reckon", "fall_speed", "--height", f"2 {unit}"])
    assert done.returncode == 2, done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert "mistake" not in done.stderr


# the place a command runs in


def test_a_terminal_that_knows_no_letters_but_ascii(quick, place, monkeypatch):
    env = {**os.environ, "LC_ALL": "C", "LANG": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "PYTHONIOENCODING": "ascii"}
    for arguments in (["kit", "--metals"], ["reckon", "--list"], ["reckon", "--list", "--json"], ["kit", "--json"], ["kit"], ["doctor"]):
        done = told(arguments, env=env)
        assert done.returncode == 0 or arguments == ["doctor"], done.stderr
        assert "mistake" not in done.stderr
        if "--json" in arguments:
            json.loads(done.stdout)
    Path("\u00e9.stl").write_bytes(b"x" * 500)
    done = told(["plan", "\u00e9.stl", "--quiet"], env=env)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.parametrize("shut", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-", "| head -c 1", ">/dev/full"])
def test_closed_ends(place, shut):
    (place / "words.stl").write_bytes(b"this is a shopping list\n" * 40)
    for words in ("reckon --list", "kit --metals", "plan words.stl"):
        done = subprocess.run(
            ["bash", "-c", f'set -o pipefail; "$0" -m strickle {words} {shut}', sys.executable], capture_output=True, text=True, timeout=KILL
        )
        assert "Traceback" not in done.stderr
        assert "mistake" not in done.stderr, done.stderr
        assert done.returncode in (0, 2, 141), done.stderr


def test_no_home_and_nowhere_to_write(place):
    env = {k: v for k, v in os.environ.items() if k not in ("HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME")}
    for more in (
        {},
        {"HOME": "/nonexistent"},
        {"HOME": "/dev/null"},
        {"XDG_CONFIG_HOME": "/dev/null", "XDG_CACHE_HOME": "/dev/null"},
        {"COLUMNS": "1"},
    ):
        for arguments in (["kit", "path"], ["reckon", "fall_speed", "--height", "1 m"], ["plan", "none.stl"]):
            done = told(arguments, env={**env, **more})
            assert done.returncode == (2 if arguments[0] == "plan" else 0), done.stderr
            assert "mistake" not in done.stderr
    done = told(["kit", "--set", 'name="x"'], env={**env, "XDG_CONFIG_HOME": "/dev/null"})
    assert done.returncode == 2
    assert "cannot be written" in done.stderr
