"""Where everything goes: risers, then ingates, runner, sprue and basin. Millimetres of the room's frame."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import shapely

from strickle.base import Array
from strickle.rigging.basin import sprue_radii
from strickle.rigging.body import Body
from strickle.rigging.gates import HEIGHTS, THIN, Bar, Pick, fall_below, fit_bar, fit_laps, picks
from strickle.rigging.risers import Spot, Stand, stand
from strickle.rigging.runner import Ground, Needs, Route, lay, runner_section
from strickle.rigging.sizing import Sizes

WELL_BELOW = 6.0
"""mm the well goes deeper than the runner."""
SMALL = 50e3
"""mm3: a smaller part gets a short runner and a shallow well, which would else outweigh it."""
SMALL_WELL = 3.0
TRIES = 24
SMALLER = ((0.75, 1), (0.55, 1), (0.75, 2), (0.4, 1), (0.55, 3), (0.4, 3))
"""share of the wished ingate section and most ingates, tried where no face takes the whole; the metal then comes in faster, and is told so.
One ingate is tried first: a small part is better off with one than with several thin ones round it."""
UNDER_GATE = 3.0
"""mm the runner is deeper than an ingate in the drag."""


@dataclass(slots=True, eq=False)
class Reasons:
    """Why places failed, counted."""

    gates: Counter[str] = field(default_factory=Counter)
    risers: dict[int, tuple[Counter[str], Counter[str]]] = field(default_factory=dict)


@dataclass(slots=True, eq=False)
class Layout:
    """A whole rigging, placed."""

    stands: list[Stand]
    missing: list[Spot]
    bars: list[Bar]
    route: Route | None
    needs: Needs | None
    tip: float
    reasons: Reasons
    searched: int = 0


def place_risers(body: Body, spots: list[Spot], top: float, room: Array, clear: float, reasons: Reasons) -> tuple[list[Stand], list[Spot]]:
    """A riser for each spot, hottest first; those that found no place."""
    stands: list[Stand] = []
    missing: list[Spot] = []
    for spot in spots:
        tries: tuple[Counter[str], Counter[str]] = (Counter(), Counter())
        reasons.risers[spot.number] = tries
        made = stand(body, spot, stands, top, room, clear, tries)
        if made is None:
            missing.append(spot)
        else:
            stands.append(made)
    return stands, missing


def place_running(
    body: Body, stands: list[Stand], missing: list[Spot], sizes: Sizes, top: float, room: Array, clear: float, reasons: Reasons, least: int = 1
) -> Layout:
    """Ingates, runner, sprue and basin for these sizes. ``bars`` is empty where the part has no face for an ingate.

    There are at the ``least`` so many ingates where that many find a place.
    """
    section = sizes.ingate_area * 1e6
    low_risers = shapely.unary_union([s.low for s in stands]) if stands else shapely.Polygon()
    taken = low_risers.buffer(clear) if not low_risers.is_empty else low_risers
    best: Layout | None = None
    searched = 0
    for bars in _offers(body, section, sizes.critical_speed / sizes.thin_speed, taken, clear, reasons, least):
        searched += 1
        layout = _lay_one(body, bars, stands, missing, sizes, top, room, clear, reasons)
        if layout is not None and (best is None or _over(layout) < _over(best)):
            best = layout
        if (best is not None and _over(best) == 0) or searched >= TRIES:
            break
    if best is None:
        if searched and not reasons.gates["no way for the runner"]:
            reasons.gates["no way for the runner"] += searched
        return Layout(stands, missing, [], None, None, 0.0, reasons, searched)
    best.searched = searched
    for bar in best.bars:
        bar.fall = fall_below(body, bar.joint + np.array([*(2.0 * bar.inward), 0.0]), 0.0 if bar.side > 0 or bar.lap else -bar.height)
    return best


def _offers(body: Body, section: float, thin: float, taken: shapely.Geometry, clear: float, reasons: Reasons, least: int = 1) -> Iterator[list[Bar]]:
    """Sets of ingates of ``section`` [mm2] together, where none fits laps, then low ones of ``thin`` times the section, then smaller ones."""
    found: list[Pick] = picks(body, section, taken, clear, reasons.gates, least=least)
    served = False
    for pick in found[: 3 * TRIES]:
        bars = [fit_bar(body, place, section / len(pick.places), reasons.gates) for place in pick.places]
        whole = [b for b in bars if b is not None]
        if len(whole) == len(bars):
            served = True
            yield whole
    if served:
        return
    for bar in fit_laps(body, section, taken, reasons.gates):
        served = True
        yield [bar]
    low = tuple(h for h in HEIGHTS if h <= THIN)
    tries = [(thin, most, low) for most in (1, 2, 3)] + [(share, most, HEIGHTS) for share, most in SMALLER]
    for share, most, heights in tries:
        if served:
            return
        for pick in picks(body, share * section, taken, clear, Counter(), most, heights)[:TRIES]:
            fewer = [fit_bar(body, place, share * section / len(pick.places), Counter()) for place in pick.places]
            whole = [b for b in fewer if b is not None]
            if len(whole) == len(fewer):
                served = True
                yield whole


def _over(layout: Layout) -> float:
    assert layout.route is not None
    return layout.route.overflow


def _lay_one(
    body: Body,
    bars: list[Bar],
    stands: list[Stand],
    missing: list[Spot],
    sizes: Sizes,
    top: float,
    room: Array,
    clear: float,
    reasons: Reasons,
) -> Layout | None:
    deepest = max((b.height for b in bars if b.side < 0), default=0.0)
    radius, depth = runner_section(sizes.runner_area * 1e6, deepest + UNDER_GATE if deepest else 0.0)
    cup_depth = sizes.basin_depth * 1e3
    base, tip = sprue_radii(sizes.sprue_base_area * 1e6, sizes.sprue_top_area * 1e6, top - cup_depth)
    well = max(1.5 * base, radius + 2.0, base + 3.0)
    small = float(body.solid.volume()) < SMALL
    needs = Needs(
        clear=clear, radius=radius, depth=depth, well=well, sprue_top=tip, cup_length=sizes.basin_length * 1e3, cup_width=sizes.basin_width * 1e3,
        cup_depth=cup_depth, room=room, top=top, small=small, below=SMALL_WELL if small else WELL_BELOW,
    )  # fmt: skip
    risers = shapely.unary_union([s.high for s in stands]) if stands else shapely.Polygon()
    low = shapely.unary_union([body.outline, body.closed, *(s.low for s in stands)])
    tall = body.shadow(top - cup_depth - clear, 1e4) if body.high[2] > top - cup_depth - clear else shapely.Polygon()
    ground = Ground(low=low, sprue=shapely.unary_union([body.outline, body.closed, risers]), high=shapely.unary_union([tall, risers]))
    route = lay(bars, ground, needs)
    if route is None:
        reasons.gates["no way for the runner"] += 1
        return None
    return Layout(stands, missing, bars, route, needs, tip, reasons)


def spot_of(number: int, at: Array, radius: float, diameter: float, height: float, neck_area: float, why: str) -> Spot:
    """A spot from SI sizes and a place already in the room's frame."""
    return Spot(number, at, radius * 1e3, diameter * 1e3, height * 1e3, neck_area * 1e6, why)


def sprue_base_radius(sizes: Sizes) -> float:
    """Radius [mm] of the sprue's foot."""
    return math.sqrt(sizes.sprue_base_area * 1e6 / math.pi)
