"""What the voids say to the person: cavities in the part, and pipes that run out of their risers.

Weights. A riser is planned where an unfed place would lose more than ``rules.SINK`` a face, so that a closed void is let be under the
low end of that, told (MIND) between, and only over its high end stops the job: there the plan fails the very measure by which it
leaves other places without a riser. A pipe in a neck leaves the riser's stump hollow and is told; in the part it is judged by the
same measure, as the metal missing in its deepest column.
"""

from __future__ import annotations

from strickle.base import Array, Finding, Margin, Value, Where, tell
from strickle.metal import Metal
from strickle.pattern import Pattern
from strickle.sound import rules
from strickle.sound.feeding import Feeding
from strickle.sound.judge import to_part
from strickle.sound.voids import Closed, Reach

THIN_SKIN = Value(
    value=4e-3, low=2e-3, high=6e-3, unit="m", source="house", mark="guess",
    note="skin over a closed void under which the air's weight may draw it in while hot, so that the void shows as a dip",
)  # fmt: skip
BALANCE = 1e-6  # relative, of voids against the loss: the project's law


def void_findings(feeding: Feeding, closed: tuple[Closed, ...], reach: tuple[Reach, ...], metal: Metal, pattern: Pattern) -> tuple[Finding, ...]:
    """Closed voids and pipes; and whether the voids add up to what the metal loses."""
    out = [_cavity(void, feeding, metal, pattern) for void in closed]
    out += [_pipe(pipe, pattern) for pipe in reach if pipe.into == "neck" or pipe.depth > rules.SINK.low]
    if not feeding.void_balance <= BALANCE:
        out.append(
            Finding(
                code="sound.void_balance",
                weight="MIND",
                says=f"The voids differ from what the metal loses by {tell(feeding.void_balance, '1')} of it",
                because="the sum of all voids should be the metal's loss of volume to one part in a million",
                do="Take the voids with doubt and report it",
            )
        )
    return tuple(out)


def _place(point: Array, pattern: Pattern, body: str = "") -> Where:
    at = to_part(pattern, point)
    return Where(point=(float(at[0]), float(at[1]), float(at[2])), body=body)


def _cavity(void: Closed, feeding: Feeding, metal: Metal, pattern: Pattern) -> Finding:
    pool = void.pool
    heavy = void.face > rules.SINK.high
    dip = (
        "its skin is thin enough to be drawn in while hot, so it may show as a dip instead"
        if void.under <= THIN_SKIN.value
        else "it is likely to stay inside"
    )
    return Finding(
        code="sound.cavity",
        weight="STOP" if heavy else "MIND",
        says=f"{tell(pool.part_void, 'm3')} may stay hollow in the part, {tell(void.size, 'm')} across were it one hole, its middle"
        f" {tell(void.under, 'm')} under the skin; {dip}",
        because=f"the liquid there, {tell(pool.held, 'm3')}, is cut off from the open air at {tell(pool.cut_off, 's')} and closes at"
        f" {tell(pool.ended, 's')}; what {metal.name} loses in it comes from nowhere else, {tell(void.face, 'm')} a face. Found by following"
        f" the pools to {tell(feeding.critical_solid, '1', '%')} solid",
        do="A riser on it, a neck that stays open longer, or a chill against it may help; if the place is machined away or hidden, let it be",
        where=_place(pool.at, pattern),
        margin=Margin(value=rules.SINK.high / void.face, unit="1", of="loss per face let pass over the loss here"),
        source="computed from the freezing; how much a mush passes on, from memory",
    )


def _pipe(pipe: Reach, pattern: Pattern) -> Finding:
    heavy = pipe.into == "part" and pipe.depth > rules.SINK.high
    return Finding(
        code="sound.pipe_reaches",
        weight="STOP" if heavy else "MIND",
        says=f"The pipe of {pipe.body} runs into the {pipe.into}: {tell(pipe.volume, 'm3')} is missing there,"
        f" {tell(pipe.depth, 'm')} in the deepest column",
        because="the metal draws its loss from the highest place still open to the air, and that has sunk below the riser's foot",
        do="A larger or taller riser may help" + ("" if pipe.into == "part" else "; look at the stump when the riser is sawn off"),
        where=_place(pipe.at, pattern, pipe.body),
        margin=Margin(value=rules.SINK.high / pipe.depth, unit="1", of="loss let pass over the metal missing in the deepest column"),
        source="computed from the freezing; how much a mush passes on, from memory",
    )
