"""Whether castings of a metal can be welded together at home, and what must be minded. No strength is promised of any weld."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from strickle.base import Finding, Record, word
from strickle.metal.result import Metal

HOW = ("well", "with care", "poorly", "no")
PRACTICE = "common practice"
_BY_KEY: Mapping[str, tuple[str, str]] = {
    "a356": ("well", "silicon makes it run and keeps it from cracking hot"),
    "alsi12": ("well", "silicon makes it run and keeps it from cracking hot"),
    "al_pure": ("well", "it does not crack hot, though it takes much heat"),
    "al_1100": ("well", "it does not crack hot, though it takes much heat"),
    "3004": ("with care", "it is a metal for sheet, and cast from scrap it varies"),
    "a319": ("with care", "its copper lets it crack hot, less so with a filler rich in silicon"),
    "6061": ("with care", "it cracks hot unless the filler is rich in silicon"),
    "6063": ("with care", "it cracks hot unless the filler is rich in silicon"),
    "a380": ("poorly", "it is a die-casting alloy: copper and zinc in it crack hot, and gas in its scrap blows holes into the weld"),
    "silicon_bronze": ("well", "it is welded and brazed with rod of its own kind"),
    "c90300": ("poorly", "tin bronze cracks while hot"),
    "c83600": ("no", "its lead opens cracks in every bead and goes up as fume"),
    "yellow_brass": ("poorly", "its zinc boils off under the arc and leaves holes; it is better brazed"),
    "copper": ("poorly", "it draws the heat away faster than a small torch or arc brings it"),
}
_BY_FAMILY: Mapping[str, tuple[str, str]] = {
    "aluminium": ("with care", "how an alloy of unknown make behaves is seen on a trial bead only"),
    "copper": ("poorly", "bronzes and brasses crack hot or lose zinc; brazing is kinder to them"),
    "zinc": ("no", "zinc boils near the heat that melts it together, and its fume makes ill; it is bolted or soldered"),
    "tin": ("no", "it melts away under any weld; it is soldered"),
    "iron": ("no", "cast iron cracks beside the weld unless the whole is heated through and cooled over hours, a craft of its own"),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Welds(Record):
    """How a metal takes welding."""

    how: str = word("well | with care | poorly | no")
    why: str = word("the reason in plain words")


def welds(metal: Metal) -> Welds:
    """How castings of this metal take welding: common practice, none of it measured here."""
    how, why = _BY_KEY.get(metal.metal) or _BY_FAMILY.get(metal.family) or ("poorly", "nothing is known of it here")
    return Welds(how=how, why=why)


def weld_findings(metal: Metal, use: str, holds: Mapping[str, float], kind: str) -> tuple[Finding, ...]:
    """What speaks for and against joining castings: the use first, then the metal. ``holds``: shares of zinc and lead; ``kind`` weld or bolt.

    A STOP among them means that the part is not to be cast in pieces.
    """
    found = [_use(use)] if use != "general" else []
    if kind != "weld":
        return tuple(found)
    known = welds(metal)
    if known.how == "no":
        return (*found, _no(metal, known))
    found += [_poor(metal, known)] if known.how == "poorly" else []
    found += [_fume(metal)] if holds.get("zinc", 0.0) or holds.get("lead", 0.0) else []
    return (*found, _clean(metal, known))


def _use(use: str) -> Finding:
    return Finding(
        code="metal.weld_use",
        weight="STOP",
        says=f"This part is said to be for {use}; it must not be put together from castings",
        because="A splice made at home adds to hidden pores what no eye sees of a weld or a bolt's seat, and the part's failure hurts people",
        do="Buy the part or have it made and tested by a works that answers for it",
        source=PRACTICE,
    )


def _no(metal: Metal, known: Welds) -> Finding:
    return Finding(
        code="metal.weld_no",
        weight="STOP",
        says=f"Castings of {metal.name} are not welded together at home",
        because=known.why[:1].upper() + known.why[1:],
        do="Take another metal, or plan for bolts with --join bolt and draw their flanges or straps yourself",
        source=PRACTICE,
    )


def _poor(metal: Metal, known: Welds) -> Finding:
    return Finding(
        code="metal.weld_poor",
        weight="MIND",
        says=f"{metal.name} takes welding poorly: {known.why}",
        because="A bead that cracks or fills with holes cannot be mended by a second one over it",
        do="Cast two trial bars, weld them and break them before you go on; if they part at the splice, take another metal or bolts",
        source=PRACTICE,
    )


def _fume(metal: Metal) -> Finding:
    return Finding(
        code="metal.weld_fume",
        weight="MIND",
        says=f"Welding {metal.name} sends zinc or lead up as fume",
        because="Breathed zinc fume brings on fever and worse, lead builds up in the body, and a dust mask does not hold them back",
        do="Weld outdoors or under a hood that draws, head out of the smoke, with a respirator rated for metal fume; follow local rules on it",
        source=PRACTICE,
    )


def _clean(metal: Metal, known: Welds) -> Finding:
    return Finding(
        code="metal.weld_clean",
        weight="NOTE",
        says=f"{metal.name} takes welding {known.how}: {known.why}",
        because="Sand skin, oil and what the sand's binder left in the surface turn to gas under the arc and leave the bead full of holes",
        do=(
            "File to bright metal a finger's breadth back from the splice, on both sides, and wipe off oil with a cleaner that holds no chlorine: the"
            " arc turns chlorine cleaners into poison gas. Let it dry off clear of any flame, shade eyes and skin from the arc, and follow the"
            " welder's manual and local rules"
        ),
        source=PRACTICE,
    )
