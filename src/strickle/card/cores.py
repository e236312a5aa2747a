"""Cores on the drawings: cut by the section, seen from above on the plan, cross-hatched and named."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from strickle.card.frame import Frame
from strickle.card.marks import point_in
from strickle.card.slices import LEAST, solid
from strickle.pattern import Pattern


def cut_cores(pattern: Pattern, cut: Callable[[Any], Any]) -> list[tuple[str, Any]]:
    """Name and shape, shapely, of each core that ``cut`` leaves anything of."""
    shapes = [(core.name, cut(solid(core.mesh))) for core in pattern.cores]
    return [(name, shape) for name, shape in shapes if shape.area > LEAST]


def draw_cores(frame: Frame, cores: list[tuple[str, Any]]) -> None:
    """Cross-hatched, in a firm outline, each with its name."""
    for _, shape in cores:
        on = frame.on_sheet(shape)
        frame.hatch(on, gap=1.5, thick=0.13)
        frame.hatch(on, gap=1.5, thick=0.13, back=True)
        frame.draw(on, thick=0.45)


def name_cores(frame: Frame, cores: list[tuple[str, Any]]) -> None:
    """A label for each core."""
    for name, shape in cores:
        frame.label(name, *point_in(shape))
