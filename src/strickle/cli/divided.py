"""divide: a part cast in pieces, and how the castings stand beside the part as one, in words."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import click

from strickle.base import Cancelled, shown, spelled
from strickle.cli.terminal import progress, stop_key

WIDE = 92
VERDICTS = {"castable": "castable", "after_change": "after one change", "not_this_way": "not this way", None: "not planned"}


def divide_job(job: str, as_json: bool, quiet: bool, **given: Any) -> int:
    """``strickle divide``."""
    from strickle.job.contract import dumps
    from strickle.job.dividing import divide
    from strickle.job.files import escaped

    try:
        with stop_key() as stopped, progress(quiet) as watch:
            made = divide(job, watch=watch, stopped=stopped, **given)
    except Cancelled:
        raise Cancelled("stopped; what is finished is kept", f"Go on with: strickle divide {job}, and the same choices") from None
    doc = made.document
    text = dumps(doc).rstrip("\n") if as_json else escaped(divided(doc), keep="\n")
    try:
        click.echo(text)
    except UnicodeEncodeError:
        click.echo(json.dumps(doc, indent=1))
    return made.exit_code


def divided(doc: Mapping[str, Any]) -> str:
    """The whole answer as plain text, at most 92 columns wide."""
    units = str(doc["units"])
    parts = ["\n".join([f"CAST IN {len(doc['castings'])} PIECES" if doc["castings"] else "CAST AS ONE", *_wrapped(doc["says"])])]
    parts += [_told(one, units) for one in doc["findings"]]
    if doc["castings"]:
        parts += [table(doc), *(_splice(one, units) for one in doc["splices"])]
        parts.append("\n".join(["The castings' jobs, seen from this job's folder", *(f"  {one['folder']}" for one in doc["castings"])]))
    return spelled("\n\n".join(parts), units)


def castings_of(folder: Path, units: str) -> str:
    """What a job's castings.json lists, for the job's own answer; empty where its part is not cast in pieces."""
    from strickle.job.castings import read_castings
    from strickle.job.planning import part_of

    doc = read_castings(folder, lambda: part_of(folder))
    if doc is None or not doc["castings"]:
        return ""
    names = "\n".join(f"  {one['folder']}" for one in doc["castings"])
    return f"Cast in pieces\n{table({**doc, 'units': units})}\n{names}"


def table(doc: Mapping[str, Any]) -> str:
    """The castings beside the part as one, a row each."""
    units = str(doc["units"])
    head = ("", "metal", "sand fails", "draw", "undercut", "flask inside, height", "verdict")
    rows = [head]
    for one in (doc["whole"], *doc["castings"]):
        flask = f"{_q(one['length'], units, bare=True)} x {_q(one['width'], units, bare=True)} x {_q(one['height'], units)}"
        rows.append(
            (
                one["name"], _q(one["mass"], units), _q(one["sand_chance"], units, "%"), _q(one["depth"], units), _q(one["undercut"], units),
                flask, _verdict(one),
            )
        )  # fmt: skip
    wide = [max(len(row[i]) for row in rows) for i in range(len(head))]
    return "\n".join("  ".join(text.ljust(width) for text, width in zip(row, wide, strict=True)).rstrip() for row in rows)


def _verdict(one: Mapping[str, Any]) -> str:
    """In words; a look that went only so far says so."""
    if one["verdict"] == "castable" and one["until"]:
        return f"nothing against it up to {one['until']}"
    return VERDICTS[one["verdict"]]


def _splice(one: Mapping[str, Any], units: str) -> str:
    lines = [f"{one['name']}: {' and '.join(one['castings'])}"]
    thin, thick = _q(one["thin"], units), _q(one["thick"], units)
    say = [f"face {_q(one['area'], units)}, {_q(one['outline'], units)} round, wall {thin}{'' if thin == thick else f' to {thick}'}"]
    say.append(f"dress {_q(one['stock'], units)} off each face, flat, down to the drawing" if one["stock"]["value"] else "no stock on the faces")
    say += list(_edge(one, units))
    if one["pin"]["value"]:
        say.append(f"two pins of {_q(one['pin'], units)} set the faces to one another; drill through the marking plate")
    else:
        say.append("no room for pins: mark both castings with the marking plate, clamp to a straight bar and tack before you weld")
    say.append(f"the faces may differ by {_q(one['mismatch'], units)} along their {_q(one['span'], units)}, for contraction is known no better")
    for text in say:
        lines += _wrapped(text, "  ")
    return "\n".join(lines)


def _edge(one: Mapping[str, Any], units: str) -> Iterator[str]:
    if one["edge"] == "square":
        yield "edges left square"
        return
    degrees, _ = shown(one["angle"]["value"] * 57.29578, "1")
    cast = f", of it {_q(one['cast_depth'], units)} cast on" if one["cast_depth"]["value"] else ", filed after the faces are dressed"
    yield f"{one['edge']}, {_q(one['depth'], units)} deep into the wall{cast}"
    yield f"both sides make a groove of {degrees} degrees, land {_q(one['root'], units)}"


def _told(one: Mapping[str, Any], units: str) -> str:
    lines = _wrapped(f"{one['weight']}  {one['says']}.".replace("..", "."))
    for text in (one["because"], one["do"]):
        lines += _wrapped(f"{text.rstrip('. ')}.", "      ")
    return "\n".join(lines)


def _q(quantity: Mapping[str, Any], units: str, style: str = "", bare: bool = False) -> str:
    if quantity["value"] is None:
        return "not known"
    number, name = shown(quantity["value"], quantity["unit"], units, style)
    return number if bare else f"{number} {name}".strip()


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, WIDE, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)
