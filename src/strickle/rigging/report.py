"""What the person must know of the rigging: findings from counted reasons and measured solids."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np

from strickle.base import Array, Finding, Margin, Piece, Where, tell
from strickle.mould import Mould
from strickle.part import Part
from strickle.pattern import MOST, STRIP, Core, Pattern, keyed, lying
from strickle.rigging.checks import Checked
from strickle.rigging.gates import CLOSE
from strickle.rigging.layout import Layout
from strickle.rigging.records import bears, speeds
from strickle.rigging.risers import STAND_OFF
from strickle.rigging.sizing import Sizes
from strickle.rigging.solids import Frame

LOW_RISER = 0.65
"""share of its wished height under which a higher cope is asked for: a riser about as high as wide is still left to the solve."""


class Back:
    """From the room's frame to the part's own coordinates."""

    def __init__(self, pattern: Pattern, frame: Frame) -> None:
        self.pattern, self.frame = pattern, frame

    def __call__(self, point: Array) -> Where:
        """Where a point [mm] lies on the part."""
        mould = self.frame.outward(point)
        part = self.pattern.turn.T @ ((mould - self.pattern.shift) / self.pattern.scale)
        return Where(point=(float(part[0]), float(part[1]), float(part[2])))


FIRST = "marked face"
"""The reason that the person can lift without drawing the part again is told before commoner ones."""


def counted(counts: Counter[str], most: int = 2) -> str:
    """The commonest reasons in words: "mostly: wall thinner than 3 mm; corner". Of one reason with several limits the least is told."""
    kinds: dict[str, list[str]] = {}
    for reason in counts:
        kinds.setdefault(reason.split("{{")[0], []).append(reason)
    ranked = sorted(kinds.values(), key=lambda same: (not same[0].endswith(FIRST), -sum(counts[reason] for reason in same)))
    told = [min(same, key=_limit) for same in ranked[:most]]
    if not told:
        return "nothing to try"
    return told[0] if len(ranked) == 1 else "mostly: " + "; ".join(told)


def _limit(reason: str) -> float:
    """The quantity a reason names, 0 without one."""
    found = re.search(r"\{\{q:([^|]+)\|", reason)
    return float(found[1]) if found else 0.0


def about_risers(layout: Layout, part: Part, top: float, back: Back) -> Iterable[Finding]:
    """Risers missing, none needed, too low, or with necks off what was asked."""
    fed = [s for s in part.hot_spots if s.needs_feed]
    if not fed:
        why = "; ".join(s.why for s in part.hot_spots) or "the bare freeze found no late place"
        yield Finding(
            code="rigging.no_riser_needed",
            weight="NOTE",
            says=f"No riser is set; {len(part.hot_spots)} late {'place was' if len(part.hot_spots) == 1 else 'places were'} looked at",
            because=why,
            do="Nothing; the freezing solve judges it",
        )
    for spot in layout.missing:
        on_top, beside = layout.reasons.risers[spot.number]
        yield Finding(
            code="rigging.no_riser_place",
            weight="MIND",
            says=f"Hot spot {spot.number + 1} needs feeding and no riser {tell(spot.diameter * 1e-3, 'm')} across finds a place",
            because=f"on top ({counted(on_top)}) and beside the part ({counted(beside)})",
            do="Turn the part so that this place lies high and flat, thicken the way to it, or thin the place itself",
            where=back(spot.at),
            source="places felt on the part's own surface",
        )
    for n, s in enumerate(layout.stands, start=1):
        if s.neck_wish > 1.01 * s.spot.neck_area:
            yield Finding(
                code="rigging.neck_small",
                weight="MIND",
                says=f"The neck of riser-{n} is laid out for {tell(s.spot.neck_area * 1e-6, 'm2')}, {tell(s.neck_wish * 1e-6, 'm2')} was wished for",
                because=f"no flat place takes the whole, on top ({counted(layout.reasons.risers[s.spot.number][0])}) or beside the part "
                f"({counted(layout.reasons.risers[s.spot.number][1])})",
                do="Look at the freezing of that neck; add a flat pad for it if it closes too early",
                where=back(s.joint),
                margin=Margin(value=s.spot.neck_area / s.neck_wish, unit="1", of="neck section over the section wished for"),
            )
        height = top - s.foot
        if height < s.spot.height:
            yield Finding(
                code="rigging.riser_low",
                weight="MIND" if height < LOW_RISER * s.spot.height else "NOTE",
                says=f"riser-{n} stands {tell(height * 1e-3, 'm')} high, {tell(s.spot.height * 1e-3, 'm')} was wished for",
                because=f"it stands on metal {tell(s.foot * 1e-3, 'm')} above the parting and ends at the cope top",
                do=f"Take a cope {tell((s.spot.height - height) * 1e-3, 'm')} higher, or set a ring round its mouth",
                where=back(s.joint),
                margin=Margin(value=height / s.spot.height, unit="1", of="riser height over the height wished for"),
            )


def about_ingates(layout: Layout, sizes: Sizes, back: Back) -> Iterable[Finding]:
    """No ingate, ingates smaller than wished for, low ones, laps. How fast metal comes in and falls is the pour room's to tell."""
    if not layout.bars:
        yield Finding(
            code="rigging.no_ingate",
            weight="STOP",
            says=f"No face takes an ingate of {tell(sizes.ingate_area, 'm2')}",
            because=counted(layout.reasons.gates),
            do="Choose another parting or direction, free a marked face, or add a flat of the ingate's size beside the parting",
            source="places felt on the part's own surface",
        )
        return
    built, wished = sum(b.section for b in layout.bars) * 1e-6, sizes.ingate_area
    slow = min(layout.bars, key=lambda b: bears(b, sizes))
    speed, critical = speeds(layout, sizes), bears(slow, sizes)
    if speed > critical:
        yield Finding(
            code="rigging.gates_narrow",
            weight="MIND",
            says=f"The part's faces take ingates of {tell(built, 'm2')} together, {tell(wished * sizes.critical_speed / critical, 'm2')} "
            "was wished for",
            because=f"no place takes the whole ({counted(layout.reasons.gates)})",
            do="Add a flat beside the parting for a wider ingate, or take a lower cope, which drives the metal less",
            where=back(slow.joint),
            margin=Margin(value=critical / speed, unit="1", of="ingates' section over the section that slows the metal enough"),
        )
    elif speed > sizes.critical_speed:
        yield Finding(
            code="rigging.gates_thin",
            weight="NOTE",
            says=f"The ingates are low, {tell(slow.height * 1e-3, 'm')} high at the least, and let metal in faster than higher ones might: "
            f"a section a few millimetres high bears about {tell(sizes.thin_speed, 'm/s')}, a high one {tell(sizes.critical_speed, 'm/s')}",
            because=f"no face takes ingates of {tell(wished, 'm2')} together ({counted(layout.reasons.gates)})",
            do="Nothing; add a flat beside the parting if you want a slower stream",
            where=back(slow.joint),
            margin=Margin(value=critical / speed, unit="1", of="speed that low ingates bear over the metal's"),
            source="the stores' critical speed of thin sections",
        )
    for n, bar in enumerate(layout.bars, start=1):
        if bar.lap:
            yield Finding(
                code="rigging.lap_ingate",
                weight="MIND",
                says=f"ingate-{n} laps {tell(bar.ahead * 1e-3, 'm')} over the flat face at the parting and leaves a scar of "
                f"{tell(bar.contact * 1e-6, 'm2')}",
                because=f"no side face serves ({counted(layout.reasons.gates)})",
                do="Dress the scar flat, or add a flat for a side ingate",
                where=back(bar.joint),
            )


