"""The answer of a plan in words: verdict, findings, main numbers, where the files are."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from typing import Any

from strickle.base import Chance, ends, shown, spelled
from strickle.cli.divided import castings_of
from strickle.cli.sand_table import table
from strickle.job import Plan

WIDE = 92
_LABEL = 12
_AT_ZERO = 0.05e-3  # m, a coordinate nearer to zero is shown as zero


def answer(plan: Plan) -> str:
    """The whole answer as plain text, at most 92 columns wide."""
    doc = plan.document
    units = str(doc["units"])
    parts = [_verdict(doc), _kept(plan), *_findings(doc, units), _numbers(doc, units), table(doc, units, WIDE), castings_of(plan.folder, units)]
    parts.append(_files(plan))
    return "\n\n".join(part for part in parts if part)


def _verdict(doc: Mapping[str, Any]) -> str:
    code, frozen = doc["verdict"]["code"], doc["stages"]["sound"]["status"] == "done"
    head = {"castable": "CASTABLE", "after_change": "AFTER ONE CHANGE", "not_this_way": "NOT THIS WAY"}[code]
    lines = [head if frozen or code != "castable" else "NOTHING AGAINST IT SO FAR", *_wrapped(doc["verdict"]["says"], "")]
    if doc["verdict"]["change"]:
        lines += _wrapped(f"Change that was run: {doc['verdict']['change']}.", "")
    if doc.get("until"):
        solved = "" if frozen else "no freezing was solved and "
        lines += _wrapped(f"A look only, as far as {doc['until']}: {solved}no change was tried. strickle plan does both.", "")
    if doc.get("preset") == "rough":
        lines.append("rough preset: for looking, not to pour by")
    return "\n".join(lines)


def _kept(plan: Plan) -> str:
    """What an earlier run left in the folder: choices, so that none rules unseen, and cards that were put aside."""
    told = []
    if plan.kept:
        told.append(f"Kept from {plan.folder.name}/job.toml: {', '.join(plan.kept)}. Give the option again, or change it there.")
    if plan.set_aside:
        told.append(f"The cards and prints of the plan before lie in {plan.folder.name}/earlier; they do not belong to this answer.")
    return "\n".join(line for one in told for line in _wrapped(one, ""))


def _findings(doc: Mapping[str, Any], units: str) -> Iterator[str]:
    for one in doc["findings"]:
        place = _place(one["where"], units)
        lines = [f"{one['weight']:<4}  {one['code']}{f'  at {place}' if place else ''}"]
        for text in (one["says"], one["because"]):
            lines += _wrapped(_sentence(text), "      ")
        lines += _wrapped(f"-> {_sentence(one['do'])}", "      ")
        margin = one["margin"]
        if margin and margin["value"] is not None:
            lines += _wrapped(f"Margin: {_margin(margin, units)} ({margin['of']})", "      ")
        if one["chance"]:
            lines.append(f"      Chance: {_chance(one['chance'])}")
        yield "\n".join(lines)


def _place(where: Mapping[str, Any] | None, units: str) -> str:
    if not where:
        return ""
    if where["point"] and all(v is not None for v in where["point"]):
        numbers = [shown(v if abs(v) >= _AT_ZERO else 0.0, "m", units) for v in where["point"]]
        return f"x, y, z = {', '.join(n for n, _ in numbers)} {numbers[0][1]} of the part"
    return str(where["body"])


def _margin(margin: Mapping[str, Any], units: str) -> str:
    style = "step" if margin["unit"] == "K" else ""  # a margin in kelvin is a difference, never a temperature
    text = _quantity({"value": margin["value"], "unit": margin["unit"]}, units, style)
    if margin["low"] is not None and margin["high"] is not None:
        low, high = (shown(margin[k], margin["unit"], units, style)[0] for k in ("low", "high"))
        return f"{text}, between {low} and {high}"
    return text


def _chance(chance: Mapping[str, float]) -> str:
    return Chance(**chance).says


def _numbers(doc: Mapping[str, Any], units: str) -> str:
    rows: list[str] = []
    for stage, tell in _ROWS.items():
        data = doc["stages"].get(stage, {})
        if data.get("status") != "done":
            continue
        if stage == "sound":
            data = {**data, "heights": {r["name"]: r["height"] for r in doc["stages"]["rigging"].get("risers", ())}}
        text = "; ".join(tell(data, lambda q, style="": _quantity(q, units, style)))
        rows += textwrap.wrap(
            f"{spelled(stage, units):<{_LABEL}}{spelled(text, units)}", WIDE, subsequent_indent=" " * _LABEL, break_on_hyphens=False
        )  # fmt: skip
    not_run = {stage: data["because"] for stage, data in doc["stages"].items() if data["status"] == "not run"}
    if not_run:
        names = list(not_run)
        which = names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}"
        text = spelled(f"{'not run':<{_LABEL}}{which}: {not_run[names[0]]}", units)
        rows += textwrap.wrap(text, WIDE, subsequent_indent=" " * _LABEL, break_on_hyphens=False)
    return "\n".join(rows)


def _part(d: Mapping[str, Any], q: Any) -> Iterator[str]:
    sides = [q(e).rpartition(" ") for e in d["extents"]]
    yield f"{' x '.join(s[0] for s in sides)} {sides[0][2]}"
    yield f"volume {q(d['volume'])}"
    yield f"least wall {q(d['least_wall'])}"
    fed = sum(bool(s["needs_feed"]) for s in d["hot_spots"])
    yield f"{_many(len(d['hot_spots']), 'hot spot')}, {fed} to be fed" if d["hot_spots"] else "no hot spot"


def _metal(d: Mapping[str, Any], q: Any) -> Iterator[str]:
    yield str(d["name"])
    yield f"freezes {q(d['liquidus'])} to {q(d['solidus'])}"
    yield f"contraction {q(d['contraction'], '%')}"


def _pattern(d: Mapping[str, Any], q: Any) -> Iterator[str]:
    yield _many(len(d["pieces"]), "piece")
    yield f"measure {d['measure_axis']}: {q(d['measure'], 'fine')} on the print"
    yield f"undercut {q(d['undercut_volume'])}"
    yield f"without draft {q(d['undrafted_area'])}"


def _mould(d: Mapping[str, Any], q: Any) -> Iterator[str]:
    flask = d["flask"]
    yield f"{d['kind']}, {flask['name']}: {q(flask['length'])} x {q(flask['width'])} inside"
    if d["kind"] == "open-face":
        yield f"drag frame only, {q(flask['drag'])} high"
        rise = {"value": d["tilt"]["value"] * max(flask["length"]["value"], flask["width"]["value"]), "unit": "m"}
        yield f"level within {q(rise)} over its length"
    else:
        yield f"cope {q(flask['cope'])}, drag {q(flask['drag'])}"
    yield str(d["sand_name"])


def _rigging(d: Mapping[str, Any], q: Any) -> Iterator[str]:
    if d["open_pour"]:
        yield from _open_pour(d["open_pour"], q)
        yield f"yield {q(d['yield'], '%')}"
        return
    yield f"sprue {q(d['sprue']['top_area'])} to {q(d['sprue']['base_area'])}, {q(d['sprue']['height'])} high"
    yield f"choke {q(d['choke_area'])}"
    yield _many(len(d["ingates"]), "ingate")
    risers = [f"{q(r['diameter'])} dia x {q(r['height'])}" for r in d["risers"]]
    yield f"{'risers' if len(risers) > 1 else 'riser'} {', '.join(risers)}" if risers else "no riser"
    yield f"yield {q(d['yield'], '%')}"


def _open_pour(d: Mapping[str, Any], q: Any) -> Iterator[str]:
    level = d["level"]["value"]
    stop = {"value": abs(level), "unit": "m"}
    yield f"nothing between ladle and mould: pour {q(d['mass'])}"
    yield "stop level with the rim" if level == 0 else f"stop {q(stop, 'fine')} {'over' if level > 0 else 'under'} the rim"
    yield f"{d['way']} (recommended: {d['recommended']})"


def _cavity(d: Mapping[str, Any], q: Any) -> Iterator[str]:
    yield f"metal in the mould {q(d['metal_mass'])}"
    yield f"sand {q(d['sand_mass'])}"
    if d["hold_down_mass"]["value"] or d["lift"]["value"]:
        yield f"weights on the cope {q(d['hold_down_mass'])}"
    yield f"{d['cells']} cells of {q(d['cell'])}"


def _melt(d: Mapping[str, Any], q: Any) -> Iterator[str]:
    yield f"charge {q(d['charge_mass'])} in {d['pot']}"
    yield f"lift at {q(d['lift_temperature'])}, pour at {q(d['pour_temperature'])}"
    fuel = d["fuel_mass"]
    yield f"fuel {q(fuel)} {d['fuel']}" if fuel["value"] else f"energy {q(d['energy'])} {d['fuel']}"
    yield f"tray for {q(d['tray_mass'])}"


def _pour(d: Mapping[str, Any], q: Any) -> Iterator[str]:
    yield f"fills in {q(d['fill_time'])}"
    if d["gate_speed"]["value"] is None:
        yield f"lands at {q(d['fall_speed'])} (critical {q(d['critical_speed'])})"
        yield f"edges likely round by {q(d['edge_radius'], 'fine')}"
        yield f"thinnest metal stays fluid {q(d['fluid_margin'])} times the fill time"
        return
    yield f"ingate speed {q(d['gate_speed'])} (critical {q(d['critical_speed'])})"
    yield "the sprue drinks air" if d["aspirates"] else "the sprue stays full"
    yield f"thinnest metal stays fluid {q(d['fluid_margin'])} times the fill time"


def _sound(d: Mapping[str, Any], q: Any) -> Iterator[str]:
    yield f"part solid after {q(d['last_to_freeze']['time'])}"
    if d["necks"]:
        least = min(d["necks"], key=lambda n: n["margin"]["value"] if n["margin"]["value"] is not None else 0.0)
        yield f"{least['riser']} outlasts what it feeds {q(least['margin'])} times"
    yield from _fed(d, q)
    if d["back"]:
        yield f"back sinks {q(d['back']['deepest'], 'fine')} with {q(d['back']['allowance'], 'fine')} over the finished face"
        yield f"do not touch for {q(d['riser_time'])}"
    else:
        yield f"leave untouched for {q(d['riser_time'])}"
    yield f"knock out after {q(d['knock_out_time'])}"
    if d["touch_time"]["value"] is not None:
        yield f"left shut, under {q(d['touch_temperature'])} after {q(d['touch_time'])}; hot metal looks cold"


def _fed(d: Mapping[str, Any], q: Any) -> Iterator[str]:
    """Of each riser until when it feeds the part and how deep it pipes; nothing where no pools were followed."""
    for body in d["feeding"]["bodies"] if d["feeding"] else ():
        if body["name"] not in d["heights"]:
            continue
        height = d["heights"][body["name"]]
        till = "feeds the part nothing" if body["fed_until"]["value"] is None else f"feeds till {q(body['fed_until'])}"
        depth = {**body["pipe_depth"], "value": min(body["pipe_depth"]["value"] or 0.0, height["value"])}
        (deep, _, unit), (high, _, whole) = (q(one).rpartition(" ") for one in (depth, height))
        yield f"{body['name']} {till}" + (
            f" and pipes {deep}{'' if unit == whole else f' {unit}'} of its {high} {whole} deep" if depth["value"] else ""
        )


_ROWS: dict[str, Any] = {
    "part": _part, "metal": _metal, "pattern": _pattern, "mould": _mould, "rigging": _rigging,
    "cavity": _cavity, "melt": _melt, "pour": _pour, "sound": _sound,
}  # fmt: skip


def _quantity(quantity: Mapping[str, Any], units: str, style: str = "") -> str:
    """A quantity of results.json as a person reads it; an uncertain one as its band."""
    value, unit = quantity["value"], quantity["unit"]
    if value is None:
        return "not known"
    low, high = quantity.get("low"), quantity.get("high")
    if low is not None and high is not None and low < high:
        first, last = ends(low, high, unit, units, style)
        if first[0] != last[0]:
            if first[1] == last[1]:
                return f"{first[0]} to {last[0]} {last[1]}".strip()
            return f"{first[0]} {first[1]} to {last[0]} {last[1]}"
    number, name = shown(value, unit, units, style)
    return f"{number} {name}".strip()


def _files(plan: Plan) -> str:
    kinds = {"print": "pieces to print, 3MF and STL", "cards": "shop card and drawings", "fields": "computed fields"}
    lines = [f"{plan.folder}"]
    for kind, says in kinds.items():
        names = plan.document["files"].get(kind, [])
        if names:
            pdf = next((n for n in names if n.endswith(".pdf")), None)
            lines.append(f"  {pdf or f'{kind}/':<18}{says}")
    lines.append(f"  {'results.json':<18}every number, with units")
    return "\n".join(lines)


def _many(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _sentence(text: str) -> str:
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDE, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)
