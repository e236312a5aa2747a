"""What the metal room has to say."""

from __future__ import annotations

from collections.abc import Mapping

from strickle.base import Array, Finding, tell
from strickle.metal.ask import USES
from strickle.metal.curve import scheil_rest
from strickle.stores import MetalRecord

FUMES = ("zinc", "lead")
_REFUSED: Mapping[str, str] = {
    "lifting": "one pore or oxide film no eye can see can let the load go, and no test a home foundry can make finds every one of them",
    "pressure": "a casting that holds today can burst along a hidden oxide film tomorrow; vessels under pressure are made and proved under law",
    "brake": "brakes are loaded hot, hard and a million times over; hidden pores start cracks that a home foundry has no way to find",
    "steering": "it is loaded a million times over and the vehicle follows it when it breaks; hidden pores start the cracks",
    "firearm": "it is struck by a pressure that finds every hidden flaw, next to a face and hands, and it is bound by law",
    "rotating": "the rim pulls outward on every hidden pore, and what flies off strikes whoever stands in its plane",
    "food": "scrap and tools bring lead, cadmium and other poisons that no eye sees, and pores hold what cannot be washed out",
}


def refused_use(use: str) -> Finding:
    """The STOP for a use that casting at home cannot be vouched for. It holds no number: none could stand for an approval."""
    return Finding(
        code=f"metal.use_{use}",
        weight="STOP",
        says=f"This part is said to be for {use}: {USES[use]}. Casting it at home cannot be vouched for.",
        because=f"A foundry of one cannot prove what is inside its castings: {_REFUSED[use]}.",
        do="Buy the part or have it made and tested by a works that answers for it. Cast it here only as a pattern, a trial piece or for show.",
        source="common practice",
    )


def rough_curve(record: MetalRecord, temperature: Array, melting: float) -> Finding:
    """No published freezing curve: how it was derived and what that leaves open."""
    top, foot = float(temperature[0]), float(temperature[-1])
    if record.values["liquidus"].value <= record.values["solidus"].value:
        says = f"{record.name} is taken as a pure metal that freezes at {tell(top, 'K')}; its arrest is spread over {tell(top - foot, 'K', 'step')}."
        because = "The solve needs a slope. A little of another metal in the pot widens the range many times over and moves it down."
    else:
        rest = scheil_rest(melting, top, foot)
        says = f"The freezing curve of {record.name} is derived, not published: the lever rule between {tell(top, 'K')} and {tell(foot, 'K')}."
        because = (
            f"Only its first and last freezing temperatures are known. If nothing evens out in the solid, {tell(rest, '1', '%')} of the metal would"
            " still be liquid at the lower one, so freezing can end later and lower than computed."
        )
    return Finding(
        code="metal.rough_curve",
        weight="MIND",
        says=says,
        because=because,
        do="Read the freezing times as bands, give risers more than the least, or pour a metal with a published curve.",
        source=record.values["liquidus"].source,
    )


def fume(record: MetalRecord, metal: str) -> Finding:
    """Zinc or lead leaves the pot as fume."""
    share, hot = record.values[metal].value, record.values["pour"].high
    harm = "brings on fever and worse" if metal == "zinc" else "builds up in the body and does not leave it"
    return Finding(
        code=f"metal.fume_{metal}",
        weight="MIND",
        says=f"{record.name} holds about {tell(share, '1', '%')} {metal}; part of it leaves the pot as fume, most towards {tell(hot, 'K')}.",
        because=f"Breathed {metal} fume {harm}; a dust mask does not hold it all back.",
        do="Melt and pour outdoors with the wind from behind you, no hotter than needed, and wear a respirator rated for metal fume.",
        source="common practice",
    )
