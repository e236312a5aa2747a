"""What the pattern room tells: findings formed from its own numbers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from strickle.base import Array, Finding, Margin, Piece, Where, tell
from strickle.pattern.bed import lying
from strickle.pattern.bed_split import MOST, STRIP, keyed
from strickle.pattern.halves import Holes
from strickle.pattern.parting import STILL, Lie
from strickle.pattern.rules import fall_speed
from strickle.pattern.undercut import Filled

MUCH_DRAFT = 0.1  # of the part that draft adds: from here on it is minded (choice of this program)
TURNED = "When its half has been rammed and turned over,"
AGAINST = {  # what speaks against the other way up, by the cost of it that is more (`parting.Lie.costs`)
    "trapped": "it traps {} of sand",
    "lip": "a thin lip of sand is left all round",
    "section": "it parts on a narrower section",
    "flat": "less of a flat face lies on the parting",
    "halves": "it takes two halves",
    "slab": "one half is a thin slab",
    "fall": "metal falls {} in the drag",
    "hanging": "more slender sand hangs in the cope",
    "standing": "more slender sand stands in the drag",
    "feeding": "the places that freeze last lie lower",
    "even": "its halves are not alike",
    "up": "more of the faces marked good look up",
    "seam": "the parting line runs over faces marked good",
}
WHOLE = "When the cope is off, wipe what stands highest of it free of dust, glue a strip of wood across it"


def lies(best: Lie, other: Lie | None, size: float, point: tuple[float, float, float], asked: bool) -> Finding:
    """Why the part lies as it does; ``size`` scales depths to the cavity, ``other`` is the best with the other side up."""
    deep, high = best.drag * size, best.cope * size
    if best.drag < 2e-5:
        says = f"The part lies on the parting with its whole height of {tell(high, 'm')} in the cope"
        why = ["metal enters at its lowest point and does not fall"]
    elif best.cope < 2e-5:
        says = f"The part hangs under the parting with its whole depth of {tell(deep, 'm')} in the drag"
        why = [f"metal that enters at the parting falls {tell(deep, 'm')} and lands at {tell(fall_speed(deep), 'm/s')}"]
    else:
        says = f"The part is parted with {tell(high, 'm')} in the cope and {tell(deep, 'm')} in the drag"
        quick = "above" if fall_speed(deep) > STILL else "within"
        why = [f"metal falls {tell(deep, 'm')} into the drag and lands at {tell(fall_speed(deep), 'm/s')}, {quick} {tell(STILL, 'm/s')}"]
    if best.trapped > 1e-9:
        why.append(f"a flat parting there traps {tell(best.trapped * size**3, 'm3')} of sand")
    else:
        why.append("a flat parting there traps no sand")
    if best.flat > 0.3:
        why.append(f"{tell(best.flat, '1', '%')} of the section there is a flat face of the part")
    if best.hanging > 0:
        why.append("slender sand hangs in the cope")
    if asked:
        why.append("that side was asked to be up")
    elif other is not None:
        name, gain = max(((k, other.costs[k] - best.costs[k]) for k in best.costs), key=lambda kv: kv[1])
        if gain > 5e-3:  # less is no reason
            told = {"trapped": tell(other.trapped * size**3, "m3"), "fall": tell(other.drag * size, "m")}
            why.append(f"the other way up {AGAINST[name].format(told.get(name, ''))}")
    return Finding(
        code="pattern.lies",
        weight="NOTE",
        says=says,
        because="; ".join(why),
        do="If a face that matters lies in the cope, give the side that shall be up and plan again",
        where=Where(point=point),
        source="scored by this program: trapped sand, section, flat face, halves, fall, pockets, feeding",
    )


def crooked(saved: float, left: float, volume: float, fall: float, steepest: float, stand: float) -> Finding:
    """A crooked joint: sand it releases and leaves [m3], the part's volume, how far it strays from the flask's joint [m], slopes [tangent]."""
    return Finding(
        code="pattern.crooked",
        weight="NOTE",
        says=(
            f"Cope and drag part along a crooked joint, up to {tell(fall, 'm')} off the flask's own: it releases {tell(saved, 'm3')} of sand"
            " that no flat one does"
        ),
        because=(
            f"Kept flat, that sand would be printed as pattern and cast as metal, {tell(saved / volume, '1', '%')} of the part;"
            f" the joint leaves {tell(left, 'm3')}"
        ),
        do="Print the follow board and ram the drag over it; or give --joint flat and machine that metal away",
        margin=Margin(
            value=float(np.degrees(np.arctan(steepest))) / float(np.degrees(np.arctan(stand))),
            unit="1",
            of="steepest slope of the joint over the steepest that sand stands",
            high=1.0,
        ),
        source="Slope of a cut parting that sand stands: common practice, 45 to 60 degrees",
    )


def _region(region: Filled) -> str:
    """A filled region in words."""
    if region.bore:
        return f"a round hole of {tell(region.bore * 1e-3, 'm')} across the draw"
    return "an overhang of " + " by ".join(tell(float(s) * 1e-3, "m") for s in np.sort(region.size)[::-1])


def _afterwards(regions: tuple[Filled, ...], drill: float) -> str:
    """How the filled regions come out of the casting again; round holes up to ``drill`` [m] by drill."""
    bores = [r for r in regions if 0 < r.bore <= drill * 1e3]
    others = len(regions) - len(bores)
    ways = []
    if bores:
        largest = tell(max(r.bore for r in bores) * 1e-3, "m")
        ways.append(f"drill {_count(len(bores), 'round hole')} (largest {largest})")
    if others:
        ways.append(f"mill or file the metal out of {_count(others, 'place')}")
    return "After casting, " + " and ".join(ways) + "; the weight and the freezing are reckoned with them filled"


def _count(number: int, name: str) -> str:
    return f"{number} {name}" if number == 1 else f"{number} {name}s"


def undercut(
    regions: tuple[Filled, ...], filled: float, volume: float, point: Array, faces: tuple[int, ...], limits: tuple[float, float, float], parted: str
) -> Finding:  # fmt: skip
    """What was filled and how it comes back; ``filled`` and ``volume`` [m3] at cavity scale, ``point`` the largest one's place on the part.

    STOP where more than ``share`` of the part and more than ``least`` [m3] is filled, holes up to ``drill`` [m] across left out: those are
    drilled whatever the mould.
    """
    share, least, drill = limits
    part = filled / volume
    drilled = sum(r.volume for r in regions if 0 < r.bore <= drill * 1e3) * 1e-9
    left = filled - drilled if filled > 1.000001 * drilled else 0.0
    heavy = left / volume > share and left > least
    biggest = regions[0]
    half = "cope and drag" if biggest.half == "both" else biggest.half
    be = "is" if len(regions) == 1 else "are"
    says = (
        f"{_count(len(regions), 'place')} that sand cannot release, {tell(filled, 'm3')} or {tell(part, '1', '%')} of the part,"
        f" {be} filled in the pattern"
    )
    because = (
        f"A {parted}-parted two-part mould draws straight;"
        f" the largest place is {_region(biggest)}, {tell(biggest.volume * 1e-9, 'm3')}, in the {half}"
    )
    do = _afterwards(regions, drill)
    if heavy:
        do = (
            "It needs a core, a loose piece or another direction; where one was thought of and not made, the note on that place says why."
            " Ask for one with --undercuts, give another side to be up, or redraw the part without the undercut"
        )
    small = not heavy and part < 0.001 and filled < 5e-8
    return Finding(
        code="pattern.undercut",
        weight="STOP" if heavy else "NOTE" if small else "MIND",
        says=says,
        because=because,
        do=do,
        where=Where(point=tuple(float(x) for x in point), faces=faces[:2000]),  # type: ignore[arg-type]
        margin=Margin(value=left / volume, unit="1", of="volume filled, holes to drill left out, over the part's; stops above the limit", high=share),
    )


def kept_flat(sand: float) -> Finding:
    """A crooked joint that was given up for the sand [m3] that would come along with it."""
    return Finding(
        code="pattern.kept_flat",
        weight="NOTE",
        says=f"A crooked joint was tried and given up: {tell(sand, 'm3')} of sand would come out with the pattern",
        because="The sheet of the joint follows so sculpted a shape only as closely as its grid; a flat joint draws clean, what hangs is answered",
        do="Ask for it with --joint crooked if a little of the edge may be mended by hand, or draw the part with a plainer edge",
        where=Where(),
        source="reckoned by this program: pattern and sand moved apart as solids",
    )


def dragged(sand: float, volume: float) -> Finding:
    """Sand [m3] a half still drags along when drawn, by moving the very solid that is printed."""
    share = sand / volume
    return Finding(
        code="pattern.dragged",
        weight="STOP" if share > 0.01 else "MIND",
        says=f"Drawn straight, a half of the pattern drags {tell(sand, 'm3')} of sand along",
        because="The printed solid, moved out by one and by five millimetres, still cuts into the sand round it: walls lean a little over",
        do="Ease the leaning walls with a file and sandpaper until the pattern lifts freely, or draw the part again with draft",
        margin=Margin(value=share, unit="1", of="sand dragged along over the part's volume"),
    )


def no_draft(area: float, whole: float, tallest: float, faces: Array, least: float) -> Finding:
    """Walls along the draw; ``area`` of ``whole`` [m2], the ``tallest`` such wall [m], ``least`` draft advised [1, tangent]."""
    return Finding(
        code="pattern.no_draft",
        weight="MIND",
        says=(
            f"{tell(area, 'm2')} or {tell(area / whole, '1', '%')} of the surface stands along the draw without draft,"
            f" up to {tell(tallest, 'm')} high"
        ),
        because="Such walls rub on the sand over the whole lift instead of letting go at the first move",
        do=(
            f"Draw the part again with about {tell(tallest * least, 'm')} of taper over the tallest wall (wider at the parting),"
            " or seal and dust the pattern, rap it well and draw it straight"
        ),
        where=Where(faces=tuple(int(f) for f in faces[:2000])),
        margin=Margin(value=area / whole, unit="1", of="surface within half a degree of the draw over the whole"),
        source="Draft of 1 degree for faces 25 to 100 mm high: see the stores; shorter faces need more",
    )


def draft_added(added: float, volume: float, angles: tuple[float, float, float], middle: bool) -> Finding:
    """Metal [m3] that draft adds to a part of ``volume`` [m3], the angles used [rad] outside, in pockets
    and on low walls, and whether walls keep their size at half height.
    """
    outside, pocket, low = (tell(float(np.degrees(angle)), "1") for angle in angles)
    share, much = tell(abs(added) / volume, "1", "%"), added > MUCH_DRAFT * volume
    kept = "far ends keep their size, the side at the parting grows"
    if middle:
        kept = "walls keep their size at half height, far ends are thinner and the side at the parting is thicker"
    return Finding(
        code="pattern.draft",
        weight="MIND" if much else "NOTE",
        says=f"Draft {'adds' if added >= 0 else 'takes away'} {tell(abs(added), 'm3')} of metal, {share} of the part: {kept}",
        because=(
            f"walls along the draw get {outside} degrees outside and {pocket} in"
            f" pockets, low walls up to {low} degrees; walls with more of their own stay as drawn"
        ),
        do=(
            "Draw it another way with --up, part it nearer its middle, mark walls that may stay upright no-draft with --marks, or give --draft-from"
            " middle, which adds little"
            if much and not middle
            else "Machine what must be straight, or draw that draft into the part yourself and give --draft none"
        ),
        margin=Margin(value=added / volume, unit="1", of="metal added by draft over the part's volume"),
        source="Draft of patterns: common practice; more on low walls: a choice of this program",
    )


def rounded(added: float, volume: float, radius: float) -> Finding:
    """Inner corners rounded to ``radius`` [m], which adds metal [m3] to a part of ``volume`` [m3]."""
    return Finding(
        code="pattern.fillets",
        weight="NOTE",
        says=f"Inner corners are rounded to {tell(radius, 'm')}: {tell(added, 'm3')} more metal, {tell(added / volume, '1', '%')} of the part",
        because=(
            "sand stands better in a round corner, and metal that shrinks round it has less chance to tear there; corners between walls and at the"
            " foot of walls are rounded, those at the joint and in gaps narrower than twice the radius are left"
        ),
        do="Give --fillets none where another part must fit into the corner",
        source="Radius of a share of the thinner wall, up to a limit: common practice",
    )


def closed(width: float, depth: float, at: Array, count: int) -> Finding:
    """A pocket that its draft closes: ``width`` and ``depth`` [m], place on the part; the first of ``count``."""
    x, y, z = (float(v) for v in at)
    more = f", and {count - 1} more" if count > 1 else ""
    return Finding(
        code="pattern.pocket_closes",
        weight="MIND",
        says=f"A hole {tell(width, 'm', 'fine')} wide and {tell(depth, 'm')} deep is closed by the draft of its walls{more}",
        because="Walls that lean towards each other meet before the hole is that deep; the pattern is solid there",
        do="Drill it in the casting, or set a core there",
        where=Where(point=(x, y, z)),
        margin=Margin(value=depth / width, unit="1", of="depth of the hole over its width"),
        source="Draft of patterns: common practice",
    )


def _by(sizes: Sequence[float]) -> str:
    return " by ".join(tell(size, "m") for size in sizes)


def bed(piece: Piece, size: Array) -> Finding | None:
    """What was done about a piece that the printer cannot hold whole, or None where it can."""
    if not piece.parts:
        return None if lying(piece, size).held else too_big(piece, size)
    largest = max(piece.parts, key=lambda p: float(p.extents.max()))
    bare = any(p.plain_joints for p in piece.parts)
    return Finding(
        code="pattern.in_parts",
        weight="MIND" if bare else "NOTE",
        says=f"{piece.name} is printed in {len(piece.parts)} parts, {piece.parts[0].name} to {piece.parts[-1].name}, and glued",
        because=f"It measures {_by([float(e) for e in piece.extents])} and the printer holds {_by([float(s) for s in size])}; {keyed(piece)}",
        do=f"Try the joints dry, glue them on a flat board in the order of the print sheet, fill and sand the line{STRIP if bare else ''}",
        where=Where(body=piece.name),
        margin=Margin(value=float(largest.extents.max() / np.max(size)), unit="1", of="longest side of the largest part over the printer's"),
        source="spigot, room and wall of the joint: choice of this program",
    )


def too_big(piece: Piece, size: Array) -> Finding:
    """A piece that is not to be had from this printer, in parts either."""
    wanted = sorted((float(e) for e in piece.extents), reverse=True)
    return Finding(
        code="pattern.bed",
        weight="STOP",
        says=f"{piece.name} does not fit the printer, nor do {MOST} parts of it",
        because=f"It measures {_by([float(e) for e in piece.extents])} and the printer holds {_by([float(s) for s in size])}",
        do=f"Print it on a larger bed: {_by(wanted[:2])} holds it whole",
        where=Where(body=piece.name),
        margin=Margin(value=wanted[0] / float(np.max(size)), unit="1", of="longest side of the piece over the printer's"),
    )


def fittings(holes: Holes, lengths: dict[str, float], whole: bool = False) -> list[Finding]:
    """What of dowels and lifting could not be had; ``lengths`` of the pieces [m], ``whole`` where the pattern is in one piece."""
    out: list[Finding] = []
    glued = WHOLE if whole else f"{TURNED} wipe the parting face free of dust, glue a strip of wood across it"
    bodies = "body" if holes.bodies == 1 else "bodies"
    if holes.loose:
        out.append(
            Finding(
                code="pattern.dowels",
                weight="MIND",
                says=f"No room for two dowels in {holes.loose} of {holes.bodies} {bodies} of the pattern",
                because="The section at the parting is too thin for a pin hole with print round it",
                do="Draw the outline of one half on the board and set the other to it, or glue the halves and part the sand by hand",
                where=Where(body="cope-pattern"),
            )
        )
    if holes.unlifted:
        names = " and ".join([", ".join(holes.unlifted[:-1]), holes.unlifted[-1]]) if len(holes.unlifted) > 1 else holes.unlifted[0]
        out.append(
            Finding(
                code="pattern.lift",
                weight="MIND",
                says=f"{names} {'have' if len(holes.unlifted) > 1 else 'has'} no room for a lifting screw",
                because=f"Nowhere on {'its upper side' if whole else 'the parting face'} is there print deep and wide enough for the pilot hole",
                do=f"{glued}, over the middle of the piece, and lift by that when the glue has set",
                where=Where(body=holes.unlifted[0]),
            )
        )
    for name, off in holes.offset.items():
        length = lengths[name]
        if off * 1e-3 > max(0.005, 0.05 * length):
            out.append(
                Finding(
                    code="pattern.lift",
                    weight="MIND",
                    says=f"What lifts the {name} stands {tell(off * 1e-3, 'm')} from the middle of the drag of its walls",
                    because=(
                        "Print deep enough for screws lies only there; lifted off its middle the pattern tilts"
                        " and the sand edge on the far side breaks"
                    ),
                    do=f"{glued}, over the middle, and lift by that when the glue has set, so that the pattern rises level",
                    where=Where(body=name),
                    margin=Margin(value=off * 1e-3 / max(length, 1e-9), unit="1", of="distance over the piece's length"),
                )
            )
    return out


def rough(names: list[str]) -> Finding:
    """Pieces that could not be made a solid that every reader takes alike."""
    return Finding(
        code="pattern.edges",
        weight="MIND",
        says=f"{', '.join(names)} {'has' if len(names) == 1 else 'have'} edges where more than two faces meet",
        because="Walls of the part touch in a line there, and small bars laid over them did not close all of them",
        do="Let the slicer mend the file, or draw the part again with the walls apart or joined",
        where=Where(body=names[0]),
    )


def crumbs(count: int) -> Finding:
    """Bodies left out of the print."""
    return Finding(
        code="pattern.crumbs",
        weight="NOTE",
        says=f"{count} {'crumb' if count == 1 else 'crumbs'} under one cubic millimetre left out of the print",
        because="The parting cuts flush along a face of the part and leaves slivers",
        do="Nothing; they are below what sand shows",
    )
