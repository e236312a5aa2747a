"""How much heat a metal holds between two temperatures: solid, freezing range with its latent heat, liquid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strickle.base import Array, BadInput, Record, si
from strickle.metal import Metal
from strickle.stores import MetalRecord


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Warmth(Record):
    """What the heat of a metal follows from."""

    curve_temperature: Array = si("K", "freezing curve, falling", shape="(n,)")
    curve_solid: Array = si("1", "fraction solid along it", shape="(n,)")
    latent_heat: float = si("J/kg", "over the whole range")
    solid_heat_temperature: Array = si("K", "nodes of the solid's heat capacity", shape="(k,)")
    solid_heat: Array = si("J/(kg K)", "at the nodes", shape="(k,)")
    liquid_heat: float = si("J/(kg K)", "of the liquid")


def warmth_of(metal: Metal) -> Warmth:
    """The heat data of a metal as blended."""
    return Warmth(
        curve_temperature=metal.curve_temperature,
        curve_solid=metal.curve_solid,
        latent_heat=metal.latent_heat,
        solid_heat_temperature=metal.solid_heat_temperature,
        solid_heat=metal.solid_heat,
        liquid_heat=metal.liquid_heat,
    )


def warmth_in(record: MetalRecord) -> Warmth:
    """The heat data of a metal in the stores; a metal without a curve freezes evenly between its published ends.

    Raises BadInput naming the field a record lacks.
    """
    nodes = sorted((float(name.partition("@")[2]), datum.value) for name, datum in record.values.items() if name.startswith("solid_heat@"))
    for field, there in (
        ("solid_heat", nodes),
        ("latent_heat", "latent_heat" in record.values),
        ("liquid_heat", "liquid_heat" in record.values),
    ):
        if not there:
            raise BadInput(f"{record.key}: the stores have no {field}", "Take another metal, or add the value with its source")
    if record.curve is not None:
        temperature, solid = record.curve.temperature, record.curve.solid
    else:
        liquidus, solidus = record.values["liquidus"].value, record.values["solidus"].value
        temperature, solid = np.array([liquidus, min(solidus, liquidus - 0.5)]), np.array([0.0, 1.0])
    return Warmth(
        curve_temperature=temperature,
        curve_solid=solid,
        latent_heat=record.values["latent_heat"].value,
        solid_heat_temperature=np.array([t for t, _ in nodes]),
        solid_heat=np.array([c for _, c in nodes]),
        liquid_heat=record.values["liquid_heat"].value,
    )


def heat_between(warmth: Warmth, start: float, end: float) -> float:
    """Heat [J/kg] from ``start`` to ``end`` [K]; negative on cooling.

    Solid and liquid share the sensible heat of the freezing range by fraction, the latent heat follows the curve. Heat capacities run
    straight between nodes and stay level beyond them.
    """
    curve_t, curve_s = warmth.curve_temperature[::-1], warmth.curve_solid[::-1]
    low, high = min(start, end), max(start, end)
    knots = np.concatenate((warmth.solid_heat_temperature, curve_t, [low, high]))
    knots = np.unique(np.clip(knots, low, high))
    # halves between knots keep the product of fraction and capacity exact enough in the freezing range
    knots = np.unique(np.concatenate((knots, 0.5 * (knots[1:] + knots[:-1]))))
    solid = np.interp(knots, curve_t, curve_s, left=1.0, right=0.0)
    # at the ends of the curve the solid's share jumps: one-sided values left and right are equal there but for a flat curve's foot
    capacity = solid * np.interp(knots, warmth.solid_heat_temperature, warmth.solid_heat) + (1.0 - solid) * warmth.liquid_heat
    sensible = float(np.sum(0.5 * (capacity[1:] + capacity[:-1]) * np.diff(knots)))
    latent = warmth.latent_heat * float(np.interp(low, curve_t, curve_s, 1.0, 0.0) - np.interp(high, curve_t, curve_s, 1.0, 0.0))
    return (sensible + latent) * (1.0 if end >= start else -1.0)
