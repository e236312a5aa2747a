"""Parts that two halves cannot release, and the solids of their answers, for tests of cores and loose pieces."""

import manifold3d
import numpy as np

from pattern_shop import box, rod
from strickle.pattern.answers import Answered, answer, limits, plan, print_rule
from strickle.pattern.core_body import PrintRule
from strickle.pattern.draft import drafted
from strickle.pattern.taper import rule_of
from strickle.pattern.undercut import halves
from strickle.stores import load

STORES = load()
VENT = 0.12


def across(diameter: float, length: float, at=(0.0, 0.0, 0.0), turn: float = 0.0) -> manifold3d.Manifold:
    """A level round bar [mm], its middle at ``at``, turned in plan from x by ``turn`` degrees."""
    bar = manifold3d.Manifold.cylinder(length, diameter / 2, circular_segments=64, center=True)
    return bar.rotate((0, 90, 0)).rotate((0, 0, turn)).translate(at)


def bored(z: float = 0.0) -> manifold3d.Manifold:
    """A block with a hole of 20 mm through it, its middle at the joint or over it."""
    return box(60, 40, 40, (-30, -20, -20 if z == 0 else 0)) - across(20, 100, (0, 0, z))


def bearing() -> manifold3d.Manifold:
    """A pedestal on a wide foot, bored across over the foot."""
    return box(100, 60, 10, (-50, -30, 0)) + box(40, 50, 50, (-20, -25, 0)) - across(22, 100, (0, 0, 34), 90)


def tee() -> manifold3d.Manifold:
    """A block with a bore and a branch of it."""
    return box(80, 60, 40, (-40, -30, -20)) - across(18, 100) - across(18, 40, (0, 20, 0), 90)


def blind() -> manifold3d.Manifold:
    """A block with a hole that ends in it."""
    return box(80, 40, 40, (-40, -20, -20)) - across(20, 60, (40, 0, 0))


def recess() -> manifold3d.Manifold:
    """A block with a shallow recess in one side."""
    return box(80, 60, 40, (-40, -30, 0)) - box(20, 6, 12, (-10, 26, 14))


def boss() -> manifold3d.Manifold:
    """A block with a short round boss on one side."""
    return box(80, 60, 40, (-40, -30, 0)) + across(16, 8, (0, 33, 25), 90)


def pulley() -> manifold3d.Manifold:
    """A bored pulley with a groove all round."""
    outline = [(8, -12), (40, -12), (40, -8), (30, -2), (30, 2), (40, 8), (40, 12), (8, 12)]
    return manifold3d.CrossSection([np.array(outline, float)]).revolve(96)


def slotted() -> manifold3d.Manifold:
    """A block with a slot wider at its foot."""
    return box(80, 60, 40, (-40, -30, 0)) - box(90, 12, 20, (-45, -6, 25)) - box(90, 26, 8, (-45, -13, 18))


def hub() -> manifold3d.Manifold:
    """A hub on a bar, bored along the draw."""
    return manifold3d.Manifold.cylinder(40, 20, 18, 96) + box(120, 30, 10, (-60, -15, 0)) - rod(20, 100, (0, 0, -30))


def answered(whole: manifold3d.Manifold, *wishes: str, bores: str = "sand", draft: bool = True, prints: PrintRule | None = None) -> Answered:
    """A part's answers built, its walls drafted or not."""
    made = plan(whole, wishes, bores, limits(STORES))
    solid = made.base
    if draft:
        parts = [drafted(h, side, rule_of(STORES)).solid for h, side in zip(halves(solid), (1.0, -1.0)) if not h.is_empty()]
        solid = manifold3d.Manifold.batch_boolean(parts, manifold3d.OpType.Add)
    return answer(made, solid, prints or print_rule(STORES), VENT)


def chambered(z: float = 0.0, at: float = 0.0, turn: float = 0.0, long: float = 80.0) -> manifold3d.Manifold:
    """A block with a bore of 26 mm through it and a chamber of 38 by 26 mm about the same axis, ``at`` from its middle along the axis."""
    way = np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn)), 0.0])
    chamber = across(38, 26, tuple(at * way + [0, 0, z]), turn)
    return box(long, 60, 50, (-long / 2, -30, -25 if z == 0 else z - 25)) - across(26, 400, (0, 0, z), turn) - chamber


