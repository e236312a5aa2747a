"""What is told of sand that may not stand the draw, with the change that saves the mould."""

from __future__ import annotations

import numpy as np

from strickle.base import LEVELS, Array, Chance, Finding, Margin, Weight, Where, level, tell
from strickle.mould.draw_chance import Sand
from strickle.mould.result import SandBody
from strickle.mould.sand import CLEAN, LIKELY, Stood
from strickle.pattern import Pattern
from strickle.stores import Kit

DRILLED = 0.010  # round holes under this are filled in the pattern and drilled [m] (common practice)
WIDE = 0.060  # above this width the model is stricter than practice [m]
LARGE = 0.150  # a pattern longer than this is lifted with a bridge; the hand's tilt is not believed on it [m]
LOW = 0.004  # hollows no deeper than this are relief, such as lettering, and no holes to drill [m] (choice of this program)
DOUBTFUL = 0.25  # chance of any failure from which on it is to be minded (the one at which the trade's rule on pockets was fitted)
SURE = 0.8  # chance from which on also a model that is stricter than practice stops the plan
SMALL = 0.01  # chances under this are told as that: the model knows them no better
MOST = 4  # most wide bodies told one by one
MOST_RELIEF = 40  # most places of relief told one by one
GUESSED = "drag, strength and the hand's tilt are guessed"
MEASURED = "the strength is yours, drag and the hand's tilt are guessed"
GAUGED = "strength and drag are yours, the hand's tilt is guessed"


def told(stood: Stood, sand: Sand, pattern: Pattern, kit: Kit) -> tuple[Finding, ...]:
    """Findings on the sand, the worst first within each kind, then what governs the whole."""
    known = (GAUGED if sand.gauged else MEASURED) if sand.measured else GUESSED
    doubtful = [body for body in stood.bodies if body.chance >= CLEAN]
    low = [body for body in doubtful if body.width < DRILLED and body.depth <= LOW and not body.through]
    out = _fingers([body for body in doubtful if body.width < DRILLED and body not in low], pattern, known)
    out += _wide([body for body in doubtful if body.width >= DRILLED], pattern, known)
    out += _relief(low, pattern, known)
    out += [*_edges(stood, pattern), *_hanging(stood, pattern), *_handling(stood, kit)]
    if stood.chances.any >= CLEAN:
        out.append(_whole(stood, _lost(stood, pattern) and not any(one.weight == "STOP" for one in out), sand, kit))
    return tuple(out)


def _fingers(narrow: list[SandBody], pattern: Pattern, known: str) -> list[Finding]:
    if not narrow:
        return []
    worst = narrow[0]
    return [
        Finding(
            code="mould.sand_fingers",
            weight="MIND",
            says=(
                f"{len(narrow)} narrow sand {'finger' if len(narrow) == 1 else 'fingers'} may tear off as the pattern is drawn;"
                f" the worst is {tell(worst.width, 'm')} wide and {tell(worst.depth, 'm')} deep in the {worst.half}"
            ),
            because=f"{_why(worst)} ({known})",
            do="Leave such holes out of the part's drawing and drill them in the casting",
            where=_where(worst, pattern),
            margin=_margin(worst),
            source="drawmodel",
        )
    ]


def _relief(low: list[SandBody], pattern: Pattern, known: str) -> list[Finding]:
    """One finding for each low hollow between raised strokes: they are mended one by one, where the lettering is drawn."""
    return [
        Finding(
            code="mould.sand_relief",
            weight="MIND",
            says=f"Low sand {tell(body.width, 'm')} wide and {tell(body.depth, 'm')} deep, as within a letter, may tear as the {body.half} is drawn",
            because=f"{_why(body)} ({known})",
            do="Lean the strokes round it more, make the relief lower, or draw that letter wider or open",
            where=_where(body, pattern),
            margin=_margin(body),
            source="drawmodel",
        )
        for body in low[:MOST_RELIEF]
    ] + _more("mould.sand_relief", low[MOST_RELIEF:], "low places, as within letters,", pattern, known)


def _more(code: str, rest: list[SandBody], what: str, pattern: Pattern, known: str) -> list[Finding]:
    """One finding for all that are not told one by one, at the place of the worst of them."""
    if not rest:
        return []
    worst = max(rest, key=lambda body: body.chance)
    size = f"{tell(worst.width, 'm')} wide and {tell(worst.depth, 'm')}"
    return [
        Finding(
            code=code,
            weight="MIND",
            says=f"{len(rest)} more {what} may tear; the worst is {size} deep in the {worst.half}",
            because=f"{_why(worst)} ({known})",
            do="Mend those named one by one first, then plan again; the map of the sand shows them all",
            where=_where(worst, pattern),
            margin=_margin(worst),
            source="drawmodel",
        )
    ]


