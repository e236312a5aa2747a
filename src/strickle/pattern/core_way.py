"""How far a core goes through the metal and how narrow it is on that way, straight or bent in plan. All millimetres, mould frame."""

from __future__ import annotations

import manifold3d
import numpy as np

from strickle.base import Array
from strickle.pattern.core_body import FAR, Body, Print, back, section_at, turned
from strickle.pattern.core_neck import passes
from strickle.pattern.places import End, Place, across
from strickle.pattern.undercut import plain

STATIONS = 25  # sections along a straight core that are looked at for its neck
CORNERS = 60  # heights of corners beside which there are more of them
STEPS = 14  # halvings in the search for the neck of a bent one
SHARE = 0.25  # of its thickness by which a core's ends may lie off one line
WITHIN = 0.05  # mm inside an end


def facing(one: Print, other: Print) -> bool:
    """Whether two prints lie across from each other on one line, so that a rod goes from one to the other."""
    if one.out @ other.out > -0.99:
        return False
    apart = other.at - one.at
    return float(np.linalg.norm(apart - (apart @ one.out) * one.out)) < SHARE * min(one.thick, other.thick)


def rod_ends(prints: tuple[Print, ...]) -> tuple[Print, ...]:
    """The prints that have one across from them."""
    return tuple(one for one in prints if any(facing(one, other) for other in prints))


def is_bent(prints: tuple[Print, ...]) -> bool:
    """Whether a core leaves the part by several prints of which no two lie across from each other."""
    return len(prints) > 1 and not rod_ends(prints)


def span(body: Body) -> float:
    """Length of a core in the metal: between ends, or from its one print to its tip; 0 for one that lies round the part.

    Along a bend between two ends it is half the outline of the place in plan without those ends: the mean of its outer and its inner side, which is
    the middle line of a tube of even width. With more ends, the farthest straight way that two of them lie apart.
    """
    place, prints = body.place, body.prints
    if not prints:
        return 0.0
    vertices = plain(place.solid)[0]
    straight = max(_straight(one, place, prints, vertices) for one in prints)
    if not is_bent(prints):
        return straight
    if len(prints) > 2:
        return max(straight, *(float(np.linalg.norm(a.at - b.at)) for a in place.ends for b in place.ends))
    outline = sum(float(np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1).sum()) for ring in _plan(place).to_polygons())
    return (outline - sum(_wide(place, one) for one in prints)) / 2


def _straight(one: Print, place: Place, prints: tuple[Print, ...], vertices: Array) -> float:
    """Length from one end to that across from it, middle to middle, or to the farthest corner (n, 3)."""
    other = next((p for p in prints if facing(one, p)), None)
    if other is None or place.upright:
        return float(np.ptp(vertices @ one.out))
    return float(abs((_end(one, place).at - _end(other, place).at) @ one.out))


def width(body: Body) -> float:
    """Least width of a core on its way: of its prints, and of its neck between them or on the way to its tip.

    Straight, the neck is the least of its sections, up or across; bent, it is the widest disc that passes from end to end in plan. Where a ball
    that goes through the sand is narrower than that by more than two of the cells it is told by, it is the ball.
    """
    place, prints = body.place, body.prints
    if not prints:
        return float(min(place.told.size))
    least = min(one.thick for one in prints)
    pair = next(((a, b) for a in prints for b in prints if facing(a, b)), None)
    if pair is None and len(prints) == 2:
        least = min(least, _passes(place, prints, least))
    elif pair is not None and not place.upright:
        least = min(least, _neck(place, pair[0]))
    ball, cell = passes(place, [(_end(one, place), one) for one in prints])
    return ball if ball < least - 2 * cell else least


def _plan(place: Place) -> manifold3d.CrossSection:
    return place.solid.project().simplify(0.01)


def _wide(place: Place, one: Print) -> float:
    """Width in plan of the end by which a print leaves."""
    section = section_at(place, _end(one, place), turned(one.out, one.slant))
    if section is None:
        return one.thick
    low, _, high, _ = section.bounds()
    return float(high - low)


def _end(one: Print, place: Place) -> End:
    """The end by which a print leaves."""
    return min(place.ends, key=lambda end: float(np.linalg.norm(np.cross(end.at - one.at, one.out))) + FAR * float(end.out @ one.out < 0.99))


def _neck(place: Place, one: Print) -> float:
    """Least height or width of the sections across a straight way, evenly spread and beside its corners."""
    local = place.solid.transform(back(turned(one.out, one.slant)))
    _, _, low, _, _, high = local.bounding_box()
    corners = np.unique(np.round(plain(local)[0][:, 2], 2))
    corners = corners[:: len(corners) // CORNERS + 1]
    levels = np.concatenate([np.linspace(low + WITHIN, high - WITHIN, STATIONS), corners - WITHIN, corners + WITHIN])
    found = []
    for level in levels[(levels > low) & (levels < high)]:
        x0, y0, x1, y1 = local.slice(float(level)).bounds()
        found.append(min(x1 - x0, y1 - y0))
    return float(min(found))


def _passes(place: Place, prints: tuple[Print, ...], most: float) -> float:
    """Diameter, to ``most``, of the widest disc that passes in plan from one end of a bent place to the other."""
    plan, low, high = _plan(place), 0.0, most
    if _through(plan, prints, place, 0.99 * most):
        return most
    for _ in range(STEPS):
        middle = (low + high) / 2
        low, high = (middle, high) if _through(plan, prints, place, middle) else (low, middle)
    return low


def _through(plan: manifold3d.CrossSection, prints: tuple[Print, ...], place: Place, disc: float) -> bool:
    """Whether the middle of a disc so wide can go from one end to the other."""
    free = plan.offset(-disc / 2, manifold3d.JoinType.Miter)
    starts = [_start(one, place, disc / 2) for one in prints]
    return any(all((piece ^ start).area() > 0 for start in starts) for piece in free.decompose())


def _start(one: Print, place: Place, inside: float) -> manifold3d.CrossSection:
    """A strip across the way a little farther inside an end than a disc's radius."""
    end = _end(one, place)
    middle, side, wide = (end.at - one.out * (inside + 4 * WITHIN))[:2], across(one.out)[:2], 2 * one.thick + inside
    corners = [middle + a * wide * side + b * WITHIN * one.out[:2] for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return manifold3d.CrossSection([_turned(np.array(corners))])


def _turned(ring: Array) -> Array:
    """A ring (n, 2) the way round that encloses area."""
    x, y = ring.T
    return ring if float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) > 0 else ring[::-1]