def about_solids(layout: Layout, checked: Checked, stuck: dict[str, float], clear: float, back: Back) -> Iterable[Finding]:
    """What the measured solids show: gaps, touches, bodies, holes, pieces held by the sand."""
    if checked.gap < clear - 0.05:
        yield Finding(
            code="rigging.sand_thin",
            weight="MIND",
            says=f"Only {tell(checked.gap * 1e-3, 'm')} of sand stand between {checked.gap_of} and the part",
            because=f"{tell(clear * 1e-3, 'm')} is wanted there",
            do="Ram that place with care, or take a wider flask",
            margin=Margin(value=checked.gap / clear, unit="1", of="sand between over the margin wanted"),
        )
    if checked.riser_gap < 0.6 * STAND_OFF:
        yield Finding(
            code="rigging.riser_close",
            weight="MIND",
            says=f"Only {tell(checked.riser_gap * 1e-3, 'm')} of sand stand between a riser's body and the part",
            because="its neck is short there and the riser widens upward",
            do="Ram the gap with fine sand, or move the riser out by hand",
            margin=Margin(value=checked.riser_gap / STAND_OFF, unit="1", of="sand under the riser over the stand-off wanted"),
        )
    if checked.between < 0.6 * clear:
        yield Finding(
            code="rigging.crowded",
            weight="MIND",
            says=f"Only {tell(checked.between * 1e-3, 'm')} of sand stand between {checked.between_of}",
            because="both hold to the same side of the part",
            do="Take a wider flask, or drop one of the two",
            margin=Margin(value=checked.between / clear, unit="1", of="sand between over the margin wanted"),
        )
    declared = max(checked.declared, 1e-9)
    if checked.declared and abs(checked.touched / declared - 1.0) > CLOSE:
        yield Finding(
            code="rigging.touches",
            weight="MIND",
            says=f"The rigging meets the part over {tell(checked.touched * 1e-6, 'm2')}, {tell(checked.declared * 1e-6, 'm2')} was meant",
            because="a piece cuts the part beside its own contact",
            do="Look at the section picture there before printing",
            margin=Margin(value=checked.touched / declared, unit="1", of="contact measured over contact meant"),
        )
    if layout.bars and checked.bodies != 1:
        yield Finding(
            code="rigging.not_one",
            weight="STOP",
            says=f"Part and rigging make {checked.bodies} bodies",
            because=f"{tell(checked.crumbs * 1e-9, 'm3')} of metal hang apart from the largest",
            do="Look whether the part itself is of several bodies; if not, report it as a fault of the plan",
        )
    if checked.surplus > 0 and layout.bars:
        yield Finding(
            code="rigging.holed",
            weight="MIND",
            says=f"Part and rigging close {checked.surplus} more {'ring' if checked.surplus == 1 else 'rings'} round sand than they should",
            because="a piece touches the part twice, or cuts through a wall",
            do="Look at the contacts of ingates and necks before printing",
        )
    for name, area in stuck.items():
        if area > 0.5:
            yield Finding(
                code="rigging.held",
                weight="MIND",
                says=f"The sand holds {name} by {tell(area * 1e-6, 'm2')} along its draw",
                because="its section grows against the draw there, with the pattern it leans on",
                do="Ease it by hand while drawing, or file the place",
                margin=Margin(value=area * 1e-6, unit="m2", of="section held"),
            )


