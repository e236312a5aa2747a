"""From the card's data to PDF: the typst template is set with the largest letters and drawings that its pages hold."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any

from strickle.base import Trouble
from strickle.card.lettering import folder

PAPERS: Mapping[str, str] = {"a4": "a4", "letter": "us-letter"}  # the names typst knows them by
DAY_SIZES = (10.6, 10.4, 10.2, 10.0, 9.8, 9.6, 9.4, 9.2, 9.0, 8.9, 8.8, 8.7, 8.6, 8.5)  # points; under 8.5 nothing is read at arm's length
LEADINGS = (0.42, 0.38, 0.35)  # of the letter size, between lines of the day
LOG_SIZE = 9.4  # with letters under this the log goes to the last page
GAPS = (3.2, 2.8, 2.4, 2.0, 1.7, 1.4, 1.2)  # mm between steps
MOULD = (9.4, 9.0, 8.7, 8.5)
KNOW_SIZES = (9.6, 9.2, 8.8, 8.5)
PICTURES = (88.0, 80.0, 72.0, 64.0, 56.0, 48.0, 42.0)  # mm
LEAST_PICTURE = 36.0
SOURCES = (7.0, 6.5, 6.0)  # points; sources are for looking up at the desk, not at the bench
Ends = Mapping[str, tuple[int, float]]


def _inputs(data: Mapping[str, Any], pictures: Mapping[str, bytes], upto: str = "all", skip: Sequence[str] = ()) -> dict[str, bytes]:
    template = files("strickle.card").joinpath("card.typ").read_bytes()
    return {"main.typ": template, "data.json": json.dumps({**data, "upto": upto, "skip": list(skip)}, ensure_ascii=False).encode(), **pictures}


def _empty(svg: bytes) -> bytes:
    """A drawing of the same size with nothing on it: enough to see where the page ends."""
    return svg[: svg.index(b">") + 1] + b"</svg>"


def ends(data: Mapping[str, Any], pictures: Mapping[str, bytes], upto: str = "all", skip: Sequence[str] = ()) -> Ends:
    """Page on which each section of the card ends and how far down it [mm]; ``upto`` a section (day, mould, know), those after it are not set.

    Nor are sections to ``skip``; the first page is then the one after them.
    """
    import typst

    blank = {name: _empty(svg) for name, svg in pictures.items()}
    query: Any = typst.query  # its type hints leave out the dictionary of files that it takes
    raw = query(_inputs(data, blank, upto, skip), "<end>", field="value", font_paths=[folder()], ignore_system_fonts=True)
    return {found["name"]: (int(found["page"]), float(found["y"])) for found in json.loads(raw)}


class Layout:
    """The card's data being fitted to its pages, one section after the other; ``pictures`` are the drawings as they stand."""

    def __init__(self, data: dict[str, Any], pictures: Mapping[str, bytes]) -> None:
        self.data, self.pictures = data, pictures
        self.settled: dict[str, int] = {}  # page on which a section ends that is fitted, of a card whose sections begin on pages of their own
        self.data |= {
            "day_size": DAY_SIZES[0], "day_gap": GAPS[-1], "day_leading": LEADINGS[0], "log_at": "first",
            "table_size": MOULD[0], "pieces_narrow": False, "reading": True,
            "pieces_second": len(data["pieces"]), "know_size": KNOW_SIZES[0], "picture_high": PICTURES[-1], "picture_at": "first",
            "sources_size": SOURCES[0], "know_across": 2, "findings_first": len(data["findings"]), "notes_left": 0,
        }  # fmt: skip

    def at(self, name: str) -> int:
        """Page on which a section ends, 0 where the card has none of that name."""
        if name in self.settled:
            return self.settled[name]
        found = ends(self.data, self.pictures, name if name in ("day", "mould") else "know", tuple(self.settled))
        return found[name][0] + max(self.settled.values(), default=0) if name in found else 0

    def settle(self, name: str) -> None:
        """From now on a section is left as it is fitted; only where the next one begins on a page of its own."""
        if self.data["steps"]:
            self.settled[name] = self.at(name)

    def _take(self, ways: Sequence[dict[str, Any]], name: str, page: int) -> bool:
        """Take the first way, of ways that take less and less room, that lets a section end on a page; the last stays where none does."""
        low, high = 0, len(ways) - 1
        self.data.update(ways[high])
        if self.at(name) != page:
            return False
        while low < high:
            middle = (low + high) // 2
            self.data.update(ways[middle])
            low, high = (low, middle) if self.at(name) == page else (middle + 1, high)
        self.data.update(ways[high])
        return True

    def day(self) -> None:
        """Page one: the largest letters for the day, the log with it where that leaves them large; then steps spread over what is left.

        Where the smallest letters are too large for one page the day takes two. Without a day: the findings, and the picture where it goes with them.
        """
        if not self.data["steps"]:
            pictures = [{"know_size": KNOW_SIZES[0], "picture_high": high, "picture_at": "first"} for high in PICTURES[2:]]
            if not self._take(pictures, "day", 1) and not self._take([{"know_size": s, "picture_at": "last"} for s in KNOW_SIZES], "day", 1):
                self.data["know_size"] = KNOW_SIZES[1]
                self._take([{"findings_first": n} for n in range(len(self.data["findings"]), 0, -1)], "day", 1)
            return
        with_log = [{"day_size": size, "log_at": "first"} for size in DAY_SIZES if size >= LOG_SIZE]
        without = [{"day_size": size, "day_leading": LEADINGS[0], "log_at": "last"} for size in DAY_SIZES]
        without += [{"day_size": DAY_SIZES[-1], "day_leading": leading, "log_at": "last"} for leading in LEADINGS[1:]]
        if self._take(with_log, "day", 1) or self._take(without, "day", 1):
            self._take([{"day_gap": gap} for gap in GAPS], "day", 1)
            return
        self.data |= {"log_at": "first", "day_gap": GAPS[1], "day_leading": LEADINGS[0]}
        self._take([{"day_size": size} for size in DAY_SIZES], "day", 2)

    def mould(self, *, some: bool = True) -> bool:
        """The page of the mould; whether it holds all pieces. Where it does not, as many as it can if ``some`` are wanted."""
        if not self.data["drawings"]:
            return True
        pieces, page = len(self.data["pieces"]), self.at("day") + 1
        for reading in (True, False):
            for narrow in (False, True):
                sizes = MOULD[narrow:]  # two tables side by side hold no names in the largest letters
                ways = [{"table_size": size, "pieces_narrow": narrow, "pieces_second": pieces, "reading": reading} for size in sizes]
                if self._take(ways, "mould", page):
                    return True
        if some:
            self._take([{"pieces_second": keep} for keep in (*range(pieces - 2, 3, -2), 0)], "mould", page)
        return False

    def rounds_off(self) -> bool:
        """Whether nothing but a full page follows the mould: always so with a day; else what is left to say must go on the mould's page."""
        if self.data["steps"] or not self.data["drawings"]:
            return True
        self.data["sources_size"] = SOURCES[-1]
        return self.at("know") == self.at("mould")

    def know(self) -> None:
        """What follows the mould, on as few pages as it takes; notes alone are worth no further one, for they stand in results.json too."""
        page = self.at("mould") + 1 if self.data["drawings"] else self.at("day")
        small = [{"sources_size": size} for size in SOURCES]
        if not self.data["steps"] and self.data["drawings"] and self._take(small, "know", page - 1):
            return
        sizes = KNOW_SIZES if self.data["steps"] else (self.data["know_size"],)
        tall = [{"picture_high": high} for high in PICTURES] if self.data["steps"] or self.data["picture_at"] == "last" else [{}]
        for size in sizes:
            if self._take([{"know_size": size, "sources_size": SOURCES[0], **high} for high in tall], "know", page):
                return
        tight = [{**way, "know_across": 2, **tall[-1]} for way in small]
        tight += [{"sources_size": SOURCES[-1], "know_across": 3, "picture_high": high} for high in (PICTURES[-1], LEAST_PICTURE)]
        if self._take(tight, "know", page) or self._fewer(page):
            return
        self.data |= {"sources_size": SOURCES[0], "know_across": 2}
        if self.data["steps"]:
            self.data |= {"know_size": KNOW_SIZES[1]}
            self._take([{"findings_first": n} for n in range(len(self.data["findings"]), 0, -1)], "told", page)
        self._take(tall, "know", self.at("know"))

    def _fewer(self, page: int) -> bool:
        """Whether leaving out notes, the last first, lets the card end on a page."""
        kept, first = self.data["findings"], self.data["findings_first"]
        for left in range(len(kept) - 1, -1, -1):
            if kept[left]["weight"] != "NOTE":
                break
            self.data |= {"findings": kept[:left], "findings_first": min(first, left), "notes_left": len(kept) - left}
            if self.at("know") == page:
                return True
        self.data |= {"findings": kept, "findings_first": first, "notes_left": 0}
        return False


def compose(data: Mapping[str, Any], pictures: Mapping[str, bytes]) -> tuple[bytes, int]:
    """The PDF of fitted data and its number of pages. Raises Trouble when typst refuses the template."""
    import typst

    try:
        make: Any = typst.compile
        pdf = make(_inputs(data, pictures), font_paths=[folder()], ignore_system_fonts=True, format="pdf")
        return bytes(pdf), max(page for page, _ in ends(data, pictures).values())
    except typst.TypstError as trouble:
        raise Trouble("the card could not be set", f"Report this as our fault: {str(trouble).splitlines()[0][:200]}") from trouble