def side_door() -> manifold3d.Manifold:
    """The same, its chamber open at one side too."""
    return chambered() - across(20, 60, (0, 40, 0), 90)


def round_house() -> manifold3d.Manifold:
    """A round housing over a narrower block, bored with a chamber over the joint: its flanks hang over all round."""
    house = across(60, 58, (0, 0, 34), 90) + box(52, 50, 34, (-26, -25, 0))
    return house - across(26, 100, (0, 0, 34), 90) - across(38, 26, (0, 0, 34), 90)


def upright_chamber() -> manifold3d.Manifold:
    """A hub bored along the draw, with a chamber in the bore."""
    return manifold3d.Manifold.cylinder(60, 32, 32, 96).translate((0, 0, -15)) - rod(26, 100, (0, 0, -30)) - rod(38, 24, (0, 0, 3))


def u_bore() -> manifold3d.Manifold:
    """A bent block with a bore of 20 mm in the shape of a U: both its ends look along x, one leg ends 100 mm farther than the other."""
    part = box(80, 44, 44, (-80, -22, -22)) + box(40, 104, 44, (-80, -22, -22)) + box(180, 44, 44, (-80, 38, -22))
    turns = manifold3d.Manifold.batch_boolean([manifold3d.Manifold.sphere(10, 64).translate((-60, y, 0)) for y in (0, 60)], manifold3d.OpType.Add)
    legs = across(20, 120) + across(20, 320, (0, 60, 0))
    return part - (legs.trim_by_plane((1, 0, 0), -60) + across(20, 60, (-60, 30, 0), 90) + turns)


def block_with(*holes: manifold3d.Manifold) -> manifold3d.Manifold:
    """A block of 80 by 60 by 50 mm about the origin less some holes."""
    return box(80, 60, 50, (-40, -30, -25)) - manifold3d.Manifold.batch_boolean(list(holes), manifold3d.OpType.Add)


def low_duct() -> manifold3d.Manifold:
    """A square bend of 24 by 22 mm, for 30 degrees of it 8 mm high."""

    def duct(wide: float, high: float, more: float, angle: float = 90.0) -> manifold3d.Manifold:
        ring = manifold3d.CrossSection.square((wide, high), True).translate((50, 0)).revolve(96, angle)
        if angle < 90:
            return ring.rotate((0, 0, 45 - angle / 2))
        leg = box(wide, 30 + more, high, (50 - wide / 2, -30 - more, -high / 2))
        return ring + leg + leg.mirror((0, 1, 0)).rotate((0, 0, 90))

    return duct(48, 44, 0) - (duct(24, 22, 30) - duct(26, 60, 0, 30.0)) - duct(24, 8, 0, 30.0)


def tube(angle: float, inner: float, outer: float, bend: float, legs: float, neck: float = 0.0, turn: float = 7.0) -> manifold3d.Manifold:
    """A bent tube [mm] of diameters ``inner`` and ``outer``: ``angle`` degrees about z at radius ``bend``, straight ``legs`` at both ends.

    Its three lengths of bore are made apart, and turned in plan, so that their ends meet but for rounding. A ``neck`` narrows its middle by that.
    """

    def bar(diameter: float, more: float, less: float = 0.0) -> manifold3d.Manifold:
        ring = manifold3d.CrossSection.circle((diameter - less) / 2, 48).translate((bend, 0)).revolve(96, angle)
        leg = manifold3d.Manifold.cylinder(legs + more, diameter / 2, circular_segments=48).rotate((90, 0, 0)).translate((bend, 0, 0))
        other = manifold3d.Manifold.cylinder(legs + more, diameter / 2, circular_segments=48).rotate((-90, 0, 0)).translate((bend, 0, 0))
        return ring + leg + other.rotate((0, 0, angle))

    return (bar(outer, 0.0) - bar(inner, 30.0, neck)).rotate((0, 0, turn))
