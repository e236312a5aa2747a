"""Feeding: what each pool of liquid draws its volume loss from, and the voids that are left. The public door and its records.

The metal's mass stays as poured. From the pour to the solidus it grows denser; a cell takes what keeps it full from the pool of liquid
it stands in. The pool draws on its highest metal that is open to the air and still flows; where all of that has locked, on the
highest that is open; cut off from the air, on where it closes last. Past a stated fraction solid a cell neither gives nor passes on
metal, and takes what it still lacks at that moment. Left out: the pressure it takes to draw metal a long way through a mush (the
Niyama value stands for that), skins drawn in by the air's weight, gas, and that metal which is warmed by hotter metal swells: a cell's
density never falls.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from strickle.base import Array, BadInput, Grid, Record, si, word
from strickle.sound.given import as_fed, of_one_grid

if TYPE_CHECKING:
    from strickle.kernels.feed import Fed
    from strickle.sound.materials import Freezing

LEVELS = 150
SAME_POUR = 0.5  # K
MARKS = (0.2, 0.4, 0.6, 0.8)  # fractions solid between which the density is taken as straight in time
SEEN = 0.5  # share of a cell that must be void for the pipe to reach it


class Shrinking(Protocol):
    """What feeding reads of a metal: the metal room's result has it, and MetalData where its densities are given."""

    @property
    def curve_temperature(self) -> Array:
        """K, falling; the first is the liquidus."""
        ...

    @property
    def curve_solid(self) -> Array:
        """Fraction solid along it, rising 0 to 1."""
        ...

    @property
    def density_liquidus(self) -> float:
        """kg/m3."""
        ...

    @property
    def density_slope(self) -> float:
        """kg/(m3 K) of the liquid."""
        ...

    @property
    def shrinkage(self) -> float:
        """Volume lost on solidification."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PoolEnded(Record):
    """A pool of liquid, from the pour or from where it parted from another, to its last cell."""

    at: Array = si("m", "middle of the cell that closes last in it, in the grid's frame", shape="(3,)")
    parted: float = si("s", "when it parted from the pool it came from; 0 for one of the pour")
    cut_off: float = si("s", "when its last surface open to the air was gone, NaN if never")
    held: float = si("m3", "metal it held when it was cut off, or parted from a pool cut off before; NaN if never")
    ended: float = si("s", "when its last cell closed")
    open_void: float = si("m3", "emptied in it through surfaces open to the air")
    closed_void: float = si("m3", "emptied in it while cut off")
    part_void: float = si("m3", "of what was emptied while cut off, in cells of the part that were in this pool last")
    is_open: bool = word("whether it was open to the air to its end")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BodyFed(Record):
    """What one named body of metal gave and kept."""

    name: str = word("as in the names given, or as in rigging.regions; the part is called part")
    volume: float = si("m3", "as poured")
    void: float = si("m3", "emptied in it")
    own_loss: float = si("m3", "what its own metal loses from how it began till it is solid")
    given: float = si("m3", "void less own loss: metal given to others; less than 0 where it took metal")
    efficiency: float = si("1", "metal given over its volume: found, not assumed")
    fed_until: float = si("s", "last moment metal was drawn from it in one pool with the part, NaN if never")
    joined_until: float = si("s", "last moment it had metal in one pool with the part, NaN if never")
    pipe_depth: float = si("m", "from its top down to the deepest place emptied through an open surface")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Feeding(Record):
    """Which pools stood when, and the voids they left."""

    open_void: Array = si("1", "share of each cell emptied through a surface open to the air; NaN outside metal", shape="(nx, ny, nz)")
    closed_void: Array = si("1", "share of each cell emptied in a pool cut off from the air; NaN outside metal", shape="(nx, ny, nz)")
    cell_metal: Array = si("m3", "metal each cell was poured with, NaN outside metal: what the shares are of", shape="(nx, ny, nz)")
    pools: tuple[PoolEnded, ...] = word("pools, those with the largest closed void first; crumbs of a few cells without void left out")
    bodies: tuple[BodyFed, ...] = word("named bodies, the part first")
    void_volume: float = si("m3", "all voids")
    lost_volume: float = si("m3", "what the metal loses from how each cell began till it is solid, from its mass at the start")
    void_balance: float = si("1", "voids against that loss, relative: nought but for rounding")
    critical_solid: float = si("1", "fraction solid past which a cell neither gives nor passes on metal")
    levels: int = word("steps taken between the pour and the last cell")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Poured(Record):
    """Metal as the kernel's answer speaks of it: its cells, whose they are, and when they passed the fractions solid."""

    mask: Array = si("1", "cells of metal", shape="(nx, ny, nz)")
    body: Array = si("1", "number of each metal cell's body, 0 the part", shape="(m,)")
    names: tuple[str, ...] = word("by number")
    touch: Array = si("1", "metal cells with air beside or over them", shape="(m,)")
    volume: Array = si("m3", "metal in each metal cell", shape="(m,)")
    cell: float = si("m", "edge")
    origin: Array = si("m", "corner of the first cell", shape="(3,)")


