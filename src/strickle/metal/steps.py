"""From a metal's name to the metal as poured."""

from __future__ import annotations

import numpy as np

from strickle.base import Array, BadInput, Finding, Source, Span, Watch, quiet, tell
from strickle.metal.arms import arm_law
from strickle.metal.ask import USES, MetalAsk
from strickle.metal.curve import clean, derived
from strickle.metal.findings import FUMES, fume, refused_use, rough_curve
from strickle.metal.result import Metal
from strickle.metal.welding import weld_findings
from strickle.stores import MetalRecord, Stores

ROOM = 293.15
_MOST_CONTRACTION = 0.05
_MEASURE = "Measure one long side of your first casting and let it overrule them"
_NEEDED = (
    "liquidus",
    "solidus",
    "latent_heat",
    "liquid_heat",
    "liquid_conductivity",
    "density_cold",
    "density_solidus",
    "density_liquidus",
    "density_slope",
    "viscosity",
    "surface_tension",
    "emissivity",
    "shrinkage",
    "expansion",
    "contraction",
    "pour",
)
_NEEDED_ALONG = ("solid_heat", "solid_conductivity")


def blend(ask: MetalAsk, stores: Stores, watch: Watch = quiet) -> Metal:
    """The metal of ``ask.metal`` with everything the later rooms need, in SI.

    Liquidus and solidus are the ends of the cleaned freezing curve, so that heat, fronts and judgements agree with one another;
    the free contraction runs from the published solidus. Raises BadInput for an unknown metal or use, a contraction out of all
    reason, or a metal that lacks a needed datum (named).
    """
    record = _record(ask.metal, stores)
    if ask.use not in USES:
        raise BadInput(f"what the part is for: {ask.use!r} is not known", f"Take one of: {', '.join(USES)}")
    _complete(record)
    values = record.values
    temperature, solid = _curve(record, stores)
    locked = values["coherency"].value if "coherency" in values else stores.constants["coherency.fraction"].value
    contraction, why, told = _contraction(record, ask, stores)
    heat_at, heat = _along(record, "solid_heat")
    k_at, k = _along(record, "solid_conductivity")
    watch(1.0, f"{record.name}")
    return Metal(
        metal=record.key,
        name=record.name,
        family=record.family,
        liquidus=float(temperature[0]),
        solidus=float(temperature[-1]),
        coherency=float(np.interp(locked, solid, temperature)),
        curve_temperature=temperature,
        curve_solid=solid,
        curve_is_rough=record.curve is None,
        latent_heat=values["latent_heat"].value,
        solid_heat_temperature=heat_at,
        solid_heat=heat,
        liquid_heat=values["liquid_heat"].value,
        solid_conductivity_temperature=k_at,
        solid_conductivity=k,
        liquid_conductivity=values["liquid_conductivity"].value,
        density_cold=values["density_cold"].value,
        density_solidus=values["density_solidus"].value,
        density_liquidus=values["density_liquidus"].value,
        density_slope=values["density_slope"].value,
        viscosity=values["viscosity"].value,
        surface_tension=values["surface_tension"].value,
        emissivity=values["emissivity"].value,
        shrinkage=values["shrinkage"].value,
        contraction=contraction,
        contraction_why=why,
        contraction_is_own=ask.contraction is not None or stores.kit.contraction is not None,
        free_contraction=values["expansion"].value * (values["solidus"].value - ROOM),
        pour_low=values["pour"].low,
        pour_high=values["pour"].high,
        arms=arm_law(record, stores),
        findings=_findings(record, ask, stores, temperature),
        sources=_sources(record, stores, told),
    )


def joined(metal: Metal, use: str, kind: str, stores: Stores) -> tuple[Finding, ...]:
    """What speaks for and against joining castings of this metal, ``kind`` weld or bolt; a STOP among them forbids it."""
    values = stores.metals[metal.metal].values if metal.metal in stores.metals else {}
    return weld_findings(metal, use, {name: values[name].value for name in FUMES if name in values}, kind)


def _record(key: str, stores: Stores) -> MetalRecord:
    plain = key.strip().lower().replace("-", "_").replace("gray", "grey")
    if plain in stores.metals:
        return stores.metals[plain]
    families: dict[str, list[str]] = {}
    for known, record in stores.metals.items():
        families.setdefault(record.family, []).append(known)
    listed = "; ".join(f"{family}: {', '.join(keys)}" for family, keys in families.items())
    raise BadInput(f"metal {key!r} is not in the stores", f"Take one of these keys: {listed}")


