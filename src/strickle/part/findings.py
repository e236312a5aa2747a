"""What the person must know of the part as read."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strickle.base import Array, Finding, Margin, Where, tell
from strickle.metal import Metal
from strickle.part import rules
from strickle.part.choose import RULE, WORDS, Reading
from strickle.part.health import Body
from strickle.part.result import HotSpot
from strickle.part.walls import Walls
from strickle.stores import Stores

TOLD = 1e-3  # share of the volume from which mending weighs
OVERLAP_TOLD = 1e-3  # share of the metal enclosed twice from which it is told
HOPELESS = 0.5  # share of the least published section; where half the part stands on less it is not tried: our own line


class Facts(NamedTuple):
    """What was found."""

    file: str
    body: Body
    reading: Reading
    extents: Array
    change: float
    wall: Walls
    spots: tuple[HotSpot, ...]
    overlap: float
    status: str
    vertices: Array


def findings_of(facts: Facts, metal: Metal, stores: Stores) -> tuple[Finding, ...]:
    """Findings, in the order of reading."""
    wall = _thin_wall(facts, metal, stores)
    return (*_unit(facts, metal), *_mesh(facts), *wall, *_doubtful(facts), *_unfinished(facts))


def _point(at: Array) -> tuple[float, float, float]:
    return float(at[0]), float(at[1]), float(at[2])


def _size(facts: Facts) -> str:
    return " x ".join(tell(float(side), "m") for side in facts.extents)


def _unit(facts: Facts, metal: Metal) -> list[Finding]:
    out = []
    if facts.reading.assumed:
        out.append(
            Finding(
                code="part.unit_assumed",
                weight="MIND",
                says=f"The file carries no unit; its numbers are taken as {WORDS[facts.reading.unit]}, so the part is {_size(facts)}",
                because=f"{facts.reading.why}: only {WORDS[facts.reading.unit]} is left. {RULE[:1].upper()}{RULE[1:]}",
                do="Check this size against a ruler; if it is wrong, give --unit mm, cm, m or in",
            )
        )
    else:
        mass = facts.body.volume * facts.reading.scale**3 * metal.density_cold
        if fault := rules.unlike(float(facts.extents.max()), float(facts.extents.min()), mass):
            out.append(
                Finding(
                    code="part.size_odd",
                    weight="MIND",
                    says=f"The part is {_size(facts)} and weighs {tell(mass, 'kg')}: {fault} for a part that one person casts",
                    because="its numbers are read in the unit that was given or that the file carries",
                    do="If the size is wrong, give another --unit; a file that carries its own must be written again in its true unit",
                )
            )
    if facts.reading.ignored:
        out.append(
            Finding(
                code="part.unit_kept",
                weight="MIND",
                says=f"The file says its unit is {facts.reading.unit}; the unit {facts.reading.ignored} asked for was not used",
                because="a format that carries its unit is believed",
                do=f"Check the size {_size(facts)}; if it is wrong, export the part in its true unit",
            )
        )
    return out


def _mesh(facts: Facts) -> list[Finding]:
    out, blank = [], bool(np.isnan(facts.change))
    if facts.body.mended:
        heavy = not abs(facts.change) <= TOLD  # also where it cannot be told, as the triangles counted nothing as they stood
        out.append(
            Finding(
                code="part.mended",
                weight="MIND" if heavy else "NOTE",
                says=f"The mesh was mended: {'; '.join(facts.body.mended)}; "
                + ("as it stood it counted no volume to compare with" if blank else f"its volume changed by {tell(facts.change, '1', '%')}"),
                because="what is cast must be one closed solid that faces outwards",
                do="Look at the mended part before you print it" if heavy else "Nothing, unless the picture of the part looks wrong",
                margin=None if blank else Margin(value=1.0 + facts.change, unit="1", of="volume after mending over volume as read"),
            )
        )
    out += _deep(facts)
    if facts.overlap > OVERLAP_TOLD:
        out.append(
            Finding(
                code="part.self_overlap",
                weight="MIND",
                says=f"The mesh runs through itself: {tell(facts.overlap, '1', '%')} of its metal is enclosed twice",
                because="it is counted once here, but halves and joints cut from it may come out wrong",
                do="Unite its shapes into one solid in the program that made the mesh",
                margin=Margin(value=facts.overlap, unit="1", of="metal enclosed twice over all metal"),
            )
        )
    if facts.body.voids:
        many = len(facts.body.voids)
        out.append(
            Finding(
                code="part.closed_hollow",
                weight="STOP",
                says=f"The part has {many} closed hollow{'s' if many > 1 else ''} inside",
                because="sand that fills a hollow on every side could neither be held in place nor got out again",
                do="Open the hollow to the outside, or fill it and cast the part solid",
                where=Where(point=_point(facts.body.voids[0] * facts.reading.scale), body=facts.body.name),
            )
        )
    return out


def _deep(facts: Facts) -> list[Finding]:
    """What was guessed to get a closed solid."""
    out, deep, scale = [], facts.body.deep, facts.reading.scale
    if deep.patches:
        out.append(
            Finding(
                code="part.mesh_filled",
                weight="MIND",
                says=f"Holes in the mesh were closed with {deep.patches} triangles, {tell(deep.patched, '1', '%')} of its surface"
                + ("" if np.isnan(facts.change) else f"; closed by cones instead, its volume would differ by {tell(abs(facts.change), '1', '%')}"),
                because="what is cast must be closed, and what stood in a hole is a guess: the skin that bends least",
                do="Look at the mended part before you print it; where a patch is wrong, close the mesh in the program that made it",
                where=Where(body=facts.body.name),
                margin=Margin(value=deep.patched, unit="1", of="patched surface over all surface"),
            )
        )
    if deep.cell:
        out.append(
            Finding(
                code="part.mesh_rebuilt",
                weight="MIND",
                says=f"The mesh did not enclose its metal once; it was drawn anew on a grid of {tell(deep.cell * scale, 'm')}, and its volume is "
                + (
                    "not to be compared with what the mesh counted, which was next to nothing"
                    if np.isnan(facts.change)
                    else f"{tell(abs(facts.change), '1', '%')} {'less' if facts.change < 0.0 else 'more'} than the mesh counted with each gap "
                    "closed by a cone to the middle"
                ),
                because="its triangles leave gaps or run through each other, so metal was put where they wind round more than half; "
                "details smaller than the grid are lost and sharp edges are blunted by about a cell",
                do="Measure the redrawn part against your drawing, or unite and close the mesh in the program that made it",
                where=Where(body=facts.body.name),
                margin=Margin(value=1.0, low=deep.low, high=deep.high, unit="1", of="volume, from where it winds three quarters to a quarter round"),
            )
        )
    if deep.light is not None:
        light = deep.light
        out.append(
            Finding(
                code="part.simplified",
                weight="MIND",
                says=f"The mesh of {light.triangles} triangles was simplified to {len(light.faces)}: its surface moved by less than "
                f"{tell(light.moved * scale, 'm')} and its volume changed by {tell(light.change, '1', '%')}",
                because="more triangles than that cost memory and time and tell the sand nothing",
                do="Export a coarser mesh yourself if you need another choice of detail",
                where=Where(body=facts.body.name),
                margin=Margin(value=1.0 + light.change, unit="1", of="volume simplified over volume as read"),
            )
        )
    return out


def _thin_wall(facts: Facts, metal: Metal, stores: Stores) -> list[Finding]:
    least = stores.constants.get(f"section.min_{metal.family}_sand")
    if least is None or facts.wall.least >= 0.999 * least.value:
        return []
    hopeless = facts.wall.median < HOPELESS * least.low
    source = stores.sources.get(least.source)
    return [
        Finding(
            code="part.thin_wall",
            weight="STOP" if hopeless else "MIND",
            says=f"Walls of {tell(facts.wall.least, 'm')} and less make up a twentieth of the surface; half of it stands on "
            f"{tell(facts.wall.median, 'm')}",
            because=f"sand moulds of {metal.name} are usually filled down to {tell(least.value, 'm')}"
            + (f" (sources differ: {tell(least.low, 'm')} to {tell(least.high, 'm')})" if least.low < least.high else ""),
            do=f"Thicken these walls to {tell(least.value, 'm')}, or expect them to run short and pour hotter and faster",
            where=Where(point=_point(facts.wall.least_at), faces=facts.wall.thin_faces, body=facts.body.name),
            margin=Margin(value=facts.wall.least / least.value, low=facts.wall.least / least.high, high=facts.wall.least / least.low, unit="1",
                          of="least wall over the least section for sand"),
            source=source.says if source else "",
        )
    ]  # fmt: skip


def _doubtful(facts: Facts) -> list[Finding]:
    out = []
    for number, spot in enumerate(facts.spots, 1):
        if not rules.doubtful(spot.saddle, spot.loss, spot.radius, facts.wall.median):
            continue
        near_pass = spot.saddle >= rules.FED_DOUBT[0]
        because = (
            f"the way to a hotter place stays open for {tell(spot.saddle, '1', '%')} of its time, and the line between fed and not fed is drawn at "
            f"{tell(rules.FED, '1', '%')}"
            if near_pass
            else f"unfed it would sink {tell(spot.loss, 'm')} a face, and a riser is thought worth its metal from about {tell(rules.LOSS, 'm')}"
        )
        verdict = "it counts as one to be fed" if spot.needs_feed else "it counts as one that needs none"
        out.append(
            Finding(
                code="part.hot_spot_doubtful",
                weight="MIND",
                says=f"Hot spot {number} lies on the line between feeding and leaving alone; {verdict}",
                because=because,
                do="Cut the first casting through this spot; if it is sound without a riser, leave the riser out, and if it has sunk, put one there",
                where=Where(point=_point(spot.at), body=facts.body.name),
                margin=Margin(value=spot.saddle / rules.FED, unit="1", of="open share of the way over the line for fed") if near_pass
                else Margin(value=rules.LOSS / spot.loss, unit="1", of="loss worth feeding over the loss a face"),
            )
        )  # fmt: skip
    return out


def _unfinished(facts: Facts) -> list[Finding]:
    if facts.status == "done" or np.isfinite([spot.time for spot in facts.spots]).all():
        return []
    return [
        Finding(
            code="part.bare_freeze_unfinished",
            weight="MIND",
            says=f"The rough freeze of the bare part did not end ({facts.status}), so its late places are not all known",
            because="the solver ran out of its time limit",
            do="Report this with the part file; the full freeze of the mould is done apart from it",
        )
    ]
