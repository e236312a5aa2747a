"""The solid that sand is rammed round: undercuts answered, the joint flat or crooked, walls with draft. Millimetres, mould frame, cavity scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import manifold3d

from strickle.base import Array, BadInput, Watch
from strickle.pattern import answers, crooked, open_face, rules
from strickle.pattern.answers import Answered
from strickle.pattern.ask import PatternAsk
from strickle.pattern.columns import view
from strickle.pattern.crooked import Saving
from strickle.pattern.draft import Closed, drafted
from strickle.pattern.field import Field, block, lay
from strickle.pattern.fillets import filleted
from strickle.pattern.open_face import Formed
from strickle.pattern.readable import solid_of
from strickle.pattern.taper import rule_of
from strickle.pattern.undercut import fill, halves, plain
from strickle.stores import Stores

DATUMS = {"far": "parting", "middle": "mid-plane"}
ACROSS = 240
BARE = math.radians(0.5)  # less is no draft
HUNG = 1e-3  # mm3 that may hang over after draft
FOLDED = 1e-7  # share of a half's volume by which it may be read as another


class Joint(NamedTuple):
    """A crooked joint: the sheet, what it saves, and the box round part and sheet."""

    sheet: Field
    saving: Saving
    box: Array  # (6,)


class Eased(NamedTuple):
    """Draft on the walls. Millimetres, mm3, radians."""

    added: float  # less than nothing where it takes more away
    closed: tuple[Closed, ...]
    outside: float
    pocket: float
    low: float  # of low walls

    @property
    def is_bare(self) -> bool:
        """Whether walls are left that stand as good as upright."""
        return min(self.outside, self.pocket) < BARE


class Shaped(NamedTuple):
    """Walls with draft, inner corners rounded. Millimetres, mm3."""

    solid: manifold3d.Manifold
    eased: Eased | None
    rounded: float


class Worked(NamedTuple):
    """The casting as sand forms it, with what was done to the part for it."""

    solid: manifold3d.Manifold
    formed: Formed
    joint: Joint | None
    eased: Eased | None
    answered: Answered | None = None
    rounded: float = 0.0  # mm3 of metal in inner corners

    @property
    def drawn(self) -> manifold3d.Manifold:
        """What the sand is rammed round: the casting, and room for cores."""
        return self.solid if self.answered is None else self.answered.drawn

    @property
    def printed(self) -> manifold3d.Manifold:
        """What falls into the printed halves: the same without loose pieces."""
        return self.solid if self.answered is None else self.answered.printed

    def less(self, cut: manifold3d.Manifold | None) -> Worked:
        """The same with marks cut into it."""
        if cut is None:
            return self
        answered = self.answered
        if answered is not None:
            answered = answered._replace(metal=answered.metal - cut, drawn=answered.drawn - cut, printed=answered.printed - cut)
        return self._replace(solid=self.solid - cut, answered=answered)


def worked(
    whole: manifold3d.Manifold, joint: Joint | None, stock: float, stores: Stores, ask: PatternAsk, watch: Watch, kept: Array | None = None,
    radius: float = 0.0,
) -> Worked:  # fmt: skip
    """Undercuts answered and walls drafted; ``joint`` is what ``joint_of`` gave for it, ``stock`` [mm] lies on the back of an open face.

    ``kept`` triangles get no draft; inner corners get ``radius`` [mm] where that is asked for.
    """
    if ask.open_face:
        formed = open_face.formed(whole, stock)
    else:
        left = None if joint is None else _left(whole, joint)
        if left is None or (ask.joint == "best" and _wants_core(left, stores, ask)):
            return _answered(whole, stores, ask, watch, kept, radius)
        formed = left
    made = _shaped(formed.solid, joint, stores, ask, watch, kept, radius)
    return Worked(made.solid, formed, joint, made.eased, rounded=made.rounded)


def _wants_core(left: Formed, stores: Stores, ask: PatternAsk) -> bool:
    """Whether a flat joint with cores goes before a crooked one: cores are asked for, or a hole too wide to drill is left by the crooked joint."""
    wishes = {word.strip() for word in ask.undercuts.split(",")}
    if wishes - {"best", "fill"} or ask.bores != "sand":
        return True
    if "best" not in wishes:
        return False
    drill = rules.constant(stores, "pattern.drill_width").value * 1e3
    return any(region.bore > drill for region in left.regions)


def _answered(whole: manifold3d.Manifold, stores: Stores, ask: PatternAsk, watch: Watch, kept: Array | None, radius: float) -> Worked:
    """A flat joint, every place that it does not release answered."""
    wishes = tuple(word.strip() for word in ask.undercuts.split(","))
    planned = answers.plan(whole, wishes, ask.bores, answers.limits(stores), answers.print_rule(stores))
    solid, eased, rounded = _shaped(planned.base, None, stores, ask, watch, kept, radius)
    if not planned.choices:
        return Worked(solid, Formed(planned.base, (), planned.volume, (), 0.0, 0.0), None, eased, rounded=rounded)
    watch(0.62, "cores, their prints and boxes")
    made = answers.answer(planned, solid, answers.print_rule(stores), rules.constant(stores, "core.vent_share").value)
    regions = tuple(c.place.told for c in made.choices if c.way in ("fill", "drill"))
    cored = union([c.place.solid for c in made.choices if c.way == "core"]) if made.cores else 0.0
    # places may share sand, so what stays filled is measured, not summed; with loose pieces off, the base is not the part any more
    volume = made.filled if made.loose else max(float(planned.base.volume() - whole.volume()) - cored, 0.0)
    if made.cores:
        taken = float(solid.volume() - made.metal.volume()) - cored  # of what draft and rounding added, by cores
        if eased is not None:
            eased = eased._replace(added=eased.added - taken)
        elif rounded:
            rounded -= taken
    return Worked(made.metal, Formed(made.metal, regions, volume, (), 0.0, 0.0), None, eased, made, rounded)


def union(solids: Sequence[manifold3d.Manifold]) -> float:
    """Volume [mm3] of solids together, what they share counted once."""
    return float(manifold3d.Manifold.batch_boolean(list(solids), manifold3d.OpType.Add).volume()) if solids else 0.0


def joint_of(whole: manifold3d.Manifold, ask: PatternAsk) -> Joint | None:
    """The crooked joint where it is asked for, or where it saves more than a follow board is worth and none is ruled out."""
    if ask.joint == "flat" or ask.open_face or (ask.joint == "best" and ask.parting is not None):
        return None
    seen = view(*plain(whole), ACROSS)
    volume = float(whole.volume())
    if ask.joint == "best" and crooked.possible(seen) <= max(crooked.SHARE * volume, crooked.LEAST):
        return None
    sheet = lay(whole)
    saving = crooked.saving(seen, sheet, volume)
    if sheet.flat or (ask.joint == "best" and not saving.worth):
        return None
    return Joint(sheet, saving, crooked.boxed(whole, sheet))


def _left(whole: manifold3d.Manifold, joint: Joint) -> Formed:
    """A solid with what even the crooked joint does not release filled to it."""
    left = crooked.remains(whole, joint.sheet, joint.box)
    return Formed(left.filled, left.regions, left.volume, (), 0.0, 0.0)


def _unfolded(half: manifold3d.Manifold) -> manifold3d.Manifold:
    """The half as its corners and faces tell it, where the library has laid a face across a bend: one told so is not the solid that it draws."""
    again = solid_of(*plain(half))
    return again if abs(float(again.volume() - half.volume())) > FOLDED * float(half.volume()) else half


def _carried(solid: manifold3d.Manifold) -> manifold3d.Manifold:
    """The drafted solid with what still hangs over carried to the joint: where a narrow slot closes, a loft between two layers may lean over."""
    try:
        filled, _, more = fill(solid)
    except BadInput:  # too many patches: what drags is measured and told
        return solid
    return filled if more > HUNG else solid


def _shaped(
    formed: manifold3d.Manifold, joint: Joint | None, stores: Stores, ask: PatternAsk, watch: Watch, kept: Array | None, radius: float
) -> Shaped:
    """Both halves drafted outward to the joint, inner corners rounded, and put together again, as far as that is asked for."""
    rule = None
    if ask.draft != "none":
        own = {"outside": ask.draft_outside, "pocket": ask.draft_pockets}
        rule = rule_of(stores, datum=DATUMS[ask.draft_from], layered=ask.draft == "unfilled", **own)
    radius = radius if ask.fillets != "none" else 0.0
    if rule is None and not radius:
        return Shaped(formed, None, 0.0)
    rooms: tuple[manifold3d.Manifold | None, ...] = (None, None)
    over, under = halves(formed)
    if joint is not None:
        rooms = (block(joint.sheet, joint.box, 1.0), block(joint.sheet, joint.box))
        over, under = (formed ^ room for room in rooms)
    drawn, solids, rounded = [], [], 0.0
    for half, side, room in zip((over, under), (1.0, -1.0), rooms):
        if half.is_empty():
            continue
        half = _unfolded(half)
        if rule is not None:
            watch(0.55 if side > 0 else 0.6, "giving the walls draft")
            drawn.append(drafted(half, side, rule, block=room, kept=kept))
            half = drawn[-1].solid
        if radius:
            watch(0.58 if side > 0 else 0.61, "rounding inner corners")
            half, added = filleted(half, side, radius, block=room)
            rounded += added
        solids.append(half)
    solid = manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)
    if joint is None:
        solid = _carried(solid)
    if rule is None:
        return Shaped(solid, None, float(solid.volume() - formed.volume()))
    closed = tuple(place for one in drawn for place in one.closed)
    return Shaped(solid, Eased(float(solid.volume() - formed.volume()) - rounded, closed, *rule.angles, rule.steepest), rounded)