def _wide(wide: list[SandBody], pattern: Pattern, known: str) -> list[Finding]:
    """One finding for each set of like bodies."""
    sets: dict[tuple[str, float], list[SandBody]] = {}
    for body in wide:
        sets.setdefault((body.half, round(body.chance, 6)), []).append(body)
    out = []
    for alike in list(sets.values())[:MOST]:
        body, count = alike[0], len(alike)
        size = f"{tell(body.width, 'm')} wide and {tell(body.depth, 'm')} deep in the {body.half}"
        likely = body.chance >= LIKELY
        out.append(
            Finding(
                code="mould.sand_tears",
                weight=_weight(body, pattern),
                says=f"{'A sand body' if count == 1 else f'{count} sand bodies'} {size} {'is likely to' if likely and count == 1 else 'may'} tear"
                " as the pattern is drawn",
                because=f"{_why(body)} ({known}{_doubt(body, pattern)})",
                do=_cure(body),
                where=_where(body, pattern),
                margin=_margin(body),
                source="drawmodel",
            )
        )
    return out + _more("mould.sand_tears", [body for alike in list(sets.values())[MOST:] for body in alike], "sand bodies", pattern, known)


def _weight(body: SandBody, pattern: Pattern) -> Weight:
    """STOP where the model may be believed: for very wide bodies and for the tilt of a large pattern only where it leaves no doubt."""
    return "STOP" if body.chance >= (SURE if _doubt(body, pattern) else LIKELY) else "MIND"


def _doubt(body: SandBody, pattern: Pattern) -> str:
    if body.width > WIDE:
        return "; on bodies this wide the model is stricter than practice"
    if body.governs == "tilt" and float(np.ptp(pattern.cavity.vertices[:, :2], axis=0).max()) > LARGE:
        return "; a large pattern lifted with care leans less than is reckoned here"
    return ""


def _why(body: SandBody) -> str:
    """What pulls, what holds, and the trade's rule as a check beside it."""
    slender = body.depth / max(body.width, 1e-9)
    least = {
        "pull-off": f"the draw pulls {tell(body.use, '1')} times what its weakest section of {tell(body.neck_area, 'm2')} holds",
        "tilt": f"a pattern that leans as it rises bends it to {tell(max(body.tilt, body.use), '1')} times what it stands",
        "hanging": f"its own weight is {tell(body.hang, '1')} times what its weakest section holds",
    }[body.governs]
    rule = "the trade's rule, no deeper than wide, says the same" if slender > 1.0 else "the trade's rule, no deeper than wide, would pass it"
    return f"{least}; its chance is {tell(body.chance, '1', '%')}, and {rule} at a depth of {tell(slender, '1')} times its width"


def _cure(body: SandBody) -> str:
    strength = ""
    if body.strength_enough is not None and body.strength_enough > 0:
        strength = f"; sand of {tell(body.strength_enough, 'Pa')} green tensile strength would stand"
    other = "set a core there, or fill it and machine it" if body.through else "fill it and machine it"  # cores are made for what goes through
    if body.governs == "tilt":
        return f"Lift it straight with a bridge or guide pins, and give it more draft: technique governs; else {other}"
    return f"More draft and a smooth, sealed print help most; else {other}{strength}. A pocket gauge rammed in your sand narrows this"


def _edges(stood: Stood, pattern: Pattern) -> list[Finding]:
    if stood.chances.edge < CLEAN:
        return []
    half = min(stood.sharp, key=lambda name: stood.sharp[name].angle)
    angle, at = stood.sharp[half]
    sharp = angle < 80.0
    return [
        Finding(
            code="mould.edge_breaks",
            weight="MIND",
            says="An edge of the sand may crumble as the pattern is drawn" + (f", the sharpest in the {half}" if sharp else ""),
            because=(f"it is a feather edge of {tell(angle, '1')} degrees" if sharp else "a pattern that leans pushes the rim out")
            + f"; chance {tell(stood.chances.edge, '1', '%')} (the rule is a guess)",
            do="Round the corner of the pattern or move the parting so that the sand's edge is square"
            if sharp
            else "Lift it straight, with a bridge",
            where=_at(at, pattern) if sharp and at is not None else None,
            margin=Margin(value=angle, unit="1", of="angle of the sand's edge in degrees; a square one is 90"),
            source="drawmodel",
        )
    ]


