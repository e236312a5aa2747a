"""The card's own font: where it lies and how wide a line of it is."""

from __future__ import annotations

import functools
from importlib.resources import files

FAMILY = "Atkinson Hyperlegible Next"
_FILES = {False: "AtkinsonHyperlegibleNext-Regular.ttf", True: "AtkinsonHyperlegibleNext-Bold.ttf"}


def folder() -> str:
    """The folder the fonts lie in."""
    return str(files("strickle.card").joinpath("fonts"))


@functools.cache
def _advances(bold: bool) -> tuple[dict[str, float], float]:
    from fontTools.ttLib import TTFont

    font = TTFont(f"{folder()}/{_FILES[bold]}", lazy=True)
    units = float(font["head"].unitsPerEm)
    metrics, names = font["hmtx"], font.getBestCmap()
    found = {chr(code): metrics[name][0] / units for code, name in names.items()}
    font.close()
    return found, found["n"]


def wide(text: str, size: float, bold: bool = False) -> float:
    """Width of one line of ``text`` at letter size ``size``, in the same unit as ``size``; kerning is left out, so it is never less by much."""
    table, usual = _advances(bold)
    return size * sum(table.get(letter, usual) for letter in text)
