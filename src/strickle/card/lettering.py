"""The card's own font: where it lies, how wide a line of it is and how far its ink reaches, which letters it has."""

from __future__ import annotations

import functools
import unicodedata
from dataclasses import dataclass
from importlib.resources import files
from itertools import pairwise
from typing import Any

FAMILY = "Atkinson Hyperlegible Next"
_FILES = {False: "AtkinsonHyperlegibleNext-Regular.ttf", True: "AtkinsonHyperlegibleNext-Bold.ttf"}
_PAIRS, _EXTENSION = 2, 9  # GPOS lookup types


def folder() -> str:
    """The folder the fonts lie in."""
    return str(files("strickle.card").joinpath("fonts"))


@dataclass(frozen=True, slots=True)
class _Face:
    """One weight of the font, in parts of the letter size."""

    advance: dict[str, float]
    ink: dict[str, tuple[float, float]]  # lowest and highest of each letter, from the base line
    kern: dict[tuple[str, str], float]  # only the pairs that are set wider


@functools.cache
def _face(bold: bool) -> _Face:
    from fontTools.ttLib import TTFont

    font = TTFont(f"{folder()}/{_FILES[bold]}", lazy=True)
    units, names = float(font["head"].unitsPerEm), font.getBestCmap()
    metrics, shapes = font["hmtx"], font["glyf"]
    advance = {chr(code): metrics[name][0] / units for code, name in names.items()}
    ink = {chr(code): (getattr(shapes[name], "yMin", 0) / units, getattr(shapes[name], "yMax", 0) / units) for code, name in names.items()}
    own = {name: chr(code) for code, name in names.items() if 32 <= code < 0x250}
    kern = {pair: value / units for pair, value in _wider(font["GPOS"].table, own).items()}
    font.close()
    return _Face(advance, ink, kern)


def _wider(table: Any, own: dict[str, str]) -> dict[tuple[str, str], float]:
    """Letter pairs the font sets wider than their advances, in font units."""
    found: dict[tuple[str, str], float] = {}
    for lookup in table.LookupList.Lookup:
        for sub in lookup.SubTable:
            sub = sub.ExtSubTable if lookup.LookupType == _EXTENSION else sub
            if sub.LookupType != _PAIRS:
                continue
            for first in (g for g in sub.Coverage.glyphs if g in own):
                for second, value in _seconds(sub, first, own):
                    if value > 0:
                        found.setdefault((own[first], own[second]), value)
    return found


def _seconds(sub: Any, first: str, own: dict[str, str]) -> list[tuple[str, float]]:
    """What follows one glyph in a table of pairs, and how far it is moved."""
    if sub.Format == 1:
        records = sub.PairSet[sub.Coverage.glyphs.index(first)].PairValueRecord
        return [(r.SecondGlyph, getattr(r.Value1, "XAdvance", 0) or 0) for r in records if r.SecondGlyph in own]
    row = sub.Class1Record[sub.ClassDef1.classDefs.get(first, 0)].Class2Record
    return [(name, getattr(row[sub.ClassDef2.classDefs.get(name, 0)].Value1, "XAdvance", 0) or 0) for name in own]


def wide(text: str, size: float, bold: bool = False) -> float:
    """Width of one line of ``text`` at letter size ``size``, in the same unit as ``size``.

    Pairs the font sets wider are counted, those it sets narrower are not, so the line is never wider than this.
    """
    face = _face(bold)
    usual = face.advance["n"]
    return size * (sum(face.advance.get(letter, usual) for letter in text) + sum(face.kern.get(pair, 0.0) for pair in pairwise(text)))


def reach(text: str, size: float, bold: bool = False) -> tuple[float, float]:
    """How far the ink of a line goes below and above its base line, both positive, in the unit of ``size``."""
    ink = _face(bold).ink
    known = [ink[letter] for letter in text if letter in ink] or [(0.0, 0.0)]
    return -size * min(low for low, _ in known), size * max(high for _, high in known)


def plain(text: str) -> str:
    r"""Text with letters of this font only: without control characters, accents the font lacks taken off, "?" for what it has no letter for.

    >>> plain("wheel\n<#>\u202e"), plain("\u017etvrt \u8f6e")
    ('wheel <#>', 'žtvrt ?')
    """
    ink, out = _face(False).ink, []
    for letter in unicodedata.normalize("NFC", text):
        kind = unicodedata.category(letter)
        if letter in ink:
            out.append(letter)
        elif kind in ("Cc", "Zs", "Zl", "Zp"):
            out.append(" ")
        elif kind[0] not in "CM":
            bare = "".join(c for c in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(c))
            out.append(bare if bare and all(c in ink for c in bare) else "?")
    return " ".join("".join(out).split())