def _hanging(stood: Stood, pattern: Pattern) -> list[Finding]:
    if stood.chances.hanging < CLEAN or not (stood.bodies or stood.ledges):
        return []
    worst = max(stood.bodies, key=lambda body: body.hang, default=None)
    shelf = max(stood.ledges, key=lambda ledge: ledge.use, default=None)
    if shelf is not None and (worst is None or shelf.use > worst.hang):
        says = f"A shelf of sand in the {shelf.half} that hangs out {tell(shelf.reach, 'm')} and is {tell(shelf.thick, 'm')} thick may break off"
        hang, where = shelf.use, _at(shelf.at, pattern)
    else:
        assert worst is not None
        says = f"Sand that hangs or stands free in the {worst.half} may fall when the mould is handled"
        hang, where = worst.hang, _where(worst, pattern)
    return [
        Finding(
            code="mould.sand_hangs",
            weight="STOP" if stood.chances.hanging >= LIKELY else "MIND",
            says=says,
            because=f"its weight, jerked, is {tell(hang, '1')} times what holds it; chance {tell(stood.chances.hanging, '1', '%')}",
            do="Set gaggers or nails into it while ramming, or set a core there",
            where=where,
            margin=Margin(value=1 / max(hang, 1e-9), unit="1", of="strength over its weight"),
            source="drawmodel",
        )
    ]


def _handling(stood: Stood, kit: Kit) -> list[Finding]:
    if stood.chances.handling < CLEAN:
        return []
    bars = "Set the bars nearer together" if kit.bars > 0 else "Set bars across the cope"
    return [
        Finding(
            code="mould.half_sags",
            weight="STOP" if stood.chances.handling >= LIKELY else "MIND",
            says="The cope may sag or drop out when it is lifted",
            because=f"its sand spans the flask by itself; chance {tell(stood.chances.handling, '1', '%')} (bond to the walls is guessed)",
            do=f"{bars}, or lift and turn it on a board; a thicker cope and grooved walls help too",
            margin=Margin(value=1.0 - stood.chances.handling, unit="1", of="chance that it stands"),
            source="drawmodel",
        )
    ]


def _lost(stood: Stood, pattern: Pattern) -> bool:
    """Whether all of the sand together is as likely to fail as one body that stops a plan.

    Not for edges and doubtful bodies, whose chances are guesses, nor for fingers and letters, which are drilled or cut after.
    """
    worst = max(stood.bodies, key=lambda body: body.chance, default=None)
    pockets = worst is not None and worst.width >= DRILLED and (worst.chance >= SURE or not _doubt(worst, pattern))
    return max(stood.chances.hanging, stood.chances.handling, stood.chances.pocket if pockets else 0.0) >= LIKELY


def _whole(stood: Stood, lost: bool, sand: Sand, kit: Kit) -> Finding:
    """The chances side by side, what governs, what strength would be enough; ``lost``: they stop the plan where no one body does."""
    each = stood.chances
    parts = {"pockets": each.pocket, "edges": each.edge, "hanging sand": each.hanging, "handling": each.handling}
    small = f"under {tell(SMALL, '1', '%')}"
    list_of = ", ".join(f"{name} {tell(share, '1', '%') if share >= SMALL else small}" for name, share in parts.items())
    lever = {
        "sand": "stronger or better dusted sand helps most",
        "design": "the pattern helps most: more draft, less depth, a core",
        "technique": "technique helps most: rap well, lift slowly and straight, a board and bars",
    }.get(stood.governs, "")
    enough = (
        f"no strength of sand brings it under {tell(CLEAN, '1', '%')} by itself"
        if stood.enough is None
        else f"a green tensile strength of {tell(stood.enough, 'Pa')} would be enough, against {tell(sand.median['strength'], 'Pa')}"
    )
    named = any(body.chance > CLEAN for body in stood.bodies) or max(each.edge, each.hanging, each.handling) > CLEAN
    begin = "Begin with the worst one named here" if named else "No one place stands out: what helps is what helps all, draft and smooth walls"
    other = " (those in the kit are of another sand)" if kit.sand_test is not None else ""
    test = "" if sand.measured else f". Measure this sand with three bars over a table edge and enter them in the kit{other}"
    return Finding(
        code="mould.draw_chance",
        weight="STOP" if lost else "MIND" if each.any >= DOUBTFUL else "NOTE",
        says=f"The chance that something of the sand fails is {tell(each.any, '1', '%')}: {list_of}",
        because=f"all share one sand and one hand, so they do not add up; {lever}; {enough}",
        do=f"{begin}{test}",
        margin=Margin(value=1.0 - each.any, unit="1", of="chance that all of the sand stands", low=1.0 - stood.high.any, high=1.0 - stood.low.any),
        chance=Chance(low=LEVELS[level(stood.low.any)], likely=LEVELS[level(each.any)], high=LEVELS[level(stood.high.any)]),
        source="drawmodel",
    )


def _where(body: SandBody, pattern: Pattern) -> Where:
    return _at(body.at, pattern)


def _at(place: Array, pattern: Pattern) -> Where:
    """A place of the mould on the part."""
    at: Array = pattern.turn.T @ ((place - pattern.shift) / pattern.scale)
    return Where(point=(float(at[0]), float(at[1]), float(at[2])))


def _margin(body: SandBody) -> Margin:
    worst = max(body.use, body.tilt, body.hang, 1e-9)
    return Margin(value=1 / worst, unit="1", of="what the body of sand stands over what the draw asks of it, medians")