def marks_for(critical: float) -> tuple[float, ...]:
    """Fractions solid that a freezing must mark for feeding at this critical one."""
    return tuple(sorted({*MARKS, critical}))


def feed(
    grid: Grid,
    freezing: Freezing,
    metal: Shrinking,
    *,
    pour: float | None = None,
    air: Sequence[int] = (),
    open_top: bool = False,
    critical_solid: float | None = None,
    names: Mapping[int, str] | None = None,
    levels: int = LEVELS,
) -> Feeding:
    """Follow the pools of a grid that has been frozen with ``marks``, and the voids they leave.

    ``grid`` is the one that was frozen, and each cell begins at the density of its temperature in ``freezing.metal_begin``: liquid, mush or
    solid; ``pour`` [K] only checks that all of it began there, and may be left out; ``air``: tags of open space, from which air reaches
    metal beside and under it; ``open_top``: whether the grid's upper face is open to the air; ``critical_solid``: fraction solid past which
    a cell neither gives nor passes on metal, the stores' where None; ``names``: metal tag -> name of a body, "part" for the part, which is
    the least metal tag where none is so named; ``levels``: parts into which the cells are divided in time, 1 to 10 000.

    Raises BadInput for a freezing without marks or without an end, one of another grid or pour, a pour where the metal began at several
    temperatures, and for a metal without densities.
    """
    as_fed(freezing, metal, pour, air, open_top, critical_solid, names, levels)
    if critical_solid is None:
        import strickle.stores as shelf

        critical_solid = shelf.load().constants["feed.critical_solid"].value
    mask = np.isfinite(freezing.time_to_solidus)
    of_one_grid(grid, freezing, mask)
    _same_pour(pour, freezing.metal_begin)
    if not np.isfinite(freezing.solid_time) or not mask.any():
        raise BadInput("the metal is not solid throughout, so its pools have no end", 'Freeze it until "solid"')
    if not len(freezing.mark_solid) or freezing.mark_times.shape != (len(freezing.mark_solid), int(mask.sum())):
        raise BadInput("the freezing notes no fractions solid, and feeding needs them", f"Freeze with marks={marks_for(critical_solid)}")
    tags = sorted(int(t) for t in np.unique(grid.tags[mask]))
    known = dict(names or {})
    if "part" not in known.values():
        known[tags[0]] = "part"
    listed = ["part", *sorted({known.get(t, f"tag {t}") for t in tags} - {"part"})]
    number = np.zeros(256, np.int64)
    for tag in tags:
        number[tag] = listed.index(known.get(tag, f"tag {tag}"))
    poured = Poured(
        mask=mask,
        body=number[grid.tags[mask]],
        names=tuple(listed),
        touch=touched(grid.tags, mask, air, open_top),
        volume=freezing.cell_volumes * grid.cell**3,
        cell=grid.cell,
        origin=np.asarray(grid.origin, dtype=float),
    )
    return follow(
        poured, freezing.time_to_liquidus[mask], freezing.time_to_coherency[mask], freezing.mark_solid, freezing.mark_times,
        freezing.time_to_solidus[mask], metal, freezing.metal_begin, critical_solid, levels,
    )  # fmt: skip


def _same_pour(pour: float | None, begin: Array) -> None:
    """Raises BadInput for a pour that is not the temperature at which all metal began."""
    if pour is None or not begin.size:
        return
    least, most = float(begin.min()), float(begin.max())
    if most - least > SAME_POUR:
        raise BadInput(
            f"a pour is given, and the metal that was frozen began at {least:g} to {most:g} K", "Leave it out: each cell's own start holds"
        )
    if not max(abs(pour - least), abs(pour - most)) <= SAME_POUR:
        raise BadInput(f"the pour is {pour:g} K and the metal that was frozen began at {most:g} K", "Leave it out, or freeze from it")


