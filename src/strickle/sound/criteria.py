"""Fields made of the freezing's times: how long each place froze, how coarse its crystals are, how it is fed through the last mush, and
how long it is weak.

All rank places of one casting; none is a percentage of pores or a chance of a crack.  The curve from the dimensionless Niyama value to
porosity has not been seen by us, so none is used.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from strickle.base import GRAVITY, Array, Record, si, word
from strickle.cavity import METAL_TAGS, PART
from strickle.metal import Metal
from strickle.pattern import Pattern
from strickle.sound import rules
from strickle.sound.judge import Fields, to_part
from strickle.sound.result import Criteria, Extreme

MARKS = (rules.RELIEVED_FROM, rules.VULNERABLE_FROM, rules.VULNERABLE_TO)
FEW = 0.01  # share of the part's metal that a worst value stands for: single cells prove nothing


class Solved(Protocol):
    """What is read of a freezing: times [s], gradient [K/m] and cooling rate [K/s] by cell."""

    time_to_liquidus: Array
    time_to_solidus: Array
    gradient: Array
    cooling_rate: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CriteriaFields(Record):
    """The fields, float32, NaN outside the metal."""

    freezing_time: Array = si("s", "from superheat gone to solid", shape="(nx, ny, nz)")
    arm_spacing: Array | None = si("m", "of the crystals' side arms; None without a rule for the metal", shape="(nx, ny, nz)")
    dimensionless_niyama: Array | None = si("1", "Niyama value made dimensionless; None without arm spacing", shape="(nx, ny, nz)")
    hot_tear: Array = si("1", "vulnerable over relieved time", shape="(nx, ny, nz)")
    pressure: float = si("Pa", "air and full head at the lowest metal less the critical pressure")
    why: str = word("where the arm spacing comes from, or why there is none")


def fields_of(out: Solved, noted: Array, tags: Array, cell: float, metal: Metal, air: float, critical: float) -> CriteriaFields:
    """The fields of a freezing; ``noted`` (3, metal cells) [s] when each metal cell, in index order, passed MARKS; ``air`` and ``critical``
    [Pa] are the pressures on the metal and where pores form.
    """
    local = np.asarray(out.time_to_solidus - out.time_to_liquidus)
    spacing = arms(local, metal)
    drop = pressure_drop(tags, cell, metal.density_liquidus, air, critical)
    ny = None
    if spacing is not None:
        ny = _dimensionless(out.gradient, out.cooling_rate, spacing, drop[None, None, :], metal)
    early, late, last = noted
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (last - late) / (late - early)
    ratio = np.full(tags.shape, np.nan)
    ratio[np.isin(tags, METAL_TAGS)] = np.where(np.isfinite(share), share, np.nan)
    return CriteriaFields(
        freezing_time=local.astype(np.float32),
        arm_spacing=None if spacing is None else spacing.astype(np.float32),
        dimensionless_niyama=None if ny is None else ny.astype(np.float32),
        hot_tear=ratio.astype(np.float32),
        pressure=float(drop[np.isin(tags, METAL_TAGS).any(axis=(0, 1))].max(initial=-np.inf)),
        why=reason(metal),
    )


def reason(metal: Metal) -> str:
    """Where the arm spacing comes from, or why there is none."""
    if metal.arms is None:
        return f"no published rule for {metal.name} is in the stores: rules are for A356 and for aluminium with silicon and copper"
    return f"by {metal.arms.by}, {metal.arms.source}"


def arms(local: Array, metal: Metal) -> Array | None:
    """Arm spacing [m] from local freezing times [s]; the rate is the mean one over the freezing range. None without a rule."""
    law = metal.arms
    if law is None:
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        of = local if law.by == "freezing time" else (metal.liquidus - metal.solidus) / local
        spacing = law.factor * of**law.power
    return np.asarray(np.where(local > 0, spacing, np.nan))


def pressure_drop(tags: Array, cell: float, density: float, air: float, critical: float) -> Array:
    """Air and the head of the full mould less the critical pressure [Pa], at each height (nz,)."""
    levels = np.flatnonzero(np.isin(tags, METAL_TAGS).any(axis=(0, 1)))
    top = float(levels.max() + 1) if levels.size else 0.0
    head = (top - np.arange(tags.shape[2]) - 0.5) * cell
    return np.asarray(air + density * GRAVITY * np.maximum(head, 0.0) - critical)


def _dimensionless(gradient: Array, rate: Array, spacing: Array, drop: Array, metal: Metal) -> Array:
    """``rules.dimensionless_niyama`` for all cells; the shrinkage is turned into a share of the solid's volume."""
    beta = metal.shrinkage / (1.0 - metal.shrinkage)
    span = metal.liquidus - metal.solidus
    with np.errstate(divide="ignore", invalid="ignore"):
        ny = np.where(drop > 0, gradient * spacing * np.sqrt(np.maximum(drop, 0.0) / (metal.viscosity * beta * span * rate)), np.nan)
    ny[~np.isfinite(ny)] = np.nan
    return np.asarray(ny)


def alloys_own(metal: Metal) -> float:
    """The alloy's own ratio of vulnerable to relieved time, where heat is drawn from it at an even rate [1]."""
    at = np.interp(MARKS, metal.curve_solid, metal.curve_temperature)
    heat = np.interp(at, metal.solid_heat_temperature, metal.solid_heat)
    early, late, last = metal.latent_heat * np.array(MARKS) + heat * (metal.liquidus - at)
    return rules.hot_tear_ratio(float(early), float(late), float(last))


def summary(found: CriteriaFields, fields: Fields, pattern: Pattern, metal: Metal) -> Criteria:
    """What is told of the part: spans of its cells and its worst places."""
    part = fields.tags == PART
    ends = (5.0, 50.0, 95.0)
    times = _spread(found.freezing_time, part, ends)
    spacing = (np.nan,) * 3 if found.arm_spacing is None else _spread(found.arm_spacing, part, ends)
    return Criteria(
        freezing_time_least=times[0],
        freezing_time_median=times[1],
        freezing_time_most=times[2],
        arm_spacing_finest=spacing[0],
        arm_spacing_median=spacing[1],
        arm_spacing_coarsest=spacing[2],
        arm_spacing_why=found.why,
        least_dimensionless=None if found.dimensionless_niyama is None else _worst(-found.dimensionless_niyama, fields, pattern, -1.0),
        pressure_drop=found.pressure,
        hot_tear=_worst(found.hot_tear, fields, pattern, 1.0),
        hot_tear_alloy=alloys_own(metal),
    )


def _spread(field: Array, part: Array, ends: tuple[float, ...]) -> tuple[float, ...]:
    mine = field[part & np.isfinite(field)]
    return tuple(float(v) for v in np.percentile(mine, ends)) if mine.size else (float("nan"),) * len(ends)


def _worst(field: Array, fields: Fields, pattern: Pattern, sign: float) -> Extreme | None:
    """The value above which FEW of the part's metal lies, and its greatest place; ``sign`` gives the value back its own."""
    mine = np.where(fields.tags == PART, field, np.nan)
    if not np.isfinite(mine).any():
        return None
    at = fields.place(np.array(np.unravel_index(int(np.nanargmax(mine)), mine.shape)))
    value = sign * float(np.nanpercentile(mine, 100.0 * (1.0 - FEW)))
    return Extreme(at=at, at_part=to_part(pattern, at), value=value)
