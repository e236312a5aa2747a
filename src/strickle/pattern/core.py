"""Records of what answers an undercut: cores with their boxes, and loose pieces. Mould frame, metres."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Mesh, Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Core(Record):
    """One core: baked or set sand that is laid in the mould, forms what the pattern cannot, and is broken out after."""

    name: str = word("e.g. core-1")
    lies: str = word("across: a hole across the draw | upright: a hole along it | round: a place open on several sides")
    at: Array = si("m", "middle of what it forms", shape="(3,)")
    mesh: Mesh = word("the core as it comes from its box, mould frame", inner=True)
    volume: float = si("m3", "of the whole core, prints with it")
    metal_volume: float = si("m3", "of what lies within the metal's outline")
    buoyant_volume: float = si("m3", "of that, what metal gets under and lifts")
    mass: float = si("kg", "of the whole core")
    prints: int = word("ends by which it is held")
    print_length: float = si("m", "length of the shortest print that lies in sand; 0 for one that lies round the part")
    clearance: float = si("m", "between each side of a print and the sand")
    clearance_volume: float = si("m3", "all of that room")
    bearing: float = si("m2", "plan of its prints that lies in sand: what cope and drag hold it by")
    width: float = si("m", "its least width in the metal")
    span: float = si("m", "its length in the metal between prints, along its bend where it has one, or from its print")
    slenderness: float = si("1", "span over width")
    medium: str = word("what it is made of: silicate | resin | oil-baked")
    medium_name: str = word("that in words")
    density: float = si("kg/m3", "of the core")
    tensile: float = si("Pa", "strength of the core, set")
    gas_volume: float = si("m3", "gas that its binder gives off in all, measured cold")
    vent: float = si("m", "width of the vent along it; 0 where vents are scratched in its parting")
    vent_way: Array = si("m", "the vent from end to end", shape="(k, 3)")
    box: tuple[str, ...] = word("the pieces of its box")
    rammed: str = word("how its box is filled: end: closed, through its open end | halves: each part by itself, closed on each other")
    set_order: int = word("place in the order of setting cores into the drag, 1 first")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loose(Record):
    """One loose piece: it stays in the sand when its half is drawn, and follows by the hollow that the half has left."""

    name: str = word("e.g. loose-piece-1")
    half: str = word("cope | drag")
    at: Array = si("m", "its middle", shape="(3,)")
    moved: Array = si("1", "the way it is moved first, into the hollow", shape="(3,)")
    travel: float = si("m", "how far that way, before it is lifted out through the parting")
    volume: float = si("m3", "of the piece")
