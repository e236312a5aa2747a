"""Cooling on to the knock-out and to the touch: slow, smooth affairs that need no fine grid."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from strickle.base import Array, Record, Value, Watch, si, word
from strickle.cavity import AIR, METAL_TAGS, PART, Cavity

FEW = 600_000
"""Cells up to which the cooling is followed on the freezing's own grid."""
APART = 0.03
"""Added to both ends of a knock-out time found on merged cells; seen on a flat plate with three risers: 0.2 % against 2.9 M cells."""


OFF = 0.02  # of the metal's volume: merged cells that lose or gain more, as of a thin plate, are not used


TOUCH_FEW = 60_000
"""Cells to which the mould is merged for the hours till it may be touched."""
TOUCH_OFF = 1.2
"""Of the metal's volume, there: its density is changed to make up for it, so that the heat it brings is right."""
TOUCH_LEAST = (0.5, 0.3, 0.15)
"""Shares of metal from which such a cell is metal, tried in turn: a thin plate fills no wide cell by half."""
TOUCH_APART = 0.05
"""Added to both ends of the time to the touch for its grid, and as much again as the metal's volume was off there; seen: a bracket 0.3 %
at 8 mm and 3.4 % at 16 mm cells against 4 mm; a plate of 4 mm with its risers 3 % at 6 mm against 3 mm."""


def merged(tags: Array, fraction: Array, few: int = FEW, off: float = OFF, least: float = 0.5) -> tuple[Array, int]:
    """Tags (nx, ny, nz) with cells merged two by two by two until few are left, and how many cells of the old edge make one new edge.

    ``few`` is how many are few. Merging stops before the metal's volume, on which the time hangs, would be off by a factor of more than
    one and ``off``.

    A merged cell is metal where metal fills ``least`` of it or more; ``fraction`` is the metal fraction of each cell.  Metal loses its
    names: all of it is PART.  A last odd layer is repeated.
    """
    metal = np.where(np.isin(tags, METAL_TAGS), np.maximum(fraction, 0.5), np.minimum(fraction, 0.5))
    medium = tags
    edge, true = 1, float(np.isin(tags, METAL_TAGS).sum())
    while metal.size > few and min(metal.shape) > 8:
        odd = [(0, n % 2) for n in metal.shape]
        larger = np.pad(metal, odd, mode="edge")
        i, j, k = (n // 2 for n in larger.shape)
        larger = larger.reshape(i, 2, j, 2, k, 2).mean(axis=(1, 3, 5))
        ratio = float((larger >= least).sum()) * (2 * edge) ** 3 / max(true, 1.0)
        if not 1.0 / (1.0 + off) <= ratio <= 1.0 + off:
            break
        metal, medium = larger, np.pad(medium, odd, mode="edge")[::2, ::2, ::2]
        edge *= 2
    if edge == 1:
        return tags, 1
    # a merged cell whose first corner was metal but that is sand by volume takes the mould's own tag
    others = np.setdiff1d(np.unique(medium), METAL_TAGS)
    base = others[0] if len(others) else medium.flat[0]
    out = np.where(metal >= least, PART, np.where(np.isin(medium, METAL_TAGS), base, medium))
    return np.ascontiguousarray(out.astype(np.uint8)), edge


def within_reach(tags: Array, cell: float, reach: float) -> Array:
    """The metal and what lies within ``reach`` [m] of it, air left out (nx, ny, nz)."""
    from scipy import ndimage

    metal = np.isin(tags, METAL_TAGS)
    # from cell middle to cell middle; the metal's wall lies half a cell nearer
    away = ndimage.distance_transform_edt(~metal) - 0.5
    return np.asarray((metal | (away * cell <= reach)) & (tags != AIR))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cooled(Record):
    """Freezing and cooling followed on merged cells."""

    time: float = si("s", "all below the temperature asked; NaN if it never is, or was not followed")
    solidus: Array = si("s", "time to solid of the coarse cells, NaN outside metal", shape="(nx, ny, nz)")
    edge: int = word("edge of a coarse cell in cells of the cavity")
    apart: float = si("1", "share to be added to both ends of the time's band for the grid", default=0.0)
    below: float = si("s", "all metal below the knock-out temperature on the way there; NaN if it was not followed", default=math.nan)

    @classmethod
    def none(cls) -> Cooled:
        """Where it was not followed."""
        return cls(time=float("nan"), solidus=np.full((1, 1, 1), np.nan), edge=1 << 30)


class Solver(Protocol):
    """The mould's set-up: solves any grid of it."""

    @property
    def solve(self) -> Callable[..., Any]:
        """The kernel's answer."""
        ...


class Constants(Protocol):
    """The stores' constants by name."""

    def __call__(self, name: str) -> Value:
        """One of them."""
        ...


LONGEST = 48 * 3600.0
"""After that a mould that is still warm is told as not computed [s]."""
ROOM = 2.0
"""Kelvin that the air must be under the touch for it ever to come."""


def to_the_knock_out(mould: Solver, tags: Array, edge: int, cell: float, knock_out: float, watch: Watch) -> Cooled:
    """Follow the mould's merged cells ``tags``, ``edge`` times as wide as ``cell`` [m], till all metal is below ``knock_out`` [K]."""
    from strickle.kernels.freeze_types import PRESETS

    out = mould.solve(tags, edge * cell, knock_out, PRESETS["rough"], watch)
    return Cooled(time=out.below_time, solidus=out.time_to_solidus, edge=edge)


def to_the_touch(mould: Solver, cavity: Cavity, knock_out: float, ambient: float, constants: Constants, watch: Watch) -> Cooled:
    """Follow the unopened mould on merged cells till the metal, and the sand in reach of it, is below what a hand bears.

    Not followed where the air itself, ``ambient`` [K], is about as warm.
    """
    from strickle.kernels.freeze_types import PRESETS, Near

    limit = constants("touch.temperature").value
    if ambient + ROOM > limit:
        return Cooled.none()
    tries = [merged(cavity.grid.tags, cavity.fraction, TOUCH_FEW, TOUCH_OFF, least) for least in TOUCH_LEAST]
    few = [one for one in tries if one[0].size <= TOUCH_FEW] or tries[:1]
    tags, edge, heavier = min(((*one, _heavier(cavity, *one)) for one in few), key=lambda one: abs(math.log(one[2])))
    cell = edge * cavity.cell
    near = Near(within_reach(tags, cell, constants("touch.reach").value), limit)
    out = mould.solve(tags, cell, knock_out, PRESETS["rough"], watch, near=near, heavier=heavier, longest=LONGEST)
    apart = TOUCH_APART + abs(heavier - 1.0)
    return Cooled(time=out.near_time, solidus=out.time_to_solidus, edge=edge, apart=apart, below=out.below_time)


def _heavier(cavity: Cavity, tags: Array, edge: int) -> float:
    """True metal over what the merged cells hold."""
    return cavity.mesh_volume / (float(np.isin(tags, METAL_TAGS).sum()) * (edge * cavity.cell) ** 3)