def touched(tags: Array, mask: Array, air: Sequence[int], open_top: bool) -> Array:
    """Which metal cells (m,) have air beside or over them."""
    free = np.pad(np.isin(tags, list(air)), 1)
    if open_top:
        free[1:-1, 1:-1, -1] = True
    beside = free[:-2, 1:-1, 1:-1] | free[2:, 1:-1, 1:-1] | free[1:-1, :-2, 1:-1] | free[1:-1, 2:, 1:-1] | free[1:-1, 1:-1, 2:]
    return np.asarray(beside[mask])


def densities(metal: Shrinking, pour: float, solid: Array) -> Array:
    """Density [kg/m3] as poured, at the liquidus, at each fraction ``solid``, at the solidus; a mush by its shares of mass. Raises BadInput."""
    liquid, shrinkage = float(metal.density_liquidus), float(metal.shrinkage)
    if not (np.isfinite(liquid) and liquid > 0.0 and np.isfinite(shrinkage) and 0.0 <= shrinkage < 1.0):
        raise BadInput("the metal has no density at its liquidus or no shrinkage between 0 and 1", "Give density_liquidus and shrinkage")
    hot = liquid + min(float(metal.density_slope), 0.0) * max(pour - float(metal.curve_temperature[0]), 0.0)
    if not hot > 0.0:
        raise BadInput("the metal as poured has no density", "Give the pour in kelvin and the density's slope in kg/(m3 K)")
    return np.concatenate([[hot, liquid], _mush(np.asarray(solid), liquid, shrinkage), [liquid / (1.0 - shrinkage)]])


def densities_at(metal: Shrinking, begin: Array) -> Array:
    """Density [kg/m3] of metal that begins at the temperatures ``begin`` [K]: liquid, mush on the metal's curve, or solid as at the solidus."""
    liquid, shrinkage = float(metal.density_liquidus), float(metal.shrinkage)
    temperature = np.asarray(metal.curve_temperature, dtype=float)
    hot = liquid + min(float(metal.density_slope), 0.0) * np.maximum(begin - temperature[0], 0.0)
    solid = np.interp(begin, temperature[::-1], np.asarray(metal.curve_solid, dtype=float)[::-1])  # of a jump the liquid side, as in the solver
    full = liquid / (1.0 - shrinkage)
    cold = np.where(solid < 1.0, np.minimum(_mush(solid, liquid, shrinkage), full), full)
    return np.where(begin < temperature[0], cold, hot)


def _mush(solid: Array, liquid: float, shrinkage: float) -> Array:
    """Density [kg/m3] at fractions solid, by shares of mass."""
    return np.asarray(1.0 / ((1.0 - solid) / liquid + solid * (1.0 - shrinkage) / liquid))


def follow(
    poured: Poured,
    liquidus: Array,
    stiff: Array,
    solid: Array,
    passed: Array,
    solidus: Array,
    metal: Shrinking,
    begin: float | Array,
    critical: float,
    levels: int = LEVELS,
) -> Feeding:
    """Feeding from the moments (m,) and (j, m) at which the metal's cells passed the liquidus, grew ``stiff``, passed the fractions ``solid``
    and the solidus; ``begin`` [K] is what each began at (m,), or all of them.
    """
    from strickle.kernels.feed import feed as kernel
    from strickle.kernels.feed import neighbours

    if not 0.0 < critical < 1.0:
        raise BadInput("the critical fraction solid does not lie between 0 and 1", "Give about 0.7")
    order = np.argsort(solid)
    shares = np.concatenate([[0.0], np.asarray(solid)[order], [1.0]])
    times = np.maximum.accumulate(np.nan_to_num(np.stack([liquidus, *np.asarray(passed)[order], solidus])), axis=0)
    k = int(np.searchsorted(shares, critical, side="right"))
    part = (critical - shares[k - 1]) / (shares[k] - shares[k - 1])
    close = times[k - 1] + part * (times[k] - times[k - 1])
    count = len(liquidus)
    rho = densities(metal, float(np.max(begin)), shares[1:-1])
    begun = densities_at(metal, np.full(count, begin, dtype=float))
    height = np.argwhere(poured.mask)[:, 2].astype(np.int64)
    fed = kernel(
        np.concatenate([np.zeros((1, count)), times]), rho, begun, close, np.nan_to_num(stiff), neighbours(poured.mask), height,
        np.ascontiguousarray(poured.volume, dtype=np.float64), np.asarray(poured.touch, dtype=np.bool_),
        np.asarray(poured.body, dtype=np.int64), poured.body == 0, len(poured.names), levels,
    )  # fmt: skip
    share = 1.0 - begun / rho[-1]
    whole = float(poured.volume.sum())
    lost = _loss(share, poured.volume)
    void = float((fed.open_void + fed.closed_void) @ poured.volume)
    return Feeding(
        open_void=_field(poured.mask, fed.open_void),
        closed_void=_field(poured.mask, fed.closed_void),
        cell_metal=_field(poured.mask, poured.volume),
        pools=_pools(poured, fed),
        bodies=_bodies(poured, fed, height, share),
        void_volume=void,
        lost_volume=lost,
        void_balance=abs(void - lost) / lost if lost > 0.0 else abs(void) / whole,
        critical_solid=critical,
        levels=fed.levels,
    )


