"""The pattern of an open-face mould: one piece, its back level with the sand, drawn upward.

Nothing lies over the back, so what is hollow under its level cannot be formed: metal fills it, and it is told.
"""

from __future__ import annotations

from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array, Finding, Margin, Mesh, Value, Watch, Where, tell
from strickle.part import Part
from strickle.pattern.ask import PatternAsk
from strickle.pattern.columns import view
from strickle.pattern.directions import ACROSS, TALL, WALLS, basis, features, surface
from strickle.pattern.parting import Lie
from strickle.pattern.undercut import Filled, fill
from strickle.stores import machining_stock

FILLED = 3.0  # weight of the metal that must fill what the back or the draw does not allow, over the part's volume
FLAT = 0.2  # weight of the share of the outline that is no flat face at the top
GRADE = "H"  # machining grade: F to H for light metal in sand moulded by hand, the poured back takes the coarsest (common practice)
LONGEST = 0.63  # m, the table's end
MOST = Value(value=0.25, low=0.1, high=0.5, unit="1", source="pattern-house", mark="guess", note="back filled over the part's volume; STOP above")


class Formed(NamedTuple):
    """The solid the pattern leaves, millimetres, with what was filled to get there."""

    solid: manifold3d.Manifold
    regions: tuple[Filled, ...]  # undercuts
    undercut: float  # mm3
    back: tuple[Filled, ...]  # hollows and steps of the back, filled to its level
    filled: float  # mm3
    stock: float  # mm3


def lie(light: Mesh, volume: float, ask: PatternAsk, watch: Watch) -> Lie:
    """How the part lies: of its own directions, both ways up, the one whose back costs least; an asked one is taken as it is.

    Costs: metal that fills hollows of the back and undercuts, a back that is not flat, depth, walls without draft.
    """
    if ask.up is not None:
        return _seen(light, ask.up / np.linalg.norm(ask.up), volume)
    own, _ = features(light)
    found = []
    for i, direction in enumerate(d for axis in own for d in (axis, -axis)):
        found.append(_seen(light, direction, volume))
        watch(0.2 * i / len(own), "looking for the side to pour from")
    return min(found, key=lambda one: one.cost)


def _seen(light: Mesh, draw: Array, volume: float) -> Lie:
    """The part lying with ``draw`` up under its own top."""
    turned = light.vertices @ basis(draw).T
    seen = view(turned, light.faces, ACROSS)
    bottom, top = float(turned[:, 2].min()), float(turned[:, 2].max())
    trapped = float(np.nansum(top - seen.low - seen.metal)) * seen.cell**2
    normals, areas = surface(light)
    along = normals @ draw
    at_top = (along > 0.9999) & (turned[light.faces][:, :, 2].min(axis=1) > top - 2e-5)
    outline = float(np.count_nonzero(np.isfinite(seen.low))) * seen.cell**2
    flat = min(float(areas[at_top].sum()) / max(outline, 1e-12), 1.0)
    diagonal = float(np.linalg.norm(np.ptp(light.vertices, axis=0)))
    wall = float(areas[np.abs(along) < np.sin(np.radians(0.5))].sum() / areas.sum())
    costs = {
        "trapped": FILLED * trapped / volume,
        "flat": FLAT * (1.0 - flat),
        "depth": TALL * (top - bottom) / diagonal,
        "walls": WALLS * wall,
    }
    return Lie(np.asarray(draw, dtype=float), top, trapped, 1.0, flat, 0.0, top - bottom, 0.0, 0.0, 0.5, costs)


def stock_of(part: Part, ask: PatternAsk) -> float:
    """Stock on the back [m]: as asked, else the table's for the part's largest size."""
    return ask.stock if ask.stock is not None else machining_stock(min(float(max(part.extents)), LONGEST), GRADE)


def formed(whole: manifold3d.Manifold, stock: float) -> Formed:
    """The part filled to the level of its back at z = 0, then sunk by ``stock`` [mm] with the back carried straight up to z = 0."""
    level, regions, _ = fill(whole)
    back = tuple(r for r in regions if r.at[2] + 0.5 * r.size[2] > -1e-3)
    under = tuple(r for r in regions if r.at[2] + 0.5 * r.size[2] <= -1e-3)
    out, _, volume = fill(level.translate((0.0, 0.0, -stock))) if stock > 0 else (level, (), 0.0)
    return Formed(out, under, sum(r.volume for r in under), back, sum(r.volume for r in back), volume)


def lies(best: Lie, size: float, stock: float, point: Array, asked: bool) -> Finding:
    """Why the part lies as it does; ``size`` scales to the cavity."""
    why = [f"{tell(best.flat, '1', '%')} of its outline is a flat face there, and all else is drawn upward out of one flask"]
    if best.trapped > 1e-9:
        why.append(f"{tell(best.trapped * size**3, 'm3')} of metal fill what the level back and the draw do not allow")
    if asked:
        why.append("that side was asked to be up")
    return Finding(
        code="pattern.lies_open",
        weight="NOTE",
        says=f"The part lies {tell(best.drag * size, 'm')} deep under the sand's level, its back open to the air"
        + (f" under {tell(stock * size, 'm')} of stock" if stock > 0 else ""),
        because="; ".join(why),
        do="If a face that matters lies up there, give another side to be up: the poured back is rough and sinks",
        where=Where(point=_point(point)),
        source="scored by this program: metal filled in, flat back, depth, walls without draft",
    )


def back_filled(made: Formed, volume: float, point: Array) -> Finding:
    """What of the back cannot be formed; ``volume`` [m3] of the part at cavity scale, ``point`` the largest one's place on the part."""
    filled, largest = made.filled * 1e-9, made.back[0]
    share = filled / volume
    size = " by ".join(tell(float(s) * 1e-3, "m") for s in np.sort(largest.size)[::-1])
    places = "One place" if len(made.back) == 1 else f"{len(made.back)} places"
    return Finding(
        code="pattern.back_filled",
        weight="STOP" if share > MOST.value else "MIND",
        says=f"{places} under the level of the back, {tell(filled, 'm3')} together, {'comes' if len(made.back) == 1 else 'come'} out full of metal",
        because="nothing lies over an open face to keep metal out, and walls that lean inward toward it are drawn upright; the largest,"
        f" {size}, is {tell(largest.volume * 1e-9, 'm3')}, all of it {tell(share, '1', '%')} of the part",
        do="Machine it out of the back, give another side to be up, or plan a two-part mould, whose cope forms that side",
        where=Where(point=_point(point)),
        margin=Margin(value=share, unit="1", of="metal filled in over the part's volume; stops above the limit", high=max(MOST.value, share)),
        source="house",
    )


def stock_told(stock: float, asked: bool, part: Part) -> Finding:
    """How much is left on the back and where that comes from."""
    size = float(max(part.extents))
    why = "that much was asked for" if asked else f"a part {tell(size, 'm')} long takes that much by the table, grade {GRADE}, and none was asked for"
    if stock <= 0:
        why += "; the back then stays as it is poured: sunk in the middle, round at the rim, under a skin of oxide"
    return Finding(
        code="pattern.stock",
        weight="NOTE",
        says=f"The pattern carries {tell(stock, 'm')} of stock on the back" if stock > 0 else "The pattern carries no stock on the back",
        because=why,
        do="Machine the back down to the drawing; give another stock, or none, with --stock",
        source="ISO 8062:1994, Table 2 (from memory, unverified); grade: common practice",
    )


def _point(point: Array) -> tuple[float, float, float]:
    return float(point[0]), float(point[1]), float(point[2])
