"""What the card room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Record, word

PAPERS = ("a4", "letter")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CardAsk(Record):
    """Paper, units and title; ``date`` is printed as given, an empty one leaves a box to write in."""

    paper: str = word("a4 | letter", default="a4")
    units: str = word("metric | us", default="metric")
    title: str = word("title on the card; empty = the part's file name", default="")
    date: str = word("day of the pour in the person's own words; empty = a box to write in", default="")
