"""Cores in the closed mould: how metal lifts them, and whether prints and cores stand it."""

from __future__ import annotations

import numpy as np

from strickle.base import Finding, Margin, Mesh, Where, tell
from strickle.cavity import rules
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.pattern import Core, Pattern
from strickle.stores import Stores

ON = 2e-6  # m from a core's skin that a face of the casting is formed by it
BIG = 5e-6  # m3 from which on nobody drills out what a core makes (choice of this program)
BREAKS = 2.0  # strength over stress under which a core is told; under 1 it stops the plan


def lifts(pattern: Pattern, metal: Metal) -> tuple[float, ...]:
    """Upward force on each core [N]; nothing where metal does not get under it."""
    return tuple(max(rules.core_lift(core.buoyant_volume, metal.density_liquidus, core.density), 0.0) for core in pattern.cores)


def without(casting: Mesh, pattern: Pattern) -> Mesh:
    """The casting's skin less what cores form: that presses on the cores, and these on the cope."""
    from strickle.kernels.distance import nearest

    keep = np.ones(len(casting.faces), dtype=bool)
    middles = casting.vertices[casting.faces].mean(axis=1)
    for core in pattern.cores:
        low, high = core.mesh.vertices.min(axis=0) - ON, core.mesh.vertices.max(axis=0) + ON
        near = np.flatnonzero(((middles >= low) & (middles <= high)).all(axis=1))
        if near.size:
            away, _ = nearest(middles[near], core.mesh.vertices, core.mesh.faces)
            keep[near[np.asarray(away) < ON]] = False
    return casting if keep.all() else Mesh(vertices=casting.vertices, faces=casting.faces[keep])


def told(pattern: Pattern, floats: tuple[float, ...], mould: Mould, stores: Stores) -> tuple[Finding, ...]:
    """Cores that press the sand of their prints too hard, or break."""
    out = []
    for core, force in zip(pattern.cores, floats):
        if force > 0.0:
            out += [one for one in (_held(core, force, mould, stores), _breaks(core, force)) if one is not None]
    return tuple(out)


def _held(core: Core, force: float, mould: Mould, stores: Stores) -> Finding | None:
    """Prints against the sand's strength."""
    strength, factor = stores.sands[mould.sand].values["green_compression"], stores.constants["core.bearing_factor"].value
    allowed = strength.value / factor
    press = force * _uneven(core) / core.bearing if core.bearing > 0 else float("inf")
    if press <= allowed:
        return None
    return Finding(
        code="cavity.core_floats",
        weight="STOP",
        says=f"Metal lifts {core.name} with {tell(force, 'N')}, more than the sand over its prints is trusted to hold: a chance that it floats",
        because=(
            f"its prints lie in {tell(core.bearing, 'm2')} of sand, which bears {tell(strength.value, 'Pa')} in compression,"
            f" taken {tell(1.0 / factor, '1', '%')}"
        ),
        do="Set chaplets between core and cope, of the metal cast or tinned steel, clean and dry"
        if core.metal_volume > BIG
        else "Set chaplets between core and cope, of the metal cast or tinned steel, clean and dry; or drill the hole: --undercuts fill",
        where=Where(body=core.name),
        margin=Margin(value=allowed / press, unit="1", of="force the prints are trusted with over the lift"),
        source="Lift: volume in metal times the difference of densities; strength of the sand: see the stores; its share a choice of this program",
    )


def _uneven(core: Core) -> float:
    """Greatest pressure of a print over its mean: 1, but for a lying core held at one end, whose lift also turns it up (1 + 6 e / l).

    The lift works in the middle of what lies in metal, e from the print's middle; the print is l long.
    """
    if core.lies != "across" or core.prints != 1 or core.print_length <= 0.0:
        return 1.0
    return 1.0 + 3.0 * (core.span + core.print_length) / core.print_length


def _breaks(core: Core, force: float) -> Finding | None:
    """Bending against the core's strength."""
    if core.span <= 0.0 or core.width <= 0.0:
        return None
    stress = rules.core_stress(force, core.span, core.width, core.prints)
    if core.tensile >= BREAKS * stress:
        return None
    return Finding(
        code="cavity.core_breaks",
        weight="STOP" if core.tensile < stress else "MIND",
        says=f"Metal bends {core.name} with {tell(stress, 'Pa')}; {core.medium_name} breaks at about {tell(core.tensile, 'Pa')}",
        because=f"{tell(force, 'N')} lift it over {tell(core.span, 'm')}, and it is {tell(core.width, 'm')} wide",
        do="Ram a wire into it, take a stronger core sand (--core-sand), or set a chaplet half-way",
        where=Where(body=core.name),
        margin=Margin(value=core.tensile / stress, unit="1", of="strength of the core over the stress in it"),
        source="Bending of a beam; strength of the core from memory or guessed: see the stores",
    )