def lacks(record: MetalRecord) -> list[str]:
    """Values a plan needs and the stores do not have for this metal."""
    missing = [name for name in _NEEDED if name not in record.values]
    return missing + [name for name in _NEEDED_ALONG if not any(key.partition("@")[0] == name for key in record.values)]


def _complete(record: MetalRecord) -> None:
    if missing := lacks(record):
        names = ", ".join(missing)
        raise BadInput(f"{record.name} cannot be planned: its {names} {'is' if len(missing) == 1 else 'are'} not in the stores", "Take another metal")


def _along(record: MetalRecord, name: str) -> tuple[Array, Array]:
    """Nodes [K] and values of a datum given at several temperatures."""
    pairs = sorted((float(key.partition("@")[2]), datum.value) for key, datum in record.values.items() if key.partition("@")[0] == name)
    return np.array([at for at, _ in pairs]), np.array([value for _, value in pairs])


def _curve(record: MetalRecord, stores: Stores) -> tuple[Array, Array]:
    pure = stores.constants["curve.pure_range"].value
    if record.curve is not None:
        return clean(record.curve.temperature, record.curve.solid, stores.constants["curve.end_share"].value, pure)
    return derived(_base_melting(record, stores), record.values["liquidus"].value, record.values["solidus"].value, pure)


def _base_melting(record: MetalRecord, stores: Stores) -> float:
    base = stores.constants.get(f"melting.{record.family}")
    return base.value if base else record.values["liquidus"].value


def _contraction(record: MetalRecord, ask: MetalAsk, stores: Stores) -> tuple[Span, str, tuple[str, ...]]:
    """Contraction, where it comes from, and the source keys that say so."""
    own = ask.contraction if ask.contraction is not None else stores.kit.contraction
    if own is not None:
        if not 0.0 <= own <= _MOST_CONTRACTION:
            raise BadInput(f"a contraction of {100 * own:g} % is out of all reason", f"It should lie between 0 and {100 * _MOST_CONTRACTION:g} %")
        spread = stores.constants["allowance.measured_spread"].value
        where = "given for this job" if ask.contraction is not None else "measured in your shop"
        why = f"{where}; the spread of {tell(spread, '1', '%')} either way is our guess at what one measured bar can tell"
        return Span(value=own, low=max(own - spread, 0.0), high=own + spread), why, ()
    datum = record.values["contraction"]
    low, usual, high = (tell(share, "1", "%") for share in (datum.low, datum.value, datum.high))
    why = f"{usual} is the usual allowance for {record.name}; books run from {low} to {high}"
    told: tuple[str, ...] = (datum.source,)
    if record.family == "aluminium":
        books = [stores.constants[f"allowance.{name}"] for name in ("hobby.aluminium_small", "hobby.aluminium_large", "dooley.aluminium")]
        small, large, old = (tell(book.value, "1", "%") for book in books)
        why += (
            f". They differ because they mean different things: {small} for small castings and {large} for large ones, which the sand"
            f" holds back, but {old} in a book of 1919, about what aluminium shrinks when nothing holds it. {_MEASURE}"
        )
        told += tuple(book.source for book in books)
    elif datum.high > datum.low:
        why += f". They differ in how much the sand holds the casting back. {_MEASURE}"
    return Span(value=datum.value, low=datum.low, high=datum.high), why, told


def _findings(record: MetalRecord, ask: MetalAsk, stores: Stores, temperature: Array) -> tuple[Finding, ...]:
    found: list[Finding] = []
    if ask.use != "general":
        found.append(refused_use(ask.use))
    if record.curve is None:
        found.append(rough_curve(record, temperature, _base_melting(record, stores)))
    found.extend(fume(record, metal) for metal in FUMES if metal in record.values)
    return tuple(found)


def _sources(record: MetalRecord, stores: Stores, told: tuple[str, ...]) -> tuple[Source, ...]:
    keys = [datum.source for datum in record.values.values()]
    keys += [record.curve.source] if record.curve is not None else []
    return tuple(stores.sources[key] for key in dict.fromkeys([*keys, *told]))
