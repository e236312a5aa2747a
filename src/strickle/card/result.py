"""What the card room gives."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Outcome, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Card(Outcome):
    """The files a person holds. Their bytes lie beside the record, under the same names."""

    names: tuple[str, ...] = word(
        "file names: card.pdf, section.svg, plan.svg, casting.png, casting.svg, pattern-plate.svg, pegs.svg, filling.png, filling.gif, prints.pdf,"
        " plate-1.svg; only those that could be drawn"
    )
    pages: int = word("pages of card.pdf: the day, the mould, what to know; one or two where the plan ended early")
    paper: str = word("a4 | letter")
    units: str = word("metric | us")
    cautions: tuple[str, ...] = word("keys of the cautions printed, in the order of the day")