def no_room(mould: Mould, wanted: Array, back: Back) -> Finding:
    """The flask is too small for the rigging."""
    box = mould.room_for_rigging
    short = [
        (box[0] - wanted[0], "length"), (wanted[1] - box[1], "length"), (box[2] - wanted[2], "width"), (wanted[3] - box[3], "width"),
        (box[4] - wanted[4], "drag"), (wanted[5] - mould.box[5], "cope"),
    ]  # fmt: skip
    most, way = max(short, key=lambda s: s[0])
    length, width = (float(wanted[i + 1] - wanted[i]) + 2.0 * mould.side_margin for i in (0, 2))
    return Finding(
        code="rigging.no_room",
        weight="STOP",
        says=f"The rigging lacks {tell(float(most), 'm')} of {way} in {mould.flask.name}",
        because=f"metal needs {tell(float(wanted[1] - wanted[0]), 'm')} by {tell(float(wanted[3] - wanted[2]), 'm')} in plan and a cope of "
        f"{tell(float(wanted[5]), 'm')}",
        do=f"Take a flask of at least {tell(length, 'm')} by {tell(width, 'm')} inside, cope {tell(float(wanted[5]), 'm')}, drag "
        f"{tell(float(-wanted[4]) + mould.deep_margin, 'm')}",
        margin=Margin(value=-float(most), unit="m", of="room left in the tightest direction"),
    )


def about_printing(pieces: Sequence[Piece], bed: Array, no_plate: bool) -> Iterable[Finding]:
    """Pieces printed in parts, those that do not lie on the printer's bed in parts either; vents without a plate."""
    build = f"the printer holds {tell(float(bed[0]), 'm')} by {tell(float(bed[1]), 'm')}, {tell(float(bed[2]), 'm')} high"
    for piece in pieces:
        longest = float(np.max(piece.extents))
        if piece.parts:
            bare = any(part.plain_joints for part in piece.parts)
            most = max(float(np.max(part.extents)) for part in piece.parts)
            yield Finding(
                code="rigging.in_parts",
                weight="MIND" if bare else "NOTE",
                says=f"{piece.name} is printed in {len(piece.parts)} parts, {piece.parts[0].name} to {piece.parts[-1].name}, and glued",
                because=f"it is {tell(longest, 'm')} long and {build}; {keyed(piece)}",
                do=f"Try the joints dry, glue them on a flat board in the order of the print sheet, fill and sand the line{STRIP if bare else ''}",
                margin=Margin(value=most / float(np.max(bed)), unit="1", of="longest side of the longest part over the printer's"),
                source="spigot, room and wall of the joint: choice of this program",
            )
        elif not lying(piece, bed).held:
            yield Finding(
                code="rigging.bed",
                weight="MIND",
                says=f"{piece.name} is {tell(longest, 'm')} long and does not fit the printer, nor do {MOST} parts of it",
                because=build,
                do="Print it on a larger bed, or make it of wood to the measures of its file",
                margin=Margin(value=longest / float(np.max(bed)), unit="1", of="longest side of the piece over the printer's"),
            )
    if no_plate:
        yield Finding(
            code="rigging.no_vent_plate",
            weight="NOTE",
            says="The vents are pricked by measure, without a plate",
            because="no plate that reaches all vents and finds its place by a former fits the printer's bed",
            do="Mark the vents on the cope from the drawing's dimensions",
        )


def core_shut(core: Core) -> Finding:
    """A former stands over the print by which a core's gas would go up."""
    return Finding(
        code="rigging.core_shut",
        weight="MIND",
        says=f"A riser or the sprue stands over the upper print of {core.name}: no vent for its gas goes up through the cope there",
        because=f"the core gives off up to {tell(core.gas_volume, 'm3')} of gas, measured cold; shut in, it blows through the metal",
        do="Name another place for that riser or for the ingates, so that a hole can go up over the print",
        where=Where(body=core.name),
        source="Common practice",
    )
