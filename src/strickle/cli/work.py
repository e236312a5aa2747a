"""plan, look, resume and demo: run the job and print its answer."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from strickle.base import Cancelled, MissingChoice, Watch
from strickle.cli.answer import answer
from strickle.cli.rules import kit_units
from strickle.cli.terminal import choose, may_ask, progress, stop_key
from strickle.job import Plan
from strickle.job.files import escaped
from strickle.job.planning import LOOK_ENDS, begin, resume
from strickle.job.recipe import BY_NAME
from strickle.metal import USES

_FLAG = re.compile(r"--([\w-]+) (\S+?):? (.*)")
Run = Callable[[Watch, Callable[[], bool]], Plan]


def plan_part(part: str, out: str | None, as_json: bool, quiet: bool, **given: Any) -> int:
    """``strickle plan``."""
    return _plan(Path(part), out, as_json, quiet, given)


def look_part(part: str, out: str | None, as_json: bool, quiet: bool, **given: Any) -> int:
    """``strickle look``."""
    return _plan(Path(part), out, as_json, quiet, {**given, "until": given.get("until") or LOOK_ENDS}, fills=False)


def resume_job(job: str, until: str | None, units: str | None, paper: str | None, as_json: bool, quiet: bool) -> int:
    """``strickle resume``."""
    return _show(lambda watch, stopped: resume(job, until=until, units=units, paper=paper, watch=watch, stopped=stopped), job, as_json, quiet)


def plan_demo(name: str, out: str | None, preset: str | None, units: str | None, paper: str | None, as_json: bool, quiet: bool) -> int:
    """``strickle demo``."""
    import tempfile

    from strickle.job.demo import INVENTED, demo

    chosen = demo(name)
    with tempfile.TemporaryDirectory() as place:
        part = Path(place) / f"{chosen.name}.stl"
        part.write_bytes(chosen.stl())
        return _plan(part, out or chosen.folder, as_json, quiet, {**chosen.asks, "preset": preset, "units": units, "paper": paper}, INVENTED)


def _plan(part: Path, out: str | None, as_json: bool, quiet: bool, given: dict[str, Any], about: str = "", fills: bool = True) -> int:
    units, paper, kit, until = (given.pop(name, None) for name in ("units", "paper", "kit", "until"))
    wishes = {name: str(value) for name, value in given.items() if value is not None}
    for name, text in wishes.items():
        BY_NAME[name].read(text)
    folder = out or f"{part.stem}.job"
    if "use" not in wishes and may_ask() and not (quiet or as_json) and part.is_file() and not (Path(folder) / "job.toml").exists():
        wishes["use"] = list(USES)[choose("What is the part for?", [f"{use}: {says}" for use, says in USES.items()])]

    def run(watch: Watch, stopped: Callable[[], bool]) -> Plan:
        return begin(
            part, out=folder, kit=kit, wishes=wishes, units=units, paper=paper, until=until, fills=fills, about=about, watch=watch, stopped=stopped
        )

    while True:
        try:
            return _show(run, folder, as_json, quiet)
        except MissingChoice as missing:
            offered = missing.offered(units or kit_units())
            flags = [found for choice in offered if (found := _FLAG.match(choice)) and found[1].replace("-", "_") in BY_NAME]
            if not flags or len(flags) != len(offered) or not may_ask():
                raise
            chosen = flags[choose(f"{missing.says}.", [f"{found[2]}: {found[3]}" for found in flags])]
            wishes[chosen[1].replace("-", "_")] = chosen[2]


def _plain_json(text: str) -> str:
    """The same JSON; in ASCII where stdout cannot write its letters."""
    try:
        text.encode(getattr(sys.stdout, "encoding", None) or "utf-8")
    except UnicodeEncodeError:
        return json.dumps(json.loads(text), indent=1)
    return text


def _show(run: Run, folder: str, as_json: bool, quiet: bool) -> int:
    try:
        with stop_key() as stopped, progress(quiet) as watch:
            plan = run(watch, stopped)
    except Cancelled:
        raise Cancelled("stopped; what is finished is kept", f"Go on with: strickle resume {folder}") from None
    text = plan.to_json().rstrip("\n") if as_json else escaped(answer(plan), keep="\n")
    click.echo(_plain_json(text) if as_json else text)
    return plan.exit_code
