"""kit, reckon, export, warm and doctor."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from strickle.base import BadInput, pack
from strickle.cli.terminal import progress

GAUGES = (
    "Ram three bars in the bar box, one after the other. Slide each on a sheet of paper slowly\n"
    "over the table's edge until it breaks, and measure how far it reached over. Ram the pocket\n"
    "gauge as a pattern, draw it, and see which pocket tears first. Then write into the kit\n"
    "(strickle kit path tells where it is):\n"
    "[sand_test]\n"
    'date = "2026-05-02"   # the day you did it\n'
    'overhangs = ["50 mm", "52 mm", "55 mm"]   # your three\n'
    "gauge = 1.5   # depth over width of the first pocket that tore"
)


def kit(what: str, entries: tuple[str, ...], metals: bool, path: str | None, to: str, as_json: bool) -> int:
    """``strickle kit``."""
    from strickle.job import kit as shop

    if metals:
        rows = shop.alloys()
        if as_json:
            click.echo(json.dumps([{"key": key, "name": name, "family": family} for key, name, family in rows], ensure_ascii=False, indent=1))
        else:
            click.echo("\n".join(f"{key:<16}{family:<11}{name}" for key, name, family in rows))
        return 0
    file = Path(path) if path is not None else shop.kit_path()
    if path is not None and not entries and not file.is_file():
        raise BadInput(f"{file} is {'no kit file' if file.exists() else 'not there'}", "Give a kit file, or change an entry with --set to make one")
    if entries:
        try:
            shop.change_kit(list(entries), file)
        except BadInput as trouble:
            if len(entries) == 1:
                raise
            raise BadInput(f"{trouble.says}; none of the {len(entries)} entries was changed", trouble.do) from None
        click.echo(f"written: {file}", err=True)
    if what == "path":
        click.echo(str(file))
    elif what == "gauges":
        from strickle.job.gauges import write_gauges

        own = shop.read_kit(file if file.is_file() else None)
        click.echo("\n".join(str(path) for path in write_gauges(to, own.units, own.bed)))
        click.echo(GAUGES, err=True)
    elif as_json:
        record = shop.read_kit(file if file.is_file() else None)
        click.echo(json.dumps(_without_kind(pack_plain(record)), ensure_ascii=False, indent=1))
    elif not entries:
        if file.is_file():
            shop.read_kit(file)
        else:
            click.echo(f"the built-in starter kit; your own will be kept in {file}", err=True)
        click.echo(shop.kit_text(file).rstrip("\n"))
    return 0


def pack_plain(record: Any) -> Any:
    """A record as JSON-able data with its arrays as lists."""
    arrays: dict[str, Any] = {}

    def inline(data: Any) -> Any:
        if isinstance(data, dict):
            return arrays[data["@array"]].tolist() if "@array" in data else {k: inline(v) for k, v in data.items()}
        return [inline(v) for v in data] if isinstance(data, list) else data

    return inline(pack(record, arrays))


def _without_kind(data: Any) -> Any:
    if isinstance(data, dict):
        return {k: _without_kind(v) for k, v in data.items() if k != "@"}
    return [_without_kind(v) for v in data] if isinstance(data, list) else data


def export(job: str, what: str, to: str) -> int:
    """``strickle export``."""
    from strickle.job.export import export as run

    for path in run(job, what, to):
        click.echo(str(path))
    return 0


def warm() -> int:
    """``strickle warm``."""
    from strickle.job.machine import warm as run

    with progress(False) as watch:
        seconds = run(watch)
    click.echo(f"kernels ready after {seconds:.1f} s")
    return 0


def doctor(as_json: bool) -> int:
    """``strickle doctor``."""
    from strickle.job.machine import doctor as run

    found = run()
    if as_json:
        click.echo(json.dumps([{"name": c.name, "state": c.state, "says": c.says} for c in found], ensure_ascii=False, indent=1))
    else:
        for one in found:
            click.echo(f"{one.state:<5} {one.name:<14} {one.says}")
    return 1 if any(one.state == "bad" for one in found) else 0
