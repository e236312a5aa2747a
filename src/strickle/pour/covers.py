"""Whether metal covers an open face: from which depth it does of itself, how full that is, and what a brisk pour may add."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from strickle.base import Finding, Margin, tell
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.pour.puddle import cover_depth, hold_depth, spread_speed
from strickle.rigging import OpenPour, Rigging


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """Depths and heights in metres, mass in kilograms, flows in m3/s."""

    of_itself: float
    holds: float
    over_rim: float
    mass: float
    speed: float
    flow: float
    across: float


def cover_of(rigging: Rigging, pool: OpenPour) -> Cover:
    """From which mean depth the impression covers and how full it then is: ``over_rim`` under zero is under the rim.

    ``speed`` is that of a front which spreads metal as shallow as poured, ``flow`` what it takes to keep it up across the impression.
    """
    plan = np.ptp(rigging.casting.vertices, axis=0)[:2]
    longest, across = float(plan.max()), float(plan.min())
    depth = cover_depth(pool.area, longest, pool.stands, pool.edge)
    speed = spread_speed(pool.depth, pool.stands)
    return Cover(
        of_itself=depth,
        holds=hold_depth(pool.stands, pool.edge),
        over_rim=pool.level.value + depth - pool.depth,
        mass=pool.mass.value * depth / pool.depth,
        speed=speed,
        flow=speed * pool.depth * across,
        across=across,
    )


def covers(cover: Cover, rigging: Rigging, pool: OpenPour, flow: float, metal: Metal, melt: Melt) -> Iterator[Finding]:
    """The finding where metal lies shallower than covers of itself; ``flow`` [m3/s] is the likely pour."""
    if pool.depth >= cover.of_itself:
        return
    brisk = flow >= cover.flow
    loose = pool.depth < cover.holds
    yield Finding(
        code="pour.covers",
        weight="MIND",
        says=f"Metal {tell(pool.depth, 'm', 'fine')} deep lies shallower than the {tell(cover.of_itself, 'm', 'fine')} from which it covers this"
        " impression of itself: there is a chance that it does not reach into every corner"
        + (f", and under {tell(cover.holds, 'm', 'fine')} it draws back even from walls that it has reached" if loose else ""),
        because=f"{metal.name} does not wet sand; a wide puddle of it stands {tell(pool.stands, 'm', 'fine')} high, and a front"
        f" this shallow has to run at {tell(cover.speed, 'm/s')} to spread on, {tell(cover.flow * metal.density_liquidus, 'kg/s')} over"
        f" {tell(cover.across, 'm')}: the pour, {tell(flow * metal.density_liquidus, 'kg/s')}, " + ("may help" if brisk else "hardly helps"),
        do=f"{_fuller(cover, pool)}, or pour at {tell(melt.pour_temperature.value, 'K')} and no colder, "
        + ("briskly, " if brisk else f"at {tell(cover.flow * metal.density_liquidus, 'kg/s')} or more, ")
        + "without a stop, the stream led along the far edges first",
        margin=Margin(value=pool.depth / cover.of_itself, unit="1", of="depth of the metal over that from which it covers of itself"),
        source="Young and Laplace's law solved for a resting drop; angle of contact from memory; push of the front: balance of momentum",
    )


def _fuller(cover: Cover, pool: OpenPour) -> str:
    level = cover.over_rim
    if level > pool.bears:
        more = cover.of_itself - pool.depth + pool.level.value - pool.bears
        most = tell(pool.bears, "m", "fine")
        return f"Give the part or its stock {tell(more, 'm', 'fine')} more, for its rim bears no more than {most} of proud metal"
    where = f"{tell(abs(level), 'm', 'fine')} {'over' if level >= 0.0 else 'under'} the rim"
    return f"Pour {tell(cover.mass, 'kg')}, which stands {where}"