def _loss(share: Array, volume: Array) -> float:
    """Volume lost [m3]; where all cells lose one share exactly that share of their sum."""
    least = float(share.min()) if share.size else 0.0
    return least * float(volume.sum()) + float((share - least) @ volume)


def _field(mask: Array, values: Array) -> Array:
    out = np.full(mask.shape, np.nan)
    out[mask] = values
    return out


def _pools(poured: Poured, fed: Fed) -> tuple[PoolEnded, ...]:
    """Pools worth a name, largest closed void first."""
    places = np.argwhere(poured.mask)
    of = fed.pool >= 0
    in_part = np.bincount(fed.pool[of], weights=(fed.closed_void * poured.volume * (poured.body == 0))[of], minlength=len(fed.last))
    large = np.bincount(fed.pool[of], minlength=len(fed.last)) >= 8
    kept = np.flatnonzero((fed.closed + fed.opened > 1e-3 * poured.cell**3) | large)
    return tuple(
        PoolEnded(
            at=poured.origin + (places[fed.last[p]] + 0.5) * poured.cell,
            parted=float(fed.parted[p]),
            cut_off=float(fed.cut[p]),
            held=float(fed.held[p]),
            ended=float(fed.ended[p]),
            open_void=float(fed.opened[p]),
            closed_void=float(fed.closed[p]),
            part_void=float(in_part[p]),
            is_open=bool(np.isnan(fed.cut[p])),
        )
        for p in kept[np.argsort(-fed.closed[kept], kind="stable")]
    )


def _bodies(poured: Poured, fed: Fed, height: Array, share: Array) -> tuple[BodyFed, ...]:
    """What each named body gave; ``share`` (m,) is what each cell's metal loses."""
    out = []
    for number, name in enumerate(poured.names):
        mine = poured.body == number
        volume = float(poured.volume[mine].sum())
        void = float((fed.open_void + fed.closed_void)[mine] @ poured.volume[mine])
        loss = _loss(share[mine], poured.volume[mine])
        given = void - loss
        out.append(
            BodyFed(
                name=name,
                volume=volume,
                void=void,
                own_loss=loss,
                given=given,
                efficiency=given / volume if volume > 0.0 else 0.0,
                fed_until=float(fed.drawn[number]),
                joined_until=float(fed.joined[number]),
                pipe_depth=_pipe(poured, fed.open_void, mine, height),
            )
        )
    return tuple(out)


def _pipe(poured: Poured, void: Array, mine: Array, height: Array) -> float:
    """Depth of a body's pipe [m]: the longer of its deepest cell that is half empty and its emptiest column."""
    if not mine.any():
        return 0.0
    column = np.zeros(poured.mask.shape[:2])
    place = np.argwhere(poured.mask)[mine]
    np.add.at(column, (place[:, 0], place[:, 1]), void[mine])
    emptied = mine & (void >= SEEN)
    deep = int(height[mine].max()) + 1 - int(height[emptied].min()) if emptied.any() else 0
    return float(max(float(deep), column.max())) * poured.cell
